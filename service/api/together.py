"""How many searches one address has open as any of the clubs whose links it has.

The store counts what each club wants. Whoever founds clubs would have as many searches as all of
them together, so that those of one address are counted here as well, by this process alone.
"""

from __future__ import annotations

import time
from collections import OrderedDict
from collections.abc import Awaitable, Callable

from service.stores.base import Job
from service.stores.wording import too_many_own

#: Addresses that are remembered; those that asked longest ago are forgotten first.
MOST_ADDRESSES = 10_000
#: Seconds between two looks at which searches of an address are over.
LOOK_EVERY = 1.0


class Together:
    """Counts up to ``most`` jobs for each address; ``look`` fetches a job from the store."""

    def __init__(self, look: Callable[[str], Awaitable[Job | None]], most: int) -> None:
        self._look, self._most = look, most
        #: The keys of jobs by address; None stands for nothing, since the order alone is wanted.
        self._wanted: OrderedDict[str, dict[str, None]] = OrderedDict()
        self._looked: dict[str, float] = {}

    async def add(self, address: str, key: str) -> None:
        """Count a job that an address wants; raises TooManyError and StoreError."""
        own = self._wanted.setdefault(address, {})
        self._wanted.move_to_end(address)
        while len(self._wanted) > MOST_ADDRESSES:
            oldest, _ = self._wanted.popitem(last=False)
            self._looked.pop(oldest, None)
        if key not in own and len(own) >= self._most:
            await self._let_go(address, own)
            if key not in own and len(own) >= self._most:
                raise too_many_own(len(own), self._most)
        own[key] = None

    def remove(self, address: str, key: str) -> None:
        """Count a job no longer."""
        self._wanted.get(address, {}).pop(key, None)

    async def _let_go(self, address: str, own: dict[str, None]) -> None:
        """Forget the jobs that are over."""
        now = time.monotonic()
        if now - self._looked.get(address, -LOOK_EVERY) < LOOK_EVERY:
            return
        self._looked[address] = now
        for key in list(own):
            job = await self._look(key)
            if job is None or job.state.over:
                own.pop(key, None)
