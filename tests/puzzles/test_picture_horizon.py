"""What is seen of patches: held to caps and rings, to sampled points, and to the whole's area."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from numpy.typing import NDArray

from puzzles import load
from puzzles.horizon import boundary, seen

Points = NDArray[np.float64]

angles = st.floats(0.0, 2 * math.pi)
heights = st.floats(-1.0, 1.0)


def upon(height: float, turn: float) -> Points:
    """A unit vector."""
    away = math.sqrt(1 - height * height)
    return np.array([away * math.cos(turn), away * math.sin(turn), height])


directions = st.builds(upon, heights, angles)
#: Heights of the rim of what is seen: half of the sphere, or what a loupe shows.
levels = st.one_of(st.just(0.0), st.floats(0.0, 0.99))


def frame(toward: Points) -> Points:
    """Right-handed rows: two axes of the paper and the direction towards the viewer."""
    first = np.cross(toward, [0.36, 0.48, 0.8] if abs(toward[2]) < 0.7 else [0.8, 0.6, 0.0])
    first /= np.linalg.norm(first)
    return np.array([first, np.cross(toward, first), toward])


def circle(axis: Points, radius: float, count: int = 240) -> Points:
    """A circle at an angle from an axis, counter-clockwise."""
    first, second, _ = frame(axis)
    turn = np.linspace(0, 2 * math.pi, count, endpoint=False)[:, None]
    around = np.cos(turn) * first + np.sin(turn) * second
    points: Points = math.cos(radius) * axis + math.sin(radius) * around
    return points


def ring(axis: Points, inner: float, outer: float) -> Points:
    """A ring as one closed line, with a seam that is walked twice."""
    rim, hole = circle(axis, outer), circle(axis, inner)
    seam = [
        math.cos(a) * axis + math.sin(a) * frame(axis)[0]
        for a in np.linspace(outer, inner, 9)[1:-1]
    ]
    back = [hole[:1], hole[:0:-1], hole[:1]]
    return np.vstack([rim, rim[:1], seam, *back, seam[::-1]])


def inside(loops: list[Points], place: Points) -> bool:
    """Even-odd: how often a ray to the right crosses sides."""
    count = 0
    for loop in loops:
        after = np.roll(loop, -1, axis=0)
        across = (loop[:, 1] > place[1]) != (after[:, 1] > place[1])
        start, end = loop[across], after[across]
        share = (place[1] - start[:, 1]) / (end[:, 1] - start[:, 1])
        count += int((start[:, 0] + share * (end[:, 0] - start[:, 0]) > place[0]).sum())
    return count % 2 == 1


def area(loops: list[Points]) -> float:
    """Area on the sphere, up to whole spheres: signed triangles from one point.

    Van Oosterom and Strackee, The solid angle of a plane triangle, 1983.
    """
    top = np.array([0.1234, -0.5678, 0.8138])
    top /= np.linalg.norm(top)
    total = 0.0
    for loop in loops:
        after = np.roll(loop, -1, axis=0)
        volume = np.cross(loop, after) @ top
        below = 1 + loop @ top + after @ top + (loop * after).sum(axis=1)
        total += float(2 * np.arctan2(volume, below).sum())
    return total


def flat(loops: list[Points], toward: Points) -> list[Points]:
    return [loop @ frame(toward)[:2].T for loop in loops]


@given(directions, directions, st.floats(0.05, 3.0), levels, st.integers(0, 2**32 - 1))
def test_a_cap_is_seen_where_it_is(
    axis: Points, toward: Points, radius: float, level: float, number: int
) -> None:
    shown = seen(boundary([circle(axis, radius)]), toward, level)
    _check(shown, toward, level, number, lambda p: math.acos(p @ axis) - radius)


@given(
    directions,
    directions,
    st.floats(0.05, 3.0),
    st.floats(0.05, 3.0),
    levels,
    st.integers(0, 2**32 - 1),
)
def test_a_ring_is_seen_where_it_is(
    axis: Points, toward: Points, one: float, other: float, level: float, number: int
) -> None:
    inner, outer = sorted((one, other))
    assume(outer - inner > 0.02)
    loops = boundary([ring(axis, inner, outer)])
    assert sorted(len(loop) for loop in loops) == [240, 240]
    shown = seen(loops, toward, level)
    _check(
        shown,
        toward,
        level,
        number,
        lambda p: max(inner - math.acos(p @ axis), math.acos(p @ axis) - outer),
    )


def _check(
    shown: list[Points],
    toward: Points,
    level: float,
    number: int,
    beyond: Callable[[Points], float],
) -> None:
    """Points of the visible cap lie in the loops exactly where ``beyond`` is negative."""
    for loop in shown:
        assert np.allclose(np.linalg.norm(loop, axis=1), 1)
        assert (loop @ toward).min() > level - 1e-9
    chosen = np.random.default_rng(number)
    paper = flat(shown, toward)
    # Clear of the rim, which is drawn by short straight lines.
    for height, turn in zip(
        chosen.uniform(level + 0.05 * (1 - level), 1.0, 40),
        chosen.uniform(0, 2 * math.pi, 40),
        strict=True,
    ):
        point = upon(height, turn) @ frame(toward)
        if abs(beyond(point)) > 2e-3:
            assert inside(paper, frame(toward)[:2] @ point) == (beyond(point) < 0)


@given(directions, directions, st.floats(0.05, 3.0))
def test_what_is_seen_from_both_sides_is_the_whole(
    axis: Points, toward: Points, radius: float
) -> None:
    loops = boundary([circle(axis, radius)])
    both = seen(loops, toward), seen(loops, -toward)
    assert np.isclose(math.remainder(sum(area(x) for x in both) - area(loops), 4 * math.pi), 0)


@pytest.mark.parametrize("name", ["ball-corners", "ball-sixths", "ball-sixths-218"])
def test_the_stickers_of_a_ball_seen_from_both_sides_are_the_whole_ball(name: str) -> None:
    puzzle = load(name)
    toward = np.array([0.48, -0.6, 0.64])
    total = 0.0
    for sticker in puzzle.stickers:
        loops = boundary([sticker.outline])
        both = [area(seen(loops, side)) % (4 * math.pi) for side in (toward, -toward)]
        assert np.isclose(math.remainder(sum(both) - area(loops), 4 * math.pi), 0)
        total += sum(both)
    assert np.isclose(total, 4 * math.pi)


def test_two_halves_of_a_cap_have_one_loop_and_the_whole_ball_has_none() -> None:
    axis = np.array([0.0, 0.6, 0.8])
    rim = circle(axis, 0.7)
    across = [
        math.cos(a) * axis + math.sin(a) * frame(axis)[0] for a in np.linspace(0.7, -0.7, 11)[1:-1]
    ]
    one = np.vstack([rim[:121], across[::-1]])
    other = np.vstack([rim[120:], rim[:1], across])
    (loop,) = boundary([one, other])
    assert len(loop) == 240
    assert {tuple(p) for p in loop.round(9)} == {tuple(p) for p in rim.round(9)}
    rest = rim[::-1]
    assert boundary([one, other, rest]) == []
    assert seen([], axis) == []


def test_a_patch_around_the_whole_horizon_is_a_disc_with_a_hole() -> None:
    toward = np.array([0.0, 0.0, 1.0])
    shown = seen(boundary([ring(toward, 0.5, 2.0)]), toward)
    assert len(shown) == 2
    radii = sorted(float(np.linalg.norm(loop[:, :2], axis=1).mean()) for loop in shown)
    assert np.allclose(radii, [math.sin(0.5), 1.0])
    behind = seen(boundary([ring(toward, 0.5, 2.0)]), -toward)
    radii = sorted(float(np.linalg.norm(loop[:, :2], axis=1).mean()) for loop in behind)
    assert np.allclose(radii, [math.sin(2.0), 1.0])


def test_half_a_ball_seen_from_its_middle_is_the_whole_disc_and_from_behind_nothing() -> None:
    toward = np.array([0.48, -0.6, 0.64])
    loops = boundary([circle(toward, math.pi / 2)])
    (shown,) = seen(loops, toward)
    assert np.isclose(area([shown]), 2 * math.pi)
    assert seen(loops, -toward) == []


@pytest.mark.parametrize("height", [-0.9, -0.3, 0.3, 0.7])
def test_beside_a_loupe_a_cap_is_not_seen_and_all_the_rest_fills_it(height: float) -> None:
    toward = np.array([0.48, -0.6, 0.64])
    rim = circle(upon(height, 1.0) @ frame(toward), 0.2)
    assert seen(boundary([rim]), toward, 0.95) == []
    (whole,) = seen(boundary([rim[::-1]]), toward, 0.95)
    assert np.allclose(whole @ toward, 0.95)
    assert np.isclose(area([whole]), 2 * math.pi * (1 - 0.95), rtol=2e-3)
