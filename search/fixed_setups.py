"""Where setups lead in the fixed frame: both walks, level by level, each situation once.

A setup S is done from solved and from the wanted state at once. What can follow depends only on
where the bodies are in both, and on which placements differ; setups that agree in that are one.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from puzzles.errors import LimitError
from puzzles.puzzle import Word
from search.fixed_problem import SEED, Problem, untwisted
from search.kernels.fixed_arrays import Nodes

#: The most situations that are kept; each takes about 100 bytes.
MOST_NODES = 3_000_000


@dataclass(frozen=True, eq=False)
class Level:
    """All situations that so many turns of setup lead to and fewer do not.

    ``wanted`` (N,) is the number of the wanted state, ``parent`` and ``turn`` say where each came
    from in the level before, ``loose`` (N, loose slots) where pieces of types not all kept are.
    """

    nodes: Nodes
    wanted: NDArray[np.int32]
    parent: NDArray[np.int32]
    turn: NDArray[np.int32]
    loose: NDArray[np.int32]


class Setups:
    """Levels of setups, made as far as somebody asks."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        random = np.random.default_rng(SEED)
        frame, puzzle = problem.frame, problem.puzzle
        places = frame.forth.shape[1]
        shape = (2, len(problem.bodies.members), places)
        self._places = random.integers(1, 2**64, size=shape, dtype=np.uint64)
        count = puzzle.placement_count
        self._loose = random.integers(1, 2**64, size=(len(problem.loose), count), dtype=np.uint64)
        self._number = random.integers(1, 2**64, size=len(problem.wanted), dtype=np.uint64)
        self.levels = [self._first()]
        self._seen = np.sort(self._keys(self.levels[0]))

    def level(self, depth: int) -> Level:
        """Return the situations after so many turns; raises LimitError for too many."""
        for _ in self.growing(depth):
            pass
        return self.levels[depth]

    def growing(self, depth: int) -> Iterator[None]:
        """Make the levels up to a depth, pausing now and then; raises LimitError for too many."""
        while len(self.levels) <= depth:
            parts: list[Level] = []
            for turn in range(len(self.problem.frame.layer)):
                parts.append(self._after(self.levels[-1], turn))
                yield
            self.levels.append(self._fresh(parts))

    def word(self, depth: int, node: int) -> Word:
        """Return the turns, by their place among those that may be done, that lead to a node."""
        result: list[int] = []
        for k in range(depth, 0, -1):
            result.append(int(self.levels[k].turn[node]))
            node = int(self.levels[k].parent[node])
        return tuple(result[::-1])

    def _first(self) -> Level:
        problem = self.problem
        puzzle, own = problem.puzzle, problem.bodies
        homes = puzzle.home
        far, pairs = [], []
        for one in problem.wanted:
            far.append(own.found(homes, one.effect))
            moved = [s for s in problem.kept if one.effect[homes[s]] != homes[s]]
            pairs.append([(int(homes[s]), int(one.effect[homes[s]])) for s in moved])
        width = max(len(row) for row in pairs)
        # Short rows are filled up with their first pair, which says the same twice.
        filled = np.array([row + row[:1] * (width - len(row)) for row in pairs], dtype=np.int32)
        count = len(problem.wanted)
        nodes = Nodes(
            np.zeros((count, len(own.members)), dtype=np.int32),
            np.array(far, dtype=np.int32).reshape(count, len(own.members)),
            np.ascontiguousarray(filled[:, :, 0]),
            np.ascontiguousarray(filled[:, :, 1]),
        )
        none = np.full(count, -1, dtype=np.int32)
        loose = np.tile(homes[list(problem.loose)].astype(np.int32), (count, 1))
        return Level(nodes, np.arange(count, dtype=np.int32), none, none, loose)

    def _keys(self, level: Level) -> NDArray[np.uint64]:
        nodes, value = level.nodes, self.problem.frame.value
        keys = self._number[level.wanted].copy()
        for b in range(nodes.near.shape[1]):
            keys += self._places[0, b, nodes.near[:, b]]
            keys += self._places[1, b, nodes.far[:, b]]
        for d in range(nodes.start.shape[1]):
            keys += value[nodes.start[:, d], nodes.end[:, d]]
        for k in range(level.loose.shape[1]):
            keys += self._loose[k, level.loose[:, k]]
        return keys

    def _after(self, before: Level, turn: int) -> Level:
        """Return the situations that one turn leads to, known ones among them."""
        frame, puzzle = self.problem.frame, self.problem.puzzle
        near, far = before.nodes.near.copy(), before.nodes.far.copy()
        for b in range(near.shape[1]):
            near[:, b] = frame.forth[b, near[:, b], turn]
            far[:, b] = frame.back[b, far[:, b], turn]
        done = np.flatnonzero((near >= 0).all(axis=1) & (far >= 0).all(axis=1))
        move = frame.moves[turn]
        start, end = move[before.nodes.start[done]], move[before.nodes.end[done]]
        home = puzzle.home[puzzle.slot_of[start]].astype(np.int32)
        nodes = Nodes(near[done], far[done], home, untwisted(puzzle, start, end))
        turns = np.full(len(done), turn, dtype=np.int32)
        loose = move[before.loose[done]]
        return Level(nodes, before.wanted[done], done.astype(np.int32), turns, loose)

    def _fresh(self, parts: list[Level]) -> Level:
        """Return the situations of several levels that were not seen before, each once."""
        whole = Level(
            Nodes(
                *(
                    np.concatenate([getattr(part.nodes, name) for part in parts])
                    for name in Nodes._fields
                )
            ),
            *(
                np.concatenate([getattr(part, name) for part in parts])
                for name in ("wanted", "parent", "turn", "loose")
            ),
        )
        keys = self._keys(whole)
        fresh, first = np.unique(keys, return_index=True)
        at = np.searchsorted(self._seen, fresh)
        known = self._seen[np.minimum(at, len(self._seen) - 1)] == fresh
        fresh, first = fresh[~known], first[~known]
        if len(self._seen) + len(fresh) > MOST_NODES:
            raise LimitError(
                f"setups of {len(self.levels)} turns lead to more than {MOST_NODES:,} situations"
            )
        self._seen = np.sort(np.concatenate([self._seen, fresh]))
        first = np.sort(first)
        nodes = Nodes(*(np.ascontiguousarray(array[first]) for array in whole.nodes))
        return Level(
            nodes, whole.wanted[first], whole.parent[first], whole.turn[first], whole.loose[first]
        )
