"""Three-cycles by number, and the symmetry that brings each to its orbit's representative.

Plain NumPy, so that a stored result can be read without compiled kernels.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from puzzles.errors import LimitError
from search.encoding import Scope

#: The most numbers of three-cycles; a type of 120 pieces without twists has 1.7 million.
MOST_TRIPLES = 20_000_000

Numbers = NDArray[np.int64]


@lru_cache(maxsize=16)
def bases(scope: Scope) -> Numbers:
    """Return the number of each kept type's first triple, and the count of all at the end."""
    enc = scope.arrays
    counts = enc.type_slot[1:] - enc.type_slot[:-1]
    twists = (enc.type_placement[1:] - enc.type_placement[:-1]) // np.maximum(counts, 1)
    wanted = np.isin(np.arange(len(counts)), enc.wanted)
    sizes = np.where(wanted, counts**3 * twists**2, 0)
    if int(sizes.sum()) > MOST_TRIPLES:
        raise LimitError(
            f"this search would keep tables for {int(sizes.sum()):,} three-cycles; at most "
            f"{MOST_TRIPLES:,} fit"
        )
    result: Numbers = np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)
    return result


@lru_cache(maxsize=16)
def places(scope: Scope) -> Numbers:
    """Return the images of the kernels' placements under the scope's symmetries, (K, P)."""
    place = np.full(scope.puzzle.placement_count, -1, dtype=np.int64)
    place[scope.placements] = np.arange(len(scope.placements))
    result: Numbers = np.array(
        [place[s.placements[scope.placements]] for s in scope.symmetries], dtype=np.int64
    )
    return result


def numbers(scope: Scope, triples: Numbers) -> Numbers:
    """Return the numbers of triples (..., 3) of the kernels' placements; shape (...)."""
    enc = scope.arrays
    slots = enc.slot_of[triples]
    least = slots.argmin(axis=-1)
    order = (least[..., None] + np.arange(3)) % 3
    triples = np.take_along_axis(triples, order, axis=-1)
    slots = np.take_along_axis(slots, order, axis=-1)
    kind = enc.slot_type[slots[..., 0]]
    first = enc.type_slot[kind]
    n = enc.type_slot[kind + 1] - first
    t = (enc.type_placement[kind + 1] - enc.type_placement[kind]) // n
    twist = enc.twist_of[triples]
    xb, xc = ((twist[..., k] - twist[..., 0]) % t for k in (1, 2))
    a, b, c = (slots[..., k] - first for k in range(3))
    result: Numbers = bases(scope)[kind] + (((a * n + b) * n + c) * t + xb) * t + xc
    return result


def representatives(scope: Scope, triples: Numbers) -> Numbers:
    """Return the least number in the orbit of each of some triples (n, 3); shape (n,).

    The orbit is that of the scope's symmetries and of inversion. Images of placements need not
    make a group (a quarter turn about an octahedron's corner does to its two twists what nothing
    does), but twisting all three pieces along gives the same cycle, so images of triples do.
    """
    images = places(scope)[:, triples]
    both = np.concatenate([numbers(scope, images), numbers(scope, images[..., ::-1])])
    result: Numbers = both.min(axis=0)
    return result


class Frames(NamedTuple):
    """For every triple by number: the place of its orbit, and how its representative becomes it."""

    orbit: Numbers
    symmetry: Numbers
    turned: NDArray[np.bool_]


@lru_cache(maxsize=16)
def frames(scope: Scope, first: tuple[int, ...]) -> Frames:
    """Return the table of all triples, from the numbers of the representatives, ascending.

    A number that no triple has gets the orbit -1.
    """
    total = int(bases(scope)[-1])
    result = Frames(
        np.full(total, -1, dtype=np.int64),
        np.zeros(total, dtype=np.int64),
        np.zeros(total, dtype=np.bool_),
    )
    if not first:
        return result
    starts = np.array([triple(scope, number) for number in first], dtype=np.int64)
    for k, image in reversed(list(enumerate(places(scope)))):
        for turned in (True, False):
            there = image[starts][:, ::-1] if turned else image[starts]
            found = numbers(scope, there)
            result.orbit[found] = np.arange(len(first))
            result.symmetry[found] = k
            result.turned[found] = turned
    return result


def triple(scope: Scope, number: int) -> tuple[int, int, int]:
    """Return the triple of the kernels' placements that has a number."""
    enc = scope.arrays
    kind = int(np.searchsorted(bases(scope), number, side="right")) - 1
    first = int(enc.type_slot[kind])
    n = int(enc.type_slot[kind + 1]) - first
    t = int(enc.type_placement[kind + 1] - enc.type_placement[kind]) // n
    rest = number - int(bases(scope)[kind])
    rest, xc = divmod(rest, t)
    rest, xb = divmod(rest, t)
    rest, c = divmod(rest, n)
    a, b = divmod(rest, n)
    home = enc.home[first : first + n]
    return int(home[a]), int(home[b]) + xb, int(home[c]) + xc
