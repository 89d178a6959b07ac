"""One SQLite file for all threads and processes: connections, transactions, clock and errors."""

from __future__ import annotations

import contextlib
import errno
import os
import sqlite3
import threading
import weakref
from collections.abc import Callable, Iterator
from pathlib import Path

from service.settings import BUSY_SECONDS
from service.stores.base import StoreError
from service.stores.sqlite_tables import NotOursError, immediate, prepare

#: The largest size, in bytes, that the log of what was written is left at.
_LOG_BYTES = 20_000_000
#: Seconds since 1970, to the millisecond.
_NOW = "select (julianday('now') - 2440587.5) * 86400.0"

#: What went wrong by SQLite's primary result code: what is said, and when to try again.
_SAID = {
    sqlite3.SQLITE_BUSY: (f"another process has kept it busy for {BUSY_SECONDS:g} s", 2),
    sqlite3.SQLITE_LOCKED: ("another thread has kept it busy", 2),
    sqlite3.SQLITE_FULL: ("there is no room for it on the disk; free some", 30),
    sqlite3.SQLITE_READONLY: ("it may only be read; allow this user to write it", 30),
    sqlite3.SQLITE_PERM: ("this user may not open it", 30),
    sqlite3.SQLITE_CANTOPEN: ("it cannot be opened; see that its folder may be written", 30),
    sqlite3.SQLITE_CORRUPT: ("it is damaged; `trefoil restore` puts a backup in its place", 60),
    sqlite3.SQLITE_NOTADB: ("it is no database", 60),
    sqlite3.SQLITE_IOERR: ("the disk cannot be read or written", 30),
    sqlite3.SQLITE_PROTOCOL: ("other processes have kept it busy", 2),
    sqlite3.SQLITE_SCHEMA: ("its tables have changed meanwhile", 2),
}
#: Errors after which a file is opened anew.
_SPOILT = (
    sqlite3.SQLITE_CORRUPT,
    sqlite3.SQLITE_NOTADB,
    sqlite3.SQLITE_IOERR,
    sqlite3.SQLITE_CANTOPEN,
    sqlite3.SQLITE_READONLY,
)


class _Connection(sqlite3.Connection):
    """A connection that remembers which file and process it belongs to."""

    lock: threading.Lock
    process: int
    file: tuple[int, int]


#: Connections that came along when a process was forked; never used and never closed.
_LEFT: list[_Connection] = []


class _Own(threading.local):
    connection: _Connection | None = None


class SqliteFile:
    """A file that is opened when it is first used, and anew after ``close``.

    Each thread has a connection of its own, made anew in a forked process and when another file was
    put in this one's place. ``clock`` takes the place of SQLite's in tests.
    """

    def __init__(self, path: Path, clock: Callable[[], float] | None = None) -> None:
        self.path = path
        self._clock = clock
        self._own = _Own()
        self._all: weakref.WeakSet[_Connection] = weakref.WeakSet()
        self._guard = threading.Lock()

    @contextlib.contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """Give a connection, for one look that needs nothing to stay as it is until the next."""
        with self._held(), self._connected() as connection:
            yield connection

    @contextlib.contextmanager
    def snapshot(self) -> Iterator[sqlite3.Connection]:
        """Give a connection on which nothing changes meanwhile; raises StoreError."""
        with self._held(), self._connected() as connection:
            connection.execute("begin")
            try:
                yield connection
            finally:
                if connection.in_transaction:
                    connection.execute("rollback")

    @contextlib.contextmanager
    def writing(self, durable: bool = False, patient: bool = True) -> Iterator[sqlite3.Connection]:
        """Give a connection on which all of what is inside happens, or nothing; raises StoreError.

        What was written outlives the process at once; ``durable`` waits until it outlives a power
        failure too. Who is not ``patient`` does not wait for others that write.
        """
        with self._held(), self._connected() as connection:
            # With a log, NORMAL syncs only when the log is brought in, FULL with each commit.
            connection.execute(f"pragma synchronous = {'full' if durable else 'normal'}")
            with immediate(connection, patient):
                yield connection

    def now(self, connection: sqlite3.Connection) -> float:
        """Return the seconds since 1970 by the store's clock."""
        if self._clock is not None:
            return self._clock()
        return float(connection.execute(_NOW).fetchone()[0])

    def close(self) -> None:
        """Close the connections of all threads, each when what it does is done."""
        with self._guard:
            every, self._all = list(self._all), weakref.WeakSet()
        for connection in every:
            if connection.process == os.getpid():
                with connection.lock, contextlib.suppress(sqlite3.Error):
                    connection.close()
        self._own.connection = None

    @contextlib.contextmanager
    def _held(self) -> Iterator[None]:
        """Say errors in our own words."""
        try:
            yield
        except StoreError:
            raise
        except (OSError, sqlite3.OperationalError, sqlite3.DatabaseError) as error:
            if isinstance(error, sqlite3.ProgrammingError | sqlite3.IntegrityError):
                raise
            self._drop_if_spoilt(error)
            raise told(self.path, error) from error

    @contextlib.contextmanager
    def _connected(self) -> Iterator[_Connection]:
        """Give this thread's connection, locked against being closed meanwhile."""
        connection = self._own.connection
        if connection is not None:
            with connection.lock:
                if self._counts(connection):
                    yield connection
                    return
            if connection.process != os.getpid():
                # Closed here, it might tidy up under the process that it belongs to.
                _LEFT.append(connection)
        connection = self._opened()
        self._own.connection = connection
        with self._guard:
            self._all.add(connection)
        with connection.lock:
            yield connection

    def _counts(self, connection: _Connection) -> bool:
        """Return whether a connection is this process's, open, and to the file that is there."""
        if connection.process != os.getpid() or connection not in self._all:
            return False
        try:
            there = self.path.stat()
        except OSError:
            return False
        return (there.st_dev, there.st_ino) == connection.file

    def _opened(self) -> _Connection:
        self.path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        if not self.path.exists():
            # What stands in it is nobody else's business.
            with contextlib.suppress(FileExistsError):
                os.close(os.open(self.path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
        connection = sqlite3.connect(
            self.path,
            timeout=BUSY_SECONDS,
            isolation_level=None,
            check_same_thread=False,
            factory=_Connection,
        )
        try:
            there = self.path.stat()
            connection.lock = threading.Lock()
            connection.process = os.getpid()
            connection.file = (there.st_dev, there.st_ino)
            prepare(connection)
            connection.execute(f"pragma journal_size_limit = {_LOG_BYTES}")
            # Lets others read while one writes; without it all works too, only slower.
            with contextlib.suppress(sqlite3.OperationalError):
                connection.execute("pragma journal_mode = wal")
        except BaseException:
            connection.close()
            raise
        return connection

    def _drop_if_spoilt(self, error: Exception) -> None:
        connection = self._own.connection
        if connection is None or _code(error) not in _SPOILT:
            return
        self._own.connection = None
        with self._guard:
            self._all.discard(connection)
        with contextlib.suppress(sqlite3.Error):
            connection.close()


def told(path: Path, error: Exception) -> StoreError:
    """Return what is said of an error with a file."""
    if isinstance(error, NotOursError):
        return StoreError(f"{path} cannot be used: {error}", 60)
    if isinstance(error, OSError):
        if error.errno in (errno.ENOSPC, errno.EDQUOT):
            said, later = _SAID[sqlite3.SQLITE_FULL]
        else:
            said, later = (error.strerror or str(error)).lower(), 30
    else:
        said, later = _SAID.get(_code(error), (str(error), 30))
    return StoreError(f"{path} cannot be used: {said}", later)


def _code(error: Exception) -> int:
    """Return SQLite's primary result code, -1 for none."""
    code = getattr(error, "sqlite_errorcode", None)
    return -1 if code is None else int(code) & 0xFF
