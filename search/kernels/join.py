"""One slice of the join: conjugates of a short word, met with each other by the keys of effects.

For a word A and a cut C of it, u = w' C w disturbs the pieces that C disturbs, carried by w. Two
conjugates u and v of cuts of the same cyclic A make a ring u v', which is a commutator; u v' cycles
three pieces of a type and nothing else that is kept exactly if u and v agree on everything but
three pieces of that type. So conjugates by words w of length r2 go into tables by their keys, and
those of length r1 >= r2 are looked up in them.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from search.kernels.arrays import Encoded
from search.kernels.jit import kernel
from search.kernels.pairs import count_differing, is_three_cycle, least_starts
from search.kernels.records import write_record
from search.kernels.rows import Columns, add_up, carried_rows, word_rows
from search.kernels.words import (
    LONGEST,
    MOST_CUTS,
    after,
    count_words,
    first_layers,
    last_layers,
    list_cuts,
)

#: Symmetries of A are looked for where arms of this length make it worth while.
FAR = 3


class Room(NamedTuple):
    """Scratch for one call of ``join``, made by ``search.rings``; n entries, b blocks, m buckets.

    heads (J, m) and follow (J, n): chains of entries by key. held (J, n), wholes (n,): keys of the
    entries. source (n, 2): block and column. blocks (b, LONGEST): prefix; block_cut (b,).
    """

    heads: NDArray[np.int32]
    follow: NDArray[np.int32]
    held: NDArray[np.uint64]
    wholes: NDArray[np.uint64]
    source: NDArray[np.int32]
    blocks: NDArray[np.int64]
    block_cut: NDArray[np.int32]


@kernel
def insert(
    room: Room,
    keys: NDArray[np.uint64],
    whole: NDArray[np.uint64],
    able: NDArray[np.int64],
    n: int,
    lo: int,
    entries: int,
    block: int,
    mask: np.uint64,
) -> None:
    """Add n conjugates to the tables of all joins."""
    for m in range(n):
        i = able[m]
        room.wholes[entries + m] = whole[i]
        room.source[entries + m, 0] = block
        room.source[entries + m, 1] = lo + i
    for j in range(len(room.held)):
        for m in range(n):
            key = keys[j, able[m]]
            place = key & mask
            room.held[j, entries + m] = key
            room.follow[j, entries + m] = room.heads[j, place]
            room.heads[j, place] = entries + m


@kernel
def join(
    enc: Encoded,
    columns: Columns,
    room: Room,
    classes: NDArray[np.uint8],
    begin: int,
    end: int,
    cyclic: bool,
    radius1: int,
    radius2: int,
    out: NDArray[np.uint8],
    tally: NDArray[np.int64],
) -> tuple[int, int, int]:
    """Join the conjugates of the words begin to end, and write the rings that are three-cycles.

    ``classes`` (n, |A|) are words from ``list_classes``; ``radius1`` >= ``radius2`` are the lengths
    of the conjugators. ``out`` (n, RECORD) receives one record for each ring. ``tally`` (2,) counts
    conjugates and agreeing pairs. Returns the next word, the number of records, and the entries
    that ``room`` must have. A word whose entries or records do not fit is left for the next call:
    the next word is then its own number.
    """
    length = classes.shape[1]
    base = len(columns.start) - 2
    types = len(enc.type_slot) - 1
    joins = len(enc.wanted)
    turns = len(enc.turn_layer)
    slots = len(enc.home)
    width = 1
    for k in range(base + 1):
        width = max(width, columns.start[k + 1] - columns.start[k])
    sums = np.empty((len(enc.channel_type), width), dtype=np.uint64)
    whole = np.empty(width, dtype=np.uint64)
    keys = np.empty((joins, width), dtype=np.uint64)
    able = np.empty(width + 1, dtype=np.int64)
    rows = np.empty((LONGEST + 1, slots), dtype=np.int64)
    bounds = np.empty(types + 1, dtype=np.int64)
    cuts = np.zeros((MOST_CUTS, LONGEST), dtype=np.int64)
    origin = np.zeros((MOST_CUTS, 2), dtype=np.int64)
    cut_rows = np.empty((MOST_CUTS, slots), dtype=np.int64)
    closed = np.empty(MOST_CUTS, dtype=np.uint64)
    least = np.empty((MOST_CUTS, turns), dtype=np.bool_)
    prefix = np.zeros(LONGEST, dtype=np.int64)
    states = np.zeros(LONGEST + 1, dtype=np.uint64)
    one = np.empty(slots, dtype=np.int64)
    two = np.empty(slots, dtype=np.int64)
    seen = np.zeros(slots + 1, dtype=np.int64)
    there = np.zeros(slots, dtype=np.int64)
    arm1 = np.zeros(LONGEST, dtype=np.int64)
    arm2 = np.zeros(LONGEST, dtype=np.int64)
    conjugate, row_slot, words = enc.conjugate, enc.row_slot, columns.words
    short2 = min(radius2, base)
    long2 = radius2 - short2
    written = 0
    for number in range(begin, end):
        start_written = written
        for k in range(length):
            cuts[0, k] = classes[number, k]
        ncuts = 1
        if cyclic:
            ncuts = list_cuts(cuts[0].copy(), length, enc.turn_layer, enc.passes, cuts, origin)
        expected = 0
        for c in range(ncuts):
            free = ~np.uint64(0)
            for k in range(length):
                free &= enc.passes[enc.turn_layer[cuts[c, k]]]
            closed[c] = (
                free
                | first_layers(cuts[c], length, enc.turn_layer, enc.passes)
                | last_layers(cuts[c], length, enc.turn_layer, enc.passes)
            )
            word_rows(enc, cuts[c], length, cut_rows[c], bounds)
            expected += count_words(radius2, closed[c], enc.turn_layer, enc.passes)
            for t in range(turns):
                least[c, t] = True
        moved = bounds[types]
        size = 1024
        while size < 2 * expected:
            size *= 2
        if expected > len(room.wholes) or size > room.heads.shape[1]:
            return number, start_written, expected
        if radius1 >= FAR:
            least_starts(enc, cuts, ncuts, length, 0, least)
            least_starts(enc, cuts, ncuts, length, 1, least)
        mask = np.uint64(size - 1)
        for j in range(joins):
            for k in range(size):
                room.heads[j, k] = -1
        entries = 0
        nblocks = 0
        for side in range(2):
            radius = radius2 if side == 0 else radius1
            short = min(radius, base)
            long = radius - short
            lo, hi = columns.start[short], columns.start[short + 1]
            probed = 0
            for c in range(ncuts):
                for k in range(moved):
                    rows[0, k] = cut_rows[c, k]
                states[0] = closed[c]
                prefix[0] = -1
                depth = 0
                while depth >= 0:
                    if depth < long:
                        prefix[depth] += 1
                        t = prefix[depth]
                        if t == turns:
                            depth -= 1
                            continue
                        layer = enc.turn_layer[t]
                        if (states[depth] >> np.uint64(layer)) & np.uint64(1):
                            continue
                        if side == 1 and depth == 0 and not least[c, t]:
                            if radius1 == radius2:
                                follow = after(states[0], layer, enc.passes)
                                probed += count_words(
                                    radius - 1, follow, enc.turn_layer, enc.passes
                                )
                            continue
                        for k in range(moved):
                            rows[depth + 1, k] = enc.conjugate[t, rows[depth, k]]
                        states[depth + 1] = after(states[depth], layer, enc.passes)
                        depth += 1
                        prefix[depth] = -1
                        continue
                    n = 0
                    for i in range(lo, hi):
                        able[n] = i - lo
                        n += 0 if columns.first[i] & states[depth] else 1
                    add_up(enc, columns, rows[depth], bounds, lo, hi, sums, whole, keys)
                    depth -= 1
                    if side == 0:
                        room.block_cut[nblocks] = c
                        for k in range(long):
                            room.blocks[nblocks, k] = prefix[k]
                        insert(room, keys, whole, able, n, lo, entries, nblocks, mask)
                        entries += n
                        nblocks += 1
                        continue
                    tally[0] += n
                    for j in range(joins):
                        kind = enc.wanted[j]
                        first, last = bounds[kind], bounds[kind + 1]
                        for m in range(n):
                            i = able[m]
                            key = keys[j, i]
                            entry = room.heads[j, key & mask]
                            if entry < 0 or (long == 0 and not least[c, columns.words[lo + i, 0]]):
                                continue
                            carried = False
                            while entry >= 0:
                                here = entry
                                entry = room.follow[j, here]
                                if room.held[j, here] != key or room.wholes[here] == whole[i]:
                                    continue
                                block, column = room.source[here, 0], room.source[here, 1]
                                c2 = room.block_cut[block]
                                if radius1 == radius2 and here < probed + m:
                                    start = columns.words[column, 0]
                                    if long2 > 0:
                                        start = room.blocks[block, 0]
                                    if least[c2, start]:
                                        continue
                                tally[1] += 1
                                if not carried:
                                    carried_rows(
                                        conjugate,
                                        words,
                                        rows[long],
                                        first,
                                        last,
                                        prefix,
                                        0,
                                        lo + i,
                                        short,
                                        one,
                                    )
                                    carried = True
                                carried_rows(
                                    conjugate,
                                    words,
                                    cut_rows[c2],
                                    first,
                                    last,
                                    room.blocks[block],
                                    long2,
                                    column,
                                    short2,
                                    two,
                                )
                                differing = count_differing(
                                    row_slot, one, two, first, last, seen, there
                                )
                                if differing != 3 or not is_three_cycle(
                                    enc, kind, one, two, first, last, seen, there
                                ):
                                    continue
                                for k in range(long):
                                    arm1[k] = prefix[k]
                                for k in range(short):
                                    arm1[long + k] = columns.words[lo + i, k]
                                for k in range(long2):
                                    arm2[k] = room.blocks[block, k]
                                for k in range(short2):
                                    arm2[long2 + k] = columns.words[column, k]
                                # Arms that end in turns of one layer: a shorter ring, met before.
                                meet = last_layers(arm1, radius, enc.turn_layer, enc.passes)
                                if meet & last_layers(arm2, radius2, enc.turn_layer, enc.passes):
                                    continue
                                if written == len(out):
                                    return number, start_written, expected
                                write_record(
                                    out[written],
                                    kind,
                                    length,
                                    radius1,
                                    radius2,
                                    cuts[c],
                                    cuts[c2],
                                    arm1,
                                    arm2,
                                )
                                written += 1
                    probed += n
    return end, written, 0
