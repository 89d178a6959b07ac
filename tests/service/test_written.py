"""Every command on puzzles whose turns are written down: they work as on any other puzzle."""

from __future__ import annotations

import json
import tomllib
from collections import Counter
from collections.abc import Callable
from importlib import resources
from itertools import pairwise
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from puzzles import load
from puzzles.names import slot_names
from puzzles.notation import parse
from service.cli import run
from tests.writing_down import done_by_hand, moving_slots, written_down

Ask = Callable[..., tuple[int, Any]]
Capture = pytest.CaptureFixture[str]

TEXT = (resources.files("puzzles") / "catalogue" / "three-wheels.toml").read_text("utf-8")
FILE = tomllib.loads(TEXT)
TURNS = {turn["name"]: turn["cycles"] for turn in FILE["turns"]}
#: A piece at the places 1 to 13 sits in three ways, as the file says.
TWISTS = dict.fromkeys(range(1, 14), 3)


def moved(sequence: str) -> dict[int, tuple[int, int]]:
    """Return where the pieces that a sequence moves on the three wheels go, and how twisted."""
    state = done_by_hand(TURNS, TWISTS, FILE["places"], sequence)
    return {k: there for k, there in state.items() if there != (k, 0)}


def cycle_by_hand(names: list[str]) -> dict[int, tuple[int, int]]:
    """Return what a three-cycle of named placements does."""
    at = [(int(n.partition("+")[0]), int(n.partition("+")[2] or 0)) for n in names]
    result = {}
    for k, (place, twist) in enumerate(at):
        there, after = at[(k + 1) % 3]
        result[place] = there, (after - twist) % TWISTS.get(there, 1)
    return result


@pytest.mark.parametrize(
    ("cycle", "bounds"),
    [
        ("4 7+1 11", ["--half-length", "6"]),
        ("4+2 11 7+1", ["--half-length", "6", "--any-twist"]),
        ("1 5 9", ["--half-length", "6"]),
        ("14 16 18", ["--half-length", "5", "--free", "coin"]),
    ],
)
def test_every_sequence_does_what_was_asked(asked: Ask, cycle: str, bounds: list[str]) -> None:
    status, report = asked("find", "three-wheels", *cycle.split(), *bounds)
    assert (status, report["cycle"]) == (0, cycle.split())
    assert report["answers"]
    for answer in report["answers"]:
        own = moved(answer["sequence"])
        kept = {k: there for k, there in own.items() if k > 13} if "--free" in bounds else own
        assert kept == cycle_by_hand(answer["cycle"])
        if "--any-twist" not in bounds:
            assert answer["cycle"] == cycle.split()
        assert answer["hold"] == {"up": "", "front": ""}
        assert answer["motions"] == []
        assert answer["held_sequence"] == answer["sequence"]
        assert answer["why"]
        assert answer["complexity"] > 0
    again, stored = asked("find", "three-wheels", *cycle.split(), *bounds)
    assert (again, stored["answers"]) == (0, report["answers"])


def test_a_cube_written_down_has_answers_of_the_same_lengths(asked: Ask, tmp_path: Path) -> None:
    cut = load("3x3x3")
    path = tmp_path / "cube.toml"
    path.write_text(written_down(cut), encoding="utf-8")
    place = {slot: str(k + 1) for k, slot in enumerate(moving_slots(cut))}
    names = slot_names(cut)
    for cycle in (["UFR", "UBL", "DFL"], ["UF", "UB", "UL"], ["UFR", "DBL", "UFL"]):
        numbers = [place[names.index(name)] for name in cycle]
        status, known = asked("find", "3x3x3", *cycle, "--half-length", "5")
        again, report = asked("find", str(path), *numbers, "--half-length", "5")
        assert again == status
        assert report["searched"] == known["searched"]
        assert report["answers"][0]["turns"] == known["answers"][0]["turns"]
    for cut_type, own_type in (("corner", "piece1"), ("edge", "piece2")):
        counts = []
        for arguments in (["3x3x3", cut_type], [str(path), own_type]):
            _, report = asked("atlas", *arguments, "--half-length", "4")
            entries = report["entries"]
            turns = Counter(entry["turns"] for entry in entries)
            things = Counter(entry["easiest"]["things"] for entry in entries)
            counts.append((report["types"][0]["found"], turns, things))
        assert counts[0] == counts[1]
        assert counts[0][0] > 0


def test_parts_tells_types_turns_and_order(asked: Ask, capsys: Capture) -> None:
    status, report = asked("parts", "three-wheels")
    assert status == 0
    said = [(t["name"], t["count"], t["twists"], t["slots"][0]) for t in report["types"]]
    assert said == [("coin", 13, 3, "1"), ("bead", 15, 1, "14")]
    assert [(x["name"], x["steps"], x["pieces"]) for x in report["layers"]] == [
        (name, 6, 12) for name in "LRT"
    ]
    assert report["held"] == {"up": "", "front": ""}
    # All arrangements, but for one law of twists and one of parity.
    free = 3**13 * 6_227_020_800 * 1_307_674_368_000
    assert report["order"] == str(free // 3 // 2)
    assert report["order_proven"]
    assert run(["parts", "three-wheels"]) == 0
    text = capsys.readouterr().out
    assert "in front" not in text
    assert "coin" in text


def test_try_says_what_a_sequence_does(asked: Ask) -> None:
    status, report = asked("try", "three-wheels", "[L: R2] T'")
    assert status == 0
    found = moved("L R2 L' T'")
    assert report["pieces_moved"] == len(found)
    assert report["left_over"] == ""
    for cycle in report["cycles"]:
        for start, end in pairwise(cycle):
            (a, x), (b, y) = (
                (int(p), int(t or 0)) for p, _, t in (s.partition("+") for s in (start, end))
            )
            there, twist = found[a]
            assert (there, (x + twist) % TWISTS.get(b, 1)) == (b, y)


def test_an_atlas_names_places(asked: Ask) -> None:
    bounds = ["--half-length", "4", "--free", "coin"]
    status, report = asked("atlas", "three-wheels", "bead", *bounds)
    # Ordered threes of 15 beads, up to where a cycle begins.
    assert (status, len(report["entries"])) == (0, 15 * 14 * 13 // 3)
    for entry in report["entries"][::20]:
        beads = {k: there for k, there in moved(entry["sequence"]).items() if k > 13}
        assert beads == cycle_by_hand(entry["cycle"])


def test_scrambles_are_read_back(asked: Ask) -> None:
    status, report = asked("scramble", "three-wheels", "--count", "3", "--seed", "5")
    assert status == 0
    for text in report["scrambles"]:
        assert len(parse(load("three-wheels"), text).word) == len(text.split())


@pytest.mark.parametrize(
    "arguments",
    [
        ["parts", "three-wheels"],
        ["try", "three-wheels", "L R'"],
        ["try", "three-wheels", "[L, T L R3 L' T']"],
        ["find", "three-wheels", "4", "7+1", "11", "--half-length", "6"],
    ],
)
def test_pictures_are_written(arguments: list[str], tmp_path: Path, capsys: Capture) -> None:
    path = tmp_path / "picture.svg"
    assert run([*arguments, "--picture", str(path)]) == 0
    root = ElementTree.parse(path).getroot()
    assert sum("data-place" in e.attrib for e in root.iter()) == 28
    assert capsys.readouterr().out


def test_nothing_is_said_about_hands(capsys: Capture) -> None:
    assert run(["find", "three-wheels", "4", "7+1", "11", "--half-length", "6"]) == 0
    text = capsys.readouterr().out
    assert "4 → 7+1 → 11" in text
    for word in ("hold", "hands", "motions", " up,", "in front"):
        assert word not in text


@pytest.mark.parametrize(
    ("arguments", "status", "said"),
    [
        (["find", "three-wheels", "1", "2", "1+1"], 2, "the piece 1 is named twice"),
        (["find", "three-wheels", "1", "2", "14"], 3, ""),
        (["find", "three-wheels", "1", "2", "29"], 2, "there is no such place"),
        (["find", "three-wheels", "1", "2", "3", "--half-length", "2"], 1, ""),
        (["find", "three-wheels", "1", "2", "3", "--layers", "L"], 3, "With only L turning"),
        (["try", "three-wheels", "L X"], 2, "'X' is no turn; three-wheels has the layers L R T"),
        (["try", "three-wheels", "Lw"], 2, "is no turn"),
        (["try", "three-wheels", "x"], 2, "is no turn"),
    ],
)
def test_exit_codes_are_those_of_any_puzzle(
    arguments: list[str], status: int, said: str, capsys: Capture
) -> None:
    assert run(arguments) == status
    printed = capsys.readouterr()
    assert said in printed.out + printed.err
    assert "Traceback" not in printed.err


def test_a_file_that_is_wrong_ends_with_one_sentence(tmp_path: Path, capsys: Capture) -> None:
    path = tmp_path / "own.toml"
    path.write_text(TEXT.replace("(18 19 23", "(18 19 4"), encoding="utf-8")
    assert run(["parts", str(path)]) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert len(printed.err.strip().splitlines()) == 1
    assert "turn L: the number 4 stands in two cycles" in printed.err


def test_the_catalogue_and_the_schema_tell_of_it(asked: Ask, capsys: Capture) -> None:
    _, report = asked("puzzles")
    assert any(p["name"] == "three-wheels" for p in report["puzzles"])
    assert run(["puzzles", "--schema"]) == 0
    assert "written" in json.dumps(json.loads(capsys.readouterr().out))
