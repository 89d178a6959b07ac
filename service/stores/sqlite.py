"""Everything that a service keeps, in one SQLite file that its processes share."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from service.settings import MOST_CACHE_BYTES, MOST_EVICTED_BYTES
from service.stores.base import Store, StoreError
from service.stores.sqlite_clubs import SqliteClubs
from service.stores.sqlite_file import SqliteFile
from service.stores.sqlite_jobs import SqliteJobs
from service.stores.sqlite_levels import SqliteLevels
from service.stores.sqlite_things import SqliteThings


class SqliteStore(Store):
    """A store in one file, which is made when it is first used.

    ``clock`` (seconds since 1970) takes the place of SQLite's in tests; ``most_levels`` and
    ``most_evicted`` are the most bytes of levels and of things that make room.
    """

    def __init__(
        self,
        path: Path,
        clock: Callable[[], float] | None = None,
        most_levels: int = MOST_CACHE_BYTES,
        most_evicted: int = MOST_EVICTED_BYTES,
    ) -> None:
        self.path = path
        self._file = SqliteFile(path, clock)
        self.levels = SqliteLevels(self._file, most_levels)
        self.jobs = SqliteJobs(self._file)
        self.things = SqliteThings(self._file, most_evicted)
        self.clubs = SqliteClubs(self._file)

    def missing(self) -> list[str]:
        try:
            with self._file.reading() as connection:
                mode = connection.execute("pragma journal_mode").fetchone()[0]
            with self._file.writing() as connection:
                connection.execute(
                    "update figure set value = ? where name = 'checked'",
                    (self._file.now(connection),),
                )
        except StoreError as error:
            return [str(error)]
        if mode != "wal":
            return [f"{self.path} lies where readers and writers shut each other out"]
        return []

    def close(self) -> None:
        self._file.close()
