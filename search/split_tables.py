"""Some slots of one kind: every three-cycle on them as small tables, and how their pieces look."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from puzzles.puzzle import Puzzle
from puzzles.states import State, looks
from puzzles.words import length
from search.frames import Numbers
from search.tools import UNKNOWN, Tools

Places = NDArray[np.int8]
Triple = tuple[int, int, int]


class Cycles(Protocol):
    """Three-cycles among the slots of one kind, and what is known of each.

    Places are numbers, those of one slot in a row by twist. A triple of places (..., 3) is the
    three-cycle of what is at the first to the second, that to the third, that to the first.
    """

    @property
    def twists(self) -> int:
        """How many places a slot has."""

    def firsts(self, slots: Sequence[int]) -> Numbers:
        """Return the place with twist 0 of each of some slots."""

    def cost(self, triples: NDArray[np.integer]) -> Numbers:
        """Return executed turns, ``tools.UNKNOWN`` where no word is known."""

    def things(self, triples: NDArray[np.integer]) -> Numbers:
        """Return how many things there are to remember."""

    def family(self, triples: NDArray[np.integer]) -> Numbers:
        """Return numbers that are the same where one word is done after different setups."""

    def orbit(self, triples: NDArray[np.integer]) -> Numbers:
        """Return numbers that are the same for images and inverses of a triple."""

    def executed(self, triples: Sequence[Triple]) -> int:
        """Return how many turns are left of triples done in a row."""


@dataclass(frozen=True, eq=False)
class TypeCycles:
    """The three-cycles of a piece type; places are the puzzle's placements."""

    tools: Tools

    @property
    def twists(self) -> int:
        """How many placements a slot has."""
        return self.tools.kind.twists

    def firsts(self, slots: Sequence[int]) -> Numbers:
        """Return the placement with twist 0 of each of some slots."""
        return self.tools.puzzle.home[list(slots)].astype(np.int64)

    def cost(self, triples: NDArray[np.integer]) -> Numbers:
        """See ``Tools.cost``."""
        return self.tools.cost(triples)

    def things(self, triples: NDArray[np.integer]) -> Numbers:
        """See ``Tools.things``."""
        return self.tools.things(triples)

    def family(self, triples: NDArray[np.integer]) -> Numbers:
        """See ``Tools.family``."""
        return self.tools.family(triples)

    def orbit(self, triples: NDArray[np.integer]) -> Numbers:
        """See ``Tools.orbit``."""
        return self.tools.orbit(triples)

    def executed(self, triples: Sequence[Triple]) -> int:
        """Return how many turns are left of triples done in a row."""
        turns = [turn for triple in triples for turn in self.tools.word(triple)]
        return length(self.tools.puzzle, turns)


@dataclass(frozen=True, eq=False)
class Slots:
    """Some slots of one kind, numbered in a row, and every known three-cycle on them.

    A local placement is ``k * twists + x`` for slot number k. Row 0 of all tables is no cycle at
    all: ``effects`` (cycles + 1, placements) says where placements go, ``turns``, ``families``,
    ``orbits``, ``things`` (cycles + 1,) measure the cycles, ``inverse`` numbers what undoes each.
    """

    cycles: Cycles
    slots: tuple[int, ...]
    triples: Numbers
    effects: Places
    inverse: Numbers

    @property
    def pairs(self) -> int:
        """How many products of two there are."""
        return len(self.effects) ** 2

    @cached_property
    def turns(self) -> Numbers:
        return _with_none(self.cycles.cost(self.triples), 0)

    @cached_property
    def families(self) -> Numbers:
        return _with_none(self.cycles.family(self.triples), -1)

    @cached_property
    def orbits(self) -> Numbers:
        return _with_none(self.cycles.orbit(self.triples), -1)

    @cached_property
    def things(self) -> Numbers:
        return _with_none(self.cycles.things(self.triples), 0)


def _with_none(values: Numbers, none: int) -> Numbers:
    return np.concatenate([np.array([none], dtype=np.int64), values.astype(np.int64)])


def slots_of(cycles: Cycles, slots: Sequence[int]) -> Slots:
    """Return slots with all three-cycles on them that have a word."""
    n, t, home = len(slots), cycles.twists, cycles.firsts(slots)
    rows = [
        (a, b, c, x, y)
        for a, b, c in itertools.permutations(range(n), 3)
        if a < b and a < c
        for x in range(t)
        for y in range(t)
    ]
    a, b, c, x, y = np.array(rows, dtype=np.int64).reshape(-1, 5).T
    triples = np.stack([home[a], home[b] + x, home[c] + y], axis=1)
    known = cycles.cost(triples) < UNKNOWN
    a, b, c, x, y, triples = (column[known] for column in (a, b, c, x, y, triples))
    effects = np.tile(np.arange(n * t, dtype=np.int64), (len(triples) + 1, 1))
    number = np.arange(1, len(triples) + 1)
    for z in range(t):
        effects[number, a * t + z] = b * t + (x + z) % t
        effects[number, b * t + (x + z) % t] = c * t + (y + z) % t
        effects[number, c * t + (y + z) % t] = a * t + z
    place = {tuple(row): k for k, row in enumerate(effects.tolist())}
    undone = np.argsort(effects, axis=1)
    inverse = np.array([place.get(tuple(row), -1) for row in undone.tolist()], dtype=np.int64)
    return Slots(cycles, tuple(slots), triples, effects.astype(np.int8), inverse)


@dataclass(frozen=True, eq=False)
class SlotLooks:
    """How the pieces at home in some slots look: a number, an added twist, how many twists show."""

    number: Numbers
    added: Numbers
    twists: int
    seen: int

    def keys(self, places: Places) -> Numbers:
        """Return for arrangements (n, slots) numbers that are the same for what looks the same.

        ``places[k, i]`` is the local placement of the piece at home in slot number i.
        """
        base = (int(self.number.max(initial=0)) + 1) * self.seen
        result = np.zeros(len(places), dtype=np.int64)
        for i in range(places.shape[1]):
            own = places[:, i].astype(np.int64)
            slot, twist = own // self.twists, own % self.twists
            digit = self.number[i] * self.seen + (twist + self.added[i]) % self.seen
            result += digit * base**slot
        return result


def looks_of(puzzle: Puzzle, slots: Sequence[int], apart: bool) -> SlotLooks:
    """Return how the pieces of some slots of a type look."""
    group, added, seen = looks(puzzle, apart)
    own = list(slots)
    _, number = np.unique(group[own], return_inverse=True)
    kind = puzzle.types[int(puzzle.type_of[own[0]])]
    shows = int(seen[own[0]])
    return SlotLooks(number.astype(np.int64), added[own].astype(np.int64), kind.twists, shows)


def arrangement(state: State, slots: Sequence[int]) -> Places | None:
    """Return the local placement of the piece of each of some slots, by looks; shape (slots,).

    All slots of the type that are not among them look solved, so that the pieces in these look like
    those at home in these. Of pieces that look the same any may be meant. None where no assignment
    fits.
    """
    puzzle = state.puzzle
    group, added, _ = looks(puzzle, state.apart)
    places = state.table[puzzle.home]
    at = np.empty(puzzle.slot_count, dtype=np.int64)
    at[puzzle.slot_of[places]] = np.arange(puzzle.slot_count)
    twists = puzzle.types[int(puzzle.type_of[slots[0]])].twists
    result = np.full(len(slots), -1, dtype=np.int8)
    free = list(range(len(slots)))
    own = [int(at[slot]) for slot in slots]
    order = sorted(range(len(slots)), key=lambda k: own[k] not in slots)
    for k in order:
        piece = own[k]
        fitting = [i for i in free if group[slots[i]] == group[piece]]
        if not fitting:
            return None
        i = next((i for i in fitting if slots[i] == piece), fitting[0])
        free.remove(i)
        twist = int(puzzle.twist_of[places[piece]] + added[piece] - added[slots[i]]) % twists
        result[i] = k * twists + twist
    return result
