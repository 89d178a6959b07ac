"""Things kept by kind and name in a Redis server."""

from __future__ import annotations

from typing import Any

from service.settings import EVICTED, MOST_EVICTED_BYTES
from service.stores.base import Things
from service.stores.redis import PREFIX, Server


class RedisThings(Things):
    """See ``stores.base.Things``; ``lua/things.lua`` counts and makes room."""

    def __init__(self, server: Server, most_bytes: int = MOST_EVICTED_BYTES) -> None:
        self._server = server
        self._script = server.script("things")
        self._most_bytes = most_bytes

    def get(self, kind: str, name: str) -> bytes | None:
        if kind in EVICTED:
            used: bytes | None = self._script("get", kind, name)
            return used
        with self._server.tried() as client:
            found: Any = client.get(f"{PREFIX}thing:{kind}:{name}")
        return None if found is None else bytes(found)

    def put(self, kind: str, name: str, data: bytes) -> bool:
        most = self._most_bytes if kind in EVICTED else 0
        return bool(self._script("put", kind, name, data, most))

    def count(self, kind: str) -> int:
        with self._server.tried() as client:
            return int(client.zcard(f"{PREFIX}things:{kind}"))

    def names(self, kind: str, most: int) -> list[str]:
        if most < 1:
            return []
        with self._server.tried() as client:
            found: Any = client.zrange(f"{PREFIX}things:{kind}", 0, most - 1, desc=True)
        return [name.decode() for name in found]

    def remove(self, kind: str, name: str) -> None:
        self._script("remove", kind, name)
