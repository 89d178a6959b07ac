"""The table of conjugated keys that a search needs, made once for its scope."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from search.encoding import COLUMN_BYTES, Scope
from search.kernels.arrays import LONGEST
from search.kernels.rows import Columns, fill_columns
from search.kernels.words import count_words, first_layers, list_words


@lru_cache(maxsize=8)
def columns(scope: Scope, base: int | None = None) -> Columns:
    """Return the columns for words of up to ``base`` turns; None for as many as fit the cache."""
    enc = scope.arrays
    none = np.uint64(0)
    kinds = enc.channel_type
    heights = enc.type_row[kinds + 1] - enc.type_row[kinds]
    offset = np.concatenate([[0], np.cumsum(heights)]).astype(np.int64)
    counts = [int(count_words(k, none, enc.turn_layer, enc.passes)) for k in range(3)]
    if base is None:
        base = 2 if int(offset[-1]) * sum(counts) * 8 <= COLUMN_BYTES else 1
    start = np.concatenate([[0], np.cumsum(counts[: base + 1])]).astype(np.int64)
    words = np.zeros((int(start[-1]), 2), dtype=np.int64)
    lengths = np.zeros(len(words), dtype=np.int64)
    for k in range(base + 1):
        part = np.zeros((counts[k], LONGEST), dtype=np.int64)
        states = np.zeros(counts[k], dtype=np.uint64)
        list_words(k, none, enc.turn_layer, enc.passes, part, states)
        words[start[k] : start[k + 1]] = part[:, :2]
        lengths[start[k] : start[k + 1]] = k
    first = np.array(
        [
            first_layers(w, int(n), enc.turn_layer, enc.passes)
            for w, n in zip(words, lengths, strict=True)
        ],
        dtype=np.uint64,
    )
    values = np.zeros((int(offset[-1]), len(words)), dtype=np.uint64)
    fill_columns(enc, words, lengths, offset[:-1], values)
    return Columns(words, first, start, values, offset[:-1])
