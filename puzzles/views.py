"""Two views of a body in parallel projection, and the geometry of flat shapes on the paper.

A face that is edge-on in one view would be so in the view from behind; the direction of looking is
chosen so that no face is, and every face is then seen in exactly one of the two.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from itertools import product
from typing import Protocol

import numpy as np

from puzzles.bodies import Body, Vectors
from puzzles.puzzle import Puzzle

#: How much of the width the view from in front takes; the one from behind has the rest.
SHARE = 0.62
#: The same for a ball, whose half behind is worth as much as the one in front.
BALL_SHARE = 0.53
#: From how far behind a ball's middle it is projected, in radii; 1 would be stereographic.
AWAY = 2.2
#: From behind and below, the paper's right is the other way round; up is still up.
MIRROR = np.array([[-1.0], [1.0]])
#: The sizes of letters on stickers, in units of the picture.
SMALLEST_LETTERS, LARGEST_LETTERS = 8.0, 17.0


@dataclass(frozen=True, eq=False)
class View:
    """One view: where it looks from (3,), its axes on the paper (2, 3), scale, middle (2,)."""

    toward: Vectors
    across: Vectors
    scale: float
    middle: Vectors

    def paper(self, points: Vectors) -> Vectors:
        """Return points (…, 3) on the paper (…, 2), with y downwards."""
        flat: Vectors = points @ self.across.T * (self.scale, -self.scale) + self.middle
        return flat

    def sees(self, body: Body, face: int) -> bool:
        """Return whether a face is turned towards the viewer."""
        return float(body.faces[face].normal @ self.toward) > 0


@dataclass(frozen=True, eq=False)
class BallView(View):
    """One view of a unit ball, ``scale`` being the radius of its disc on the paper.

    The half towards the viewer is projected from a point behind the ball, ``AWAY`` radii from its
    middle, onto the plane of the horizon. In parallel projection pieces near the horizon would be
    squeezed to nothing. A view through a loupe shows only what is higher than ``level``.
    """

    level: float = 0.0

    @property
    def rim(self) -> float:
        """The radius of what is seen on the paper; ``scale`` where that is half the ball."""
        return self.scale * math.sqrt(1 - self.level**2) * AWAY / (AWAY + self.level)

    def paper(self, points: Vectors) -> Vectors:
        """Return points (…, 3) of the ball on the paper (…, 2), with y downwards."""
        share = AWAY / (AWAY + points @ self.toward)
        return super().paper(points * share[..., None])


@dataclass(frozen=True, eq=False)
class Spot:
    """Where on the paper (2,) a sticker has room, and how far it is from there to its edge.

    A number's disc stands ``apart`` from there, at least so far, unless it is 0.
    """

    place: Vectors
    space: float
    apart: float = 0.0


class Scene(Protocol):
    """What arrows need to know of a puzzle in one view.

    ``spots`` holds the stickers that stand in this view, each in exactly one; ``frame`` are points
    (…, 2) on the paper around all of the puzzle, ``middle`` (2,) is that of the body. What is
    written in this view stays within ``limits``, two corners (2, 2) of a part of the picture.
    """

    spots: dict[int, Spot]
    frame: Vectors
    middle: Vectors
    limits: Vectors


def letter_size(spot: Spot) -> float:
    """Return the size of a letter on a sticker."""
    return min(LARGEST_LETTERS, spot.space * 1.1)


@lru_cache(maxsize=64)
def directions(puzzle: Puzzle, holding: int = 0) -> tuple[Vectors, Vectors]:
    """Return the unit vector towards the viewer (3,) and the paper's right and up (2, 3).

    ``holding`` is the number of the symmetry by which the puzzle is held otherwise.
    The viewer stands in front, to the right and above, about 29 and 27 degrees; the angles are
    moved a little so that no face is edge-on.
    """
    if holding:
        usual = directions(puzzle)
        matrix = puzzle.symmetries[holding].matrix
        return usual[0] @ matrix, usual[1] @ matrix
    up, front = puzzle.body.axis(puzzle.up), puzzle.body.axis(puzzle.front)
    assert up is not None
    assert front is not None
    front = front - (front @ up) * up
    if float(np.linalg.norm(front)) < 1e-6:
        front = np.cross(up, (0.0, 1.0, 0.0) if abs(up[1]) < 0.9 else (1.0, 0.0, 0.0))
    front = front / np.linalg.norm(front)
    right = np.cross(up, front)
    normals = np.array([face.normal for face in puzzle.body.faces])
    best, chosen = -math.inf, up
    for turned, raised in product(range(8, 61, 2), range(14, 43, 2)):
        sideways, above = math.radians(turned), math.radians(raised)
        level = math.cos(sideways) * front + math.sin(sideways) * right
        toward = math.cos(above) * level + math.sin(above) * up
        clear = float(np.abs(normals @ toward).min())
        value = min(clear, 0.3) - (abs(turned - 29) + abs(raised - 27)) / 400
        if value > best:
            best, chosen = value, toward
    across = np.cross(up, chosen)
    across = across / np.linalg.norm(across)
    return chosen, np.array([across, np.cross(chosen, across)])


def views(puzzle: Puzzle, width: int, hidden: bool, holding: int = 0) -> tuple[list[View], float]:
    """Return the one or two views, and the picture's height; ``holding`` as in `directions`."""
    toward, across = directions(puzzle, holding)
    if puzzle.shape == "ball":
        balls, height = ball_views(puzzle, width, hidden, holding)
        return [*balls], height
    points = puzzle.body.points
    behind = across * MIRROR
    flat = points @ across.T
    low, high = flat.min(axis=0), flat.max(axis=0)
    spans = high - low
    wide = width * (SHARE if hidden else 1.0)
    margin = max(16.0, width * 0.045)
    scale = min((wide - 2 * margin) / spans[0], (0.62 * width if hidden else width) / spans[1])
    height = spans[1] * scale + 2 * margin
    centre = (low + high) / 2
    middle = np.array([wide / 2, height / 2]) - centre * (scale, -scale)
    result = [View(toward, across, float(scale), middle)]
    if hidden:
        # A letter beside the body has room up to the picture's edge.
        beside = max(margin * 0.8, 16.0)
        small = min(width * (1 - SHARE) - margin * 0.2 - beside, spans[0] * scale * 0.62) / spans[0]
        mirrored = centre * (-1, 1)
        place = np.array([width - beside - spans[0] * small / 2, height / 2])
        middle = place - mirrored * (small, -small)
        result.append(View(-toward, behind, float(small), middle))
    return result, float(height)


def ball_views(
    puzzle: Puzzle, width: int, hidden: bool, holding: int = 0
) -> tuple[list[BallView], float]:
    """Return the one or two views of a ball, and the picture's height."""
    toward, across = directions(puzzle, holding)
    # A letter beside the ball has room up to the picture's edge.
    margin = max(16.0, width * 0.04)
    gap = margin * 0.6
    room_across = width - 2 * margin - (gap if hidden else 0.0)
    large = room_across * (BALL_SHARE if hidden else 1.0) / 2
    height = 2 * (large + margin)
    middle = np.array([margin + large, height / 2])
    result = [BallView(toward, across, large, middle)]
    if hidden:
        small = room_across / 2 - large
        middle = np.array([width - margin - small, height / 2])
        result.append(BallView(-toward, across * MIRROR, small, middle))
    return result, height


def inset(outline: Vectors, normal: Vectors, share: float, most: float) -> Vectors:
    """Return a convex outline with its sides moved inwards, by a share of its inradius or less."""
    before, after = np.roll(outline, 1, axis=0), np.roll(outline, -1, axis=0)
    bends = np.linalg.norm(np.cross(outline - before, after - outline), axis=1) > 1e-9
    outline = outline[bends]
    sides = np.roll(outline, -1, axis=0) - outline
    inward = np.cross(normal, sides)
    inward /= np.linalg.norm(inward, axis=1)[:, None]
    middle = outline.mean(axis=0)
    by = min(most, share * float(((middle - outline) * inward).sum(axis=1).min()))
    earlier = np.roll(inward, 1, axis=0)
    # A corner moves to where its two sides meet after moving: along the sum of their directions.
    together = inward + earlier
    moved: Vectors = outline + together * by / (1 + (inward * earlier).sum(axis=1))[:, None]
    return moved


def room(shape: Vectors) -> tuple[Vectors, float]:
    """Return a flat shape's middle (2,) and how far from it the nearest side is."""
    middle = shape.mean(axis=0)
    sides = np.roll(shape, -1, axis=0) - shape
    to = middle - shape
    across = np.abs(sides[:, 0] * to[:, 1] - sides[:, 1] * to[:, 0])
    length = np.linalg.norm(sides, axis=1)
    return middle, float((across / np.maximum(length, 1e-9)).min())


def outside(corners: Vectors, shape: Vectors, centre: Vectors) -> tuple[Vectors, Vectors]:
    """Return a point of a face near its rim and one beyond the body, to be joined by a line."""
    middle = shape.mean(axis=0)
    way = middle - centre
    length = float(np.linalg.norm(way))
    way = way / length if length > 1e-6 else np.array([0.0, -1.0])
    sides = np.roll(shape, -1, axis=0) - shape
    normals = np.column_stack([sides[:, 1], -sides[:, 0]])
    normals *= np.sign(((shape - middle) * normals).sum(axis=1))[:, None]
    along = normals @ way
    ahead = along > 1e-9
    exits = ((shape - middle) * normals).sum(axis=1)[ahead] / along[ahead]
    rim = float(((corners - centre) @ way).max())
    return middle + way * float(exits.min()) * 0.8, centre + way * (rim + 2.5)
