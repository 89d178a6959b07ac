"""What a viewer sees of a puzzle while a layer turns, by rays through each point.

Independent of how pages paint. Of a flat-cut body nothing is ordered: every polygon in space is met
by every ray and the nearest one counts. Of a ball there are no pieces: the point that a ray meets
is carried back by one turn after the other, and the body's paint is looked up where it came from.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from puzzles.bodies import Vectors
from puzzles.paint import face_paint
from puzzles.puzzle import Puzzle, Word
from puzzles.turns import Turn

#: What a ray meets that is no sticker: the inside of the body; nothing.
INSIDE, NOTHING = "inside", ""


@dataclass(frozen=True, eq=False)
class Polygon:
    """A flat convex polygon in space and what is painted on it."""

    corners: Vectors
    paint: str


def about(axis: Vectors, angle: float) -> Vectors:
    """Return the rotation (3, 3) about a unit axis, counter-clockwise as seen from its tip."""
    x, y, z = axis
    skew = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    result: Vectors = np.eye(3) + math.sin(angle) * skew + (1 - math.cos(angle)) * skew @ skew
    return result


def scene(puzzle: Puzzle, word: Word, turn: int, share: float) -> list[Polygon]:
    """Return all polygons of a puzzle after a word, with a turn on its way (shorter way round)."""
    effect = puzzle.effect(word)
    layer = puzzle.layers[int(puzzle.turn_layer[turn])]
    amount = puzzle.turns[turn].amount
    amount -= layer.steps if amount > layer.steps / 2 else 0
    axis = np.array(layer.axis)
    turning = about(axis, -2 * math.pi * amount / layer.steps * share)
    paint = face_paint(puzzle.body)
    inside = puzzle.in_layer[int(puzzle.turn_layer[turn])]
    result = []
    for sticker in puzzle.stickers:
        home = puzzle.home[sticker.slot]
        there = int(effect[home])
        carry = puzzle.frames[there] @ puzzle.frames[home].T
        if inside[puzzle.slot_of[there]]:
            carry = turning @ carry
        result.append(Polygon(sticker.outline @ carry.T, paint[sticker.face][0]))
    for height in (layer.low, layer.high):
        section = cut(puzzle, axis, height)
        if len(section):
            result += [Polygon(section, INSIDE), Polygon(section @ turning.T, INSIDE)]
    return result


def cut(puzzle: Puzzle, axis: Vectors, height: float) -> Vectors:
    """Return the section of the body: a large square, clipped by every face (Sutherland, 1974)."""
    if not math.isfinite(height):
        return np.zeros((0, 3))
    east = np.cross(axis, np.eye(3)[int(np.abs(axis).argmin())])
    east /= np.linalg.norm(east)
    north = np.cross(axis, east)
    shape = [axis * height + 9 * (a * east + b * north) for a, b in ((1, 1), (-1, 1), (-1, -1))]
    shape.append(axis * height + 9 * (east - north))
    for face in puzzle.body.faces:
        kept: list[Vectors] = []
        for k, point in enumerate(shape):
            after = shape[(k + 1) % len(shape)]
            here, there = (float(face.distance - p @ face.normal) for p in (point, after))
            if here >= 0:
                kept.append(point)
            if here * there < 0:
                kept.append(point + (after - point) * here / (here - there))
        shape = kept
        if not shape:
            return np.zeros((0, 3))
    return np.array(shape)


def seen(
    polygons: list[Polygon], across: Vectors, toward: Vectors, points: Vectors, margin: float
) -> tuple[list[str], NDArray[np.bool_]]:
    """Return what is seen at points (n, 2) of the plane across the view, and where that is clear.

    It is clear where no side of a polygon that is turned to the viewer, seen or not, is within the
    margin.
    """
    nearest = np.full(len(points), -np.inf)
    paint = [NOTHING] * len(points)
    clear = np.ones(len(points), dtype=np.bool_)
    for polygon in polygons:
        flat, depth = polygon.corners @ across.T, polygon.corners @ toward
        after = np.roll(flat, -1, axis=0)
        sides, to = after - flat, points[:, None] - flat
        length = np.linalg.norm(sides, axis=1)
        share = np.clip((to * sides).sum(axis=2) / np.maximum(length**2, 1e-12), 0, 1)
        away = np.linalg.norm(to - share[:, :, None] * sides, axis=2).min(axis=1)
        clear &= away > margin
        turned = sides[:, 0] * to[:, :, 1] - sides[:, 1] * to[:, :, 0]
        within = np.all(turned > 0, axis=1) | np.all(turned < 0, axis=1)
        # Depth is linear over the polygon: fitted through its corners.
        fit = np.linalg.lstsq(np.column_stack([flat, np.ones(len(flat))]), depth, rcond=None)[0]
        own = points @ fit[:2] + fit[2]
        for k in np.flatnonzero(within & (own > nearest + 1e-9)):
            nearest[k] = own[k]
            paint[k] = polygon.paint
    return paint, clear


def ball_points(points: Vectors, across: Vectors, toward: Vectors, away: float) -> Vectors:
    """Return the points (n, 3) of the unit ball that are drawn at points (n, 2) of its disc.

    The ball is projected from ``away`` radii behind its middle onto the plane through it: a point
    at height c is drawn r = away s / (away + c) from the middle, with s^2 + c^2 = 1; solved for c.
    """
    square = (points**2).sum(axis=1)
    root = np.sqrt(away**2 * square**2 - (square + away**2) * away**2 * (square - 1))
    height = (root - away * square) / (square + away**2)
    result: Vectors = (points * ((away + height) / away)[:, None]) @ across
    return result + height[:, None] * toward


def ball_paint(
    puzzle: Puzzle, word: Word, turn: int, share: float, points: Vectors
) -> NDArray[np.int64]:
    """Return the faces painted at points (n, 3) of a ball after a word and part of a turn."""
    points = points.copy()
    for number, part in ((turn, share), *((t, 1.0) for t in reversed(word))):
        layer = puzzle.layers[int(puzzle.turn_layer[number])]
        amount = puzzle.turns[number].amount
        amount -= layer.steps if amount > layer.steps / 2 else 0
        axis = np.array(layer.axis)
        height = points @ axis
        inside = (height > layer.low) & (height < layer.high)
        back = about(axis, 2 * math.pi * amount / layer.steps * part)
        points[inside] = points[inside] @ back.T
    normals = np.array([face.normal / face.distance for face in puzzle.body.faces])
    return (points @ normals.T).argmax(axis=1)


def named(puzzle: Puzzle, layer: str, amount: int) -> int:
    """Return the number of a turn."""
    return puzzle.turn_numbers[Turn(layer, amount)]
