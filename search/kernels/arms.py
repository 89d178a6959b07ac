"""The arms of a word's cuts, block by block, and what a join works in."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from search.kernels.arrays import Encoded
from search.kernels.jit import kernel
from search.kernels.pairs import least_starts
from search.kernels.rows import word_rows
from search.kernels.words import after, first_layers, last_layers, list_cuts

#: Places in ``Room.filled``: the number of the word + 1, 0 for none; the buckets in use; whether
#: there are arms to go through; entries and blocks so far; the prefixes of arms gone through; the
#: entries whose arms are shorter than the longest; the blocks that the word needs.
WORD, BUCKETS, FILLING, ENTRIES, BLOCKS, PREFIXES, SHORTER, NEEDED = range(8)
FILLED = 8


class Room(NamedTuple):
    """The table of a join, made by ``search.rings``; n entries, b blocks, m buckets.

    heads (J, m) and follow (J, n): chains of entries by key. held (J, n), wholes (n,): keys of the
    entries. source (n, 2): block and column. blocks (b, LONGEST_PART): prefix; block_cut and
    block_radius (b,): the cut, and how long the arms are.
    marks (J, n): marks of the entries, UNMARKED until one is asked for.
    filled (FILLED,): for which word, and how far, the tables are filled; its places stand above.
    """

    heads: NDArray[np.int32]
    follow: NDArray[np.int32]
    held: NDArray[np.uint64]
    wholes: NDArray[np.uint64]
    source: NDArray[np.int32]
    blocks: NDArray[np.int64]
    block_cut: NDArray[np.int32]
    block_radius: NDArray[np.int32]
    marks: NDArray[np.uint64]
    filled: NDArray[np.int64]


class Scratch(NamedTuple):
    """What a join works in, kept from call to call; w columns of one length at most.

    sums (C, w), whole (w,), keys (J, w): keys of a block of conjugates. able (w + 1,): which of its
    columns may follow. cuts (MOST_CUTS, LONGEST), origin, cut_rows (MOST_CUTS, S): the cuts of A
    and the rows they move. closed, shut, least: the layers and the turns that their arms must not
    begin with, and the beginnings that no symmetry makes smaller. bounds (types + 1,). rows,
    prefix, states, at: the arm at work. place (6,): where a call broke off: the number of the word
    + 1, 0 for none; the blocks before; the cut; the conjugates of blocks before; the join and the
    column to go on with. one, two, seen, there: rows of a pair. arm1, arm2
    (LONGEST,): its arms.
    """

    sums: NDArray[np.uint64]
    whole: NDArray[np.uint64]
    keys: NDArray[np.uint64]
    able: NDArray[np.int64]
    cuts: NDArray[np.int64]
    origin: NDArray[np.int64]
    cut_rows: NDArray[np.int64]
    closed: NDArray[np.uint64]
    shut: NDArray[np.bool_]
    least: NDArray[np.bool_]
    bounds: NDArray[np.int64]
    rows: NDArray[np.int64]
    prefix: NDArray[np.int64]
    states: NDArray[np.uint64]
    at: NDArray[np.int64]
    place: NDArray[np.int64]
    one: NDArray[np.int64]
    two: NDArray[np.int64]
    seen: NDArray[np.int64]
    there: NDArray[np.int64]
    arm1: NDArray[np.int64]
    arm2: NDArray[np.int64]


@kernel
def begin_word(
    enc: Encoded, work: Scratch, word: NDArray[np.uint8], cyclic: bool, far: bool
) -> int:
    """Cut the word A everywhere, and return in how many ways; ``far`` asks for its symmetries."""
    length = len(word)
    turns = len(enc.turn_layer)
    cuts = work.cuts
    for k in range(length):
        cuts[0, k] = word[k]
    ncuts = 1
    if cyclic:
        ncuts = list_cuts(cuts[0].copy(), length, enc.turn_layer, enc.passes, cuts, work.origin)
    for c in range(ncuts):
        free = ~np.uint64(0)
        for k in range(length):
            free &= enc.passes[enc.turn_layer[cuts[c, k]]]
        # An arm that begins with a turn that C ends with, or with one that commutes with C, gives
        # what other arms or cuts give. So does one that begins with C's own first turn; with
        # another amount of its layer it cuts C inside that turn.
        firsts = first_layers(cuts[c], length, enc.turn_layer, enc.passes)
        work.closed[c] = free | last_layers(cuts[c], length, enc.turn_layer, enc.passes)
        if not cyclic or length == 1:
            work.closed[c] |= firsts
        for t in range(turns):
            work.least[c, t] = True
            work.shut[c, t] = False
        for k in range(length):
            if (firsts >> np.uint64(enc.turn_layer[cuts[c, k]])) & np.uint64(1):
                work.shut[c, cuts[c, k]] = True
                firsts &= ~(np.uint64(1) << np.uint64(enc.turn_layer[cuts[c, k]]))
        word_rows(enc, cuts[c], length, work.cut_rows[c], work.bounds)
    if far:
        for sense in range(2):
            least_starts(enc, cuts, ncuts, length, sense, work.closed, work.shut, work.least)
    return ncuts


@kernel
def first_arm(
    cut_rows: NDArray[np.int64],
    closed: NDArray[np.uint64],
    cut: int,
    moved: int,
    rows: NDArray[np.int64],
    states: NDArray[np.uint64],
    prefix: NDArray[np.int64],
    at: NDArray[np.int64],
) -> None:
    """Set out to list the arms of a cut."""
    for k in range(moved):
        rows[0, k] = cut_rows[cut, k]
    states[0] = closed[cut]
    prefix[0] = -1
    at[0] = 0


@kernel
def next_arm(
    turn_layer: NDArray[np.int64],
    passes: NDArray[np.uint64],
    conjugate: NDArray[np.int32],
    shut: NDArray[np.bool_],
    moved: int,
    long: int,
    rows: NDArray[np.int64],
    states: NDArray[np.uint64],
    prefix: NDArray[np.int64],
    at: NDArray[np.int64],
) -> bool:
    """Go on to the next prefix of a length, and carry the rows of the cut by it; False at the end.

    ``shut`` are the turns that no arm of this cut begins with.
    ``rows[long]`` are then the rows, ``states[long]`` the layers that may not follow.
    """
    depth = at[0]
    if long == 0:
        at[0] = -1
        return bool(depth == 0)
    while depth >= 0:
        prefix[depth] += 1
        turn = prefix[depth]
        if turn == len(turn_layer):
            depth -= 1
            continue
        layer = turn_layer[turn]
        if (states[depth] >> np.uint64(layer)) & np.uint64(1) or (depth == 0 and shut[turn]):
            continue
        for k in range(moved):
            rows[depth + 1, k] = conjugate[turn, rows[depth, k]]
        states[depth + 1] = after(states[depth], layer, passes)
        if depth + 1 == long:
            at[0] = depth
            return True
        depth += 1
        prefix[depth] = -1
    return False


@kernel
def list_able(
    first: NDArray[np.uint64],
    words: NDArray[np.int64],
    shut: NDArray[np.bool_],
    begins: bool,
    state: np.uint64,
    lo: int,
    hi: int,
    able: NDArray[np.int64],
) -> int:
    """Write which of the columns lo to hi may follow a state; return how many.

    If an arm ``begins`` with them, none of the turns that are ``shut`` may stand first.
    """
    n = 0
    for i in range(lo, hi):
        able[n] = i - lo
        n += 0 if first[i] & state or (begins and shut[words[i, 0]]) else 1
    return n


@kernel
def write_arm(
    words: NDArray[np.int64],
    prefix: NDArray[np.int64],
    long: int,
    column: int,
    short: int,
    arm: NDArray[np.int64],
) -> None:
    """Write an arm out: its prefix, and a short word."""
    for k in range(long):
        arm[k] = prefix[k]
    for k in range(short):
        arm[long + k] = words[column, k]
