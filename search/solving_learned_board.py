"""What moves do to the contents of some slots: how many look right afterwards, for many at once.

A *move* is anything that is done in one go, by where it carries what is at home in each slot. Only
the slots of a stage are looked at; moves that show on slots that have to stay are left out.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.int64]
Keys = NDArray[np.uint64]

#: Fixed, so that solving gives the same steps everywhere.
SEED = 20_260_104


@dataclass(frozen=True, eq=False)
class Board:
    """Slots and the looks of their pieces; what stands at home in slot s is at ``home[s]``.

    Placement ``home[s] + x`` is slot s with twist x. ``kind``, ``shift`` and ``shown`` (slots,) are
    as in ``solving_looks.Looks``; ``group`` (slots,) tells which slots belong to one type.
    """

    home: Numbers
    slot_of: Numbers
    twist_of: Numbers
    kind: Numbers
    shift: Numbers
    shown: Numbers
    group: Numbers

    @cached_property
    def twists(self) -> Numbers:
        """How many placements each slot has; shape (slots,)."""
        return np.bincount(self.slot_of, minlength=len(self.home))

    @property
    def slots(self) -> int:
        """How many slots there are."""
        return len(self.home)

    def moved(self, to: NDArray[np.integer]) -> NDArray[np.bool_]:
        """Return which slots' contents moves (n, slots) carry elsewhere or twist; same shape."""
        there = self.slot_of[to]
        twist = self.twist_of[to] % self.shown[there]
        result: NDArray[np.bool_] = (there != np.arange(self.slots)) | (twist != 0)
        return result

    def seen(self, to: NDArray[np.integer]) -> NDArray[np.bool_]:
        """Return which slots' contents show that moves (n, slots) were done, on a solved puzzle."""
        there, every = self.slot_of[to], np.arange(self.slots)
        turned = (self.shift[there] - self.shift - self.twist_of[to]) % self.shown[there]
        result: NDArray[np.bool_] = (self.kind[there] != self.kind[every]) | (turned != 0)
        return result


@dataclass(frozen=True)
class Held:
    """What is in each slot of a view, by numbers in the view, and how it is twisted."""

    piece: Numbers
    twist: Numbers

    @cached_property
    def name(self) -> bytes:
        """The same for the same contents."""
        return self.piece.tobytes() + self.twist.tobytes()


class View:
    """Moves as they act on the slots of a stage, and what contents of those are worth.

    ``to`` (n, slots) are moves of the board. Those that do nothing to the slots in ``own``, and
    those that show in the slots of ``stays``, are left out; ``numbers`` are the others.
    """

    def __init__(self, board: Board, own: Numbers, stays: Numbers, to: NDArray[np.integer]) -> None:
        self.board, self.own = board, own
        self._a = len(own)
        self._top = int(board.shown[own].max(initial=1))
        moved = board.moved(to)[:, own]
        useful = moved.any(axis=1)
        if len(stays):
            useful &= ~board.seen(to)[:, stays].any(axis=1)
        numbers = np.flatnonzero(useful)
        counts = moved[numbers].sum(axis=1)
        order = np.argsort(counts, kind="stable")
        self.numbers: Numbers = numbers[order]
        #: How many slots of the view each move changes.
        self.size: Numbers = counts[order]
        local = np.full(board.slots, -1, dtype=np.int64)
        local[own] = np.arange(self._a)
        self._there = local[board.slot_of[to[self.numbers][:, own]]].astype(np.int32)
        self._twist = board.twist_of[to[self.numbers][:, own]].astype(np.int32)
        self._own_kind = np.unique(board.kind[own], return_inverse=True)[1].reshape(-1)
        self._places = list(self._grouped(moved[self.numbers]))
        random = np.random.default_rng(SEED)
        shape = (self._a, int(self._own_kind.max(initial=0)) + 1, self._top)
        self._values = random.integers(0, 2**63, size=shape, dtype=np.uint64)

    def __len__(self) -> int:
        return len(self.numbers)

    def _grouped(self, moved: NDArray[np.bool_]) -> Iterator[NDArray[np.int32]]:
        """Yield tables of (from, to, twist), one row a move, for each number of moved slots."""
        shown = self.board.shown[self.own]
        for count in np.unique(self.size).tolist():
            rows = np.flatnonzero(self.size == count)
            start = np.nonzero(moved[rows])[1].reshape(len(rows), count)
            there = np.take_along_axis(self._there[rows], start, 1)
            twist = np.take_along_axis(self._twist[rows], start, 1) % shown[there]
            yield ((start * self._a + there) * self._top + twist).astype(np.int32)

    def held(self, piece: Numbers, twist: Numbers) -> Held:
        """Return what some contents of the board (slots,) are in this view."""
        local = np.full(self.board.slots, -1, dtype=np.int64)
        local[self.own] = np.arange(self._a)
        return Held(local[piece[self.own]], twist[self.own])

    @cached_property
    def solved(self) -> Held:
        """The contents with every piece at home."""
        return Held(np.arange(self._a), np.zeros(self._a, dtype=np.int64))

    def right(self, held: Held) -> NDArray[np.bool_]:
        """Return which slots look right; shape (own,)."""
        board, own = self.board, self.own
        same = self._own_kind[held.piece] == self._own_kind
        turned = (board.shift[own] - board.shift[own][held.piece] - held.twist) % board.shown[own]
        result: NDArray[np.bool_] = same & (turned == 0)
        return result

    def after(self, held: Held, row: int) -> Held:
        """Return the contents after a move, by its place in ``numbers``."""
        there = self._there[row]
        piece, twist = np.empty_like(held.piece), np.empty_like(held.twist)
        piece[there] = held.piece
        shown = self.board.shown[self.own]
        twist[there] = (held.twist + self._twist[row]) % shown[there]
        return Held(piece, twist)

    def gains(self, held: Held) -> Numbers:
        """Return how many more slots look right after each move; shape (moves,)."""
        board, own = self.board, self.own
        shift, shown = board.shift[own], board.shown[own]
        there = (shift[None, :] - (shift[held.piece] + held.twist)[:, None]) % shown[None, :]
        same = self._own_kind[held.piece][:, None] == self._own_kind[None, :]
        wanted = np.where(same, there, -1)
        fits = (wanted[:, :, None] == np.arange(self._top)).astype(np.int8)
        fits -= self.right(held).astype(np.int8)[:, None, None]
        flat = fits.reshape(-1)
        parts = [flat[places].sum(axis=1, dtype=np.int8) for places in self._places]
        return np.concatenate(parts).astype(np.int64) if parts else np.zeros(0, dtype=np.int64)

    def key(self, held: Held) -> np.uint64:
        """Return a number that is the same for contents that look the same."""
        every = np.arange(self._a)
        result: np.uint64 = self._values[every, *self._look(held)].sum(dtype=np.uint64)
        return result

    def _look(self, held: Held) -> tuple[Numbers, Numbers]:
        shift, shown = self.board.shift[self.own], self.board.shown[self.own]
        return self._own_kind[held.piece], (shift[held.piece] + held.twist) % shown

    def keys(self, held: Held) -> Keys:
        """Return the keys of the contents after each move; shape (moves,)."""
        flat, base = self._changes(held)
        parts = [flat[places].sum(axis=1, dtype=np.uint64) + base for places in self._places]
        return np.concatenate(parts) if parts else np.zeros(0, dtype=np.uint64)

    def keys_of(self, held: Held, rows: Numbers) -> Keys:
        """Return the keys of the contents after some moves, by their places; shape (rows,)."""
        flat, base = self._changes(held)
        start = np.arange(self._a) * self._a
        shown = self.board.shown[self.own]
        there = self._there[rows]
        places = (start + there) * self._top + self._twist[rows] % shown[there]
        result: Keys = flat[places].sum(axis=1, dtype=np.uint64) + base
        return result

    def keys_without(self, few: Numbers) -> tuple[Keys, np.uint64]:
        """Return keys of what each move makes of the solved contents, but for a few slots.

        And the key of the solved contents.
        """
        kinds, looks = self._look(self.solved)
        shown, shift = self.board.shown[self.own], self.board.shift[self.own]
        counts = np.ones(self._a, dtype=np.bool_)
        counts[few] = False
        there = self._there
        turned = (shift + self._twist) % shown[there]
        values = np.where(counts[there], self._values[there, self._own_kind, turned], np.uint64(0))
        nothing = self._values[np.arange(self._a), kinds, looks][counts].sum(dtype=np.uint64)
        return values.sum(axis=1, dtype=np.uint64), nothing

    def _changes(self, held: Held) -> tuple[Keys, np.uint64]:
        """Return what (from, to, twist) adds to the key of some contents, and that key."""
        kinds, looks = self._look(held)
        shown, every = self.board.shown[self.own], np.arange(self._a)
        now = self._values[every, kinds, looks]
        shift = self.board.shift[self.own][held.piece] + held.twist
        turned = (shift[:, None, None] + np.arange(self._top)) % shown[None, :, None]
        values = self._values[every[None, :, None], kinds[:, None, None], turned]
        flat = (values - now[:, None, None]).reshape(-1)
        return flat, now.sum(dtype=np.uint64)
