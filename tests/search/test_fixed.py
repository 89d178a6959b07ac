"""The search in the fixed frame, against plain enumeration, state graphs and a plain simulator."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from importlib.resources import files
from itertools import pairwise

import networkx as nx
import numpy as np
import pytest

from puzzles import load
from puzzles.names import placement_name, read_placement
from puzzles.notation import parse
from puzzles.puzzle import Puzzle, Word
from puzzles.words import normal
from search import find, fixed
from search.both_ends import from_both_ends
from search.brackets import shortest_form
from search.fastened import bodies, possible
from search.fixed import FixedGoal, Sequences, deepen
from search.fixed_problem import Triple, Wanted, problem
from search.fixed_setups import Setups
from search.impossible import ImpossibleError
from search.kernels.fixed import cuts_of
from search.request import Bounds, request
from tests.brute import rotations
from tests.plain import assert_three_cycle
from tests.rigid import Rigid, State


def bonded(name: str, *bonds: tuple[str, ...]) -> Puzzle:
    puzzle = load(name)
    slots = tuple(tuple(read_placement(puzzle, n).slot for n in bond) for bond in bonds)
    return replace(puzzle, bonds=slots)


#: Pairs on a 3x3x3, and the layers that may turn.
SMALL = {
    "one pair beside the layers": ((("UBL", "UL"),), "URD"),
    "one pair that blocks at once": ((("UBR", "UB"),), "URD"),
    "two pairs": ((("UBL", "UL"), ("DFR", "FR")), "URF"),
    "an edge and a corner far off": ((("UFR", "UF"), ("DBL", "DL")), "UFL"),
}


class Brute:
    """All S X Y Z X' Y' Z' S' by plain enumeration, blocked as bodies of sampled points are."""

    def __init__(self, name: str) -> None:
        bonds, layers = SMALL[name]
        self.puzzle = bonded("3x3x3", *bonds)
        self.shown = Rigid(load("3x3x3"), bonds)
        self.layers = tuple(self.puzzle.layer_numbers[layer] for layer in layers)
        self.turns = [t for t, turn in enumerate(self.puzzle.turns) if turn.layer in layers]

    def walks(self, state: State, length: int, word: Word = ()) -> Iterator[tuple[Word, State]]:
        """Yield all words in normal form that can be done from a state, and where they lead."""
        if len(word) == length:
            yield word, state
            return
        for turn in self.turns:
            longer = (*word, turn)
            if normal(self.puzzle, longer) == longer and self.shown.possible(state, turn):
                yield from self.walks(self.shown.after(state, turn), length, longer)

    def sequences(self, total: int) -> Iterator[Word]:
        """Yield everything with so many turns in S, X, Y and Z, X possibly empty."""
        undone = self.puzzle.inverse
        for s in range(total - 1):
            for x in range(total - s - 1):
                for y in range(1, total - s - x):
                    for around, after in self.walks(self.shown.start, s):
                        for one, there in self.walks(after, x):
                            for two, further in self.walks(there, y):
                                for three, _ in self.walks(further, total - s - x - y):
                                    back = undone(one) + undone(two) + undone(three)
                                    yield around + one + two + three + back + undone(around)

    @cache  # noqa: B019
    def shortest(self, most: int) -> dict[Triple, dict[int, int]]:
        """Return for every cycle of corners the fewest turns, by the total up to which it came.

        All other corners stay, and what is fastened.
        """
        puzzle = self.puzzle
        kept = set(puzzle.types[0].slots) | {s for own in puzzle.bonds for s in own}
        homes = puzzle.home[sorted(kept)]
        found: dict[Triple, dict[int, int]] = {}
        seen: set[Word] = set()
        for total in range(2, most + 1):
            for written in self.sequences(total):
                word = normal(puzzle, written)
                if not word or word in seen:
                    continue
                seen.add(word)
                effect = puzzle.effect(word)
                moved = homes[effect[homes] != homes].tolist()
                if len(moved) != 3:
                    continue
                a, b = moved[0], int(effect[moved[0]])
                c = int(effect[b])
                if len({int(puzzle.slot_of[p]) for p in (a, b, c)}) < 3 or effect[c] != a:
                    continue
                if self.shown.first_blocked(word) is None:
                    own = found.setdefault((a, b, c), {})
                    own[total] = min(len(word), *own.values()) if own else len(word)
        return found


@cache
def brute(name: str) -> Brute:
    return Brute(name)


def searched(own: Brute, triple: Triple, level: int) -> dict[int, Sequences]:
    """Return what the search has found after each level."""
    wanted = problem(own.puzzle, [triple], own.layers, (0,))
    steps = deepen(wanted, FixedGoal(level, None))
    return {p.found.level: p.found for p in steps if p.share == 1.0}


@pytest.mark.parametrize("name", SMALL)
def test_shortest_lengths_against_all_sequences(name: str) -> None:
    """Up to a total of four turns in S, X, Y and Z, nothing shorter exists than what is found."""
    own, level = brute(name), 4
    every = own.shortest(level)
    for triple, lengths in every.items():
        after = searched(own, triple, level)
        for total in range(2, level + 1):
            known = [n for t, n in lengths.items() if t <= total]
            if known:
                best = after[total].best
                assert best is not None
                # A cut inside an arc may find at once what enumeration meets with more turns.
                assert best <= min(known)
        for word in after[level].words[0]:
            assert_found(own.puzzle, own.shown, triple, word)


def test_enumeration_and_search_meet_the_same_words() -> None:
    """At five turns in S, X, Y and Z: a pair that blocks at once; found for few of its cycles."""
    own = brute("one pair that blocks at once")
    every = own.shortest(5)
    # Counted once by the enumeration above; with no turn blocked there are more.
    assert len(every) == 104
    for triple in list(every)[::13]:
        assert searched(own, triple, 5)[5].best == min(every[triple].values())


def assert_found(puzzle: Puzzle, shown: Rigid, triple: Triple, word: Word) -> None:
    assert normal(puzzle, word) == word
    assert shown.first_blocked(word) is None
    effect = puzzle.effect(word)
    assert [int(effect[p]) for p in triple] == [triple[1], triple[2], triple[0]]
    form = shortest_form(puzzle, word)
    if form is not None:
        assert normal(puzzle, form.turns(puzzle)) == word
        # Also somebody who goes by the brackets meets no blocked turn.
        assert shown.first_blocked(form.turns(puzzle)) is None


BANDAGED = (("UFR", "UF"), ("DBL", "DB"), ("UBL", "BL"))


@pytest.mark.parametrize("cycle", ["UBR DFL DFR", "UR DL FL"])
def test_answers_on_a_bandaged_cube(cycle: str) -> None:
    """Every answer cycles three pieces of sampled points and tears no body apart on its way."""
    puzzle, shown = load("3x3x3-bandaged"), Rigid(load("3x3x3"), BANDAGED)
    found = find(puzzle, cycle, half_length=6)
    assert found.answers
    for answer in found.answers:
        triple = found.request.triples()[0]
        assert_found(puzzle, shown, triple, answer.word)
        assert_three_cycle(load("3x3x3"), answer.word, triple)
        assert shown.first_blocked(parse(puzzle, answer.notation).word) is None
        assert answer.why
    assert "up to 6 turns in S, A and B together" in found.searched.text
    assert "any form" in found.searched.text


def test_stops_are_kept() -> None:
    """Every face stops only at some angles: as counted, turn by turn."""
    puzzle = load("3x3x3-stops")
    shown = Rigid(load("3x3x3"), (), {"L": (0, 1, 2), "R": (0, 1, 2)})
    found = find(puzzle, "UBR DFL DFR", half_length=5)
    assert found.answers
    assert all(shown.first_blocked(answer.word) is None for answer in found.answers)
    # On a 3x3x3 whose layers stop everywhere more sequences do it in as many turns.
    free = find(load("3x3x3"), "UBR DFL DFR", half_length=5)
    assert found.answers[0].turns >= free.answers[0].turns


def test_without_blocks_the_shortest_are_those_of_the_other_search() -> None:
    """With a bond between pieces that no layer takes, nothing is blocked: lengths must agree."""
    puzzle, whole, layers = bonded("3x3x3", ("BL", "L")), load("3x3x3"), "U D R F"
    for cycle in ("UFL UBR DFL", "UF UR DF"):
        one = find(puzzle, cycle, layers=layers, half_length=6)
        other = find(whole, cycle, layers=layers, half_length=6)
        if other.answers and other.answers[0].turns <= 12:
            assert one.answers[0].turns == other.answers[0].turns
        else:
            assert not one.answers


def graph_of(shown: Rigid) -> nx.Graph:
    """Return the graph of all states that can be reached, by stickers."""
    graph: nx.Graph = nx.Graph()
    waiting = [shown.start]
    graph.add_node(shown.start)
    while waiting:
        state = waiting.pop()
        for turn in range(len(shown.moves)):
            if shown.possible(state, turn):
                there = shown.after(state, turn)
                if there not in graph:
                    waiting.append(there)
                graph.add_edge(state, there)
    return graph


@pytest.mark.parametrize("bonds", [(("UFL", "UBL"),), (("UFL", "UFR"), ("DFR", "DBR"))])
def test_all_states_of_a_small_puzzle(bonds: tuple[tuple[str, ...], ...]) -> None:
    """States and distances from both ends, against networkx on the graph of sticker states."""
    puzzle, shown = bonded("2x2x2", *bonds), Rigid(load("2x2x2"), bonds)
    graph = graph_of(shown)
    solved = nx.single_source_shortest_path_length(graph, shown.start)
    assert len(solved) == len(graph)
    held = {slot for own in puzzle.bonds for slot in own}
    a, b, c = [int(puzzle.home[s]) for s in puzzle.types[0].slots if s not in held][:3]
    own = problem(puzzle, [(a, b, c)])
    ends = from_both_ends(own, most=10_000_000)
    state = stickers(puzzle, (a, b, c))
    assert state not in graph
    assert (ends.turns, ends.never) == (None, True)
    # One of the ends is done, be it the wanted state's.
    assert ends.states in (len(graph), len(component(shown, state)))
    source = np.random.default_rng(5)
    for length in range(1, 12):
        state, word = shown.start, []
        for _ in range(length):
            turns = [t for t in range(len(puzzle.turns)) if shown.possible(state, t)]
            word.append(int(source.choice(turns)))
            state = shown.after(state, word[-1])
        asked = replace(own, wanted=(Wanted((a, b, c), puzzle.effect(word)),))
        assert from_both_ends(asked, most=10_000_000).turns == solved[state]


def component(shown: Rigid, state: State) -> nx.Graph:
    other = Rigid.__new__(Rigid)
    other.__dict__.update(shown.__dict__)
    other.start = state
    return graph_of(other)


def stickers(puzzle: Puzzle, triple: Triple) -> State:
    """Return where all stickers are when three pieces are cycled."""
    at = {(s.slot, s.kind, s.placement): k for k, s in enumerate(puzzle.stickers)}
    result = list(range(len(puzzle.stickers)))
    for start, end in zip(triple, (*triple[1:], triple[0]), strict=True):
        here, there = int(puzzle.slot_of[start]), int(puzzle.slot_of[end])
        twists = puzzle.types[int(puzzle.type_of[here])].twists
        by = int(puzzle.twist_of[end]) - int(puzzle.twist_of[start])
        for number, sticker in enumerate(puzzle.stickers):
            if sticker.slot == here:
                own = sticker.placement - int(puzzle.home[here])
                placement = int(puzzle.home[there]) + (own + by) % twists
                result[number] = at[there, sticker.kind, placement]
    return tuple(result)


def test_pieces_that_are_fastened_go_along() -> None:
    """Three pairs of a corner and an edge are cycled as pairs, and one alone cannot be."""
    pairs = (("UBR", "UB"), ("UFL", "FL"), ("DFR", "DR"))
    puzzle = bonded("3x3x3", *pairs)
    wanted = request(puzzle, "UBR FUL RDF").triples()[0]
    own = problem(puzzle, [wanted])
    effect = own.wanted[0].effect
    edges = [int(puzzle.home[read_placement(puzzle, n).slot]) for n in ("UB", "FL", "DR")]
    there = [int(puzzle.slot_of[effect[p]]) for p in edges]
    assert there == [read_placement(puzzle, n).slot for n in ("FL", "DR", "UB")]
    moved = puzzle.home[effect[puzzle.home] != puzzle.home]
    assert len(moved) == 6
    # Twisted so that the edges would have to go elsewhere, it tears the pairs apart.
    with pytest.raises(ImpossibleError, match="fastened together"):
        find(puzzle, "UBR UFL DFR")
    with pytest.raises(ImpossibleError, match=r"UBR and UB are fastened together, so UBR cannot"):
        find(puzzle, "UBR UBL DBL")


def test_fastened_pieces_of_free_types_are_back_in_the_end() -> None:
    puzzle = load("3x3x3-bandaged")
    found = find(puzzle, "UBR DFL DFR", free="edge", half_length=6)
    assert found.answers
    held = [slot for own in puzzle.bonds for slot in own]
    for answer in found.answers:
        effect = puzzle.effect(answer.word)
        assert np.array_equal(effect[puzzle.home[held]], puzzle.home[held])
    assert "put what is fastened back in its place" in found.searched.text
    assert found.searched.complete is None


def test_setups_that_lead_to_the_same_are_one() -> None:
    """Situations after up to three turns, against both walks of stickers, turn by turn."""
    pairs = SMALL["two pairs"][0]
    puzzle, shown = bonded("3x3x3", *pairs), Rigid(load("3x3x3"), pairs)
    triple = request(puzzle, "UFL UBR DFL").triples()[0]
    setups = Setups(problem(puzzle, [triple]))
    held = [s for body in shown.bodies for s in body]

    def situation(near: State, far: State) -> tuple[object, ...]:
        other = {(a, b) for a, b in zip(near, far, strict=True) if a != b}
        return tuple(near[s] for s in held), tuple(far[s] for s in held), frozenset(other)

    level = [(shown.start, stickers(puzzle, triple))]
    seen = {situation(*level[0])}
    for depth in range(1, 4):
        fresh = []
        for near, far in level:
            for turn in range(len(shown.moves)):
                if shown.possible(near, turn) and shown.possible(far, turn):
                    after = shown.after(near, turn), shown.after(far, turn)
                    if situation(*after) not in seen:
                        seen.add(situation(*after))
                        fresh.append(after)
        level = fresh
        assert len(setups.level(depth).wanted) == len(level)


def test_a_cyclic_word_has_all_its_cuts() -> None:
    """Also those past turns that commute, against moving turns one by one in plain Python."""
    puzzle = load("3x3x3")
    frame = problem(puzzle, [request(puzzle, "UFL UBR DFL").triples()[0]]).frame
    for text in ("R U F", "U D R2", "R L U D F", "R L U R2 D", "U D' L R' F B'"):
        word = parse(puzzle, text).word
        found = np.empty((256, len(word)), dtype=np.int64)
        found[0] = word
        count = cuts_of(frame.free, found, len(word))
        cuts = {tuple(row) for row in found[:count].tolist()}
        assert {normal(puzzle, cut) for cut in cuts} == rotations(puzzle, normal(puzzle, word))


def test_words_that_are_possible() -> None:
    """The quick look agrees with the puzzle's own, on scrambles and what follows them."""
    for name in ("3x3x3-bandaged", "3x3x3-stops"):
        puzzle = load(name)
        source = np.random.default_rng(1)
        for _ in range(200):
            word = tuple(source.integers(0, len(puzzle.turns), 5).tolist())
            assert possible(puzzle, word) == (puzzle.first_blocked(word) is None)


def test_bodies_walk_back_where_they_walked_forth() -> None:
    puzzle = load("3x3x3-bandaged")
    turns = tuple(range(len(puzzle.turns)))
    own = bodies(puzzle, turns)
    assert [len(places) for places in own.places] == [24, 24, 24]
    for forth, back in zip(own.forth, own.back, strict=True):
        for place, turn in np.argwhere(forth >= 0).tolist():
            there = forth[place, turn]
            assert forth[there, puzzle.inverses[turn]] == place
            assert back[place, turn] == there


def test_stored_sequences_come_back() -> None:
    own = brute("one pair beside the layers")
    triple = next(iter(own.shortest(4)))
    found = searched(own, triple, 4)[4]
    again = Sequences.from_bytes(found.to_bytes())
    assert (again.level, again.words) == (found.level, found.words)
    assert again.to_bytes() == found.to_bytes()


def test_a_search_goes_on_where_it_was_stopped() -> None:
    puzzle = load("3x3x3-bandaged")
    wanted = request(puzzle, "UBR DFL DFR").triples()
    own = problem(puzzle, wanted)
    calls: list[int] = []

    def stop() -> bool:
        calls.append(1)
        return len(calls) > 40

    *_, early = deepen(own, FixedGoal(6, None), stop=stop)
    assert early.found.level < 6
    *_, late = deepen(own, FixedGoal(6, None), early.found)
    *_, whole = deepen(own, FixedGoal(6, None))
    assert late.found.words == whole.found.words
    assert whole.found.best == 12


def test_written_turns_with_fastened_places() -> None:
    """Three wheels with a coin and a bead fastened, walked place by place from the cycles."""
    text = (files("puzzles") / "catalogue" / "three-wheels.toml").read_text(encoding="utf-8")
    data = tomllib.loads(text)
    steps = {}
    for turn in data["turns"]:
        rows = [re.findall(r"(\d+)(?:\+\d+)?", row) for row in turn["cycles"].split(")")]
        steps[turn["name"]] = {int(a): int(b) for r in rows if r for a, b in pairwise([*r, r[0]])}
    puzzle = bonded("three-wheels", ("1", "14"))
    found = find(puzzle, "8 11 13", keep="coin", any_twist=True, half_length=5)
    assert found.answers
    for answer in found.answers:
        at = {place: place for place in range(1, 29)}
        for number in answer.word:
            step = steps[puzzle.turns[number].layer]
            assert (at[1] in step) == (at[14] in step)
            for _ in range(puzzle.turns[number].amount):
                at = {piece: step.get(place, place) for piece, place in at.items()}
        # Coins 1 to 13 are kept, and the bead that is fastened to one of them.
        moved = {piece: place for piece, place in at.items() if piece != place and piece <= 14}
        assert moved == {8: 11, 11: 13, 13: 8}


def test_layers_that_nothing_can_hold_up() -> None:
    """Of a puzzle with stops, the layers without: nothing is a body then, and all is possible."""
    puzzle = load("3x3x3-stops")
    found = find(puzzle, "UBR DFL DFR", layers="U D F B", half_length=5)
    other = find(load("3x3x3"), "UBR DFL DFR", layers="U D F B", half_length=5)
    assert found.answers[0].turns == other.answers[0].turns


def test_goals_follow_bounds() -> None:
    assert fixed.goal_of(Bounds(turns=9)).level == 5
    assert fixed.goal_of(Bounds(turns=20, half_length=4)).level == 4
    assert fixed.goal_of(Bounds()).level is None
    none = Sequences(3, ((), ((1, 2, 3, 4),)))
    assert fixed.goal_of(Bounds()).reached(none)
    assert not fixed.goal_of(Bounds(), every=True).reached(none)
    # Where something shorter may exist, one level more is searched for turns that merge.
    even = replace(none, level=2)
    assert not fixed.goal_of(Bounds()).reached(even)
    assert fixed.goal_of(Bounds(), none_up_to=3).reached(even)


def test_names_of_what_is_found_are_read_back() -> None:
    puzzle = load("3x3x3-bandaged")
    found = find(puzzle, "UBR DFL DFR", half_length=6)
    assert [placement_name(puzzle, p) for p in found.request.triples()[0]] == list(found.cycle)
