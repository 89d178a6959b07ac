"""Enlarged round details of a ball, where the pieces of a cycle are too small to be read.

Pieces so near each other that numbers and arrows would hide them are told by their detail alone;
where a single piece is hardly seen at all, its detail shows which it is, beside the whole picture.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from puzzles.arrows import (
    HIDING,
    NOWHERE,
    SMALLEST_DISC,
    arrows,
    disc,
    numbers,
)
from puzzles.ball_picture import BallScene, stroked, unit_circle
from puzzles.bodies import Vectors
from puzzles.horizon import seen
from puzzles.paint import GREY
from puzzles.puzzle import Puzzle
from puzzles.shapes import simple
from puzzles.svg import INK, PAPER, text
from puzzles.views import AWAY, BallView, Spot

CAPTION = "enlarged"
#: Small pieces nearer than this, in units of the picture, are hidden by their numbers and arrows.
_NEAR = 44.0
#: A piece with less room than this can hardly be told from its neighbours.
_TINY = 2.0
#: How much wider than its pieces a detail is, and the least angle from its middle to its rim; the
#: neighbours of one piece are to be seen, too.
_WIDER, _LEAST_ANGLE = 1.2, math.radians(4)
_WIDER_ALONE, _LEAST_ANGLE_ALONE = 1.6, math.radians(8)
#: A detail enlarges at least so much; one that does not would say nothing new.
_LEAST_GAIN = 1.8
#: A detail has no wider angle from its middle to its rim.
_WIDEST = math.radians(60)
#: There are no more details than this. Where more would be needed, those of one piece are left out,
#: and if that is not enough, all.
_MOST = 3
#: The least radius of the ring round a place, in units of the picture.
_LEAST_RING = 7.0
#: Bounds of the layout, in units of the picture.
_LARGEST, _GAP, _MARGIN, _BELOW = 84.0, 24.0, 16.0, 22.0
#: How far the discs of a detail may reach into the views above it.
_ABOVE = 3.0


@dataclass(frozen=True, eq=False)
class _Place:
    """A cap of the ball: its middle (3,), the angle to its rim, and its steps of the cycle."""

    middle: Vectors
    angle: float
    steps: tuple[int, ...]


class Detail:
    """An enlarged part of a ball: a scene of its own, and a ring where it is in the others.

    ``steps`` are the positions in the cycle of the pieces that it is for. ``alone``: it is for one
    piece, which is numbered in the whole picture, too.
    """

    def __init__(self, scene: BallScene, place: _Place) -> None:
        self.scene = scene
        self.steps = place.steps
        self.alone = len(place.steps) == 1
        self._place = place

    def ring(self, scene: BallScene) -> list[Vectors]:
        """Return the lines (…, 2) round the place in another scene, wide enough to be seen."""
        place = self._place
        rim = _circle(place.middle, max(place.angle, _LEAST_RING / _magnified(scene.view)))
        return [scene.view.paper(loop) for loop in seen([rim], scene.view.toward)]

    def spots(self, shown: Sequence[int]) -> dict[int, Spot]:
        """Return where the stickers of its steps are in the detail."""
        return {step: self.scene.spots[shown[step]] for step in self.steps}

    def draw(
        self, shown: Sequence[int], following: Sequence[int], outlined: set[int], radius: float
    ) -> list[str]:
        """Draw the detail, with arrows if its pieces are numbered nowhere else, and a caption.

        ``following`` has the step after each step, ``radius`` is that of the number discs.
        """
        scene, spots = self.scene, self.spots(shown)
        if self.alone:
            drawn = numbers(scene, spots, radius)
        else:
            drawn, _ = arrows(scene, spots, following, radius)
        x, y = scene.middle
        return [
            *scene.stickers(outlined, True, {shown[step] for step in self.steps}),
            *_ring([scene.view.paper(_circle(self._place.middle, self._place.angle))]),
            *drawn,
            text(x, y + scene.view.rim + 15.0, 11.0, CAPTION, GREY),
        ]


def rings(
    details: Sequence[Detail], scene: BallScene, shown: Sequence[int], spots: Mapping[int, Spot]
) -> tuple[list[str], Vectors, dict[int, Spot]]:
    """Draw a ring in a view round each place that has a detail and pieces that stand in this view.

    Returns points (…, 2) along the rings, too, and the spots of steps with those inside a ring so
    far apart from their numbers that these stand outside. Where several rings have no numbers by
    them, a white disc with the first number within tells which is which.
    """
    result: list[str] = []
    busy, spots = NOWHERE, dict(spots)
    several = sum(not detail.alone for detail in details) > 1
    for detail in details:
        if not any(shown[step] in scene.spots for step in detail.steps):
            continue
        loops = detail.ring(scene)
        result.extend(_ring([simple(loop) for loop in loops]))
        line = np.concatenate(loops)
        busy = np.concatenate([busy, line])
        if detail.alone:
            (step,) = detail.steps
            away = float(np.linalg.norm(line - spots[step].place, axis=1).max())
            spots[step] = replace(spots[step], apart=away + 1.0)
        elif several:
            outermost = line[int(np.linalg.norm(line - scene.middle, axis=1).argmax())]
            result.append(disc(outermost, SMALLEST_DISC, detail.steps[0] + 1, seen=False))
            busy = np.concatenate([busy, outermost + SMALLEST_DISC * unit_circle(12)])
    return result, busy, spots


def details(
    puzzle: Puzzle, scenes: Sequence[BallScene], shown: Sequence[int], size: tuple[float, float]
) -> tuple[list[Detail], float]:
    """Return the details that a picture needs, from left to right, and its height with them.

    ``shown`` are the stickers that stand for the steps of a cycle, ``size`` is the picture's
    without details, which stand in a row below it.
    """
    width, height = size
    places = _places(puzzle, scenes, shown)
    if len(places) > _MOST:
        places = [place for place in places if len(place.steps) > 1]
    radius = _radius(width, len(places))
    whole = _magnified(scenes[0].view) if places else 0.0
    places = [place for place in places if _scale(place, radius) > _LEAST_GAIN * whole]
    if not 0 < len(places) <= _MOST:
        return [], height
    radius = _radius(width, len(places))
    step = 2 * radius + _GAP
    first = (width - step * (len(places) - 1)) / 2
    found = []
    for k, place in enumerate(places):
        middle = np.array([first + k * step, height + radius])
        view = _view(scenes, place, radius, middle)
        low = middle[0] - step / 2 if k else 0.0
        high = middle[0] + step / 2 if k < len(places) - 1 else width
        limits = np.array([(low, height - _ABOVE), (high, height + 2 * radius)])
        found.append(Detail(BallScene(puzzle, view, limits), place))
    return found, height + 2 * radius + _BELOW


def _radius(width: float, count: int) -> float:
    """Return the radius of each of so many details in a row."""
    count = max(1, count)
    return min(_LARGEST, (width - 2 * _MARGIN - _GAP * (count - 1)) / (2 * count))


def _places(puzzle: Puzzle, scenes: Sequence[BallScene], shown: Sequence[int]) -> list[_Place]:
    """Return the caps that need a detail, by the first step that each is for."""
    space: dict[int, float] = {}
    for step, sticker in enumerate(shown):
        own = [scene.spots[sticker].space for scene in scenes if sticker in scene.spots]
        if own:
            space[step] = max(own)
    if not space:
        return []
    points = {step: _piece(puzzle, puzzle.stickers[shown[step]].slot) for step in space}
    middles = {step: _middle(own) for step, own in points.items()}
    near = _NEAR / _magnified(scenes[0].view)
    small = [step for step, room in space.items() if room < SMALLEST_DISC * HIDING]
    groups = _near_each_other({step: middles[step] for step in small}, near)
    tiny = min(space.values()) < _TINY
    caps = [
        _cap(np.concatenate([points[step] for step in group]), group)
        for group in groups
        if len(group) > 1 or tiny
    ]
    return [cap for cap in caps if cap.angle < _WIDEST]


def _near_each_other(middles: Mapping[int, Vectors], near: float) -> list[tuple[int, ...]]:
    """Return groups of steps: those at an angle of at most ``near``, and those near to these."""
    left, groups = sorted(middles), []
    while left:
        group = [left.pop(0)]
        for step in group:
            joined = [k for k in left if middles[k] @ middles[step] > math.cos(near)]
            group.extend(joined)
            left = [k for k in left if k not in joined]
        groups.append(tuple(sorted(group)))
    return groups


def _piece(puzzle: Puzzle, slot: int) -> Vectors:
    """Return points (k, 3) of the rims of all stickers of a slot."""
    return np.concatenate([sticker.outline for sticker in puzzle.stickers if sticker.slot == slot])


def _middle(points: Vectors) -> Vectors:
    """Return the middle (3,) of a small cap around points (k, 3) of the sphere.

    It steps towards the farthest point, ever less (Badoiu and Clarkson, Smaller core-sets for
    balls, 2003).
    """
    middle: Vectors = points.mean(axis=0)
    for step in range(2, 60):
        middle = middle + (points[int((points @ middle).argmin())] - middle) / step
        middle = middle / max(float(np.linalg.norm(middle)), 1e-9)
    return middle


def _cap(points: Vectors, steps: tuple[int, ...]) -> _Place:
    middle = _middle(points)
    angle = math.acos(max(-1.0, min(1.0, float((points @ middle).min()))))
    if len(steps) > 1:
        return _Place(middle, max(_LEAST_ANGLE, angle * _WIDER), steps)
    return _Place(middle, max(_LEAST_ANGLE_ALONE, angle * _WIDER_ALONE), steps)


def _circle(middle: Vectors, angle: float) -> Vectors:
    """Return points (k, 3) at an angle from a middle, counter-clockwise."""
    east = np.cross(middle, np.eye(3)[int(np.abs(middle).argmin())])
    east = east / np.linalg.norm(east)
    north = np.cross(middle, east)
    turn = np.linspace(0.0, 2 * math.pi, 90, endpoint=False)[:, None]
    around = np.cos(turn) * east + np.sin(turn) * north
    result: Vectors = math.cos(angle) * middle + math.sin(angle) * around
    return result


def _view(scenes: Sequence[BallScene], place: _Place, radius: float, middle: Vectors) -> BallView:
    """Return a view straight at a place: one of the picture's, rolled there the shortest way."""
    nearest = max((scene.view for scene in scenes), key=lambda view: view.toward @ place.middle)
    axis = np.cross(nearest.toward, place.middle)
    x, y, z = axis
    across = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    rolled = np.eye(3) + across + across @ across / (1 + nearest.toward @ place.middle)
    level = math.cos(place.angle)
    scale = _scale(place, radius) * (AWAY + 1) / AWAY
    return BallView(place.middle, nearest.across @ rolled.T, scale, middle, level)


def _scale(place: _Place, radius: float) -> float:
    """Return units of the picture for a radian in the middle of a detail."""
    level = math.cos(place.angle)
    return radius * (AWAY + level) / (math.sin(place.angle) * (AWAY + 1))


def _magnified(view: BallView) -> float:
    """Return units of the picture for a radian in the middle of a view."""
    return view.scale * AWAY / (AWAY + 1)


def _ring(loops: Sequence[Vectors]) -> list[str]:
    shapes = [loop for loop in loops if len(loop) > 2]
    return [stroked(shapes, PAPER, 4.0), stroked(shapes, INK, 1.5)] if shapes else []
