"""Effects of one shape as rows, up to symmetry and inversion, and where a turn carries them.

An effect of few pieces is the list of its *rows* "the piece of slot s goes to placement q", one for
each piece that it moves. Done between a turn and its undoing it is the effect with its rows carried
along; so what setups make of an effect is a walk on lists of rows. All that are images of each
other under the symmetries of a scope, or undo each other's images, are one *class*: a symmetry
carries turns to turns, so that all of a class are as many turns of setup from anything symmetric.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

import numpy as np
from numpy.typing import NDArray

from puzzles.errors import LimitError
from puzzles.puzzle import Table
from search import frames
from search.encoding import Scope
from search.frames import Numbers

#: Fixed, so that classes are numbered alike everywhere.
SEED = 20_260_102
#: The most classes that are walked through.
MOST_CLASSES = 50_000
#: In place of a class that was not met yet.
UNKNOWN = -1
#: Rows that are carried at once, so that memory stays small.
CHUNK = 200_000

Keys = NDArray[np.uint64]


class Cases:
    """The classes of effects that were met so far, numbered in that order.

    ``images`` (ways, rows): the rows under each symmetry of the scope, and, if ``undoing``, also
    those of what undoes the images. ``rows`` (classes, m): one effect of each class.
    """

    def __init__(self, scope: Scope, types: tuple[int, ...], undoing: bool = True) -> None:
        self.scope, self.types, self.undoing = scope, types, undoing
        enc = scope.arrays
        start, end = enc.home[enc.row_slot], enc.row_place
        images = [_rows(scope, place[start], place[end]) for place in frames.places(scope)]
        if undoing:
            images += [_rows(scope, place[end], place[start]) for place in frames.places(scope)]
        self.images: Numbers = np.array(images, dtype=np.int64)
        random = np.random.default_rng(SEED)
        self._values = random.integers(0, 2**64, size=len(enc.row_slot), dtype=np.uint64)
        self._kinds = np.array(scope.kept, dtype=np.int64)[enc.slot_type[enc.row_slot]]
        self._turn = {int(turn): k for k, turn in enumerate(scope.turns)}
        self._number: dict[int, int] = {}
        self._rows: list[Numbers] = []
        self._after: dict[int, Numbers] = {}
        self._sizes: dict[int, int] = {}

    @property
    def rows(self) -> Numbers:
        """One effect of each class."""
        return np.array(self._rows, dtype=np.int64)

    def rows_of(self, number: int) -> Numbers:
        """Return the rows of a class's effect."""
        return self._rows[number]

    def __len__(self) -> int:
        return len(self._rows)

    def keys(self, rows: Numbers) -> Keys:
        """Return what names effects (…, m), whatever the order of their rows."""
        result: Keys = self._values[rows].sum(axis=-1, dtype=np.uint64)
        return result

    def of_effect(self, effect: Table) -> Numbers:
        """Return the rows of an effect (placements,) on the kept pieces."""
        scope, enc = self.scope, self.scope.arrays
        place = np.full(scope.puzzle.placement_count, -1, dtype=np.int64)
        place[scope.placements] = np.arange(len(scope.placements))
        ends = place[effect[scope.placements[enc.home]]]
        slots = np.flatnonzero(ends != enc.home)
        return _rows(scope, enc.home[slots], ends[slots])

    def of_triples(self, triples: Numbers) -> Numbers:
        """Return the rows of three-cycles (n, 3) of the puzzle's placements."""
        place = np.full(self.scope.puzzle.placement_count, -1, dtype=np.int64)
        place[self.scope.placements] = np.arange(len(self.scope.placements))
        start = place[triples]
        return _rows(self.scope, start, np.roll(start, -1, axis=1))

    def carried(self, rows: Numbers, word: Iterable[int]) -> Numbers:
        """Return effects with their rows carried by turns of the puzzle, one after the other.

        That is what ``word' X word`` does. Turns of layers that commute with all carry nothing.
        """
        for turn in word:
            if turn in self._turn:
                rows = self.scope.arrays.conjugate[self._turn[turn]][rows].astype(np.int64)
        return rows

    def classes(self, rows: Numbers) -> Numbers:
        """Return the classes of effects (n, m), new ones numbered; shape (n,).

        Raises LimitError where there are too many.
        """
        keys = self._least(rows)
        for key, row in zip(keys, rows, strict=True):
            if key in self._number:
                continue
            if len(self._rows) >= MOST_CLASSES:
                raise LimitError(
                    f"there are more than {MOST_CLASSES:,} kinds of such effects up to symmetry; "
                    "fewer turns of setup, or a sequence that moves fewer pieces, would fit"
                )
            self._number[key] = len(self._rows)
            self._rows.append(row)
        return np.array([self._number[key] for key in keys], dtype=np.int64)

    def known(self, rows: Numbers) -> Numbers:
        """Return the classes of effects (n, m), UNKNOWN for those that were not met yet."""
        return np.array([self._number.get(k, UNKNOWN) for k in self._least(rows)], dtype=np.int64)

    def _least(self, rows: Numbers) -> list[int]:
        """Return the least key of all images of effects (n, m)."""
        result: list[int] = []
        for begin in range(0, len(rows), CHUNK):
            part = rows[begin : begin + CHUNK]
            least = self.keys(part)
            for image in self.images:
                np.minimum(least, self.keys(image[part]), out=least)
            result += least.tolist()
        return result

    def after(self, classes: Numbers) -> Numbers:
        """Return the classes to which each turn carries one effect of each class, (n, turns).

        Raises LimitError where there are too many new ones.
        """
        new = [k for k in dict.fromkeys(classes.tolist()) if k not in self._after]
        if new:
            self._after.update(zip(new, self._beyond(new, self.classes), strict=True))
        return np.array([self._after[k] for k in classes.tolist()], dtype=np.int64)

    def before(self, number: int) -> Numbers:
        """Return what ``after`` does for one class, UNKNOWN for what was not met, (turns,)."""
        if number in self._after:
            kept: Numbers = self._after[number]
            return kept
        found: Numbers = self._beyond([number], self.known)[0]
        return found

    def _beyond(self, classes: list[int], named: Callable[[Numbers], Numbers]) -> Numbers:
        moved = self.scope.arrays.conjugate[:, np.array([self._rows[k] for k in classes])]
        turns, count, width = moved.shape
        there = named(moved.reshape(-1, width).astype(np.int64))
        return np.ascontiguousarray(there.reshape(turns, count).T)

    def members(self, number: int) -> Iterator[tuple[int, Numbers, int]]:
        """Yield all images of a class's effect: the key, the rows, and which image it is.

        Those on other types than this is about are left out; one may come more than once.
        """
        every = self.images[:, self._rows[number]]
        own = np.sort(self._kinds[every], axis=1)
        fits = (own == np.sort(np.array(self.types))).all(axis=1)
        keys = self.keys(every).tolist()
        for k in np.flatnonzero(fits).tolist():
            yield keys[k], every[k], k

    def size(self, number: int) -> int:
        """Return how many effects a class has on the types that this is about."""
        if number not in self._sizes:
            self._sizes[number] = len({key for key, _, _ in self.members(number)})
        return self._sizes[number]

    def image_to(self, number: int, rows: Numbers) -> int:
        """Return which image of a class's effect is the effect with some rows."""
        keys = self.keys(self.images[:, self._rows[number]])
        return int(np.flatnonzero(keys == self.keys(rows))[0])

    def cycles(self, rows: Numbers) -> tuple[tuple[int, ...], ...]:
        """Return an effect as cycles of placements of the puzzle, as ``puzzles.effects`` does."""
        enc, own = self.scope.arrays, self.scope.placements
        ends = {int(enc.row_slot[r]): int(enc.row_place[r]) for r in rows}
        result, seen = [], set[int]()
        for slot in sorted(ends):
            if slot in seen:
                continue
            cycle = [int(enc.home[slot])]
            while True:
                last = cycle[-1]
                here = int(enc.slot_of[last])
                seen.add(here)
                end = ends[here]
                kind = enc.slot_type[here]
                first = enc.type_placement[kind]
                count = enc.type_slot[kind + 1] - enc.type_slot[kind]
                twists = int((enc.type_placement[kind + 1] - first) // count)
                twist = int(enc.twist_of[end] + enc.twist_of[last]) % twists
                there = int(end - enc.twist_of[end] + twist)
                if there == cycle[0]:
                    break
                cycle.append(there)
            result.append(tuple(int(own[p]) for p in cycle))
        return tuple(result)


def _rows(scope: Scope, start: Numbers, end: Numbers) -> Numbers:
    """Return the rows of "what is at start goes to end", turned so that start has twist 0."""
    enc = scope.arrays
    slot = enc.slot_of[start]
    kind = enc.slot_type[slot]
    first = enc.type_placement[kind]
    count = enc.type_slot[kind + 1] - enc.type_slot[kind]
    twists = (enc.type_placement[kind + 1] - first) // count
    twist = (enc.twist_of[end] - enc.twist_of[start]) % twists
    result: Numbers = enc.row_of[slot] + (end - enc.twist_of[end] + twist) - first
    return result
