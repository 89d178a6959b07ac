"""The best that a bounded number of setup turns makes of the words on a shelf."""

from __future__ import annotations

import numpy as np

from search import frames
from search.encoding import Scope
from search.frames import Numbers
from search.kernels.arrays import NONE


def within(scope: Scope, first: Numbers, best: Numbers, weight: int, setup: int) -> Numbers:
    """Return the least measure of every orbit with at most ``setup`` turns before a word.

    ``first`` (orbits,) are the numbers of representatives, ascending; ``best`` (orbits,) their
    least measures without setup, NONE for none, to which every turn of setup adds ``weight``.
    """
    result = best
    if not len(first):
        return result
    starts = np.array([frames.triple(scope, number) for number in first.tolist()], dtype=np.int64)
    table = frames.frames(scope, tuple(first.tolist()))
    beyond = table.orbit[frames.numbers(scope, scope.arrays.moves[:, starts])]
    for _ in range(setup):
        lower = np.minimum(result, result[beyond].min(axis=0) + weight)
        if np.array_equal(lower, result):
            break
        result = lower
    return np.minimum(result, NONE)
