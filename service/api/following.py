"""Seeing jobs change: one look at the store for all who follow the same job."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field

from service.stores.base import Job, StoreError

#: Seconds between two looks at a job, and what each job that is followed adds to that.
LOOK_SECONDS, LOOK_EACH = 0.1, 0.003
#: Seconds between two looks while the store is away.
AWAY_SECONDS = 1.0

log = logging.getLogger("trefoil.api")


@dataclass
class Followed:
    """A job as it was seen last; None for one that is not there."""

    job: Job | None = None
    looks: int = 0
    told: int = 0
    followers: int = 0
    changed: asyncio.Condition = field(default_factory=asyncio.Condition)


class Following:
    """Looks at the jobs that somebody follows; ``look`` fetches one from the store.

    ``left``: the service is about to leave, and nobody is to be kept waiting.
    """

    def __init__(self, look: Callable[[str], Awaitable[Job | None]]) -> None:
        self._look = look
        self.left = False
        self._followed: dict[str, Followed] = {}
        self._tasks: set[asyncio.Task[None]] = set()

    @asynccontextmanager
    async def following(self, key: str) -> AsyncIterator[Followed]:
        """Follow a job for a while."""
        own = self._followed.get(key)
        if own is None:
            own = self._followed[key] = Followed()
            task = asyncio.get_running_loop().create_task(self._watch(key, own))
            self._tasks.add(task)
            task.add_done_callback(self._tasks.discard)
        own.followers += 1
        try:
            yield own
        finally:
            own.followers -= 1

    async def tell(self, key: str, job: Job) -> None:
        """Let those who follow a job know how it stands, so that nobody takes an older look."""
        own = self._followed.get(key)
        if own is not None:
            own.told += 1
            await self._change(own, job)

    async def over(self, key: str, seconds: float) -> Job | None:
        """Return a job when it is over, or as it is after so many seconds."""
        async with self.following(key) as own:
            try:
                async with asyncio.timeout(seconds), own.changed:
                    await own.changed.wait_for(lambda: self.left or _ended(own))
            except TimeoutError:
                pass
            return own.job

    async def leave(self) -> None:
        """Let nobody wait any longer."""
        self.left = True
        for own in list(self._followed.values()):
            async with own.changed:
                own.changed.notify_all()

    async def close(self) -> None:
        """Look at nothing any more."""
        for task in list(self._tasks):
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)

    async def _watch(self, key: str, own: Followed) -> None:
        """Look at a job as long as somebody follows it."""
        failed = False
        try:
            while own.followers:
                told = own.told
                try:
                    job = await self._look(key)
                except StoreError:
                    await asyncio.sleep(AWAY_SECONDS)
                    continue
                except Exception:
                    # Those who follow would wait for ever if nobody looked any more.
                    if not failed:
                        log.exception("looking at a job met an unexpected error")
                    failed = True
                    await asyncio.sleep(AWAY_SECONDS)
                    continue
                failed = False
                if own.told != told:
                    # The job was told of since this look began, which may be an older one.
                    continue
                if own.looks == 0 or _seen(job) != _seen(own.job):
                    await self._change(own, job)
                await asyncio.sleep(LOOK_SECONDS + LOOK_EACH * len(self._followed))
        finally:
            # Without a pause between the last look at ``followers`` and this.
            if self._followed.get(key) is own:
                del self._followed[key]

    async def _change(self, own: Followed, job: Job | None) -> None:
        own.job = job
        own.looks += 1
        async with own.changed:
            own.changed.notify_all()


def _seen(job: Job | None) -> tuple[int, int] | None:
    return None if job is None else (job.run, job.version)


def _ended(own: Followed) -> bool:
    return own.looks > 0 and (own.job is None or own.job.state.over)
