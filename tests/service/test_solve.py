"""`solve`: every step does what it says, all together solve, and bad input gets one sentence."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from puzzles import load
from puzzles.notation import parse
from puzzles.scrambles import scrambles
from puzzles.words import shortened
from search.solving_learned import learned_of, order_for, read_learned
from service.cli import run
from tests.plain import named, plain

Ask = Callable[..., tuple[int, Any]]

SCRAMBLE = "R U2 F' L D B2 R' F2 U L' D2 B R2 F U' L2 D F'"
#: A corner cycle by mirror and undoing of [R U R' U', L'], and an edge cycle with slices.
LEARNED = "[R U R' U', L']  # corners\n\n# edges\n[L' R, [F2: U]]\nR2 U F B' R2 F' B U R2\n"


def assert_solves(name: str, before: str, report: Any) -> None:
    """Every step written out, one after the other, and the row with all cancelled."""
    puzzle = load(name)
    scramble = parse(puzzle, before).word
    steps = [t for step in report["steps"] for t in parse(puzzle, step["sequence"]).word]
    for word in (steps, parse(puzzle, report["sequence"]).word):
        solid = plain(puzzle)
        end = solid.do(named(puzzle, (*scramble, *word)))
        assert (solid._face_at(end) == solid.face).all()
    for step in report["steps"]:
        written, plainly = (parse(puzzle, step[k]).word for k in ("notation", "sequence"))
        assert (puzzle.effect(written) == puzzle.effect(plainly)).all()
        assert len(plainly) == step["turns"]
        if step["kind"] == "three-cycle":
            # Whoever goes by the brackets finds the turns in that order.
            assert plainly == written or plainly == shortened(puzzle, written)


@pytest.mark.parametrize("name", ["3x3x3", "2x2x2", "tetrahedron-corners"])
def test_a_scramble_is_solved(asked: Ask, name: str) -> None:
    from puzzles.notation import write

    puzzle = load(name)
    (word,) = scrambles(puzzle, 1, 3)
    text = write(puzzle, word)
    status, report = asked("solve", name, "--scramble", text)
    assert status == 0
    assert report["solved"]
    assert report["executed"] <= report["turns"] == sum(s["turns"] for s in report["steps"])
    assert_solves(name, text, report)


def test_the_text_has_every_step_with_its_reason(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["solve", "3x3x3", "--scramble", SCRAMBLE]) == 0
    out = capsys.readouterr().out
    assert "Hold it with U up, F in front." in out
    assert "1. " in out
    assert "come right" in out
    assert "turns" in out


@pytest.mark.parametrize(
    ("option", "text", "turns"),
    [
        ("--cycles", "(UFR UBL DFL)", "U B D' B' U' B D B'"),
        ("--pieces", "UF=UB UB=UR UR=UF", ""),
    ],
)
def test_a_state_is_entered(asked: Ask, option: str, text: str, turns: str) -> None:
    status, report = asked("solve", "3x3x3", option, text)
    assert status == 0
    assert report["solved"]
    puzzle = load("3x3x3")
    steps = parse(puzzle, report["sequence"]).word
    # What the steps undo is what was entered: three pieces in a circle.
    undone = puzzle.effect(puzzle.inverse(steps))
    homes = puzzle.home
    assert sum(int(undone[p]) != int(p) for p in homes) == 3


def test_what_is_solved_needs_nothing(asked: Ask, capsys: pytest.CaptureFixture[str]) -> None:
    status, report = asked("solve", "3x3x3", "--scramble", "R R'")
    assert (status, report["steps"], report["solved"]) == (0, [], True)
    assert run(["solve", "3x3x3", "--scramble", ""]) == 0
    assert "solved already" in capsys.readouterr().out


def test_learned_sequences_alone_solve(asked: Ask, tmp_path: Path) -> None:
    path = tmp_path / "learned.txt"
    path.write_text(LEARNED, encoding="utf-8")
    status, report = asked("solve", "3x3x3", "--scramble", SCRAMBLE, "--learned", str(path))
    assert status == 0
    assert_solves("3x3x3", SCRAMBLE, report)
    assert report["different"] <= 3
    for step in report["steps"]:
        assert step["kind"] in ("three-cycle", "learned") or step["turns"] <= 3
        assert bool(step["learned"]) == (step["kind"] != "free")


def test_what_learned_sequences_cannot_do_is_named(asked: Ask, tmp_path: Path) -> None:
    path = tmp_path / "learned.txt"
    path.write_text("[R U R' U', L']", encoding="utf-8")
    status, report = asked("solve", "3x3x3", "--scramble", SCRAMBLE, "--learned", str(path))
    assert status == 1
    assert not report["solved"]
    assert "cannot be put right" in report["reason"]


def test_the_order_follows_from_what_sequences_disturb(tmp_path: Path) -> None:
    """`F R' F' L F R F' L'` cycles corners and leaves edges alone; an edge cycle that takes corners
    along has to come before.
    """
    puzzle = load("3x3x3")
    corner, edge = (next(t.number for t in puzzle.types if t.name == n) for n in ("corner", "edge"))
    words = [learned_of(puzzle, text) for text in ("[R U R' U', L']", "R U R' U R U2 R'")]
    assert order_for(puzzle, words) == ((edge,), (corner,))
    path = tmp_path / "learned.txt"
    path.write_text("[R U R' U', L']\n# only a remark\nR U R' U R U2 R'", encoding="utf-8")
    assert len(read_learned(puzzle, str(path))) == 2


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ([], "say in one way what is to be solved"),
        (["--scramble", "R", "--cycles", "(UF UB UR)"], "say in one way what is to be solved"),
        (["--scramble", "R Q"], "Q"),
        (["--pieces", "UF=UB"], "UF"),
    ],
)
def test_bad_input_gets_one_sentence(asked: Ask, options: list[str], says: str) -> None:
    status, report = asked("solve", "3x3x3", *options)
    assert status == 2
    assert says in report["error"]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (None, "cannot be read"),
        ("", "has no sequences"),
        ("# nothing\n", "has no sequences"),
        ("R U\nR Q\n", "line 2"),
        ("R2 R2", "line 1: all its turns cancel"),
        (" ".join(["R U"] * 40), "line 1: has 80 turns"),
    ],
)
def test_a_wrong_file_of_sequences_is_said(
    asked: Ask, tmp_path: Path, text: str | None, says: str
) -> None:
    path = tmp_path / "learned.txt"
    if text is not None:
        path.write_text(text, encoding="utf-8")
    status, report = asked("solve", "3x3x3", "--scramble", "R", "--learned", str(path))
    assert status == 2
    assert says in report["error"]


def test_impossible_states_are_named(asked: Ask) -> None:
    status, report = asked("solve", "3x3x3", "--cycles", "(UFR FRU RUF)")
    assert status == 3
    assert "twisted" in report["reason"]


def test_an_interrupt_ends_it(monkeypatch: pytest.MonkeyPatch) -> None:
    from service.watching import Stopper

    monkeypatch.setattr(Stopper, "__call__", lambda self: True)
    assert run(["solve", "4x4x4", "--scramble", "R U"]) == 130
