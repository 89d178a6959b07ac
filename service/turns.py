"""Whose turn it is where few things are shared by many: that of whoever has the fewest of them."""

from __future__ import annotations

import asyncio
from collections import Counter, deque
from typing import Generic, TypeVar

T = TypeVar("T")


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

    async def take(self, who: str) -> T:
        """Return a thing when it is ``who``'s turn and there is one."""
        if self._free and not self._wishes:
            self._taken[who] += 1
            return self._free.pop()
        wish: asyncio.Future[T] = asyncio.get_running_loop().create_future()
        self._wishes.setdefault(who, deque()).append(wish)
        try:
            return await wish
        except asyncio.CancelledError:
            if wish.done() and not wish.cancelled():
                # It was granted in the same moment.
                self.give_back(wish.result(), who)
            else:
                self._forget(who, wish)
            raise

    def add(self, thing: T) -> None:
        """Let another thing be taken."""
        who = min(self._wishes, key=lambda one: self._taken[one], default=None)
        if who is None:
            self._free.append(thing)
            return
        wish = self._wishes[who][0]
        self._forget(who, wish)
        self._taken[who] += 1
        wish.set_result(thing)

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
        """Drop a wish; who has others goes behind those that wait already."""
        own = self._wishes.pop(who)
        own.remove(wish)
        if own:
            self._wishes[who] = own
