"""A puzzle after some turns: which sticker lies on which place, and where in space.

A piece is the shape that it has at home, carried by the rotation of its placement. Where a patch
comes to lie on one of the solved puzzle, it is that patch's *place*; on a puzzle that need not fit
(a ball with gaps) a patch may lie on none.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from puzzles.bodies import Vectors
from puzzles.puzzle import Puzzle

#: Corners of patches closer than this are the same.
_SAME = 1e-5


@dataclass(frozen=True, eq=False)
class Patch:
    """A sticker where it lies after some turns, by the number that it has at home.

    ``place`` is the sticker of the solved puzzle on whose place it lies, -1 for none; ``outline``
    (corners, 3) is where it is. ``piece`` is the slot at home of its piece and ``placement`` where
    that is; ``away`` whether it is in another slot, or twisted in its own.
    """

    sticker: int
    place: int
    piece: int
    placement: int
    away: bool
    outline: Vectors


def patches(puzzle: Puzzle, word: Iterable[int]) -> tuple[Patch, ...]:
    """Return every sticker where it lies after a word, in the order of places; none on no place.

    Where turns are written down there are no stickers.
    """
    effect = puzzle.effect(word)
    result = []
    for k, sticker in enumerate(puzzle.stickers):
        home = int(puzzle.home[sticker.slot])
        there = int(effect[home])
        if there == home:
            result.append(Patch(k, k, sticker.slot, home, False, sticker.outline))
            continue
        place, outline = _carried(puzzle, k, there)
        result.append(Patch(k, place, sticker.slot, there, True, outline))
    return tuple(sorted(result, key=lambda own: (own.place < 0, own.place, own.sticker)))


def rotation(puzzle: Puzzle, piece: int, placement: int) -> Vectors:
    """Return the rotation (3, 3) that carries a piece from home, by its slot, to a placement."""
    frames = puzzle.frames
    result: Vectors = frames[placement] @ frames[int(puzzle.home[piece])].T
    return result


@lru_cache(maxsize=50_000)
def _carried(puzzle: Puzzle, sticker: int, placement: int) -> tuple[int, Vectors]:
    """Return the place on which a sticker of a piece at a placement lies, -1 for none, and where.

    On a place its outline is the one that the solved puzzle has there, so that both are drawn with
    the same numbers.
    """
    own = puzzle.stickers[sticker]
    moved = own.outline @ rotation(puzzle, own.slot, placement).T
    middles = _middles(puzzle)
    away = np.linalg.norm(middles - moved.mean(axis=0), axis=1)
    for k in np.argsort(away)[:2].tolist():
        there = puzzle.stickers[k].outline
        if len(there) != len(moved) or away[k] > _SAME:
            continue
        apart = np.linalg.norm(moved[:, None] - there, axis=2).min(axis=1)
        if float(apart.max()) < _SAME:
            return k, there
    return -1, moved


@lru_cache(maxsize=16)
def _middles(puzzle: Puzzle) -> Vectors:
    return np.array([sticker.outline.mean(axis=0) for sticker in puzzle.stickers])
