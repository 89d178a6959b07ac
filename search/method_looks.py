"""What short words make of the looks of kept pieces: each look once, with the way there.

A *look* says what is seen in each slot: pieces that look the same are not told apart. Where a
choice of a few turns is enough for what is wanted, words of these go deeper than words of all.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from puzzles.puzzle import PieceType, Word
from search.solving_looks import Looks

#: Fixed, so that the same puzzle gives the same words everywhere.
SEED = 20_260_101

Codes = NDArray[np.int16]
Keys = NDArray[np.uint64]


@dataclass(frozen=True, eq=False)
class Sights:
    """How the contents of some slots are seen, and what turns make of it, in plain arrays.

    ``slots`` (s,) are the puzzle's numbers. What is seen in a slot is a code: the number of the
    look of its piece among those of its type, times the twists that show, plus the twist with
    which it shows. ``start`` (s,) are the codes at home.
    ``source`` (turns, s): the slot, by its place in ``slots``, from which a turn brings what comes
    there; ``further`` (turns, s): by how many twists that is carried on; ``twists`` (s,).
    """

    slots: NDArray[np.int64]
    start: Codes
    source: NDArray[np.int64]
    further: NDArray[np.int64]
    twists: NDArray[np.int64]
    values: Keys

    def after(self, codes: Codes, turn: int) -> Codes:
        """Return codes (n, s) after a turn."""
        result: Codes = codes[:, self.source[turn]]
        for at in np.flatnonzero(self.further[turn]).tolist():
            shown = int(self.twists[at])
            own = result[:, at]
            result[:, at] = own - own % shown + (own + self.further[turn, at]) % shown
        return result

    def keys(self, codes: Codes, places: NDArray[np.integer] | None = None) -> Keys:
        """Return random sums that tell codes (n, s) apart, of some places in ``slots`` or all."""
        result = np.zeros(len(codes), dtype=np.uint64)
        for at in range(len(self.slots)) if places is None else places.tolist():
            result += self.values[at, codes[:, at]]
        return result


def sights(looks: Looks, types: Sequence[int]) -> Sights:
    """Return how the slots of some types, by number, are seen."""
    puzzle = looks.puzzle
    kinds = [puzzle.types[number] for number in types]
    slots = np.array([s for kind in kinds for s in kind.slots], dtype=np.int64)
    place = np.zeros(puzzle.slot_count, dtype=np.int64)
    place[slots] = np.arange(len(slots))
    twists = looks.shown[slots]
    ends = puzzle.moves[:, puzzle.home[slots]]
    there = place[puzzle.slot_of[ends]]
    turns = np.arange(len(puzzle.moves))[:, None]
    source, further = np.empty_like(there), np.empty_like(there)
    source[turns, there] = np.arange(len(slots))
    further[turns, there] = puzzle.twist_of[ends]
    further %= twists
    start = np.concatenate([_seen(looks, kind) for kind in kinds])
    random = np.random.default_rng(SEED)
    most = int((start + twists).max())
    values = random.integers(0, 2**64, size=(len(slots), most), dtype=np.uint64)
    return Sights(slots, start.astype(np.int16), source, further, twists, values)


def _seen(looks: Looks, kind: PieceType) -> NDArray[np.int64]:
    """Return the codes of a type's slots at home."""
    own = np.array(kind.slots, dtype=np.int64)
    _, look = np.unique(looks.kind[own], return_inverse=True)
    shown = looks.shown[own]
    return np.asarray(look * shown + looks.shift[own] % shown, dtype=np.int64)


@dataclass(frozen=True, eq=False)
class Seen:
    """The looks that words of some turns lead to, each once, those with fewer turns first.

    ``codes`` (n, s) are what is seen in the slots of ``sights``; ``begins[d]`` is the first look of
    depth d, the last entry is their number.
    """

    sights: Sights
    codes: Codes
    keys: Keys
    begins: tuple[int, ...]
    parent: NDArray[np.int32]
    turn: NDArray[np.int16]

    @property
    def depth(self) -> int:
        """How many turns the farthest looks need."""
        return len(self.begins) - 2

    def depths(self, numbers: NDArray[np.integer]) -> NDArray[np.int64]:
        """Return how many turns some looks need."""
        return np.searchsorted(self.begins, numbers, side="right") - 1

    def word(self, number: int) -> Word:
        """Return the turns that lead to a look."""
        result: list[int] = []
        while number:
            result.append(int(self.turn[number]))
            number = int(self.parent[number])
        return tuple(reversed(result))


def seen(
    own: Sights, turns: Sequence[int], most: int, stop: Callable[[], bool] = lambda: False
) -> Seen:
    """Return the looks of words of as many turns as give at most ``most``, or until a stop.

    ``turns`` are those that may be done, by number.
    """
    codes = [own.start[None, :]]
    keys = [own.keys(codes[0])]
    parents, last = [np.array([-1], dtype=np.int32)], [np.array([-1], dtype=np.int16)]
    begins = [0, 1]
    numbers = np.array(turns, dtype=np.int16)
    changes = [_change(own, turn) for turn in turns]
    while True:
        here, start = codes[-1], begins[-2]
        before = len(codes[-2]) if len(codes) > 1 else 1
        # As many times more as at the depth before are to be expected.
        if stop() or begins[-1] + len(here) ** 2 / before > 1.5 * most:
            break
        every = np.concatenate([_changed(here, keys[-1], change) for change in changes])
        # A turn can be undone, so what it leads to is at most one turn nearer.
        around = np.sort(np.concatenate(keys[-2:]))
        place = np.minimum(np.searchsorted(around, every), len(around) - 1)
        fresh = np.flatnonzero(around[place] != every)
        _, first = np.unique(every[fresh], return_index=True)
        fresh = np.sort(fresh[first])
        if not len(fresh) or begins[-1] + len(fresh) > most:
            break
        turn, row = fresh // len(here), fresh % len(here)
        codes.append(
            np.concatenate([own.after(here[row[turn == k]], t) for k, t in enumerate(turns)])
        )
        keys.append(every[fresh])
        parents.append((start + row).astype(np.int32))
        last.append(numbers[turn])
        begins.append(begins[-1] + len(fresh))
    return Seen(
        own,
        np.concatenate(codes),
        np.concatenate(keys),
        tuple(begins),
        np.concatenate(parents),
        np.concatenate(last),
    )


def _change(own: Sights, turn: int) -> list[tuple[int, Keys]]:
    """Return for each slot that a turn empties what a code there adds to the key."""
    result = []
    width = own.values.shape[1]
    every = np.arange(width)
    goal = np.argsort(own.source[turn])
    for at in range(len(own.slots)):
        there, more = int(goal[at]), int(own.further[turn, goal[at]])
        if there == at and not more:
            continue
        shown = int(own.twists[at])
        after = np.minimum(every - every % shown + (every + more) % shown, width - 1)
        result.append((at, own.values[there, after] - own.values[at]))
    return result


def _changed(codes: Codes, keys: Keys, change: list[tuple[int, Keys]]) -> Keys:
    """Return the keys after a turn."""
    result = keys.copy()
    for at, more in change:
        result += more[codes[:, at]]
    return result
