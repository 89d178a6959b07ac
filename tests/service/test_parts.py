"""What `parts` prints and says as JSON, the sequences it has, and the search for missing ones."""

from __future__ import annotations

import json
from collections.abc import Callable
from importlib import resources
from pathlib import Path
from typing import Any

import pytest

from puzzles import load
from puzzles.effects import cycles, effect_of
from puzzles.file import catalogue
from puzzles.least_effects import CYCLE, TWISTS, kind_of
from puzzles.notation import parse
from puzzles.words import length
from service.cli import run
from service.sequences import FILE, Kept, checked, keep, stored
from service.settings import settings
from service.stores import NoLevels, opened

Ask = Callable[..., tuple[int, Any]]
NAMES = catalogue()

#: A puzzle that is not in the catalogue, so that nothing is shipped for it.
WHEELS = """
description = "Two wheels that share a coin; each carries four coins, which show how they lie."
shape = "written"
places = 7
twists = {"1-7" = 2}

[[turns]]
name = "A"
cycles = "(1 2 3 4+1)"

[[turns]]
name = "B"
cycles = "(4 5 6 7+1)"
"""


@pytest.fixture
def wheels(tmp_path: Path) -> str:
    path = tmp_path / "wheels.toml"
    path.write_text(WHEELS, encoding="utf-8")
    return str(path)


@pytest.mark.parametrize("name", NAMES)
def test_json_says_all_there_is(asked: Ask, name: str) -> None:
    status, report = asked("parts", name)
    assert status == 0
    puzzle = load(name)
    assert [kind["name"] for kind in report["types"]] == [kind.name for kind in puzzle.types]
    assert all(
        kind["twists"] == own.seen for kind, own in zip(report["types"], puzzle.types, strict=True)
    )
    assert report["order_bounds"] == [report["order"]] * 2
    # The formula is Python's, factorials aside.
    formula = report["order_from"]["text"]
    assert _worked_out(formula) == int(report["order"])
    for effect in report["effects"]:
        if effect["sequence"] is None:
            continue
        for written in (effect["sequence"], effect["notation"]):
            word = parse(puzzle, written).word
            assert length(puzzle, word) == effect["turns"]
            found = kind_of(puzzle, puzzle.effect(word))
            assert found is not None
            assert (puzzle.types[found[0]].name, found[1]) == (effect["type"], effect["effect"])
            assert len(cycles(puzzle, effect_of(puzzle, word))) == len(effect["cycles"])
            assert puzzle.first_blocked(word) is None
    for like in report["alike"]:
        assert sorted(like["slots"]) == sorted(report["types"][_place(report, like)]["slots"])


def _place(report: Any, like: Any) -> int:
    return [kind["name"] for kind in report["types"]].index(like["types"][0])


def _worked_out(formula: str) -> int:
    import math
    import re

    text = re.sub(r"(\d+)!", lambda m: str(math.factorial(int(m[1]))), formula)
    value = eval(text.replace("^", "**").replace("/", "//"), {"__builtins__": {}})  # our own digits
    assert isinstance(value, int)
    return value


@pytest.mark.parametrize("width", [60, 80, 120])
@pytest.mark.parametrize("name", NAMES)
def test_pages_are_no_wider_than_asked_and_no_wall(
    name: str, width: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    assert run(["parts", name]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= width
    assert len(lines) < (110 if width >= 80 else 190)


def test_words_of_the_file_are_used_in_every_sentence(
    wheels: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = Path(wheels)
    path.write_text(WHEELS + '\n[types]\npiece = "coin"\n', encoding="utf-8")
    assert run(["parts", wheels]) == 0
    printed = capsys.readouterr().out
    assert "coin" in printed
    assert "piece1" not in printed


def test_parts_of_the_3x3x3_reads_as_it_should(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["parts", "3x3x3"]) == 0
    printed = " ".join(capsys.readouterr().out.split())
    for text in (
        "43,252,003,274,489,856,000 with all pieces told apart",
        "8!·3⁸ (corners) · 12!·2¹² (edges), divided by 3 · 2²",
        "But for that, each type can be moved without the others.",
        "two corners twisted against each other by a third of a turn",
        "three corners cycled",
        "two edges flipped",
        "three edges cycled",
    ):
        assert text in printed


def test_what_carries_over_is_said(asked: Ask) -> None:
    _, report = asked("parts", "5x5x5")
    texts = [like["text"] for like in report["carries_over"]["layers"]]
    assert any(text.startswith("The faces alone make the 3x3x3") for text in texts)
    assert {"type": "edge1", "puzzle": "4x4x4", "as": "edge", "with_twist": True} in report[
        "carries_over"
    ]["types"]


def test_missing_sequences_are_found_and_kept(
    asked: Ask, wheels: str, capsys: pytest.CaptureFixture[str]
) -> None:
    before = asked("parts", wheels)[1]["effects"]
    assert before
    assert all(effect["sequence"] is None for effect in before)
    status, report = asked("parts", wheels, "--search", "--seconds", "8")
    assert status == 0
    assert report["stopped_by"] in (None, "time")
    assert any(effect["sequence"] for effect in report["effects"])
    again = asked("parts", wheels)[1]["effects"]
    assert again == report["effects"]
    assert run(["parts", wheels]) == 0
    assert "turns" in capsys.readouterr().out


def test_shipped_sequences_are_for_the_catalogue_as_it_is() -> None:
    """After a change, ``python -m service.sequences`` writes them anew."""
    path = resources.files("puzzles") / "catalogue" / FILE
    data = json.loads(path.read_text(encoding="utf-8"))
    for name, own in data.items():
        puzzle = load(name)
        assert own["digest"] == puzzle.digest
        for row in own["sequences"]:
            assert checked(puzzle, Kept(**row)) is not None, row


@pytest.mark.parametrize(
    "kept",
    [
        Kept("corner", CYCLE, "R U R' U'", 4),
        Kept("corner", TWISTS, "[[B': R], L']", 8),
        Kept("edge", CYCLE, "[[B': R], L']", 8),
        Kept("corner", CYCLE, "[[B': R], L']", 7),
        Kept("corner", CYCLE, "[[B': Q], L']", 8),
        Kept("corner", CYCLE, "x [[B': R], L']", 8),
        Kept("wing", CYCLE, "[[B': R], L']", 8),
    ],
)
def test_a_kept_sequence_that_does_not_do_its_effect_is_not_shown(kept: Kept) -> None:
    puzzle = load("3x3x3")
    assert checked(puzzle, kept) is None
    assert checked(puzzle, Kept("corner", CYCLE, "[[B': R], L']", 8)) is not None


def test_what_is_kept_is_read_back_best_first() -> None:
    puzzle = load("3x3x3-halves")
    store = opened(settings(), lambda text: None)
    kinds = [kind.name for kind in puzzle.types]
    # R2 U2 done three times swaps two pairs of edges: common practice.
    rows = [
        Kept(kinds[1], "two swaps", "U2 (R2 U2)3 U2", 6),
        Kept(kinds[1], "two swaps", "(R2 U2)3", 6),
    ]
    for row in rows:
        keep(puzzle, store, [row])
    best = stored(puzzle, store)[1, "two swaps"].kept
    assert best.turns <= 6
    assert stored(puzzle, NoLevels()).get((1, "two swaps")) is None or best.turns <= 6
    store.put(f"sequences|{puzzle.digest}", 99, b"\xffno json")
    assert stored(puzzle, store)[1, "two swaps"].kept == best
    store.close()


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--seconds", "5"], "give --search"),
        (["--search", "--seconds", "0"], "more than 0"),
        (["--search", "--seconds", "soon"], "a number was expected"),
        (["--search", "--seconds", "nan"], "more than 0"),
    ],
)
def test_bad_bounds_are_one_sentence(
    arguments: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["parts", "2x2x2", *arguments]) == 2
    printed = capsys.readouterr()
    assert says in printed.err
    assert len(printed.err.splitlines()) == 1


def test_pieces_that_are_all_fastened_are_said_in_a_line(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run(["parts", "ball-sixths-whole"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "8 times one tip and three petals; 24 times two blades, one petal and one rim" in said
    assert "Each of the tips is fastened to other pieces, so none moves alone." in said
