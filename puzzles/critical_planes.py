"""Critical depths of a solid: where, as one bound moves, planes meet edges, corners and each other.

All that shows of the planes are lines on the faces; between two depths at which three of these
lines meet in a point of a face, counting its sides, nothing changes but sizes.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np

from puzzles.bodies import SAME, Body, Face, Vectors
from puzzles.turns import Layer

#: Depths closer than this are one.
SAME_DEPTH = 1e-9
#: A point belongs to a face if it is no farther outside than this.
_OUTSIDE = 1e-7
#: From how many lines on a face on triples are no longer looked at.
_MOST_LINES = 250


def critical(
    body: Body,
    layers: Sequence[Layer],
    moving: Sequence[int],
    side: str,
    matrices: Sequence[Vectors],
) -> list[float]:
    """Return all critical depths of the bound of some layers, in order.

    ``side`` says which bound moves, low or high; ``matrices`` carry the layers to each other.
    """
    found: list[float] = []
    for number in _representatives(body, matrices):
        face = body.faces[number]
        normals, offsets, moves = _lines(body, face, layers, moving, side)
        found.extend(_on_face(body, face, normals, offsets, moves).tolist())
    result: list[float] = []
    for depth in sorted(found):
        if not result or depth - result[-1] > SAME_DEPTH:
            result.append(depth)
    return result


def _representatives(body: Body, matrices: Sequence[Vectors]) -> list[int]:
    """Return one face of each class that the matrices carry to each other."""
    normals = np.array([face.normal for face in body.faces])
    left = set(range(len(normals)))
    result = []
    while left:
        face = min(left)
        result.append(face)
        left.discard(face)
        for matrix in matrices:
            left.discard(int((normals @ (matrix @ normals[face])).argmax()))
    return result


def _lines(
    body: Body, face: Face, layers: Sequence[Layer], moving: Sequence[int], side: str
) -> tuple[Vectors, Vectors, Vectors]:
    """Return lines on a face: normals in its plane (n, 2), offsets (n,), and how fast they move.

    The points y of line k have ``normals[k] @ y = offsets[k] + t moves[k]``, t being the bound.
    """
    rows: list[tuple[Vectors, float, float]] = [
        (other.normal, other.distance, 0.0) for other in body.faces if other is not face
    ]
    for number, layer in enumerate(layers):
        axis = np.array(layer.axis)
        for name, depth in (("low", layer.low), ("high", layer.high)):
            if number in moving and name == side:
                rows.append((axis, 0.0, 1.0))
            elif math.isfinite(depth):
                rows.append((axis, depth, 0.0))
    axes = np.array([axis for axis, *_ in rows])
    normals = axes @ _frame(face).T
    offsets = np.array([depth for _, depth, _ in rows]) - face.distance * (axes @ face.normal)
    moves = np.array([move for *_, move in rows])
    length = np.linalg.norm(normals, axis=1)
    kept = length > SAME
    length = length[kept]
    return normals[kept] / length[:, None], offsets[kept] / length, moves[kept] / length


def _frame(face: Face) -> Vectors:
    """Return two unit vectors in a face's plane, (2, 3)."""
    u = np.cross(face.normal, np.eye(3)[np.abs(face.normal).argmin()])
    u /= np.linalg.norm(u)
    return np.array([u, np.cross(face.normal, u)])


def _on_face(body: Body, face: Face, normals: Vectors, offsets: Vectors, moves: Vectors) -> Vectors:
    """Return the depths at which lines meet on a face, or two become one."""
    cross = normals[:, None, 0] * normals[None, :, 1] - normals[:, None, 1] * normals[None, :, 0]
    one, other = np.triu_indices(len(normals), 1)
    parallel = np.abs(cross[one, other]) < SAME
    # Parallel lines: which way the second looks does not matter.
    sign = np.sign(np.einsum("ij,ij->i", normals[one], normals[other]))
    speed = moves[one] - sign * moves[other]
    same = parallel & (np.abs(speed) > SAME)
    depths = [-(offsets[one] - sign * offsets[other])[same] / speed[same]]
    if len(normals) <= _MOST_LINES:
        rows = np.array(list(itertools.combinations(range(len(normals)), 3)))
        rows = rows[np.any(moves[rows] != 0, axis=1)] if len(rows) else rows.reshape(0, 3)
        i, j, k = rows.T
        parts = (cross[j, k], cross[k, i], cross[i, j])
        steady = sum(p * offsets[x] for p, x in zip(parts, (i, j, k), strict=True))
        speed = np.asarray(sum(p * moves[x] for p, x in zip(parts, (i, j, k), strict=True)))
        some = np.flatnonzero(np.abs(speed) > SAME)
        depth = -np.asarray(steady)[some] / speed[some]
        best = np.abs(np.array(parts)[:, some]).argmax(axis=0)
        pairs = np.array([[1, 2], [2, 0], [0, 1]])[best]
        lines = np.take_along_axis(rows[some], pairs, axis=1)
        height = offsets[lines] + moves[lines] * depth[:, None]
        point = np.linalg.solve(normals[lines], height[:, :, None])[:, :, 0]
        space = face.distance * face.normal + point @ _frame(face)
        outside = np.array([f.normal for f in body.faces]) @ space.T
        outside -= np.array([f.distance for f in body.faces])[:, None]
        depths.append(depth[outside.max(axis=0, initial=-1.0) < _OUTSIDE])
    return np.concatenate(depths)
