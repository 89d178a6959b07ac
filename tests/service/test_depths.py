"""The command `depths`: proposals as JSON and as text, files and pictures, and what is refused."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from puzzles import load
from service import watching
from service.cli import run

Ask = Callable[..., tuple[int, Any]]

CUBE = """description = "A cube whose faces turn."
body = "cube"
up = "U"
front = "F"

[[layers]]
axes = "faces"
steps = 4
"""
BALL = """description = "A ball whose corners turn."
shape = "ball"
body = "cube"
up = "U"
front = "F"

[types]
nothing = "like this"

[[layers]]
axes = "corners"
steps = 3
within = "? + 5deg"
"""


@pytest.fixture
def cube(tmp_path: Path) -> str:
    path = tmp_path / "cube.toml"
    path.write_text(CUBE)
    return str(path)


@pytest.fixture
def ball(tmp_path: Path) -> str:
    path = tmp_path / "ball.toml"
    path.write_text(BALL)
    return str(path)


def test_a_cube_is_found(asked: Ask, cube: str) -> None:
    status, said = asked("depths", cube, "--count", "8,12,6")
    assert status == 0
    assert said["puzzle"] == "cube"
    assert said["wanted"] == [12, 8, 6]
    (own,) = said["proposals"]
    assert own["pieces"] == 26
    assert own["counts"] == [12, 8, 6]
    assert own["counted_as"] == [[12], [8], [6]]
    assert own["not_counted"] == []
    (size,) = own["sizes"]
    assert (size["layers"], size["key"], size["unit"]) == ("faces", "above", None)
    assert (size["from"], size["to"]) == (pytest.approx(0), pytest.approx(1))
    assert size["from"] < size["example"] < size["to"]
    assert tomllib.loads(own["toml"])["layers"][0]["above"] == size["entry"]
    assert said["searched"]["complete"]
    assert not said["stopped"]


def test_files_and_pictures_are_written(asked: Ask, ball: str, tmp_path: Path) -> None:
    """The written files are puzzles with the pieces that were promised; 14 = 8 + 6."""
    out = tmp_path / "proposals"
    status, said = asked(
        "depths", ball, "--count", "12 14", "--out", str(out), "--picture", str(out)
    )
    assert status == 0
    own = said["proposals"][0]
    assert own["pieces"] == 26
    assert own["counted_as"] == [[8, 6], [12]]
    assert own["problem"] is None
    size = own["sizes"][0]
    assert size["unit"] == "degrees"
    # The file adds 5 degrees: the caps touch at 35.26 degrees, and meet at 54.74.
    assert size["from"] == pytest.approx(30.264389683)
    assert size["to"] == pytest.approx(49.735610317)
    assert size["entry"].endswith("+ 5deg")
    for one in said["proposals"]:
        puzzle = load(one["file"])
        assert sorted((kind.count for kind in puzzle.types), reverse=True) == one["counts"]
        picture = ElementTree.parse(one["picture"]).getroot()
        assert picture.tag.endswith("svg")


def test_text_says_ranges_and_examples(cube: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["depths", cube, "--count", "8 12"]) == 0
    said = capsys.readouterr().out
    assert "26 pieces: 12, 8, 6" in said
    assert "above 0 to 1, for example 0.5" in said
    assert "not counted  6" in said


def test_exact_sizes_are_said_with_their_formula(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "octahedron.toml"
    path.write_text(CUBE.replace("cube", "octahedron").replace("steps = 4", "steps = 3"))
    assert run(["depths", str(path), "--count", "6 12 12 12"]) == 0
    assert "above exactly 1/3, 0.333333" in " ".join(capsys.readouterr().out.split())


def test_nothing_fits(asked: Ask, cube: str, capsys: pytest.CaptureFixture[str]) -> None:
    status, said = asked("depths", cube, "--count", "9 13")
    assert status == 1
    assert said["proposals"] == []
    assert said["nearest"][0]["counts"] == [12, 8, 6]
    assert "12, 8, 6" in said["reason"]
    assert run(["depths", cube, "--count", "9 13"]) == 1
    assert "the nearest counts are 12, 8, 6 (with" in " ".join(capsys.readouterr().out.split())


def test_an_interrupt_shows_what_was_found(
    asked: Ask, cube: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def pressed(self: watching.Stopper) -> None:
        self.pressed = True

    monkeypatch.setattr(watching.Stopper, "__init__", pressed)
    status, said = asked("depths", cube, "--count", "8 12 6")
    assert status == 130
    assert said["stopped"]
    assert not said["searched"]["complete"]


BAD = [
    ["depths"],
    ["depths", "{cube}"],
    ["depths", "{cube}", "--count", ""],
    ["depths", "{cube}", "--count", "eight"],
    ["depths", "{cube}", "--count", "0"],
    ["depths", "{cube}", "--count", "8", "--seconds", "0"],
    ["depths", "{cube}", "--count", "8", "--seconds", "nan"],
    ["depths", "{cube}", "--count", "8", "--most", "0"],
    ["depths", "{cube}", "--count", "8", "--out", "{cube}"],
    ["depths", "{cube}", "--count", "8", "--picture", "/no/such/folder"],
    ["depths", "{cube}", "--count", "8", "--out", ""],
    ["depths", "3x3x3", "--count", "8"],
    ["depths", "nothing", "--count", "8"],
    ["depths", "three-wheels", "--count", "8"],
    ["parts", "{ball}"],
]


@pytest.mark.parametrize("arguments", BAD)
def test_bad_input_gets_one_sentence(
    arguments: list[str], cube: str, ball: str, capsys: pytest.CaptureFixture[str]
) -> None:
    words = [x.replace("{cube}", cube).replace("{ball}", ball) for x in arguments]
    assert run(words) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert len(said.err.splitlines()) == 1
    assert run([*words, "--json"]) == 2
    assert json.loads(capsys.readouterr().out)["error"]
