"""Puzzle files: the JSON Schema, the catalogue, and one sentence for everything that is wrong."""

from __future__ import annotations

import tomllib
from importlib import resources
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from puzzles import load
from puzzles.compile import compiled
from puzzles.errors import LimitError, NameNotFoundError, PuzzleFileError
from puzzles.file import LARGEST_FILE, catalogue, parse, read, schema

GOOD = """
description = "A cube of which one face turns."
body = "cube"
up = "U"
front = "F"
[[layers]]
axes = ["U"]
above = "1/3"
steps = 4
"""

#: What is wrong, the file's text, and what the sentence must name.
BAD = {
    "not TOML": ("body = [", "own.toml: not well-formed TOML"),
    "key given twice": (GOOD + "steps = 2\n", "TOML at line 10, column 10: a key is given twice"),
    "nested without end": ("a = " + "[" * 5000, "own.toml: not well-formed TOML"),
    "unknown key": ("colour = 1\n" + GOOD, "own.toml: 'colour' is not known; known are descr"),
    "unknown key of a layer": (GOOD + "speed = 1\n", "layers 1: 'speed' is not known"),
    "key with a slip": (
        GOOD.replace("above", "abvoe"),
        "layers 1: 'abvoe' is not known; did you mean 'above'",
    ),
    "needed key with a slip": (GOOD.replace("steps", "stesp"), "did you mean 'steps'"),
    "slip in the second layers": (
        GOOD + GOOD[GOOD.index("[[") :].replace("axes", "axis"),
        "layers 2: 'axis' is not known; did you mean 'axes'",
    ),
    "missing key": (GOOD.replace('up = "U"', ""), "own.toml: 'up' is missing"),
    "missing key of a layer": (GOOD.replace("steps = 4", ""), "layers 1: 'steps' is missing"),
    "unknown body": (
        GOOD.replace('"cube"', '"pyramid"'),
        "body: expected tetrahedron, cube, .* or a table .*, not 'pyramid'",
    ),
    "body without points": (
        GOOD.replace('body = "cube"', "body = {}"),
        "body: 'points' is missing; expected a list of 4 to 120 points",
    ),
    "point of two sizes": (
        GOOD.replace('"cube"', "{points = [[1, 1, 1], [1, 0], [0, 1, 0], [0, 0, 1]]}"),
        "body.points 2: expected three sizes",
    ),
    "too few steps": (
        GOOD.replace("steps = 4", "steps = 1"),
        "layers 1: steps: expected a whole number from 2 to 24, not 1",
    ),
    "too many steps": (GOOD.replace("steps = 4", "steps = 25"), "from 2 to 24, not 25"),
    "steps in quotes": (GOOD.replace("steps = 4", 'steps = "4"'), "from 2 to 24, not '4'"),
    "steps that are true": (GOOD.replace("steps = 4", "steps = true"), "from 2 to 24, not true"),
    "depth that is true": (
        GOOD.replace('above = "1/3"', "above = true"),
        "layers 1: above: expected a number or a formula .*, not true",
    ),
    "one depth of two": (
        GOOD.replace('above = "1/3"', "between = [0]"),
        "layers 1: between: expected two sizes, the smaller first, not a list of 1",
    ),
    "no axes": (GOOD.replace('["U"]', "[]"), "layers 1: axes: expected .*, not an empty list"),
    "axis that is a number": (GOOD.replace('["U"]', "[3]"), "axes 1: expected the letters of face"),
    "no description": (
        GOOD.replace('"A cube of which one face turns."', '""'),
        "description: expected a text of 1 to 500 characters, not an empty text",
    ),
    "one table of layers": (GOOD.replace("[[layers]]", "[layers]"), "expected 1 to 20 .* a table"),
    "too many layers": (GOOD + GOOD[GOOD.index("[[") :] * 20, "expected 1 to 20 .* a list of 21"),
    "both ends": (GOOD + "between = [0, 1]\n", "layers 1: give either `above` or `between`"),
    "no end": (GOOD.replace('above = "1/3"', ""), "layers 1: give either `above` or `between`"),
    "no layers": (GOOD[: GOOD.index("[[")], "'layers' is missing"),
    "letters too long": (GOOD + "[body]\npoints = []\n", "TOML"),
    "nothing": ("", "own.toml"),
}

#: Those of the above that a JSON Schema cannot see.
NOT_BY_SCHEMA = {
    "not TOML",
    "key given twice",
    "nested without end",
    "letters too long",
    "both ends",
    "no end",
}


@pytest.mark.parametrize("name", catalogue())
def test_catalogue_files_are_valid_by_the_schema(name: str) -> None:
    entry = resources.files("puzzles") / "catalogue" / f"{name}.toml"
    data = tomllib.loads(entry.read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema())
    jsonschema.validate(data, schema())


@pytest.mark.parametrize("wrong", sorted(set(BAD) - NOT_BY_SCHEMA))
def test_bad_files_are_not_valid_by_the_schema(wrong: str) -> None:
    data = tomllib.loads(BAD[wrong][0])
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(data, schema())


@pytest.mark.parametrize("wrong", BAD)
def test_a_bad_file_gets_one_clear_sentence(wrong: str) -> None:
    text, sentence = BAD[wrong]
    with pytest.raises(PuzzleFileError, match=sentence) as caught:
        parse(text, "own.toml")
    assert "\n" not in str(caught.value)
    for theirs in ("Input", "Field", "Extra", "valid ", "at most", "literal", "pydantic"):
        assert theirs not in str(caught.value)


@pytest.mark.parametrize(("up", "front"), [("U", "U"), ("U", "D"), ("UFR", "DBL")])
def test_front_is_no_up_and_no_down(up: str, front: str) -> None:
    text = GOOD.replace('up = "U"', f'up = "{up}"').replace('front = "F"', f'front = "{front}"')
    with pytest.raises(PuzzleFileError, match="front: must differ from up and its opposite"):
        compiled("own", parse(text, "own.toml"))


def test_a_body_may_be_spelled_with_a_space() -> None:
    text = GOOD.replace('"U"', '"A"').replace('"F"', '"C"').replace("1/3", "0.9")
    for spelled in ("rhombic dodecahedron", "rhombic-dodecahedron"):
        model = parse(text.replace('"cube"', f'"{spelled}"'), "own.toml")
        with pytest.raises(PuzzleFileError, match="layer A by 1 of 4"):
            compiled("own", model)
        own = model.model_copy(update={"layers": [model.layers[0].model_copy(update={"steps": 2})]})
        assert len(compiled("own", own).body.faces) == 12


@given(st.text(max_size=80))
def test_any_other_text_is_refused(text: str) -> None:
    with pytest.raises(PuzzleFileError):
        parse(text, "own.toml")


@given(st.sampled_from(GOOD.splitlines()[1:]), st.text(max_size=10))
def test_any_slip_in_a_good_file_is_read_or_refused(line: str, slip: str) -> None:
    text = GOOD.replace(line, line.split("=", 1)[0] + "= " + slip)
    sentence = ""
    try:
        parse(text, "own.toml")
    except PuzzleFileError as error:
        sentence = str(error)
    assert sentence == "" or sentence.startswith("own.toml: ")


def test_a_file_is_read_from_its_path(tmp_path: Path) -> None:
    path = tmp_path / "one-face.toml"
    path.write_text(GOOD, encoding="utf-8")
    name, model = read(str(path))
    assert name == "one-face"
    assert model.description.startswith("A cube")
    assert len(load(str(path)).turns) == 3


def test_a_file_that_cannot_be_read_gets_one_clear_sentence(tmp_path: Path) -> None:
    missing = tmp_path / "missing.toml"
    with pytest.raises(PuzzleFileError, match="cannot be read"):
        read(str(missing))
    with pytest.raises(PuzzleFileError, match="cannot be read"):
        read(str(tmp_path))
    large = tmp_path / "large.toml"
    large.write_bytes(b"#" * (LARGEST_FILE + 1))
    with pytest.raises(PuzzleFileError, match="at most 100,000 bytes"):
        read(str(large))
    binary = tmp_path / "binary.toml"
    binary.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(PuzzleFileError, match="UTF-8"):
        read(str(binary))


def test_the_error_of_a_file_that_cannot_be_cut_names_the_file(tmp_path: Path) -> None:
    path = tmp_path / "outside.toml"
    path.write_text(GOOD.replace("1/3", "3"), encoding="utf-8")
    with pytest.raises(PuzzleFileError, match=r"outside\.toml: layer U holds no piece"):
        load(str(path))


@pytest.mark.parametrize("name", ["", "  "])
def test_an_empty_name_is_said_to_be_empty(name: str) -> None:
    with pytest.raises(NameNotFoundError, match=r"^the puzzle's name is empty$"):
        load(name)


def test_an_unknown_name_lists_the_nearest() -> None:
    with pytest.raises(NameNotFoundError, match=r"did you mean .*3x3x3"):
        load("3x3x3x")
    with pytest.raises(NameNotFoundError, match="`trefoil puzzles` lists them"):
        load("qqqqqqqq")


def test_the_catalogue_is_sorted_and_complete() -> None:
    names = catalogue()
    assert names == sorted(names)
    wanted = "2x2x2 3x3x3 3x3x3-slices 4x4x4 5x5x5 tetrahedron-corners cube-corners"
    wanted += " octahedron-faces dodecahedron-faces cube-edges cube-faces-corners"
    assert set(wanted.split()) <= set(names)


@pytest.mark.parametrize(
    ("limit", "says"),
    [
        ("MOST_PIECES", "the cuts make 26 pieces; at most 2"),
        ("MOST_TYPES", "make 3 types of piece"),
    ],
)
def test_limits_on_pieces_and_types_stop_a_file(
    limit: str, says: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(f"puzzles.compile.{limit}", 2)
    with pytest.raises(LimitError, match=says):
        compiled(*read("3x3x3"))
