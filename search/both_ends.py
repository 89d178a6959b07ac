"""The shortest sequence of any form: breadth-first search over states, from both ends at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from search.fixed_problem import SEED, Problem

#: States that are looked at from both ends together before the search is broken off, and how many
#: bytes the states of one step may take before those that are known are left out.
MOST_STATES = 1_500_000
MOST_BYTES = 200_000_000


@dataclass(frozen=True)
class Ends:
    """What a search from both ends says about sequences of any form.

    ``turns`` is the length of the shortest, None if none was met. There is none of up to
    ``none_up_to`` turns, and none at all if ``never``: then all ``states`` that can be reached from
    one of the ends were seen.
    """

    turns: int | None
    none_up_to: int
    never: bool = False
    states: int = 0


class _Side:
    """States at each distance from one end: where the pieces of the kept slots are."""

    def __init__(
        self,
        problem: Problem,
        states: NDArray[np.int16],
        walks: NDArray[np.int32],
        places: NDArray[np.int32],
    ) -> None:
        self.moves = problem.frame.moves.astype(np.int16)
        self.walks, self.states, self.places = walks, states, places
        random = np.random.default_rng(SEED)
        shape = (states.shape[1], problem.puzzle.placement_count)
        self._value = random.integers(1, 2**64, size=shape, dtype=np.uint64)
        self.seen = np.zeros(0, dtype=np.uint64)
        self._keep(states, places)
        self.depth = 0

    def _keep(self, states: NDArray[np.int16], places: NDArray[np.int32]) -> None:
        keys = np.zeros(len(states), dtype=np.uint64)
        for k in range(states.shape[1]):
            keys += self._value[k, states[:, k]]
        fresh, first = np.unique(keys, return_index=True)
        new = ~_among(self.seen, fresh)
        self.newest = fresh[new]
        self.states, self.places = states[first[new]], places[first[new]]
        self.seen = np.sort(np.concatenate([self.seen, self.newest]))

    def grow(self) -> None:
        """Go on to all states that are one turn farther away."""
        states, places = [self.states[:0]], [self.places[:0]]
        for turn in range(len(self.moves)):
            after = self.places.copy()
            for b in range(after.shape[1]):
                after[:, b] = self.walks[b, after[:, b], turn]
            possible = (after >= 0).all(axis=1)
            states.append(self.moves[turn][self.states[possible]])
            places.append(after[possible])
        self._keep(np.concatenate(states), np.concatenate(places))
        self.depth += 1


def _among(row: NDArray[np.uint64], keys: NDArray[np.uint64]) -> NDArray[np.bool_]:
    """Return which keys stand in a sorted row."""
    if not len(row):
        return np.zeros(len(keys), dtype=np.bool_)
    at = np.minimum(np.searchsorted(row, keys), len(row) - 1)
    result: NDArray[np.bool_] = row[at] == keys
    return result


def from_both_ends(
    problem: Problem, most: int = MOST_STATES, stop: Callable[[], bool] = lambda: False
) -> Ends:
    """Return what is to be said of sequences of any form that lead to one of the wanted states."""
    puzzle, own, frame = problem.puzzle, problem.bodies, problem.frame
    homes = puzzle.home[list(problem.kept)]
    bodies = len(own.members)
    goals = np.array([one.effect[homes] for one in problem.wanted], dtype=np.int16)
    places = [own.found(puzzle.home, one.effect) for one in problem.wanted]
    at_goal = np.array(places, dtype=np.int32).reshape(len(goals), bodies)
    start = _Side(
        problem,
        np.array([homes], dtype=np.int16),
        frame.forth,
        np.zeros((1, bodies), dtype=np.int32),
    )
    end = _Side(problem, goals, frame.back, at_goal)
    while True:
        if _among(end.seen, start.newest).any() or _among(start.seen, end.newest).any():
            turns = start.depth + end.depth
            return Ends(turns, turns - 1)
        near, far = sorted((start, end), key=lambda side: len(side.states))
        if not len(near.states):
            return Ends(None, start.depth + end.depth, True, len(near.seen))
        # A turn leads to so many new states at most; most of them are known or blocked.
        growth = len(near.states) * len(frame.moves) // 2
        size = 2 * growth * near.states.shape[1] * near.states.itemsize
        if len(near.seen) + len(far.seen) + growth > most or size > MOST_BYTES or stop():
            return Ends(None, start.depth + end.depth)
        near.grow()
