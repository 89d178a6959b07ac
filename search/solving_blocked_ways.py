"""The shortest way home from every shape that also puts parities and twist sums right.

Breadth first over all pairs of a shape and what the invariants can be, from home outwards. A pair
that is not met belongs to no state that can be reached.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from puzzles.errors import LimitError
from puzzles.puzzle import Word
from puzzles.stopping import look
from search.solving_blocked_near import Invariants
from search.solving_blocked_shapes import Shapes

#: The most pairs of a shape and values of the invariants.
MOST_PAIRS = 20_000_000


class WaysHome:
    """How far home is from each pair, and by which turn it comes nearer.

    ``turns`` (shapes, values) is the number of turns, -1 where home cannot be reached.
    """

    def __init__(self, shapes: Shapes, invariants: Invariants) -> None:
        self.shapes, self.invariants = shapes, invariants
        count, size = len(shapes.turn_to), invariants.size
        if count * size > MOST_PAIRS:
            raise LimitError(
                f"what is fastened together can stand in {count:,} ways, with {size:,} of parities "
                f"and sums of twists each; more than {MOST_PAIRS:,} pairs are not looked at"
            )
        acts = shapes.acts[:, :, shapes.point_of]
        flat = acts.reshape(-1, acts.shape[2])
        #: What a turn at a shape adds to the invariants, (shapes, turns, columns).
        self.adds = invariants.of(flat).reshape(*acts.shape[:2], -1)
        self.turns = np.full((count, size), -1, dtype=np.int32)
        self._turn = np.full((count, size), -1, dtype=np.int16)
        self._search()

    def _search(self) -> None:
        shapes, inverses = self.shapes, self.shapes.puzzle.inverses
        moduli = self.invariants.moduli
        shape = np.zeros(1, dtype=np.int64)
        values = np.zeros((1, len(moduli)), dtype=np.int64)
        self.turns[0, 0] = 0
        depth = 0
        while len(shape):
            depth += 1
            rows: list[NDArray[np.int64]] = []
            next_values: list[NDArray[np.int64]] = []
            for turn in range(shapes.turn_to.shape[1]):
                look()
                there = shapes.turn_to[shape, turn].astype(np.int64)
                at = np.flatnonzero(there >= 0)
                own = (values[at] + self.adds[shape[at], turn]) % moduli
                numbers = self.invariants.numbers(own)
                new = self.turns[there[at], numbers] < 0
                at, own, numbers = at[new], own[new], numbers[new]
                self.turns[there[at], numbers] = depth
                self._turn[there[at], numbers] = inverses[turn]
                pairs = np.stack([there[at], numbers], axis=1)
                _, first = np.unique(pairs, axis=0, return_index=True)
                rows.append(there[at][first])
                next_values.append(own[first])
            shape = np.concatenate(rows)
            values = np.concatenate(next_values)

    def word(self, shape: int, values: NDArray[np.int64]) -> Word | None:
        """Return the shortest turns home, None if there are none."""
        values = values % self.invariants.moduli
        row: list[int] = []
        while True:
            number = int(self.invariants.numbers(values))
            left = int(self.turns[shape, number])
            if left < 0:
                return None
            if left == 0:
                return tuple(row)
            turn = int(self._turn[shape, number])
            row.append(turn)
            values = (values + self.adds[shape, turn]) % self.invariants.moduli
            shape = int(self.shapes.turn_to[shape, turn])
