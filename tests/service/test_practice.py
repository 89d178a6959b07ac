"""Cases to be practised: that they are what they say, against simulators of sampled points."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pytest

from puzzles import load
from puzzles.errors import TrefoilError
from puzzles.names import read_cycle
from puzzles.notation import parse
from puzzles.words import normal
from service import sequences
from service.practice import MOST_TURNS, case, joined, kept
from service.sheet_strips import Wanted
from service.stores import NoLevels
from tests.plain import assert_three_cycle, named, plain

#: Solids without blocks and with them, on which twists are seen and not.
SOLIDS = (
    "2x2x2",
    "3x3x3",
    "3x3x3-bandaged",
    "3x3x3-stops",
    "cube-faces-corners",
    "octahedron-faces",
    "tetrahedron-corners",
)


#: A three-cycle of corners, common practice.
THREE = "R U R' U' L' U R U' R' L"


@cache
def cases(name: str) -> list[dict[str, Any]]:
    """Return the cases of a puzzle's own sequences, with nothing but those of the catalogue."""
    puzzle = load(name)
    return [case(puzzle, Wanted(one["sequence"])) for one in kept(puzzle, NoLevels())]


@pytest.mark.parametrize("name", SOLIDS)
def test_the_sequence_puts_the_case_right(name: str) -> None:
    """On sampled points: the case is no solved puzzle, and its sequence leads back to one."""
    puzzle = load(name)
    shown = plain(puzzle)
    assert cases(name)
    for own in cases(name):
        before, done = (parse(puzzle, own[field]).word for field in ("before", "sequence"))
        away = shown.do(named(puzzle, before))
        assert len(shown.moved(away)) > 0
        for field in ("sequence", "written"):
            word = parse(puzzle, own[field]).word
            assert not len(shown.moved(shown.do(named(puzzle, word), away)))
        parts = [turn for part in own["parts"] for turn in parse(puzzle, part["turns"]).word]
        assert normal(puzzle, parts) == normal(puzzle, done)
        assert own["turns"] == len(done)
        effect = shown.sticker_effect(named(puzzle, done))
        moved = {
            puzzle.stickers[int(k)].slot for k in np.flatnonzero(effect != np.arange(len(effect)))
        }
        slots = {read_cycle(puzzle, [text])[0].slot for row in own["cycles"] for text in row}
        # Twists that no paint shows are told as well.
        assert moved <= slots


@pytest.mark.parametrize("name", ["3x3x3", "dodecahedron-faces", "ball-two-axes", "cube-edges"])
def test_what_is_asked_is_what_is_done(name: str) -> None:
    puzzle, threes = load(name), 0
    for own in cases(name):
        if len(own["cycles"]) == 1 and own["asked"].startswith("a three-cycle"):
            (row,) = own["cycles"]
            places = [place.placement for place in read_cycle(puzzle, row)]
            known = [place for place in places if place is not None]
            if len({int(puzzle.slot_of[p]) for p in known}) == 3:
                assert_three_cycle(puzzle, parse(puzzle, own["sequence"]).word, known)
                threes += 1
    assert threes


def test_cases_are_told_apart() -> None:
    """Also those of puzzles that are alike, and where blocks may be on the way to a case."""
    names = (*SOLIDS, "ball-two-axes", "three-wheels", "3x3x3-halves")
    for name in names:
        puzzle = load(name)
        assert len(cases(name)) == len(sequences.stored(puzzle, NoLevels()))
        for one in cases(name):
            if one["before"] is None:
                assert puzzle.can_block
                continue
            word = (*parse(puzzle, one["before"]).word, *parse(puzzle, one["written"]).word)
            assert puzzle.first_blocked(word) is None
    every = [one["id"] for name in names for one in cases(name)]
    assert len(set(every)) == len(every)


def test_a_case_is_its_effect() -> None:
    """Two ways to do the same are one case; the first is asked, the other stands beside it."""
    puzzle = load("3x3x3")
    one, other = case(puzzle, Wanted(THREE)), case(puzzle, Wanted(f"D D' {THREE} U U'"))
    back = case(puzzle, Wanted("L' R U R' U' L U R U' R'"))
    assert one["id"] == other["id"] != back["id"]
    longer = {**other, "sequence": "R L", "of": "result"}
    (first, second) = joined([{**one, "of": "puzzle"}, longer, {**back, "of": "result"}])
    assert first["sequence"] == one["sequence"]
    assert [row["sequence"] for row in first["others"]] == ["R L"]
    assert second["others"] == []


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("R R'", "does nothing"),
        ("R4", "does nothing"),
        ("Q", "Q"),
        ("R U " * MOST_TURNS, "at most 200"),
    ],
)
def test_what_cannot_be_practised(text: str, says: str) -> None:
    with pytest.raises(TrefoilError, match=says):
        case(load("3x3x3"), Wanted(text))


def test_of_what_may_end_up_anywhere_nothing_is_asked() -> None:
    """Three edges are cycled by four turns that disturb corners, as facts of the trade have it."""
    puzzle, text = load("3x3x3"), "F U' F' U"
    whole = case(puzzle, Wanted(text))
    edges = case(puzzle, Wanted(text), free=frozenset({"corner"}))
    assert set(whole["types"]) == {"corner", "edge"}
    assert edges["types"] == ["edge"]
    assert edges["asked"] == "a three-cycle of edges"
    assert edges["cycles"][0] in whole["cycles"]
    assert edges["id"] != whole["id"]
    # Corners that are turned otherwise make no other case of the edges.
    again = case(puzzle, Wanted(f"{text} {THREE} "), free=frozenset({"corner"}))
    assert again["id"] == edges["id"]
    with pytest.raises(TrefoilError, match="does nothing"):
        case(puzzle, Wanted(THREE), free=frozenset({"corner"}))
