"""Sequences: text to turns and back; rotations, wide turns and slices against turned points."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from puzzles import brackets, effects, load, notation
from puzzles.brackets import Commutator, Conjugate, Inverse, Repeat, Tree, Written
from puzzles.errors import LimitError, NotationError, TrefoilError
from puzzles.file import catalogue
from puzzles.orbits import rotation
from puzzles.puzzle import Puzzle
from puzzles.symmetry import matrices
from tests.plain import named, plain

EVERY = pytest.mark.parametrize("name", catalogue())
SEVERAL = ["3x3x3", "5x5x5", "cube-corners", "dodecahedron-faces", "tetrahedron-corners"]
numbers = st.lists(st.integers(0, 10_000), max_size=20)


def turns(name: str, text: str) -> str:
    """The plain turns that a text means."""
    puzzle = load(name)
    return notation.write(puzzle, notation.parse(puzzle, text).word)


# Text to turns and back.


@EVERY
@given(numbers=numbers)
def test_plain_turns_are_read_back(name: str, numbers: list[int]) -> None:
    puzzle = load(name)
    word = tuple(n % len(puzzle.turns) for n in numbers)
    read = notation.parse(puzzle, notation.write(puzzle, word))
    assert read.word == word
    assert read.left_over == ""


@given(numbers=numbers)
def test_spaces_may_be_left_out_where_names_are_single_letters(numbers: list[int]) -> None:
    for name in ("3x3x3", "tetrahedron-corners", "dodecahedron-faces"):
        puzzle = load(name)
        word = tuple(n % len(puzzle.turns) for n in numbers)
        assert notation.parse(puzzle, notation.write(puzzle, word).replace(" ", "")).word == word


@pytest.mark.parametrize(
    ("name", "written"),
    [
        ("3x3x3", "U U2 U'"),
        ("dodecahedron-faces", "U U2 U2' U'"),
        ("hexagonal-prism", "U U2 U3 U2' U'"),
        ("tetrahedron-corners", "U U'"),
        ("cube-edges", "UF"),
    ],
)
def test_amounts_are_written_the_shorter_way_round(name: str, written: str) -> None:
    puzzle = load(name)
    steps = puzzle.layers[0].steps
    assert notation.write(puzzle, range(steps - 1)) == written


def trees(puzzle: Puzzle) -> st.SearchStrategy[Tree]:
    extra = ["x", "y", "z", "Rw", "M"] if puzzle.name in ("3x3x3", "5x5x5") else []
    plain_turns = [Written(x.layer, x.amount, puzzle.layer(x.layer).steps) for x in puzzle.turns]
    leaves = plain_turns + [Written(x, k, 4) for x in extra for k in range(4)]
    return st.recursive(
        st.sampled_from(leaves),
        lambda inner: st.one_of(
            st.lists(inner, min_size=2, max_size=4).map(brackets.sequence),
            st.builds(Repeat, inner, st.integers(1, 12)),
            st.builds(Inverse, inner),
            st.builds(Commutator, inner, inner),
            st.builds(Conjugate, inner, inner),
        ),
        max_leaves=8,
    )


@pytest.mark.parametrize("name", SEVERAL)
@given(data=st.data())
def test_a_tree_is_written_and_read_back(name: str, data: st.DataObject) -> None:
    puzzle = load(name)
    tree = data.draw(trees(puzzle))
    text = brackets.text(tree)
    assert notation.read(puzzle, text) == tree
    assert brackets.text(notation.read(puzzle, text)) == text


@pytest.mark.parametrize("name", SEVERAL)
@given(data=st.data())
def test_a_tree_written_out_is_as_long_as_was_counted(name: str, data: st.DataObject) -> None:
    tree = data.draw(trees(load(name)))
    if brackets.count(tree) <= notation.MOST_TURNS:
        assert len(brackets.expand(tree)) == brackets.count(tree)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", ""),
        ("  R\n\tU  ", "R U"),
        ("R2' R'2 R2", "R2 R2 R2"),
        ("R3 R4 R5", "R' R"),
        ("Ri Ui", "R' U'"),
        ("R\u2019 U\u2019 R\u2032 U`", "R' U' R' U'"),
        ("R^2 U^-1", "R2 U'"),
        ("(R U)3", "R U R U R U"),
        ("(R U)x3", "R U R U R U"),
        ("(R U) x3", "R U R U R U"),
        ("(R U) \u00d7 3", "R U R U R U"),
        ("(R U)^3", "R U R U R U"),
        ("(R U) 3 F", "R U R U R U F"),
        ("(R U)'", "U' R'"),
        ("(R U)^-1", "U' R'"),
        ("(R U')2'", "U R' U R'"),
        ("(R U')'2", "U R' U R'"),
        ("((R U)2 F)2", "R U R U F R U R U F"),
        ("[R, U]", "R U R' U'"),
        ("[R U R' U', L']", "R U R' U' L' U R U' R' L"),
        ("[F: [R, U]]", "F R U R' U' F'"),
        ("F: [R, U]", "F R U R' U' F'"),
        ("[[R, U], L']", "R U R' U' L' U R U' R' L"),
        ("[R,\nU]2", "R U R' U' R U R' U'"),
        ("[R, U]'", "U R U' R'"),
    ],
)
def test_brackets_and_repeats_are_written_out(text: str, expected: str) -> None:
    assert turns("3x3x3", text) == expected


@pytest.mark.parametrize(
    ("name", "text", "expected", "left_over"),
    [
        ("3x3x3", "Rw", "L", "x"),
        ("3x3x3", "r U r'", "L F L'", ""),
        ("3x3x3", "M", "R L'", "x'"),
        ("3x3x3", "M' U2 M U2", "R' L F2 R L' U2", ""),
        ("3x3x3", "(R U) x2", "R U", "x2"),
        ("3x3x3", "x y", "", "x y"),
        ("3x3x3", "[x: y] R", "U", "z"),
        ("3x3x3-slices", "Rw M", "R M' M", ""),
        ("4x4x4", "Rw 2R r", "R 2R 2R R 2R", ""),
        ("4x4x4", "3Rw", "R 2R 2L'", ""),
        ("5x5x5", "3D 3U M", "3U' 3U 3R'", ""),
        ("2x2x2", "L", "R", "x'"),
        ("2x2x2", "L U", "R F", "x' y"),
        ("cube-corners", "DBL", "UFR", "x' z'"),
        ("cube-corners", "FRU URF' FUR2", "UFR UFR' UFR'", ""),
        ("cube-edges", "FU LU", "UF UL", ""),
        ("dodecahedron-faces", "Uw F", "D R", "1/5 of a turn clockwise about U"),
        ("tetrahedron-corners", "U l' b2", "U l' b'", ""),
    ],
)
def test_other_names_are_read_by_renaming(
    name: str, text: str, expected: str, left_over: str
) -> None:
    parsed = notation.parse(load(name), text)
    assert sorted(turns(name, text).split()) == sorted(expected.split())
    assert parsed.left_over.removeprefix("the whole puzzle is left turned by ") == left_over


# Against points that are turned by hand: a block is an axis and two depths, nothing is renamed.

AXES = {"R": (1, 0, 0), "L": (-1, 0, 0), "B": (0, 1, 0), "F": (0, -1, 0), "U": (0, 0, 1)}
AXES["D"] = (0, 0, -1)


def blocks(size: int) -> dict[str, tuple[tuple[int, int, int], float, float]]:
    """All names of blocks of a cube of a size: axis and depths (WCA Regulations, 12a)."""
    thick = 2 / size
    result = {"x": (AXES["R"], -9.0, 9.0), "y": (AXES["U"], -9.0, 9.0), "z": (AXES["F"], -9.0, 9.0)}
    for face, axis in AXES.items():
        result[face] = (axis, 1 - thick, 9.0)
        for n in range(2, size):
            result[f"{n}{face}w"] = (axis, 1 - n * thick, 9.0)
        for n in range(2, (size + 1) // 2 + 1):
            result[f"{n}{face}"] = (axis, 1 - n * thick, 1 - (n - 1) * thick)
        if size > 2:
            result[f"{face}w"] = result[face.lower()] = result[f"2{face}w"]
    if size % 2:
        for middle, face in (("M", "L"), ("E", "D"), ("S", "F")):
            result[middle] = (AXES[face], -thick / 2, thick / 2)
    return result


def clockwise(axis: tuple[int, int, int], quarters: int) -> NDArray[np.float64]:
    """A rotation about a coordinate axis by quarters, clockwise as seen from its tip."""
    a = np.array(axis, dtype=float)
    once = np.outer(a, a) + np.array([np.cross(e, a) for e in np.eye(3)]).T
    return np.linalg.matrix_power(once, quarters % 4)


@pytest.mark.parametrize(("name", "size"), [("2x2x2", 2), ("3x3x3", 3), ("3x3x3-slices", 3)])
@given(data=st.data())
def test_blocks_turn_as_points_do(name: str, size: int, data: st.DataObject) -> None:
    check_blocks(name, size, data)


@pytest.mark.parametrize(("name", "size"), [("4x4x4", 4), ("5x5x5", 5)])
@given(data=st.data())
def test_blocks_of_bigger_cubes_turn_as_points_do(
    name: str, size: int, data: st.DataObject
) -> None:
    check_blocks(name, size, data)


def check_blocks(name: str, size: int, data: st.DataObject) -> None:
    """Turn points by the written blocks; the puzzle's turns and one rotation must do the same."""
    puzzle, known = load(name), blocks(size)
    steps = data.draw(
        st.lists(st.tuples(st.sampled_from(sorted(known)), st.integers(1, 3)), max_size=8)
    )
    points = plain(puzzle)
    now = points.home.copy()
    for block, amount in steps:
        axis, low, high = known[block]
        depth = now @ np.array(axis)
        held = (depth > low) & (depth < high)
        now[held] = now[held] @ clockwise(axis, amount).T
    text = " ".join(block + ["", "", "2", "'"][amount] for block, amount in steps)
    parsed = notation.parse(puzzle, text)
    turned = points.do(named(puzzle, parsed.word))
    for step in parsed.left_over.removeprefix("the whole puzzle is left turned by ").split():
        axis, *_ = known[step[0]]
        turned = turned @ clockwise(axis, {"": 1, "2": 2, "'": 3}[step[1:]]).T
    assert np.abs(turned - now).max() < 1e-6, (text, parsed.left_over)


@pytest.mark.parametrize("name", ["cube-corners", "dodecahedron-faces", "hexagonal-prism"])
@given(data=st.data())
def test_blocks_of_other_bodies_turn_as_points_do(name: str, data: st.DataObject) -> None:
    """Corners opposite to those that turn, and faces with what is under them."""
    puzzle = load(name)
    if name == "cube-corners":
        known = {letters: (axis, 0.0, 3) for letters, axis in puzzle.body.axes("corners")}
    else:
        known = {layer.name: (layer.axis, layer.low, layer.steps) for layer in puzzle.layers}
        # The two outer slabs of three are all above the cut of the opposite face.
        known |= {f"{x}w": (axis, -low, steps) for x, (axis, low, steps) in known.items()}
    steps = data.draw(
        st.lists(st.tuples(st.sampled_from(sorted(known)), st.integers(1, 5)), max_size=8)
    )
    points = plain(puzzle)
    now = points.home.copy()
    for block, amount in steps:
        axis, low, count = known[block]
        held = now @ np.array(axis) > low
        now[held] = now[held] @ rotation(np.array(axis), -2 * np.pi * amount / count).T
    parsed = notation.parse(puzzle, " ".join(f"{block}{amount}" for block, amount in steps))
    turned = points.do(named(puzzle, parsed.word))
    rotations = [m for m in matrices(puzzle.body.points) if np.linalg.det(m) > 0]
    fits = [bool(np.abs(turned @ m.T - now).max() < 1e-6) for m in rotations]
    assert sum(fits) == 1
    assert fits[0] == (parsed.left_over == "")


def test_a_turn_is_clockwise_as_seen_from_outside() -> None:
    """So that the check above has its own sense right: R takes the front's points to the top."""
    assert np.allclose(clockwise(AXES["R"], 1) @ np.array(AXES["F"]), AXES["U"])


# What is wrong, and limits.


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("3x3x3", "R U Q", "character 5: 'Q' is no turn; 3x3x3 has the layers U D F B L R"),
        ("3x3x3", "R, U", "character 2: ',' belongs"),
        ("3x3x3", "[R, U, F]", "character 6: ',' belongs"),
        ("3x3x3", "(R: U)", "character 3: ':' belongs"),
        ("3x3x3", "R (U", "character 3: '(' is never closed"),
        ("3x3x3", "[R, U)", "character 6: ')' closes nothing"),
        ("3x3x3", "R]", "character 2: ']' closes nothing"),
        ("3x3x3", "[R U]", "character 5: square brackets hold two parts"),
        ("3x3x3", "[R, ]", "character 5: nothing stands before ']'"),
        ("3x3x3", "R: ", "nothing follows"),
        ("3x3x3", "()", "character 2: nothing stands"),
        ("3x3x3", "(R)0", "character 4: a repeat is done at least once"),
        ("3x3x3", "R0", "character 2: a turn is done at least once"),
        ("3x3x3", "R U0'", "character 4: a turn is done at least once"),
        ("3x3x3", "R^-0", "character 2: a turn is done at least once"),
        ("3x3x3", "R'0", "character 2: a turn is done at least once"),
        ("3x3x3", "R x0", "character 4: a turn is done at least once"),
        ("3x3x3", "R \udcff", "character 3: '\\xff' is no turn; 3x3x3 has"),
        ("3x3x3", "4R", "character 1: '4R' is no turn"),
        ("4x4x4", "M", "character 1: 'M' is no turn"),
        ("2x2x2", "M", "character 1: 'M' is no turn"),
        ("cube-corners", "UFR UBL R", "character 9: 'R' is no turn"),
        ("cube-corners", "UFRUBL", "cube-corners has the layers UFR UBL DFL DBR"),
        ("tetrahedron-corners", "U d", "character 3: 'd' is no turn"),
    ],
)
def test_a_wrong_text_is_told_by_its_character(name: str, text: str, said: str) -> None:
    with pytest.raises(NotationError) as caught:
        notation.parse(load(name), text)
    assert said in str(caught.value)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("(" * 51 + "R" + ")" * 51, "more than 50 deep"),
        ("(" * 50_000, "more than 50 deep"),
        ("R " * 10_001, "10,001 turns"),
        ("(R U)5001", "10,002 turns"),
        ("((((R)99999)99999)99999)99999", "far too many turns"),
        ("R" * 100_001, "100,001 characters"),
        ("(R)" + "9" * 5_000, "5,000 digits"),
        ("R" + "9" * 7, "7 digits"),
    ],
)
def test_too_much_is_told_at_once(text: str, said: str) -> None:
    with pytest.raises(LimitError) as caught:
        notation.parse(load("3x3x3"), text)
    assert said in str(caught.value)


@pytest.mark.parametrize(
    "text",
    [
        "(" * 50 + "R" + ")" * 50,
        "(R)" + " " * 90_000,
        "R " * 10_000,
        "[R, " * 11 + "U" + "]" * 11,
        "(Rw x)5000",
    ],
)
def test_the_most_that_is_allowed_is_read(text: str) -> None:
    assert len(notation.parse(load("3x3x3"), text).word) <= notation.MOST_TURNS


def test_wide_turns_count_by_the_layers_that_turn() -> None:
    with pytest.raises(LimitError):
        notation.parse(load("5x5x5"), "(3Rw)4000")


@given(text=st.text(st.sampled_from("RULMxyzrwi'2359()[],:^ \n\u2019\u00d7Qß\x1b"), max_size=30))
def test_any_text_is_a_sequence_or_one_sentence(text: str) -> None:
    for name in ("2x2x2", "4x4x4", "cube-corners"):
        puzzle, said = load(name), ""
        try:
            parsed = notation.parse(puzzle, text)
            again = notation.parse(puzzle, brackets.text(parsed.tree))
            assert again == parsed
        except TrefoilError as error:
            said = str(error)
        assert said.isprintable()


# Printing from words.


@pytest.mark.parametrize("name", SEVERAL)
@given(setup=numbers, a=numbers, b=numbers)
def test_the_bracket_form_means_the_setup_the_parts_and_their_undoing(
    name: str, setup: list[int], a: list[int], b: list[int]
) -> None:
    puzzle = load(name)
    s, x, y = (tuple(n % len(puzzle.turns) for n in part) for part in (setup, [1, *a], [2, *b]))
    text = notation.bracket(puzzle, s, x, y)
    undo = puzzle.inverse
    assert notation.parse(puzzle, text).word == s + x + y + undo(x) + undo(y) + undo(s)
    assert text.startswith("[")
    assert text.count("[") == (2 if s else 1)


def test_an_effect_is_the_same_however_the_sequence_is_written() -> None:
    puzzle = load("3x3x3")
    forms = [
        "[R U R' U', L']",
        "[[R, U], L']",
        "R U R' U' L' (R U R' U')' L",
        "[R:U]U'[L':U R U' R']",
    ]
    found = {effects.effect_of(puzzle, notation.parse(puzzle, x).word) for x in forms}
    assert len(found) == 1
