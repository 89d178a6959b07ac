"""A stage of solving with learned sequences: what may be done in it, and how it is gone about."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from search.solving_learned_board import Board, Held, Numbers, View
from search.solving_learned_pairs import Pairs, pairs_of
from search.solving_learned_search import Beam, Done
from search.solving_learned_sums import Sums

#: What a slot counts, in turns, where nothing that is learned puts it right.
UNLEARNED = 4.0
#: The most turns between learned sequences that put nothing right by themselves.
BETWEEN = 1
#: How many contents are gone on with at once, and how many moves are tried from each.
WIDTH, TRIED = 4, 16


@dataclass(frozen=True, eq=False)
class Moves:
    """Moves of a board in a row: ``to`` (n, slots), ``cost`` (n,), ``sums`` (n, sums)."""

    to: NDArray[np.int16]
    cost: Numbers
    sums: Numbers

    def __len__(self) -> int:
        return len(self.cost)

    @staticmethod
    def joined(*rows: Moves) -> Moves:
        """Return some moves after others."""
        return Moves(
            np.concatenate([own.to for own in rows]),
            np.concatenate([own.cost for own in rows]),
            np.concatenate([own.sums for own in rows]),
        )


@dataclass(frozen=True, eq=False)
class Stage:
    """Slots that are put right while those that ``stays`` has look as they do.

    ``learned`` and ``free`` are moves of the board. ``mendable``: sums up to what this stage and
    later ones add; ``later``: up to what later ones add.
    """

    board: Board
    own: Numbers
    stays: Numbers
    learned: Moves
    free: Moves
    mendable: Sums
    later: Sums

    @cached_property
    def _every(self) -> Moves:
        """Learned moves, and single turns that add nothing that stays unmended."""
        single = self.free.cost <= BETWEEN
        single &= self.mendable.codes(self.free.sums) == 0
        # What is left out is as good as no turn at all.
        to = np.where(single[:, None], self.free.to, self.board.home.astype(np.int16))
        return Moves.joined(self.learned, Moves(to, self.free.cost, self.free.sums))

    @cached_property
    def beam(self) -> Beam:
        """The search with learned moves."""
        return self._beam(self._every)

    def _beam(self, moves: Moves) -> Beam:
        view = View(self.board, self.own, self.stays, moves.to)
        return Beam(view, moves.cost[view.numbers], moves.sums[view.numbers], self.later)

    @cached_property
    def _pairs(self) -> Pairs:
        """Pairs of the moves of the beam."""
        view = self.beam.view
        groups = [np.flatnonzero(self.board.group[self.own] == k) for k in self.types]
        return pairs_of(view, self._every.to[view.numbers], self.beam.cost, groups)

    @cached_property
    def deeper(self) -> Beam:
        """The search with pairs of learned moves beside them."""
        view, pairs, beam = self.beam.view, self._pairs, self.beam
        sums = (beam.sums[pairs.first] - beam.sums[pairs.second]) % self.later.moduli
        both = Moves(pairs.to, beam.cost[pairs.first] + beam.cost[pairs.second], sums)
        own = Moves(self._every.to[view.numbers], beam.cost, beam.sums)
        return self._beam(Moves.joined(own, both))

    @property
    def types(self) -> list[int]:
        """The groups of slots that are put right."""
        return [int(k) for k in np.unique(self.board.group[self.own])]

    @cached_property
    def play(self) -> View:
        """Free moves as they act on the stage."""
        return View(self.board, self.own, self.stays, self.free.to)

    @cached_property
    def learns(self) -> bool:
        """Whether any learned move does anything in this stage."""
        return bool((self.beam.view.numbers < len(self.learned)).any())

    def playing(self, held: Held, sums: Numbers) -> Iterator[int]:
        """Yield free moves by number, as long as they put more right than they cost.

        Sums that learned sequences cannot mend are put right on the way, by a move that may cost
        more than that.
        """
        view = self.play
        if not len(view):
            return
        per_slot = self.beam.per_slot if self.learns else UNLEARNED
        cost, adds = self.free.cost[view.numbers], self.free.sums[view.numbers]
        mended = False
        while True:
            value = per_slot * view.gains(held) - cost
            good = self.mendable.codes(sums + adds) == 0
            wrong = self.mendable.code(sums) != 0
            if mended or not wrong:
                value[~good] = -np.inf
            elif value.max() <= 0 and good.any():
                value[~good] = -np.inf
                mended = True
            best = int(value.argmax())
            if value[best] == -np.inf or (value[best] <= 0 and not (mended and wrong)):
                return
            yield int(view.numbers[best])
            held = view.after(held, best)
            sums = (sums + adds[best]) % self.mendable.moduli

    def working(
        self, held: Held, sums: Numbers, stop: Callable[[], bool]
    ) -> tuple[tuple[Done, ...], bool]:
        """Return moves, learned ones first numbered, that put the stage right, and whether they do.

        Each is a number and whether it is undone; free moves are numbered after the learned ones.
        """
        beam = self.beam
        start = beam.node(held, sums)
        if start.wrong == 0:
            return (), True
        if not self.learns:
            return (), False
        near, whole = beam.solve(start, WIDTH, TRIED, stop)
        if whole or stop():
            return self._said(near.done), whole
        further, whole = self.deeper.solve(start, WIDTH, TRIED, stop)
        if whole or further.wrong < near.wrong:
            return self._paired(further.done), whole
        return self._said(near.done), False

    def _said(self, done: tuple[Done, ...]) -> tuple[Done, ...]:
        """Return moves of the beam by their numbers."""
        return tuple((int(self.beam.view.numbers[row]), undone) for row, undone in done)

    def _paired(self, done: tuple[Done, ...]) -> tuple[Done, ...]:
        """Return moves of the deeper beam by their numbers, pairs one after the other."""
        count, pairs = len(self.beam.view), self._pairs
        rows: list[Done] = []
        for row, undone in done:
            own = int(self.deeper.view.numbers[row])
            if own < count:
                rows.append((own, undone))
                continue
            first, second = int(pairs.first[own - count]), int(pairs.second[own - count])
            rows += [(second, False), (first, True)] if undone else [(first, False), (second, True)]
        return self._said(tuple(rows))
