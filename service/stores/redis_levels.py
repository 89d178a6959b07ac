"""Finished levels of searches in a Redis server, within a number of bytes."""

from __future__ import annotations

from service.settings import MOST_CACHE_BYTES
from service.stores.base import Levels
from service.stores.redis import PREFIX, Server


class RedisLevels(Levels):
    """See ``stores.base.Levels``; ``lua/levels.lua`` makes room."""

    def __init__(self, server: Server, most_bytes: int = MOST_CACHE_BYTES) -> None:
        self._server = server
        self._script = server.script("levels")
        self._most_bytes = most_bytes

    def numbers(self, key: str) -> list[int]:
        with self._server.tried() as client:
            found = client.hkeys(f"{PREFIX}level:{key}")
        return sorted(int(number) for number in found)

    def get(self, key: str, number: int) -> bytes | None:
        found: bytes | None = self._script("get", key, number)
        return found

    def put(self, key: str, number: int, data: bytes) -> None:
        self._script("put", key, number, data, self._most_bytes)

    def close(self) -> None:
        self._server.close()
