"""Kinds that no three-cycles finish: their arrangements with shortest ways, if they are few."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from puzzles.puzzle import Word
from search.solving_blocked_near import Near

#: The most shapes with arrangements of these kinds that are known one by one.
MOST_ARRANGEMENTS = 200_000

Keys = NDArray[np.uint64]


class Few:
    """Every shape with every arrangement of some kinds and all sums, and the shortest way home.

    ``complete`` if there are no more than MOST_ARRANGEMENTS; only then the rest is known.
    ``states`` are all of them, ``arrangements`` those at the home shape; ``farthest`` is the most
    turns that one of these takes.
    """

    def __init__(self, near: Near, kinds: tuple[int, ...], seed: int = 2) -> None:
        self.near, self.shapes = near, near.shapes
        own = [self.shapes.kinds[number] for number in kinds]
        self._units = [u for kind in own for u in kind.units]
        random = np.random.default_rng(seed)
        size = (len(self._units), self.shapes.points)
        self._random = random.integers(0, 1 << 63, size=size, dtype=np.uint64) * np.uint64(2)
        self._of_shape = random.integers(0, 1 << 63, len(self.shapes.turn_to), dtype=np.uint64)
        moduli = near.invariants.moduli
        self._of_value = random.integers(0, 1 << 63, (len(moduli), 1), dtype=np.uint64)
        self.complete = not any(kind.has_alike for kind in own) and self._walked()

    def _walked(self) -> bool:
        shapes, near = self.shapes, self.near
        adds = near.invariants.of(
            shapes.acts[:, :, shapes.point_of].reshape(-1, len(shapes.point_of))
        ).reshape(*shapes.turn_to.shape, -1)
        shape = np.zeros(1, dtype=np.int64)
        element = shapes.point_of[self._units][None].astype(np.int16)
        values = np.zeros((1, len(near.invariants.moduli)), dtype=np.int64)
        keys = self._keys(shape, element, values)
        every, turned, depths, at_home = [keys], [np.full(1, -1)], [np.zeros(1, int)], 1
        depth, self.farthest = 0, 0
        while len(shape):
            depth += 1
            at, turn = np.nonzero(shapes.turn_to[shape] >= 0)
            there = shapes.turn_to[shape[at], turn].astype(np.int64)
            after = shapes.acts[shape[at, None], turn[:, None], element[at]]
            sums = (values[at] + adds[shape[at], turn]) % near.invariants.moduli
            keys = self._keys(there, after, sums)
            _, first = np.unique(keys, return_index=True)
            fresh = first[~np.isin(keys[first], np.concatenate(every))]
            shape, element, values = there[fresh], after[fresh], sums[fresh]
            every.append(keys[fresh])
            turned.append(shapes.puzzle.inverses[turn[fresh]].astype(np.int64))
            depths.append(np.full(len(fresh), depth))
            if sum(len(row) for row in every) > MOST_ARRANGEMENTS:
                return False
            if home := int((shape == 0).sum()):
                at_home, self.farthest = at_home + home, depth
        keys, turns = np.concatenate(every), np.concatenate(turned)
        order = np.argsort(keys)
        self._known, self._turns = keys[order], turns[order]
        self.arrangements, self.states = at_home, len(keys)
        return True

    def _keys(
        self, shape: NDArray[np.int64], element: NDArray[np.int16], values: NDArray[np.int64]
    ) -> Keys:
        keys: Keys = self._of_shape[shape]
        for k in range(len(self._units)):
            keys = keys + self._random[k][element[:, k]]
        for c in range(values.shape[1]):
            keys = keys + self._of_value[c] * values[:, c].astype(np.uint64)
        return keys

    def word(
        self, shape: int, element: NDArray[np.int16], values: NDArray[np.int64]
    ) -> Word | None:
        """Return the shortest turns that put shape, kinds and sums right; None for none.

        ``element`` (units,) is of all units, ``values`` (columns,) the sums.
        """
        adds, row = self.near.invariants, list[int]()
        own = element[self._units][None].astype(np.int16)
        sums = values[None] % adds.moduli
        while True:
            key = self._keys(np.array([shape]), own, sums)
            at = int(np.searchsorted(self._known, key[0]))
            if at == len(self._known) or self._known[at] != key[0]:
                return None
            turn = int(self._turns[at])
            if turn < 0:
                return tuple(row)
            row.append(turn)
            acts = self.shapes.acts[shape, turn]
            more = adds.of(acts[self.shapes.point_of][None])
            own, sums = acts[own], (sums + more) % adds.moduli
            shape = int(self.shapes.turn_to[shape, turn])
