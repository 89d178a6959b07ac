"""Compresses what is sent: text from a kilobyte on, for whoever takes gzip (RFC 9110, 8.4.1)."""

from __future__ import annotations

import gzip
from collections.abc import Iterable

from anyio import to_thread
from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

#: Bytes from which compressing is worth it, and from which it is done beside the event loop.
LEAST, LARGE = 1_000, 50_000
#: How hard it is tried: beyond this, texts of ours get a few per cent smaller in twice the time.
LEVEL = 6
#: What marks the tag of a compressed body, which is another representation (RFC 9110, 8.8.3).
MARK = "-gzip"
_KINDS = ("text/", "application/json", "application/problem+json", "image/svg+xml")
#: What is sent bit by bit.
_STREAMS = "text/event-stream"


def takes_gzip(fields: Iterable[str]) -> bool:
    """Return whether the Accept-Encoding fields of a request allow gzip."""
    for one in ",".join(fields).split(","):
        name, *more = (part.strip().lower() for part in one.split(";"))
        if name in ("gzip", "*"):
            return not any(part.replace(" ", "") in _NEVER for part in more)
    return False


_NEVER = ("q=0", "q=0.0", "q=0.00", "q=0.000")


class Compressed:
    """Compresses whole bodies, and knows its own tags when they come back."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        taken = takes_gzip(headers.getlist("accept-encoding"))
        given = ",".join(headers.getlist("if-none-match"))
        await self._app(_without_marks(scope), receive, _Sending(send, taken, given))


class _Sending:
    """Holds the start of a response back until it is known whether all of its body is there."""

    def __init__(self, send: Send, taken: bool, given: str) -> None:
        self._send, self._taken, self._given = send, taken, given
        self._start: Message | None = None

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            message["headers"] = list(message["headers"])
            headers = MutableHeaders(raw=message["headers"])
            if message["status"] == 304 and _marked(headers.get("etag", "")) in self._given:
                headers["ETag"] = _marked(headers["etag"])
            if _compressible(headers):
                headers.add_vary_header("Accept-Encoding")
                self._start = message
                return
        elif self._start is not None:
            start, self._start = self._start, None
            if self._taken and not message.get("more_body", False):
                message = await _compressed(start, message)
            await self._send(start)
        await self._send(message)


def _compressible(headers: Headers) -> bool:
    kind = headers.get("content-type", "")
    done = "content-encoding" in headers
    return kind.startswith(_KINDS) and not kind.startswith(_STREAMS) and not done


def _marked(tag: str) -> str:
    """Return the tag of a compressed body."""
    return f'{tag[:-1]}{MARK}"'


async def _compressed(start: Message, message: Message) -> Message:
    """Return the body compressed, where it is large enough, and put that into the start."""
    body = message.get("body", b"")
    if len(body) < LEAST:
        return message
    if len(body) < LARGE:
        small = gzip.compress(body, LEVEL, mtime=0)
    else:
        small = await to_thread.run_sync(lambda: gzip.compress(body, LEVEL, mtime=0))
    headers = MutableHeaders(raw=start["headers"])
    headers["Content-Encoding"] = "gzip"
    headers["Content-Length"] = str(len(small))
    tag = headers.get("etag")
    if tag is not None:
        headers["ETag"] = _marked(tag)
    return {**message, "body": small}


def _without_marks(scope: Scope) -> Scope:
    """Return a request that names tags as they are without compressing."""
    headers = [
        (name, value.replace(f'{MARK}"'.encode(), b'"') if name == b"if-none-match" else value)
        for name, value in scope["headers"]
    ]
    return {**scope, "headers": headers}
