"""`trefoil read` and the API's readings: the same object, in a terminal and as JSON."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from puzzles import load
from puzzles.notation import parse, write
from puzzles.scrambles import scrambles
from puzzles.words import normal
from service.api.models import ReadingReport
from service.cli import run
from service.desk import Desk
from service.stores.sqlite import SqliteStore

Ask = Callable[..., tuple[int, Any]]

NESTED = "R U R' U' L' U R U' R' L"


def told(puzzle: str, sequence: str, capsys: pytest.CaptureFixture[str]) -> Any:
    assert run(["read", puzzle, sequence, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_a_reading_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    report = told("3x3x3", NESTED, capsys)
    ReadingReport.model_validate(report)
    assert report["kind"] == "commutator"
    assert report["notation"] == "[[R, U], L']"
    assert (report["commutator"], report["unbalanced"], report["things"]) == (True, [], 3)
    assert report["cycles"] == [["UFL", "RUB", "BUL"]]
    top = report["tree"]
    assert [(part["role"], part["kind"]) for part in top["parts"]] == [
        ("A", "commutator"),
        ("B", "turns"),
    ]
    # Common practice: after R U R' U' only UBL of the L layer is out of its slot.
    assert top["shared"] == {"slot": "UBL", "waits": "UBR", "slips": "UFL"}
    assert top["does"] == "three-cycle"
    assert report["inverse"] == {
        "sequence": "L' R U R' U' L U R U' R'",
        "notation": "[L', [R, U]]",
        "blocked": None,
    }


@pytest.mark.parametrize("name", ["3x3x3", "octahedron-faces", "hexagonal-prism"])
def test_images_do_the_same_in_other_letters(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Every image is its brackets multiplied out, has as many turns, order and pieces."""
    puzzle = load(name)
    first, second = puzzle.layers[0].name, puzzle.layers[1].name
    report = told(name, f"{first} {second} {first}' {second}' {first}", capsys)
    images = [*report["mirrors"], *report["holdings"]]
    assert images
    assert len({one["sequence"] for one in report["holdings"]}) == len(report["holdings"])
    assert len({one["sequence"] for one in report["mirrors"]}) == len(report["mirrors"])
    for one in images:
        word = parse(puzzle, one["sequence"]).word
        assert normal(puzzle, parse(puzzle, one["notation"]).word) == word
        assert len(word) == report["turns"]
        again = told(name, one["sequence"], capsys)
        assert (again["order"], again["pieces_moved"]) == (report["order"], report["pieces_moved"])
        if one is images[-1] or one is images[0]:
            assert again["kind"] == report["kind"]


def test_the_first_mirror_exchanges_left_and_right(capsys: pytest.CaptureFixture[str]) -> None:
    """Common practice: in a mirror R becomes L', U becomes U'."""
    report = told("3x3x3", "R U R' F2", capsys)
    assert report["mirrors"][0]["sequence"] == "L' U' L F2"
    assert (len(report["mirrors"]), len(report["holdings"])) == (24, 23)
    held = next(one for one in report["holdings"] if (one["up"], one["front"]) == ("U", "R"))
    assert held["sequence"] == "F U F' L2"


@pytest.mark.parametrize(
    ("sequence", "commutator", "said"),
    [
        (NESTED, True, "a commutator, [A, B]"),
        ("F R U R' U' F'", True, "a commutator with a setup"),
        ("R U", False, "no commutator, for the turns of U and R do not sum to nothing"),
        ("(R U R' U')3", None, "none found"),
        ("R U U' R'", None, "all its turns cancel"),
        ("R U R", False, "a conjugate"),
        (("R U F " * 40), None, "a repeat"),
    ],
)
def test_what_is_said(
    sequence: str, commutator: bool | None, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    report = told("3x3x3", sequence, capsys)
    assert said in report["text"]
    assert report["commutator"] is commutator
    assert not report["parts_only"]


def test_what_is_too_long_is_said_to_be(capsys: pytest.CaptureFixture[str]) -> None:
    """A hundred and twenty turns whose sums are nothing, and which repeat nothing."""
    puzzle = load("3x3x3")
    half = list(scrambles(puzzle, 3, 1, 20))
    back = [puzzle.inverse(word) for word in (half[1], half[0], half[2])]
    word = tuple(turn for part in (*half, *back) for turn in part)
    report = told("3x3x3", write(puzzle, word), capsys)
    assert report["turns"] > 100
    assert report["parts_only"]
    assert report["commutator"] is None
    assert "only parts were read" in report["text"]


def test_the_levels_in_a_terminal(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["read", "3x3x3", f"F {NESTED} F'"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert "Read as: [F: [[R, U], L']]" in lines
    tree = [line for line in lines if " turn" in line and "moves" in line]
    assert [len(line) - len(line.lstrip()) for line in tree] == [0, 2, 2, 4, 6, 6, 4]
    assert tree[1].strip() == "setup: F (1 turn, moves 8 pieces)"
    assert any("A = R U R' U', B = L'. After A only UBL" in line for line in lines)
    assert any("seen in a mirror" in line for line in lines)
    assert run(["read", "3x3x3", NESTED, "--all"]) == 0
    assert capsys.readouterr().out.count("in front:") == 47


@pytest.mark.parametrize(
    "arguments",
    [
        ["read", "3x3x3"],
        ["read", "3x3x3", "R Q"],
        ["read", "3x3x3", "[" * 10_000],
        ["read", "3x3x3", "(R U)1000000"],
        ["read", "nothing", "R"],
    ],
)
def test_bad_input_is_one_sentence(
    arguments: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(arguments) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert len(printed.err.splitlines()) == 1
    assert run([*arguments, "--json"]) == 2
    assert json.loads(capsys.readouterr().out)["error"]


def test_blocked_turns_are_told(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["read", "3x3x3-bandaged", "R U R"]) == 2
    assert "blocked" in capsys.readouterr().err


def test_puzzles_whose_turns_are_written_have_no_other_holdings(
    capsys: pytest.CaptureFixture[str],
) -> None:
    report = told("three-wheels", "L R L' R'", capsys)
    assert report["commutator"] is True
    assert (report["mirrors"], report["holdings"]) == ([], [])


def test_the_service_says_what_the_command_prints(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    desk = Desk(SqliteStore(tmp_path / "store.sqlite"))
    for sequence in (NESTED, "R U", ""):
        assert json.loads(desk.reading("3x3x3", sequence)) == told("3x3x3", sequence, capsys)
