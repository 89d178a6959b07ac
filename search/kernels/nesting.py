"""The turns of the shortest nested bracket form of a word, by intervals."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from search.kernels.jit import kernel


@kernel
def _repeats(word: NDArray[np.int64], begin: int, middle: int, size: int) -> bool:
    for k in range(size):
        if word[begin + k] != word[middle + k]:
            return False
    return True


@kernel
def _undoes(
    word: NDArray[np.int64], inverse: NDArray[np.int64], begin: int, size: int, other: int
) -> bool:
    """Return whether ``size`` letters from ``other`` on undo those from ``begin`` on."""
    for k in range(size):
        if inverse[word[begin + size - 1 - k]] != word[other + k]:
            return False
    return True


@kernel
def things(
    word: NDArray[np.int64], length: int, inverse: NDArray[np.int64], best: NDArray[np.int64]
) -> int:
    """Return the turns of the shortest nested bracket form of a word; undoing and repeating free.

    A word without any turn that is undone or done again two turns later is as long as it is.

    Interval by interval: one turn is one thing; X Y is the things of both; S X S' is S's and X's;
    A B A' B' is A's and B's; X X ... X is X's. Turns that commute are taken as they stand.
    ``best`` (LONGEST + 1, LONGEST + 1) is scratch.
    """
    plain = True
    for k in range(length - 2):
        if word[k + 2] == inverse[word[k]] or word[k + 2] == word[k]:
            plain = False
            break
    if plain:
        return length
    for size in range(1, length + 1):
        for i in range(length - size + 1):
            j = i + size
            least = size
            for m in range(i + 1, j):
                least = min(least, best[i, m] + best[m, j])
            for s in range(1, (size - 1) // 2 + 1):
                if _undoes(word, inverse, i, s, j - s):
                    least = min(least, best[i, i + s] + best[i + s, j - s])
            if size % 2 == 0:
                half = size // 2
                for a in range(1, half):
                    b = half - a
                    if _undoes(word, inverse, i, a, i + half) and _undoes(
                        word, inverse, i + a, b, i + half + a
                    ):
                        least = min(least, best[i, i + a] + best[i + a, i + half])
            for part in range(2, size // 2 + 1):
                if size % part == 0 and _repeats(word, i, i + part, size - part):
                    least = min(least, best[i, i + part])
            best[i, j] = least
    return int(best[0, length])
