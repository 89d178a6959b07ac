"""Levels in a SQLite file, and what a person at a command line sees of a file that fails."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from service.cli import run
from service.settings import Settings
from service.stores import NoLevels, opened
from service.stores.forgiving import Forgiving
from service.stores.sqlite import SqliteStore

Ask = Callable[..., tuple[int, Any]]


def _failing(text: str) -> None:
    raise AssertionError(text)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "new" / "levels.sqlite"


def test_a_level_is_there_after_it_was_put(path: Path) -> None:
    store = SqliteStore(path).levels
    assert store.numbers("a") == []
    assert store.get("a", 3) is None
    store.put("a", 5, b"five")
    store.put("a", 3, b"three")
    store.put("b", 4, b"four")
    store.close()
    other = SqliteStore(path).levels
    assert other.numbers("a") == [3, 5]
    assert other.get("a", 3) == b"three"
    assert other.get("a", 4) is None
    other.close()


def test_a_level_has_one_result(path: Path) -> None:
    store = SqliteStore(path).levels
    store.put("a", 3, b"first")
    store.put("a", 3, b"second")
    assert store.get("a", 3) == b"first"
    store.close()


def test_several_may_write_at_once(path: Path) -> None:
    def write(number: int) -> None:
        store = SqliteStore(path).levels
        for level in range(10):
            store.put("a", level, bytes([level]) * 1000)
            store.put(f"own{number}", level, bytes([number]) * 1000)
        store.close()

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(write, range(4)))
    store = SqliteStore(path).levels
    assert store.numbers("a") == list(range(10))
    assert all(store.get("a", k) == bytes([k]) * 1000 for k in range(10))
    assert all(store.get(f"own{n}", 9) == bytes([n]) * 1000 for n in range(4))
    store.close()


def test_a_damaged_level_is_not_there_and_can_be_put_again(path: Path) -> None:
    store = SqliteStore(path).levels
    store.put("a", 3, b"right")
    connection = sqlite3.connect(path)
    connection.execute("update level set data = ?", (b"wrong",))
    connection.commit()
    connection.close()
    assert store.get("a", 3) is None
    store.put("a", 3, b"right")
    assert store.get("a", 3) == b"right"
    store.close()


def test_what_was_used_longest_ago_makes_room(path: Path) -> None:
    store = SqliteStore(path, most_levels=2500).levels
    store.put("old", 1, bytes(1000))
    connection = sqlite3.connect(path)
    connection.execute("update level set used = 0")
    connection.commit()
    connection.close()
    store.put("new", 1, bytes(1000))
    store.put("newest", 1, bytes(1000))
    assert store.numbers("old") == []
    assert store.numbers("new") == store.numbers("newest") == [1]
    store.put("huge", 1, bytes(5000))
    assert store.numbers("huge") == [1]
    store.close()


def _garbage(path: Path) -> None:
    path.write_bytes(b"no database at all" * 100)


def _other_program(path: Path) -> None:
    connection = sqlite3.connect(path)
    connection.execute("create table level (something)")
    connection.commit()
    connection.close()


def _other_version(path: Path) -> None:
    store = SqliteStore(path).levels
    store.put("a", 1, b"x")
    store.close()
    connection = sqlite3.connect(path)
    connection.execute("pragma user_version = 99")
    connection.close()


def _folder(path: Path) -> None:
    path.mkdir()


@pytest.mark.parametrize("spoil", [_garbage, _other_program, _other_version, _folder])
def test_a_file_that_cannot_be_used_is_said_once_and_left_alone(
    spoil: Callable[[Path], None], tmp_path: Path
) -> None:
    path = tmp_path / "levels.sqlite"
    spoil(path)
    before = path.read_bytes() if path.is_file() else None
    said: list[str] = []
    store = Forgiving(SqliteStore(path).levels, said.append)
    assert store.numbers("a") == []
    store.put("a", 3, b"three")
    assert store.get("a", 3) is None
    store.close()
    assert len(said) == 1
    assert str(path) in said[0]
    assert (path.read_bytes() if path.is_file() else None) == before


def test_a_folder_that_cannot_be_made_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    said: list[str] = []
    store = Forgiving(SqliteStore(tmp_path / "file" / "levels.sqlite").levels, said.append)
    assert store.numbers("a") == []
    assert len(said) == 1


def test_commands_work_with_a_broken_cache(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    _garbage(tmp_path / "broken.sqlite")
    monkeypatch.setenv("TREFOIL_CACHE", str(tmp_path / "broken.sqlite"))
    assert run(["find", "3x3x3", "UFR", "UBL", "DFL", "--half-length", "2"]) == 1
    lines = capsys.readouterr().err.splitlines()
    assert len([line for line in lines if "cache" in line]) == 1


def test_results_that_cannot_be_read_are_made_again(
    asked: Ask, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "own.sqlite"
    monkeypatch.setenv("TREFOIL_CACHE", str(path))
    request = ("find", "3x3x3", "UFR", "UBL", "LDF", "--half-length", "4")
    first = asked(*request)
    connection = sqlite3.connect(path)
    [data] = connection.execute("select data from level where half_length = 4").fetchone()
    store = SqliteStore(path).levels
    keys = [row[0] for row in connection.execute("select distinct key from level")]
    connection.execute("delete from level")
    connection.commit()
    connection.close()
    for broken in (data[: len(data) // 2], b"", b"PK\x03\x04 nothing"):
        for key in keys:
            store.put(key, 4, broken)
    store.close()
    assert asked(*request) == first


def test_no_store_keeps_nothing() -> None:
    store = opened(Settings(cache=None, threads=1), _failing)
    assert isinstance(store, NoLevels)
    store.put("a", 1, b"x")
    assert store.get("a", 1) is None
    assert store.numbers("a") == []
