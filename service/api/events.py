"""A search as server-sent events (WHATWG HTML, 9.2): a snapshot whenever something has changed.

Each event is a whole search, so that one that was missed is made good by the next. Its number is
the run and version of the job; who comes back with the last number is sent what is newer alone.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator

from starlette.responses import StreamingResponse
from starlette.types import Receive, Scope, Send

from service.api.context import Service
from service.api.problems import ProblemError
from service.api.searching import Record, Searches, Seen, tag
from service.stores.base import Job, StoreError

#: Seconds between two snapshots of a stream, and between two signs of life.
EVERY, HEARTBEAT = 0.25, 10.0
#: Milliseconds after which a browser comes back when the stream breaks.
RETRY = 1_000

HEADERS = {"Cache-Control": "no-store", "X-Accel-Buffering": "no"}


def finished(seen: Seen, last: str | None) -> bool:
    """Return whether who has the last event has everything that there will be."""
    over = seen.job is None or seen.job.state.over
    return over and last is not None and last.strip() == seen.tag


def event(name: str, data: bytes, number: str) -> bytes:
    """Return one event."""
    lines = b"".join(b"data: " + line + b"\n" for line in data.splitlines() or [b""])
    return f"id: {number}\nevent: {name}\n".encode() + lines + b"\n"


class Events(StreamingResponse):
    """The events of a search from now on; it counts as a stream of its address while it lasts."""

    def __init__(self, service: Service, seen: Seen, last: str | None, asker: str) -> None:
        events = _events(service, seen, (last or "").strip())
        super().__init__(events, 200, HEADERS, "text/event-stream")
        self._service, self._asker = service, asker

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Send the events, or the problem of too many streams."""
        problem = self._service.crowded(self._asker)
        if problem is not None:
            await problem.response(scope, receive, send)
            return
        with self._service.stream(self._asker):
            await super().__call__(scope, receive, send)


async def _events(service: Service, seen: Seen, last: str) -> AsyncIterator[bytes]:
    yield f"retry: {RETRY}\n\n".encode()
    if seen.job is None or seen.job.state.over:
        yield event("search", seen.body, seen.tag)
        return
    async for chunk in _followed(service, seen.record, last):
        yield chunk


async def _followed(service: Service, record: Record, last: str) -> AsyncIterator[bytes]:
    """Yield what is to be sent until the job is over, lost, or the service leaves."""
    searches = Searches(service)
    async with service.following.following(record.key) as own:
        while not service.following.left:
            looks = own.looks
            if looks:
                job = own.job
                if job is None:
                    text = "the store has lost this search; asking again begins it anew"
                    yield event("lost", bytes(ProblemError(404, text).response.body), last)
                    return
                if tag(job) != last:
                    last = tag(job)
                    yield event("search", await _body(searches, record, job), last)
                if job.state.over:
                    return
                await asyncio.sleep(EVERY)
            try:
                async with asyncio.timeout(HEARTBEAT), own.changed:
                    while own.looks == looks and not service.following.left:
                        await own.changed.wait()
            except TimeoutError:
                yield b": still here\n\n"


async def _body(searches: Searches, record: Record, job: Job) -> bytes:
    """Return a search as JSON, without its answer where that cannot be had just now."""
    try:
        return (await searches.seen(record, job)).body
    except (StoreError, ProblemError):
        return searches.plain(record, job)
