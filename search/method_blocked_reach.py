"""Where turns can be blocked: which three-cycles of a kind a few sequences reach, at what cost.

A sequence X is done at any shape at which all its turns are possible and which it leaves as it was.
A setup S is any walk from home to such a shape: S X S' cycles what S carries to where X takes hold.
Further setups are loops around that. Images of X under those symmetries of the puzzle that keep
what is fastened and what is forbidden count as X, and so does its inverse.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from puzzles.puzzle import Puzzle, Table, Word
from search.solving_blocked_cycles import UNKNOWN, Cycles, Numbering
from search.solving_blocked_near import Found, Near
from search.solving_blocked_shapes import Kind, Shapes

#: States near home whose walks are tried as setups, the nearest first.
STATES = 20_000
#: Loops that are put around these, the shortest first, of those that act differently on the kind.
LOOPS = 250

Numbers = NDArray[np.int64]


@lru_cache(maxsize=8)
def images(puzzle: Puzzle) -> tuple[Table, ...]:
    """Return what each symmetry that keeps the blocks makes of turns; the first changes nothing."""
    every = np.arange(len(puzzle.turns), dtype=np.int32)
    kept = [every]
    bodies = {frozenset(own) for own in puzzle.bonds}
    for symmetry in puzzle.symmetries:
        to = puzzle.slot_of[symmetry.placements[puzzle.home]]
        if {frozenset(int(to[slot]) for slot in own) for own in bodies} != bodies:
            continue
        if puzzle.blocked is not None:
            there = puzzle.blocked[symmetry.turns][:, symmetry.placements]
            if (there != puzzle.blocked).any():
                continue
        if not any((symmetry.turns == own).all() for own in kept):
            kept.append(symmetry.turns)
    return tuple(kept)


def imaged(puzzle: Puzzle, word: Word) -> tuple[Word, ...]:
    """Return a word and its images, each once; the word itself first."""
    return tuple(dict.fromkeys(tuple(int(to[t]) for t in word) for to in images(puzzle)))


def done_at(shapes: Shapes, word: Word) -> tuple[Numbers, NDArray[np.int16]]:
    """Return the shapes at which a word is possible that it leaves as they are, and what it does.

    Shapes (n,), and for each the element of H (n, units): where it takes each unit from the point
    at which it stands when nothing was done.
    """
    start = np.arange(len(shapes.turn_to), dtype=np.int64)
    here = start
    element = np.tile(shapes.point_of.astype(np.int16), (len(start), 1))
    for turn in word:
        there = shapes.turn_to[here, turn].astype(np.int64)
        able = np.flatnonzero(there >= 0)
        element = shapes.acts[here[able, None], turn, element[able]]
        start, here = start[able], there[able]
    same = np.flatnonzero(start == here)
    return start[same], element[same]


@dataclass(frozen=True, eq=False)
class Hold:
    """Where a word cycles three units of a kind: shapes (n,) and triples of points (n, 3)."""

    shapes: Numbers
    triples: Numbers


def hold(near: Near, kind: Kind, kept: Iterable[int], word: Word) -> Hold:
    """Return where a word cycles three units of a kind, leaves the kept kinds and all sums alone.

    ``kept`` are other kinds by number; points are counted from the first of the kind.
    """
    shapes = near.shapes
    at, element = done_at(shapes, word)
    moved = element != shapes.point_of
    good = moved[:, list(kind.units)].sum(axis=1) == 3
    for number in kept:
        good &= ~moved[:, list(shapes.kinds[number].units)].any(axis=1)
    at, element = at[good], element[good]
    good = ~near.invariants.of(element).any(axis=1)
    at, element = at[good], element[good]
    own = element[:, list(kind.units)].astype(np.int64) - kind.first
    triples, good = cycled(own, kind.twists)
    return Hold(at[good], triples[good])


def cycled(goes: Numbers, twists: int) -> tuple[Numbers, NDArray[np.bool_]]:
    """Return the triples (n, 3) of elements that move three units, and which are three-cycles.

    ``goes`` (n, units): the point at which each unit ends, counted from the first of the kind.
    """
    n, line = len(goes), np.arange(len(goes))
    home = np.arange(goes.shape[1]) * twists
    first = (goes != home).argmax(axis=1) if n else np.zeros(0, dtype=np.int64)
    row = [first * twists]
    for _ in range(3):
        point = row[-1]
        there = goes[line, point // twists]
        row.append(there - there % twists + (there + point) % twists)
    a, b, c, back = row
    good = (back == a) & (a != b) & (b // twists != a // twists) & (c // twists != a // twists)
    return np.stack([a, b, c], axis=1), good & (b // twists != c // twists)


class Ground:
    """What is the same for all sequences of one kind: the walks and loops that set up."""

    def __init__(self, near: Near, kind: int, states: int = STATES, loops: int = LOOPS) -> None:
        self.near, self.number = near, kind
        self.kind = near.shapes.kinds[kind]
        self.numbering = Numbering(self.kind)
        self.valid = self.numbering.valid()
        self._states, self._most = min(states, len(near.shape)), loops
        #: The number of each cycle with the next of its points first, and that of its inverse.
        triples = self.numbering.triples()
        self.turned = self.numbering.number(triples[:, [1, 2, 0]])
        self.undone = self.numbering.number(triples[:, [0, 2, 1]])

    @cached_property
    def back(self) -> NDArray[np.int32]:
        """Which point the walk to each state carries to each point of the kind; (states, points).

        Of walks that end at the same shape and act alike on the kind only a shortest is among them.
        """
        acts = self.near.actions(self.states, self.kind)
        return np.argsort(acts, axis=1).astype(np.int32)

    @cached_property
    def states(self) -> Numbers:
        """The states whose walks are setups, the nearest first."""
        every = np.arange(self._states)
        acts = self.near.actions(every, self.kind)
        rows = np.concatenate([self.near.shape[every, None], acts], axis=1)
        _, first = np.unique(rows, axis=0, return_index=True)
        return np.sort(first)

    @cached_property
    def loops(self) -> tuple[Numbers, Numbers, Numbers]:
        """Loops, their turns there and back, and what each makes of every number (loops, numbers).

        Entry n of a row is the cycle that the loop around cycle n does.
        """
        near = self.near
        loops = near.loops
        acts = near.actions(loops, self.kind)
        _, first = np.unique(acts, axis=0, return_index=True)
        chosen = np.sort(first)[: self._most]
        triples = self.numbering.triples()
        rows = np.argsort(acts[chosen], axis=1)
        to = np.stack([self.numbering.number(row[triples]) for row in rows]) if len(rows) else None
        there = np.zeros((0, self.numbering.size), dtype=np.int64) if to is None else to
        return loops[chosen], 2 * near.depth[loops[chosen]].astype(np.int64), there


@dataclass(frozen=True, eq=False)
class Base:
    """What one sequence does behind the walks alone, for every number of a three-cycle.

    ``cost`` (numbers,), UNKNOWN for none; ``state`` the walk; ``name`` which of ``words`` is done.
    """

    cost: NDArray[np.int32]
    state: Numbers
    name: NDArray[np.int32]
    words: tuple[Word, ...]


def base(ground: Ground, kept: Iterable[int], given: Word) -> Base:
    """Return what a sequence does behind every walk that leads to where it can be done."""
    near, numbering, puzzle = ground.near, ground.numbering, ground.near.shapes.puzzle
    cost = np.full(numbering.size, UNKNOWN, dtype=np.int32)
    states = np.full(numbering.size, -1, dtype=np.int64)
    names = np.full(numbering.size, -1, dtype=np.int32)
    words: list[Word] = []
    for word in imaged(puzzle, given):
        held = hold(near, ground.kind, kept, word)
        if not len(held.shapes):
            continue
        row = np.full(len(near.shapes.turn_to), -1, dtype=np.int64)
        row[held.shapes] = np.arange(len(held.shapes))
        at = row[near.shape[ground.states]]
        able = np.flatnonzero(at >= 0)
        numbers = numbering.number(ground.back[able[:, None], held.triples[at[able]]])
        # States are by depth, so that of equal numbers the first is the cheapest.
        numbers, first = np.unique(numbers, return_index=True)
        state = ground.states[able[first]]
        turns = (2 * near.depth[state] + len(word)).astype(np.int32)
        for k, own in enumerate((numbers, ground.undone[numbers])):
            for _ in range(3):
                better = np.flatnonzero(turns < cost[own])
                to = own[better]
                cost[to], states[to], names[to] = turns[better], state[better], len(words)
                own = ground.turned[own]
            words.append(puzzle.inverse(word) if k else word)
    return Base(cost, states, names, tuple(words))


class Reach(Cycles):
    """The three-cycles that some sequences reach, with their costs and words.

    ``cost`` and ``complete`` as of ``Cycles``; ``reached`` of ``needed`` three-cycles have a word.
    """

    def __init__(self, ground: Ground, bases: Iterable[Base]) -> None:
        none = np.zeros(0, dtype=np.int64)
        nothing = Found(np.zeros((0, 3), np.int32), np.zeros(0, np.int32), none, none)
        super().__init__(ground.near, ground.number, nothing, {})
        self.ground = ground
        self._every: list[Word] = []
        self._state = np.full(self.numbering.size, -1, dtype=np.int64)
        for own in bases:
            better = np.flatnonzero(own.cost < self.cost)
            self.cost[better], self._state[better] = own.cost[better], own.state[better]
            self._word[better] = own.name[better] + len(self._every)
            self._every += own.words
        self._around()
        known = ground.valid & (self.cost < UNKNOWN)
        self.reached = int(known.sum()) // 3
        self.needed = int(ground.valid.sum()) // 3
        self.complete = bool(self.needed) and self.reached == self.needed
        costs = self.cost[known]
        self.mean = float(costs.mean()) if len(costs) else float(UNKNOWN)
        self.most = int(costs.max(initial=0))

    def _around(self) -> None:
        """Put loops around what is known until nothing is cheaper, the cheapest first."""
        loops, turns, to = self.ground.loops
        # Loops are the shortest first, so that those of equal length stand together.
        lengths, begins = np.unique(turns, return_index=True)
        ends = [*begins[1:].tolist(), len(turns)]
        groups = [*zip(lengths.tolist(), begins.tolist(), ends, strict=True)]
        cost = 0
        top = int(self.cost[self.cost < UNKNOWN].max(initial=0))
        while cost <= top:
            at = np.flatnonzero(self.cost == cost)
            cost += 1
            if not len(at):
                continue
            for more, begin, end in groups:
                there = to[begin:end, at]
                better = np.flatnonzero(self.cost[there] > cost - 1 + more)
                if not len(better):
                    continue
                own, first = np.unique(there.reshape(-1)[better], return_index=True)
                loop, source = np.divmod(better[first], len(at))
                self.cost[own] = cost - 1 + more
                self._word[own], self._setup[own] = -1, loops[begin + loop]
                self._next[own] = at[source]
                top = max(top, cost - 1 + more)

    def word(self, number: int) -> tuple[Word, Word]:
        """Return the setup and the sequence in its middle, of which S X S' does a three-cycle."""
        setup: list[int] = []
        while self._word[number] < 0:
            setup += self.near.word(int(self._setup[number]))
            number = int(self._next[number])
        setup += self.near.word(int(self._state[number]))
        return tuple(setup), self._every[int(self._word[number])]
