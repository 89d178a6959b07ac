"""All states near home of a puzzle with shapes, and the short loops that pairs of them make.

Two short walks u and v that end at the same shape make a loop u v'. Of all walks up to some length
those pairs are found that cycle three units of one kind and leave the kinds that are kept alone: by
sorting keys that are sums of random values, one for each unit and point (as the search for rings
does, ``search.kernels.rows``). So all such loops up to twice that length are met.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from puzzles.puzzle import Word
from puzzles.stopping import look
from search.solving_blocked_shapes import Kind, Shapes

#: The most states near home that are kept, to bound memory (a few hundred bytes each).
MOST_STATES = 400_000
#: A three-cycle leaves one of so many blocks of its kind alone, so that keys tell the rest.
BLOCKS = 4
#: How many states with equal keys, in a row by length, are compared with each other.
WINDOW = 10

Keys = NDArray[np.uint64]
Elements = NDArray[np.int16]


@dataclass(frozen=True, eq=False)
class Found:
    """Three-cycles of one kind and where their words come from.

    ``triples`` (n, 3) are points of the kind, counted from its first: what is at the first goes to
    the second, that to the third. ``turns`` (n,) are lengths; ``one`` and ``two`` (n,) are the
    states whose walks make the loop, first forth, then back.
    """

    triples: NDArray[np.int32]
    turns: NDArray[np.int32]
    one: NDArray[np.int64]
    two: NDArray[np.int64]


class Invariants:
    """What three-cycles leave as it is: parities and twist sums, as whole numbers by their moduli.

    ``moduli`` (columns,); ``kind_of[c]`` and ``is_parity[c]`` say what column c is. Kinds in which
    some units look alike have no parity: these may change places.
    """

    def __init__(self, kinds: tuple[Kind, ...]) -> None:
        self.kinds = kinds
        columns: list[tuple[int, bool, int]] = []
        for number, kind in enumerate(kinds):
            if kind.count > 1 and not kind.has_alike:
                columns.append((number, True, 2))
            if kind.twists > 1:
                columns.append((number, False, kind.twists))
        self.kind_of = tuple(number for number, _, _ in columns)
        self.is_parity = tuple(parity for _, parity, _ in columns)
        self.moduli = np.array([m for _, _, m in columns], dtype=np.int64)

    @property
    def size(self) -> int:
        """How many values there are, all together."""
        return int(np.prod(self.moduli)) if len(self.moduli) else 1

    def of(self, elements: Elements) -> NDArray[np.int64]:
        """Return the values of elements (n, units) of H; shape (n, columns)."""
        result = np.zeros((len(elements), len(self.moduli)), dtype=np.int64)
        for c, (number, parity) in enumerate(zip(self.kind_of, self.is_parity, strict=True)):
            kind = self.kinds[number]
            own = elements[:, list(kind.units)].astype(np.int64) - kind.first
            if not parity:
                result[:, c] = (own % kind.twists).sum(axis=1) % kind.twists
                continue
            slots = own // kind.twists
            for k in range(kind.count):
                look()
                result[:, c] ^= (slots[:, k + 1 :] < slots[:, k : k + 1]).sum(axis=1) & 1
        return result

    def numbers(self, values: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return one number for each row of values."""
        result = np.zeros(values.shape[:-1], dtype=np.int64)
        for c, modulus in enumerate(self.moduli.tolist()):
            result = result * modulus + values[..., c] % modulus
        return result


class Near:
    """The states nearest home, breadth first: shapes, elements and how to come there.

    ``shape`` (n,), ``element`` (n, units), ``depth`` (n,) turns from home, ``parent`` and ``turn``
    (n,) the last step, ``values`` (n, columns) the invariants. All up to ``level`` turns are there.
    """

    def __init__(self, shapes: Shapes, most: int = MOST_STATES, seed: int = 1) -> None:
        self.shapes = shapes
        self.invariants = Invariants(shapes.kinds)
        random = np.random.default_rng(seed)
        units, points = len(shapes.reps), shapes.points
        self._random = _odd(random, (units, points))
        self._of_shape = _odd(random, (len(shapes.turn_to),))
        self._of_value = _odd(random, (max(len(self.invariants.moduli), 1),))
        start = shapes.point_of.astype(np.int16)[None]
        self.shape = np.zeros(1, dtype=np.int32)
        self.element: Elements = start
        self.parent = np.full(1, -1, dtype=np.int64)
        self.turn = np.full(1, -1, dtype=np.int16)
        self.depth = np.zeros(1, dtype=np.int32)
        self.level = 0
        self._grow(most)
        self.values = self._valued()

    def _grow(self, most: int) -> None:
        known = self._sums(self.element, self.shape)
        begin, before = 0, 1
        while begin < len(self.shape):
            count = len(self.shape) - begin
            # The next level grows at least about as much as the last one did.
            if self.level > 1 and len(self.shape) + count * count / before > most * 1.5:
                return
            state, turn = self._steps(begin)
            if not len(state):
                return
            shape = self.shapes.turn_to[self.shape[state], turn]
            element = self._after(state, turn)
            keys = self._sums(element, shape)
            _, first = np.unique(keys, return_index=True)
            fresh = first[~np.isin(keys[first], known)]
            if len(self.shape) + len(fresh) > most:
                return
            begin, before = len(self.shape), count
            known = np.concatenate([known, keys[fresh]])
            self.shape = np.concatenate([self.shape, shape[fresh]])
            self.element = np.concatenate([self.element, element[fresh]])
            self.parent = np.concatenate([self.parent, state[fresh]])
            self.turn = np.concatenate([self.turn, turn[fresh].astype(np.int16)])
            self.level += 1
            self.depth = np.concatenate(
                [self.depth, np.full(len(fresh), self.level, dtype=np.int32)]
            )

    def _steps(self, begin: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Return states of the last level and the turns that can be done there."""
        state, turn = np.nonzero(self.shapes.turn_to[self.shape[begin:]] >= 0)
        return state + begin, turn

    def _after(self, state: NDArray[np.int64], turn: NDArray[np.int64]) -> Elements:
        shape = self.shape[state]
        result = np.empty((len(state), self.element.shape[1]), dtype=np.int16)
        for u in range(result.shape[1]):
            look()
            result[:, u] = self.shapes.acts[shape, turn, self.element[state, u]]
        return result

    def _sums(self, element: Elements, shape: NDArray[np.int32]) -> Keys:
        keys = self._of_shape[shape]
        for u in range(element.shape[1]):
            look()
            keys = keys + self._random[u][element[:, u]]
        return keys

    def keys_of(self, element: Elements) -> Keys:
        """Return random sums that tell elements (n, units) apart; shape (n,)."""
        return self._sums(element, np.zeros(len(element), dtype=np.int32))

    def _valued(self) -> NDArray[np.int64]:
        return self.invariants.of(self.element)

    def word(self, state: int) -> Word:
        """Return the turns that lead from home to a state."""
        row = []
        while self.parent[state] >= 0:
            row.append(int(self.turn[state]))
            state = int(self.parent[state])
        return tuple(reversed(row))

    @cached_property
    def loops(self) -> NDArray[np.int64]:
        """The states that are loops, all but the first, which does nothing; shortest first."""
        return np.flatnonzero(self.shape == 0)[1:]

    def actions(self, states: NDArray[np.int64], kind: Kind) -> NDArray[np.int32]:
        """Return where loops carry each point of a kind, counted from its first; (n, points)."""
        own = self.element[states][:, list(kind.units)].astype(np.int32) - kind.first
        result = np.empty((len(states), kind.count, kind.twists), dtype=np.int32)
        for x in range(kind.twists):
            result[:, :, x] = own - own % kind.twists + (own + x) % kind.twists
        return result.reshape(len(states), kind.size)

    def three_cycles(self, number: int, kept: Iterable[int]) -> Found:
        """Return loops that cycle three units of a kind, and leave the kept kinds alone.

        What they do to other kinds is anything that leaves parities and twist sums as they are.
        """
        kinds = self.shapes.kinds
        kind = kinds[number]
        keys = self._of_shape[self.shape]
        for other in kept:
            for u in kinds[other].units:
                keys = keys + self._random[u][self.element[:, u]]
        for c in range(len(self.invariants.moduli)):
            keys = keys + self._of_value[c] * self.values[:, c].astype(np.uint64)
        own = self.element[:, list(kind.units)]
        sums = [
            sum(
                (
                    self._random[u][self.element[:, u]]
                    for k, u in enumerate(kind.units)
                    if k * BLOCKS // kind.count == block
                ),
                np.zeros(len(keys), dtype=np.uint64),
            )
            for block in range(BLOCKS)
        ]
        rows: list[tuple[NDArray[np.int32], NDArray[np.int64], NDArray[np.int64]]] = []
        for block in range(BLOCKS):
            look()
            rows += list(self._paired(keys + sums[block], own, kind))
        if not rows:
            none = np.zeros(0, dtype=np.int64)
            return Found(np.zeros((0, 3), np.int32), np.zeros(0, np.int32), none, none)
        triples = np.concatenate([t for t, _, _ in rows])
        one = np.concatenate([a for _, a, _ in rows])
        two = np.concatenate([b for _, _, b in rows])
        return Found(triples, self.depth[one] + self.depth[two], one, two)

    def _paired(
        self, keys: Keys, own: Elements, kind: Kind
    ) -> Iterable[tuple[NDArray[np.int32], NDArray[np.int64], NDArray[np.int64]]]:
        """Yield three-cycles among states with equal keys, forth and back."""
        order = np.lexsort((self.depth, keys))
        ordered = keys[order]
        for apart in range(1, WINDOW + 1):
            look()
            at = np.flatnonzero(ordered[apart:] == ordered[:-apart])
            if not len(at):
                return
            one, two = order[at], order[at + apart]
            three = (own[one] != own[two]).sum(axis=1) == 3
            one, two = one[three], two[three]
            for a, b in ((one, two), (two, one)):
                triples, good = _cycles(own[a] - kind.first, own[b] - kind.first, kind)
                yield triples, a[good], b[good]


def _odd(random: np.random.Generator, shape: tuple[int, ...]) -> Keys:
    drawn: Keys = random.integers(0, 1 << 63, size=shape, dtype=np.uint64)
    return drawn * np.uint64(2) + np.uint64(1)


def _cycles(
    one: Elements, two: Elements, kind: Kind
) -> tuple[NDArray[np.int32], NDArray[np.int64]]:
    """Return the triples of loops "one, then two undone", and which of them are three-cycles.

    Elements (n, units of the kind) by points of the kind, different for three units each.
    """
    where = np.nonzero(one != two)[1].reshape(-1, 3)
    n = len(where)
    if not n:
        return np.zeros((0, 3), dtype=np.int32), np.zeros(0, dtype=np.int64)
    line = np.arange(n)[:, None]
    a = one[line, where].astype(np.int32)
    b = two[line, where].astype(np.int32)
    t = kind.twists
    # Unit i stands after "one" where unit to[i] stands after "two".
    same = (a[:, :, None] // t) == (b[:, None, :] // t)
    to = same.argmax(axis=2)
    good = same.any(axis=2).all(axis=1) & (to != np.arange(3)).all(axis=1)
    good &= (np.sort(to, axis=1) == np.arange(3)).all(axis=1)
    shift = (a - np.take_along_axis(b, to, 1)) % t
    second = to[:, 0]
    third = np.take_along_axis(to, second[:, None], 1)[:, 0]
    flat = np.arange(n)
    x = shift[:, 0]
    y = (x + shift[flat, second]) % t
    good &= (y + shift[flat, third]) % t == 0
    triples = np.stack(
        [where[:, 0] * t, where[flat, second] * t + x, where[flat, third] * t + y], axis=1
    ).astype(np.int32)
    kept = np.flatnonzero(good)
    return triples[kept], kept
