"""Splits into three-cycles against exhaustive products, written out without any of the tables."""

from __future__ import annotations

import itertools
from functools import lru_cache

import numpy as np
import pytest

from puzzles import load
from puzzles.puzzle import Puzzle
from puzzles.states import State, from_cycles
from puzzles.words import length
from search.impossible import wanted_effect
from search.split_tables import TypeCycles, slots_of
from search.splits import (
    MEMORY,
    SEQUENCES,
    best_split,
    effect_of_triples,
    measured,
    splits,
)
from search.tools import UNKNOWN, Tools, tools_for

#: Puzzle, piece type, slots by their number in the type.
CASES = [
    ("3x3x3", "corner", (0, 1, 2)),
    ("3x3x3", "corner", (1, 2, 4, 7)),
    ("3x3x3", "edge", (0, 2, 5, 9, 11)),
    ("4x4x4", "edge", (0, 3, 8, 13, 17)),
    ("three-wheels", "bead", (0, 1, 5, 8, 9, 12)),
]


@lru_cache(maxsize=8)
def tools_of(name: str, kind: str) -> Tools:
    puzzle = load(name)
    found = puzzle.type_named(kind)
    assert found is not None
    return tools_for(puzzle, found)


def every_cycle(puzzle: Puzzle, slots: tuple[int, ...]) -> list[tuple[int, int, int]]:
    """Return all three-cycles on some slots, each once, by placements."""
    twists = puzzle.types[int(puzzle.type_of[slots[0]])].twists
    return [
        (int(puzzle.home[a]), int(puzzle.home[b]) + x, int(puzzle.home[c]) + y)
        for a, b, c in itertools.permutations(slots, 3)
        if a == min(a, b, c)
        for x in range(twists)
        for y in range(twists)
    ]


def fewest_turns(tools: Tools, slots: tuple[int, ...]) -> dict[tuple[int, ...], int]:
    """Return the least turns of a product of up to four three-cycles for every arrangement.

    One three-cycle after another onto every arrangement met so far: no halves, no looks. The key is
    where the pieces of the slots go.
    """
    puzzle = tools.puzzle
    homes = [int(puzzle.home[slot]) for slot in slots]
    cycles = []
    for triple in every_cycle(puzzle, slots):
        cost = int(tools.cost(np.array(triple)))
        if cost < UNKNOWN:
            cycles.append((wanted_effect(puzzle, triple).tolist(), cost))
    best = {tuple(homes): 0}
    last = dict(best)
    for _ in range(4):
        beyond: dict[tuple[int, ...], int] = {}
        for places, turns in last.items():
            for effect, cost in cycles:
                there = tuple([effect[p] for p in places])
                if turns + cost < beyond.get(there, UNKNOWN):
                    beyond[there] = turns + cost
        for there, turns in beyond.items():
            best[there] = min(turns, best.get(there, UNKNOWN))
        last = beyond
    return best


def state_of(puzzle: Puzzle, slots: tuple[int, ...], places: tuple[int, ...]) -> State:
    """Return the state that an effect which carries the pieces of slots to places undoes."""
    table = np.arange(puzzle.placement_count, dtype=np.int32)
    for slot, place in zip(slots, places, strict=True):
        goal = int(puzzle.slot_of[place])
        twists = puzzle.types[int(puzzle.type_of[slot])].twists
        for x in range(twists):
            there = int(puzzle.home[goal]) + (place - int(puzzle.home[goal]) + x) % twists
            table[there] = int(puzzle.home[slot]) + x
    return State(puzzle, table, True)


@pytest.mark.parametrize(("name", "kind", "numbers"), CASES)
def test_fewest_turns_of_all_products(name: str, kind: str, numbers: tuple[int, ...]) -> None:
    """For every arrangement (or 60 of them) the proven least sum of turns is the exhaustive one."""
    tools = tools_of(name, kind)
    puzzle = tools.puzzle
    slots = tuple(tools.kind.first_slot + k for k in numbers)
    best = fewest_turns(tools, slots)
    own, random = slots_of(TypeCycles(tools), slots), np.random.default_rng(2)
    rows = sorted(best)
    for k in random.permutation(len(rows))[:60].tolist():
        state = state_of(puzzle, slots, rows[k])
        found = splits(own, state)
        assert found is not None
        assert found.fewest == best[rows[k]]
        assert found.executed <= found.turns
        assert state.after(effect_of_triples(puzzle, found.triples)).is_solved
        word = [turn for triple in found.triples for turn in tools.word(triple)]
        assert length(puzzle, word) == found.executed


@pytest.mark.parametrize("by", [SEQUENCES, MEMORY])
@pytest.mark.parametrize(
    ("name", "kind", "numbers"),
    [("3x3x3", "corner", (0, 1, 2)), ("4x4x4", "edge", (0, 3, 8, 13))],
)
def test_least_to_know_of_all_products(
    name: str, kind: str, numbers: tuple[int, ...], by: str
) -> None:
    """All products of at most four are written out; none has fewer sequences, or things."""
    tools = tools_of(name, kind)
    puzzle = tools.puzzle
    slots = tuple(tools.kind.first_slot + k for k in numbers)
    cycles = [t for t in every_cycle(puzzle, slots) if int(tools.cost(np.array(t))) < UNKNOWN]
    effects = [tuple(wanted_effect(puzzle, t).tolist()) for t in cycles]
    number = (tools.family if by == SEQUENCES else tools.orbit)(np.array(cycles)).tolist()
    value = [1] * len(cycles) if by == SEQUENCES else tools.things(np.array(cycles)).tolist()
    homes = tuple(int(puzzle.home[slot]) for slot in slots)
    best: dict[tuple[int, ...], int] = {homes: 0}
    for count in range(1, 5):
        for row in itertools.product(range(len(cycles)), repeat=count):
            places = homes
            for k in row:
                places = tuple([effects[k][p] for p in places])
            known = {number[k]: value[k] for k in row}
            best[places] = min(sum(known.values()), best.get(places, UNKNOWN))
    own = slots_of(TypeCycles(tools), slots)
    for places in sorted(best)[:40]:
        found = splits(own, state_of(puzzle, slots, places), by)
        assert found is not None
        assert (found.sequences if by == SEQUENCES else found.things) == best[places]


def test_two_twisted_corners_take_a_third_slot() -> None:
    """On two slots there is no three-cycle; the best helping slot is found."""
    tools = tools_of("3x3x3", "corner")
    state = from_cycles(tools.puzzle, "(UFR RUF FRU)(UBL BLU LUB)")
    found = best_split(tools, state)
    assert found is not None
    named = set(state.unsolved)
    every = [
        splits(slots_of(TypeCycles(tools), (*sorted(named), other)), state)
        for other in tools.kind.slots
        if other not in named
    ]
    assert found.executed == min(one.executed for one in every if one is not None)
    assert len(found.slots) == 3


def test_like_pieces_are_assigned_as_is_cheapest() -> None:
    """A swap of two unlike centres is one three-cycle through a third that looks like one."""
    tools = tools_of("4x4x4", "centre")
    swap = from_cycles(tools.puzzle, "(U.FR F.UR)")
    found = best_split(tools, swap)
    assert found is not None
    assert len(found.triples) == 1
    assert swap.after(effect_of_triples(tools.puzzle, found.triples)).is_solved
    assert best_split(tools, from_cycles(tools.puzzle, "(U.FR F.UR)", apart=True)) is None


def test_what_three_cycles_do_not_do() -> None:
    """A swap is odd, and three-cycles leave the sum of twists alone."""
    tools = tools_of("3x3x3", "corner")
    for text in ("(UFR UBL)", "(UFR RUF FRU)", "(UFR UBL UBR)(DFR RDF FRD)"):
        assert best_split(tools, from_cycles(tools.puzzle, text)) is None


def test_six_corners_at_most() -> None:
    tools = tools_of("3x3x3", "corner")
    found = best_split(tools, from_cycles(tools.puzzle, "(UFR UBL UFL UBR)(DFR DFL)"))
    assert found is not None
    assert found.proven
    assert len(found.slots) == 6
    again = measured(TypeCycles(tools), found.triples, found.slots)
    assert (again.turns, again.executed) == (found.turns, found.executed)
    seven = "(UFR UBL UFL UBR DFR DFL DBL)"
    assert best_split(tools, from_cycles(tools.puzzle, seven)) is None
