"""Connections: how many there may be, how long a header may take, and what is no HTTP at all."""

from __future__ import annotations

import asyncio
import logging
import resource
import sys
import time
from collections import Counter
from collections.abc import Sequence
from contextlib import suppress
from functools import partial
from typing import Any

import h11
from uvicorn.protocols.http import h11_impl

from service.api.askers import Network, networks, of_proxy
from service.api.problems import ProblemError, phrase
from service.limits import Limits
from service.logs import FIELDS

#: Files that a process needs beside its connections: its store, its readers, and connections that
#: were accepted in one go before any of them could be refused.
OTHER_FILES = 350
#: Seconds in which the same complaint about connections is logged once.
SELDOM = 60.0
#: What the server would log of requests that are wrong, which the line about the request says.
_SAID = ("Invalid HTTP request", "Unsupported upgrade", "No supported WebSocket")
#: What the event loop logs, again and again, while no connection can be accepted.
_FULL = "socket.accept()"

log = logging.getLogger("trefoil.requests")


class Connections:
    """All connections of a process; those that wait for a request are the first to go."""

    def __init__(self, limits: Limits, proxies: Sequence[Network]) -> None:
        soft, _ = resource.getrlimit(resource.RLIMIT_NOFILE)
        room = soft - OTHER_FILES if soft > 2 * OTHER_FILES else soft // 2
        unlimited = soft == resource.RLIM_INFINITY
        self.limits = limits
        self.most = limits.connections if unlimited else min(limits.connections, room)
        self._proxies = proxies
        self._of: dict[Any, str] = {}
        self._each: Counter[str] = Counter()
        #: In the order in which they began to wait.
        self._waiting: dict[Any, None] = {}

    def open(self, connection: Any, host: str) -> ProblemError | None:
        """Count a connection; return the problem of one for which there is no room.

        Where there are as many as are allowed, the one that has waited longest for a request, or
        for the rest of its header, makes room.
        """
        own = "" if of_proxy(host, self._proxies) else host
        full = len(self._of) >= self.most
        if full or (own and self._each[own] >= self.limits.connections_each):
            oldest = next((one for one in self._waiting if full or self._of[one] == own), None)
            if oldest is None:
                if full:
                    text = "there are as many connections as are allowed; try again in a moment"
                    return ProblemError(503, text, retry_after=5)
                text = f"you have {self._each[own]} connections already; close one before another"
                return ProblemError(429, text, retry_after=5)
            self.closed(oldest)
            oldest.leave("others need this connection, which has waited for the rest of a header")
        self._of[connection] = own
        self._each[own] += 1
        return None

    def waits(self, connection: Any, waiting: bool) -> None:
        """Note that a connection waits for the rest of a request's header, or no longer does."""
        if not waiting:
            self._waiting.pop(connection, None)
        elif connection in self._of:
            self._waiting.setdefault(connection)

    def closed(self, connection: Any) -> None:
        """Count a connection no longer."""
        self._waiting.pop(connection, None)
        own = self._of.pop(connection, None)
        if own is not None:
            self._each[own] -= 1
            if not self._each[own]:
                del self._each[own]


class Wire(h11_impl.H11Protocol):
    """One connection, which is given so long for the header of each request and no longer."""

    def __init__(self, *args: Any, connections: Connections, **named: Any) -> None:
        super().__init__(*args, **named)
        self._connections = connections
        self._late: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        problem = self._connections.open(self, self.client[0] if self.client else "")
        if problem is not None:
            self._refuse(problem)
        else:
            self._look()

    def connection_lost(self, exc: Exception | None) -> None:
        self._stop_waiting()
        self._connections.closed(self)
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        if not self.transport.is_closing():
            super().data_received(data)
            self._look()

    def on_response_complete(self) -> None:
        super().on_response_complete()
        self._look()

    def leave(self, why: str) -> None:
        """Close a connection that waits; say why if a request was begun."""
        self._stop_waiting()
        if self.conn.trailing_data[0]:
            self._refuse(ProblemError(408, why))
        else:
            self.transport.close()

    def send_400_response(self, msg: str) -> None:
        """Say what is wrong with what cannot be read as HTTP."""
        error = sys.exc_info()[1]
        if getattr(error, "error_status_hint", 400) == 431:
            self._refuse(ProblemError(431, "the header of the request has too many bytes"))
        else:
            text = "this is no well-formed HTTP/1.1 request (RFC 9112), so nothing was done"
            self._refuse(ProblemError(400, text))

    def _look(self) -> None:
        """Begin or end the time in which a header is to arrive."""
        if self.transport.is_closing() or self.conn.their_state is not h11.IDLE:
            self._stop_waiting()
            return
        self._connections.waits(self, True)
        # Between two requests the server's own, shorter time goes, until the next one begins.
        if self._late is None and self.timeout_keep_alive_task is None:
            seconds = self._connections.limits.header_seconds
            why = f"the header of the request did not arrive within {seconds} s"
            self._late = self.loop.call_later(seconds, self.leave, why)

    def _stop_waiting(self) -> None:
        self._connections.waits(self, False)
        if self._late is not None:
            self._late.cancel()
            self._late = None

    def _refuse(self, problem: ProblemError) -> None:
        """Answer with a problem, if an answer can still be sent, and close the connection."""
        self._stop_waiting()
        response = problem.response
        response.headers["Connection"] = "close"
        events = (
            h11.Response(
                status_code=response.status_code,
                headers=response.raw_headers,
                reason=phrase(response.status_code).encode(),
            ),
            h11.Data(data=bytes(response.body)),
            h11.EndOfMessage(),
        )
        try:
            for event in events:
                self.transport.write(self.conn.send(event) or b"")
        except h11.LocalProtocolError:
            # An answer was begun already.
            pass
        self.transport.close()
        told = {"route": "other", "method": "other", "status": response.status_code, "ms": 0.0}
        log.info("answered", extra={FIELDS: told})


class _Seldom(logging.Filter):
    """Lets one complaint of the event loop about connections through in a while."""

    def __init__(self) -> None:
        super().__init__()
        self._last = -SELDOM

    def filter(self, record: logging.LogRecord) -> bool:
        if _FULL not in record.getMessage():
            return True
        now = time.monotonic()
        if now - self._last < SELDOM:
            return False
        self._last = now
        return True


def _not_said(record: logging.LogRecord) -> bool:
    return not record.getMessage().startswith(_SAID)


def protocol(limits: Limits, proxies: Sequence[str]) -> Any:
    """Return what makes the protocol of each connection of a server, as uvicorn's ``http``."""
    return partial(Wire, connections=Connections(limits, networks(proxies)))


def prepare() -> None:
    """Let this process have as many files as it may, and its server say what it should."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if soft != hard:
        # Where the system has another limit beside this one, it stays as it is.
        with suppress(ValueError, OSError):
            resource.setrlimit(resource.RLIMIT_NOFILE, (hard, hard))
    logging.getLogger("asyncio").addFilter(_Seldom())
    logging.getLogger("uvicorn.error").addFilter(_not_said)
    for status in h11_impl.STATUS_PHRASES:
        if status >= 400:
            h11_impl.STATUS_PHRASES[status] = phrase(status).encode()
