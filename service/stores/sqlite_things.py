"""Things kept by name in a SQLite file."""

from __future__ import annotations

import contextlib
import sqlite3

from service.settings import EVICTED, MOST_EVICTED_BYTES
from service.stores.base import StoreError, Things
from service.stores.sqlite_file import SqliteFile
from service.stores.sqlite_levels import USED_SECONDS

#: The share of MOST_EVICTED_BYTES that is kept when room is made, so that it is seldom made.
_KEPT_SHARE = 0.9


class SqliteThings(Things):
    """Things in a file; those of EVICTED kinds that take more than ``most_bytes`` make room."""

    def __init__(self, file: SqliteFile, most_bytes: int = MOST_EVICTED_BYTES) -> None:
        self._file = file
        self._most_bytes = most_bytes

    def get(self, kind: str, name: str) -> bytes | None:
        with self._file.reading() as connection:
            row = connection.execute(
                "select data, used, number from thing where kind = ? and name = ?", (kind, name)
            ).fetchone()
            now = self._file.now(connection)
        if row is None:
            return None
        data, used, number = row
        if kind in EVICTED and now > used + USED_SECONDS:
            # A full disk can still be read, and so can what others write at.
            with (
                contextlib.suppress(StoreError),
                self._file.writing(patient=False) as connection,
            ):
                connection.execute("update thing set used = ? where number = ?", (int(now), number))
        return bytes(data)

    def put(self, kind: str, name: str, data: bytes) -> bool:
        with self._file.reading() as connection:
            there = connection.execute(
                "select 1 from thing where kind = ? and name = ?", (kind, name)
            ).fetchone()
        if there is not None:
            return False
        with self._file.writing(durable=kind not in EVICTED) as connection:
            cursor = connection.execute(
                "insert or ignore into thing (kind, name, used, size, data) values (?, ?, ?, ?, ?)",
                (kind, name, int(self._file.now(connection)), len(data), data),
            )
            if not cursor.rowcount:
                return False
            if kind in EVICTED:
                self._grow(connection, len(data))
                self._make_room(connection, cursor.lastrowid or 0)
        return True

    def count(self, kind: str) -> int:
        with self._file.reading() as connection:
            row = connection.execute("select count(*) from thing where kind = ?", (kind,))
            return int(row.fetchone()[0])

    def names(self, kind: str, most: int) -> list[str]:
        with self._file.reading() as connection:
            rows = connection.execute(
                "select name from thing where kind = ? order by number desc limit ?", (kind, most)
            ).fetchall()
        return [str(row[0]) for row in rows]

    def remove(self, kind: str, name: str) -> None:
        with self._file.writing() as connection:
            row = connection.execute(
                "delete from thing where kind = ? and name = ? returning size", (kind, name)
            ).fetchone()
            if row is not None and kind in EVICTED:
                self._grow(connection, -int(row[0]))

    def _grow(self, connection: sqlite3.Connection, size: int) -> None:
        connection.execute(
            "update figure set value = value + ? where name = 'evicted bytes'", (size,)
        )

    def _make_room(self, connection: sqlite3.Connection, newest: int) -> None:
        """Drop things that were not used for longest, but never the newest."""
        row = connection.execute("select value from figure where name = 'evicted bytes'").fetchone()
        total = int(row[0])
        if total <= self._most_bytes:
            return
        kinds = ", ".join("?" * len(EVICTED))
        oldest = connection.execute(
            f"select number, size from thing where kind in ({kinds}) and number != ? "
            "order by used, number",
            (*EVICTED, newest),
        ).fetchall()
        for number, size in oldest:
            if total <= self._most_bytes * _KEPT_SHARE:
                return
            connection.execute("delete from thing where number = ?", (number,))
            self._grow(connection, -int(size))
            total -= int(size)
