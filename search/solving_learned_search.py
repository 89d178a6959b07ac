"""A beam search from some contents to the solved ones by moves of a view, met from the other end.

A move is worth what it costs against how many more slots look right after it. From the solved
contents all single moves and pairs of handy ones are known beforehand (``Endings``): where few
slots are wrong, what every move leads to is looked up there, so that the last three moves are found
together, whatever gets worse in between.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from search.solving_learned_board import Held, Keys, Numbers, View
from search.solving_learned_sums import Sums

#: How many moves are put together in pairs from the solved end.
HANDY = 1_000
#: By so many bits keys are looked up before they are compared.
SIEVE_BITS = 22
_SIEVE = np.uint64((1 << SIEVE_BITS) - 1)
#: With so many slots left wrong the other end is looked for.
FEW_WRONG = 10
#: How many slots a move puts right on the whole, for an estimate of what is still to come.
PUT_RIGHT = 2.2
#: What sums that cannot be mended later count, in slots.
UNMENDED = 2
#: The most entries of tables that a search looks up.
MOST_LOOKED = 250_000_000
#: Rounds that are gone on with once an end was met.
ROUNDS_AFTER = 1

#: A move by its place in the view, and whether it is undone.
Done = tuple[int, bool]


@dataclass(frozen=True)
class Node:
    """Contents on the way, the sums that they have, what it cost and what led here."""

    held: Held
    sums: Numbers
    cost: int
    wrong: int
    done: tuple[Done, ...]


class Endings:
    """What one or two moves make of the solved contents: undone, they lead back there."""

    def __init__(self, view: View, cost: Numbers, sums: Numbers, mended: Sums) -> None:
        start = view.solved
        one = view.keys(start) + mended.marks(mended.codes(sums))
        rows: list[tuple[Keys, Numbers, Numbers, Numbers]] = [
            (
                np.array([view.key(start)], dtype=np.uint64),
                np.zeros(1, dtype=np.int64),
                np.full(1, -1),
                np.full(1, -1),
            ),
            (one, cost, np.arange(len(view)), np.full(len(view), -1)),
        ]
        handy = np.sort(np.argsort(cost + 2 * view.size, kind="stable")[:HANDY])
        for first in handy.tolist():
            keys = view.keys_of(view.after(start, first), handy)
            both = mended.codes(sums[first] + sums[handy])
            rows.append(
                (
                    keys + mended.marks(both),
                    cost[first] + cost[handy],
                    np.full(len(handy), first),
                    handy,
                )
            )
        keys, total, first_of, second_of = (np.concatenate(own) for own in zip(*rows, strict=True))
        order = np.lexsort((total, keys))
        keys = keys[order]
        once = np.ones(len(keys), dtype=np.bool_)
        once[1:] = keys[1:] != keys[:-1]
        kept = order[once]
        self._keys: Keys = keys[once]
        self._cost, self._first, self._second = total[kept], first_of[kept], second_of[kept]
        self._sieve = np.zeros(1 << SIEVE_BITS, dtype=np.bool_)
        self._sieve[(self._keys & _SIEVE).astype(np.int64)] = True

    def best(self, keys: Keys, cost: Numbers) -> tuple[int, int, tuple[Done, ...]] | None:
        """Return which of some keys is cheapest to end from, what it costs, and the moves.

        ``cost`` is what it costs to come to each key. None where no end is known for any.
        """
        likely = np.flatnonzero(self._sieve[(keys & _SIEVE).astype(np.int64)])
        if not len(likely):
            return None
        place = np.minimum(np.searchsorted(self._keys, keys[likely]), len(self._keys) - 1)
        met = self._keys[place] == keys[likely]
        if not met.any():
            return None
        likely, place = likely[met], place[met]
        total = cost[likely] + self._cost[place]
        k = int(total.argmin())
        own = int(place[k])
        moves = [int(self._second[own]), int(self._first[own])]
        return int(likely[k]), int(total[k]), tuple((m, True) for m in moves if m >= 0)


class Beam:
    """Looks for moves of a view that put its slots right, and sums up to ``mended``.

    ``cost`` (moves,) are turns, ``sums`` (moves, sums) what each adds.
    """

    def __init__(self, view: View, cost: Numbers, sums: Numbers, mended: Sums) -> None:
        self.view, self.cost, self.sums, self.mended = view, cost, sums, mended
        self.endings = Endings(view, cost, sums, mended)
        small = cost[view.size <= max(int(view.size.min(initial=0)), 6)]
        #: About how many turns it takes to put one slot right.
        self.per_slot: float = float(np.median(small)) / PUT_RIGHT if len(small) else 1.0

    def node(self, held: Held, sums: Numbers, cost: int = 0, done: tuple[Done, ...] = ()) -> Node:
        """Return some contents with how many slots are wrong, unmended sums counted in."""
        wrong = int((~self.view.right(held)).sum())
        return Node(held, sums, cost, wrong + UNMENDED * (self.mended.code(sums) != 0), done)

    def solve(
        self, start: Node, width: int, tried: int, stop: Callable[[], bool]
    ) -> tuple[Node, bool]:
        """Return where the moves led, and whether that is the end; else the nearest to it.

        ``width`` contents are gone on with at once, ``tried`` moves are tried from each.
        """
        if start.wrong == 0 or not len(self.view):
            return start, start.wrong == 0
        best: Node | None = None
        nearest, beam, seen = start, [start], {start.held.name: 0}
        after = looked = 0
        each = 2 * int(self.view.size.sum())
        for _ in range(2 * len(self.view.own) + 8):
            children: list[Node] = []
            for node in beam:
                looked += each
                if stop() or looked > MOST_LOOKED:
                    return best or nearest, best is not None
                ended = self._ended(node)
                if ended is not None and (best is None or ended.cost < best.cost):
                    best = ended
                children += self._children(node, tried)
            after += best is not None
            if after > ROUNDS_AFTER:
                break
            fresh: list[Node] = []
            for child in sorted(children, key=self._estimate):
                if best is not None and child.cost >= best.cost:
                    continue
                if seen.get(child.held.name, child.cost + 1) <= child.cost:
                    continue
                seen[child.held.name] = child.cost
                if child.wrong < nearest.wrong:
                    nearest = child
                fresh.append(child)
                if len(fresh) >= width:
                    break
            beam = fresh
            if not beam:
                break
        return best or nearest, best is not None

    def _estimate(self, node: Node) -> tuple[float, int]:
        return node.cost + self.per_slot * node.wrong, node.wrong

    def _ended(self, node: Node) -> Node | None:
        """Return the end that is met from some contents, at once or after one move."""
        if node.wrong > FEW_WRONG:
            return None
        marks = self.mended.marks(self.mended.codes(node.sums + self.sums))
        keys = self.view.keys(node.held) + marks
        here = self.view.key(node.held) + self.mended.marks(np.array([self.mended.code(node.sums)]))
        every = np.concatenate([keys, here])
        cost = np.concatenate([self.cost, np.zeros(1, dtype=np.int64)])
        found = self.endings.best(every, cost)
        if found is None:
            return None
        at, total, rest = found
        first: tuple[Done, ...] = ((at, False),) if at < len(self.cost) else ()
        return Node(node.held, node.sums, node.cost + total, 0, (*node.done, *first, *rest))

    def _children(self, node: Node, tried: int) -> list[Node]:
        gains = self.view.gains(node.held)
        value = self.cost - self.per_slot * gains
        codes: NDArray[np.int64] = self.mended.codes(node.sums + self.sums)
        value += self.per_slot * UNMENDED * ((codes != 0) - float(self.mended.code(node.sums) != 0))
        count = min(tried, len(value))
        own = np.sort(np.argpartition(value, count - 1)[:count])
        result = []
        for row in own.tolist():
            held = self.view.after(node.held, row)
            sums = (node.sums + self.sums[row]) % self.mended.moduli
            done = (*node.done, (row, False))
            result.append(self.node(held, sums, node.cost + int(self.cost[row]), done))
        return result
