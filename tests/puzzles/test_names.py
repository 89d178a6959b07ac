"""Names of slots, stickers and placements: every printed one is read back, written ones mean it."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from puzzles import load, names
from puzzles.compile import compiled
from puzzles.errors import NameNotFoundError, RequestError, TrefoilError
from puzzles.file import catalogue, parse
from puzzles.puzzle import Puzzle
from tests.plain import named, of_shape, plain

#: Boxes of 3 x 2 x 1, cut in halves that turn by half turns.
BOX = """
description = "A box of 3 by 2 by 1 of which some halves turn by half turns."
up = "U"
front = "F"
[body]
points = [
    [1.5, 1, 0.5], [1.5, 1, -0.5], [1.5, -1, 0.5], [1.5, -1, -0.5],
    [-1.5, 1, 0.5], [-1.5, 1, -0.5], [-1.5, -1, 0.5], [-1.5, -1, -0.5],
]
[body.faces]
U = [0, 0, 1]
D = [0, 0, -1]
F = [0, -1, 0]
B = [0, 1, 0]
L = [-1, 0, 0]
R = [1, 0, 0]
[[layers]]
axes = AXES
above = 0
steps = 2
"""
#: What turns on a box, and the names of its pieces.
BOXES = {
    '["R", "U", "F"]': "UFL UFR UBL UBR DFL DFR DBL DBR",
    '["R", "L", "F", "B"]': "UDFL UDBL UDFR UDBR",
}


def box(axes: str) -> Puzzle:
    return compiled("box", parse(BOX.replace("AXES", axes), "box"))


EVERY = pytest.mark.parametrize("name", catalogue())


def faces_of(puzzle: Puzzle, slot: int) -> set[str]:
    """The letters of the faces on which the piece at a slot has stickers."""
    return {puzzle.body.faces[s.face].name for s in puzzle.stickers if s.slot == slot}


@pytest.mark.parametrize("name", [*catalogue(), *BOXES])
def test_every_printed_name_is_read_back(name: str) -> None:
    puzzle = box(name) if name in BOXES else load(name)
    slots, placements = names.slot_names(puzzle), names.placement_names(puzzle)
    stickers = [names.sticker_name(puzzle, n) for n in range(len(puzzle.stickers))]
    for printed in (slots, placements, stickers):
        assert len(set(printed)) == len(printed)
    assert [names.read_placement(puzzle, x).slot for x in slots] == list(range(len(slots)))
    read = [names.read_placement(puzzle, x) for x in placements]
    assert [x.placement for x in read] == list(range(len(placements)))
    assert [x.slot for x in read] == puzzle.slot_of.tolist()
    for number, printed_name in enumerate(stickers):
        sticker = puzzle.stickers[number]
        if not puzzle.types[int(puzzle.type_of[sticker.slot])].stickered:
            with pytest.raises(NameNotFoundError, match="not painted alike"):
                names.read_placement(puzzle, printed_name)
            continue
        placed = names.read_placement(puzzle, printed_name)
        assert placed.sticker == number
        assert placed.kind == sticker.kind
        assert placed.placement == (sticker.placement if sticker.placement >= 0 else None)


@EVERY
def test_placements_of_a_type_are_named_by_stickers_of_one_class(name: str) -> None:
    puzzle = load(name)
    for kind in puzzle.types:
        read = [
            names.read_placement(puzzle, names.placement_name(puzzle, p)) for p in kind.placements
        ]
        assert len({placed.kind for placed in read}) == 1


@pytest.mark.parametrize("name", [*of_shape("solid"), *of_shape("ball")])
@given(data=st.data())
def test_letters_that_are_equally_near_are_free_in_order(name: str, data: st.DataObject) -> None:
    puzzle = load(name)
    slot = data.draw(st.integers(0, puzzle.slot_count - 1))
    printed = names.slot_names(puzzle)[slot]
    kind, colon, letters = printed.rpartition(":")
    if "." in letters:
        groups = ["".join(data.draw(st.permutations(group))) for group in letters.split(".")]
    else:
        # Without dots the nearest group comes first; only one as long as it is needed is shuffled.
        nearest = puzzle.body.nearest(puzzle.directions[slot])[0]
        first, rest = letters[: len(nearest)], letters[len(nearest) :]
        groups = ["".join(data.draw(st.permutations(first))) + rest]
    assert names.read_placement(puzzle, kind + colon + ".".join(groups)).slot == slot


def test_a_sticker_is_named_by_its_own_face_first() -> None:
    puzzle = load("3x3x3")
    for text, face in (("UFR", "U"), ("URF", "U"), ("RUF", "R"), ("FUR", "F"), ("UF", "U")):
        placed = names.read_placement(puzzle, text)
        assert placed.sticker is not None
        assert puzzle.body.faces[puzzle.stickers[placed.sticker].face].name == face
        assert faces_of(puzzle, placed.slot) == set(text)
        assert names.read_placement(puzzle, f"UFR@{face}").sticker is not None
    assert names.read_placement(puzzle, "UFR@R").placement == (
        names.read_placement(puzzle, "RUF").placement
    )
    corner = puzzle.types[0]
    printed = [names.placement_name(puzzle, p) for p in corner.placements]
    assert {"UFR", "RUF", "FUR"} <= set(printed)


def test_a_name_follows_its_sticker_under_a_turn() -> None:
    """Common practice: R takes the U sticker of UFR to the back of UBR, that of UR to BR's back."""
    puzzle = load("3x3x3")
    word = [puzzle.turn_numbers[turn] for turn in puzzle.turns if str(turn) == "R"]
    carried = plain(puzzle).sticker_effect(named(puzzle, word))
    for start, end in (("UFR", "BUR"), ("RUF", "RUB"), ("UR", "BR"), ("RU", "RB"), ("UF", "UF")):
        first, second = (names.read_placement(puzzle, x) for x in (start, end))
        assert first.sticker is not None
        assert carried[first.sticker] == second.sticker
        assert puzzle.effect(word)[first.placement] == second.placement


@pytest.mark.parametrize(
    ("name", "text", "kind", "faces"),
    [
        ("4x4x4", "UFR", "corner", "UFR"),
        ("4x4x4", "UF.R", "edge", "UF"),
        ("4x4x4", "U.FR", "centre", "U"),
        ("4x4x4", "U.RF", "centre", "U"),
        ("5x5x5", "UF", "edge2", "UF"),
        ("5x5x5", "U.F", "centre2", "U"),
        ("5x5x5", "F.U", "centre2", "F"),
        ("5x5x5", "U.FR", "centre1", "U"),
        ("tetrahedron-corners", "tip:FLR", "tip", "FRL"),
        ("tetrahedron-corners", "FLR1", "tip", "FRL"),
        ("tetrahedron-corners", "FLR2", "corner", "FRL"),
        ("tetrahedron-corners", "RF", "edge", "FR"),
        ("octahedron-faces", "UFR", "centre1", "U"),
        ("octahedron-faces", "FUE", "centre2", "F"),
        ("cube-edges", "U.FL", "centre1", "U"),
        ("2x2x2", "DBL", "held-corner", "DBL"),
        ("3x3x3", "ufr", "corner", "UFR"),
    ],
)
def test_a_name_means_one_piece(name: str, text: str, kind: str, faces: str) -> None:
    puzzle = load(name)
    slot = names.read_placement(puzzle, text).slot
    own = puzzle.types[int(puzzle.type_of[slot])].name
    assert own.rstrip("1234") == kind.rstrip("1234")
    assert name == "cube-edges" or own == kind
    assert faces_of(puzzle, slot) == set(faces)


def test_dots_and_types_are_printed_only_where_they_are_needed() -> None:
    for name in ("2x2x2", "3x3x3", "dodecahedron-faces", "octahedron-faces"):
        assert all(text.isalpha() for text in names.slot_names(load(name)))
    four = names.slot_names(load("4x4x4"))
    assert [("." in text, ":" in text) for text in (four[0], four[8], four[32])] == [
        (False, False),
        (True, False),
        (True, False),
    ]
    tetrahedron = names.slot_names(load("tetrahedron-corners"))
    assert tetrahedron[0] == "tip:FRL"
    assert tetrahedron[4] == "corner:FRL"
    assert tetrahedron[8] == "FR"


@pytest.mark.parametrize("axes", BOXES)
def test_pieces_of_a_box_are_named_by_their_own_faces(axes: str) -> None:
    """However flat the box is, and in whatever order the letters are written."""
    puzzle = box(axes)
    printed = names.slot_names(puzzle)
    assert set(printed) == set(BOXES[axes].split())
    for slot, name in enumerate(printed):
        assert faces_of(puzzle, slot) == set(name)
        for letters in permutations(name):
            assert names.read_placement(puzzle, "".join(letters)).slot == slot


def test_types_with_the_same_nearest_faces_are_named_by_more_of_them() -> None:
    puzzle = load("cube-edges")
    printed = names.slot_names(puzzle)
    assert [text for text in printed if text.startswith("U.")] == ["U.FL", "U.FR", "U.BL", "U.BR"]
    assert not [text for text in printed if ":" in text]
    for number in range(1, 5):
        slot = names.read_placement(puzzle, f"centre{number}:U").slot
        assert puzzle.types[int(puzzle.type_of[slot])].name == f"centre{number}"
        assert printed[slot].startswith("U.")
    with pytest.raises(NameNotFoundError, match=r"write U\.FL, U\.FR, U\.BL or U\.BR"):
        names.read_placement(puzzle, "U")


def test_some_faces_of_a_piece_are_enough_if_they_are_of_no_other() -> None:
    flat = box('["R", "L", "F", "B"]')
    printed = names.slot_names(flat)
    assert printed[names.read_placement(flat, "UFR").slot] == "UDFR"
    assert printed[names.read_placement(flat, "RF").slot] == "UDFR"
    with pytest.raises(NameNotFoundError, match="no such piece"):
        names.read_placement(flat, "UD")


def test_a_number_adds_twist() -> None:
    puzzle = load("tetrahedron-corners")
    start = names.read_placement(puzzle, "tip:FRL")
    assert start.placement is not None
    later = [names.read_placement(puzzle, f"tip:FRL+{k}").placement for k in range(4)]
    assert later == [start.placement + k for k in (0, 1, 2, 0)]


def test_where_no_sticker_shows_the_twist_a_number_says_it() -> None:
    whole = load("3x3x3")
    corner = whole.types[0]
    stickers = [replace(s, placement=-1) if s.slot in corner.slots else s for s in whole.stickers]
    puzzle = replace(whole, stickers=tuple(stickers))
    printed = [names.placement_name(puzzle, p) for p in corner.placements]
    assert printed[:4] == ["UFL", "UFL+1", "UFL+2", "UFR"]
    read = [names.read_placement(puzzle, text) for text in printed]
    assert [placed.placement for placed in read] == list(corner.placements)
    assert {(placed.sticker, placed.kind) for placed in read} == {(None, -1)}
    assert names.read_placement(puzzle, "UFL@F").placement is None
    assert names.placement_name(puzzle, 24) == "UF"


def test_the_names_of_a_cycle_agree_on_a_type() -> None:
    puzzle = load("tetrahedron-corners")
    tips = names.read_cycle(puzzle, ["tip:FRL", "FLD", "DRF"])
    assert {int(puzzle.type_of[placed.slot]) for placed in tips} == {0}
    with pytest.raises(NameNotFoundError, match="tip:FRL or corner:FRL"):
        names.read_cycle(puzzle, ["FRL", "FLD", "DRF"])
    mixed = names.read_cycle(load("3x3x3"), ["UFR", "UF", "DFL"])
    assert [placed.text for placed in mixed] == ["UFR", "UF", "DFL"]


def test_a_cycle_visits_each_piece_once() -> None:
    with pytest.raises(RequestError, match="UFR is named twice"):
        names.read_cycle(load("3x3x3"), ["UFR", "UBL", "FRU"])


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("3x3x3", "UFX", "'X' is no face of 3x3x3; the faces are U D F B L R"),
        ("3x3x3", "UFD", "did you mean"),
        ("3x3x3", "UFR@D", "stickers on U F R"),
        ("3x3x3", "", "no name of a piece"),
        ("3x3x3", "U" * 5000, "no name of a piece"),
        ("3x3x3", "edges:UF", "did you mean edge"),
        ("4x4x4", "UF", "UF.L or UF.R"),
        ("tetrahedron-corners", "FLR", "tip:FRL or corner:FRL"),
        ("tetrahedron-corners", "FLR3", "no such piece"),
    ],
)
def test_a_wrong_name_is_told_with_right_ones(name: str, text: str, said: str) -> None:
    with pytest.raises(NameNotFoundError) as caught:
        names.read_placement(load(name), text)
    assert said in str(caught.value)
    assert len(str(caught.value)) < 250


def test_types_are_read_by_name() -> None:
    puzzle = load("2x2x2")
    assert names.read_type(puzzle, "held-corner").number == 1
    with pytest.raises(NameNotFoundError, match="did you mean corner"):
        names.read_type(puzzle, "corners")


@given(text=st.text(st.sampled_from("UFRLDBufr.:@+12tipcornexyzß\x1b "), max_size=14))
def test_any_text_is_a_piece_or_one_sentence(text: str) -> None:
    for name in ("4x4x4", "tetrahedron-corners"):
        puzzle, said = load(name), ""
        try:
            placed = names.read_placement(puzzle, text)
            assert 0 <= placed.slot < puzzle.slot_count
        except TrefoilError as error:
            said = str(error)
        assert said.isprintable()


def test_the_name_of_a_face_is_left_to_the_piece_in_its_middle() -> None:
    """Edge caps by halves leave four petals round each face's middle; each petal is a type."""
    text = (
        'description = "Edges."\nshape = "ball"\nbody = "cube"\nup = "U"\nfront = "F"\n'
        '[[layers]]\naxes = "edges"\nsteps = 2\nwithin = "35deg"\n'
    )
    puzzle = compiled("edges", parse(text, "edges"))
    middle = names.read_placement(puzzle, "U").slot
    assert puzzle.directions[middle].tolist() == pytest.approx([0, 0, 1])
    assert names.slot_names(puzzle)[middle] == "U"
    around = [name for name in names.slot_names(puzzle) if name.startswith("U.")]
    assert sorted(around) == ["U.BL", "U.BR", "U.FL", "U.FR"]
