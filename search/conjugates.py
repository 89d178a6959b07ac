"""A wanted effect as seen from elsewhere: its images and conjugates, each with the way to it.

An effect is held as the pieces that it moves: pairs "the piece of slot s goes to placement q", for
s with twist 0. Its *key* is the sum of a random value for each pair, so that keys say whether two
effects are the same. Conjugating by a turn x carries every pair: if e' = x' e x, then e = x e' x'.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from puzzles.puzzle import Puzzle, Symmetry, Table, Word

#: Fixed, so that the same search gives the same words everywhere.
SEED = 20_260_101
#: The most effects that are kept with the way to them.
MOST_PLACES = 200_000

Numbers = NDArray[np.int32]
Keys = NDArray[np.uint64]


@lru_cache(maxsize=8)
def _values(puzzle: Puzzle) -> Keys:
    shape = (puzzle.slot_count, puzzle.placement_count)
    return np.random.default_rng(SEED).integers(0, 2**64, size=shape, dtype=np.uint64)


@dataclass(frozen=True, eq=False)
class Pairs:
    """Effects by the pieces that they move: (n, m) slots and placements; all move m pieces."""

    slots: Numbers
    places: Numbers

    def __len__(self) -> int:
        return len(self.slots)

    def taken(self, rows: NDArray[np.integer] | slice) -> Pairs:
        """Return some of the effects."""
        return Pairs(self.slots[rows], self.places[rows])

    def keys(self, puzzle: Puzzle) -> Keys:
        """Return what tells the effects apart, (n,)."""
        result: Keys = _values(puzzle)[self.slots, self.places].sum(axis=1, dtype=np.uint64)
        return result


def put_together(parts: Sequence[Pairs]) -> Pairs:
    """Return effects in one row."""
    return Pairs(
        np.concatenate([part.slots for part in parts]),
        np.concatenate([part.places for part in parts]),
    )


def pairs_of(puzzle: Puzzle, tables: Table, slots: NDArray[np.integer], count: int) -> Pairs:
    """Return effects that move ``count`` pieces each; tables (n, placements).

    Of the pieces, those of ``slots`` count.
    """
    homes = puzzle.home[slots]
    there = tables[:, homes]
    moved = there != homes
    rows = np.nonzero(moved)
    shape = (len(tables), count)
    return Pairs(
        slots[rows[1]].astype(np.int32).reshape(shape),
        there[rows].astype(np.int32).reshape(shape),
    )


def carried(puzzle: Puzzle, pairs: Pairs, images: NDArray[np.integer]) -> Pairs:
    """Return effects carried by an effect or a symmetry: (placements,), or (n, placements)."""
    starts = puzzle.home[pairs.slots]
    if images.ndim == 1:
        return settled(puzzle, images[starts], images[pairs.places])
    rows = np.arange(len(pairs))[:, None]
    return settled(puzzle, images[rows, starts], images[rows, pairs.places])


def inverted(puzzle: Puzzle, pairs: Pairs) -> Pairs:
    """Return what undoes the effects."""
    return settled(puzzle, pairs.places, puzzle.home[pairs.slots])


def settled(puzzle: Puzzle, starts: NDArray[np.integer], ends: NDArray[np.integer]) -> Pairs:
    """Return "what is at start goes to end" for the piece at home in the slot of start."""
    slots = puzzle.slot_of[starts]
    twists = _twists(puzzle)[slots]
    base = puzzle.home[puzzle.slot_of[ends]]
    places = base + (puzzle.twist_of[ends] - puzzle.twist_of[starts]) % twists
    return Pairs(slots.astype(np.int32), places.astype(np.int32))


@lru_cache(maxsize=8)
def _twists(puzzle: Puzzle) -> Numbers:
    return np.array([puzzle.types[k].twists for k in puzzle.type_of], dtype=np.int32)


@dataclass(frozen=True)
class Source:
    """An image of one of the wanted effects: which, carried by which symmetry, and inverted."""

    wanted: int
    symmetry: int | None = None
    turned: bool = False


class Conjugates:
    """The wanted effects, their images, and what setups of up to ``depth`` turns make of them.

    ``pairs`` and ``keys``: the effects, each once. ``depths``: turns of setup. ``whole``: whether
    no longer setup gives anything new.
    """

    def __init__(
        self,
        puzzle: Puzzle,
        wanted: Sequence[Table],
        slots: NDArray[np.integer],
        turns: Sequence[int],
        symmetries: Sequence[Symmetry] = (),
    ) -> None:
        self.puzzle, self.turns, self.symmetries = puzzle, list(turns), symmetries
        count = int((wanted[0][puzzle.home[slots]] != puzzle.home[slots]).sum())
        plain = pairs_of(puzzle, np.array(wanted), slots, count)
        parts, sources = [plain], [Source(n) for n in range(len(wanted))]
        if symmetries:
            undone = inverted(puzzle, plain)
            parts.append(undone)
            sources += [Source(n, None, True) for n in range(len(wanted))]
            for number, symmetry in enumerate(symmetries):
                for turned, own in ((False, plain), (True, undone)):
                    parts.append(carried(puzzle, own, symmetry.placements))
                    sources += [Source(n, number, turned) for n in range(len(wanted))]
        every = put_together(parts)
        keys = every.keys(puzzle)
        first = np.sort(np.unique(keys, return_index=True)[1])
        self.pairs, self.keys = every.taken(first), keys[first]
        self._sources = [sources[k] for k in first.tolist()]
        self._source = np.arange(len(first), dtype=np.int32)
        self._parent = np.full(len(first), -1, dtype=np.int32)
        self._turn = np.full(len(first), -1, dtype=np.int32)
        self.depths = np.zeros(len(first), dtype=np.int32)
        self.depth, self.whole = 0, False
        self._sort()

    def _sort(self) -> None:
        self._order = np.argsort(self.keys)
        self._ordered = self.keys[self._order]

    def found(self, keys: Keys) -> NDArray[np.int64]:
        """Return the number of the effect with each key, -1 where there is none."""
        at = np.minimum(np.searchsorted(self._ordered, keys), len(self._ordered) - 1)
        return np.where(self._ordered[at] == keys, self._order[at], -1)

    def grow(self, most: int = MOST_PLACES, stop: Callable[[], bool] = lambda: False) -> bool:
        """Go on to setups of one turn more; return whether that was possible and gave anything.

        Where there would be more than so many effects, or somebody stops, nothing changes.
        """
        begin = int(np.searchsorted(self.depths, self.depth))
        newest = self.pairs.taken(slice(begin, None))
        if self.whole:
            return False
        parts, keys, parents, turns = [], [], [], []
        fresh = 0
        for turn in self.turns:
            image = carried(self.puzzle, newest, self.puzzle.moves[turn])
            own = image.keys(self.puzzle)
            new = np.flatnonzero(self.found(own) < 0)
            parts.append(image.taken(new))
            keys.append(own[new])
            parents.append((begin + new).astype(np.int32))
            turns.append(np.full(len(new), turn, dtype=np.int32))
            fresh += len(new)
            if stop() or fresh > 8 * most:
                return False
        every = np.concatenate(keys)
        first = np.sort(np.unique(every, return_index=True)[1])
        if len(self.keys) + len(first) > most:
            return False
        if not len(first):
            self.whole = True
            return False
        parent = np.concatenate(parents)[first]
        self.pairs = put_together([self.pairs, put_together(parts).taken(first)])
        self.keys = np.concatenate([self.keys, every[first]])
        self._parent = np.concatenate([self._parent, parent])
        self._turn = np.concatenate([self._turn, np.concatenate(turns)[first]])
        self._source = np.concatenate([self._source, self._source[parent]])
        self.depth += 1
        self.depths = np.concatenate([self.depths, np.full(len(first), self.depth, dtype=np.int32)])
        self._sort()
        return True

    def wanted_of(self, number: int) -> int:
        """Return which of the wanted effects an effect comes from."""
        source: Source = self._sources[int(self._source[number])]
        return source.wanted

    def setup(self, number: int) -> Word:
        """Return the turns S before a word that has an effect, to be undone after it."""
        result: list[int] = []
        while self._parent[number] >= 0:
            result.append(int(self._turn[number]))
            number = int(self._parent[number])
        return tuple(reversed(result))

    def word(self, number: int, word: Word) -> Word:
        """Return what does the wanted effect, from a word that has one of the effects here."""
        puzzle, source = self.puzzle, self._sources[int(self._source[number])]
        around = self.setup(number)
        whole = (*around, *word, *puzzle.inverse(around))
        if source.symmetry is not None:
            back = np.argsort(self.symmetries[source.symmetry].turns)
            whole = tuple(int(back[turn]) for turn in whole)
        return puzzle.inverse(whole) if source.turned else whole
