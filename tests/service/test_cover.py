"""`trefoil cover` and the API's covers: the same object, in a terminal and as JSON."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from puzzles import load
from puzzles.effects import cycles, effect_of
from puzzles.names import placement_name
from puzzles.notation import parse
from puzzles.words import normal
from service.api.covers import CoverReport
from service.cli import run
from tests.service.api.harness import Served, serving

NESTED = "[R U R' U', L]"


def told(capsys: pytest.CaptureFixture[str], *arguments: str) -> Any:
    assert run(["cover", *arguments, "--json"]) == 0
    report = json.loads(capsys.readouterr().out)
    CoverReport.model_validate(report)
    return report


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with serving(tmp_path_factory.mktemp("covers")) as served:
        yield served


@pytest.mark.parametrize(
    ("name", "sequence", "free"),
    [
        ("3x3x3", NESTED, None),
        ("3x3x3", "[(R' D' R D)2, U]", None),
        ("4x4x4", "[2R U 2R', D]", None),
        ("3x3x3-bandaged", NESTED, None),
        ("octahedron-faces", "[U, F]", "corner,centre1,centre2"),
        ("three-wheels", "[L, R]", "coin"),
    ],
)
def test_every_entry_is_what_it_says(
    name: str, sequence: str, free: str | None, capsys: pytest.CaptureFixture[str]
) -> None:
    """Sequence, brackets, and setup with favourite and undoing are one word, and do the cycles."""
    puzzle = load(name)
    options = ["--free", free] if free else []
    report = told(capsys, name, sequence, "--setup", "1", "--alone", *options)
    assert (
        len(report["entries"])
        == report["reached"]
        == sum(row["cases"] for row in report["by_setup"] if row["within"])
    )
    released = set((free or "").split(","))
    for entry in report["entries"][:: max(1, len(report["entries"]) // 60)]:
        word = parse(puzzle, entry["sequence"]).word
        assert len(word) == entry["turns"]
        assert normal(puzzle, parse(puzzle, entry["notation"]).word) == word
        setup = parse(puzzle, entry["setup"]).word
        assert len(setup) == entry["setup_turns"] <= 1
        inner = parse(puzzle, entry["favourite"]).word
        assert normal(puzzle, setup + inner + puzzle.inverse(setup)) == word
        found = [
            [placement_name(puzzle, p) for p in cycle]
            for cycle in cycles(puzzle, effect_of(puzzle, word))
            if puzzle.types[int(puzzle.type_of[puzzle.slot_of[cycle[0]]])].name not in released
        ]
        assert found == entry["cycles"]
        assert found[0] == entry["cycle"]


def test_holding_and_letters_agree(capsys: pytest.CaptureFixture[str]) -> None:
    """Held as it says, the favourite is done in its own letters (rotations by the notation)."""
    puzzle = load("3x3x3")
    report = told(capsys, "3x3x3", NESTED, "--setup", "0", "--alone")
    favourite = parse(puzzle, NESTED).word
    seen = 0
    turning = {"U": "", "F": "x", "D": "x2", "B": "x'", "R": "z'", "L": "z"}
    for entry in report["entries"]:
        if entry["mirrored"] or entry["begun_after"]:
            continue
        up, front = entry["hold"]["up"], entry["hold"]["front"]
        for spin in ("", "y", "y2", "y'"):
            way = f"{turning[up]} {spin}".strip()
            # WCA Regulations, Article 12: rotations of the whole puzzle. Done before turns, they
            # say how it is held; F of the new holding is the face that is in front then.
            parsed = parse(puzzle, f"{way} F".strip())
            if puzzle.turns[parsed.word[0]].layer == front:
                own = parse(puzzle, f"{way} {NESTED}{chr(39) if entry['undone'] else ''}").word
                assert normal(puzzle, own) == parse(puzzle, entry["sequence"]).word
                seen += 1
    assert seen
    assert normal(puzzle, favourite)


def test_cover_as_text(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["cover", "3x3x3", NESTED, "--alone", "--most", "3"]) == 0
    # However wide it is.
    text = " ".join(capsys.readouterr().out.split())
    assert "it reaches 992 of 1,008 with up to 2 turns of setup; with 3 it reaches all" in text
    assert "16, such as (UFL UBR DFR): 3 turns of setup would reach them." in text
    assert "From UFL" in text
    assert "989 more" in text


def test_one_case_is_looked_up(capsys: pytest.CaptureFixture[str]) -> None:
    report = told(capsys, "3x3x3", NESTED, "--case", "UFR UBL DFR")
    (entry,) = report["entries"]
    assert entry["cycle"] == ["UFR", "UBL", "DFR"]
    assert not report["listed"]
    out = told(capsys, "3x3x3", NESTED, "--setup", "2", "--case", "UFL UBR DFR")
    assert out["entries"] == []
    assert run(["cover", "3x3x3", NESTED, "--case", "UFL UBR DFR"]) == 0
    assert "out of reach" in capsys.readouterr().out


def test_second_favourites(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first of the list really covers so many of the rest: both covers are made and united."""
    monkeypatch.setenv("TREFOIL_CACHE", str(tmp_path / "cache.sqlite"))
    report = told(capsys, "3x3x3", NESTED, "--setup", "1")
    best = report["second"][0]
    other = told(capsys, "3x3x3", best["sequence"], "--setup", "1", "--alone")
    first = {json.dumps(own["cycles"]): own["setup_turns"] for own in report["entries"]}
    mine = {json.dumps(own["cycles"]): own["setup_turns"] for own in other["entries"]}
    assert len(mine) == best["alone"]
    assert len(mine.keys() - first.keys()) == best["covers"]
    both = {case: min(first.get(case, 9), mine.get(case, 9)) for case in first.keys() | mine.keys()}
    assert len(both) == best["both"]
    assert sum(both.values()) == best["setups"]
    keys = [(-own["covers"], -own["both"], own["setups"]) for own in report["second"]]
    assert keys == sorted(keys)


def test_second_favourites_where_turns_can_be_blocked(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What a second favourite covers there is what its own cover says."""
    monkeypatch.setenv("TREFOIL_CACHE", str(tmp_path / "cache.sqlite"))
    monkeypatch.setattr("search.cover_second.MOST_BLOCKED", 3)
    report = told(capsys, "3x3x3-bandaged", NESTED, "--setup", "1", "--seconds", "2")
    assert report["reached"] == 0
    best = report["second"][0]
    other = told(capsys, "3x3x3-bandaged", best["sequence"], "--setup", "1", "--alone")
    assert other["reached"] == best["alone"] == best["covers"] == best["both"] > 0
    assert sum(own["setup_turns"] for own in other["entries"]) == best["setups"]


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["3x3x3", ""], "the sequence is empty; one that moves a few pieces"),
        (["3x3x3", "R R'"], "cancel"),
        (["3x3x3", "(R U R' U')6"], "no piece is moved"),
        (["3x3x3", "R U"], "13 pieces"),
        (["3x3x3", "R Q"], "'Q'"),
        (["3x3x3", NESTED, "--setup", "13"], "from 0 to 12"),
        (["3x3x3", NESTED, "--setup", "many"], "whole number"),
        (["3x3x3", NESTED, "--layers", "R U"], "turns L, which may not turn"),
        (["3x3x3", NESTED, "--case", "UF UR UB"], "UF is one of the edges, and the"),
        (["3x3x3", NESTED, "--case", "UFR UBL"], "names three pieces"),
        (["3x3x3", NESTED, "--keep", "corner", "--free", "edge"], "not both"),
        (["nothing", "R"], "nothing"),
    ],
)
def test_bad_input_is_one_sentence(
    arguments: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["cover", *arguments]) == 2
    error = capsys.readouterr().err
    assert says in error
    assert error.count("\n") == 1


def post(site: Served, question: dict[str, Any], name: str = "3x3x3") -> httpx.Response:
    return site.client.post(f"/api/puzzles/{name}/covers", json=question)


def test_the_api_says_the_same(site: Served, capsys: pytest.CaptureFixture[str]) -> None:
    here = told(capsys, "3x3x3", NESTED, "--alone")
    there = post(site, {"sequence": NESTED, "second": False})
    assert there.status_code == 200
    CoverReport.model_validate(there.json())
    assert there.json() == here
    case = post(site, {"sequence": NESTED, "case": ["UFR", "UBL", "DFR"], "second": False})
    assert len(case.json()["entries"]) == 1


def test_the_grid_counts_what_there_is(site: Served) -> None:
    """From one corner there are 7 x 6 x 9 cycles, three times of these are 1,008."""
    query = {"sequence": NESTED, "first": "DFR"}
    report = site.client.get("/api/puzzles/3x3x3/cover", params=query).json()
    CoverReport.model_validate(report)
    grid = report["grid"]
    assert grid["first"] == "DFR"
    assert len(grid["others"]) == 21
    cells = [level for row in grid["levels"] for level in row if level is not None]
    assert len(cells) == 7 * 6 * 9
    counts = [3 * sum(level == row["setup"] for level in cells) for row in report["by_setup"]]
    # All corners are alike up to symmetry, and each cycle is seen from three of the eight.
    assert [8 * count // 9 for count in counts] == [row["cases"] for row in report["by_setup"]]
    assert "no search" in report["second_text"]
    at = [
        (r, c) for r, row in enumerate(grid["levels"]) for c, level in enumerate(row) if level == 2
    ][5]
    case = ",".join(["DFR", grid["others"][at[0]], grid["others"][at[1]]])
    looked = site.client.get("/api/puzzles/3x3x3/cover", params={**query, "case": case}).json()
    assert [own["setup_turns"] for own in looked["entries"]] == [2]


@pytest.mark.parametrize(
    ("question", "pointer"),
    [
        ({"sequence": ""}, "#/sequence"),
        ({"sequence": "R Q"}, "#/sequence"),
        ({"sequence": "R U"}, "#/sequence"),
        ({"sequence": NESTED, "layers": ["X"]}, "#/layers"),
        ({"sequence": NESTED, "free": ["nothing"]}, "#/free"),
        ({"sequence": NESTED, "case": ["UF", "UR", "UB"]}, "#/case"),
        ({"sequence": NESTED, "first": "UF"}, "#/first"),
        ({"sequence": NESTED, "setup": 13}, "#/setup"),
        ({"sequence": NESTED, "setup": "2"}, "#/setup"),
    ],
)
def test_what_is_wrong_is_said_where(site: Served, question: dict[str, Any], pointer: str) -> None:
    answer = post(site, question)
    assert answer.status_code == 422
    assert [one["pointer"] for one in answer.json()["errors"]] == [pointer]


def test_a_puzzle_that_there_is_not(site: Served) -> None:
    assert post(site, {"sequence": "R"}, "nothing").status_code == 404
    answer = site.client.get("/api/puzzles/nothing/cover", params={"sequence": "R"})
    assert answer.status_code == 404
