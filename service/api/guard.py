"""What stands before all routes: hosts, sizes, content types, methods, and fields for all."""

from __future__ import annotations

import asyncio
import logging
import time
from collections.abc import Awaitable, Callable, Collection, MutableMapping, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import parse_qsl

from starlette.requests import Request
from starlette.responses import Response

from service.api.bodies import check_json
from service.api.problems import ProblemError
from service.api.templates import Templates
from service.api.wording import not_known, shown
from service.limits import Limits
from service.logs import FIELDS
from service.metrics import Metrics
from service.settings import EVERY_ADDRESS

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

#: Addresses that are asked by machines which know no name of the service.
ANY_HOST = ("/livez", "/readyz")
#: Addresses that are asked so often that a line in the log each time says nothing.
QUIET = ("/livez", "/readyz", "/metrics")
#: Fields of every response that does not have them already.
FIELDS_FOR_ALL = (
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"content-security-policy", b"default-src 'none'; frame-ancestors 'none'"),
    (b"cross-origin-resource-policy", b"same-origin"),
)

log = logging.getLogger("trefoil.requests")


class _LeftError(Exception):
    """Whoever asked is gone before all of the request has arrived."""


@dataclass(frozen=True)
class Kind:
    """A kind of body that is taken: its media type, and what it is called."""

    media_type: str
    words: str


JSON = Kind("application/json", "JSON")
FORM = Kind("application/x-www-form-urlencoded", "a form")


class Guard:
    """Checks a request before any route sees it, and answers for what goes wrong behind.

    ``forms`` are the templates of addresses that take forms, and no JSON.
    """

    def __init__(
        self,
        app: App,
        limits: Limits,
        hosts: Sequence[str],
        metrics: Metrics,
        templates: Templates,
        forms: Collection[str],
        enter: Callable[[Request], None],
    ) -> None:
        self._app, self._limits, self._enter = app, limits, enter
        self._hosts = None if "*" in hosts else frozenset(hosts)
        self._every = any(name.strip("[]") in EVERY_ADDRESS for name in hosts)
        self._metrics, self._templates, self._forms = metrics, templates, forms

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        began = time.perf_counter()
        sent = _Sent(send, scope["method"] == "HEAD")
        template = self._templates.of(scope["path"])
        try:
            await self._checked(scope, receive, sent)
        except ProblemError as error:
            await self._answered(error.response, scope, receive, sent)
        except _LeftError:
            # Nobody is there to be answered.
            pass
        except Exception:
            log.exception("a request met an unexpected error")
            problem = ProblemError(500, "something went wrong here that should not have")
            await self._answered(problem.response, scope, receive, sent)
        finally:
            self._tell(scope, template, sent, time.perf_counter() - began)

    async def _checked(self, scope: Scope, receive: Receive, sent: _Sent) -> None:
        fields = scope["headers"]
        self._check_sizes(scope, fields)
        self._check_host(scope, fields)
        _check_framing(fields)
        method = scope["method"]
        allowed = self._templates.methods(scope["path"])
        if method == "OPTIONS" and (allowed or scope["path"] == "*"):
            own = {"Allow": ", ".join(allowed) or "GET, HEAD, OPTIONS"}
            await self._answered(Response(status_code=204, headers=own), scope, receive, sent)
            return
        if allowed and method not in allowed:
            text = f"this address takes {', '.join(allowed)}, not that method"
            raise ProblemError(405, text, headers={"Allow": ", ".join(allowed)})
        self._check_query(scope)
        if method == "HEAD":
            # Like GET, and what would be sent is left out.
            scope["method"] = "GET"
            scope["trefoil.head"] = True
        body = await self._body(fields, receive)
        if body:
            kind = FORM if self._templates.of(scope["path"]) in self._forms else JSON
            _check_type(fields, kind, self._templates.body(scope["path"], method).needed)
            if kind is JSON:
                check_json(body)
        self._enter(Request(dict(scope)))
        await self._app(scope, _Again(body, receive), sent)

    async def _answered(
        self, response: Response, scope: Scope, receive: Receive, sent: _Sent
    ) -> None:
        if not sent.status:
            await response(scope, receive, sent)

    def _check_sizes(self, scope: Scope, fields: list[tuple[bytes, bytes]]) -> None:
        limits = self._limits
        size = len(scope.get("raw_path") or b"") + len(scope.get("query_string") or b"")
        if size > limits.url:
            raise ProblemError(414, f"the address is longer than {limits.url:,} bytes")
        size = sum(len(name) + len(value) + 4 for name, value in fields)
        if size > limits.headers:
            raise ProblemError(431, f"the header has more than {limits.headers:,} bytes")

    def _check_host(self, scope: Scope, fields: list[tuple[bytes, bytes]]) -> None:
        if self._hosts is None or scope["path"] in ANY_HOST:
            return
        given = [value for name, value in fields if name == b"host"]
        name = given[0].decode("latin-1").strip().lower() if len(given) == 1 else ""
        six = name.startswith("[")
        name = name.partition("]")[0] + "]" if six else name.partition(":")[0]
        if name.rstrip(".") in self._hosts or (self._every and name == _came_to(scope)):
            return
        text = (
            "this service is not known by the name or address that it was called by; whoever runs "
            "it can add that to TREFOIL_HOSTS"
        )
        raise ProblemError(421, text)

    def _check_query(self, scope: Scope) -> None:
        """Raise ProblemError for a parameter that the address does not know, or has twice."""
        method = "GET" if scope["method"] == "HEAD" else scope["method"]
        known = self._templates.parameters(scope["path"], method)
        if known is None or scope["path"] in QUIET:
            return
        names: set[str] = set()
        for name, _ in parse_qsl(scope["query_string"].decode("latin-1"), keep_blank_values=True):
            if name not in known:
                text = not_known(shown(name), known)
                raise ProblemError(422, text, parameter=shown(name))
            if name in names:
                text = f"{name} stands twice in the address; once would be right"
                raise ProblemError(422, text, parameter=name)
            names.add(name)

    async def _body(self, fields: list[tuple[bytes, bytes]], receive: Receive) -> bytes:
        """Return the body, which is read up to its limit and no longer than its time."""
        most = self._limits.body
        length = next((value for name, value in fields if name == b"content-length"), b"0")
        too_large = ProblemError(
            413, f"the body has more than {most:,} bytes", headers={"Connection": "close"}
        )
        if length.isdigit() and int(length[:20]) > most:
            if not _asks_first(fields):
                await _drained(receive)
            raise too_large
        parts: list[bytes] = []
        size = 0
        try:
            async with asyncio.timeout(self._limits.body_seconds):
                while True:
                    message = await receive()
                    if message["type"] == "http.disconnect":
                        raise _LeftError
                    part = message.get("body", b"")
                    size += len(part)
                    parts.append(part)
                    more = message.get("more_body", False)
                    if size > most:
                        break
                    if not more:
                        return b"".join(parts)
        except TimeoutError:
            text = f"the body did not arrive within {self._limits.body_seconds} s"
            raise ProblemError(408, text, headers={"Connection": "close"}) from None
        if more:
            await _drained(receive)
        raise too_large

    def _tell(self, scope: Scope, template: str, sent: _Sent, seconds: float) -> None:
        method = "HEAD" if scope.get("trefoil.head") else scope["method"]
        method = method if method in _METHODS else "other"
        status = sent.status or 499
        self._metrics.requests.labels(template, method, str(status)).inc()
        if not sent.streams and not scope.get("trefoil.waited"):
            self._metrics.seconds.labels(template).observe(seconds)
        if template not in QUIET:
            told = {
                "route": template,
                "method": method,
                "status": status,
                "ms": round(1000 * seconds, 1),
            }
            log.info("answered", extra={FIELDS: told})


def _came_to(scope: Scope) -> str:
    """Return the address of this machine that a request came to, as it stands in Host."""
    address = str((scope.get("server") or ("",))[0]).lower().partition("%")[0]
    # What listens at :: has addresses of the older kind so.
    address = address.removeprefix("::ffff:")
    return f"[{address}]" if ":" in address else address


#: What of a body that is too large is read and dropped before the answer: bytes, seconds.
_DRAINED_BYTES = 4_000_000
_DRAINED_SECONDS = 2.0

_METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS")


class _Sent:
    """Sends, and remembers what; adds the fields for all, and leaves the body of HEAD out."""

    def __init__(self, send: Send, head: bool) -> None:
        self._send, self._head = send, head
        self.status = 0
        self.streams = False

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.status = message["status"]
            fields = list(message.get("headers", ()))
            there = {name.lower() for name, _ in fields}
            fields += [one for one in FIELDS_FOR_ALL if one[0] not in there]
            self.streams = any(
                name == b"content-type" and value.startswith(b"text/event-stream")
                for name, value in fields
            )
            message = {**message, "headers": fields}
        elif self._head and message["type"] == "http.response.body":
            message = {**message, "body": b""}
        await self._send(message)


class _Again:
    """Hands a body over that was read before, and then what comes after it."""

    def __init__(self, body: bytes, receive: Receive) -> None:
        self._body: bytes | None = body
        self._receive = receive

    async def __call__(self) -> Message:
        if self._body is not None:
            body, self._body = self._body, None
            return {"type": "http.request", "body": body, "more_body": False}
        return await self._receive()


def _asks_first(fields: list[tuple[bytes, bytes]]) -> bool:
    """Return whether the client waits for leave to send its body (RFC 9110, 10.1.1)."""
    return any(name == b"expect" and b"100-continue" in value.lower() for name, value in fields)


async def _drained(receive: Receive) -> None:
    """Read what is still being sent, within bounds, and drop it.

    Closing a connection on which something unread arrives resets it, and the answer may then be
    lost on its way (RFC 9112, 9.6); so whoever sends a little too much is told so.
    """
    left = _DRAINED_BYTES
    try:
        async with asyncio.timeout(_DRAINED_SECONDS):
            while left > 0:
                message = await receive()
                if message["type"] == "http.disconnect" or not message.get("more_body", False):
                    return
                left -= len(message.get("body", b""))
    except TimeoutError:
        return


def _check_framing(fields: list[tuple[bytes, bytes]]) -> None:
    """Raise ProblemError for a body whose end is told in two ways, or that is encoded."""
    names = {name for name, _ in fields}
    if {b"content-length", b"transfer-encoding"} <= names:
        text = "Content-Length and Transfer-Encoding were both given; one of them would be right"
        raise ProblemError(400, text, headers={"Connection": "close"})
    coded = b",".join(value for name, value in fields if name == b"content-encoding").strip()
    if coded.lower() not in (b"", b"identity"):
        text = "the body must not be encoded: leave Content-Encoding out"
        more = {"Accept-Encoding": "identity", "Connection": "close"}
        raise ProblemError(415, text, header="Content-Encoding", headers=more)


def _check_type(fields: list[tuple[bytes, bytes]], kind: Kind, names: Sequence[str]) -> None:
    """Raise ProblemError for a body that does not say that it is of the right kind.

    ``names`` are those that must stand in it.
    """
    given = next((value for name, value in fields if name == b"content-type"), b"")
    name, _, more = given.decode("latin-1").partition(";")
    charset = more.strip().lower().replace('"', "").replace(" ", "")
    if name.strip().lower() != kind.media_type or charset not in ("", "charset=utf-8"):
        text = f"the body must be {kind.words} and say so: Content-Type: {kind.media_type}"
        if names:
            shape = ", ".join(f'"{one}": …' for one in names)
            text += f", with {{{shape}}} in it"
        raise ProblemError(415, text, header="Content-Type", headers={"Accept": kind.media_type})
