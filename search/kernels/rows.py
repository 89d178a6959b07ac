"""Rows: what a word moves, carried by conjugation, and the sums of their values as keys.

The key of a conjugate is a sum of 64-bit values over the rows that C moves (``search.encoding``).
``columns[row, w]`` holds the value for every short word w, so that the keys of all w of one C are a
few sums of rows of this table. A longer w is a prefix, by which C's rows are carried one by one,
and a short word at the end.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from search.kernels.arrays import Encoded
from search.kernels.jit import kernel


class Columns(NamedTuple):
    """Values of conjugated rows for all short words, lengths 0 to ``len(start) - 2``.

    words (n, 2), first (n,): the sets of layers that can stand first.
    start: words of length k are start[k] to start[k+1]. values (rows of all channels, n).
    offset (C,): the table row of a channel's first row.
    """

    words: NDArray[np.int64]
    first: NDArray[np.uint64]
    start: NDArray[np.int64]
    values: NDArray[np.uint64]
    offset: NDArray[np.int64]


@kernel
def fill_columns(
    enc: Encoded,
    words: NDArray[np.int64],
    lengths: NDArray[np.int64],
    offset: NDArray[np.int64],
    values: NDArray[np.uint64],
) -> None:
    """Write the value of every channel's rows, conjugated by every short word."""
    for c in range(len(enc.channel_type)):
        kind = enc.channel_type[c]
        begin = enc.type_row[kind]
        for row in range(begin, enc.type_row[kind + 1]):
            for n in range(len(words)):
                image = row
                for k in range(lengths[n]):
                    image = enc.conjugate[words[n, k], image]
                values[offset[c] + row - begin, n] = enc.values[c, image]


@kernel
def word_rows(
    enc: Encoded,
    word: NDArray[np.int64],
    length: int,
    rows: NDArray[np.int64],
    bounds: NDArray[np.int64],
) -> None:
    """Write the rows that a word moves, type by type: type k's are bounds[k] to bounds[k+1]."""
    n = 0
    for kind in range(len(enc.type_slot) - 1):
        bounds[kind] = n
        for s in range(enc.type_slot[kind], enc.type_slot[kind + 1]):
            p = enc.home[s]
            for k in range(length):
                p = enc.moves[word[k], p]
            if p != enc.home[s]:
                rows[n] = enc.row_of[s] + p - enc.type_placement[kind]
                n += 1
    bounds[len(enc.type_slot) - 1] = n


@kernel
def add_rows(
    values: NDArray[np.uint64],
    rows: NDArray[np.int64],
    begin: int,
    end: int,
    shift: int,
    lo: int,
    hi: int,
    total: NDArray[np.uint64],
) -> None:
    """Write to ``total`` the sums of the columns lo to hi over some rows of the table."""
    n = hi - lo
    for i in range(n):
        total[i] = np.uint64(0)
    k = begin
    while k + 4 <= end:
        a = values[rows[k] + shift, lo:hi]
        b = values[rows[k + 1] + shift, lo:hi]
        c = values[rows[k + 2] + shift, lo:hi]
        d = values[rows[k + 3] + shift, lo:hi]
        for i in range(n):
            total[i] += (a[i] + b[i]) + (c[i] + d[i])
        k += 4
    while k < end:
        a = values[rows[k] + shift, lo:hi]
        for i in range(n):
            total[i] += a[i]
        k += 1


@kernel
def add_up(
    values: NDArray[np.uint64],
    offset: NDArray[np.int64],
    channel_type: NDArray[np.int64],
    type_row: NDArray[np.int64],
    joins: NDArray[np.bool_],
    rows: NDArray[np.int64],
    bounds: NDArray[np.int64],
    lo: int,
    hi: int,
    sums: NDArray[np.uint64],
    whole: NDArray[np.uint64],
    keys: NDArray[np.uint64],
) -> None:
    """Sum the columns lo to hi over some rows: channel by channel, over all, and for each join."""
    n = hi - lo
    types = len(bounds) - 1
    for ch in range(len(channel_type)):
        kind = channel_type[ch]
        shift = offset[ch] - type_row[kind]
        add_rows(values, rows, bounds[kind], bounds[kind + 1], shift, lo, hi, sums[ch])
    for i in range(n):
        whole[i] = sums[0, i]
    for ch in range(1, types):
        for i in range(n):
            whole[i] += sums[ch, i]
    for j in range(len(joins)):
        for i in range(n):
            keys[j, i] = np.uint64(0)
        for ch in range(len(channel_type)):
            if joins[j, ch]:
                for i in range(n):
                    keys[j, i] += sums[ch, i]


@kernel
def carried_rows(
    conjugate: NDArray[np.int32],
    words: NDArray[np.int64],
    rows: NDArray[np.int64],
    begin: int,
    end: int,
    prefix: NDArray[np.int64],
    length: int,
    column: int,
    short: int,
    images: NDArray[np.int64],
) -> None:
    """Write the rows begin to end, carried by a prefix of a length and then by a short word."""
    for k in range(begin, end):
        row = rows[k]
        for m in range(length):
            row = conjugate[prefix[m], row]
        for m in range(short):
            row = conjugate[words[column, m], row]
        images[k] = row
