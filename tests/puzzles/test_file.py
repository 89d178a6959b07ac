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
from puzzles.errors import NameNotFoundError, PuzzleFileError
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
    "key given twice": (GOOD + "steps = 2\n", "own.toml: not well-formed TOML"),
    "nested without end": ("a = " + "[" * 5000, "own.toml: not well-formed TOML"),
    "unknown key": ("colour = 1\n" + GOOD, "own.toml: colour"),
    "unknown key of a layer": (GOOD + "speed = 1\n", "speed"),
    "missing key": (GOOD.replace('up = "U"', ""), "own.toml: up"),
    "unknown body": (GOOD.replace('"cube"', '"pyramid"'), "body.*'cube'"),
    "too few steps": (GOOD.replace("steps = 4", "steps = 1"), "steps"),
    "too many steps": (GOOD.replace("steps = 4", "steps = 25"), "steps"),
    "both ends": (GOOD + "between = [0, 1]\n", "layers 1: give either `above` or `between`"),
    "no end": (GOOD.replace('above = "1/3"', ""), "layers 1: give either `above` or `between`"),
    "no layers": (GOOD[: GOOD.index("[[")], "layers"),
    "letters too long": (GOOD + "[body]\npoints = []\n", "TOML"),
    "nothing": ("", "own.toml"),
}

#: Those of the above that a JSON Schema can see too.
BY_SCHEMA = [
    "unknown key",
    "unknown key of a layer",
    "missing key",
    "unknown body",
    "too few steps",
    "too many steps",
    "no layers",
    "nothing",
]


@pytest.mark.parametrize("name", catalogue())
def test_catalogue_files_are_valid_by_the_schema(name: str) -> None:
    entry = resources.files("puzzles") / "catalogue" / f"{name}.toml"
    data = tomllib.loads(entry.read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema())
    jsonschema.validate(data, schema())


@pytest.mark.parametrize("wrong", BY_SCHEMA)
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
