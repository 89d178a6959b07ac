"""Kernels of the search in the fixed frame: the join over conjugates of short words.

After a setup, one walk goes on from solved and one from the wanted state. The relation of the two
is a list of *rows*: ``left[r]`` is where the walk from solved has what the other has at
``right[r]``. A turn done in both carries the rows (conjugates the relation); where the relation is
that of a short word P, the two walks are closed by P.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from search.kernels.fixed_arrays import Frame, Nodes
from search.kernels.fixed_walks import follows
from search.kernels.jit import kernel

#: The most cuts of one cyclic word that are tabled; a word of eight turns has far fewer.
MOST_CUTS = 256
#: What `join` returns where something has too little room.
NO_ROOM_FOR_HITS, NO_ROOM_FOR_KEYS = -1, -2


@kernel
def cuts_of(free: NDArray[np.bool_], found: NDArray[np.int64], size: int) -> int:
    """Write after found[0] all words into which it can be cut as a cyclic word; return how many.

    A turn that can stand first, past turns that commute, is moved to the end; each is written in
    the least order.
    """
    count, at = 1, 0
    fresh = np.empty(size, dtype=np.int64)
    while at < count:
        for k in range(size):
            turn = found[at, k]
            first = True
            for before in range(k):
                first = first and free[found[at, before], turn]
            if not first or count >= len(found):
                continue
            for m in range(size):
                own = turn if m == size - 1 else found[at, m if m < k else m + 1]
                place = m
                while place > 0 and free[own, fresh[place - 1]]:
                    place -= 1
                while place < m and fresh[place] < own:
                    place += 1
                for j in range(m, place, -1):
                    fresh[j] = fresh[j - 1]
                fresh[place] = own
            known = False
            for other in range(count):
                same = True
                for m in range(size):
                    same = same and found[other, m] == fresh[m]
                known = known or same
            if not known:
                found[count] = fresh
                count += 1
        at += 1
    return count


@kernel
def join(
    frame: Frame,
    nodes: Nodes,
    size: int,
    out: NDArray[np.int32],
    letters: NDArray[np.uint8],
    group: NDArray[np.int64],
    tail_maps: NDArray[np.int32],
    tails: NDArray[np.int64],
    reach: int,
    table: NDArray[np.uint64],
    entry: NDArray[np.int32],
    stamp: NDArray[np.int32],
    state: NDArray[np.int64],
    hits: NDArray[np.int32],
    budget: int,
) -> int:
    """Find for closings, sorted by the cyclic word P, the common arcs J = J1 J2 that make them fit.

    ``group`` (G + 1,) is where closings of another cyclic word begin. ``tails`` (n, r) are all J2,
    ``tail_maps`` (n, P) what undoing each does to placements; ``reach`` is the length of J1. Each
    hit is (closing, number of J2, turns of J1, turns of the cut of P). ``state`` is (group,
    closing, stamp) and carries over. Returns the number of hits; -1 if one closing has more than
    there is room for, -2 if ``table`` has too little. ``state[0]`` is G when all is done.
    """
    turns, bodies, rows = len(frame.layer), frame.forth.shape[0], len(frame.rows)
    mask = len(table) - 1
    word = np.empty(reach + tails.shape[1] + 1, dtype=np.int64)
    near = np.empty((reach + 1, bodies), dtype=np.int32)
    far = np.empty((reach + 1, bodies), dtype=np.int32)
    left = np.empty((reach + 1, rows), dtype=np.int32)
    right = np.empty((reach + 1, rows), dtype=np.int32)
    cuts = np.empty((MOST_CUTS, size), dtype=np.int64)
    at = np.empty(rows, dtype=np.int32)
    count, steps, looked_at = 0, 0, 0
    while state[0] < len(group) - 1:
        g = state[0]
        begin, end = group[g], group[g + 1]
        if state[1] < begin:
            state[1] = begin
        # The conjugates of all cuts of P by undone J2, by their keys.
        state[2] += 1
        now = state[2]
        split = out[begin, 1]
        for k in range(size):
            if k < split:
                cuts[0, k] = frame.inverse[letters[begin, split - 1 - k]]
            else:
                cuts[0, k] = letters[begin, k]
        number = cuts_of(frame.free, cuts, size)
        if 2 * number * len(tails) > len(table):
            return NO_ROOM_FOR_KEYS if count == 0 else count
        for i in range(number):
            moved = 0
            for r in range(rows):
                p = frame.rows[r]
                for k in range(size):
                    p = frame.moves[cuts[i, k], p]
                if p != frame.rows[r]:
                    right[0, moved] = frame.rows[r]
                    left[0, moved] = p
                    moved += 1
            steps += len(tails) * (moved // 8 + 1)
            for a in range(len(tails)):
                key = np.uint64(0)
                for r in range(moved):
                    key += frame.value[tail_maps[a, right[0, r]], tail_maps[a, left[0, r]]]
                h = np.int64(key >> np.uint64(20)) & mask
                while stamp[h] == now:
                    h = (h + 1) & mask
                table[h] = key
                entry[h] = i * len(tails) + a
                stamp[h] = now
        # At least one in every call, or a large table would be made again and again for nothing.
        while state[1] < end and (steps < budget or looked_at == 0):
            looked_at += 1
            c = state[1]
            before = count
            node, split = out[c, 0], out[c, 1]
            for b in range(bodies):
                near[0, b] = nodes.near[node, b]
                far[0, b] = nodes.far[node, b]
            for k in range(size):
                turn = letters[c, k]
                for b in range(bodies):
                    if k < split:
                        far[0, b] = frame.back[b, far[0, b], turn]
                    else:
                        near[0, b] = frame.forth[b, near[0, b], turn]
            for r in range(rows):
                at[r] = frame.rows[r]
            for d in range(nodes.start.shape[1]):
                row = frame.row_of[nodes.start[node, d]]
                if row >= 0:
                    at[row] = nodes.end[node, d]
            moved = 0
            for r in range(rows):
                p, q = frame.rows[r], at[r]
                for k in range(size):
                    if k < split:
                        q = frame.moves[letters[c, k], q]
                    else:
                        p = frame.moves[letters[c, k], p]
                if p != q:
                    left[0, moved] = p
                    right[0, moved] = q
                    moved += 1
            full = False
            depth = 0
            word[0] = -1
            while depth >= 0 and not full:
                if depth == reach:
                    key = np.uint64(0)
                    for r in range(moved):
                        key += frame.value[right[depth, r], left[depth, r]]
                    h = np.int64(key >> np.uint64(20)) & mask
                    while stamp[h] == now:
                        if table[h] == key:
                            a = entry[h] % len(tails)
                            normal = True
                            for k in range(tails.shape[1]):
                                word[reach + k] = tails[a, k]
                                normal = normal and follows(
                                    frame.layer, frame.free, word, 0, reach + k, tails[a, k]
                                )
                            if normal:
                                if count >= len(hits):
                                    full = True
                                    break
                                hits[count, 0] = c
                                hits[count, 1] = a
                                for k in range(reach):
                                    hits[count, 2 + k] = word[k]
                                for k in range(size):
                                    hits[count, 2 + reach + k] = cuts[entry[h] // len(tails), k]
                                count += 1
                        h = (h + 1) & mask
                    depth -= 1
                    continue
                steps += 1
                word[depth] += 1
                turn = word[depth]
                if turn >= turns:
                    depth -= 1
                    continue
                if not follows(frame.layer, frame.free, word, 0, depth, turn):
                    continue
                possible = True
                for b in range(bodies):
                    near[depth + 1, b] = frame.forth[b, near[depth, b], turn]
                    far[depth + 1, b] = frame.back[b, far[depth, b], turn]
                    if near[depth + 1, b] < 0 or far[depth + 1, b] < 0:
                        possible = False
                        break
                if not possible:
                    continue
                for r in range(moved):
                    left[depth + 1, r] = frame.moves[turn, left[depth, r]]
                    right[depth + 1, r] = frame.moves[turn, right[depth, r]]
                depth += 1
                word[depth] = -1
            if full:
                # What does not fit is found again by the next call.
                return before if before > 0 else NO_ROOM_FOR_HITS
            state[1] += 1
        if state[1] < end:
            return count
        state[0] += 1
        if steps >= budget:
            return count
    return count
