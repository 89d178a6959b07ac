"""Every kind of store, for tests of what all of them promise.

Another kind adds a line to STORES and nothing else.
"""

from __future__ import annotations

import contextlib
import time
from abc import ABC, abstractmethod
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from pathlib import Path

from service.stores.base import Store
from service.stores.redis import RedisStore
from service.stores.sqlite import SqliteStore
from tests.service.redis_server import RedisServer, need_server


class Place(ABC):
    """Where a store is; ``address`` opens the same one by ``service.stores.open_store``."""

    #: Whether ``pass_time`` can pass hours.
    jumps = False
    address: str

    @abstractmethod
    def open(self) -> Store:
        """Return the store, another object each time."""

    @abstractmethod
    def empty(self) -> Store:
        """Return a store in which nothing is, with ``address`` its own from now on."""

    @abstractmethod
    def pass_time(self, seconds: float) -> None:
        """Let so many seconds pass by the store's clock."""


class SqlitePlace(Place):
    """A file in a folder, and a clock that can be put ahead."""

    jumps = True

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._files = 0
        self._ahead = 0.0
        self._open: list[Store] = []
        self.address = str(folder / "new" / "store.sqlite")

    def open(self) -> Store:
        store = SqliteStore(Path(self.address), lambda: time.time() + self._ahead)
        self._open.append(store)
        return store

    def empty(self) -> Store:
        self.close()
        self._files += 1
        self.address = str(self._folder / f"store{self._files}.sqlite")
        return self.open()

    def pass_time(self, seconds: float) -> None:
        self._ahead += seconds

    def close(self) -> None:
        for store in self._open:
            store.close()
        self._open.clear()


@contextlib.contextmanager
def sqlite_place(folder: Path) -> Iterator[Place]:
    """Give a place for a SQLite store in a folder."""
    place = SqlitePlace(folder)
    try:
        yield place
    finally:
        place.close()


class RedisPlace(Place):
    """The first database of a server of its own, whose clock is the machine's."""

    def __init__(self, server: RedisServer) -> None:
        self._server = server
        self._open: list[Store] = []
        self.address = server.address()

    def open(self) -> Store:
        store = RedisStore(self.address)
        self._open.append(store)
        return store

    def empty(self) -> Store:
        self.close()
        self._server.empty()
        return self.open()

    def pass_time(self, seconds: float) -> None:
        time.sleep(seconds)

    def close(self) -> None:
        for store in self._open:
            store.close()
        self._open.clear()


@contextlib.contextmanager
def redis_place(folder: Path) -> Iterator[Place]:
    """Give a place for a Redis store whose server keeps its file in a folder."""
    need_server()
    server = RedisServer(folder)
    server.start()
    place = RedisPlace(server)
    try:
        yield place
    finally:
        place.close()
        server.kill()


#: By name, what gives a place that is used by one test; it gets a folder of its own.
STORES: dict[str, Callable[[Path], AbstractContextManager[Place]]] = {
    "sqlite": sqlite_place,
    "redis": redis_place,
}
