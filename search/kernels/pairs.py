"""In how many pieces two conjugates differ, and which pairs a symmetry makes needless."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from search.kernels.arrays import LONGEST, Encoded
from search.kernels.jit import kernel
from search.kernels.words import normalise

#: The mark of an entry that was not made yet.
UNMARKED = 2**64 - 1


@kernel
def add_marks(mark: NDArray[np.uint64], rows: NDArray[np.int64], begin: int, end: int) -> np.uint64:
    """Return the mark of a conjugate: those of the rows begin to end, bit by bit exclusive."""
    total = np.uint64(0)
    for k in range(begin, end):
        total ^= mark[rows[k]]
    return total


@kernel
def may_be_near(one: np.uint64, two: np.uint64, bits: int, low: np.uint64, most: int) -> bool:
    """Return whether two conjugates may differ in at most so many slots, by their marks.

    Each slot, or group of slots, has ``bits`` bits of a mark, which say a little about what is
    there; ``low`` has the lowest bit of each. Marks that differ in more groups are of conjugates
    that differ in more slots.
    """
    differing = one ^ two
    folded = differing
    for k in range(1, bits):
        folded |= differing >> np.uint64(k)
    folded &= low
    for _ in range(most):
        folded &= folded - np.uint64(1)
    return bool(folded == 0)


@kernel
def count_differing(
    row_slot: NDArray[np.int64],
    one: NDArray[np.int64],
    two: NDArray[np.int64],
    begin: int,
    end: int,
    seen: NDArray[np.int64],
    there: NDArray[np.int64],
) -> int:
    """Return in how many pieces two conjugates, given by rows that they move, differ.

    ``seen`` (slots + 1,) and ``there`` (slots,) are scratch; ``seen[0]`` counts the calls.
    """
    seen[0] += 1
    stamp = seen[0]
    for k in range(begin, end):
        slot = row_slot[one[k]]
        there[slot] = one[k]
        seen[slot + 1] = stamp
    differing = end - begin
    for k in range(begin, end):
        slot = row_slot[two[k]]
        if seen[slot + 1] != stamp:
            differing += 1
        elif there[slot] == two[k]:
            differing -= 1
    return differing


@kernel
def is_three_cycle(
    enc: Encoded,
    kind: int,
    one: NDArray[np.int64],
    two: NDArray[np.int64],
    begin: int,
    end: int,
    seen: NDArray[np.int64],
    there: NDArray[np.int64],
) -> bool:
    """Return whether the three pieces in which two conjugates differ make a cycle of order 3.

    ``seen`` and ``there`` are as ``count_differing`` has just left them.
    """
    stamp = seen[0]
    found = 0
    twist = 0
    for k in range(begin, end):
        slot = enc.row_slot[two[k]]
        first, second = enc.home[slot], enc.row_place[two[k]]
        if seen[slot + 1] == stamp:
            seen[slot + 1] = -1
            if there[slot] == two[k]:
                continue
            first = enc.row_place[there[slot]]
        if enc.slot_of[first] == enc.slot_of[second]:
            return False
        twist += enc.twist_of[first] - enc.twist_of[second]
        found += 1
    for k in range(begin, end):
        slot = enc.row_slot[one[k]]
        if seen[slot + 1] == stamp:
            first, second = enc.row_place[one[k]], enc.home[slot]
            if enc.slot_of[first] == enc.slot_of[second]:
                return False
            twist += enc.twist_of[first] - enc.twist_of[second]
            found += 1
    slots = enc.type_slot[kind + 1] - enc.type_slot[kind]
    twists = (enc.type_placement[kind + 1] - enc.type_placement[kind]) // slots
    return bool(twist % twists == 0)


@kernel
def least_starts(
    enc: Encoded,
    cuts: NDArray[np.int64],
    ncuts: int,
    length: int,
    sense: int,
    closed: NDArray[np.uint64],
    shut: NDArray[np.bool_],
    least: NDArray[np.bool_],
) -> None:
    """Strike out beginnings (cut, first turn of the arm) that a symmetry of A carries to a smaller.

    What is not visited itself, ``closed`` or ``shut``, strikes nothing out.

    ``least`` (cuts, turns) must be true before. A symmetry that carries the cyclic word A to itself
    (sense 0) or to its inverse (sense 1) carries each ring of A to a ring of A or to its inverse.
    """
    image = np.zeros(LONGEST, dtype=np.int64)
    target = np.zeros(ncuts, dtype=np.int64)
    for s in range(len(enc.symmetry)):
        fits = True
        for c in range(ncuts):
            for k in range(length):
                if sense == 0:
                    image[k] = enc.symmetry[s, cuts[c, k]]
                else:
                    image[k] = enc.symmetry[s, enc.inverse[cuts[c, length - 1 - k]]]
            normalise(image, length, enc.turn_layer, enc.passes)
            target[c] = -1
            for d in range(ncuts):
                same = True
                for k in range(length):
                    if cuts[d, k] != image[k]:
                        same = False
                        break
                if same:
                    target[c] = d
                    break
            if target[c] < 0:
                fits = False
                break
        if not fits:
            continue
        for c in range(ncuts):
            for t in range(len(enc.turn_layer)):
                d, u = target[c], enc.symmetry[s, t]
                layer = np.uint64(enc.turn_layer[u])
                if shut[d, u] or (closed[d] >> layer) & np.uint64(1):
                    continue
                if d < c or (d == c and u < t):
                    least[c, t] = False
