"""A store in a SQLite file copied to a file of its own, while it is used, and put back."""

from __future__ import annotations

import contextlib
import os
import sqlite3
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from urllib.parse import quote

from service.settings import BUSY_SECONDS
from service.stores.base import StoreError
from service.stores.sqlite_file import told
from service.stores.sqlite_tables import NotOursError, prepare, version_of

#: How many pages are copied between two looks at whether somebody interrupts.
_PAGES = 2_000


@dataclass(frozen=True)
class Kept:
    """What is in a copy: how many jobs, results, posted puzzles and clubs, and its size in bytes.

    ``aside`` is where what stood in the way is now, which was ``damaged`` or not. ``at_work``:
    whether a worker said shortly before that it works for the store.
    """

    jobs: int
    results: int
    puzzles: int
    clubs: int
    size: int
    aside: Path | None = None
    damaged: bool = False
    at_work: bool = False
    #: Whether an older copy stood in the file's place.
    replaced: bool = False

    @property
    def has_things(self) -> bool:
        """Whether there is more than levels, which is all that the command line keeps."""
        return bool(self.jobs or self.results or self.puzzles or self.clubs)


def backup(store: Path, to: Path) -> Kept:
    """Copy a store, as it stands at this moment, to a file that is then whole or as it was before.

    The store may be in use. An older copy in the file's place is replaced, anything else is not.
    Raises StoreError.
    """
    _must_be_ours(store, "there is no store")
    if _same(store, to):
        raise StoreError(f"{to} is the store itself; another name would be right")
    replaced = to.exists()
    if replaced:
        try:
            _must_be_ours(to, "")
        except StoreError as error:
            raise StoreError(f"{error}, and is left alone; another name would be right") from None
    with _told(to), _temporary(to.parent) as temporary:
        with _opened(store, "rw") as source, _opened(temporary, "rw") as copy:
            # All of it is from one moment, however long it takes.
            source.execute("begin")
            source.execute("select count(*) from sqlite_master").fetchone()
            source.backup(copy, pages=_PAGES, progress=_listen)
            source.execute("rollback")
            # One file is all there is to it then, without a log beside it.
            copy.execute("pragma journal_mode = delete")
            _must_be_whole(copy, store)
            kept = _kept(copy, temporary)
        _put(temporary, to)
    return replace(kept, replaced=replaced)


def restore(source: Path, store: Path, anyway: bool = False) -> Kept:
    """Put what a copy holds in the place of a store, all at once; the store may be in use.

    A copy by an older version is brought up to date. What was in the store's place, damaged or
    not, is kept under another name. Raises StoreError and changes nothing if the copy is none, or
    damaged, or if what stands in the store's place is something else; unless ``anyway``, also if
    the copy has no searches, results, puzzles and clubs and the store does.
    """
    _must_be_ours(source, "there is no backup")
    if _same(source, store):
        raise StoreError(f"{source} is the store itself; a backup was expected")
    with _told(store):
        store.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        with _temporary(store.parent) as temporary:
            with _told(source), _opened(source, "ro") as given, _opened(temporary, "rw") as copy:
                given.backup(copy, pages=_PAGES, progress=_listen)
                copy.execute("pragma journal_mode = delete")
                _must_be_whole(copy, source)
                prepare(copy)
                kept = _kept(copy, temporary)
            if not store.exists():
                _put(temporary, store)
                return kept
            if _is_damaged(store):
                damaged = _moved_aside(store)
                _put(temporary, store)
                return replace(kept, aside=damaged, damaged=True)
            with _opened(temporary, "ro") as copy, _opened(store, "rw") as there:
                if not anyway and not kept.has_things and _kept(there, store).has_things:
                    raise StoreError(
                        f"{source} holds no searches, results, puzzles or clubs, and {store} does; "
                        "--anyway puts it back all the same"
                    )
                at_work = _at_work(there)
                aside = _copied_aside(there, store)
                try:
                    _overwrite(copy, there, store)
                except BaseException:
                    # It is all still there.
                    if aside is not None:
                        aside.unlink(missing_ok=True)
                    raise
    return replace(kept, aside=aside, at_work=at_work)


def _listen(status: int, remaining: int, total: int) -> None:
    """Do nothing, in Python: an interrupt is heard then."""


def _overwrite(copy: sqlite3.Connection, there: sqlite3.Connection, store: Path) -> None:
    """Put all of a copy in a store in one transaction: those who use it see all of it or nothing.

    A file put in another's place would leave them with the old one.
    """
    until = time.monotonic() + BUSY_SECONDS

    def patient(status: int, remaining: int, total: int) -> None:
        if status in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED) and time.monotonic() > until:
            raise StoreError(f"{store} is in use by another process; end the service, or try again")

    copy.backup(there, pages=-1, progress=patient, sleep=0.1)


def _must_be_ours(path: Path, missing: str) -> None:
    """Raise StoreError if there is no file at a path, or one that is no store of ours."""
    with _told(path):
        if not path.exists():
            raise StoreError(f"{missing} at {path}")
        if not path.is_file():
            raise StoreError(f"{path} is no file")
        with _opened(path, "ro") as connection:
            if not version_of(connection):
                raise NotOursError("it is empty")


def _must_be_whole(connection: sqlite3.Connection, path: Path) -> None:
    [said] = connection.execute("pragma integrity_check(1)").fetchone()
    if said != "ok":
        raise StoreError(f"{path} is damaged, and nothing was changed")


def _is_damaged(store: Path) -> bool:
    """Return whether a store cannot be read any more; raises StoreError for what is none."""
    try:
        with _opened(store, "rw") as connection:
            version_of(connection)
            [said] = connection.execute("pragma integrity_check(1)").fetchone()
    except NotOursError as error:
        raise StoreError(f"{store} is left alone: {error}") from None
    except sqlite3.DatabaseError as error:
        if getattr(error, "sqlite_errorcode", 0) & 0xFF in (
            sqlite3.SQLITE_CORRUPT,
            sqlite3.SQLITE_NOTADB,
        ):
            return True
        raise
    return bool(said != "ok")


def _free(store: Path, word: str) -> Path:
    """Return a name beside a store's that no file has."""
    number = 1
    while (path := store.with_name(f"{store.name}.{word}-{number}")).exists():
        number += 1
    return path


def _copied_aside(there: sqlite3.Connection, store: Path) -> Path | None:
    """Copy what is about to be replaced to a file of its own; None if there is nothing."""
    if not version_of(there):
        return None
    aside = _free(store, "before")
    with _temporary(store.parent) as temporary:
        with _opened(temporary, "rw") as copy:
            there.backup(copy, pages=_PAGES, progress=_listen)
            copy.execute("pragma journal_mode = delete")
        _put(temporary, aside)
    return aside


def _at_work(connection: sqlite3.Connection) -> bool:
    """Return whether a worker said lately that it is there."""
    if version_of(connection) < 2:
        return False
    [count] = connection.execute(
        "select count(*) from worker where until > (julianday('now') - 2440587.5) * 86400.0"
    ).fetchone()
    return bool(count)


def _moved_aside(store: Path) -> Path:
    """Give a damaged file another name; its log is of no use without it."""
    aside = _free(store, "damaged")
    store.replace(aside)
    for end in ("-wal", "-shm", "-journal"):
        store.with_name(store.name + end).unlink(missing_ok=True)
    return aside


def _kept(connection: sqlite3.Connection, path: Path) -> Kept:
    if version_of(connection) < 2:
        return Kept(0, 0, 0, 0, path.stat().st_size)
    jobs, results, puzzles, clubs = connection.execute(
        "select (select count(*) from job), "
        "(select count(*) from thing where kind = 'result'), "
        "(select count(*) from thing where kind = 'puzzle'), (select count(*) from club)"
    ).fetchone()
    return Kept(jobs, results, puzzles, clubs, path.stat().st_size)


@contextlib.contextmanager
def _opened(path: Path, mode: str) -> Iterator[sqlite3.Connection]:
    """Open a file that is there, for ``ro`` or ``rw``."""
    address = f"file:{quote(str(path.absolute()))}?mode={mode}"
    connection = sqlite3.connect(address, uri=True, timeout=BUSY_SECONDS, isolation_level=None)
    try:
        yield connection
    finally:
        connection.close()


@contextlib.contextmanager
def _temporary(folder: Path) -> Iterator[Path]:
    """Give an empty file in a folder, which is gone afterwards if it was not moved."""
    number, name = tempfile.mkstemp(dir=folder, prefix=".trefoil-")
    os.close(number)
    path = Path(name)
    try:
        yield path
    finally:
        for end in ("", "-wal", "-shm", "-journal"):
            path.with_name(path.name + end).unlink(missing_ok=True)


def _put(temporary: Path, path: Path) -> None:
    """Give a whole file its name, so that a power failure leaves it or what was there before."""
    with temporary.open("rb") as stream:
        os.fsync(stream.fileno())
    temporary.replace(path)
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)


def _same(one: Path, other: Path) -> bool:
    return one.exists() and other.exists() and one.samefile(other)


@contextlib.contextmanager
def _told(path: Path) -> Iterator[None]:
    """Say errors in our own words."""
    try:
        yield
    except (OSError, sqlite3.OperationalError, sqlite3.DatabaseError) as error:
        raise told(path, error) from error
