"""A convex polyhedron cut by planes: each face is clipped into patches, patches make pieces."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from puzzles.bodies import SAME, Body
from puzzles.errors import LimitError, PuzzleFileError
from puzzles.turns import Layer

Vectors = NDArray[np.float64]

#: A patch smaller than this (the body is about 1 in size) is a slip of the file, not a sticker.
SMALLEST_AREA = 1e-5
#: The most patches that are cut; the largest plane-cut catalogue puzzle has 150.
MOST_PATCHES = 3000


@dataclass(frozen=True, eq=False)
class Patch:
    """A visible patch: face number, outline (corners, 3), centroid (3,), area, its piece."""

    face: int
    outline: Vectors
    centroid: Vectors
    area: float
    piece: int


@dataclass(frozen=True, eq=False)
class Cells:
    """The cut body: its patches, and for every layer which pieces lie in it, (layers, pieces)."""

    patches: tuple[Patch, ...]
    in_layer: NDArray[np.bool_]


def cut(body: Body, layers: tuple[Layer, ...]) -> Cells:
    """Cut a body by the planes of its layers.

    Patches on the same side of every plane are one rigid piece, since the piece of a convex body
    between planes is convex. Raises PuzzleFileError where two cuts nearly coincide.
    """
    planes: list[tuple[Vectors, float]] = []
    for layer in layers:
        for depth in (layer.low, layer.high):
            if np.isfinite(depth):
                planes.append((np.array(layer.axis), depth))
    planes = _distinct(planes)
    outlines: list[tuple[int, Vectors]] = [
        (number, body.points[list(face.corners)]) for number, face in enumerate(body.faces)
    ]
    for normal, depth in planes:
        halves: list[tuple[int, Vectors]] = []
        for face, outline in outlines:
            halves.extend((face, part) for part in _halves(outline, normal, depth))
        outlines = halves
        if len(outlines) > MOST_PATCHES:
            raise LimitError(f"the cuts make more than {MOST_PATCHES:,} patches, the most allowed")
    pieces: dict[bytes, int] = {}
    patches: list[Patch] = []
    centres: list[Vectors] = []
    normals = np.array([n for n, _ in planes]).reshape(-1, 3)
    depths = np.array([d for _, d in planes])
    for face, outline in outlines:
        area, centroid = _measure(outline)
        if area < SMALLEST_AREA:
            raise PuzzleFileError(
                f"the cuts leave a sliver of area {area:.1e} on face {body.faces[face].name}: "
                "two of them nearly meet; give depths as formulas, such as sqrt(3)/3, to make them"
                " meet, or move them apart"
            )
        side = (normals @ centroid > depths).tobytes()
        piece = pieces.setdefault(side, len(pieces))
        if piece == len(centres):
            centres.append(centroid)
        patches.append(Patch(face, outline, centroid, area, piece))
    middle = np.array(centres)
    inside = np.zeros((len(layers), len(centres)), dtype=np.bool_)
    for number, layer in enumerate(layers):
        height = middle @ np.array(layer.axis)
        inside[number] = (height > layer.low) & (height < layer.high)
    return Cells(tuple(patches), inside)


def _distinct(planes: list[tuple[Vectors, float]]) -> list[tuple[Vectors, float]]:
    """Leave out planes that are there already, perhaps seen from the other side."""
    kept: list[tuple[Vectors, float]] = []
    for normal, depth in planes:
        if not any(
            abs(abs(float(normal @ n)) - 1) < SAME
            and abs(depth - d * np.sign(float(normal @ n))) < SAME
            for n, d in kept
        ):
            kept.append((normal, depth))
    return kept


def _halves(outline: Vectors, normal: Vectors, depth: float) -> list[Vectors]:
    """Return the one or two parts into which a plane cuts a convex outline."""
    height = outline @ normal - depth
    if height.min() > -SAME or height.max() < SAME:
        return [outline]
    above: list[Vectors] = []
    below: list[Vectors] = []
    for k in range(len(outline)):
        here, there = height[k], height[(k + 1) % len(outline)]
        if here > -SAME:
            above.append(outline[k])
        if here < SAME:
            below.append(outline[k])
        if (here > SAME and there < -SAME) or (here < -SAME and there > SAME):
            crossing = outline[k] + (outline[(k + 1) % len(outline)] - outline[k]) * (
                here / (here - there)
            )
            above.append(crossing)
            below.append(crossing)
    return [np.array(above), np.array(below)]


def _measure(outline: Vectors) -> tuple[float, Vectors]:
    """Return area and centroid of a flat convex outline."""
    first = outline[0]
    sides = outline[1:] - first
    crosses = np.cross(sides[:-1], sides[1:])
    areas = np.linalg.norm(crosses, axis=1) / 2
    total = float(areas.sum())
    if total == 0.0:
        return 0.0, outline.mean(axis=0)
    middles = first + (sides[:-1] + sides[1:]) / 3
    centroid: Vectors = (areas[:, None] * middles).sum(axis=0) / total
    return total, centroid
