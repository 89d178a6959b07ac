"""What is kept at hand: rendered answers, and the one making of what several ask for at once."""

from __future__ import annotations

import asyncio
import hashlib
from collections import OrderedDict
from collections.abc import Callable, Coroutine, Hashable, Mapping
from typing import Any, TypeVar

from starlette.requests import Request
from starlette.responses import Response

from service.reading import Reply

T = TypeVar("T")

#: What a kept reply is counted with beside its body and the words of its head, in bytes.
OVERHEAD = 500
#: How long others may keep what never changes: a year, as RFC 8246 has it.
IMMUTABLE = "public, max-age=31536000, immutable"


class Kept:
    """Replies by key, up to so many bytes; what was not used for longest goes first."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._bytes = 0
        self._replies: OrderedDict[Hashable, Reply] = OrderedDict()

    def get(self, key: Hashable) -> Reply | None:
        """Return what is kept, None if it is not."""
        reply = self._replies.get(key)
        if reply is not None:
            self._replies.move_to_end(key)
        return reply

    def put(self, key: Hashable, reply: Reply) -> None:
        """Keep a reply, if there is room for it at all."""
        self.drop(key)
        if _size(reply) > self._most:
            return
        self._replies[key] = reply
        self._bytes += _size(reply)
        while self._bytes > self._most:
            _, oldest = self._replies.popitem(last=False)
            self._bytes -= _size(oldest)

    def drop(self, key: Hashable) -> None:
        """Forget a reply."""
        reply = self._replies.pop(key, None)
        if reply is not None:
            self._bytes -= _size(reply)


def _size(value: Any) -> int:
    """Return about how many bytes something takes, what stands in it among them."""
    if isinstance(value, Reply):
        return OVERHEAD + _size(value.body) + _size(value.head)
    if isinstance(value, Mapping):
        return sum(_size(name) + _size(one) for name, one in value.items())
    return len(value) if isinstance(value, (bytes, str)) else 0


class Once:
    """Lets those who ask for the same at the same time wait for one making of it."""

    def __init__(self) -> None:
        self._made: dict[Hashable, asyncio.Task[Any]] = {}

    async def __call__(self, key: Hashable, make: Callable[[], Coroutine[Any, Any, T]]) -> T:
        """Return what ``make`` gives, or what is being made under the same key already."""
        task = self._made.get(key)
        if task is None:
            task = asyncio.get_running_loop().create_task(make())
            self._made[key] = task
            task.add_done_callback(lambda done: self._finished(key, done))
        # Somebody who leaves takes nothing from the others.
        result: T = await asyncio.shield(task)
        return result

    def _finished(self, key: Hashable, task: asyncio.Task[Any]) -> None:
        self._made.pop(key, None)
        if not task.cancelled():
            task.exception()


def etag(body: bytes) -> str:
    """Return the strong entity tag of a body."""
    return f'"{hashlib.sha256(body).hexdigest()[:32]}"'


def tagged(request: Request, body: bytes, media_type: str, cache_control: str) -> Response:
    """Return a body with its tag, or 304 where the asker has it already (RFC 9110, 13.1.2)."""
    tag = etag(body)
    headers = {"ETag": tag, "Cache-Control": cache_control}
    if _has(request.headers.getlist("if-none-match"), tag):
        return Response(status_code=304, headers=headers)
    return Response(body, headers=headers, media_type=media_type)


def _has(fields: list[str], tag: str) -> bool:
    given = [one.strip() for field in fields for one in field.split(",")]
    return "*" in given or any(one.removeprefix("W/") == tag for one in given)
