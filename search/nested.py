"""Short words A worth long arms: single turns, two turns, commutators of turns, nested ones.

On puzzles with many layers, conjugates of a short word, or of a commutator that moves few pieces,
differ by a three-cycle long before all rings of that half-length could be met: a commutator of two
elements whose supports meet in one piece is a three-cycle (Dixon and Mortimer, Permutation Groups,
1996, section 3.3), and the smaller the supports, the likelier that is.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from search.classes import classes
from search.coverage import COMMUTATORS, NESTED, PAIRS, TURNS, Family
from search.encoding import Scope
from search.kernels.words import normalise

Words = NDArray[np.uint8]


@lru_cache(maxsize=64)
def words(scope: Scope, family: Family) -> Words:
    """Return the words A of a family (n, length), cyclically reduced and in normal form.

    One of each class under the scope's symmetries and inversion, as far as the shape shows it.
    """
    if family in (TURNS, PAIRS):
        return classes(scope, family.length, True)
    found: list[tuple[int, ...]] = []
    if family == COMMUTATORS:
        found = [_commutator(scope, (x,), (y,)) for x, y in _pairs(scope)]
    else:
        for x in _first_turns(scope):
            for y, z in _seconds(scope, x, family == NESTED):
                conjugate = (y, z, _inverse(scope, y))
                inner = _commutator(scope, (y,), (z,)) if family == NESTED else conjugate
                found.append(_commutator(scope, (x,), inner))
    enc = scope.arrays
    result = np.array(found, dtype=np.int64).reshape(len(found), family.length)
    for word in result:
        normalise(word, len(word), enc.turn_layer, enc.passes)
    return result.astype(np.uint8)


def _inverse(scope: Scope, turn: int) -> int:
    return int(scope.arrays.inverse[turn])


def _undone(scope: Scope, word: Iterable[int]) -> tuple[int, ...]:
    return tuple(_inverse(scope, t) for t in reversed(tuple(word)))


def _commutator(scope: Scope, a: tuple[int, ...], b: tuple[int, ...]) -> tuple[int, ...]:
    return (*a, *b, *_undone(scope, a), *_undone(scope, b))


def _meets(scope: Scope) -> NDArray[np.bool_]:
    """Return which turns are of different layers that do not commute; (turns, turns)."""
    enc = scope.arrays
    layer = enc.turn_layer.astype(np.uint64)
    passing = (enc.passes[enc.turn_layer][:, None] >> layer[None, :]) & np.uint64(1)
    result: NDArray[np.bool_] = (passing == 0) & (layer[:, None] != layer[None, :])
    return result


def _pairs(scope: Scope) -> list[tuple[int, int]]:
    """Return x, y of one commutator [x, y] of each class, of turns that do not commute.

    Its rotations are [y, x'], [x', y'] and [y', x], its inverse is [y, x].
    """
    enc = scope.arrays
    x, y = np.nonzero(_meets(scope))
    inverse, turns = enc.inverse, len(enc.turn_layer)
    least = np.full(len(x), turns * turns)
    for image in enc.symmetry:
        a, b = image[x], image[y]
        for _ in range(4):
            least = np.minimum(np.minimum(least, a * turns + b), b * turns + a)
            a, b = b, inverse[a]
    own = np.flatnonzero(least == x * turns + y)
    return list(zip(x[own].tolist(), y[own].tolist(), strict=True))


def _first_turns(scope: Scope) -> list[int]:
    """Return one turn of each class under symmetry and inversion."""
    enc = scope.arrays
    images = np.concatenate([enc.symmetry, enc.inverse[enc.symmetry]])
    return np.flatnonzero(images.min(axis=0) == np.arange(len(enc.turn_layer))).tolist()


def _seconds(scope: Scope, x: int, nests: bool) -> list[tuple[int, int]]:
    """Return the y, z of [x, [y, z]], where it ``nests``, else of [x, y z y'], for a turn x.

    Turns that stand next to each other do not commute, or some would cancel. Of pairs that a
    symmetry which carries x to itself or its inverse carries to each other, the least one; the
    second part may be inverted.
    """
    enc = scope.arrays
    meets, turns, inverse = _meets(scope), len(enc.turn_layer), enc.inverse
    y, z = np.nonzero(meets)
    good = meets[x, y] & (meets[x, z] | (not nests))
    y, z = y[good], z[good]
    least = np.full(len(y), turns * turns)
    for image in enc.symmetry[np.isin(enc.symmetry[:, x], (x, inverse[x]))]:
        a, b = image[y], image[z]
        other = b * turns + a if nests else a * turns + inverse[b]
        least = np.minimum(np.minimum(least, a * turns + b), other)
    own = np.flatnonzero(least == y * turns + z)
    return list(zip(y[own].tolist(), z[own].tolist(), strict=True))
