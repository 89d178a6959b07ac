"""Random sequences: the same seed gives the same ones, another seed others, nothing cancels."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from puzzles import load, words
from puzzles.scrambles import scrambles, usual_length


@given(seed=st.integers(-(10**6), 10**6))
def test_a_seed_gives_the_same_ones_and_its_negative_gives_others(seed: int) -> None:
    puzzle = load("3x3x3")
    first = list(scrambles(puzzle, 2, seed))
    assert list(scrambles(puzzle, 2, seed)) == first
    assert (list(scrambles(puzzle, 2, -seed)) == first) == (seed == 0)


@pytest.mark.parametrize("name", ["2x2x2", "3x3x3-slices", "cube-edges", "tetrahedron-corners"])
@given(seed=st.integers(-20, 20), turns=st.integers(1, 30))
def test_every_turn_is_executed(name: str, seed: int, turns: int) -> None:
    puzzle = load(name)
    for word in scrambles(puzzle, 2, seed, turns):
        assert len(word) == turns
        assert words.length(puzzle, word) == turns


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("2x2x2", "U3 F R U R U3 F R U F3 U F"),
        ("3x3x3", "D3 U3 L2 U2 B3 D3 U L U B U2 D2"),
        ("3x3x3-slices", "F3 D M U2 R F3 U2 R U L2 U2 D3"),
        ("ball-corners", "UBL2 UFR DFR2 UFL DFL UBL2 UFL DFL2 UFL DFL UFL UFR2"),
        ("three-wheels", "L5 R2 T2 L T L4 R T L R5 L R"),
        ("tetrahedron-corners", "R2 L l2 U u R2 U B2 U B U L"),
    ],
)
def test_a_seed_stays_what_it_was(name: str, text: str) -> None:
    """A club that wrote a seed down gets its scramble again; these were given first."""
    puzzle = load(name)
    (word,) = scrambles(puzzle, 1, 7, 12)
    assert " ".join(str(puzzle.turns[turn]) for turn in word) == text


BLOCKED = ["3x3x3-bandaged", "3x3x3-stops", "ball-sixths-whole"]


@pytest.mark.parametrize("name", BLOCKED)
def test_where_turns_are_blocked_scrambles_are_as_long_as_wanted(name: str) -> None:
    puzzle = load(name)
    wanted = {turns: list(scrambles(puzzle, 4, 5, turns)) for turns in (1, 2, 3, 8, 30)}
    wanted[usual_length(puzzle)] = list(scrambles(puzzle, 1, 6))
    for turns, found in wanted.items():
        for word in found:
            assert puzzle.first_blocked(word) is None
            assert len(word) == words.length(puzzle, word) == turns


def test_what_holds_faces_fast_for_good_is_drawn_at_the_end() -> None:
    """Counted on the description: an odd corner of this ball holds its three faces.

    Turns of its own layer alone would free them, and nothing but those faces could part them.
    """
    puzzle = load("ball-sixths-whole")
    corners = [layer for layer in range(len(puzzle.layers)) if len(puzzle.layers[layer].name) == 3]
    ends = set()
    for word in scrambles(puzzle, 6, 3, 20):
        odd = [
            at
            for at, turn in enumerate(word)
            if puzzle.turn_layer[turn] in corners and puzzle.turns[turn].amount % 2
        ]
        assert all(at >= len(word) - len(corners) for at in odd)
        ends.add(len(odd))
    assert len(ends) > 1
