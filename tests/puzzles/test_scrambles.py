"""Random sequences: the same seed gives the same ones, another seed others, nothing cancels."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from puzzles import load, words
from puzzles.scrambles import scrambles


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
