"""An arrow across a layer that shows which way it has been turned, in a view of a picture."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from puzzles.bodies import Vectors
from puzzles.puzzle import Puzzle
from puzzles.svg import INK, PAPER, pair, points
from puzzles.views import BallView, View

#: How far an arrow reaches to either side of what is nearest, and how far for half a round.
_REACH, _HALF = math.radians(38), math.radians(58)
#: Of a layer's patches, those at least so far from its axis, of the farthest, are crossed.
_OUTER = 0.8
#: The length of the head, and the widths of the line and of the light line around it.
_HEAD, _LINE, _CLEARING = 9.0, 2.4, 5.0


def turn_arrow(puzzle: Puzzle, view: View, turn: int) -> list[str]:
    """Return the arrow of a turn, on the side of the layer that is nearest to the viewer."""
    layer = int(puzzle.turn_layer[turn])
    axis = np.array(puzzle.layers[layer].axis, dtype=float)
    steps, amount = puzzle.layers[layer].steps, puzzle.turns[turn].amount
    height, radius = _ring(puzzle, layer)
    near = view.toward - (view.toward @ axis) * axis
    if float(np.linalg.norm(near)) < 1e-6:
        near = view.across[1]
    near = near / np.linalg.norm(near)
    aside = np.cross(axis, near)
    reach = _HALF if 2 * amount == steps else _REACH
    # Clockwise, as seen from the tip of the axis, is the negative sense.
    way = 1.0 if 2 * amount > steps else -1.0
    angles = way * np.linspace(-reach, reach, 17)[:, None]
    line = height * axis + radius * (np.cos(angles) * near + np.sin(angles) * aside)
    if isinstance(view, BallView):
        line = line / np.linalg.norm(line, axis=1)[:, None]
        line = line[line @ view.toward > 0.02]
    if len(line) < 4:
        return []
    return _arrow(view.paper(line))


def _arrow(line: Vectors) -> list[str]:
    length = float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())
    if length < 6.0:
        return []
    head = min(_HEAD, length * 0.45)
    tip = line[-1]
    way = tip - line[-4]
    way = way / max(float(np.linalg.norm(way)), 1e-9)
    side = np.array([-way[1], way[0]]) * head * 0.5
    base = tip - way * head
    kept = line[np.linalg.norm(line - tip, axis=1) > head * 0.8]
    drawn = "M" + "L".join(pair(point) for point in kept[::2])
    drawn += f"L{pair(base + way)}" if len(kept) else ""
    barbs = points(np.array([tip, base + side, base - side]))
    return [
        f'<path d="{drawn}" fill="none" stroke="{PAPER}" stroke-width="{_CLEARING}"/>',
        f'<polygon points="{barbs}" fill="{INK}" stroke="{PAPER}" stroke-width="1"/>',
        f'<path d="{drawn}" fill="none" stroke="{INK}" stroke-width="{_LINE}"/>',
    ]


@lru_cache(maxsize=2_000)
def _ring(puzzle: Puzzle, layer: int) -> tuple[float, float]:
    """Return the height and the radius of the ring in which a layer's outer patches lie."""
    axis = np.array(puzzle.layers[layer].axis, dtype=float)
    held = [s for s in puzzle.stickers if puzzle.in_layer[layer, s.slot]]
    middles = np.array([s.outline.mean(axis=0) for s in held]).reshape(-1, 3)
    if not len(middles):
        return 0.0, 1.0
    heights = middles @ axis
    away = np.linalg.norm(middles - heights[:, None] * axis, axis=1)
    outer = away >= _OUTER * float(away.max())
    return float(heights[outer].mean()), float(away[outer].mean())
