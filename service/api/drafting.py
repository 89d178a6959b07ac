"""Processes for drafts, started with the first one, with a limit on time of their own.

Drafts come many a second while somebody moves a slider. They have readers of their own, so that
nobody who asks for answers waits for them, and one that takes too long ends none of the others.
"""

from __future__ import annotations

import asyncio

from service.api.problems import ProblemError
from service.choice import Choice
from service.readers import BusyError, GoneError, Pool, TooLongError
from service.reading import Message, RefusedError, Reply
from service.turns import CrowdedError, Turns

#: How many processes look at drafts, and at how many of them sizes are looked for at once.
PROCESSES, LOOKING = 2, 1
#: How many looks for sizes may wait.
WAITING = 50


class Drafts:
    """Hands drafts to a pool; askers take turns, also where only so many may look for sizes."""

    def __init__(self, pool: Pool, seconds: float, started: bool = False) -> None:
        self._pool, self._seconds, self._started = pool, seconds, started
        self._looking: Turns[None] = Turns()
        for _ in range(LOOKING):
            self._looking.add(None)

    async def reply(self, message: Message, asker: str, place: str = "") -> Reply:
        """Return what comes of a message, to be kept by nobody; raises ProblemError, StoreError.

        ``place`` is "query" where what is wrong is named as a parameter, else it is in the body.
        """
        if not self._started:
            self._started = True
            await self._pool.start()
        try:
            return await self._pool.reply(message, asker)
        except RefusedError as error:
            raise _refused(error, place) from None
        except TooLongError:
            text = f"this takes more than {self._seconds:g} s to work out; fewer layers would do"
            raise ProblemError(422, text) from None
        except BusyError:
            text = "looking at the draft takes longer than usual: the service is busy; try again "
            text += "in a moment"
            raise ProblemError(503, text, retry_after=2) from None
        except GoneError:
            text = "the process that looked at this ended twice; try again in a moment"
            raise ProblemError(503, text, retry_after=5) from None

    async def look(self, message: Message, asker: str, place: str = "") -> Reply:
        """The same for what takes seconds: there is always a process left for drafts."""
        text = "more sizes are looked for just now than can be; try again in a moment"
        busy = ProblemError(503, text, retry_after=5)
        if self._looking.waiting >= WAITING and not self._looking.make_room(asker):
            raise busy
        try:
            async with asyncio.timeout(self._seconds):
                await self._looking.take(asker)
        except (TimeoutError, CrowdedError):
            raise busy from None
        try:
            return await self.reply(message, asker, place)
        finally:
            self._looking.give_back(None, asker)

    async def close(self) -> None:
        """End all processes."""
        if self._started:
            await self._pool.close()


def _refused(error: RefusedError, place: str) -> ProblemError:
    text = str(error)
    if not error.where:
        return ProblemError(422, text)
    if place == "query":
        return ProblemError(422, text, parameter=error.where)
    inside = "choice/" if error.where in Choice.model_fields else ""
    return ProblemError(422, text, pointer=f"#/{inside}{error.where}")
