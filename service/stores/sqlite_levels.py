"""Finished levels of searches in a SQLite file."""

from __future__ import annotations

import contextlib
import hashlib
import sqlite3

from service.settings import MOST_CACHE_BYTES
from service.stores.base import Levels, StoreError
from service.stores.sqlite_file import SqliteFile

#: How exact it is known when something was last used, in seconds: a look writes no more often.
USED_SECONDS = 3600


class SqliteLevels(Levels):
    """Levels in a file; what takes more than ``most_bytes`` makes room."""

    def __init__(self, file: SqliteFile, most_bytes: int = MOST_CACHE_BYTES) -> None:
        self._file = file
        self._most_bytes = most_bytes

    def numbers(self, key: str) -> list[int]:
        with self._file.reading() as connection:
            rows = connection.execute(
                "select half_length from level where key = ? order by half_length", (key,)
            ).fetchall()
        return [int(row[0]) for row in rows]

    def get(self, key: str, number: int) -> bytes | None:
        with self._file.reading() as connection:
            row = connection.execute(
                "select data, digest, used from level where key = ? and half_length = ?",
                (key, number),
            ).fetchone()
            now = self._file.now(connection)
        if row is None:
            return None
        data, digest, used = row
        if not isinstance(data, bytes) or hashlib.sha256(data).digest() != digest:
            # A damaged level is searched again and then put in anew.
            self._try("delete from level where key = ? and half_length = ?", (key, number))
            return None
        if now > used + USED_SECONDS:
            # A search was used when one of its levels was.
            self._try(
                "update level set used = ? where key = ? and half_length = ?",
                (int(now), key, number),
                patient=False,
            )
        return data

    def put(self, key: str, number: int, data: bytes) -> None:
        with self._file.writing() as connection:
            now = int(self._file.now(connection))
            connection.execute(
                "insert or ignore into level values (?, ?, ?, ?, ?)",
                (key, number, hashlib.sha256(data).digest(), data, now),
            )
            self._make_room(connection, key)

    def close(self) -> None:
        self._file.close()

    def _try(self, statement: str, values: tuple[object, ...], patient: bool = True) -> None:
        """Write what a look would write, where that can be done: a full disk can still be read."""
        with contextlib.suppress(StoreError), self._file.writing(patient=patient) as connection:
            connection.execute(statement, values)

    def _make_room(self, connection: sqlite3.Connection, key: str) -> None:
        """Drop searches that were not used for longest, but never the one at work."""
        total = int(connection.execute("select sum(length(data)) from level").fetchone()[0])
        if total <= self._most_bytes:
            return
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
