"""How many states can be reached where turns are blocked in some of them, counted one by one."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from puzzles.puzzle import Puzzle

#: States that are counted before it is only said that there are more.
MOST_STATES = 200_000
#: States whose turns are looked at together, to bound memory.
BATCH = 20_000


@dataclass(frozen=True)
class Reached:
    """How many states were reached, all pieces told apart; ``complete`` if there are no more.

    ``stuck`` counts for each turn the looked-at states in which it is blocked, ``looked_at`` these
    states. ``depth`` is how many turns the farthest state is away, if ``complete``.
    """

    states: int
    complete: bool
    depth: int
    looked_at: int
    stuck: tuple[int, ...]


@lru_cache(maxsize=8)
def reached(puzzle: Puzzle, most: int = MOST_STATES) -> Reached:
    """Return how many states can be reached from the solved one, counted up to ``most``.

    A state says where each piece is that any turn moves; breadth first, so by distance.
    """
    moving = (puzzle.moves[:, puzzle.home] != puzzle.home).any(axis=0)
    if puzzle.blocked is not None:
        # Also a piece that nothing moves can be in the way.
        moving |= puzzle.blocked[:, puzzle.home].any(axis=0)
    for group in puzzle.bonds:
        moving[list(group)] = True
    pieces = np.flatnonzero(moving)
    place = {int(piece): k for k, piece in enumerate(pieces)}
    bonds = [[place[slot] for slot in group] for group in puzzle.bonds]
    moves = puzzle.moves.astype(np.uint16)
    start = puzzle.home[pieces].astype(np.uint16)[None, :]
    seen = {start.tobytes()}
    frontier, depth, looked_at = start, 0, 0
    stuck = np.zeros(len(puzzle.turns), dtype=np.int64)
    while len(frontier):
        fresh: list[NDArray[np.uint16]] = []
        for begin in range(0, len(frontier), BATCH):
            part = frontier[begin : begin + BATCH]
            looked_at += len(part)
            slots = puzzle.slot_of[part]
            for turn in range(len(puzzle.turns)):
                free = _free(puzzle, turn, part, slots, bonds)
                stuck[turn] += int((~free).sum())
                for row in moves[turn][part[free]]:
                    key = row.tobytes()
                    if key not in seen:
                        if len(seen) >= most:
                            return Reached(
                                len(seen), False, depth, looked_at, tuple(stuck.tolist())
                            )
                        seen.add(key)
                        fresh.append(row)
        frontier = np.array(fresh, dtype=np.uint16).reshape(-1, len(pieces))
        depth += len(frontier) > 0
    return Reached(len(seen), True, depth, looked_at, tuple(stuck.tolist()))


def _free(
    puzzle: Puzzle,
    turn: int,
    states: NDArray[np.uint16],
    slots: NDArray[np.int32],
    bonds: list[list[int]],
) -> NDArray[np.bool_]:
    """Return in which states a turn is possible; states and their slots (states, pieces)."""
    free = np.ones(len(states), dtype=np.bool_)
    inside = puzzle.in_layer[puzzle.turn_layer[turn]]
    for group in bonds:
        held = inside[slots[:, group]]
        free &= held.all(axis=1) | ~held.any(axis=1)
    if puzzle.blocked is not None:
        free &= ~puzzle.blocked[turn][states].any(axis=1)
    return free
