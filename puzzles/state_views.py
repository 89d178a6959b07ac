"""The two views of a small picture: from in front, large, and from behind and below beside it."""

from __future__ import annotations

import numpy as np

from puzzles.puzzle import Puzzle
from puzzles.views import MIRROR, BallView, View, directions

#: How wide a picture is, in units of its own, and the part of it that the first view has.
WIDTH, SHARE = 200, 0.62
#: The room around a view and between both.
_MARGIN, _GAP = 3.0, 5.0


def both_views(puzzle: Puzzle, holding: int) -> tuple[list[View], float]:
    """Return the views from in front and from behind, below, and the picture's height."""
    toward, across = directions(puzzle, holding)
    wide = WIDTH - 2 * _MARGIN - _GAP
    small = (wide * SHARE, wide * (1 - SHARE))
    if puzzle.shape == "ball":
        front, back = small[0] / 2, small[1] / 2
        height = 2 * (front + _MARGIN)
        middles = [(_MARGIN + front, height / 2), (WIDTH - _MARGIN - back, height / 2)]
        return [
            BallView(toward, across, front, np.array(middles[0])),
            BallView(-toward, across * MIRROR, back, np.array(middles[1])),
        ], height
    flat = puzzle.body.points @ across.T
    low, high = flat.min(axis=0), flat.max(axis=0)
    spans, centre = high - low, (low + high) / 2
    scales = [min(room_across / spans[0], 1.15 * small[0] / spans[1]) for room_across in small]
    height = spans[1] * scales[0] + 2 * _MARGIN
    front_middle = np.array([_MARGIN + small[0] / 2, height / 2])
    back_middle = np.array([WIDTH - _MARGIN - small[1] / 2, height / 2])
    mirrored = centre * (-1, 1)
    return [
        View(toward, across, scales[0], front_middle - centre * (scales[0], -scales[0])),
        View(-toward, across * MIRROR, scales[1], back_middle - mirrored * (scales[1], -scales[1])),
    ], float(height)
