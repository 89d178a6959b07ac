"""Rotations and reflections that carry layers to layers, as permutations of the tables."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from puzzles.bodies import SAME, Body, Vectors
from puzzles.puzzle import PieceType, Sticker, Symmetry, Table
from puzzles.turns import Layer, Turn

#: Directions of layers and middles of patches closer than this are the same.
CLOSE = 1e-6


def matrices(points: Vectors) -> list[Vectors]:
    """Return all orthogonal matrices that carry a set of points around the origin onto itself.

    A matrix is known by what it does to three independent points, so every triple of points with
    the same distances and angles is tried. The identity comes first.
    """
    base = _independent(points)
    gram = points @ points.T
    inverse = np.linalg.inv(points[base])
    wanted = gram[np.ix_(base, base)]
    found = []
    for p in np.flatnonzero(np.abs(np.diag(gram) - wanted[0, 0]) < CLOSE):
        fits = (np.abs(np.diag(gram) - wanted[1, 1]) < CLOSE) & (
            np.abs(gram[p] - wanted[0, 1]) < CLOSE
        )
        for q in np.flatnonzero(fits):
            last = (
                (np.abs(np.diag(gram) - wanted[2, 2]) < CLOSE)
                & (np.abs(gram[p] - wanted[0, 2]) < CLOSE)
                & (np.abs(gram[q] - wanted[1, 2]) < CLOSE)
            )
            for r in np.flatnonzero(last):
                matrix = (inverse @ points[[p, q, r]]).T
                if matched(points @ matrix.T, points) is not None:
                    found.append(matrix)
    found.sort(key=lambda m: (float(np.abs(m - np.eye(3)).max()) > SAME, np.linalg.det(m) < 0))
    return found


def _independent(points: Vectors) -> list[int]:
    """Return three points that span space, as far from flat as the first ones allow."""
    first = 0
    second = int(np.linalg.norm(np.cross(points[first], points), axis=1).argmax())
    third = int(np.abs(points @ np.cross(points[first], points[second])).argmax())
    return [first, second, third]


def matched(moved: Vectors, places: Vectors) -> NDArray[np.int64] | None:
    """Return the place on which each moved point lies, or None if one lies on none."""
    distances = np.linalg.norm(moved[:, None] - places, axis=2)
    nearest: NDArray[np.int64] = distances.argmin(axis=1)
    if float(distances[np.arange(len(moved)), nearest].max()) > CLOSE:
        return None
    return nearest


def symmetries(
    body: Body,
    layers: Sequence[Layer],
    turns: Sequence[Turn],
    types: Sequence[PieceType],
    stickers: Sequence[Sticker],
) -> tuple[Symmetry, ...]:
    """Return all symmetries of a compiled puzzle, the identity first, rotations before the rest."""
    middles = np.array([sticker.outline.mean(axis=0) for sticker in stickers])
    main: list[int] = [-1] * types[-1].placements.stop
    first_of_kind: dict[tuple[int, int], int] = {}
    for number, sticker in enumerate(stickers):
        if sticker.placement >= 0:
            first_of_kind.setdefault((sticker.kind, sticker.placement), number)
    for (_, placement), number in sorted(first_of_kind.items(), reverse=True):
        main[placement] = number
    number_of = {turn: number for number, turn in enumerate(turns)}
    result = []
    for matrix in matrices(body.points):
        images = _layer_images(layers, matrix)
        carried = matched(middles @ matrix.T, middles)
        if images is None or carried is None:
            continue
        placements = [stickers[carried[number]].placement for number in main]
        turned = []
        for turn in turns:
            layer = next(k for k, x in enumerate(layers) if x.name == turn.layer)
            image, sign = images[layer]
            steps = layers[image].steps
            turned.append(number_of[Turn(layers[image].name, turn.amount * sign % steps)])
        result.append(
            Symmetry(
                matrix,
                bool(np.linalg.det(matrix) < 0),
                _frozen(placements),
                _frozen(turned),
                _frozen([image for image, _ in images]),
                _frozen(carried.tolist()),
            )
        )
    return tuple(result)


def _frozen(values: Sequence[int]) -> Table:
    table = np.array(values, dtype=np.int32)
    table.setflags(write=False)
    return table


def _layer_images(layers: Sequence[Layer], matrix: Vectors) -> list[tuple[int, int]] | None:
    """Return for each layer its image and whether turning keeps (1) or changes (-1) its sense."""
    axes = np.array([layer.axis for layer in layers])
    moved = axes @ matrix.T
    sense = 1 if np.linalg.det(matrix) > 0 else -1
    result = []
    for layer, axis in zip(layers, moved, strict=True):
        for number, other in enumerate(layers):
            if other.steps != layer.steps:
                continue
            along = float(axis @ axes[number])
            same = along > 1 - SAME and _close((layer.low, layer.high), (other.low, other.high))
            turned = along < -1 + SAME and _close(
                (-layer.high, -layer.low), (other.low, other.high)
            )
            if same or turned:
                result.append((number, sense if same else -sense))
                break
        else:
            return None
    return result


def _close(first: tuple[float, float], second: tuple[float, float]) -> bool:
    return all(x == y or abs(x - y) < SAME for x, y in zip(first, second, strict=True))
