"""Convex bodies, their faces and the letters on them, and the axes that layers turn about.

Coordinates: x to the right, y to the back, z up. Lengths: inradius 1, for the cube half-edge 1.
"""

from __future__ import annotations

import itertools
import math
import string
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from puzzles.errors import PuzzleFileError

Vectors = NDArray[np.float64]

#: Lengths closer than this are the same; bodies are about 1 in size, rounding errors about 1e-15.
SAME = 1e-9
#: The largest coordinate of a body's corner; beyond it rounding would eat up SAME.
FARTHEST = 1000.0
#: How far a face letter's direction may be from the face's normal, in degrees.
FARTHEST_ANGLE = 1.0
#: The most corners that a body may have.
MOST_POINTS = 120


@dataclass(frozen=True, eq=False)
class Face:
    """A flat face: its letter, outward unit normal, distance from the centre, corners in order."""

    name: str
    normal: Vectors
    distance: float
    corners: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class Body:
    """A convex polyhedron around the origin; ``points`` has the shape (corners, 3)."""

    points: Vectors
    faces: tuple[Face, ...]

    def face(self, name: str) -> Face | None:
        """Return the face with this letter, or None."""
        return next((face for face in self.faces if face.name == name), None)

    def around(self, corner: int) -> tuple[str, ...]:
        """Return the letters of the faces that meet in a corner, in the body's order."""
        return tuple(face.name for face in self.faces if corner in face.corners)

    def edges(self) -> list[tuple[int, int]]:
        """Return the edges as pairs of corners, the smaller number first."""
        found = set()
        for face in self.faces:
            for first, second in zip(
                face.corners, face.corners[1:] + face.corners[:1], strict=True
            ):
                found.add((min(first, second), max(first, second)))
        return sorted(found)

    def axes(self, kind: str) -> list[tuple[str, Vectors]]:
        """Return name and unit direction of every axis of a kind: faces, corners or edges."""
        if kind == "faces":
            return [(face.name, face.normal) for face in self.faces]
        if kind == "corners":
            return [("".join(self.around(k)), _unit(p)) for k, p in enumerate(self.points)]
        found = []
        for first, second in self.edges():
            name = "".join(x for x in self.around(first) if x in self.around(second))
            found.append((name, _unit(self.points[first] + self.points[second])))
        return found

    def nearest(self, direction: Vectors) -> list[tuple[int, ...]]:
        """Return the faces by angle from a direction, nearest first, equally near ones together."""
        angles = [math.acos(max(-1.0, min(1.0, float(f.normal @ direction)))) for f in self.faces]
        order = sorted(range(len(angles)), key=lambda k: (round(angles[k], 6), k))
        groups: list[list[int]] = []
        for k in order:
            if groups and angles[k] - angles[groups[-1][0]] < 1e-5:
                groups[-1].append(k)
            else:
                groups.append([k])
        return [tuple(group) for group in groups]

    def axis(self, letters: str) -> Vectors | None:
        """Return the unit direction between the named faces, or None if a letter is unknown.

        Where the faces meet in a corner or an edge of the body, it points there.
        """
        faces = [self.face(letter) for letter in letters]
        if not faces or any(face is None for face in faces):
            return None
        for kind in ("corners", "edges"):
            for name, direction in self.axes(kind):
                if sorted(name) == sorted(letters):
                    return direction
        total: Vectors = np.sum([face.normal for face in faces if face is not None], axis=0)
        return None if float(np.linalg.norm(total)) < SAME else _unit(total)


def _unit(vector: Vectors) -> Vectors:
    result: Vectors = vector / np.linalg.norm(vector)
    return result


def hull(points: Vectors, letters: dict[str, Vectors] | None = None) -> Body:
    """Return the convex hull of points around the origin, with named faces.

    ``letters`` gives a direction for each letter: the face with that normal gets it. Without it
    the faces are lettered from the top down and then round from the front, ``A`` first.
    Raises PuzzleFileError if the points are flat, too many, or do not enclose the origin, and for
    letters that do not fit the faces.
    """
    points = np.asarray(points, dtype=np.float64)
    if len(points) > MOST_POINTS:
        raise PuzzleFileError(
            f"body: {len(points)} points are given; at most {MOST_POINTS} are allowed"
        )
    if not np.all(np.abs(points) <= FARTHEST):
        raise PuzzleFileError(f"body: coordinates are at most {FARTHEST:,.0f}")
    planes: list[tuple[Vectors, float]] = []
    for i, j, k in itertools.combinations(range(len(points)), 3):
        normal: Vectors = np.cross(points[j] - points[i], points[k] - points[i])
        length = float(np.linalg.norm(normal))
        if length < SAME:
            continue
        normal /= length
        heights = points @ normal
        distance = float(heights[i])
        if heights.min() < distance - SAME and heights.max() > distance + SAME:
            continue
        if heights.max() > distance + SAME:
            normal, distance = -normal, -distance
        if not any(abs(normal @ n - 1) < SAME and abs(distance - d) < SAME for n, d in planes):
            planes.append((normal, distance))
    if len(planes) < 4 or min(d for _, d in planes) < SAME:
        raise PuzzleFileError(
            "body: the points must enclose the centre (0, 0, 0), with room on every side"
        )
    used = sorted(
        {k for n, d in planes for k in np.flatnonzero(np.abs(points @ n - d) < SAME).tolist()}
    )
    points = points[used]
    return _body(points, planes, letters)


def between(normals: Vectors, distances: Vectors, letters: dict[str, Vectors]) -> Body:
    """Return the body bounded by the planes ``normals @ x = distances``."""
    found: list[Vectors] = []
    for triple in itertools.combinations(range(len(normals)), 3):
        matrix = normals[list(triple)]
        if abs(float(np.linalg.det(matrix))) < SAME:
            continue
        point = np.asarray(np.linalg.solve(matrix, distances[list(triple)]), dtype=np.float64)
        if np.all(normals @ point <= distances + SAME) and not any(
            float(np.linalg.norm(point - other)) < SAME for other in found
        ):
            found.append(point)
    planes = [(n, float(d)) for n, d in zip(normals, distances, strict=True)]
    return _body(np.array(found), planes, letters)


def _body(
    points: Vectors, planes: list[tuple[Vectors, float]], letters: dict[str, Vectors] | None
) -> Body:
    """Give each plane its letter and its corners, counter-clockwise as seen from outside."""
    if letters is None:
        order = sorted(planes, key=lambda plane: _from_the_top(plane[0]))
        names = string.ascii_uppercase + string.ascii_lowercase
        if len(order) > len(names):
            raise PuzzleFileError(
                f"body: it has {len(order)} faces; at most {len(names)} can be lettered"
            )
        lettered = list(zip(names, order, strict=False))
    else:
        if len(letters) != len(planes):
            raise PuzzleFileError(f"body: {len(letters)} letters are given for {len(planes)} faces")
        lettered = []
        for name, direction in letters.items():
            best = max(planes, key=lambda plane: float(plane[0] @ _unit(direction)))
            if float(best[0] @ _unit(direction)) < math.cos(math.radians(FARTHEST_ANGLE)):
                near = ", ".join(f"{x:.4g}" for x in np.round(best[0], 9) + 0.0)
                raise PuzzleFileError(
                    f"body.faces.{name}: no face looks that way; the nearest one has the normal"
                    f" [{near}]"
                )
            taken = next((other for other, plane in lettered if plane is best), None)
            if taken is not None:
                raise PuzzleFileError(
                    f"body.faces.{name}: that face has the letter {taken} already"
                )
            lettered.append((name, best))
    faces = []
    for name, (normal, distance) in lettered:
        corners = np.flatnonzero(np.abs(points @ normal - distance) < SAME)
        middle = points[corners].mean(axis=0)
        right = _unit(points[corners[0]] - middle)
        up = np.cross(normal, right)
        angles = np.arctan2((points[corners] - middle) @ up, (points[corners] - middle) @ right)
        ordered = tuple(int(k) for k in corners[np.argsort(angles)])
        faces.append(Face(name, normal, distance, ordered))
    return Body(points, tuple(faces))


def _from_the_top(normal: Vectors) -> tuple[float, float]:
    """Sort key: higher first, then round from the front over the right."""
    turn = math.atan2(float(normal[0]), -float(normal[1])) % (2 * math.pi)
    return (-round(float(normal[2]), 6), round(turn, 6) % round(2 * math.pi, 6))


def _around(height: float, degrees: Sequence[float]) -> list[tuple[float, float, float]]:
    """Unit vectors at a height, at angles from the front over the right."""
    radius = math.sqrt(1 - height * height)
    return [
        (radius * math.sin(math.radians(a)), -radius * math.cos(math.radians(a)), height)
        for a in degrees
    ]


def _named(letters: str, directions: list[tuple[float, float, float]]) -> Body:
    normals = np.array([_unit(np.array(d)) for d in directions])
    named = dict(zip(letters, normals, strict=True))
    return between(normals, np.ones(len(normals)), named)


def _tetrahedron() -> Body:
    return _named("FRLD", [*_around(1 / 3, (0, 120, 240)), (0, 0, -1)])


def _cube() -> Body:
    return _named("UDFBLR", [(0, 0, 1), (0, 0, -1), (0, -1, 0), (0, 1, 0), (-1, 0, 0), (1, 0, 0)])


def _octahedron() -> Body:
    upper, lower = _around(1 / 3, (0, 120, 240)), _around(-1 / 3, (60, 180, 300))
    return _named("UFRLDBWE", [(0, 0, 1), *upper, (0, 0, -1), lower[1], lower[2], lower[0]])


def _dodecahedron() -> Body:
    height = 1 / math.sqrt(5)
    upper, lower = _around(height, range(0, 360, 72)), _around(-height, range(36, 396, 72))
    return _named("UFRPQLDSEBWT", [(0, 0, 1), *upper, (0, 0, -1), *lower])


def _icosahedron() -> Body:
    corners = _dodecahedron().points
    normals = sorted((_unit(p) for p in corners), key=_from_the_top)
    return _named(
        string.ascii_uppercase[:20], [(float(x), float(y), float(z)) for x, y, z in normals]
    )


def _rhombic_dodecahedron() -> Body:
    root = math.sqrt(0.5)
    normals = [
        np.roll(np.array([a * root, b * root, 0.0]), k)
        for k in range(3)
        for a in (1, -1)
        for b in (1, -1)
    ]
    normals.sort(key=_from_the_top)
    return _named(
        string.ascii_uppercase[:12], [(float(x), float(y), float(z)) for x, y, z in normals]
    )


BODIES = {
    "tetrahedron": _tetrahedron,
    "cube": _cube,
    "octahedron": _octahedron,
    "dodecahedron": _dodecahedron,
    "icosahedron": _icosahedron,
    "rhombic-dodecahedron": _rhombic_dodecahedron,
}
