"""A store in one SQLite file when things go wrong: full, locked, damaged, killed, forked, old."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from service.settings import EVICTED
from service.stores import open_store, sqlite_file, sqlite_levels
from service.stores.base import JobLimits, Role, State, StoreError
from service.stores.sqlite import SqliteStore
from service.stores.sqlite_tables import APPLICATION, VERSION

ROOT = Path(__file__).parents[2]
PLENTY = JobLimits(open_each=1000, open_all=1000, spent_each=1e6)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "store.sqlite"


@pytest.fixture
def store(path: Path) -> Iterator[SqliteStore]:
    store = SqliteStore(path)
    yield store
    store.close()


def whole(path: Path) -> bool:
    """Return whether SQLite finds nothing wrong with a file."""
    connection = sqlite3.connect(path)
    try:
        return bool(connection.execute("pragma integrity_check").fetchall() == [("ok",)])
    finally:
        connection.close()


def test_the_clock_is_the_machines(store: SqliteStore) -> None:
    before = time.time()
    job = store.jobs.submit("k", "find", "{}", "ann", PLENTY)
    assert before - 0.01 <= job.created <= time.time() + 0.01


def test_only_the_owner_may_read_a_store(store: SqliteStore, path: Path) -> None:
    store.clubs.found("1", "Turners", {Role.KEEP: "k"})
    for file in path.parent.glob("store.sqlite*"):
        assert file.stat().st_mode & 0o077 == 0


def test_a_file_of_the_first_version_is_brought_up_to_date(path: Path) -> None:
    """The table as the first version made it, with a level in it."""
    connection = sqlite3.connect(path)
    connection.executescript(
        """
        create table level (
            key text not null,
            half_length integer not null,
            digest blob not null,
            data blob not null,
            used integer not null,
            primary key (key, half_length)
        );
        insert into level values ('a', 3,
            x'9834876dcfb05cb167a5c24953eba58c4ac89b1adf57f28f2f9d09af107ee8f0', 'aaa', 0);
        update level set data = cast(data as blob);
        """
    )
    connection.execute(f"pragma application_id = {APPLICATION}")
    connection.execute("pragma user_version = 1")
    connection.commit()
    connection.close()
    store = SqliteStore(path)
    assert store.levels.get("a", 3) == b"aaa"
    assert store.jobs.submit("k", "find", "{}", "ann", PLENTY).state is State.WAITING
    store.close()
    connection = sqlite3.connect(path)
    assert connection.execute("pragma user_version").fetchone() == (VERSION,)
    connection.close()


# --- Room ---------------------------------------------------------------------------------------


def test_things_that_can_be_made_again_make_room(path: Path) -> None:
    clock = [1e9]
    store = SqliteStore(path, lambda: clock[0], most_evicted=10_000)
    store.things.put("result", "kept", bytes(50_000))
    for number in range(9):
        store.things.put(EVICTED[0], f"n{number}", bytes(1000))
        clock[0] += 1
    clock[0] += 2 * sqlite_levels.USED_SECONDS
    assert store.things.get(EVICTED[0], "n0") is not None
    store.things.put(EVICTED[0], "large", bytes(4000))
    names = store.things.names(EVICTED[0], 99)
    # n0 was used last but for the new one; the others go in the order in which they were put.
    assert "n0" in names
    assert names[0] == "large"
    assert 3 <= len(names) <= 6
    assert names[1:-1] == [f"n{8 - k}" for k in range(len(names) - 2)]
    store.things.put(EVICTED[0], "huge", bytes(20_000))
    assert store.things.names(EVICTED[0], 99) == ["huge"]
    assert store.things.get("result", "kept") == bytes(50_000)
    store.things.remove(EVICTED[0], "huge")
    for number in range(9):
        store.things.put(EVICTED[0], f"n{number}", bytes(1000))
    assert store.things.count(EVICTED[0]) == 9
    store.close()


def test_a_level_that_is_read_was_used(path: Path) -> None:
    clock = [1e9]
    store = SqliteStore(path, lambda: clock[0], most_levels=2500)
    store.levels.put("old", 1, bytes(1000))
    clock[0] += 60
    store.levels.put("new", 1, bytes(1000))
    clock[0] += 2 * sqlite_levels.USED_SECONDS
    assert store.levels.get("old", 1) is not None
    store.levels.put("newest", 1, bytes(1000))
    assert store.levels.numbers("new") == []
    assert store.levels.numbers("old") == [1]
    store.close()


# --- Disk full ----------------------------------------------------------------------------------


def often(act: Callable[[int], object]) -> None:
    """Do something with each of many numbers."""
    for number in range(2000):
        act(number)


def fill(store: SqliteStore) -> StoreError:
    """Put things and jobs until there is no room, and return what is said then."""
    store.things.put("result", "first", b"first")
    store.jobs.submit("first", "find", "{}", "ann", PLENTY)
    with pytest.raises(StoreError) as caught:
        often(lambda number: store.things.put("result", f"r{number}", os.urandom(20_000)))
    return caught.value


def check_full(store: SqliteStore, path: Path) -> None:
    """See that a full store can be read, refuses what is new in a sentence, and is whole."""
    assert store.things.get("result", "first") == b"first"
    job = store.jobs.job("first")
    assert job is not None
    assert job.state is State.WAITING
    before = store.things.count("result")
    with pytest.raises(StoreError, match="no room") as caught:
        store.things.put("result", "more", os.urandom(60_000))
    assert caught.value.retry_after >= 10
    assert store.things.get("result", "more") is None
    assert store.things.count("result") == before
    with pytest.raises(StoreError, match="no room"):
        often(lambda number: store.jobs.submit(f"k{number}", "find", "x" * 5000, "a", PLENTY))
    assert whole(path)


def test_a_store_at_its_largest_size(
    store: SqliteStore, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """SQLite's own bound on pages: what it says is what it says of a full disk."""
    opened = sqlite_file.SqliteFile._opened

    def bounded(self: sqlite_file.SqliteFile) -> sqlite3.Connection:
        connection = opened(self)
        connection.execute("pragma max_page_count = 200")
        return connection

    monkeypatch.setattr(sqlite_file.SqliteFile, "_opened", bounded)
    error = fill(store)
    assert "no room" in str(error)
    assert str(path) in str(error)
    check_full(store, path)
    monkeypatch.undo()
    store.close()
    store.things.put("result", "later", os.urandom(60_000))
    assert store.missing() == []


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of two megabytes, where this user may mount one."""
    folder = tmp_path / "disk"
    folder.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=2m", "tmpfs", str(folder)],
        check=False,
        capture_output=True,
    )
    if mounted.returncode:
        pytest.skip("no disk can be mounted here")
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)


def test_a_full_disk(small_disk: Path) -> None:
    path = small_disk / "store.sqlite"
    store = SqliteStore(path)
    ballast = small_disk / "ballast"
    ballast.write_bytes(bytes(800_000))
    assert "no room" in str(fill(store))
    check_full(store, path)
    [sentence] = store.missing() or ["no room"]
    assert "no room" in sentence
    # Another process that begins now can read too.
    other = SqliteStore(path)
    assert other.things.get("result", "first") == b"first"
    ballast.unlink()
    store.things.put("result", "later", os.urandom(60_000))
    assert store.missing() == []
    assert whole(path)
    store.close()
    other.close()


def test_a_store_that_cannot_be_made_on_a_full_disk(small_disk: Path) -> None:
    ballast = small_disk / "ballast"
    with pytest.raises(OSError, match="No space"):
        ballast.write_bytes(bytes(3_000_000))
    store = SqliteStore(small_disk / "store.sqlite")
    with pytest.raises(StoreError, match="no room"):
        store.jobs.submit("k", "find", "{}", "ann", PLENTY)
    ballast.unlink()
    assert store.jobs.submit("k", "find", "{}", "ann", PLENTY).run == 1
    store.close()


# --- Files that cannot be used ------------------------------------------------------------------


def _no_database(path: Path) -> None:
    path.write_bytes(b"no database at all" * 1000)


def _of_another_program(path: Path) -> None:
    connection = sqlite3.connect(path)
    connection.execute("create table job (something)")
    connection.commit()
    connection.close()


def _of_another_version(path: Path) -> None:
    store = SqliteStore(path)
    assert store.missing() == []
    store.close()
    connection = sqlite3.connect(path)
    connection.execute("pragma user_version = 99")
    connection.close()


def _folder(path: Path) -> None:
    path.mkdir()


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (_no_database, "no database"),
        (_of_another_program, "another program"),
        (_of_another_version, "another version"),
        (_folder, "cannot be opened"),
    ],
)
def test_a_file_that_is_none_is_refused_in_a_sentence_and_left_alone(
    spoil: Callable[[Path], None], said: str, path: Path
) -> None:
    spoil(path)
    before = path.read_bytes() if path.is_file() else None
    store = SqliteStore(path)
    for _ in range(2):
        with pytest.raises(StoreError, match=said) as caught:
            store.jobs.submit("k", "find", "{}", "ann", PLENTY)
        assert str(path) in str(caught.value)
    [sentence] = store.missing()
    assert said in sentence
    assert (path.read_bytes() if path.is_file() else None) == before
    store.close()


def test_a_damaged_file_says_what_helps(path: Path) -> None:
    store = SqliteStore(path)
    for number in range(200):
        store.things.put("result", f"r{number}", os.urandom(3000))
    store.close()
    data = bytearray(path.read_bytes())
    data[4096 * 3 : -4096] = os.urandom(len(data) - 4096 * 4)
    path.write_bytes(data)
    with pytest.raises(StoreError, match="restore"):
        often(lambda number: store.things.get("result", f"r{number % 200}"))


def test_a_store_that_another_process_keeps_locked(
    store: SqliteStore, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("service.settings.BUSY_SECONDS", 0.2)
    store.jobs.submit("k", "find", "{}", "ann", PLENTY)
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("begin immediate")
    with pytest.raises(StoreError, match="busy") as caught:
        store.jobs.submit("l", "find", "{}", "ann", PLENTY)
    assert caught.value.retry_after <= 5
    # What only reads does not wait for writers.
    began = time.monotonic()
    assert store.jobs.job("k") is not None
    assert store.jobs.submit("k", "find", "{}", "ann", PLENTY).run == 1
    assert time.monotonic() - began < 0.2
    other.execute("rollback")
    other.close()
    assert store.jobs.submit("l", "find", "{}", "ann", PLENTY).run == 1


def test_a_look_waits_for_nobody_even_where_it_notes_the_use(path: Path) -> None:
    clock = [1e9]
    store = SqliteStore(path, lambda: clock[0])
    store.things.put(EVICTED[0], "n", b"answer")
    store.levels.put("a", 1, b"level")
    clock[0] += 2 * sqlite_levels.USED_SECONDS
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("begin immediate")
    began = time.monotonic()
    assert store.things.get(EVICTED[0], "n") == b"answer"
    assert store.levels.get("a", 1) == b"level"
    assert time.monotonic() - began < 1.0
    other.close()
    store.close()


def test_a_folder_that_may_not_be_written(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    store = SqliteStore(tmp_path / "file" / "store.sqlite")
    with pytest.raises(StoreError, match="file"):
        store.jobs.job("k")


# --- Processes ----------------------------------------------------------------------------------


def test_a_file_put_in_its_place_is_the_store_from_then_on(
    store: SqliteStore, path: Path, tmp_path: Path
) -> None:
    store.things.put("result", "old", b"old")
    other = SqliteStore(tmp_path / "other.sqlite")
    other.things.put("result", "new", b"new")
    other.close()
    for file in tmp_path.glob("store.sqlite-*"):
        file.unlink()
    (tmp_path / "other.sqlite").replace(path)
    assert store.things.get("result", "old") is None
    assert store.things.get("result", "new") == b"new"
    path.unlink()
    assert store.things.get("result", "new") is None


def test_a_forked_process_opens_the_file_anew(store: SqliteStore, path: Path) -> None:
    store.things.put("result", "parent", b"1")
    child = os.fork()
    if not child:
        status = 1
        try:
            good = store.things.get("result", "parent") == b"1"
            store.things.put("result", "child", b"2")
            store.close()
            status = 0 if good else 2
        finally:
            os._exit(status)
    assert os.waitpid(child, 0)[1] == 0
    assert store.things.get("result", "child") == b"2"
    store.things.put("result", "parent again", b"3")
    assert whole(path)


def test_a_store_may_be_closed_while_threads_use_it(store: SqliteStore) -> None:
    store.things.put("result", "r", b"result")
    done = threading.Event()

    def use(number: int) -> int:
        count = 0
        while not done.is_set():
            assert store.things.get("result", "r") == b"result"
            store.things.put("result", f"r{number} {count}", b"x")
            count += 1
        return count

    with ThreadPoolExecutor(4) as pool:
        uses = [pool.submit(use, number) for number in range(4)]
        for _ in range(30):
            store.close()
            time.sleep(0.005)
        done.set()
        assert sum(each.result() for each in uses) == store.things.count("result") - 1


WRITER = """
import sys
from service.stores import open_store
from service.stores.base import JobLimits, State
store = open_store(sys.argv[1])
limits = JobLimits(10**6, 10**6, 1e9)
number = int(sys.argv[2])
while True:
    store.jobs.submit(f"k{number}", "find", "{}", "ann", limits)
    print(number, flush=True)
    number += 1
    lease = store.jobs.lease("w", 0.01)
    if lease is None:
        continue
    if not lease.shard.plans:
        lease = store.jobs.record(lease, b"r" * 5000, 0.0, 0.01)
    elif lease.shard.stage:
        store.things.put("result", lease.shard.job, b"x" * 3000)
        store.jobs.end(lease, State.DONE, "{}", "", 0.0)
        lease = None
    if lease is not None:
        store.jobs.plan(lease, [b"p" * 2000] * 3, 0.0, "")
"""


def test_nothing_accepted_is_lost_when_the_process_is_killed(path: Path) -> None:
    accepted: set[int] = set()
    for attempt in range(8):
        first = 1000 * attempt
        writer = subprocess.Popen(
            [sys.executable, "-c", WRITER, str(path), str(first)],
            stdout=subprocess.PIPE,
            text=True,
            cwd=ROOT,
        )
        assert writer.stdout is not None
        for _ in range(2 + 7 * attempt):
            accepted.add(int(writer.stdout.readline()))
        writer.send_signal(signal.SIGKILL)
        # The last line may be cut short.
        said = writer.communicate()[0].split("\n")[:-1]
        accepted.update(int(line) for line in said)
        assert whole(path)
        store = open_store(str(path))
        for number in accepted:
            job = store.jobs.job(f"k{number}")
            assert job is not None
            if job.state is State.DONE:
                assert store.things.get("result", job.key) is not None
        assert store.jobs.lease("w", 0.01) is not None
        store.close()
    assert len(accepted) > 200
