"""Stabiliser chains: the exact order of a permutation group, and which permutations lie in it.

The chain is built from above with random elements and then verified without chance, as in Seress,
Permutation Group Algorithms, 2003, chapter 4 (the method of Schreier and Sims). All sifting is
done on many permutations at once; it looks whether it is to stop (``stopping``). A permutation is
an array p in which p[x] is the image of x.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from puzzles.puzzle import Table
from puzzles.stopping import look

Permutations = NDArray[np.int16]

#: Random elements of each stabiliser that are taken to generate it; what is missing is added.
PICKED = 4
#: So many random elements in a row must sift before the verification begins.
IDLE = 6
#: Permutations that are sifted at once, to bound memory.
BATCH = 4096
#: Verification is left out where it would look up more entries than this (about 20 s).
MOST_LOOKUPS = 4_000_000_000


@dataclass(eq=False)
class _Level:
    """The stabiliser of all points before ``point``: its generators and its orbit of ``point``.

    Everything from column ``start`` on may still move. ``place[x]`` is the position of x in the
    orbit or -1; row k of ``carry`` carries the point to the k-th of its orbit, ``back`` undoes it.
    """

    point: int
    start: int
    generators: list[Permutations]
    place: NDArray[np.int64]
    carry: Permutations
    back: Permutations

    @property
    def size(self) -> int:
        return len(self.carry)


class Chain:
    """The stabiliser chain of the group that permutations generate.

    ``generators`` has the shape (generators, points). ``blocks`` gives where each invariant set of
    points begins, in order, from 0; the points of one block stand in a row. ``order`` is a lower
    bound, and the order itself if ``verified``. ``most`` is a number that the order is known not to
    exceed: a chain that reaches it needs no further verification.
    """

    def __init__(
        self, generators: Table, blocks: tuple[int, ...], seed: int = 1, most: int | None = None
    ) -> None:
        self.points = generators.shape[1]
        self._most = most
        self._blocks = blocks
        self._random = np.random.default_rng(seed)
        self._identity = np.arange(self.points, dtype=np.int16)
        self._levels: list[_Level] = []
        first = [g for g in generators.astype(np.int16) if not np.array_equal(g, self._identity)]
        self._build(first)
        self._top = first
        if first:
            self._settle()
        self.verified = self._verify()

    @property
    def order(self) -> int:
        """The number of permutations that sift; exact if ``verified``."""
        return self.order_on(len(self._blocks))

    def order_on(self, blocks: int) -> int:
        """Return the order of the action on the first so many blocks alone."""
        end = self._blocks[blocks] if blocks < len(self._blocks) else self.points
        result = 1
        for level in self._levels:
            if level.point < end:
                result *= level.size
        return result

    def contains(self, permutations: Table) -> NDArray[np.bool_]:
        """Return which permutations lie in the chain; shape (permutations, points) to (…,).

        If ``verified``, these are exactly the elements of the group.
        """
        rows = np.atleast_2d(permutations).astype(np.int16)
        found = [
            part + k
            for part in range(0, len(rows), BATCH)
            for k, _, _ in self._failures(rows[part : part + BATCH], 0)
        ]
        result = np.ones(len(rows), dtype=np.bool_)
        result[found] = False
        return result

    def _build(self, generators: list[Permutations]) -> None:
        while generators:
            point = min(int(np.flatnonzero(g != self._identity)[0]) for g in generators)
            level = self._level(point, generators)
            self._levels.append(level)
            generators = []
            source = _Replacement(level.generators, self._random)
            for _ in range(PICKED):
                element = source.next()
                element = level.back[level.place[element[level.point]]][element]
                if not np.array_equal(element, self._identity):
                    generators.append(element)

    def _level(self, point: int, generators: list[Permutations]) -> _Level:
        inverses = [np.argsort(g).astype(np.int16) for g in generators]
        place = np.full(self.points, -1, dtype=np.int64)
        place[point] = 0
        orbit, back = [point], [self._identity]
        for k, x in enumerate(orbit):
            look()
            for generator, inverse in zip(generators, inverses, strict=True):
                y = int(generator[x])
                if place[y] < 0:
                    place[y] = len(orbit)
                    orbit.append(y)
                    back.append(back[k][inverse])
        rows = np.array(back)
        carry = np.empty_like(rows)
        np.put_along_axis(carry, rows.astype(np.int64), self._identity[None, :], axis=1)
        start = max(b for b in self._blocks if b <= point)
        return _Level(point, start, generators, place, carry, rows)

    def _failures(self, rows: Permutations, first: int) -> list[tuple[int, int, Permutations]]:
        """Return the rows that do not sift from level ``first`` on: row, level, what is left.

        What is left fixes the points of all levels before the one at which it failed, moves that
        level's point out of its orbit or, if it fixes that too, a point of a block before.
        """
        failed: list[tuple[int, int, Permutations]] = []
        begin = 0 if first >= len(self._levels) else self._levels[first].start
        current = rows[:, begin:]
        numbers = np.arange(len(rows))

        def fail(which: NDArray[np.bool_], level: int) -> None:
            nonlocal current, numbers
            for k in np.flatnonzero(which):
                left = self._identity.copy()
                left[begin:] = current[k]
                failed.append((int(numbers[k]), level, left))
            current, numbers = current[~which], numbers[~which]

        if begin:
            stray = (rows[:, :begin] != self._identity[:begin]).any(axis=1)
            if stray.any():
                failed.extend((int(k), first, rows[k]) for k in np.flatnonzero(stray))
                current, numbers = current[~stray], numbers[~stray]
        for number in range(first, len(self._levels)):
            look()
            level = self._levels[number]
            if level.start > begin:
                width = level.start - begin
                stray = (current[:, :width] != self._identity[begin : level.start]).any(axis=1)
                if stray.any():
                    fail(stray, number)
                current, begin = current[:, width:], level.start
            place = level.place[current[:, level.point - begin]]
            if (place < 0).any():
                fail(place < 0, number)
                place = place[place >= 0]
            at = (place * self.points)[:, None] + current
            current = level.back.reshape(-1).take(at)
        stray = (current != self._identity[begin:]).any(axis=1)
        if stray.any():
            fail(stray, len(self._levels))
        return failed

    def _repair(self, above: int, level: int, left: Permutations) -> int:
        """Add what was left of an element of level ``above``; return the lowest level changed."""
        moved = int(np.flatnonzero(left != self._identity)[0])
        if level == len(self._levels) or moved < self._levels[level].start:
            # All that is below fixes this block, so the new point can stand above it.
            below = self._levels[level].generators if level < len(self._levels) else []
            self._levels.insert(level, self._level(moved, [*below, left]))
            last = level - 1
        else:
            last = level
        for k in range(above + 1, last + 1):
            old = self._levels[k]
            self._levels[k] = self._level(old.point, [*old.generators, left])
        return level

    def _settle(self) -> None:
        """Sift random elements until a few in a row find nothing missing."""
        source = _Replacement(self._top, self._random)
        idle = 0
        while idle < IDLE:
            failures = self._failures(source.next()[None, :], 0)
            idle += 1
            for _, level, left in failures:
                self._repair(0, level, left)
                idle = 0

    def _lookups(self) -> int:
        total = below = 0
        for level in reversed(self._levels):
            below += self.points - level.start
            total += level.size * len(level.generators) * below
        return total

    def _verify(self) -> bool:
        """Sift all Schreier generators, lowest level first; return whether all of it was done."""
        number = len(self._levels) - 1
        while number >= 0:
            if self.order == self._most:
                return True
            if self._lookups() > MOST_LOOKUPS:
                return False
            level = self._levels[number]
            for generator in level.generators:
                failures = self._failures(generator[level.carry], number)
                if failures:
                    _, below, left = failures[0]
                    number = self._repair(number, below, left) + 1
                    break
            number -= 1
        return True


class _Replacement:
    """Random elements by product replacement, with an accumulator (Seress, section 2.2)."""

    def __init__(self, generators: list[Permutations], random: np.random.Generator) -> None:
        self._random = random
        count = max(10, len(generators) + 2)
        self._pool = [generators[k % len(generators)] for k in range(count)]
        self._sum = self._pool[0]
        for _ in range(5 * count):
            self.next()

    def next(self) -> Permutations:
        """Return the next element."""
        i, j = self._random.choice(len(self._pool), size=2, replace=False)
        other = self._pool[j]
        if self._random.random() < 0.5:
            other = np.argsort(other).astype(np.int16)
        self._pool[i] = other[self._pool[i]]
        self._sum = self._pool[i][self._sum]
        return self._sum
