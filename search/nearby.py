"""All effects that few turns have, each once, with the turns that lead to it: a ball of words."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from puzzles.puzzle import Puzzle, Table, Word

#: The most effects that are kept.
MOST = 700_000
#: Fixed, so that the same puzzle gives the same words everywhere.
SEED = 20_260_101

Homes = NDArray[np.int16]


@dataclass(frozen=True, eq=False)
class Nearby:
    """The effects of up to ``depth`` turns, each once, by depth.

    ``homes`` (effects, slots) says where pieces go. ``begins[d]`` is the first effect of depth d,
    the last entry is their number. ``parent`` and
    ``turn`` say how each was reached, -1 for the first, which does nothing. ``keys`` are random
    sums that tell effects apart.
    """

    puzzle: Puzzle
    homes: Homes
    begins: tuple[int, ...]
    parent: NDArray[np.int32]
    turn: NDArray[np.int16]
    values: NDArray[np.uint64]
    keys: NDArray[np.uint64]

    @property
    def depth(self) -> int:
        """How many turns the farthest effects need."""
        return len(self.begins) - 2

    def depths(self, numbers: NDArray[np.integer]) -> NDArray[np.integer]:
        """Return how many turns some effects need."""
        result: NDArray[np.integer] = np.searchsorted(self.begins, numbers, side="right") - 1
        return result

    def word(self, number: int) -> Word:
        """Return the turns that lead to an effect."""
        result: list[int] = []
        while number:
            result.append(int(self.turn[number]))
            number = int(self.parent[number])
        return tuple(reversed(result))

    def first_turns(self) -> NDArray[np.int16]:
        """Return the first turn of the word of each effect, -1 for the one without."""
        result = self.turn.copy()
        for begin, end in zip(self.begins[2:-1], self.begins[3:], strict=True):
            result[begin:end] = result[self.parent[begin:end]]
        return result

    def tables(self, begin: int, end: int) -> Table:
        """Return where effects in a row carry all placements; (effects, placements)."""
        return self.tables_of(np.arange(begin, end))

    def tables_of(self, numbers: NDArray[np.integer]) -> Table:
        """Return where some effects carry all placements; (effects, placements)."""
        puzzle = self.puzzle
        twists = np.array([kind.twists for kind in puzzle.types])[
            puzzle.type_of[puzzle.slot_of]
        ].astype(np.int32)
        base = self.homes[numbers][:, puzzle.slot_of].astype(np.int32)
        first = puzzle.home[puzzle.slot_of[base]]
        result: Table = first + (base - first + puzzle.twist_of) % twists
        return result

    def key_of(self, homes: NDArray[np.integer]) -> NDArray[np.uint64]:
        """Return the keys of effects, rows of ``homes``."""
        return _keys(self.values, homes)


def _keys(values: NDArray[np.uint64], homes: NDArray[np.integer]) -> NDArray[np.uint64]:
    result = np.zeros(len(homes), dtype=np.uint64)
    for slot in range(homes.shape[1]):
        result += values[slot, homes[:, slot]]
    return result


def nearby(puzzle: Puzzle, most: int = MOST) -> Nearby:
    """Return all effects of as many turns as give at most so many effects."""
    random = np.random.default_rng(SEED)
    shape = (puzzle.slot_count, puzzle.placement_count)
    values = random.integers(0, 2**64, size=shape, dtype=np.uint64)
    moves = puzzle.moves.astype(np.int16)
    homes = [puzzle.home.astype(np.int16)[None, :]]
    keys = [_keys(values, homes[0])]
    parents, turns = [np.array([-1], dtype=np.int32)], [np.array([-1], dtype=np.int16)]
    begins = [0, 1]
    while True:
        last, start = homes[-1], begins[-2]
        # As many times more as at the depth before are to be expected.
        before = len(homes[-2]) if len(homes) > 1 else 1
        if begins[-1] + len(last) ** 2 / before > 1.5 * most:
            break
        # Only keys of what is new are made out in full. A turn can be undone, so what it leads to
        # is at most one turn nearer.
        every = np.concatenate([_keys(values, row[last]) for row in moves])
        around = np.sort(np.concatenate(keys[-2:]))
        place = np.minimum(np.searchsorted(around, every), len(around) - 1)
        fresh = np.flatnonzero(around[place] != every)
        fresh = fresh[np.argsort(every[fresh], kind="stable")]
        again = np.zeros(len(fresh), dtype=np.bool_)
        again[1:] = every[fresh[1:]] == every[fresh[:-1]]
        first = np.sort(fresh[~again])
        if not len(first) or begins[-1] + len(first) > most:
            break
        turn, row = first // len(last), first % len(last)
        homes.append(moves[turn[:, None], last[row]])
        keys.append(every[first])
        parents.append((start + row).astype(np.int32))
        turns.append(turn.astype(np.int16))
        begins.append(begins[-1] + len(first))
    return Nearby(
        puzzle,
        np.concatenate(homes),
        tuple(begins),
        np.concatenate(parents),
        np.concatenate(turns),
        values,
        np.concatenate(keys),
    )
