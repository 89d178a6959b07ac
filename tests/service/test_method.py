"""`trefoil method`: as text, as JSON, and as a file that `trefoil solve --learned` takes."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from puzzles import load
from puzzles.notation import parse
from service.api.method_models import MethodReport
from service.cli import run
from service.cli_method import ways_text
from service.desk import Desk
from service.questions import MethodQuestion
from service.stores.base import State
from service.stores.sqlite import SqliteStore
from service.works.kinds import work_for
from tests.search.test_method_blocked import wheels_file

Ask = Callable[..., tuple[int, Any]]


def test_a_method_as_json_and_its_sequences_as_a_file(asked: Ask, tmp_path: Path) -> None:
    path = tmp_path / "learned.txt"
    status, told = asked("method", "3x3x3", "--scrambles", "4", "--out", str(path))
    assert status == 0
    report = MethodReport.model_validate(told)
    own = report.methods[0]
    assert (own.sequences, own.things, own.scrambles) == (2, 5, 4)
    puzzle = load("3x3x3")
    for step in own.steps:
        for one in step.sequences:
            word = parse(puzzle, one.notation).word
            assert word == parse(puzzle, one.sequence).word
            assert len(word) == one.turns
    lines = path.read_text().splitlines()
    assert [line.split("  #")[0] for line in lines[1:]] == [
        one.notation for step in own.steps for one in step.sequences
    ]
    status, solved = asked("solve", "3x3x3", "--scramble", "R U F2 L' D", "--learned", str(path))
    assert (status, solved["solved"]) == (0, True)


def test_what_is_printed(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["method", "tetrahedron-corners", "--scrambles", "3"]) == 0
    text = capsys.readouterr().out
    assert "1 sequence, 2 things to remember" in text
    assert "only turn in their slots" in text


def test_what_is_printed_where_turns_can_be_blocked(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "wheels.toml"
    path.write_text(wheels_file())
    assert run(["method", str(path), "--scrambles", "2"]) == 0
    text = " ".join(capsys.readouterr().out.split())
    assert "It stands in 15 ways" in text
    assert "at 57% of them one of these puts it right: A; " in text
    assert "loose pieces odd: C'" in text
    assert "with setups 330 three-cycles" in text
    monkeypatch.setattr("search.solving_blocked_shapes.MOST_SHAPES", 5)
    path.write_text(wheels_file().replace("12 13)", "13 12)"))
    assert run(["method", str(path)]) == 1
    assert "can stand in more than 5 ways" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (["--seconds", "0"], "seconds"),
        (["--scrambles", "0"], "a number from 1"),
        (["--scrambles", "many"], "whole number"),
    ],
)
def test_bad_input_is_one_sentence(
    given: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["method", "2x2x2", *given]) == 2
    told = capsys.readouterr().err
    assert said in told
    assert told.count("\n") == 1


def test_a_job_that_is_stopped_keeps_nothing_half_done(tmp_path: Path) -> None:
    store = SqliteStore(tmp_path / "store.sqlite")
    job = Desk(store).ask(MethodQuestion(puzzle="2x2x2"))
    assert job.kind == "method"
    work = work_for("method")
    assert work.key(store, json.loads(job.spec), lambda news: True) == job.key
    ended = work.plan(store, json.loads(job.spec), 0, [], 0.0, lambda news: False)
    assert getattr(ended, "state", None) == State.STOPPED
    store.close()


def test_ways_of_free_play_are_told_in_words() -> None:
    counts = [(0, 1322.0, 1.0), (1, 240.0, 1.0), (3, 73.0, 1.0), (5, 3.0, 3.0), (8, 0.0, 0.0)]
    rows = [{"right": right, "ways": ways, "turns": turns} for right, ways, turns in counts]
    assert ways_text([*rows, {"right": 9, "ways": 5.0, "turns": 1.0}], 3) == (
        "of the words of up to 3 turns so many put one more right and disturb none (on average): "
        "with 0 right 1,322, the shortest has 1 turn; with 1 right 240, the shortest 1 turn; with "
        "3 right 73, the shortest 1 turn; with 5 right 3, the shortest 3 turns; with 8 right none"
    )
