"""The last pieces where turns can be blocked: every step on bodies of points, every split by hand.

Tables are made of fewer states near home than usual, which is what takes the time; words are longer
then, and all the rest is the same.
"""

from __future__ import annotations

import itertools
import random
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from puzzles import load
from puzzles.errors import RequestError
from puzzles.names import read_placement
from puzzles.notation import parse
from puzzles.puzzle import Puzzle, Word
from puzzles.states import State, from_cycles, from_word
from search.finishing_blocked import HOME, BlockedFinisher
from search.finishing_blocked_tables import KindCycles
from search.finishing_plans import AT_ONCE, AtOnce, Finish
from search.impossible import ImpossibleError
from search.solving_blocked import BlockedSolver
from search.solving_steps import BALANCE, CYCLE
from search.splits import MEASURES, MEMORY, SEQUENCES, TURNS
from search.tools import UNKNOWN
from tests.plain import named, plain
from tests.rigid import Rigid

BONDS = {
    "3x3x3-bandaged": (("UFR", "UF"), ("DBL", "DB"), ("UBL", "BL")),
    "3x3x3-stops": (),
    "one body": (("UFR", "UF"),),
}
STATES = {"3x3x3-bandaged": 40_000, "3x3x3-stops": 60_000, "one body": 100_000}
STOPS = {"L": (0, 1, 2), "R": (0, 1, 2)}


@cache
def puzzle_of(name: str) -> Puzzle:
    if name != "one body":
        return load(name)
    puzzle = load("3x3x3")
    slots = tuple(tuple(read_placement(puzzle, n).slot for n in bond) for bond in BONDS[name])
    return replace(puzzle, bonds=slots)


@cache
def solver_of(name: str) -> BlockedSolver:
    return BlockedSolver(puzzle_of(name), most=STATES[name])


def finisher(name: str, by: str = TURNS) -> BlockedFinisher:
    return BlockedFinisher(solver_of(name), by)


@cache
def rigid(name: str) -> Rigid:
    return Rigid(load("3x3x3"), BONDS[name], STOPS if name == "3x3x3-stops" else None)


def walk(puzzle: Puzzle, turns: int, seed: int) -> Word:
    """Return possible turns, drawn one by one."""
    source, word, state = random.Random(seed), tuple[int, ...](), puzzle.effect(())
    for _ in range(turns):
        able = [t for t in range(len(puzzle.turns)) if not puzzle.first_blocked((t,), state)]
        word = (*word, source.choice(able))
        state = puzzle.moves[word[-1]][state]
    return word


def check(name: str, led: Word, found: Finish) -> None:
    """Do what is written, turn by turn, on bodies of points, from where a word led."""
    puzzle, solid = puzzle_of(name), plain(load("3x3x3"))
    done = led
    for step, said in zip(found.solution.steps, found.said, strict=True):
        before = puzzle.effect(done)
        for text in (said.sequence, said.notation):
            word = parse(puzzle, text).word
            assert rigid(name).first_blocked((*done, *word)) is None, text
            assert np.array_equal(puzzle.effect(word)[before], puzzle.effect(step.word)[before])
        assert said.turns == len(step.word)
        done = (*done, *step.word)
    for row in (done, (*led, *found.word)):
        assert rigid(name).first_blocked(row) is None
        points = solid.do(named(puzzle, row))
        assert (solid._face_at(points) == solid.face).all()


def loops(name: str, number: int, count: int, seed: int) -> Word:
    """Return a few of a kind's three-cycles, which keep all else, in a row."""
    tables = finisher(name).tables
    cycles = tables.keeping(number, tables.kinds)
    assert cycles is not None
    chosen = random.Random(seed).sample(cycles.placing.numbers.tolist(), count)
    return tuple(turn for k in chosen for turn in cycles.parts(k)[0])


@pytest.mark.parametrize("name", sorted(BONDS))
def test_every_step_is_possible_and_all_is_solved_on_points(name: str) -> None:
    puzzle = puzzle_of(name)
    for turns, seed in ((2, 1), (3, 2), (5, 3), (40, 4)):
        led = walk(puzzle, turns, seed)
        found = finisher(name).finish(from_word(puzzle, led))
        check(name, led, found)
        if turns <= 3:
            assert len(found.word) <= turns
    for kind in range(len(solver_of(name).shapes.kinds)):
        if solver_of(name).shapes.kinds[kind].count < 3:
            continue
        led = loops(name, kind, 2, 5)
        for by in MEASURES if name == "3x3x3-bandaged" else (TURNS,):
            found = finisher(name, by).finish(from_word(puzzle, led))
            check(name, led, found)
            assert {step.kind for step in found.solution.steps} <= {CYCLE}


def test_what_is_fastened_is_brought_home_first() -> None:
    name = "3x3x3-bandaged"
    turned = parse(puzzle_of(name), "B' L'").word
    for word in ((*loops(name, 2, 1, 1), *turned), turned):
        found = finisher(name).finish(from_word(puzzle_of(name), word))
        check(name, word, found)
        assert found.solution.steps[0].kind == HOME
        assert {step.kind for step in found.solution.steps[1:]} <= {CYCLE}


def fewest(cycles: KindCycles, slots: tuple[int, ...]) -> dict[tuple[int, ...], int]:
    """Return the least turns of up to four three-cycles for every arrangement, written out.

    One after another onto every arrangement met so far. An arrangement is the point of each slot's
    unit; the words are done to the puzzle, nothing is read off tables of triples.
    """
    shapes, t = cycles.table.near.shapes, cycles.kind.twists
    puzzle = shapes.puzzle
    homes = [int(puzzle.home[shapes.reps[u]]) for u in cycles.kind.units]
    own = {
        home + x * int(shapes.share[u])
        for home, u in zip(homes, cycles.kind.units, strict=True)
        for x in range(t)
    }
    every = []
    for a, b, c in itertools.permutations(slots, 3):
        for x, y in itertools.product(range(t), repeat=2):
            triple = (a * t, b * t + x, c * t + y)
            if a == min(a, b, c) and int(cycles.cost(np.array(triple))) < UNKNOWN:
                word = cycles.word(triple)
                every.append((puzzle.effect(word).tolist(), len(word)))
    start = tuple(homes[k] for k in slots)
    assert set(start) <= own
    best, last = {start: 0}, {start: 0}
    for _ in range(4):
        beyond: dict[tuple[int, ...], int] = {}
        for places, turns in last.items():
            for effect, cost in every:
                there = tuple([effect[p] for p in places])
                beyond[there] = min(turns + cost, beyond.get(there, UNKNOWN))
        for there, turns in beyond.items():
            best[there] = min(turns, best.get(there, UNKNOWN))
        last = beyond
    return best


@pytest.mark.parametrize(
    ("name", "number", "slots"),
    [
        ("3x3x3-bandaged", 0, (0, 1, 2)),
        ("3x3x3-stops", 1, (0, 4, 7, 9)),
        ("one body", 1, (0, 3, 5)),
    ],
)
def test_no_product_of_four_has_fewer_turns(name: str, number: int, slots: tuple[int, ...]) -> None:
    """For arrangements of some slots the sum of turns is the least of all products, by hand."""
    own = finisher(name)
    cycles = own.tables.keeping(number, own.tables.kinds)
    assert cycles is not None
    best = fewest(cycles, slots)
    reps = [own.solver.shapes.reps[cycles.kind.units[k]] for k in slots]
    puzzle, tried = own.puzzle, 0
    rows = sorted(best)
    for places in random.Random(3).sample(rows, min(len(rows), 25)):
        table = np.arange(puzzle.placement_count, dtype=np.int32)
        for slot, place in zip(reps, places, strict=True):
            twists = puzzle.types[int(puzzle.type_of[slot])].twists
            home = int(puzzle.home[puzzle.slot_of[place]])
            for x in range(twists):
                table[int(puzzle.home[slot]) + x] = home + (place - home + x) % twists
        # What undoes a product of four is one of four; the state is what it leads to.
        state = State(puzzle, table)
        if len(state.unsolved) != len(slots):
            continue
        element = own.solver.shapes.element(table, 0)
        assert element is not None
        share = own._share(cycles, element, 0)
        assert share is not None
        undone = tuple(np.argsort(table)[list(np.array(puzzle.home)[reps])].tolist())
        assert share.part.split.fewest == best[undone]
        tried += 1
    assert tried >= 2


def test_measures_are_held_to() -> None:
    puzzle, name = puzzle_of("3x3x3-stops"), "3x3x3-stops"
    for seed in range(2):
        state = from_word(puzzle, loops(name, 1, 2, seed))
        found = {by: finisher(name, by).finish(state) for by in MEASURES}
        assert len(found[TURNS].word) == min(len(one.word) for one in found.values())
        assert found[SEQUENCES].sequences == min(one.sequences for one in found.values())
        things = {by: sum(p.split.things for p in one.parts) for by, one in found.items()}
        assert things[MEMORY] == min(things.values())
        assert all("that are known" in part.text for one in found.values() for part in one.parts)
        assert not any(part.split.proven for one in found.values() for part in one.parts)


def test_an_odd_state_begins_with_an_odd_turn() -> None:
    name = "3x3x3-stops"
    puzzle = puzzle_of(name)
    led = (*loops(name, 0, 1, 2), *parse(puzzle, "U").word)
    found = finisher(name).finish(from_word(puzzle, led))
    check(name, led, found)
    assert found.solution.steps[0].kind in (BALANCE, HOME)


def test_one_sequence_for_all_is_possible_where_it_is_done() -> None:
    name = "3x3x3-stops"
    puzzle = puzzle_of(name)
    led = parse(puzzle, "U F U' F'").word
    own = BlockedFinisher(solver_of(name), TURNS, AtOnce.within(3.0))
    found = own.finish(from_word(puzzle, led))
    check(name, led, found)
    assert len(found.word) <= 4
    assert AT_ONCE in {step.kind for step in found.solution.steps} or len(found.word) == 4


def test_what_no_turns_lead_to_is_named() -> None:
    puzzle = puzzle_of("3x3x3-bandaged")
    own = finisher("3x3x3-bandaged")
    torn = from_cycles(puzzle, "(UFR UFL UBR)")
    with pytest.raises(ImpossibleError, match="UFR and UF are fastened together"):
        own.finish(torn)
    # Taken apart by hand; that all pieces are put home is a repair, if perhaps not the smallest.
    repair = own.judged(torn).repair
    assert repair is not None
    assert torn.after(repair.effect).is_solved
    assert len(repair.slots) == len(torn.unsolved)
    assert not repair.least
    twisted = own.judged(from_cycles(puzzle, "(DFR RDF FRD)"))
    assert "one corner alone can't be twisted" in twisted.reason
    assert twisted.repair is not None
    assert twisted.repair.least
    # Both laws and bodies are broken: putting the twist right does not mend the bodies.
    both = own.judged(torn.after(from_cycles(puzzle, "(DFR RDF FRD)").table))
    assert not both.possible
    assert both.repair is not None
    with pytest.raises(RequestError, match="turns or sequences or memory"):
        finisher("3x3x3-bandaged", "beauty")


def test_a_solved_state_needs_no_steps() -> None:
    found = finisher("3x3x3-bandaged").finish(from_word(puzzle_of("3x3x3-bandaged"), ()))
    assert found.solution.steps == ()
    assert found.word == ()
