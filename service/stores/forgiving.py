"""Levels for a person at a command line, to whom a cache that fails is no reason to stop."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from service.stores.base import Levels, StoreError

Value = TypeVar("Value")


class Forgiving(Levels):
    """Levels that work as empty ones from the first StoreError on; ``warn`` is told so, once."""

    def __init__(self, levels: Levels, warn: Callable[[str], None]) -> None:
        self._levels = levels
        self._warn = warn
        self._broken = False

    def numbers(self, key: str) -> list[int]:
        found: list[int] = []
        return self._tried(lambda: self._levels.numbers(key), found)

    def get(self, key: str, number: int) -> bytes | None:
        return self._tried(lambda: self._levels.get(key, number), None)

    def put(self, key: str, number: int, data: bytes) -> None:
        self._tried(lambda: self._levels.put(key, number, data), None)

    def close(self) -> None:
        self._levels.close()

    def _tried(self, act: Callable[[], Value], otherwise: Value) -> Value:
        if self._broken:
            return otherwise
        try:
            return act()
        except StoreError as error:
            self._broken = True
            self.close()
            self._warn(f"the cache is not used: {error}")
            return otherwise
