"""The words A of a search, one of each class, listed in slices so that listing can be stopped."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from threading import Lock

import numpy as np
from numpy.typing import NDArray

from search.encoding import Scope
from search.kernels.arrays import LONGEST
from search.kernels.words import list_classes

#: The most words of one slice.
ROOM_FOR_WORDS = 1 << 12


class _Listing:
    """The classes of words of one length, as far as they are listed."""

    def __init__(self, scope: Scope, length: int, cyclic: bool) -> None:
        self.scope, self.length, self.cyclic = scope, length, cyclic
        turns, symmetries = len(scope.arrays.turn_layer), len(scope.symmetries)
        # Words of three turns and more are listed by their second turn.
        self.left = list(range(turns)) if length > 2 else [-1]
        self.found: list[NDArray[np.uint8]] = []
        self.room = np.zeros((ROOM_FOR_WORDS, length), dtype=np.uint8)
        self.letters = np.zeros(LONGEST + 2, dtype=np.int64)
        self.stack = np.zeros(LONGEST + 1, dtype=np.uint64)
        self.keep = np.zeros((LONGEST + 1, symmetries), dtype=np.int64)
        self.kept = np.zeros(LONGEST + 2, dtype=np.int64)
        self._lock = Lock()

    def go_on(self) -> bool:
        """List one slice more; return whether there was one. Any thread may."""
        with self._lock:
            return self._go_on()

    def _go_on(self) -> bool:
        if not self.left:
            return False
        enc = self.scope.arrays
        count, ended = list_classes(
            self.length,
            self.cyclic,
            enc.turn_layer,
            enc.inverse,
            enc.passes,
            enc.symmetry,
            self.left[0],
            self.letters,
            self.stack,
            self.keep,
            self.kept,
            self.room,
        )
        self.found.append(self.room[:count].copy())
        if ended:
            self.kept[LONGEST + 1] = 0
            del self.left[0]
        if not self.left:
            self.found = [np.concatenate(self.found)]
        return True


@lru_cache(maxsize=64)
def _listing(scope: Scope, length: int, cyclic: bool) -> _Listing:
    return _Listing(scope, length, cyclic)


def listed(scope: Scope, length: int, cyclic: bool) -> Iterator[None]:
    """List the classes of a length; yield now and then, so that somebody can stop and go on."""
    while _listing(scope, length, cyclic).go_on():
        yield


def classes(scope: Scope, length: int, cyclic: bool) -> NDArray[np.uint8]:
    """Return one word A of each class under symmetry, inverse and rotation; shape (n, length).

    Cyclic: cyclically reduced words. Otherwise: linear ones that are not cyclically reduced.
    """
    for _ in listed(scope, length, cyclic):
        pass
    return _listing(scope, length, cyclic).found[0]


def forget() -> None:
    """Drop all lists, so that they are made anew: for memory, and for measuring."""
    _listing.cache_clear()
