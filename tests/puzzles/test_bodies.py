"""Bodies: Euler's formula, known dihedral angles, hulls of random points, letters and axes."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from puzzles.bodies import BODIES, MOST_POINTS, Body, hull
from puzzles.errors import PuzzleFileError

#: Corners, edges, faces (Euclid, Elements XIII; the rhombic dodecahedron: Catalan 1865) and the
#: dihedral angle, by its cosine, as any table of polyhedra has it.
KNOWN = {
    "tetrahedron": (4, 6, 4, 1 / 3),
    "cube": (8, 12, 6, 0),
    "octahedron": (6, 12, 8, -1 / 3),
    "dodecahedron": (20, 30, 12, -1 / math.sqrt(5)),
    "icosahedron": (12, 30, 20, -math.sqrt(5) / 3),
    "rhombic-dodecahedron": (14, 24, 12, -1 / 2),
}


def check(body: Body) -> None:
    """What holds for every convex body: flat faces, nothing outside, counter-clockwise, Euler."""
    for face in body.faces:
        heights = body.points @ face.normal
        assert heights.max() <= face.distance + 1e-9
        assert face.distance > 0
        on = set(np.flatnonzero(np.abs(heights - face.distance) < 1e-9).tolist())
        assert on == set(face.corners)
        corners = body.points[list(face.corners)]
        for k in range(len(corners)):
            here, there, beyond = (corners[(k + x) % len(corners)] for x in range(3))
            assert np.cross(there - here, beyond - there) @ face.normal > 0
    assert len(body.points) - len(body.edges()) + len(body.faces) == 2


@pytest.mark.parametrize("name", BODIES)
def test_named_bodies_have_the_known_counts_and_angles(name: str) -> None:
    body = BODIES[name]()
    corners, edges, faces, cosine = KNOWN[name]
    assert (len(body.points), len(body.edges()), len(body.faces)) == (corners, edges, faces)
    check(body)
    for face in body.faces:
        assert face.distance == pytest.approx(1)
        others = [float(face.normal @ f.normal) for f in body.faces if f is not face]
        assert max(others) == pytest.approx(-cosine)


@pytest.mark.parametrize("name", BODIES)
def test_the_hull_of_a_bodys_corners_is_the_body(name: str) -> None:
    body = BODIES[name]()
    again = hull(body.points, {face.name: face.normal for face in body.faces})
    assert [face.name for face in again.faces] == [face.name for face in body.faces]
    for one, other in zip(again.faces, body.faces, strict=True):
        assert np.allclose(one.normal, other.normal)
        assert one.distance == pytest.approx(other.distance)
    check(again)


@given(st.lists(st.tuples(*[st.integers(-20, 20)] * 3), min_size=4, max_size=14, unique=True))
def test_the_hull_of_any_points_is_convex_or_refused(points: list[tuple[int, int, int]]) -> None:
    """Refused only if some plane through the centre has all points on one side (checked apart)."""
    array = np.array(points, dtype=float) / 10
    try:
        body = hull(array)
    except PuzzleFileError:
        body = None
    if body is None:
        assert not encloses(array)
        return
    check(body)
    for point in array:
        assert all(point @ face.normal <= face.distance + 1e-9 for face in body.faces)
    for corner in body.points:
        assert any(np.allclose(corner, point) for point in array)
    assert [face.name for face in body.faces][:4] == ["A", "B", "C", "D"]


def encloses(points: np.ndarray) -> bool:
    """The centre is inside if for every plane through it and two points, both sides hold points."""
    scale = float(np.abs(points).max())
    if np.linalg.matrix_rank(points, tol=1e-9 * scale) < 3:
        return False
    for i in range(len(points)):
        for j in range(i):
            heights = points @ np.cross(points[i], points[j])
            if np.abs(heights).max() < 1e-9:
                continue
            if heights.min() > -1e-9 or heights.max() < 1e-9:
                return False
    return True


def test_a_corner_is_named_by_its_faces() -> None:
    cube = BODIES["cube"]()
    names = {frozenset(name) for name, _ in cube.axes("corners")}
    assert names == {frozenset(a + b + c) for a in "UD" for b in "FB" for c in "LR"}
    assert {frozenset(name) for name, _ in cube.axes("edges")} == {
        frozenset(a + b) for a, b in zip("UUUUDDDDFFBB", "FBLRFBLRLRLR", strict=True)
    }
    assert [name for name, _ in cube.axes("faces")] == list("UDFBLR")


@pytest.mark.parametrize("name", sorted(set(BODIES) - {"rhombic-dodecahedron"}))
def test_axes_are_found_by_the_letters_they_are_named_with(name: str) -> None:
    body = BODIES[name]()
    for kind in ("faces", "corners", "edges"):
        for letters, direction in body.axes(kind):
            found = body.axis(letters)
            assert found is not None
            assert np.allclose(found, direction)
            assert np.linalg.norm(direction) == pytest.approx(1)


def test_directions_that_no_letters_name() -> None:
    cube = BODIES["cube"]()
    assert cube.axis("UD") is None
    assert cube.axis("X") is None
    assert cube.axis("") is None
    assert cube.face("X") is None


def test_up_is_up_front_is_front_and_right_is_right() -> None:
    """Coordinates: x to the right, y to the back, z up."""
    cube = BODIES["cube"]()
    for letter, direction in {"U": (0, 0, 1), "F": (0, -1, 0), "R": (1, 0, 0)}.items():
        face = cube.face(letter)
        assert face is not None
        assert np.allclose(face.normal, direction)


@pytest.mark.parametrize("name", BODIES)
def test_nearest_faces_come_by_angle_and_equal_ones_together(name: str) -> None:
    body = BODIES[name]()
    for point in (*body.points, np.array([0.1, -0.7, 0.3])):
        direction = point / np.linalg.norm(point)
        groups = body.nearest(direction)
        assert sorted(k for group in groups for k in group) == list(range(len(body.faces)))
        cosines = [[float(body.faces[k].normal @ direction) for k in group] for group in groups]
        assert all(max(group) - min(group) < 1e-4 for group in cosines)
        assert all(min(a) > max(b) for a, b in itertools.pairwise(cosines))


def test_too_many_points_are_refused() -> None:
    with pytest.raises(PuzzleFileError, match=f"at most {MOST_POINTS}"):
        hull(np.random.default_rng(1).normal(size=(MOST_POINTS + 1, 3)))


def test_too_many_letters_are_refused() -> None:
    cube = BODIES["cube"]()
    letters = {face.name: face.normal for face in cube.faces} | {"X": np.array([1.0, 1.0, 1.0])}
    with pytest.raises(PuzzleFileError, match="7 letters are given for 6 faces"):
        hull(cube.points, letters)


@pytest.mark.parametrize(
    ("direction", "said"),
    [
        ((1, 2, 3), r"body.faces.U: no face looks that way; the nearest .* normal \[0, 0, 1\]"),
        ((0, 0.02, 1), r"body.faces.U: no face looks that way"),  # 1.15 degrees
        ((0, 0, -1), "body.faces.D: that face has the letter U already"),
    ],
)
def test_a_letter_belongs_to_a_face_that_looks_its_way(
    direction: tuple[float, float, float], said: str
) -> None:
    cube = BODIES["cube"]()
    letters = {face.name: face.normal for face in cube.faces}
    with pytest.raises(PuzzleFileError, match=said):
        hull(cube.points, {**letters, "U": np.array(direction, dtype=float)})
    near = hull(cube.points, {**letters, "U": np.array((0, 0.01, 1))})
    face = near.face("U")
    assert face is not None
    assert face.normal.tolist() == [0, 0, 1]
