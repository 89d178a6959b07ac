"""All effects that few turns have, each once, with the turns that lead to it: a ball of words."""

from __future__ import annotations

from collections.abc import Callable, Iterable
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
class Acting:
    """What turns do to pieces, in plain arrays: all of a puzzle, or some turns and some slots.

    ``turns`` are the puzzle's numbers of the turns. ``slots`` (s,) and ``placements`` (p,) are the
    puzzle's numbers of what counts; ``moves`` (turns, p), ``home`` (s,), ``slot_of``, ``twist_of``
    and ``twists`` (p,) number both from 0.
    """

    turns: tuple[int, ...]
    slots: NDArray[np.int64]
    placements: NDArray[np.int64]
    moves: NDArray[np.int16]
    home: NDArray[np.int64]
    slot_of: NDArray[np.int64]
    twist_of: NDArray[np.int32]
    twists: NDArray[np.int32]

    def narrowed(self, effects: Table) -> Table:
        """Return effects on all placements, (n, placements), as effects on those here."""
        place = np.zeros(effects.shape[1], dtype=np.int32)
        place[self.placements] = np.arange(len(self.placements))
        result: Table = place[effects[:, self.placements]]
        return result


def acting(
    puzzle: Puzzle, layers: Iterable[int] | None = None, types: Iterable[int] | None = None
) -> Acting:
    """Return what some layers do to the pieces of some types, by their numbers; None for all."""
    allowed = set(range(len(puzzle.layers)) if layers is None else layers)
    kinds = sorted(set(range(len(puzzle.types)) if types is None else types))
    turns = [t for t in range(len(puzzle.turns)) if int(puzzle.turn_layer[t]) in allowed]
    slots = np.flatnonzero(np.isin(puzzle.type_of, kinds))
    placements = np.flatnonzero(np.isin(puzzle.type_of[puzzle.slot_of], kinds))
    place = np.zeros(puzzle.placement_count, dtype=np.int64)
    place[placements] = np.arange(len(placements))
    number = np.zeros(puzzle.slot_count, dtype=np.int64)
    number[slots] = np.arange(len(slots))
    twists = np.array([puzzle.types[k].twists for k in puzzle.type_of], dtype=np.int32)
    return Acting(
        tuple(turns),
        slots,
        placements,
        place[puzzle.moves[turns][:, placements]].astype(np.int16),
        place[puzzle.home[slots]],
        number[puzzle.slot_of[placements]],
        puzzle.twist_of[placements].astype(np.int32),
        twists[puzzle.slot_of[placements]],
    )


@dataclass(frozen=True, eq=False)
class Nearby:
    """The effects of up to ``depth`` turns, each once, by depth.

    ``homes`` (effects, slots) says where pieces go, by the numbers of ``acting``. ``begins[d]`` is
    the first effect of depth d, the last entry is their number. ``parent`` and ``turn``, a number
    in the puzzle, say how each was reached, -1 for the first, which does nothing. ``keys`` are
    random sums that tell effects apart. ``every``: whether more turns give nothing new.
    """

    acting: Acting
    homes: Homes
    begins: tuple[int, ...]
    parent: NDArray[np.int32]
    turn: NDArray[np.int16]
    values: NDArray[np.uint64]
    keys: NDArray[np.uint64]
    every: bool = False

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
        """Return where some effects carry all placements here; (effects, placements)."""
        own = self.acting
        base = self.homes[numbers][:, own.slot_of].astype(np.int32)
        first = own.home[own.slot_of[base]].astype(np.int32)
        result: Table = first + (base - first + own.twist_of) % own.twists
        return result

    def key_of(self, homes: NDArray[np.integer]) -> NDArray[np.uint64]:
        """Return the keys of effects, rows of ``homes``."""
        return _keys(self.values, homes)


def _keys(values: NDArray[np.uint64], homes: NDArray[np.integer]) -> NDArray[np.uint64]:
    result = np.zeros(len(homes), dtype=np.uint64)
    for slot in range(homes.shape[1]):
        result += values[slot, homes[:, slot]]
    return result


def nearby(own: Acting, most: int = MOST, stop: Callable[[], bool] = lambda: False) -> Nearby:
    """Return all effects of as many turns as give at most so many effects, or until a stop."""
    random = np.random.default_rng(SEED)
    shape = (len(own.slots), len(own.placements))
    values = random.integers(0, 2**64, size=shape, dtype=np.uint64)
    moves, numbers, every_one = own.moves, np.array(own.turns, dtype=np.int16), False
    homes = [own.home.astype(np.int16)[None, :]]
    keys = [_keys(values, homes[0])]
    parents, turns = [np.array([-1], dtype=np.int32)], [np.array([-1], dtype=np.int16)]
    begins = [0, 1]
    while True:
        last, start = homes[-1], begins[-2]
        # As many times more as at the depth before are to be expected.
        before = len(homes[-2]) if len(homes) > 1 else 1
        if stop() or begins[-1] + len(last) ** 2 / before > 1.5 * most:
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
        if not len(first):
            every_one = True
            break
        if begins[-1] + len(first) > most:
            break
        turn, row = first // len(last), first % len(last)
        homes.append(moves[turn[:, None], last[row]])
        keys.append(every[first])
        parents.append((start + row).astype(np.int32))
        turns.append(numbers[turn])
        begins.append(begins[-1] + len(first))
    return Nearby(
        own,
        np.concatenate(homes),
        tuple(begins),
        np.concatenate(parents),
        np.concatenate(turns),
        values,
        np.concatenate(keys),
        every_one,
    )
