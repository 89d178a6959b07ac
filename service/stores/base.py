"""What every store of finished searches promises."""

from __future__ import annotations

from abc import ABC, abstractmethod


class Store(ABC):
    """Finished levels of searches, as bytes, by the search's key and the half-length.

    Where a search does other steps between levels (``search.plan``), what is there after each of
    them stands beside the levels, under a number that no half-length reaches.
    A level that was put is there whole or not at all, for every process that looks, and is never
    changed afterwards: a level has one result. Losing a level costs time and nothing else, so a
    store that fails to write or to read says so once and goes on as if it were empty. Methods may
    be called from one thread at a time.
    """

    @abstractmethod
    def levels(self, key: str) -> list[int]:
        """Return the half-lengths that are there for a key, ascending."""

    @abstractmethod
    def get(self, key: str, half_length: int) -> bytes | None:
        """Return what was put for a key and a half-length, None if it is not there."""

    @abstractmethod
    def put(self, key: str, half_length: int, data: bytes) -> None:
        """Keep a finished level; one that is there already stays as it is."""

    @abstractmethod
    def close(self) -> None:
        """Let go of files and connections."""


class NoStore(Store):
    """A store that keeps nothing."""

    def levels(self, key: str) -> list[int]:
        return []

    def get(self, key: str, half_length: int) -> bytes | None:
        return None

    def put(self, key: str, half_length: int, data: bytes) -> None:
        pass

    def close(self) -> None:
        pass
