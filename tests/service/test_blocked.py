"""Commands on puzzles on which turns can be blocked: exit statuses, sentences, stored searches."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from puzzles import load
from puzzles.notation import parse
from service.cli import run
from tests.rigid import Rigid

Asked = Callable[..., tuple[int, Any]]
BANDAGED = (("UFR", "UF"), ("DBL", "DB"), ("UBL", "BL"))

FILE = """
description = "A 2x2x2 with a pair of corners fastened together."
body = "cube"
up = "U"
front = "F"
bonds = [["UFL", "UFR"], ["DFR", "DBR"]]
[types]
corner1 = "corner"
corner2 = "held-corner"
[[layers]]
axes = ["U", "F", "R"]
above = 0
steps = 4
"""


@pytest.fixture
def small(tmp_path: Path) -> str:
    path = tmp_path / "small.toml"
    path.write_text(FILE, encoding="utf-8")
    return str(path)


def test_find_gives_sequences_that_can_be_done(asked: Asked) -> None:
    """Every answer, also as written in brackets, is done by bodies of sampled points."""
    puzzle, shown = load("3x3x3-bandaged"), Rigid(load("3x3x3"), BANDAGED)
    status, report = asked("find", "3x3x3-bandaged", "UBR", "DFL", "DFR", "--half-length", "6")
    assert status == 0
    assert report["answers"][0]["turns"] == 12
    assert report["searched"]["half_length"] == 6
    # No sequence of any form has up to 10 turns (states counted from both ends).
    assert report["searched"]["complete"] >= 10
    for answer in report["answers"]:
        for text in (answer["sequence"], answer["notation"]):
            assert shown.first_blocked(parse(puzzle, text).word) is None


def test_what_was_searched_is_kept(asked: Asked) -> None:
    first = asked("find", "3x3x3-bandaged", "UR", "DL", "FL", "--turns", "12")
    again = asked("find", "3x3x3-bandaged", "UR", "DL", "FL", "--turns", "12")
    assert first == again
    assert first[0] == 0
    # A smaller bound is answered from what is kept, and gives nothing longer.
    status, report = asked("find", "3x3x3-bandaged", "UR", "DL", "FL", "--turns", "8")
    assert status == 1
    assert report["answers"] == []
    assert "up to 4 turns in S, A and B together" in report["reason"]


def test_what_is_fastened_cannot_part(asked: Asked) -> None:
    status, report = asked("find", "3x3x3-bandaged", "UFR", "DFL", "DFR")
    assert status == 3
    assert report["reason"] == (
        "The pieces UFR and UF are fastened together, so UFR cannot be cycled while UF stays in "
        "place."
    )


def test_states_that_cannot_be_reached_are_counted(asked: Asked, small: str) -> None:
    """Few enough to be seen in full: then it is impossible, not only not found."""
    status, report = asked("find", small, "UBL", "UBR", "DFL")
    assert status == 3
    assert report["reason"].startswith("No sequence of possible turns leads there")


def test_try_says_how_often_a_sequence_can_be_done(asked: Asked) -> None:
    """R stands at 90, then at 180 degrees; at 270 it does not stop."""
    assert asked("try", "3x3x3-stops", "R")[1]["repeats"] == 2
    assert asked("try", "3x3x3-stops", "R2 R2'")[1]["repeats"] is None
    assert asked("try", "3x3x3", "R")[1]["repeats"] is None


def test_try_says_which_turn_is_blocked_and_why(asked: Asked) -> None:
    status, report = asked("try", "3x3x3-bandaged", "F F' R")
    assert status == 2
    assert report["error"] == (
        "turn 3 (R) is blocked: the pieces UFR and UF are fastened together and R would take only "
        "UFR"
    )
    status, report = asked("try", "3x3x3-stops", "R L' R")
    assert status == 2
    assert report["error"].startswith("turn 2 (L') is blocked: L would stand at 270 degrees")
    status, report = asked("try", "3x3x3-bandaged", "F2 D' F2 D")
    assert status == 0
    assert report["turns"] == 4


def test_scrambles_can_be_done(asked: Asked) -> None:
    puzzle = load("3x3x3-bandaged")
    status, report = asked("scramble", puzzle.name, "--count", "5", "--seed", "1")
    assert status == 0
    for text in report["scrambles"]:
        assert puzzle.first_blocked(parse(puzzle, text).word) is None


def test_an_atlas_has_all_cycles_at_once(asked: Asked) -> None:
    puzzle, shown = load("3x3x3-bandaged"), Rigid(load("3x3x3"), BANDAGED)
    status, report = asked("atlas", puzzle.name, "corner", "--half-length", "4")
    assert status == 0
    own = report["types"][0]
    # Of 1,008 cycles of eight corners only those of the five that are not fastened, 10 * 2 * 9,
    # and perhaps few of all three pairs can be done: two pairs and a corner tear an edge away.
    assert own["cycles"] == 1008
    assert own["impossible"] >= 1008 - 180 - 18
    assert own["found"] + own["missing"] == 1008
    assert report["entries"]
    for entry in report["entries"]:
        word = parse(puzzle, entry["sequence"]).word
        assert shown.first_blocked(word) is None
        assert len(word) == entry["turns"] <= 8
        effect = puzzle.effect(word)
        assert (effect[puzzle.home] != puzzle.home).sum() == 3


def test_parts_name_what_is_fastened_and_where_layers_stop(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run(["parts", "3x3x3-bandaged"]) == 0
    assert "UFR to UF" in capsys.readouterr().out
    assert run(["parts", "3x3x3-stops"]) == 0
    assert "stops at 0, 90 and 180 degrees" in capsys.readouterr().out
    assert run(["parts", "3x3x3-halves"]) == 0
    assert "half turns only" in capsys.readouterr().out


def test_files_that_are_not_right_get_one_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "torn.toml"
    path.write_text(FILE.replace('["UFL", "UFR"]', '["DFR", "UFR"]'), encoding="utf-8")
    assert run(["parts", str(path)]) == 2
    said = capsys.readouterr().err
    assert "bonds: DFR is in two bonds" in said
    path.write_text(FILE.replace('["UFL", "UFR"], ["DFR", "DBR"]', '["UFL", "DBR"]'))
    assert run(["parts", str(path)]) == 2
    said = capsys.readouterr().err
    assert "no turn can carry UFL and DBR together" in said
    assert said.count("\n") == 1
