"""Records of rings: wanted type, the two cuts of A and the two arms, and the word they make."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from search.kernels.arrays import Encoded
from search.kernels.jit import kernel

#: The longest A and the longest conjugator that a record of a ring has room for.
LONGEST_PART = 12
#: Bytes of a record: wanted type, |A|, |w1|, |w2|, then C1, C2, w1, w2.
RECORD = 4 + 4 * LONGEST_PART


@kernel
def write_record(
    record: NDArray[np.uint8],
    kind: int,
    length: int,
    radius1: int,
    radius2: int,
    cut1: NDArray[np.int64],
    cut2: NDArray[np.int64],
    arm1: NDArray[np.int64],
    arm2: NDArray[np.int64],
) -> None:
    """Write one ring: its type, the lengths of its parts, the parts."""
    record[0], record[1], record[2], record[3] = kind, length, radius1, radius2
    for k in range(length):
        record[4 + k] = cut1[k]
        record[4 + LONGEST_PART + k] = cut2[k]
    for k in range(radius1):
        record[4 + 2 * LONGEST_PART + k] = arm1[k]
    for k in range(radius2):
        record[4 + 3 * LONGEST_PART + k] = arm2[k]


@kernel
def ring_word(enc: Encoded, record: NDArray[np.uint8], word: NDArray[np.int64]) -> int:
    """Write C1 w1 w2' C2' w2 w1' to ``word`` and return its length."""
    length, radius1, radius2 = (
        int(np.int64(record[1])),
        int(np.int64(record[2])),
        int(np.int64(record[3])),
    )
    cut1, cut2 = 4, 4 + LONGEST_PART
    arm1, arm2 = 4 + 2 * LONGEST_PART, 4 + 3 * LONGEST_PART
    half = length + radius1 + radius2
    for k in range(length):
        word[k] = record[cut1 + k]
        word[half + k] = enc.inverse[record[cut2 + length - 1 - k]]
    for k in range(radius1):
        word[length + k] = record[arm1 + k]
        word[half + length + radius2 + k] = enc.inverse[record[arm1 + radius1 - 1 - k]]
    for k in range(radius2):
        word[length + radius1 + k] = enc.inverse[record[arm2 + radius2 - 1 - k]]
        word[half + length + k] = record[arm2 + k]
    return 2 * half


@kernel
def reduce_ring(enc: Encoded, word: NDArray[np.int64], length: int) -> int:
    """Merge in place what can be brought together, also around the end; return the new length.

    Where arcs meet inside a turn, a ring is shorter than its parts; its cycle is then that of the
    word that is left, which is conjugate to the ring. Returns 0 where turns cancel: that ring has
    shorter arcs, and was met at a smaller half-length.
    """
    one = np.uint64(1)
    again = True
    while again:
        again = False
        for i in range(length):
            layer = enc.turn_layer[word[i]]
            bit = one << np.uint64(layer)
            for step in range(1, length):
                j = (i + step) % length
                other = enc.turn_layer[word[j]]
                if other == layer:
                    first = enc.first_turn[layer]
                    steps = enc.first_turn[layer + 1] - first + 1
                    amount = (word[i] - first + 1 + word[j] - first + 1) % steps
                    if amount == 0:
                        return 0
                    word[j] = first + amount - 1
                    for k in range(i, length - 1):
                        word[k] = word[k + 1]
                    length -= 1
                    again = True
                    break
                if not enc.passes[other] & bit:
                    break
            if again:
                break
    return length
