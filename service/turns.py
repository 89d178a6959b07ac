"""Whose turn it is where few things are shared by many: that of whoever has the fewest of them."""

from __future__ import annotations

import asyncio
from collections import Counter, deque
from typing import Generic, TypeVar

T = TypeVar("T")


class CrowdedError(Exception):
    """A wish had to make room for somebody who has fewer of them."""


class Turns(Generic[T]):
    """Things that are taken and given back; nobody can take them all while others wait.

    Of those who wait, the one that has the fewest things is next; among these, who came first.
    """

    def __init__(self) -> None:
        self._free: list[T] = []
        #: In the order in which the first wish of each that still stands came.
        self._wishes: dict[str, deque[asyncio.Future[T]]] = {}
        self._taken: Counter[str] = Counter()

    @property
    def waiting(self) -> int:
        """How many wishes stand."""
        return sum(len(own) for own in self._wishes.values())

    def make_room(self, who: str) -> bool:
        """Refuse the last wish of whoever has most of them, if ``who`` would not have as many.

        Return whether there was one; what is refused raises CrowdedError where it waits.
        """
        most = max(self._wishes, key=lambda one: len(self._wishes[one]), default=None)
        if most is None or len(self._wishes[most]) <= len(self._wishes.get(who, ())) + 1:
            return False
        wish = self._wishes[most].pop()
        if not wish.done():
            wish.set_exception(CrowdedError())
        return True

    async def take(self, who: str) -> T:
        """Return a thing when it is ``who``'s turn and there is one; raises CrowdedError."""
        if self._free and not self._wishes:
            self._taken[who] += 1
            return self._free.pop()
        wish: asyncio.Future[T] = asyncio.get_running_loop().create_future()
        self._wishes.setdefault(who, deque()).append(wish)
        try:
            return await wish
        except asyncio.CancelledError:
            if not wish.done() or wish.cancelled() or wish.exception() is not None:
                self._forget(who, wish)
            else:
                # It was granted in the same moment.
                self.give_back(wish.result(), who)
            raise

    def add(self, thing: T) -> None:
        """Let another thing be taken."""
        while self._wishes:
            who = min(self._wishes, key=lambda one: self._taken[one])
            wish = self._wishes[who][0]
            self._forget(who, wish)
            # Who is leaving in this moment has no use for it.
            if not wish.done():
                self._taken[who] += 1
                wish.set_result(thing)
                return
        self._free.append(thing)

    def give_back(self, thing: T, who: str) -> None:
        """Take back a thing that was taken."""
        self.lose(who)
        self.add(thing)

    def lose(self, who: str) -> None:
        """Take note that a thing that was taken is no more."""
        self._taken[who] -= 1
        if not self._taken[who]:
            del self._taken[who]

    def _forget(self, who: str, wish: asyncio.Future[T]) -> None:
        """Drop a wish, if it stands; who has others goes behind those that wait already."""
        if wish not in self._wishes.get(who, ()):
            return
        own = self._wishes.pop(who)
        own.remove(wish)
        if own:
            self._wishes[who] = own
