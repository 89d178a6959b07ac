"""Short words with long arms: every pair is met, only real three-cycles, the same each time."""

from __future__ import annotations

import itertools
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from puzzles import load
from puzzles.puzzle import Puzzle, Word
from puzzles.words import normal
from search import atlas, coverage, nested, plan, rings
from search.coverage import (
    COMMUTATORS,
    CONJUGATED,
    FAMILIES,
    NESTED,
    PAIRS,
    TURNS,
    Family,
    LongStep,
)
from search.deepening import Progress, deepen
from search.encoding import Scope, scope
from search.goals import Goal
from search.kernels.arrays import LONGEST, NONE
from search.kernels.records import ring_word
from search.shelves import Shelves
from tests.brute import cycle_of, rotations, words_by_length
from tests.plain import assert_three_cycle
from tests.search.test_lengths import orbits_of

#: Puzzle, family, and the longest arms: what plain enumeration does in a second or two.
SMALL = [
    ("2x2x2", TURNS, 2, 2),
    ("2x2x2", COMMUTATORS, 2, 2),
    ("2x2x2", CONJUGATED, 1, 1),
    ("2x2x2", NESTED, 1, 1),
    ("cube-corners", PAIRS, 2, 2),
    ("cube-corners", COMMUTATORS, 2, 2),
    ("cube-corners", NESTED, 2, 1),
    ("3x3x3", TURNS, 2, 2),
    ("3x3x3", COMMUTATORS, 2, 1),
    ("octahedron-faces", TURNS, 2, 2),
    ("cube-edges", COMMUTATORS, 2, 1),
    ("hexagonal-prism", CONJUGATED, 1, 1),
]

#: Half-length of the longest rings that are left where turns cancel in those of SMALL.
CANCELLED = {"hexagonal-prism": 6}


#: Which words [X, Y] of the 170-piece ball have rings that cycle three tips, by number.
TIP_WORDS = (0,)


def steps_to(family: Family, radius1: int, radius2: int) -> list[LongStep]:
    """Return the steps of a family up to some arms, shorter ones first."""
    every = range(1, radius1 + radius2 + 1)
    return [LongStep(family.name, (both + 1) // 2, both // 2) for both in every]


def shelved(one: Scope, steps: list[LongStep], half_length: int = 0) -> Shelves:
    """Return shelves after all levels up to a half-length and some long steps."""
    filling = atlas.Filling(one, atlas.empty(one))
    for level in range(1, half_length + 1):
        for part in rings.level(one, level):
            filling.put(part.records)
    for step in steps:
        for part in plan.Step(step.half_length, 0.0, 0.0, step).joins(one):
            filling.put(part.records)
    return filling.settled(half_length, tuple(steps))


def all_of(puzzle: Puzzle, family: Family) -> set[Word]:
    """Return the words of a family that do not cancel, straight from what its name says."""
    undo = puzzle.inverse
    turns = range(len(puzzle.turns))

    def commutator(a: Word, b: Word) -> Word:
        return a + b + undo(a) + undo(b)

    found: list[Word] = []
    if family == TURNS:
        found = [(x,) for x in turns]
    if family == PAIRS:
        found = list(itertools.product(turns, turns))
    if family == COMMUTATORS:
        found = [commutator((x,), (y,)) for x, y in itertools.product(turns, turns)]
    if family == CONJUGATED:
        triples = itertools.product(turns, turns, turns)
        found = [commutator((x,), (y, z, *undo((y,)))) for x, y, z in triples]
    if family == NESTED:
        triples = itertools.product(turns, turns, turns)
        found = [commutator((x,), commutator((y,), (z,))) for x, y, z in triples]
    whole = (normal(puzzle, word) for word in found)
    return {
        word
        for word in whole
        if len(word) == family.length
        and all(len(cut) == family.length for cut in rotations(puzzle, word))
    }


@pytest.mark.parametrize(("name", "family", "radius1", "radius2"), SMALL)
def test_long_arms_miss_nothing_that_plain_enumeration_has(
    name: str, family: Family, radius1: int, radius2: int
) -> None:
    """Whatever w1' C1 w1 w2' C2' w2 cycles, C1 and C2 cuts of one A, is known, and as short.

    Where turns of A cancel, what is left is a ring of another A, which levels have met.
    """
    puzzle = load(name)
    one = scope(puzzle)
    found = shelved(one, steps_to(family, radius1, radius2), CANCELLED.get(name, 4))
    layers = {int(k) for k in one.layers}
    arms = words_by_length(puzzle, radius1, layers)
    kept = [t.number for t in puzzle.types if t.moves]
    homes = puzzle.home[[s for t in kept for s in puzzle.types[t].slots]]
    met, seen = 0, set()
    for word in sorted(all_of(puzzle, family)):
        images = {normal(puzzle, [int(s.turns[t]) for t in word]) for s in puzzle.symmetries}
        if word in seen or {int(puzzle.turn_layer[t]) for t in word} - layers:
            continue
        for image in images:
            seen |= rotations(puzzle, image) | rotations(puzzle, puzzle.inverse(image))
        cuts = sorted(rotations(puzzle, word))
        sides = []
        for radius in (radius1, radius2):
            words = [
                (*puzzle.inverse(w), *cut, *w)
                for cut in cuts
                for k in range(radius + 1)
                for w in arms[k]
            ]
            sides.append((words, np.array([puzzle.effect(w) for w in words])))
        (ones, firsts), (twos, seconds) = sides
        for second, other in zip(twos, seconds, strict=True):
            back = np.argsort(other)
            moved = (back[firsts[:, homes]] != homes).sum(axis=1)
            for k in np.flatnonzero(moved == 3).tolist():
                short = normal(puzzle, (*ones[k], *puzzle.inverse(second)))
                cycle = cycle_of(puzzle, short, kept)
                if cycle is None:
                    continue
                met += 1
                assert found.turns[orbits_of(one, [cycle])[0]] <= len(short)
    assert bool(met) == bool((found.turns < NONE).any())


@pytest.mark.parametrize(("name", "family", "radius1", "radius2"), SMALL)
def test_every_ring_of_long_arms_is_real(
    name: str, family: Family, radius1: int, radius2: int
) -> None:
    puzzle = load(name)
    one = scope(puzzle)
    kept = [t.number for t in puzzle.types if t.moves]
    letters = np.zeros(LONGEST, dtype=np.int64)
    shown = 0
    for step in steps_to(family, radius1, radius2):
        for part in plan.Step(step.half_length, 0.0, 0.0, step).joins(one):
            for record in part.records:
                length = int(ring_word(one.arrays, record, letters))
                word = tuple(int(one.turns[t]) for t in letters[:length])
                cycle = cycle_of(puzzle, word, kept)
                assert cycle is not None
                assert length == 2 * step.half_length
                if shown < 3:
                    assert_three_cycle(puzzle, word, cycle)
                    shown += 1


def test_the_words_of_a_family_are_one_of_each_class() -> None:
    """Under rotations, inversion and symmetry each word of a family has one image in the list."""
    for name, family in (("3x3x3", COMMUTATORS), ("3x3x3", TURNS), ("2x2x2", NESTED)):
        puzzle = load(name)
        one = scope(puzzle)
        listed = [tuple(int(one.turns[t]) for t in word) for word in nested.words(one, family)]
        covered: set[Word] = set()
        for word in listed:
            for symmetry in puzzle.symmetries:
                image = normal(puzzle, [int(symmetry.turns[t]) for t in word])
                covered |= rotations(puzzle, image) | rotations(puzzle, puzzle.inverse(image))
        assert all_of(puzzle, family) <= covered
        assert all(normal(puzzle, word) == word for word in listed)


BALL = "ball-sixths"


@lru_cache(maxsize=8)
def of_type(name: str, kind: str) -> Scope:
    """Return the search for three-cycles of one type, all else kept."""
    puzzle = load(name)
    number = next(t.number for t in puzzle.types if t.name == kind)
    return scope(puzzle, None, None, (number,))


def check_shelves(one: Scope, found: Shelves, most: int = 6) -> list[int]:
    """Hold words on shelves to the plain simulator; return the lengths of those without setup."""
    puzzle = one.puzzle
    known = np.flatnonzero(found.shortest.cost[:, 0] < NONE)
    for k in known[:: max(1, len(known) // most)].tolist():
        size = int(found.shortest.length[k, 0])
        word = tuple(int(one.turns[t]) for t in found.shortest.words[k, 0, :size])
        cycle = cycle_of(puzzle, word, one.kept)
        assert cycle is not None
        assert orbits_of(one, [cycle]) == [k]
        assert_three_cycle(puzzle, word, cycle)
    return sorted(int(n) for n in found.shortest.cost[known, 0])


@pytest.mark.parametrize(("kind", "turns"), [("blade", 16), ("petal", 12), ("rim", 12)])
def test_small_pieces_of_the_170_piece_ball(kind: str, turns: int) -> None:
    """Twelve and sixteen turns; a prototype of this project knew 16, 18 and 22."""
    one = of_type(BALL, kind)
    arms = {12: (3, 2), 16: (4, 3)}[turns]
    found = shelved(one, [LongStep("turns", *arms)])
    assert check_shelves(one, found)[0] == turns
    assert (found.turns < NONE).all()


def test_edges_of_the_170_piece_ball() -> None:
    one = of_type(BALL, "edge")
    found = shelved(one, [LongStep("turns", 4, 3)])
    assert check_shelves(one, found)[0] == 16
    assert (found.turns < NONE).all()


def test_tips_of_the_170_piece_ball() -> None:
    """24 turns, conjugates of [X, Y] with arms of 4 and 4; the prototype knew 36.

    The words A are those that are known to have such a ring, for the sake of time.
    """
    one = of_type(BALL, "tip")
    filling = atlas.Filling(one, atlas.empty(one))
    for k in TIP_WORDS:
        part = rings.Part(4, True, 4, 4, 4, k, k + 1, COMMUTATORS)
        slices = 0
        for piece in rings.joined(one, [part]):
            filling.put(piece.records)
            assert piece.conjugates <= rings.MOST_SLICE
            slices += 1
        # Filling the tables is broken off as well, so that a stop is never waited for long.
        assert slices > 3
    found = filling.settled(0)
    assert check_shelves(one, found)[0] == 24
    assert (found.turns < NONE).all()


def test_long_steps_come_where_levels_take_long_and_find_nothing() -> None:
    one = of_type(BALL, "edge")
    found = atlas.empty(one)
    for half_length in range(1, 8):
        assert plan.next_step(one, found) == plan.level_step(one, half_length)
        found = atlas.Filling(one, found).settled(half_length, (), False)
    step = plan.next_step(one, found)
    assert step is not None
    assert step.long is not None
    assert step.half_length > 7
    assert step.cost < plan.level_step(one, 8).cost
    # On the 3x3x3 levels prove something, so that there is nothing else once all is known.
    cube = scope(load("3x3x3"))
    known = atlas.empty(cube)
    known = replace(known, half_length=10, turns=np.full_like(known.turns, 30))
    assert plan.next_step(cube, known) == plan.level_step(cube, 11)
    assert plan.next_step(cube, replace(known, turns=np.full_like(known.turns, NONE))) != (
        plan.level_step(cube, 11)
    )


def searched(one: Scope, goal: Goal, found: Shelves | None = None, threads: int = 1) -> Progress:
    *_, last = deepen(one, goal, found, threads)
    return last


class Steps(Goal):
    """Goes on until so many long steps are done."""

    def reached(self, scope: Scope, found: Shelves) -> bool:
        return len(found.steps) >= 3


def test_a_search_resumes_to_the_same_bytes(monkeypatch: pytest.MonkeyPatch) -> None:
    """Straight through, with two threads, and from stored shelves, byte by byte."""
    monkeypatch.setattr(plan, "PATIENCE", 1_000)
    one = scope(load("cube-edges"), None, None, (0,))
    goal = Steps(None, None, None)
    stored: dict[int, bytes] = {}
    for progress in deepen(one, goal):
        stored.setdefault(progress.shelves.number, progress.shelves.to_bytes())
        last = progress.shelves
    assert len(last.steps) == 3
    assert not last.astray
    assert searched(one, goal, None, 2).shelves.to_bytes() == last.to_bytes()
    for number, data in stored.items():
        shelves = Shelves.from_bytes(data)
        assert shelves.number == number
        assert searched(one, goal, shelves).shelves.to_bytes() == last.to_bytes()
    assert check_shelves(one, last)


def test_a_bounded_search_does_levels_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    one = scope(load("cube-edges"), None, None, (0,))
    usual = searched(one, Goal(5, None, None)).shelves
    assert not usual.astray
    monkeypatch.setattr(plan, "PATIENCE", 10)
    bounded = searched(one, Goal(5, None, None)).shelves
    assert bounded.astray
    assert bounded.number == 5
    assert bounded.steps == ()
    assert np.array_equal(bounded.turns, usual.turns)
    assert Shelves.from_bytes(bounded.to_bytes()).astray


def test_what_was_covered_is_said() -> None:
    assert coverage.covered(6, ()) == "all rings up to half-length 6"
    steps = [*steps_to(TURNS, 4, 3), LongStep("nested", 1, 0), LongStep("commutators", 1, 1)]
    assert coverage.covered(7, steps, " with all pieces told apart") == (
        "all rings up to half-length 7 with all pieces told apart, and rings of two conjugates, "
        "with arms of so many turns, of a single turn (4 and 3), of [X, [Y, Z]] (1 and 0)"
    )
    assert {f.length for f in FAMILIES.values()} == {1, 2, 4, 8, 10}
