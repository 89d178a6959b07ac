"""What every three-cycle of a kind of units costs, and its word, some other kinds being kept.

Known three-cycles are carried on by setups: for a loop S and a cycle X, S X S' is the cycle of what
S carries to where X takes hold. A shortest-path walk over all triples of points gives for each the
cheapest way that is made so (Bellman and Ford's relaxation, all triples at once).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from puzzles.puzzle import Word
from puzzles.stopping import look
from search.solving_blocked_near import Found, Near
from search.solving_blocked_shapes import Kind

#: Loops that are taken as setups, of those that act differently on the kind, shortest first.
SETUPS = 500
#: The cost of a three-cycle for which nothing was found.
UNKNOWN = 30_000

Numbers = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Numbering:
    """Three-cycles of a kind by number: a slot, and two points of other slots.

    Number ``(a * size + q) * size + r`` is the cycle that takes what is at slot a with twist 0 to
    point q, that to point r. ``valid`` are the numbers of three different slots.
    """

    kind: Kind

    @property
    def size(self) -> int:
        """How many numbers there are, also of no three-cycles."""
        return self.kind.count * self.kind.size**2

    def number(self, triples: NDArray[np.integer]) -> Numbers:
        """Return the numbers of triples of points (n, 3)."""
        t, size = self.kind.twists, self.kind.size
        p, q, r = (triples[:, k].astype(np.int64) for k in range(3))
        x = p % t
        return ((p // t) * size + _back(q, x, t)) * size + _back(r, x, t)

    def triples(self) -> Numbers:
        """Return the triple of every number; (size, 3)."""
        n = np.arange(self.size, dtype=np.int64)
        size = self.kind.size
        return np.stack([n // size**2 * self.kind.twists, n // size % size, n % size], axis=1)

    def valid(self) -> NDArray[np.bool_]:
        """Return which numbers are of three different slots."""
        a, b, c = (self.triples() // self.kind.twists).T
        return np.asarray((a != b) & (b != c) & (a != c))


def _back(point: Numbers, twist: Numbers, twists: int) -> Numbers:
    """Return points turned back by so many twists."""
    result: Numbers = point - point % twists + (point - twist) % twists
    return result


class Cycles:
    """Costs and words of all three-cycles of one kind, with some other kinds kept.

    ``cost`` (numbers,) is in turns before cancelling, ``UNKNOWN`` for none; ``complete`` if every
    three-cycle has a word.
    """

    def __init__(
        self, near: Near, kind: int, found: Found, more: Mapping[tuple[int, int, int], Word]
    ) -> None:
        self.near, self.kind = near, near.shapes.kinds[kind]
        self.numbering = Numbering(self.kind)
        self.words: list[Word] = []
        n = self.numbering.size
        self.cost = np.full(n, UNKNOWN, dtype=np.int32)
        # Where a cycle comes from: a word of its own, or a setup (-1 for none) and another cycle.
        self._word = np.full(n, -1, dtype=np.int32)
        self._setup = np.full(n, -1, dtype=np.int64)
        self._next = np.full(n, -1, dtype=np.int64)
        self._begin(found, more)
        valid = self.numbering.valid()
        if (self.cost < UNKNOWN).any():
            self._carry(valid)
        self.complete = bool(valid.any() and (self.cost[valid] < UNKNOWN).all())
        known = valid & (self.cost < UNKNOWN)
        #: The mean cost of a cycle.
        self.mean = float(self.cost[known].mean()) if known.any() else float(UNKNOWN)

    def _begin(self, found: Found, more: Mapping[tuple[int, int, int], Word]) -> None:
        near, puzzle = self.near, self.near.shapes.puzzle
        numbers = self.numbering.number(found.triples)
        order = np.lexsort((found.turns, numbers))
        _, first = np.unique(numbers[order], return_index=True)
        for k in order[first].tolist():
            look()
            back = puzzle.inverse(near.word(int(found.two[k])))
            self._own(int(numbers[k]), (*near.word(int(found.one[k])), *back))
        for triple, word in more.items():
            self._own(int(self.numbering.number(np.array([triple]))[0]), word)

    def _own(self, number: int, word: Word) -> None:
        if len(word) < self.cost[number]:
            self.cost[number] = len(word)
            self._word[number] = len(self.words)
            self.words.append(word)

    def _carry(self, valid: NDArray[np.bool_]) -> None:
        """Relax all triples by all setups until nothing is cheaper."""
        triples = self.numbering.triples()
        ways: list[tuple[int, int, Numbers]] = [
            (-1, 0, self.numbering.number(triples[:, [1, 2, 0]]))
        ]
        states, acts = self._setups()
        for state, act in zip(states.tolist(), acts, strict=True):
            ways.append(
                (state, 2 * int(self.near.depth[state]), self.numbering.number(act[triples]))
            )
        changed = True
        while changed:
            changed = False
            for state, turns, to in ways:
                look()
                through = self.cost[to] + turns
                better = np.flatnonzero(valid & (through < self.cost))
                if len(better):
                    changed = True
                    self.cost[better] = through[better]
                    self._word[better] = -1
                    self._setup[better] = state
                    self._next[better] = to[better]

    def _setups(self) -> tuple[Numbers, NDArray[np.int32]]:
        """Return loops that act differently on the kind, shortest first, and how they act."""
        loops = self.near.loops
        acts = self.near.actions(loops, self.kind)
        _, first = np.unique(acts, axis=0, return_index=True)
        chosen = np.sort(first)[:SETUPS]
        return loops[chosen], acts[chosen]

    def ends(self) -> Numbers:
        """Return for every number which of ``words`` it is done with in the end, -1 for none."""
        leads = np.where(self._word >= 0, np.arange(len(self._next)), self._next)
        leads = np.where(self.cost < UNKNOWN, leads, -1)
        # Beyond the last number, so that -1 stays what it is.
        ends = np.append(leads, -1)
        while not np.array_equal(ends[ends], ends):
            ends = ends[ends]
        known = ends[:-1] >= 0
        return np.where(known, self._word[ends[:-1]], -1).astype(np.int64)

    def word(self, number: int) -> tuple[Word, Word]:
        """Return the setup and the cycle in its middle, of which S X S' does a three-cycle."""
        setup: list[int] = []
        while self._word[number] < 0:
            if self._setup[number] >= 0:
                setup += self.near.word(int(self._setup[number]))
            number = int(self._next[number])
        return tuple(setup), self.words[int(self._word[number])]
