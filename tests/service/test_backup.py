"""Copying a store while it is used and putting it back, by the commands of the command line."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from service.cli import run
from service.stores import sqlite_backup
from service.stores.base import JobLimits, Role, State, StoreError
from service.stores.sqlite import SqliteStore
from service.stores.sqlite_tables import APPLICATION

PLENTY = JobLimits(open_each=10**6, open_all=10**6, spent_each=1e9)


@pytest.fixture
def path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    path = tmp_path / "store" / "store.sqlite"
    monkeypatch.setenv("TREFOIL_STORE", str(path))
    return path


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    return tmp_path / "copies" / "monday.trefoil"


@pytest.fixture(autouse=True)
def _folder(copy: Path) -> None:
    copy.parent.mkdir()


def filled(path: Path) -> SqliteStore:
    store = SqliteStore(path)
    store.things.put("result", "r", b"result")
    store.things.put("puzzle", "p", b"puzzle")
    store.levels.put("a", 3, b"level")
    store.clubs.found("1", "Turners", {Role.READ: "hash"})
    store.clubs.add("1", '{"note":"x"}', 9)
    store.jobs.submit("k", "find", "{}", "ann", PLENTY)
    return store


def check_filled(path: Path) -> None:
    store = SqliteStore(path)
    assert store.things.get("result", "r") == b"result"
    assert store.levels.get("a", 3) == b"level"
    assert [item.data for item in store.clubs.items("1")] == ['{"note":"x"}']
    job = store.jobs.job("k")
    assert job is not None
    assert job.state is State.WAITING
    store.close()


def test_a_lost_store_is_put_back(
    path: Path, copy: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    filled(path).close()
    assert run(["backup", str(copy)]) == 0
    assert "1 search, 1 result, 1 posted puzzle, 1 club" in capsys.readouterr().out
    assert list(copy.parent.iterdir()) == [copy]
    assert copy.stat().st_mode & 0o077 == 0
    shutil.rmtree(path.parent)
    assert run(["restore", str(copy)]) == 0
    said = capsys.readouterr().out
    assert "1 search, 1 result, 1 posted puzzle, 1 club" in said
    assert str(path) in said
    check_filled(path)


def test_those_who_use_a_store_see_what_was_put_back(path: Path, copy: Path) -> None:
    store = filled(path)
    assert run(["backup", str(copy)]) == 0
    store.things.put("result", "later", b"later")
    store.clubs.remove("1")
    assert run(["restore", str(copy)]) == 0
    assert store.things.get("result", "later") is None
    assert store.clubs.entered("hash") is not None
    store.things.put("result", "again", b"again")
    store.close()
    check_filled(path)
    aside = path.with_name(f"{path.name}.before-1")
    assert sorted(path.parent.iterdir()) == [path, aside]


def test_what_is_replaced_is_put_aside_and_can_be_put_back(
    path: Path, copy: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    store = filled(path)
    assert run(["backup", str(copy)]) == 0
    store.things.put("result", "later", b"later")
    store.close()
    for number in (1, 2):
        capsys.readouterr()
        assert run(["restore", str(copy)]) == 0
        aside = path.with_name(f"{path.name}.before-{number}")
        assert f"All that was there is {aside} now" in capsys.readouterr().out
        assert aside.stat().st_mode & 0o077 == 0
    assert run(["restore", str(path.with_name(f"{path.name}.before-1"))]) == 0
    assert store.things.get("result", "later") == b"later"
    store.close()


def test_a_service_at_work_is_told_of(
    path: Path, copy: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    store = filled(path)
    store.jobs.present("one", 0.0)
    assert run(["backup", str(copy)]) == 0
    assert run(["restore", str(copy)]) == 0
    assert not capsys.readouterr().err
    store.jobs.present("one", 20.0)
    assert run(["restore", str(copy)]) == 0
    assert "a service is at work on it" in capsys.readouterr().err
    store.close()


def test_what_the_command_line_keeps_takes_the_place_of_no_service_unless_asked(
    path: Path, copy: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    filled(path).close()
    own = SqliteStore(copy)
    own.levels.put("a", 3, b"level")
    own.close()
    assert run(["restore", str(copy)]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert "holds no searches, results, puzzles or clubs" in line
    assert "--anyway" in line
    check_filled(path)
    assert list(path.parent.iterdir()) == [path]
    assert run(["restore", "--anyway", str(copy)]) == 0
    check_filled(path.with_name(f"{path.name}.before-1"))


def test_a_copy_is_of_one_moment_while_others_write(path: Path, copy: Path) -> None:
    """A writer puts things in pairs, so that a copy between the two of a pair would show."""
    store = filled(path)
    begun, done = threading.Event(), threading.Event()

    def write() -> None:
        number = 0
        while not done.is_set():
            number += 1
            with store._file.writing() as connection:
                for half in ("a", "b"):
                    connection.execute(
                        "insert into thing (kind, name, used, size, data) values (?, ?, 0, 1, ?)",
                        (half, str(number), bytes(20_000)),
                    )
            if number == 50:
                begun.set()

    writer = threading.Thread(target=write)
    writer.start()
    begun.wait()
    try:
        for _ in range(3):
            sqlite_backup.backup(path, copy)
            kept = SqliteStore(copy)
            counts = kept.things.count("a"), kept.things.count("b")
            kept.close()
            assert counts[0] == counts[1] >= 50
    finally:
        done.set()
        writer.join()
        store.close()


def test_an_older_copy_is_replaced_and_nothing_else(
    path: Path, copy: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    filled(path).close()
    assert run(["backup", str(copy)]) == 0
    assert "older copy" not in capsys.readouterr().out
    assert run(["backup", str(copy)]) == 0
    assert "takes the place of the older copy" in capsys.readouterr().out
    letter = copy.with_name("letter.txt")
    letter.write_text("dear club")
    for wrong, said in (
        (letter, "no database"),
        (path, "the store itself"),
        (copy.parent, "no file"),
        (copy.parent / "none" / "x", "no such file"),
    ):
        capsys.readouterr()
        assert run(["backup", str(wrong)]) == 2
        lines = capsys.readouterr().err.splitlines()
        assert len(lines) == 1
        assert said in lines[0]
    assert letter.read_text() == "dear club"
    check_filled(path)


def test_what_is_no_copy_is_refused(
    path: Path, copy: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    filled(path).close()
    assert run(["backup", str(copy)]) == 0
    text = copy.with_name("text")
    text.write_text("dear club" * 1000)
    empty = copy.with_name("empty")
    empty.write_bytes(b"")
    other = copy.with_name("other")
    connection = sqlite3.connect(other)
    connection.execute("create table x (y)")
    connection.close()
    newer = copy.with_name("newer")
    newer.write_bytes(copy.read_bytes())
    connection = sqlite3.connect(newer)
    connection.execute("pragma user_version = 99")
    connection.close()
    damaged = copy.with_name("damaged")
    data = bytearray(copy.read_bytes())
    data[5000 : len(data) // 2] = os.urandom(len(data) // 2 - 5000)
    damaged.write_bytes(data)
    cut = copy.with_name("cut")
    cut.write_bytes(copy.read_bytes()[:20_000])
    for wrong, said in (
        (text, "no database"),
        (empty, "empty"),
        (other, "another program"),
        (newer, "another version"),
        (damaged, "damaged"),
        (cut, "damaged"),
        (path, "the store itself"),
        (copy.with_name("missing"), "no backup"),
        (copy.parent, "no file"),
    ):
        capsys.readouterr()
        assert run(["restore", str(wrong)]) == 2
        lines = capsys.readouterr().err.splitlines()
        assert len(lines) == 1
        assert said in lines[0]
        assert str(wrong) in lines[0]
    check_filled(path)
    assert not list(path.parent.glob(".trefoil-*"))


def test_a_damaged_store_is_kept_under_another_name(
    path: Path, copy: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    filled(path).close()
    assert run(["backup", str(copy)]) == 0
    for number in (1, 2):
        path.write_bytes(b"rubbish" * 1000)
        capsys.readouterr()
        assert run(["restore", str(copy)]) == 0
        aside = path.with_name(f"{path.name}.damaged-{number}")
        assert str(aside) in capsys.readouterr().out
        assert aside.read_bytes() == b"rubbish" * 1000
        check_filled(path)


def test_another_programs_file_in_the_stores_place_is_left_alone(path: Path, copy: Path) -> None:
    filled(path).close()
    sqlite_backup.backup(path, copy)
    path.unlink()
    connection = sqlite3.connect(path)
    connection.execute("create table x (y)")
    connection.close()
    before = path.read_bytes()
    with pytest.raises(StoreError, match="left alone"):
        sqlite_backup.restore(copy, path)
    assert path.read_bytes() == before


def test_a_copy_of_the_first_version_is_brought_up_to_date(path: Path, copy: Path) -> None:
    connection = sqlite3.connect(copy)
    connection.execute(
        "create table level (key text not null, half_length integer not null, digest blob not null,"
        " data blob not null, used integer not null, primary key (key, half_length))"
    )
    connection.execute(f"pragma application_id = {APPLICATION}")
    connection.execute("pragma user_version = 1")
    connection.commit()
    connection.close()
    sqlite_backup.restore(copy, path)
    store = SqliteStore(path)
    assert store.missing() == []
    store.close()


def test_a_store_that_stays_locked_is_said(
    path: Path, copy: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    filled(path).close()
    sqlite_backup.backup(path, copy)
    monkeypatch.setattr(sqlite_backup, "BUSY_SECONDS", 0.2)
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("begin immediate")
    with pytest.raises(StoreError, match=r"in use|busy"):
        sqlite_backup.restore(copy, path)
    other.execute("rollback")
    other.close()
    check_filled(path)
    assert not list(path.parent.glob("*.before-*"))


def test_a_store_in_a_server_is_not_copied(copy: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for command in ("backup", "restore"):
        assert run([command, str(copy), "--store", "redis://localhost:1/0"]) == 2
        assert "append-only file" in capsys.readouterr().err


def test_an_interrupted_restore_leaves_what_was_there(path: Path, copy: Path) -> None:
    """A process is killed while it restores; what stands there is the old store or the new one."""
    store = filled(path)
    for number in range(100):
        store.things.put("result", f"r{number}", os.urandom(100_000))
    sqlite_backup.backup(path, copy)
    store.things.put("result", "later", b"later")
    store.close()
    program = [sys.executable, "-m", "service.cli", "restore", str(copy)]
    for wait in (0.25, 0.4, 0.5, 0.6, 0.8):
        process = subprocess.Popen(program, stdout=subprocess.DEVNULL)
        try:
            process.wait(wait)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        connection = sqlite3.connect(path)
        assert connection.execute("pragma integrity_check").fetchall() == [("ok",)]
        connection.close()
        check_filled(path)
