"""One slice of the join: conjugates of a short word, met with each other by the keys of effects.

For a word A and a cut C of it, u = w' C w disturbs the pieces that C disturbs, carried by w. Two
conjugates u and v of cuts of the same cyclic A make a ring u v', which is a commutator; u v' cycles
three pieces of a type and nothing else that is kept exactly if u and v agree on everything but
three pieces of that type. Other effects are found in the same way by how many pieces of which
types they move. So conjugates by words w of length r2 go into tables by their keys, and
those of length r1 >= r2 are looked up in them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from search.kernels.arms import (
    BUCKETS,
    FILLING,
    SHORTER,
    WORD,
    Room,
    Scratch,
    begin_word,
    first_arm,
    list_able,
    next_arm,
    write_arm,
)
from search.kernels.arrays import Encoded
from search.kernels.jit import kernel
from search.kernels.pairs import (
    UNMARKED,
    add_marks,
    count_differing,
    is_three_cycle,
    may_be_near,
)
from search.kernels.records import write_record
from search.kernels.rows import Columns, add_up, carried_rows
from search.kernels.tables import begin_tables, insert_all
from search.kernels.words import last_layers

#: What there was no room for, other than entries.
NOT_FULL, NO_ROOM = -1, -2
#: Symmetries of A are looked for where arms of this length make it worth while.
FAR = 3


#: Beginning a word takes as long as about so many conjugates (measured on the 3x3x3).
WORD_CONJUGATES = 400


@kernel
def join(
    enc: Encoded,
    columns: Columns,
    room: Room,
    work: Scratch,
    classes: NDArray[np.uint8],
    begin: int,
    end: int,
    cyclic: bool,
    radius1: int,
    least_radius: int,
    most_radius: int,
    distinct: bool,
    resume: int,
    until: int,
    most: int,
    out: NDArray[np.uint8],
    tally: NDArray[np.int64],
) -> tuple[int, int, int, int]:
    """Join the conjugates of the words begin to end, and write the rings with a wanted effect.

    ``classes`` (n, |A|) are words from ``list_classes``; ``radius1`` is the length of
    the arms that are looked up, ``least_radius`` to ``most_radius`` <= ``radius1`` are those of the
    arms in the tables; ``distinct``: each conjugate stands there once. ``out`` (n, RECORD) receives
    one record for each ring. ``tally`` (2,) counts conjugates and agreeing pairs. ``resume`` is the
    block of arms of the first word at which an earlier call broke off, 0 for none; a word is done
    with its block ``until``. A call ends when it has looked at ``most`` conjugates and pairs; where
    in the block that was stands in ``work.place``, whose first must be 0 where another join begins,
    as must ``room.filled``.

    Returns the next word, the block of it to resume at, the number of records, and what there was
    no room for: 0 for nothing, the entries that ``room`` must have, NOT_FULL if the tables are not
    yet full, NO_ROOM if ``out`` takes not even one column's records. Records of a column that do
    not fit are left out.
    """
    length = classes.shape[1]
    base = len(columns.start) - 2
    short = min(radius1, base)
    long = radius1 - short
    lo, hi = columns.start[short], columns.start[short + 1]
    # Single arrays: tuples of them cost half a microsecond each time they are handed over.
    turn_layer, passes, conjugate, row_slot = (
        enc.turn_layer,
        enc.passes,
        enc.conjugate,
        enc.row_slot,
    )
    words, first, values, offset = columns.words, columns.first, columns.values, columns.offset
    channel_type, type_row, joins, wanted = (
        enc.channel_type,
        enc.type_row,
        enc.joins,
        enc.wanted,
    )
    heads, follow, held, wholes, source = (
        room.heads,
        room.follow,
        room.held,
        room.wholes,
        room.source,
    )
    blocks, block_cut, marks, mark = room.blocks, room.block_cut, room.marks, enc.mark
    block_radius, filled = room.block_radius, room.filled
    sums, whole, keys, able, bounds = work.sums, work.whole, work.keys, work.able, work.bounds
    cuts, cut_rows, closed, least = work.cuts, work.cut_rows, work.closed, work.least
    shut, begins = work.shut, long == 0
    rows, states, prefix, at = work.rows, work.states, work.prefix, work.at
    one, two, seen, there = work.one, work.two, work.seen, work.there
    arm1, arm2 = work.arm1, work.arm2
    unmarked, own = np.uint64(UNMARKED), np.uint64(0)
    place = work.place
    written = 0
    for number in range(begin, end):
        ncuts = begin_word(enc, work, classes[number], cyclic, radius1 >= FAR)
        moved = bounds[len(bounds) - 1]
        if filled[WORD] != number + 1:
            needed = begin_tables(
                enc, columns, room, work, number, ncuts, least_radius, most_radius
            )
            if needed:
                return number, resume, written, needed
        if filled[FILLING]:
            insert_all(
                enc,
                columns,
                room,
                work,
                ncuts,
                least_radius,
                most_radius,
                distinct,
                most,
            )
            if filled[FILLING]:
                return number, resume, written, NOT_FULL
        mask, shorter = np.uint64(filled[BUCKETS] - 1), filled[SHORTER]
        block = 0
        probed = 0
        first_cut, first_join, first_column = 0, 0, 0
        # Where the last call broke off, the arm at work and its rows still stand there.
        inside = place[0] == number + 1 and place[1] == resume
        if inside:
            block, probed, first_cut = resume, place[3], place[2]
            first_join, first_column = place[4], place[5]
        place[0] = 0
        for c in range(first_cut, ncuts):
            if not inside:
                first_arm(cut_rows, closed, c, moved, rows, states, prefix, at)
            while inside or next_arm(
                turn_layer, passes, conjugate, shut[c], moved, long, rows, states, prefix, at
            ):
                n = list_able(first, words, shut[c], begins, states[long], lo, hi, able)
                before = probed
                probed += n
                block += 1
                if block > until:
                    break
                if block <= resume or (long > 0 and not least[c, prefix[0]]):
                    continue
                spent = tally[0] + tally[1] + WORD_CONJUGATES * (number - begin)
                if spent > most and not inside:
                    place[0], place[1], place[2] = number + 1, block - 1, c
                    place[3], place[4], place[5] = before, 0, 0
                    return number, block - 1, written, 0
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
                if not inside or (first_join == 0 and first_column == 0):
                    tally[0] += n
                inside = False
                for j in range(first_join, len(keys)):
                    begin_row, end_row = bounds[wanted[j]], bounds[enc.wanted_end[j]]
                    # Marks are of the first of the types: those of several would not fit.
                    end_first = bounds[wanted[j] + 1]
                    bits, low = enc.mark_bits[wanted[j]], enc.mark_low[wanted[j]]
                    most_first = enc.differing_first[j]
                    for m in range(first_column, n):
                        i = able[m]
                        key = keys[j, i]
                        entry = heads[j, key & mask]
                        if entry < 0 or (long == 0 and not least[c, words[lo + i, 0]]):
                            continue
                        kept = written
                        carried = False
                        while entry >= 0:
                            here = entry
                            entry = follow[j, here]
                            if held[j, here] != key or wholes[here] == whole[i]:
                                continue
                            other, column = source[here, 0], source[here, 1]
                            c2 = block_cut[other]
                            # With equal radii both sides are the same: a pair is looked at once,
                            # unless a symmetry leaves out its other order, or not all are there.
                            radius2 = block_radius[other]
                            short2 = min(radius2, base)
                            long2 = radius2 - short2
                            if not distinct and radius1 == radius2 and here - shorter < before + m:
                                start = blocks[other, 0] if long2 > 0 else words[column, 0]
                                if least[c2, start]:
                                    continue
                            tally[1] += 1
                            if not carried:
                                carried_rows(
                                    conjugate,
                                    words,
                                    rows[long],
                                    begin_row,
                                    end_row,
                                    prefix,
                                    0,
                                    lo + i,
                                    short,
                                    one,
                                )
                                carried = True
                                own = add_marks(mark, one, begin_row, end_first)
                            known = marks[j, here]
                            if known != unmarked and not may_be_near(
                                own, known, bits, low, most_first
                            ):
                                continue
                            carried_rows(
                                conjugate,
                                words,
                                cut_rows[c2],
                                begin_row,
                                end_row,
                                blocks[other],
                                long2,
                                column,
                                short2,
                                two,
                            )
                            if known == unmarked:
                                known = add_marks(mark, two, begin_row, end_first)
                                marks[j, here] = known
                                if not may_be_near(own, known, bits, low, most_first):
                                    continue
                            if count_differing(
                                row_slot, one, two, begin_row, end_row, seen, there
                            ) != enc.differing[j] or (
                                enc.three_cycles[j]
                                and not is_three_cycle(
                                    enc, wanted[j], one, two, begin_row, end_row, seen, there
                                )
                            ):
                                continue
                            write_arm(words, prefix, long, lo + i, short, arm1)
                            write_arm(words, blocks[other], long2, column, short2, arm2)
                            # Arms that end in turns of one layer: a shorter ring, met before.
                            if last_layers(arm1, radius1, turn_layer, passes) & last_layers(
                                arm2, radius2, turn_layer, passes
                            ):
                                continue
                            if written == len(out):
                                place[0], place[1], place[2] = number + 1, block - 1, c
                                place[3], place[4], place[5] = before, j, m
                                return number, block - 1, kept, 0 if kept else NO_ROOM
                            write_record(
                                out[written],
                                wanted[j],
                                length,
                                radius1,
                                radius2,
                                cuts[c],
                                cuts[c2],
                                arm1,
                                arm2,
                            )
                            written += 1
                        if carried and tally[1] > most:
                            place[0], place[1], place[2] = number + 1, block - 1, c
                            place[3], place[4], place[5] = before, j, m + 1
                            return number, block - 1, written, 0
                    first_column = 0
                first_join = 0
        resume = 0
    return end, 0, written, 0
