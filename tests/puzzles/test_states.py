"""States as they are entered: read back, against sampled points, and what is said of bad input."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from puzzles import load
from puzzles.effects import cycle_text, cycles, effect_of
from puzzles.errors import NameNotFoundError, RequestError
from puzzles.file import catalogue
from puzzles.names import sticker_name
from puzzles.painted import colours, from_stickers, read_colours
from puzzles.puzzle import Puzzle
from puzzles.scrambles import scrambles
from puzzles.states import (
    State,
    entries,
    from_cycles,
    from_pieces,
    from_sequence,
    from_word,
    shown,
    solved,
)
from tests.plain import named, of_shape, plain

words = st.lists(st.integers(0, 10_000), max_size=15)


def alike(first: State, second: State) -> bool:
    return bool(np.array_equal(shown(first), shown(second)))


@pytest.mark.parametrize("name", catalogue())
def test_states_are_read_back_as_they_are_printed(name: str) -> None:
    puzzle = load(name)
    for word in scrambles(puzzle, 2, 11):
        for apart in (False, True):
            state = from_word(puzzle, word, apart)
            text = state.text()
            read = from_pieces(puzzle, entries(text), apart).whole(puzzle)
            assert alike(read, state)
            assert read.unsolved == state.unsolved
            if apart:
                assert np.array_equal(read.table, state.table)
        told = "".join(cycle_text(puzzle, c) for c in cycles(puzzle, effect_of(puzzle, word)))
        assert np.array_equal(from_cycles(puzzle, told).table, state.table)


@pytest.mark.parametrize("name", of_shape("solid"))
def test_colours_that_sampled_points_show_are_the_state(name: str) -> None:
    """A turned puzzle of points is painted sticker by sticker, and read as the same state."""
    puzzle = load(name)
    if not all(kind.stickered for kind in puzzle.types):
        pytest.skip("slots of a type are not painted alike")
    for word in scrambles(puzzle, 1, 5):
        there = plain(puzzle).sticker_effect(named(puzzle, word))
        faces = [face.name for face in puzzle.body.faces]
        painted = [
            (sticker_name(puzzle, int(there[k])), faces[sticker.face])
            for k, sticker in enumerate(puzzle.stickers)
        ]
        read = from_stickers(puzzle, painted).whole(puzzle)
        assert alike(read, from_word(puzzle, word))


@given(words)
def test_a_state_is_unsolved_where_it_looks_so(numbers: list[int]) -> None:
    puzzle = load("4x4x4")
    word = tuple(k % len(puzzle.turns) for k in numbers)
    state, apart = from_word(puzzle, word), from_word(puzzle, word, True)
    assert set(state.unsolved) <= set(apart.unsolved)
    undone = state.after(puzzle.effect(puzzle.inverse(word)))
    assert undone.is_solved
    assert np.array_equal(shown(undone), solved(puzzle, False))


def test_a_sequence_and_its_cycles_are_one_state() -> None:
    """Common practice: [R U R' U', L'] takes UFL to RBU to BLU."""
    puzzle = load("3x3x3")
    by_word = from_sequence(puzzle, "[R U R' U', L']")
    assert alike(by_word, from_cycles(puzzle, "(UFL RBU BLU)"))
    assert alike(by_word, from_cycles(puzzle, "UFL -> RBU -> BLU"))
    by_pieces = from_pieces(puzzle, entries("RBU=UFL BLU=RBU UFL=BLU")).whole(puzzle)
    assert alike(by_word, by_pieces)


def test_colours_of_somebodys_own_puzzle() -> None:
    puzzle = load("3x3x3")
    own = colours(puzzle, read_colours("U=white D=yellow F=green B=blue L=orange R=red"))
    flipped = from_stickers(puzzle, entries("UF=green,white UB=Blue/White"), own)
    letters = from_stickers(puzzle, entries("UF=FU BU=UB"))
    assert alike(flipped.whole(puzzle), letters.whole(puzzle))
    assert alike(letters.whole(puzzle), from_cycles(puzzle, "(UF FU)(UB BU)"))


def test_like_pieces_stand_for_each_other() -> None:
    """Which of four like centres sits where makes no difference, unless they are told apart."""
    puzzle = load("4x4x4")
    swapped = from_stickers(puzzle, entries("U.FR=F F.UR=U")).whole(puzzle)
    assert len(swapped.unsolved) == 2
    by_pieces = from_pieces(puzzle, entries("U.FR=F.DL F.UR=U.BL")).whole(puzzle)
    assert alike(swapped, by_pieces)
    assert from_pieces(puzzle, entries("U.FR=U.BL U.BL=U.BL")).whole(puzzle).is_solved
    with pytest.raises(RequestError, match="entered twice"):
        from_pieces(puzzle, entries("U.FR=U.BL U.BL=U.BL"), apart=True)


def test_a_state_while_it_is_entered() -> None:
    puzzle = load("3x3x3")
    begun = from_pieces(puzzle, entries("UFR=UBL"), part=True)
    assert begun.state is None
    assert [puzzle.types[puzzle.type_of[k]].name for k in begun.open] == ["corner"]
    assert len(begun.open) == len(begun.missing) == 1
    assert from_pieces(puzzle, entries("UFR=UBL UBL=UFR"), part=True).state is not None


BAD = [
    ("UFR=UBL", "UFR is missing: what sits in the slot UBL"),
    ("UFR=UBL UBL=UBL", "the piece UBL was entered twice, in UFR and UBL"),
    ("UFR=UBL UFR=UBR", "the slot UFR was entered twice"),
    ("UFR=UF", "UF is an edge and UFR is a corner"),
    ("UFR", "write UFR=UBL"),
    ("", "no slot was entered"),
    ("UFR=XYZ", "'X' is no face"),
]


@pytest.mark.parametrize(("text", "says"), BAD)
def test_pieces_that_contradict_each_other(text: str, says: str) -> None:
    puzzle = load("3x3x3")
    with pytest.raises((RequestError, NameNotFoundError), match=says):
        from_pieces(puzzle, entries(text))


BAD_STICKERS = [
    ("UFR=RFU", "not in this order: no turn brings its mirror image about"),
    ("UFR=UDF", "a corner with U, D and F does not exist; none has U and D"),
    ("UF=UU", "no edge has U more than once"),
    ("UF=UD", "an edge with U and D does not exist"),
    ("UFR=UF", "UFR has 3 stickers .UFR FUR RUF., and 1 colour was given"),
    ("UFR=U,F", "and 2 colours were given"),
    ("UF=UX", "'X' is no colour"),
    ("UFR=F", "say what FUR and RUF show"),
    ("UFR@U=F UFR@U=R", "the sticker UFR was entered twice, as F and as R"),
    ("UF=UB", "UF is missing"),
    ("U=D", "U is missing: what sits in the slot D"),
]


@pytest.mark.parametrize(("text", "says"), BAD_STICKERS)
def test_stickers_that_no_state_has(text: str, says: str) -> None:
    puzzle = load("3x3x3")
    with pytest.raises(RequestError, match=says):
        from_stickers(puzzle, entries(text))


BAD_CYCLES = [
    ("(UFR RUF)", "says two things of UFR"),
    ("(UFR UF)", "neither fits"),
    ("(UFR UBL)(UFR UBR)", "UFR is in two cycles"),
    ("(UFR UBL) x", "outside the brackets"),
    ("(UF UB) (UFR UBL", r"character 9: '\(' is never closed with '\)'"),
    ("(UFR (UF UB))", r"character 1: '\(' is not closed before the next one at character 6"),
    ("(UFR UBL))", r"character 10: '\)' closes nothing"),
    ("()", "empty cycle"),
    ("", "empty cycle"),
]


@pytest.mark.parametrize(("text", "says"), BAD_CYCLES)
def test_cycles_that_say_nothing_sensible(text: str, says: str) -> None:
    with pytest.raises(RequestError, match=says):
        from_cycles(load("3x3x3"), text)


BAD_COLOURS = [
    ("U=white D=white", "U and D are both white"),
    ("X=white", "'X' is no face"),
    ("U", "U=white F=green is right"),
    ("U=wh;te", "no name of a colour"),
    ("U=white U=red", "given twice"),
]


@pytest.mark.parametrize(("text", "says"), BAD_COLOURS)
def test_colours_that_cannot_be(text: str, says: str) -> None:
    with pytest.raises(RequestError, match=says):
        colours(load("3x3x3"), read_colours(text))


def _message(puzzle: Puzzle, text: str) -> str:
    with pytest.raises(RequestError) as caught:
        from_stickers(puzzle, entries(text))
    return str(caught.value)


def test_where_colours_do_not_say_how_a_piece_sits() -> None:
    assert "not painted alike" in _message(load("ball-sixths"), "UFR=U,F,R")
    assert "no paint" in _message(load("three-wheels"), "1=red")
