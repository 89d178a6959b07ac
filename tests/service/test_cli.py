"""The command line as a whole: bad input, clean text, and the commands that need no search."""

from __future__ import annotations

import json
import subprocess
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import jsonschema
import pytest

from puzzles import load
from puzzles.file import catalogue
from puzzles.notation import parse
from puzzles.words import length
from service.cli import run

Ask = Callable[..., tuple[int, Any]]

BAD = [
    [],
    ["nothing"],
    ["find"],
    ["find", "3x3x3"],
    ["find", "3x3x3", "UFR", "UBL"],
    ["find", "3x3x3", "UFR", "UBL", "DFL", "UF"],
    ["find", "3x3x3", "UFR", "UBL", "UFR"],
    ["find", "3x3x3", "UFR", "UBL", "XYZ"],
    ["find", "3x3x3", "UFR", "UBL", "\udcff\x1b[31m"],
    ["find", "3x3x4", "UFR", "UBL", "DFL"],
    ["find", "3x3x3", "UFR", "UBL", "DFL", "--turns", "many"],
    ["find", "3x3x3", "UFR", "UBL", "DFL", "--turns", "0"],
    ["find", "3x3x3", "UFR", "UBL", "DFL", "--half-length", "40"],
    ["find", "3x3x3", "UFR", "UBL", "DFL", "--setup", "-1"],
    ["find", "3x3x3", "UFR", "UBL", "DFL", "--seconds", "nan"],
    ["find", "3x3x3", "UFR", "UBL", "DFL", "--layers", "U Q"],
    ["find", "3x3x3", "UFR", "UBL", "DFL", "--layers", ""],
    ["find", "3x3x3", "UFR", "UBL", "DFL", "--keep", "corner", "--free", "edge"],
    ["find", "3x3x3", "UFR", "UBL", "DFL", "--free", "corner"],
    ["find", "3x3x3", "UFR", "UBL", "DFL", "--keep", "wing"],
    ["find", "3x3x3", "UFR", "UBL", "DFL", "--weights", "beauty=1"],
    ["find", "3x3x3", "UFR", "UBL", "DFL", "--weights", "turns=-1"],
    ["find", "3x3x3", "UFR", "UBL", "DFL", "--weights", "turns"],
    ["find", "3x3x3", "UFR", "UBL", "DFL", "--most", "0"],
    ["find", "3x3x3", "UFR", "UBL", "DFL", "--threads", "1000"],
    ["find", "3x3x3", "UFR", "UBL", "DFL", "--what"],
    ["find", "5x5x5", "UF.L", "FU.R", "BU.L", "--half-length", "12"],
    ["try", "3x3x3"],
    ["try", "3x3x3", "R Q"],
    ["try", "3x3x3", "(R U"],
    ["try", "3x3x3", "((((R)999)999)999)999"],
    ["parts", "no/such/file.toml"],
    ["parts", "."],
    ["atlas", "3x3x3", "wing"],
    ["atlas", "3x3x3", "corner", "--keep", "edge"],
    ["scramble", "3x3x3", "--count", "0"],
    ["scramble", "3x3x3", "--count", "1000000"],
    ["scramble", "3x3x3", "--length", "-3"],
]


@pytest.mark.parametrize("arguments", BAD, ids=" ".join)
def test_bad_input_is_one_sentence(
    arguments: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(arguments) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert len(printed.err.splitlines()) == 1
    assert printed.err.startswith("trefoil: ")
    assert "Traceback" not in printed.err
    assert "\x1b" not in printed.err
    if arguments:
        assert run([*arguments, "--json"]) == 2
        assert json.loads(capsys.readouterr().out)["error"]


def test_names_that_are_near_are_offered(asked: Ask) -> None:
    assert "3x3x3" in asked("parts", "3x3x33")[1]["error"]
    assert "character 3" in asked("try", "3x3x3", "R Q")[1]["error"]
    assert "corner" in asked("atlas", "3x3x3", "corners1")[1]["error"]


@pytest.mark.parametrize("value", ["x", "1.5", "", "\u0663", "9" * 40])
@pytest.mark.parametrize(
    "words",
    [
        ["find", "3x3x3", "UF", "UB", "UL", "--turns"],
        ["find", "3x3x3", "UF", "UB", "UL", "--half-length"],
        ["find", "3x3x3", "UF", "UB", "UL", "--setup"],
        ["find", "3x3x3", "UF", "UB", "UL", "--threads"],
        ["find", "3x3x3", "UF", "UB", "UL", "--most"],
        ["atlas", "3x3x3", "--most"],
        ["scramble", "3x3x3", "--count"],
        ["scramble", "3x3x3", "--length"],
        ["scramble", "3x3x3", "--seed"],
    ],
    ids=" ".join,
)
def test_what_is_no_number_is_said_in_our_words(asked: Ask, words: list[str], value: str) -> None:
    status, report = asked(*words, value)
    assert status == 2
    assert report["error"] == (
        f"{words[-1]}: a whole number was expected, and {value[:20]!r} was given"
    )


def test_seconds_that_are_no_number(asked: Ask) -> None:
    status, report = asked("find", "3x3x3", "UF", "UB", "UL", "--seconds", "soon")
    assert status == 2
    assert report["error"] == "--seconds: a number was expected, and 'soon' was given"


def test_threads_come_from_the_surroundings(asked: Ask, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TREFOIL_THREADS", "lots")
    status, report = asked("find", "3x3x3", "UFR", "UBL", "DFL", "--half-length", "2")
    assert status == 2
    assert "TREFOIL_THREADS" in report["error"]


def test_control_characters_are_dropped(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "odd\x1b[2J.toml"
    path.write_text(
        'description = "red \\u001b[31m and back \\u202e and bell \\u0007"\nbody = "cube"\n'
        'up = "U"\nfront = "F"\nnote = "\\u009b2J"\n'
        '[[layers]]\naxes = "faces"\nabove = "1/3"\nsteps = 4\n',
        encoding="utf-8",
    )
    for command in (["parts", str(path)], ["try", str(path), "R U"], ["scramble", str(path)]):
        assert run(command) == 0
        assert run([*command, "--json"]) == 0
    assert run(["parts", str(path) + "\x1b[2J\x07"]) == 2
    printed = capsys.readouterr()
    for sign in "\x1b\x07\x9b\u202e":
        assert sign not in printed.out
        assert sign not in printed.err


def test_puzzles_lists_the_catalogue(asked: Ask, capsys: pytest.CaptureFixture[str]) -> None:
    status, report = asked("puzzles")
    assert status == 0
    assert [puzzle["name"] for puzzle in report["puzzles"]] == catalogue()
    assert all(puzzle["description"] for puzzle in report["puzzles"])
    assert run(["puzzles"]) == 0
    assert all(name in capsys.readouterr().out for name in catalogue()[:1])


def test_the_schema_of_puzzle_files_is_right(asked: Ask) -> None:
    status, schema = asked("puzzles", "--schema")
    assert status == 0
    for path in Path(sys.modules["puzzles"].__file__ or "").parent.glob("catalogue/*.toml"):
        jsonschema.validate(tomllib.loads(path.read_text(encoding="utf-8")), schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({"body": "cube"}, schema)


def test_parts(asked: Ask, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status, report = asked("parts", "3x3x3", "--picture", str(tmp_path / "cube.svg"))
    assert status == 0
    ElementTree.parse(tmp_path / "cube.svg")
    types = {kind["name"]: kind for kind in report["types"]}
    assert (types["corner"]["count"], types["corner"]["twists"]) == (8, 3)
    assert types["corner"]["layers"] == [3]
    assert types["edge"]["layers"] == [2]
    assert types["centre"]["moves"] is False
    # The number of positions of this puzzle: common knowledge, 8! 3^7 12! 2^11 / 2.
    assert report["order"] == report["order_alike"] == "43252003274489856000"
    assert report["order_proven"] is True
    assert [layer["name"] for layer in report["layers"]] == list("UDFBLR")
    assert all(layer["steps"] == 4 for layer in report["layers"])
    assert any("twist" in law for law in report["laws"])
    assert run(["parts", "3x3x3"]) == 0
    assert "43,252,003,274,489,856,000" in capsys.readouterr().out


def test_try(asked: Ask, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    picture = tmp_path / "moved.svg"
    status, report = asked("try", "3x3x3", "R U R' U' L' U R U' R' L", "--picture", str(picture))
    assert status == 0
    ElementTree.parse(picture)
    assert report["order"] == 3
    assert report["pieces_moved"] == 3
    assert report["turns"] == 10
    [cycle] = report["cycles"]
    assert asked("find", "3x3x3", *cycle, "--half-length", "6")[0] == 0
    # R U is done 105 times until nothing has moved: common practice.
    assert asked("try", "3x3x3", "R U")[1]["order"] == 105
    # y turns the whole cube as U turns: then B is on the right (WCA Regulations, 12a4).
    assert asked("try", "3x3x3", "y R y'")[1]["sequence"] == "B"
    assert "x" in asked("try", "3x3x3", "x")[1]["left_over"]
    nothing = asked("try", "3x3x3", "R R'")[1]
    assert (nothing["cycles"], nothing["order"], nothing["sequence"]) == ([], 1, "")
    assert run(["try", "3x3x3", "R U R' U'"]) == 0
    assert "7 pieces" in capsys.readouterr().out


def test_try_says_when_all_looks_as_before(asked: Ask, capsys: pytest.CaptureFixture[str]) -> None:
    """A three-cycle of centres of one colour: nothing can be seen of it (common practice)."""
    like = "[2F2: [[2F: L'], 2L2]]"
    told = asked("try", "4x4x4", like)[1]
    assert (told["pieces_moved"], told["looks_moved"]) == (3, 0)
    assert run(["try", "4x4x4", like]) == 0
    assert "looks as before" in " ".join(capsys.readouterr().out.split())
    assert asked("try", "4x4x4", "[[2F: L'], 2L2]")[1]["looks_moved"] > 0
    assert asked("try", "3x3x3", "R U R' U'")[1]["looks_moved"] == 7


def test_try_shows_what_was_written(asked: Ask, capsys: pytest.CaptureFixture[str]) -> None:
    typed = "R U R' U' L' U R U' R' L"
    assert asked("try", "3x3x3", typed)[1]["written"] == typed
    assert run(["try", "3x3x3", typed]) == 0
    printed = capsys.readouterr().out
    assert typed in printed
    assert "cancel" not in printed
    # R and L commute, so that R' L R is L; amounts of one layer add up.
    report = asked("try", "3x3x3", "[R': L] (U)2")[1]
    assert report["written"] == "R' L R U U"
    assert (report["sequence"], report["turns"]) == ("L U2", 2)
    assert run(["try", "3x3x3", "[R': L] (U)2"]) == 0
    printed = capsys.readouterr().out
    assert "R' L R U U" in printed
    assert "5 as written, 2 after cancelling: L U2" in printed
    assert run(["try", "3x3x3", "R R'"]) == 0
    assert "2 as written, all of them cancel" in capsys.readouterr().out


@pytest.mark.parametrize("name", ["2x2x2", "3x3x3", "3x3x3-slices", "dodecahedron-faces"])
def test_scrambles(asked: Ask, name: str) -> None:
    status, report = asked("scramble", name, "--count", "20", "--seed", "7", "--length", "30")
    assert status == 0
    puzzle = load(name)
    assert len(set(report["scrambles"])) == 20
    for text in report["scrambles"]:
        word = parse(puzzle, text).word
        assert len(word) == length(puzzle, word) == 30
    assert asked("scramble", name, "--count", "20", "--seed", "7", "--length", "30")[1] == report
    other = asked("scramble", name, "--count", "20", "--seed", "8", "--length", "30")[1]
    assert other["scrambles"] != report["scrambles"]


def test_scrambles_stay_the_same_from_version_to_version(asked: Ask) -> None:
    _, report = asked("scramble", "3x3x3", "--seed", "1", "--length", "8")
    assert report["scrambles"] == ["U' R B' D B2 F L2 B'"]
    _, drawn = asked("scramble", "3x3x3")
    assert asked("scramble", "3x3x3", "--seed", str(drawn["seed"]))[1] == drawn


def test_version_and_help(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["--version"]) == 0
    assert capsys.readouterr().out.startswith("trefoil ")
    assert run(["--help"]) == 0
    printed = capsys.readouterr().out
    assert all(name in printed for name in ("find", "atlas", "parts", "try", "scramble", "puzzles"))


def test_light_commands_need_no_kernels_and_no_search() -> None:
    code = (
        "import sys; from service.cli import run; run(sys.argv[1:]);"
        "sys.exit(9 if {'numba', 'search.encoding'} & set(sys.modules) else 0)"
    )
    for arguments in (["puzzles"], ["try", "3x3x3", "R U"], ["scramble", "3x3x3"]):
        done = subprocess.run(
            [sys.executable, "-c", code, *arguments], capture_output=True, text=True
        )
        assert done.returncode == 0, (arguments, done.stderr)


def test_what_nobody_expected_is_one_sentence_too(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def failing(*_: object) -> None:
        raise ZeroDivisionError("deep inside")

    monkeypatch.setattr("puzzles.load", failing)
    monkeypatch.delenv("TREFOIL_DEBUG", raising=False)
    assert run(["try", "3x3x3", "R"]) == 70
    assert len(capsys.readouterr().err.splitlines()) == 1
    monkeypatch.setenv("TREFOIL_DEBUG", "1")
    with pytest.raises(ZeroDivisionError):
        run(["try", "3x3x3", "R"])
