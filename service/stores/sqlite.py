"""Finished searches in one SQLite file, shared by all processes of a person."""

from __future__ import annotations

import contextlib
import hashlib
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path

from service.settings import BUSY_SECONDS, MOST_CACHE_BYTES
from service.stores.base import Levels

#: Goes up when the tables change; a file of another version is left alone.
VERSION = 1
#: Marks the file as ours, in SQLite's application_id.
APPLICATION = 0x7EF01

_TABLES = """
create table if not exists level (
    key text not null,
    half_length integer not null,
    digest blob not null,
    data blob not null,
    used integer not null,
    primary key (key, half_length)
)
"""


class SqliteLevels(Levels):
    """A store in one file, opened when it is first used.

    A file that cannot be opened, read or written, or is of another version, is left as it is: the
    store then works as an empty one and tells ``warn`` so, once.
    """

    def __init__(
        self, path: Path, warn: Callable[[str], None], most_bytes: int = MOST_CACHE_BYTES
    ) -> None:
        self.path = path
        self._warn = warn
        self._most_bytes = most_bytes
        self._connection: sqlite3.Connection | None = None
        self._broken = False

    def numbers(self, key: str) -> list[int]:
        with self._tried() as connection:
            if connection is None:
                return []
            rows = connection.execute(
                "select half_length from level where key = ? order by half_length", (key,)
            )
            return [int(row[0]) for row in rows]
        return []

    def get(self, key: str, half_length: int) -> bytes | None:
        with self._tried() as connection:
            if connection is None:
                return None
            row = connection.execute(
                "select data, digest from level where key = ? and half_length = ?",
                (key, half_length),
            ).fetchone()
            if row is None:
                return None
            data, digest = row
            if not isinstance(data, bytes) or hashlib.sha256(data).digest() != digest:
                # A damaged level is searched again and then put in anew.
                self._drop(connection, key, half_length)
                return None
            return data
        return None

    def put(self, key: str, half_length: int, data: bytes) -> None:
        with self._tried() as connection:
            if connection is None:
                return
            with _immediate(connection):
                connection.execute(
                    "insert or ignore into level values (?, ?, ?, ?, unixepoch())",
                    (key, half_length, hashlib.sha256(data).digest(), data),
                )
                connection.execute("update level set used = unixepoch() where key = ?", (key,))
                self._make_room(connection, key)

    def close(self) -> None:
        if self._connection is not None:
            with contextlib.suppress(sqlite3.Error):
                self._connection.close()
            self._connection = None

    def _make_room(self, connection: sqlite3.Connection, key: str) -> None:
        """Drop searches that were not added to for longest, but never the one at work."""
        total = int(connection.execute("select sum(length(data)) from level").fetchone()[0])
        rows = connection.execute(
            "select key, sum(length(data)) from level where key != ? "
            "group by key order by max(used)",
            (key,),
        ).fetchall()
        for other, size in rows:
            if total <= self._most_bytes:
                return
            connection.execute("delete from level where key = ?", (other,))
            total -= int(size)

    def _drop(self, connection: sqlite3.Connection, key: str, half_length: int) -> None:
        with _immediate(connection):
            connection.execute(
                "delete from level where key = ? and half_length = ?", (key, half_length)
            )

    @contextlib.contextmanager
    def _tried(self) -> Iterator[sqlite3.Connection | None]:
        """Give the open file, or None; whatever goes wrong inside closes it and is told once."""
        connection = None
        if not self._broken:
            try:
                connection = self._opened()
            except (OSError, sqlite3.Error) as error:
                self._fail(error)
        try:
            yield connection
        except (OSError, sqlite3.Error) as error:
            self._fail(error)

    def _fail(self, error: Exception) -> None:
        self._broken = True
        self.close()
        text = getattr(error, "strerror", None) or str(error)
        self._warn(f"the cache {self.path} is not used: {text}")

    def _opened(self) -> sqlite3.Connection:
        if self._connection is not None:
            return self._connection
        self.path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        connection = sqlite3.connect(self.path, timeout=BUSY_SECONDS, isolation_level=None)
        try:
            _prepare(connection)
        except BaseException:
            connection.close()
            raise
        self._connection = connection
        return connection


def _prepare(connection: sqlite3.Connection) -> None:
    """Make the tables in a new file, or see that they are ours; raises sqlite3.Error."""
    if _is_ours(connection):
        return
    with _immediate(connection):
        # Another process may have made them in between.
        if _is_ours(connection):
            return
        connection.execute(_TABLES)
        connection.execute(f"pragma application_id = {APPLICATION}")
        connection.execute(f"pragma user_version = {VERSION}")
    # Lets others read while one writes; without it all works too, only slower.
    with contextlib.suppress(sqlite3.OperationalError):
        connection.execute("pragma journal_mode = wal")


def _is_ours(connection: sqlite3.Connection) -> bool:
    """Return whether the tables are ours, False for a new file; raises DatabaseError for others."""
    # The tables are counted first: where there are some, the rest was written with them.
    tables, version, application = (
        int(connection.execute(query).fetchone()[0])
        for query in (
            "select count(*) from sqlite_master",
            "pragma user_version",
            "pragma application_id",
        )
    )
    if tables and application != APPLICATION:
        raise sqlite3.DatabaseError("it is a database of another program")
    if tables and version != VERSION:
        raise sqlite3.DatabaseError(
            f"it was written by another version of trefoil ({version}, this one has {VERSION})"
        )
    return tables > 0


@contextlib.contextmanager
def _immediate(connection: sqlite3.Connection) -> Iterator[None]:
    """Write all of what is inside, or nothing of it."""
    connection.execute("begin immediate")
    try:
        yield
    except BaseException:
        connection.execute("rollback")
        raise
    connection.execute("commit")
