"""Hand motions against what every cuber sees, against geometry, and a published complexity."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from puzzles import Puzzle, load
from puzzles.notation import parse, write
from puzzles.puzzle import Word
from search.hands import (
    best_holding,
    comfort,
    complexity,
    held,
    holdings,
    motions,
    renamed,
    undone_same,
)
from search.motions import hands, seen
from tests.plain import of_shape

CUBE = load("3x3x3-slices")


def turns(written: str, puzzle: Puzzle = CUBE) -> Word:
    return parse(puzzle, written).word


@pytest.mark.parametrize(
    ("turn", "motion"),
    [
        # Common practice, seen from the front: R takes its near stickers up, L' does too; U takes
        # the front's top row to the left, D its bottom row to the right; M goes like L, E like D,
        # S like F (WCA Regulations, Article 12, for which face a slice follows: from memory).
        ("R", "right up"),
        ("R'", "right down"),
        ("R2", "right twice"),
        ("L", "left down"),
        ("L'", "left up"),
        ("U", "top left"),
        ("U'", "top right"),
        ("D", "bottom right"),
        ("F", "front clockwise"),
        ("F'", "front anticlockwise"),
        ("B", "behind anticlockwise"),
        ("M", "between left and right down"),
        ("E", "between top and bottom right"),
        ("S", "between front and behind clockwise"),
    ],
)
def test_motions_on_a_cube(turn: str, motion: str) -> None:
    assert motions(CUBE, turns(turn)) == (motion,)


@pytest.mark.parametrize(
    ("name", "turn", "motion"),
    [
        ("4x4x4", "2R", "second from the right up"),
        ("4x4x4", "2B2", "second from the back twice"),
        ("5x5x5", "3U'", "between top and bottom right"),
        ("cube-corners", "UFR", "upper near right corner clockwise"),
        ("cube-edges", "UR", "upper right edge over"),
        ("tetrahedron-corners", "R", "lower near right corner up"),
        ("tetrahedron-corners", "r", "lower near right tip up"),
        ("dodecahedron-faces", "F2", "upper near face clockwise twice"),
    ],
)
def test_motions_elsewhere(name: str, turn: str, motion: str) -> None:
    puzzle = load(name)
    assert motions(puzzle, turns(turn, puzzle)) == (motion,)


@pytest.mark.parametrize("name", [*of_shape("solid"), *of_shape("ball")])
def test_every_turn_is_a_motion_of_its_own(name: str) -> None:
    said = hands(load(name)).motion
    assert len(set(said)) == len(said)


@pytest.mark.parametrize("name", [*of_shape("solid"), *of_shape("ball")])
def test_up_and_down_against_rotated_points(name: str) -> None:
    """A point on the near side of a layer's rim, turned by a matrix, goes the way that is said."""
    puzzle = load(name)
    view, said = seen(puzzle), hands(puzzle).motion
    for number, turn in enumerate(puzzle.turns):
        layer = puzzle.layer(turn.layer)
        axis = view @ np.array(layer.axis)
        if 2 * turn.amount == layer.steps:
            continue
        angle = -2 * math.pi * turn.amount / layer.steps
        angle = (angle + math.pi) % (2 * math.pi) - math.pi
        near = np.array([0.0, -1.0, 0.0])
        point = near - (near @ axis) * axis
        if abs(axis[1]) >= 0.5:
            point = np.cross(axis, [0.0, 0.0, 1.0])
        moved = point + 0.01 * angle * np.cross(axis, point)
        way = said[number].removesuffix(" twice").split()[-1]
        if way in ("up", "down"):
            assert (moved[2] > point[2]) == (way == "up")
        elif way in ("left", "right"):
            assert (moved[0] > point[0]) == (way == "right")
        else:
            turned = point[0] * moved[2] - point[2] * moved[0]
            assert (turned < 0) == (way == "clockwise")


def test_holdings_are_the_rotations() -> None:
    assert len(holdings(CUBE)) == 24
    assert len(holdings(load("dodecahedron-faces"))) == 60
    tops_and_fronts = {held(CUBE, k) for k in holdings(CUBE)}
    assert len(tops_and_fronts) == 24
    assert held(CUBE, 0) == ("U", "F")


@given(st.integers(0, 23), st.lists(st.integers(0, 26), max_size=8))
def test_renaming_says_which_face_is_where(holding: int, word: list[int]) -> None:
    """The layer held on top is called U, the one in front F, whatever their own letters are."""
    up, front = held(CUBE, holdings(CUBE)[holding])
    for letter, name in ((up, "U"), (front, "F")):
        assert write(CUBE, renamed(CUBE, turns(letter), holdings(CUBE)[holding])) == name
    order = [CUBE.turns[t].amount for t in word]
    again = [CUBE.turns[t].amount for t in renamed(CUBE, word, holdings(CUBE)[holding])]
    assert [min(a, 4 - a) for a in order] == [min(a, 4 - a) for a in again]


def test_comfort_counts() -> None:
    assert comfort(CUBE, turns("R U R' U'")) == (0, 0, 0, 0)
    assert comfort(CUBE, turns("D B D' B'")) == (4, 0, 0, 0)
    assert comfort(CUBE, turns("L U2 L'")) == (0, 0, 1, 2)
    assert comfort(CUBE, turns("L U2 L'"), left_handed=True) == (0, 0, 1, 0)
    # A wrist goes from a quarter down to a quarter up, then the hand must let go.
    assert comfort(CUBE, turns("R U R U R"))[1] == 1
    assert comfort(CUBE, turns("R U R U R'"))[1] == 0
    assert comfort(CUBE, turns("R2 U R2 U R2"))[1] == 0
    assert comfort(CUBE, turns("R2 U R U R2"))[1] == 1
    assert comfort(CUBE, turns("L U L R U R"))[1] == 0


@given(st.lists(st.integers(0, 26), max_size=8), st.booleans())
def test_best_holding_is_best(word: list[int], left_handed: bool) -> None:
    holding, found = best_holding(CUBE, tuple(word), left_handed)
    costs = [comfort(CUBE, word, k, left_handed) for k in holdings(CUBE)]
    assert found == comfort(CUBE, word, holding, left_handed) == min(costs)
    said = renamed(CUBE, word, holding)
    assert motions(CUBE, said) == motions(CUBE, word, holding)
    mirror = next(s for s in CUBE.symmetries if np.allclose(s.matrix, np.diag([-1, 1, 1])))
    mirrored = tuple(mirror.turns[list(word)].tolist())
    other = best_holding(CUBE, mirrored, not left_handed)[0]
    assert comfort(CUBE, mirrored, other, not left_handed) == min(costs)


def test_undone_the_same() -> None:
    assert undone_same(CUBE, turns("M2"))
    assert undone_same(CUBE, turns("R U2 R'"))
    assert undone_same(CUBE, turns("U2 D2"))
    assert not undone_same(CUBE, turns("R U R'"))
    assert not undone_same(CUBE, ())
    assert not undone_same(CUBE, turns("R2 U2"))


def test_complexity_of_the_published_example() -> None:
    """0.001.10.100.1000.101 has six parts: Lempel and Ziv 1976, the example (from memory)."""
    assert complexity("0001101001000101") == 6


def plain_complexity(text: str) -> int:
    """Count parts by the definition: a part grows while it can be copied from what precedes it."""
    parts, rest, done = 0, text, ""
    while rest:
        size = 1
        while size < len(rest) and rest[:size] in (done + rest[: size - 1]):
            size += 1
        parts, done, rest = parts + 1, done + rest[:size], rest[size:]
    return parts


def test_complexity_against_the_definition() -> None:
    for size in range(9):
        for letters in itertools.product("ab", repeat=size):
            assert complexity(letters) == plain_complexity("".join(letters))
    assert complexity(()) == 0
    assert complexity("aaaaaa") == 2
    assert complexity("abcabcabc") == 4
