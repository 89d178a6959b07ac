"""The tables of a join: the conjugates of a word by all arms of some lengths, by their keys."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from search.kernels.arms import (
    BLOCKS,
    BUCKETS,
    ENTRIES,
    FILLING,
    NEEDED,
    PREFIXES,
    SHORTER,
    WORD,
    Room,
    Scratch,
    first_arm,
    list_able,
    next_arm,
)
from search.kernels.arrays import Encoded
from search.kernels.jit import kernel
from search.kernels.pairs import UNMARKED
from search.kernels.rows import Columns, add_up
from search.kernels.words import count_words

#: Tables of fewer entries than this have eight buckets an entry, larger ones two.
FEW_ENTRIES = 512


@kernel
def begin_tables(
    enc: Encoded,
    columns: Columns,
    room: Room,
    work: Scratch,
    number: int,
    ncuts: int,
    least_radius: int,
    most_radius: int,
) -> int:
    """Empty the tables for a word; return how many entries ``room`` must have, 0 if it has them.

    Only so many buckets are cleared as there is use for: most words have few conjugates.
    """
    base = len(columns.start) - 2
    filled = room.filled
    entries = 0
    blocks = 0
    prefixes = 0
    for radius in range(least_radius, most_radius + 1):
        long = max(radius - base, 0)
        for c in range(ncuts):
            arms = count_words(radius, work.closed[c], enc.turn_layer, enc.passes)
            entries += arms
            prefixes = count_words(long, work.closed[c], enc.turn_layer, enc.passes)
            blocks += min(arms, prefixes)
    filled[WORD] = 0
    filled[NEEDED] = blocks
    if entries > len(room.wholes) or blocks > len(room.blocks):
        return entries
    # Few entries get many buckets, which fit the first cache and spare looking at chains.
    wanted_buckets = 8 * entries if entries < FEW_ENTRIES else 2 * entries
    buckets = 64
    while buckets < wanted_buckets:
        buckets *= 2
    for j in range(len(room.heads)):
        for k in range(buckets):
            room.heads[j, k] = -1
    filled[WORD], filled[BUCKETS], filled[FILLING] = number + 1, buckets, 1
    filled[ENTRIES], filled[BLOCKS], filled[PREFIXES], filled[SHORTER] = 0, 0, 0, 0
    return 0


@kernel
def _list_new(
    keys: NDArray[np.uint64],
    whole: NDArray[np.uint64],
    mask: np.uint64,
    heads: NDArray[np.int32],
    follow: NDArray[np.int32],
    wholes: NDArray[np.uint64],
    count: int,
    able: NDArray[np.int64],
) -> int:
    """Leave those columns in ``able`` whose conjugates are not in a table; return how many."""
    n = 0
    for m in range(count):
        i = able[m]
        entry = heads[keys[i] & mask]
        while entry >= 0 and wholes[entry] != whole[i]:
            entry = follow[entry]
        if entry < 0:
            able[n] = i
            n += 1
    return n


@kernel
def insert_all(
    enc: Encoded,
    columns: Columns,
    room: Room,
    work: Scratch,
    ncuts: int,
    least_radius: int,
    most_radius: int,
    distinct: bool,
    most: int,
) -> None:
    """Fill the tables with the conjugates of a word by all arms, the shorter arms first.

    With ``distinct``, of equal conjugates only the first one is put in: with long arms there are
    thousands of a kind, and looking through them all would take most of the time.

    Goes on where an earlier call broke off, and breaks off itself after ``most`` conjugates;
    ``room.filled[FILLING]`` is 0 once all are there.
    """
    base = len(columns.start) - 2
    turn_layer, passes, conjugate, first = enc.turn_layer, enc.passes, enc.conjugate, columns.first
    rows, states, prefix, at, able = work.rows, work.states, work.prefix, work.at, work.able
    cut_rows, closed, bounds = work.cut_rows, work.closed, work.bounds
    words, shut = columns.words, work.shut
    whole, keys, sums = work.whole, work.keys, work.sums
    heads, follow, held, wholes, source = (
        room.heads,
        room.follow,
        room.held,
        room.wholes,
        room.source,
    )
    blocks, block_cut, marks = room.blocks, room.block_cut, room.marks
    block_radius, filled = room.block_radius, room.filled
    unmarked = np.uint64(UNMARKED)
    values, offset = columns.values, columns.offset
    channel_type, type_row, joins = enc.channel_type, enc.type_row, enc.joins
    moved = bounds[len(bounds) - 1]
    mask = np.uint64(filled[BUCKETS] - 1)
    entries, done, block = filled[ENTRIES], filled[PREFIXES], filled[BLOCKS]
    looked = 0
    prefixes = 0
    for radius in range(least_radius, most_radius + 1):
        short = min(radius, base)
        long = radius - short
        lo, hi = columns.start[short], columns.start[short + 1]
        begins = long == 0 and short > 0
        if prefixes >= done:
            filled[SHORTER] = entries
        for c in range(ncuts):
            first_arm(cut_rows, closed, c, moved, rows, states, prefix, at)
            while next_arm(
                turn_layer, passes, conjugate, shut[c], moved, long, rows, states, prefix, at
            ):
                prefixes += 1
                if prefixes <= done:
                    continue
                if looked >= most:
                    filled[ENTRIES], filled[PREFIXES], filled[BLOCKS] = entries, prefixes - 1, block
                    return
                n = list_able(first, words, shut[c], begins, states[long], lo, hi, able)
                if n == 0:
                    continue
                add_up(
                    values,
                    offset,
                    channel_type,
                    type_row,
                    joins,
                    rows[long],
                    bounds,
                    lo,
                    hi,
                    sums,
                    whole,
                    keys,
                )
                block_cut[block] = c
                block_radius[block] = radius
                for k in range(long):
                    blocks[block, k] = prefix[k]
                looked += n
                if distinct:
                    n = _list_new(keys[0], whole, mask, heads[0], follow[0], wholes, n, able)
                for m in range(n):
                    wholes[entries + m] = whole[able[m]]
                    source[entries + m, 0] = block
                    source[entries + m, 1] = lo + able[m]
                for j in range(len(keys)):
                    for m in range(n):
                        key = keys[j, able[m]]
                        place = key & mask
                        held[j, entries + m] = key
                        marks[j, entries + m] = unmarked
                        follow[j, entries + m] = heads[j, place]
                        heads[j, place] = entries + m
                entries += n
                block += 1
    filled[FILLING], filled[ENTRIES], filled[PREFIXES], filled[BLOCKS] = 0, entries, prefixes, block
