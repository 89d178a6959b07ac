"""Families: answers that are one ring up to symmetry, starting point, setup and direction."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from puzzles.puzzle import Puzzle, Word
from search.arcs import cuts
from search.traces import alphabet


def family_key(puzzle: Puzzle, word: Word) -> Word:
    """Return what all words of a family share: the least normal form of their ring.

    The setup and all that cancels around the ring is peeled off; of all cuts of the ring and of its
    inverse, under all rotations and reflections of the puzzle, the least word is taken. Only images
    that begin with the least possible turn are written out.
    """
    letters = alphabet(puzzle)
    _, ring = letters.peeled(word)
    if not ring:
        return ()
    ways, most = (ring, letters.undone(ring)), len(ring) - 1
    nodes = [node for way in ways for _, node in cuts(letters, way, most)]
    firsts = [[node[k] for k in letters.firsts(node)] for node in nodes]
    widest = max(map(len, firsts))
    table = np.array([row + row[:1] * (widest - len(row)) for row in firsts])
    turned = _turns_of(puzzle)
    least = turned[:, table].min(axis=2)
    images = np.argwhere(least == least.min())
    lists = turned.tolist()
    return min(letters.normal([lists[s][turn] for turn in nodes[n]]) for s, n in images.tolist())


@lru_cache(maxsize=32)
def _turns_of(puzzle: Puzzle) -> NDArray[np.int32]:
    """Return the images of all turns; shape (symmetries, turns)."""
    return np.array([symmetry.turns for symmetry in puzzle.symmetries], dtype=np.int32)
