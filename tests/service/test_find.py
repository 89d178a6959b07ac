"""`find`: what it prints, that every sequence does what was asked, and how it ends."""

from __future__ import annotations

import json
import os
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from puzzles import load
from puzzles.names import read_cycle
from puzzles.notation import parse
from puzzles.words import normal
from service.cli import run
from tests.plain import assert_three_cycle

Ask = Callable[..., tuple[int, Any]]
COMMAND = [sys.executable, "-m", "service.cli"]

#: Puzzle, cycle and bounds that give answers quickly, and the types that may end up anywhere.
REQUESTS = [
    ("3x3x3", "UFR UBL DFL", ["--half-length", "6"], []),
    ("3x3x3", "UF UB UL", ["--half-length", "6"], []),
    ("3x3x3", "UF UB UL", ["--half-length", "4", "--free", "corner"], ["corner"]),
    ("3x3x3", "UFR UBL RDF", ["--half-length", "5", "--keep", "corner"], ["edge", "centre"]),
    ("4x4x4", "UF.L FU.R BU.L", ["--half-length", "4", "--apart"], []),
    ("tetrahedron-corners", "FR FL FD", ["--half-length", "4"], []),
    ("cube-edges", "UFR UBL DFL", ["--half-length", "4"], []),
    ("hexagonal-prism", "FRU FRD FLU", ["--half-length", "4"], []),
]


@pytest.mark.parametrize(("name", "cycle", "options", "free"), REQUESTS)
def test_every_sequence_does_what_was_asked(
    asked: Ask, name: str, cycle: str, options: list[str], free: list[str]
) -> None:
    status, report = asked("find", name, *cycle.split(), *options)
    assert status == 0
    assert report["puzzle"] == name
    puzzle = load(name)
    wanted = [place.placement for place in read_cycle(puzzle, cycle.split())]
    assert [p.placement for p in read_cycle(puzzle, report["cycle"])] == wanted
    assert report["answers"]
    apart = "--apart" in options
    for answer in report["answers"]:
        word = parse(puzzle, answer["sequence"]).word
        assert_three_cycle(puzzle, word, wanted, free=free, alike=not apart)
        assert answer["turns"] == len(normal(puzzle, word)) == len(word)
        # The notation, and setup, A and B, written out and cancelled, are the sequence.
        s, a, b = (parse(puzzle, answer[part]).word for part in ("setup", "a", "b"))
        undone = puzzle.inverse
        written = (*s, *a, *b, *undone(a), *undone(b), *undone(s))
        assert normal(puzzle, written) == normal(puzzle, word)
        assert normal(puzzle, parse(puzzle, answer["notation"]).word) == normal(puzzle, word)
        assert set(answer["layers"]) == {puzzle.turns[t].layer for t in word}
        assert len(answer["motions"]) == answer["turns"]
        assert answer["why"]
    shortest, easiest = (
        next(x for x in report["answers"] if lead in x["leads"]) for lead in ("shortest", "easiest")
    )
    assert shortest["turns"] == min(x["turns"] for x in report["answers"])
    assert easiest["things"] == min(x["things"] for x in report["answers"])


def test_what_was_searched_is_said(asked: Ask) -> None:
    _, report = asked("find", "3x3x3", "UFR", "UBL", "DFL", "--half-length", "6")
    says = report["searched"]
    assert says["half_length"] == 6
    assert says["setup"] is None
    assert isinstance(says["complete"], int)
    assert says["complete"] >= 6
    _, report = asked("find", "3x3x3", "UFR", "UBL", "DFL", "--half-length", "6", "--setup", "1")
    assert report["searched"]["setup"] == 1
    assert report["searched"]["complete"] is None
    assert all(len(x["setup"].split()) <= 12 for x in report["answers"])


def test_bounds_and_layers_are_kept(asked: Ask) -> None:
    status, report = asked("find", "3x3x3", "UFR", "UBL", "LDF", "--turns", "8")
    assert status == 0
    assert {answer["turns"] for answer in report["answers"]} == {8}
    status, report = asked(
        "find", "3x3x3", "UFL", "UFR", "UBR", "--half-length", "5", "--layers", "U R L"
    )
    assert status == 0
    assert {layer for x in report["answers"] for layer in x["layers"]} <= {"U", "R", "L"}


def test_most_weights_and_hands_change_what_is_shown(asked: Ask) -> None:
    request = ["find", "3x3x3", "UFR", "UBL", "DFL", "--half-length", "6"]
    _, few = asked(*request, "--most", "3")
    _, many = asked(*request, "--most", "50")
    assert len(few["answers"]) <= 4
    assert len(many["answers"]) == len(few["answers"]) + few["left_out"]
    _, short = asked(*request, "--weights", "turns=1000,layers=0,memory=0,hands=0")
    turns = [answer["turns"] for answer in short["answers"] if not answer["leads"]]
    assert turns == sorted(turns)
    _, easy = asked(*request, "--weights", "turns=0 layers=0 memory=1 hands=0")
    memory = [x["things"] + x["complexity"] for x in easy["answers"] if not x["leads"]]
    assert memory == sorted(memory)
    _, left = asked(*request, "--left-handed")
    assert [x["hold"] for x in left["answers"]] != [x["hold"] for x in few["answers"]]


def test_nothing_within_the_bound_is_1(asked: Ask, capsys: pytest.CaptureFixture[str]) -> None:
    request = ["find", "3x3x3", "UFR", "UBL", "DFL", "--half-length", "2"]
    status, report = asked(*request)
    assert status == 1
    assert report["answers"] == []
    assert report["reason"]
    assert run(request) == 1
    printed = capsys.readouterr()
    assert printed.out == ""
    assert len(printed.err.splitlines()) == 1


def test_layers_that_all_commute_are_1(asked: Ask) -> None:
    # A turn of one face alone cycles the three corners around it, but no commutator of U does.
    request = ["find", "octahedron-faces", "UFRE", "UFLW", "URLB", "--keep", "corner"]
    status, report = asked(*request, "--any-twist", "--layers", "U")
    assert status == 1
    assert "commute" in report["reason"]


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        (("3x3x3", "UFR", "UBL", "UF"), "edge"),
        (("3x3x3", "U", "D", "F"), "never leave"),
        (("3x3x3", "UFR", "UBL", "DFL", "--layers", "U R"), "U and R"),
        (("2x2x2", "UFR", "UBL", "DBL"), "DBL"),
    ],
)
def test_impossible_is_3(asked: Ask, arguments: tuple[str, ...], word: str) -> None:
    status, report = asked("find", *arguments)
    assert status == 3, report
    assert word in report["reason"]


def test_same_answers_whatever_is_in_the_cache(
    asked: Ask, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    request = ["find", "3x3x3", "UFR", "UBL", "RDF"]
    bounded = [*request, "--half-length", "4"]
    monkeypatch.setenv("TREFOIL_CACHE", str(tmp_path / "own.sqlite"))
    empty = asked(*request)
    assert empty[0] == 0
    assert asked(*request) == empty
    shallow = asked(*bounded)
    assert shallow[1]["searched"]["half_length"] == 4
    asked("atlas", "3x3x3", "corner", "--half-length", "8")
    assert asked(*request) == empty
    assert asked(*bounded) == shallow
    monkeypatch.setenv("TREFOIL_CACHE", "")
    assert asked(*request) == empty
    assert asked(*request, "--threads", "2") == empty


def test_a_filled_cache_needs_no_kernels(asked: Ask) -> None:
    request = ["find", "3x3x3", "UFR", "UBL", "DFL", "--half-length", "6"]
    asked(*request)
    code = (
        "import sys; from service.cli import run; status = run(sys.argv[1:]);"
        "sys.exit(9 if 'numba' in sys.modules else status)"
    )
    done = subprocess.run([sys.executable, "-c", code, *request], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr


def test_a_picture_is_written_whole_or_not_at_all(tmp_path: Path) -> None:
    request = ["find", "3x3x3", "UFR", "UBL", "DFL", "--half-length", "6", "--json"]
    assert run([*request, "--picture", str(tmp_path / "cycle.svg")]) == 0
    ElementTree.parse(tmp_path / "cycle.svg")
    assert [path.name for path in tmp_path.iterdir()] == ["cycle.svg"]
    assert run([*request, "--picture", str(tmp_path / "none" / "cycle.svg")]) == 2
    assert run([*request, "--picture", str(tmp_path)]) == 2
    assert [path.name for path in tmp_path.iterdir()] == ["cycle.svg"]


def test_people_read_the_leading_answers_in_full(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["find", "3x3x3", "UFR", "UBL", "DFL", "--half-length", "6", "--most", "4"]) == 0
    printed = capsys.readouterr().out
    for word in ("UFR → UBL → DFL", "Shortest and easiest", "turns", "hands", "why", "family"):
        assert word in printed


def test_pieces_that_look_the_same_are_pointed_out(capsys: pytest.CaptureFixture[str]) -> None:
    request = ["find", "4x4x4", "U.FL", "U.FR", "U.BL", "--half-length", "4"]
    assert run(request) == 0
    assert "look the same" in capsys.readouterr().err
    assert run([*request, "--apart"]) == 0
    assert capsys.readouterr().err == ""


def test_a_picture_into_a_pipe_leaves_it_a_pipe(tmp_path: Path) -> None:
    # Renaming a file over it, as over other files, would break a device for everybody.
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    reader = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    try:
        assert run(["try", "2x2x2", "U", "--json", "--picture", str(pipe)]) == 0
        assert pipe.is_fifo()
        assert ElementTree.fromstring(os.read(reader, 1_000_000)).tag.endswith("svg")
    finally:
        os.close(reader)


def test_a_name_of_a_picture_that_is_none(asked: Ask) -> None:
    for name, word in (("", "is empty"), ("x" * 999, "too long"), ("a\0b", "no name can have")):
        status, report = asked("parts", "2x2x2", "--picture", name)
        assert status == 2
        assert word in report["error"]


@pytest.mark.parametrize(
    "words",
    [["UF,UB,UL"], ["UF, UB, UL"], ["UF -> UB -> UL"], ["UF→UB→UL"], ["UF->UB", "->", "UL"]],
)
def test_commas_and_arrows_stand_between_names(asked: Ask, words: list[str]) -> None:
    plain = asked("find", "3x3x3", "UF", "UB", "UL", "--half-length", "4")
    assert plain[0] == 0
    assert asked("find", "3x3x3", *words, "--half-length", "4") == plain


def test_each_answer_names_the_cycle_that_it_does(
    asked: Ask, capsys: pytest.CaptureFixture[str]
) -> None:
    request = ["find", "3x3x3", "UFR", "UBL", "DFL", "--half-length", "4"]
    _, report = asked(*request, "--any-twist")
    puzzle = load("3x3x3")
    assert any(answer["cycle"] != report["cycle"] for answer in report["answers"])
    for answer in report["answers"]:
        wanted = [place.placement for place in read_cycle(puzzle, answer["cycle"])]
        assert_three_cycle(puzzle, parse(puzzle, answer["sequence"]).word, wanted)
    assert run([*request, "--any-twist"]) == 0
    printed = capsys.readouterr().out
    assert "UFR → UBL → DFL in any twist" in printed
    others = [a["cycle"] for a in report["answers"] if a["cycle"] != report["cycle"]]
    assert all(" → ".join(cycle) in printed for cycle in others)
    assert run([*request[:-1], "6"]) == 0
    printed = capsys.readouterr().out
    assert printed.count("UFR → UBL → DFL") == 1
    assert "any twist" not in printed
    assert "cycle " not in printed


def test_a_time_limit_is_said(asked: Ask, capsys: pytest.CaptureFixture[str]) -> None:
    request = ["find", "4x4x4", "UF.L", "FU.R", "BU.L", "--half-length", "10", "--seconds", "0.2"]
    status, report = asked(*request)
    assert status == 0
    assert (report["stopped"], report["stopped_by"]) == (True, "time")
    assert run(request) == 0
    assert "stopped after 0.2 s; `--seconds 0.6` goes on" in capsys.readouterr().err
    nothing = ["find", "4x4x4", "UF.L", "FU.R", "BU.L", "--setup", "0", "--seconds", "1e-6"]
    status, report = asked(*nothing, "--layers", "U R L F 2R")
    assert status == 1
    assert report["stopped_by"] == "time"
    assert "stopped after" in report["reason"]
    _, report = asked(*request[:-3], "4")
    assert (report["stopped"], report["stopped_by"]) == (False, None)


def test_the_bound_that_needs_too_much_is_the_one_that_was_given(asked: Ask) -> None:
    cycle = ("find", "4x4x4", "UF.L", "FU.R", "BU.L")
    status, report = asked(*cycle, "--turns", "24")
    assert status == 2
    assert report["error"].startswith("24 turns would need half-length 16,")
    assert asked(*cycle, "--half-length", "12")[1]["error"].startswith("half-length 12 would need")
    both = asked(*cycle, "--half-length", "12", "--turns", "24")[1]["error"]
    assert both.startswith("half-length 12 would need")


def test_an_interrupt_before_anything_is_found_is_said(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("TREFOIL_CACHE", "")
    monkeypatch.setattr("service.watching.Stopper.__call__", lambda self: True)
    request = ["find", "3x3x3", "UFR", "UBL", "RDF", "--half-length", "9"]
    assert run(request) == 130
    assert capsys.readouterr().out == "Nothing found yet; searched to half-length 1.\n"
    assert run([*request, "--json"]) == 130
    report = json.loads(capsys.readouterr().out)
    assert (report["stopped"], report["stopped_by"]) == (True, "person")
    assert run(["atlas", "3x3x3", "corner", "--half-length", "9"]) == 130
    assert "Nothing found yet; searched to half-length 1." in capsys.readouterr().out


def test_an_interrupt_prints_what_was_found(tmp_path: Path) -> None:
    cache = tmp_path / "own.sqlite"
    request = ["find", "4x4x4", "UF.L", "FU.R", "BU.L", "--half-length", "9", "--json"]
    environment = {**os.environ, "TREFOIL_CACHE": str(cache), "TREFOIL_THREADS": "1"}
    work = subprocess.Popen(
        [*COMMAND, *request], env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    try:
        for _ in range(600):
            time.sleep(0.1)
            if _deepest(cache) >= 5:
                break
        assert work.poll() is None
        work.send_signal(signal.SIGINT)
        out, err = work.communicate(timeout=60)
    finally:
        work.kill()
    assert work.returncode == 130, err
    assert b"Traceback" not in err
    report = json.loads(out)
    assert report["stopped"] is True
    assert report["stopped_by"] == "person"
    assert report["searched"]["half_length"] < 9
    assert report["answers"]


def _deepest(cache: Path) -> int:
    if not cache.exists():
        return 0
    connection = sqlite3.connect(cache)
    try:
        return int(connection.execute("select max(half_length) from level").fetchone()[0] or 0)
    except sqlite3.Error:
        return 0
    finally:
        connection.close()
