"""Stored long arms: shelves serve the searches that would have made them, and no others."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import numpy as np
import pytest

from puzzles import load
from puzzles.errors import LimitError
from search import plan, rings
from search.encoding import Scope, scope
from search.goals import Goal
from search.request import Bounds
from search.shelves import LONG_STEPS, Shelves
from service.engine import TIME, Engine
from service.stores.sqlite import SqliteStore


class Steps(Goal):
    """Goes on until so many long steps are done."""

    def reached(self, scope: Scope, found: Shelves) -> bool:
        return len(found.steps) >= 2


@pytest.fixture
def engine(tmp_path: Path) -> Engine:
    return Engine(SqliteStore(tmp_path / "levels.sqlite").levels)


def test_a_search_without_bounds_does_not_use_levels_of_a_bounded_one(
    engine: Engine, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whether or not somebody asked for levels before, the result is the same."""
    monkeypatch.setattr(plan, "PATIENCE", 1_000)
    one = scope(load("cube-edges"), None, None, (0,))
    fresh = Engine().search(one, Steps(None, None, None)).shelves
    bounded = engine.search(one, Goal(7, None, None)).shelves
    assert bounded.half_length == 7
    assert bounded.astray
    after = engine.search(one, Steps(None, None, None)).shelves
    assert after.to_bytes() == fresh.to_bytes()
    # What is stored: levels by half-length, the others beyond them.
    numbers = engine.levels.numbers(_key(tmp_path))
    assert [n for n in numbers if n < LONG_STEPS] == list(range(1, 8))
    assert max(numbers) == after.number
    assert np.array_equal(engine.search(one, Goal(7, None, None)).shelves.turns, bounded.turns)
    # It is there now, and nothing is searched again.
    monkeypatch.setattr(Engine, "_deepened", None)
    again = engine.search(one, Steps(None, None, None)).shelves
    assert again.to_bytes() == after.to_bytes()


def _key(folder: Path) -> str:
    with sqlite3.connect(folder / "levels.sqlite") as connection:
        [(key,)] = connection.execute("select distinct key from level")
    assert isinstance(key, str)
    return key


def test_turns_that_do_not_fit_are_searched_for_a_while_where_nothing_is_proven(
    engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(rings, "MOST_BYTES", 1_000_000)
    bounds = Bounds(turns=24, seconds=1e-6)
    open_ended = scope(load("cube-edges"), None, None, (0,))
    outcome = engine.search(open_ended, Goal(12, None, 1e-6), bounds)
    assert outcome.shelves.half_length < 12
    assert outcome.stopped_by == TIME
    assert "not all of 24 turns" in outcome.note
    proving = scope(load("3x3x3"), None, None, (0,))
    with pytest.raises(LimitError, match="24 turns would need half-length 14"):
        engine.search(proving, Goal(14, None, 1e-6), bounds)
    with pytest.raises(LimitError, match="half-length 12 would need"):
        engine.search(open_ended, Goal(12, None, 1e-6), Bounds(half_length=12))
