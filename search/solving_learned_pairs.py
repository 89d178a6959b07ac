"""Two moves that share most of what they do: the first, then the second undone, does little.

Somebody who knows only sequences that move pieces of several types gets one type alone like that.
Moves are joined on the slots outside of a few, a whole type or some drawn ones, in which the two
may differ.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from search.solving_learned_board import Board, Numbers, View

#: The most pairs, those with fewest turns.
MOST_PAIRS = 40_000
#: Pairs of one set of slots whose effects are compared, those with fewest turns.
MOST_MET = 6_000
#: Moves with the same key are joined with so many that follow.
WINDOW = 6
#: Sets of slots that are drawn, and how many slots each has.
DRAWN, FEW = 12, 6
SEED = 20_260_106


@dataclass(frozen=True, eq=False)
class Pairs:
    """Pairs of moves by their places in a view, and where they carry what is at home."""

    first: Numbers
    second: Numbers
    to: NDArray[np.int16]


def pairs_of(view: View, to: NDArray[np.int16], cost: Numbers, groups: list[Numbers]) -> Pairs:
    """Return pairs of a view's moves; ``to`` (moves, slots) and ``cost`` are theirs.

    ``groups`` are slots by their places in the view of which the two may do different things.
    """
    first, second = _joined(view, cost, groups)
    board = view.board
    there = _undone_after(board, to[first], to[second])
    names = there.astype(np.int64) @ _odd(board.slots)
    order = np.argsort(cost[first] + cost[second], kind="stable")
    once = np.sort(np.unique(names[order], return_index=True)[1])[:MOST_PAIRS]
    kept = order[once]
    return Pairs(first[kept], second[kept], there[kept].astype(np.int16))


def _joined(view: View, cost: Numbers, groups: list[Numbers]) -> tuple[Numbers, Numbers]:
    rows: list[tuple[Numbers, Numbers]] = [(np.zeros(0, np.int64), np.zeros(0, np.int64))]
    for few in _sets(len(view.own), groups):
        keys, nothing = view.keys_without(few)
        own = np.flatnonzero(keys != nothing)
        own = own[np.lexsort((cost[own], keys[own]))]
        ranked = keys[own]
        met: list[tuple[Numbers, Numbers]] = []
        for apart in range(1, WINDOW + 1):
            at = np.flatnonzero(ranked[apart:] == ranked[:-apart])
            met.append((own[at], own[at + apart]))
        one, other = (np.concatenate(own) for own in zip(*met, strict=True))
        cheap = np.argsort(cost[one] + cost[other], kind="stable")[:MOST_MET]
        rows += [(one[cheap], other[cheap]), (other[cheap], one[cheap])]
    first, second = (np.concatenate(own) for own in zip(*rows, strict=True))
    return first, second


def _sets(count: int, groups: list[Numbers]) -> Iterator[Numbers]:
    """Yield the sets of slots in which two moves may differ."""
    if len(groups) > 1:
        yield from groups
    random = np.random.default_rng(SEED)
    for _ in range(DRAWN):
        group = groups[int(random.integers(len(groups)))]
        if len(group) > FEW:
            yield random.permutation(group)[:FEW]


def _undone_after(board: Board, one: NDArray[np.int16], other: NDArray[np.int16]) -> Numbers:
    """Return where moves (n, slots), each with another undone after it, carry what is at home."""
    there, twist = board.slot_of[one], board.twist_of[one]
    start = np.argsort(board.slot_of[other], axis=1, kind="stable")
    back = np.take_along_axis(start, there, 1)
    turned = twist - np.take_along_axis(board.twist_of[other], back, 1)
    result: Numbers = board.home[back] + turned % board.twists[back]
    return result


def _odd(count: int) -> Numbers:
    drawn = np.random.default_rng(SEED).integers(0, 2**62, size=count)
    return drawn * 2 + 1
