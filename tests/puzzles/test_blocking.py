"""Fastened pieces and stopping angles: what the file says is what turns can do, errors in words."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sympy.combinatorics import Permutation, PermutationGroup

from puzzles import load
from puzzles.blocking import allowed_amounts, steps_at, stopping, why_blocked, with_stops
from puzzles.compile import compiled
from puzzles.errors import NotationError, PuzzleFileError
from puzzles.file import parse as parse_file
from puzzles.group import group
from puzzles.notation import parse
from puzzles.puzzle import Puzzle
from puzzles.scrambles import scrambles
from puzzles.turns import Layer
from tests.plain import plain
from tests.rigid import Rigid

CUBE = """
description = "A cube."
body = "cube"
up = "U"
front = "F"
{more}
[[layers]]
axes = "faces"
above = "{above}"
steps = 4
{layer}
"""


def made(more: str = "", layer: str = "", above: str = "1/3") -> Puzzle:
    return compiled("cube", parse_file(CUBE.format(more=more, layer=layer, above=above), "cube"))


@cache
def bandaged() -> Rigid:
    return Rigid(load("3x3x3"), BANDAGED)


@cache
def stopping_cube() -> Rigid:
    return Rigid(load("3x3x3"), (), STOPS)


BANDAGED = (("UFR", "UF"), ("DBL", "DB"), ("UBL", "BL"))
STOPS = {"L": (0, 1, 2), "R": (0, 1, 2)}


@given(st.randoms(use_true_random=False))
def test_bonds_hold_up_what_sampled_bodies_do(source: random.Random) -> None:
    """The first blocked turn of a word, against bodies of sampled points."""
    puzzle, bodies = load("3x3x3-bandaged"), bandaged()
    word = next(scrambles(puzzle, 1, source.randrange(10**6), source.randrange(12)))
    assert bodies.first_blocked(word) is None
    longer = (*word, *(source.randrange(len(puzzle.turns)) for _ in range(3)))
    found = puzzle.first_blocked(longer)
    assert (None if found is None else found.at) == bodies.first_blocked(longer)


@given(st.lists(st.integers(0, 17), max_size=9))
def test_stops_hold_up_what_counting_does(word: list[int]) -> None:
    """The first turn that would leave a layer where it does not stop, against plain counting."""
    puzzle, bodies = load("3x3x3-stops"), stopping_cube()
    found = puzzle.first_blocked(word)
    assert (None if found is None else found.at) == bodies.first_blocked(word)


def test_half_turns_only_leave_turns_out() -> None:
    """The group of quarter turns of two faces and half turns of four, against sympy.

    Its order 8! 8! 4! / 2 is also the published one of the subgroup that two-phase methods of
    solving a 3x3x3 go through (from memory).
    """
    puzzle = load("3x3x3-halves")
    assert not puzzle.can_block
    assert [str(t) for t in puzzle.turns if t.layer in "LRFB"] == ["L2", "R2", "F2", "B2"]
    shown = plain(puzzle)
    rows = [
        shown.sticker_effect([(layer, 1 if layer in "UD" else 2)]).tolist() for layer in "UDLRFB"
    ]
    order = PermutationGroup([Permutation(row) for row in rows]).order()
    assert group(puzzle).order == order == math.factorial(8) ** 2 * math.factorial(4) // 2
    assert stopping(puzzle, puzzle.layer_numbers["R"]) == "half turns only"
    assert stopping(puzzle, puzzle.layer_numbers["U"]) == ""
    # Turns that are left out are left out of the symmetries, too, which keep U and D together.
    assert len(puzzle.symmetries) == 16
    with pytest.raises(NotationError, match=r"character 3: R is no turn .* half turns only"):
        parse(puzzle, "U R")
    assert len(parse(puzzle, "U R2 [F2, U]").word) == 6


def test_stops_are_a_subgroup_or_not() -> None:
    layer = Layer("R", (1.0, 0.0, 0.0), 0.3, math.inf, 12)
    for amounts in ([6], [4, 8], [3, 6, 9], list(range(1, 12))):
        assert allowed_amounts(layer, (0, *amounts)) == tuple(amounts)
    for amounts in ([1], [4], [3, 6], [2, 4, 6, 8]):
        assert allowed_amounts(layer, (0, *amounts)) is None
    assert steps_at(layer, [math.pi, -math.pi / 6, 4 * math.pi], "stops") == (0, 6, 11)


def test_blocked_says_where_a_layer_would_stand() -> None:
    puzzle = load("3x3x3-stops")
    text = why_blocked(puzzle, parse(puzzle, "U L L2").word)
    assert text is not None
    assert text.startswith("turn 3 (L2) is blocked: L would stand at 270 degrees")
    assert text.endswith("it stops at 0, 90 and 180 degrees")
    assert why_blocked(puzzle, parse(puzzle, "U L L L2 R2").word) is None
    assert stopping(puzzle, puzzle.layer_numbers["L"]) == "stops at 0, 90 and 180 degrees"


def test_blocked_names_what_is_fastened() -> None:
    puzzle = load("3x3x3-bandaged")
    assert why_blocked(puzzle, parse(puzzle, "F D' U'").word) is not None
    assert why_blocked(puzzle, parse(puzzle, "R").word) == (
        "turn 1 (R) is blocked: the pieces UFR and UF are fastened together and R would take only "
        "UFR"
    )


@pytest.mark.parametrize(
    ("more", "layer", "says"),
    [
        ('bonds = [["UFR", "UX"]]', "", "bonds: 'UX': 'X' is no face"),
        ('bonds = [["UFR", "UF"], ["FL", "UF"]]', "", "bonds: UF is in two bonds"),
        ('bonds = [["UFR", "UFR"]]', "", "bonds: UFR is in the same bond"),
        ('bonds = [["UFR"]]', "", "at least two slots"),
        (
            'bonds = [["UFR", "DBL"]]',
            "",
            "no turn can carry UFR and DBL together: U takes UFR without DBL; D takes DBL without "
            "UFR; ",
        ),
        ("", 'stops = ["45deg"]', "45 degrees is not a whole number of steps of U"),
        ("", 'stops = ["45deg"]', "; steps = 8 would have it among them"),
        ("", 'stops = ["60deg"]', "; steps = 12 would have it among them"),
        ("", 'stops = ["1/2"]', "an angle was expected"),
        ("", 'stops = ["360deg"]', "U would stop nowhere but where it is"),
        ("", 'stops = ["90deg"]', 'keep_twists = ["centre"] was expected'),
    ],
)
def test_files_that_are_not_right(more: str, layer: str, says: str) -> None:
    with pytest.raises(PuzzleFileError) as error:
        made(more, layer)
    assert says in str(error.value)
    assert "\n" not in str(error.value)


def test_unequal_stops_need_a_piece_on_the_axis() -> None:
    with pytest.raises(PuzzleFileError, match="no piece stays on its axis"):
        made("keep_twists = true", 'stops = ["90deg"]', "0")


def test_bonds_and_stops_together() -> None:
    puzzle = made('keep_twists = true\nbonds = [["UFR", "UF"]]', 'stops = ["90deg", "180deg"]')
    assert puzzle.blocked is not None
    assert [len(own) for own in puzzle.bonds] == [2]
    found = puzzle.first_blocked(parse(puzzle, "U2 U2").word)
    assert found is None
    found = puzzle.first_blocked(parse(puzzle, "U U2").word)
    assert found is not None
    assert found.at == 1


def test_a_puzzle_with_other_bonds_is_another_one() -> None:
    plain_one, one, other = load("3x3x3"), load("3x3x3-bandaged"), load("3x3x3-stops")
    moved = replace(one, bonds=one.bonds[:2])
    assert len({p.digest for p in (plain_one, one, other, moved)}) == 4


def test_symmetries_keep_what_turns_hold_where_bodies_are() -> None:
    """A holds place 7 and leaves it, B does not: B takes 1 away from 7, and A takes both along."""
    text = 'description = "x"\nshape = "written"\nplaces = 7\n{bonds}'
    text += '[[turns]]\nname = "A"\ncycles = "(1 2 3) (7)"\n'
    text += '[[turns]]\nname = "B"\ncycles = "(1 4 5)"\n'
    loose = compiled("own", parse_file(text.format(bonds=""), "own"))
    assert {tuple(symmetry.layers.tolist()) for symmetry in loose.symmetries} == {(0, 1), (1, 0)}
    own = compiled("own", parse_file(text.format(bonds="bonds = [[1, 7]]\n"), "own"))
    assert own.symmetries
    for symmetry in own.symmetries:
        for turn, image in enumerate(symmetry.turns.tolist()):
            assert (own.first_blocked((turn,)) is None) == (own.first_blocked((image,)) is None)


def test_scrambles_have_only_possible_turns() -> None:
    for name in ("3x3x3-bandaged", "3x3x3-stops"):
        puzzle = load(name)
        words = list(scrambles(puzzle, 20, 7))
        assert all(puzzle.first_blocked(word) is None for word in words)
        assert len(set(words)) == 20
        assert np.mean([len(word) for word in words]) > 10


def test_stops_of_a_compiled_puzzle() -> None:
    puzzle = load("3x3x3")
    halves = with_stops(puzzle, [None, None, *[(0, 2)] * 4])
    assert [str(turn) for turn in halves.turns] == ["U", "U2", "U3", "D", "D2", "D3"] + [
        f"{layer.name}2" for layer in puzzle.layers[2:]
    ]
    assert halves.commutes.sum() == puzzle.commutes.sum()
