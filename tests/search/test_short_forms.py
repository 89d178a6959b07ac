"""Words around solved against published counts; short forms against sampled points, all words."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from puzzles import load
from puzzles.least_effects import MOVED, SWAP, SWAPS, TWIST, TWISTS, kind_of
from puzzles.notation import parse
from puzzles.words import normal
from search.nearby import acting, nearby
from search.short_forms import Form, Wanted, short_forms
from tests.plain import named, plain

#: Published counts by distance, see the first line of each file.
DATA = Path(__file__).parent.parent / "data"
COUNTS = {name: f"counts-{name}.txt" for name in ("2x2x2", "3x3x3", "cube-corners")}


@pytest.mark.parametrize("name", COUNTS)
def test_words_around_are_as_many_as_published(name: str) -> None:
    counts = [
        int(word)
        for line in (DATA / COUNTS[name]).read_text(encoding="utf-8").splitlines()
        if not line.startswith("#")
        for word in line.replace(",", " ").split()
    ]
    own = nearby(acting(load(name)), 60_000)
    sizes = np.diff(own.begins).tolist()
    assert len(sizes) >= 5
    assert sizes == counts[: len(sizes)]


@pytest.mark.parametrize("name", ["2x2x2", "octahedron-faces", "three-wheels"])
def test_each_word_around_does_what_is_said(name: str) -> None:
    puzzle = load(name)
    own = nearby(acting(puzzle), 5_000)
    source = np.random.default_rng(1)
    for number in source.integers(own.begins[-1], size=30).tolist():
        word = own.word(number)
        assert np.array_equal(own.tables(number, number + 1)[0], puzzle.effect(word))
        assert len(word) == own.depths(np.array([number]))[0]


def forms(name: str, wanted: set[Wanted], stages: int) -> dict[Wanted, Form]:
    """Return what is found in the first stages."""
    seen: list[str] = []
    best: dict[Wanted, Form] = {}
    for looked in short_forms(load(name), frozenset(wanted), 600.0):
        if looked.stage not in seen:
            seen.append(looked.stage)
        if len(seen) > stages:
            break
        best = dict(looked.best)
    return best


@pytest.mark.parametrize(
    ("name", "wanted"),
    [
        ("cube-corners", {(0, SWAPS), (0, TWISTS)}),
        ("tetrahedron-corners", {(0, TWIST), (1, TWIST), (2, TWISTS)}),
        ("cube-edges", {(0, TWISTS)}),
    ],
)
def test_forms_do_what_is_wanted_also_to_sampled_points(name: str, wanted: set[Wanted]) -> None:
    puzzle, found = load(name), forms(name, wanted, 3)
    assert found.keys() == wanted
    sampled = plain(puzzle)
    for (number, kind), form in found.items():
        assert kind_of(puzzle, puzzle.effect(form.word)) == (number, kind)
        assert normal(puzzle, parse(puzzle, form.text).word) == form.word
        assert form.turns == len(form.word)
        moved = sampled.moved(sampled.do(named(puzzle, form.word)))
        assert len(moved) == {TWIST: 1, SWAP: 2, TWISTS: 2, SWAPS: 4}[kind]


HALVES = """
description = "A cube cut into three layers each way, whose six faces turn by halves."
body = "cube"
up = "U"
front = "F"

[[layers]]
axes = "faces"
above = "1/3"
steps = 2
"""


def test_the_shortest_of_any_form_is_the_shortest(tmp_path: Path) -> None:
    """All positions that half turns make, 663,552 in at most 15 turns (from memory)."""
    path = tmp_path / "halves.toml"
    path.write_text(HALVES, encoding="utf-8")
    puzzle = load(str(path))
    own = nearby(acting(puzzle))
    assert (own.begins[-1], own.depth) == (663_552, 15)
    wanted = {(kind.number, SWAPS) for kind in puzzle.types[:2]}
    found = forms(str(path), wanted, 1)
    assert found
    moved = own.homes != puzzle.home
    for (number, kind), form in found.items():
        inside = puzzle.type_of == number
        few = (moved[:, inside].sum(axis=1) == MOVED[kind]) & ~moved[:, ~inside].any(axis=1)
        numbers = [
            n
            for n in np.flatnonzero(few).tolist()
            if kind_of(puzzle, own.tables(n, n + 1)[0]) == (number, kind)
        ]
        assert form.turns == int(own.depths(np.array(numbers)).min())
        assert form.shortest


def test_it_stops_within_moments() -> None:
    calls = 0

    def stop() -> bool:
        nonlocal calls
        calls += 1
        return calls >= 3

    steps = list(short_forms(load("2x2x2"), frozenset({(0, TWISTS)}), 600.0, stop))
    assert len(steps) == 3
    assert not steps[-1].finished
    assert not list(short_forms(load("2x2x2"), frozenset(), 600.0))
