"""When pieces look right: which piece may stand where, and how it must be twisted there.

Solving speaks of *contents*: what is in each slot now, not where each piece is, because pieces that
look alike may stand in each other's slots.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from puzzles.puzzle import Puzzle, Table

Numbers = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Looks:
    """How pieces are told apart; with ``apart`` all are, also twists that paint does not show."""

    puzzle: Puzzle
    apart: bool = False

    @cached_property
    def kind(self) -> Numbers:
        """The look of the piece that is at home in each slot; shape (slots,)."""
        if self.apart:
            return np.arange(self.puzzle.slot_count)
        return self.puzzle.alike.astype(np.int64)

    @cached_property
    def shown(self) -> Numbers:
        """How many twists of the piece of each slot can be told apart; shape (slots,)."""
        types = [self.puzzle.types[int(t)] for t in self.puzzle.type_of]
        return np.array([t.twists if self.apart else t.seen for t in types], dtype=np.int64)

    @cached_property
    def shift(self) -> Numbers:
        """The twist by which the look of each slot differs from others alike; shape (slots,)."""
        if self.apart:
            return np.zeros(self.puzzle.slot_count, dtype=np.int64)
        return self.puzzle.alike_twist.astype(np.int64)

    @cached_property
    def matters(self) -> NDArray[np.bool_]:
        """Of which types it can be seen whether they are right, by number.

        Not of pieces that stay in their slots and show no twist, nor of a type that looks alike
        everywhere.
        """
        result = []
        for kind in self.puzzle.types:
            own = list(kind.slots)
            there = self.puzzle.slot_of[self.puzzle.moves[:, self.puzzle.home[own]]]
            several = len(set(self.kind[own].tolist())) > 1 and bool((there != own).any())
            result.append(kind.moves and (several or bool((self.shown[own] > 1).any())))
        return np.array(result, dtype=np.bool_)


@dataclass(frozen=True, eq=False)
class Contents:
    """Which piece is in each slot, by the slot where it is at home, and how it is twisted there."""

    looks: Looks
    piece: Numbers
    twist: Numbers

    @staticmethod
    def of(looks: Looks, effect: Table) -> Contents:
        """Return the contents of the slots after an effect (placements,)."""
        puzzle = looks.puzzle
        places = effect[puzzle.home]
        piece = np.empty(puzzle.slot_count, dtype=np.int64)
        twist = np.empty(puzzle.slot_count, dtype=np.int64)
        piece[puzzle.slot_of[places]] = np.arange(puzzle.slot_count)
        twist[puzzle.slot_of[places]] = puzzle.twist_of[places]
        return Contents(looks, piece, twist)

    def wanted(self, here: Numbers, there: Numbers) -> Numbers:
        """Return by which twist what is in a slot must be carried to look right in another.

        From twist 0 to that twist, modulo the twists that show; -1 where it never looks right.
        """
        looks, piece = self.looks, self.piece[here]
        twist = (looks.shift[there] - looks.shift[piece] - self.twist[here]) % looks.shown[there]
        return np.where(looks.kind[piece] == looks.kind[there], twist, -1)

    @cached_property
    def right(self) -> NDArray[np.bool_]:
        """In which slots the right piece stands as it should, by looking; shape (slots,)."""
        every = np.arange(len(self.piece))
        result: NDArray[np.bool_] = self.wanted(every, every) == 0
        return result

    @property
    def solved(self) -> bool:
        """Whether every slot looks as at home."""
        return bool(self.right.all())
