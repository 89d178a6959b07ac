"""`atlas`: every cycle once, right lengths, and the same as `find` says."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from puzzles import load
from puzzles.brackets import Commutator
from puzzles.effects import cycles, effect_of
from puzzles.names import read_cycle
from puzzles.notation import parse
from puzzles.puzzle import Puzzle
from puzzles.words import normal
from search.atlas_entries import cycles_of, entries
from search.checking import check
from search.encoding import scope
from search.goals import Goal
from search.kernels.arrays import Shelf
from service.cli import run
from service.engine import Engine
from tests.plain import assert_three_cycle

Ask = Callable[..., tuple[int, Any]]


def _placements(puzzle: Puzzle, cycle: list[str]) -> tuple[int, ...]:
    return tuple(place.placement for place in read_cycle(puzzle, cycle))


@pytest.fixture
def cube(asked: Ask) -> Any:
    status, report = asked("atlas", "3x3x3", "--half-length", "6")
    assert status == 0
    return report


def test_lengths_of_the_cube(cube: Any) -> None:
    # The counts that the project's prototype and its brute force agreed on, corners and edges.
    turns = Counter(entry["turns"] for entry in cube["entries"])
    assert turns == {8: 552, 9: 384, 10: 1328, 11: 456, 12: 48}
    kinds = Counter(entry["type"] for entry in cube["entries"])
    # 8 * 7 * 6 / 3 times 3 * 3 twists; 12 * 11 * 10 / 3 times 2 * 2 flips.
    assert kinds == {"corner": 1008, "edge": 1760}
    assert cube["missing"] == 0


def test_every_cycle_is_there_once(cube: Any) -> None:
    puzzle = load("3x3x3")
    cycles = [_placements(puzzle, entry["cycle"]) for entry in cube["entries"]]
    assert len(set(cycles)) == len(cycles)
    for a, b, c in cycles:
        slots = [int(puzzle.slot_of[p]) for p in (a, b, c)]
        assert slots[0] == min(slots)
        assert puzzle.twist_of[a] == 0


def test_notation_is_the_sequence_and_turns_its_length(cube: Any) -> None:
    puzzle = load("3x3x3")
    for entry in cube["entries"][::7]:
        for said in (entry, entry["easiest"]):
            word = parse(puzzle, said["sequence"]).word
            assert len(word) == said["turns"]
            written = parse(puzzle, said["notation"]).word
            assert normal(puzzle, written) == normal(puzzle, word)
        assert entry["easiest"]["turns"] >= entry["turns"]
        assert entry["easiest"]["things"] <= entry["things"]


@pytest.mark.parametrize(
    ("name", "options", "step"),
    [
        ("3x3x3", ("--half-length", "6"), 61),
        ("4x4x4", ("centre", "--half-length", "4"), 131),
        ("tetrahedron-corners", ("--half-length", "4"), 7),
        ("cube-edges", ("centre2", "--half-length", "4"), 3),
        ("octahedron-faces", ("--half-length", "5"), 41),
        ("3x3x3", ("edge", "--half-length", "4", "--free", "corner"), 97),
    ],
)
def test_sequences_do_their_cycles(
    asked: Ask, name: str, options: tuple[str, ...], step: int
) -> None:
    _, report = asked("atlas", name, *options)
    puzzle = load(name)
    free = [options[options.index("--free") + 1]] if "--free" in options else []
    for entry in report["entries"][::step]:
        wanted = _placements(puzzle, entry["cycle"])
        for said in (entry, entry["easiest"]):
            assert_three_cycle(puzzle, parse(puzzle, said["sequence"]).word, wanted, free=free)
    cycles = sum(kind["cycles"] for kind in report["types"])
    assert cycles == len(report["entries"]) + report["missing"]


def test_find_says_the_same(asked: Ask) -> None:
    _, atlas = asked("atlas", "3x3x3", "edge", "--half-length", "6")
    for entry in atlas["entries"][::211]:
        _, found = asked("find", "3x3x3", *entry["cycle"], "--half-length", "6")
        shortest = next(x for x in found["answers"] if "shortest" in x["leads"])
        assert shortest["turns"] == entry["turns"]


def test_alike_centres_need_no_more_turns(asked: Ask) -> None:
    options = ("atlas", "4x4x4", "centre", "--half-length", "4")
    _, apart = asked(*options)
    _, alike = asked(*options, "--alike")
    puzzle = load("4x4x4")
    assert len(alike["entries"]) >= len(apart["entries"])
    before = {tuple(entry["cycle"]): entry["turns"] for entry in apart["entries"]}
    assert all(e["turns"] <= before.get(tuple(e["cycle"]), 99) for e in alike["entries"])
    fewer = [e for e in alike["entries"] if e["turns"] < before.get(tuple(e["cycle"]), 99)]
    assert fewer
    for entry in fewer[::40]:
        word = parse(puzzle, entry["sequence"]).word
        assert_three_cycle(puzzle, word, _placements(puzzle, entry["cycle"]), alike=True)
        for option, turns in (([], entry["turns"]), (["--apart"], before[tuple(entry["cycle"])])):
            _, found = asked("find", "4x4x4", *entry["cycle"], "--half-length", "4", *option)
            assert min(answer["turns"] for answer in found["answers"]) == turns


def test_bounds_are_kept(asked: Ask, cube: Any) -> None:
    _, few = asked("atlas", "3x3x3", "corner", "--half-length", "5", "--turns", "8")
    assert {entry["turns"] for entry in few["entries"]} == {8}
    assert few["missing"] == 1008 - len(few["entries"])
    _, bare = asked("atlas", "3x3x3", "corner", "--half-length", "5", "--setup", "0")
    assert bare["searched"]["setup"] == 0
    assert bare["searched"]["complete"] is None
    with_setup = {tuple(entry["cycle"]): entry["turns"] for entry in cube["entries"]}
    assert all(e["turns"] >= with_setup[tuple(e["cycle"])] for e in bare["entries"])
    _, three = asked("atlas", "3x3x3", "corner", "--half-length", "4", "--layers", "U R L")
    letters = {turn[0] for entry in three["entries"] for turn in entry["sequence"].split()}
    assert letters == {"U", "R", "L"}


def test_an_open_atlas_ends_when_the_best_is_proven(asked: Ask) -> None:
    # 40 cycles of the middles are impossible here; waiting for them would take 20 seconds.
    status, report = asked("atlas", "3x3x3-slices", "centre")
    assert status == 3
    assert report["types"][0]["impossible"] == report["missing"] == 40
    assert report["searched"]["half_length"] == 0
    assert report["reason"]
    status, report = asked("atlas", "tetrahedron-corners")
    assert status == 0
    assert report["missing"] == 0
    assert report["searched"]["complete"] >= max(e["turns"] for e in report["entries"])


def test_an_open_atlas_with_a_bounded_setup_ends_when_its_best_is_proven(asked: Ask) -> None:
    # With any setup all is proven at half-length 4, where some cycles have no ring of their own.
    name = "tetrahedron-corners"
    free = asked("atlas", name)[1]
    status, bare = asked("atlas", name, "--setup", "0")
    assert status == 0
    assert bare["missing"] == 0
    last = bare["searched"]["half_length"]
    assert last > free["searched"]["half_length"]
    hardest = max(entry["turns"] for entry in bare["entries"])
    proven = [
        asked("atlas", name, "--half-length", str(level))[1]["searched"]["complete"]
        for level in (last - 1, last)
    ]
    assert proven[0] < hardest <= proven[1]
    # What a deeper search finds is no shorter.
    deeper = asked("atlas", name, "--setup", "0", "--half-length", "8")[1]
    turns = [[entry["turns"] for entry in report["entries"]] for report in (bare, deeper)]
    assert turns[0] == turns[1]
    assert hardest > max(entry["turns"] for entry in free["entries"])


def test_a_sequence_that_does_not_do_its_cycle_is_not_printed() -> None:
    cube = load("3x3x3")
    corner = cube.type_named("corner")
    assert corner is not None
    own = scope(cube, wanted=(corner.number,))
    found = Engine().search(own, Goal(4, None, None)).shelves
    every = cycles_of(cube, corner).tolist()
    assert sum(entry is not None for entry in entries(own, found, every, None, False)) > 500

    def spoilt(shelf: Shelf) -> Shelf:
        words = shelf.words.copy()
        words[:, :, 0] = own.arrays.inverse[words[:, :, 0]]
        return shelf._replace(words=words)

    broken = replace(found, shortest=spoilt(found.shortest), easiest=spoilt(found.easiest))
    with pytest.raises(RuntimeError, match="does not do the cycle"):
        entries(own, broken, every, None, False)


def test_checking_looks_at_every_kept_piece_and_at_twists() -> None:
    cube = load("3x3x3")
    corner = cube.type_named("corner")
    assert corner is not None
    word = parse(cube, "[R U R' U', L']").word
    [cycle] = cycles(cube, effect_of(cube, word))
    own = scope(cube, wanted=(corner.number,))
    check(own, np.array([cycle]), [word])
    twisted = (cycle[0], cycle[1], cycle[2] + (1 if cube.twist_of[cycle[2]] == 0 else -1))
    assert cube.slot_of[twisted[2]] == cube.slot_of[cycle[2]]
    # R2 U R U R' U' R' U' R' U R' cycles three edges and moves nothing else: common practice.
    both = (*word, *parse(cube, "R2 U R U R' U' R' U' R' U R'").word)
    for triple, wrong in ((cycle, cube.inverse(word)), (twisted, word), (cycle, both)):
        with pytest.raises(RuntimeError, match="does not do the cycle"):
            check(own, np.array([cycle, triple, cycle]), [word, wrong, word])
    check(scope(cube, kept=(corner.number,)), [cycle], [both])


def test_exit_statuses(asked: Ask, capsys: pytest.CaptureFixture[str]) -> None:
    assert asked("atlas", "3x3x3", "corner", "--half-length", "1")[0] == 1
    assert asked("atlas", "3x3x3", "centre")[0] == 3
    assert asked("atlas", "3x3x3", "wing")[0] == 2
    # One face of this puzzle alone cycles the three corners around it, so that is not impossible.
    layers_alone = ("atlas", "octahedron-faces", "corner", "--keep", "corner", "--layers", "U")
    assert asked(*layers_alone)[0] == 1
    assert run(["atlas", "3x3x3", "corner", "--half-length", "6", "--most", "2"]) == 0
    printed = capsys.readouterr().out
    assert "1,006 more" in printed


def test_layers_that_cycle_nothing_are_impossible(asked: Ask) -> None:
    status, report = asked("atlas", "3x3x3", "corner", "--layers", "R")
    assert status == 3
    assert report["types"][0]["impossible"] == report["missing"] == 1008
    # The reason stands alone: it names the cycle that it is about.
    assert report["reason"] == (
        "UFL → UFR → UBL cannot be done: With only R turning, UFL cannot get to UFR."
    )
    assert asked("atlas", "3x3x3", "--layers", "U D")[0] == 3
    # Found by looking at every orbit, after a search: the reason is about a cycle by name too.
    status, report = asked("atlas", "3x3x3-slices", "centre")
    assert status == 3
    assert " → " in report["reason"].partition(" cannot be done: ")[0]


def test_an_atlas_of_nothing_claims_only_what_there_is_not(
    asked: Ask, capsys: pytest.CaptureFixture[str]
) -> None:
    request = ("atlas", "3x3x3", "corner", "--half-length", "3")
    status, report = asked(*request)
    assert status == 1
    says = report["searched"]
    assert says["text"] == f"corner: none up to {says['complete']} turns among commutator forms"
    assert run(list(request)) == 1
    printed = capsys.readouterr()
    assert "what was found" not in printed.out + printed.err


def test_an_atlas_says_that_the_time_was_over(
    asked: Ask, capsys: pytest.CaptureFixture[str]
) -> None:
    request = ("atlas", "4x4x4", "edge", "--half-length", "9", "--seconds", "0.01")
    status, report = asked(*request)
    assert status in (0, 1)
    assert (report["stopped"], report["stopped_by"]) == (True, "time")
    # The second run may come farther, since the first has kept the levels that it finished.
    assert run(list(request)) in (0, 1)
    assert "stopped after 0.01 s; `--seconds 0.03` goes on" in capsys.readouterr().err


def test_no_setup_is_printed_where_none_is_allowed(asked: Ask) -> None:
    puzzle = load("3x3x3")
    status, report = asked("atlas", "3x3x3", "corner", "--half-length", "5", "--setup", "0")
    assert status == 0
    for entry in report["entries"]:
        for one in (entry, entry["easiest"]):
            assert isinstance(parse(puzzle, one["notation"]).tree, Commutator), one["notation"]
            assert normal(puzzle, parse(puzzle, one["notation"]).word) == normal(
                puzzle, parse(puzzle, one["sequence"]).word
            )
