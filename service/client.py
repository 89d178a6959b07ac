"""A service as the command line asks it: over HTTP, with one sentence for all that goes wrong."""

from __future__ import annotations

import json
import re
import socket
import ssl
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from importlib.metadata import version
from types import TracebackType
from typing import Any
from urllib.parse import urlsplit

import httpx

from puzzles.errors import TrefoilError

#: Seconds until a connection is there, until the next bytes come, and until all of a reply is.
CONNECT_SECONDS, READ_SECONDS, REPLY_SECONDS = 5.0, 30.0, 300.0
#: The largest reply that is read, in bytes.
MOST_REPLY = 500_000_000
#: Seconds that a service may take with a question before it says where the answer will be.
POST_WAIT = 1
#: Seconds that a puzzle file is waited for, each time that it is asked whether it is compiled.
COMPILE_WAIT = 5
#: Seconds between two looks at a search: at first, and at most.
FIRST_LOOK, LONGEST_LOOK = 0.1, 1.0
#: How often it is looked whether somebody wants to stop, in seconds.
STOP_LOOK = 0.05
#: How long a service that was there may be away before a search is given up, in seconds.
PATIENCE = 60.0
#: How long what was found is waited for after a search was stopped, in seconds.
STOPPING_SECONDS = 10.0
#: The status of what is well-formed and wrong all the same.
REFUSED = 422
#: A host, and perhaps a port, without the rest of an address.
NO_SCHEME = re.compile(r"[\w-]+(\.[\w-]+)*:\d+|[\w-]+(\.[\w-]+)+|localhost")
#: States of a search in which nothing more happens.
OVER = ("done", "stopped", "failed")

Search = dict[str, Any]


class ServerError(TrefoilError):
    """A service that cannot be asked, or refuses; the text is one sentence.

    ``status`` is the HTTP status, 0 where there was no answer. ``passes``: it may be otherwise in
    a moment, ``after`` so many seconds.
    """

    def __init__(self, text: str, status: int = 0, passes: bool = False, after: int = 1) -> None:
        super().__init__(text)
        self.status, self.passes, self.after = status, passes, after


@dataclass(frozen=True)
class Reply:
    """What a service answered: ``body`` as bytes."""

    status: int
    body: bytes
    headers: Mapping[str, str] = field(default_factory=dict)


def origin(address: str) -> str:
    """Return scheme, host and port of a service's address; raises ServerError."""
    said = f"{address[:100]!r} is no address of a service; http://127.0.0.1:8000 would be one"
    if NO_SCHEME.fullmatch(address.strip()):
        said = f"{address[:100]!r} is no address of a service: http:// or https:// is missing"
    try:
        parts = urlsplit(address.strip())
        port = parts.port
    except ValueError:
        raise ServerError(said) from None
    if parts.scheme not in ("http", "https") or not parts.hostname or parts.username is not None:
        raise ServerError(said)
    if parts.path not in ("", "/") or parts.query or parts.fragment:
        raise ServerError(f"{said}, without a path")
    host = f"[{parts.hostname}]" if ":" in parts.hostname else parts.hostname
    return f"{parts.scheme}://{host}" + ("" if port is None else f":{port}")


class Server:
    """A service at an address; to be used in a ``with`` block.

    ``wait`` lets time pass, so many seconds, and returns earlier where somebody wants to stop.
    All methods raise ServerError.
    """

    def __init__(self, address: str, stop: Callable[[], bool] = lambda: False) -> None:
        self.address = origin(address)
        self._stop = stop
        agent = f"trefoil/{version('trefoil-finder')}"
        try:
            self._http = httpx.Client(
                base_url=self.address,
                timeout=httpx.Timeout(READ_SECONDS, connect=CONNECT_SECONDS),
                follow_redirects=False,
                headers={"Accept": "application/json", "User-Agent": agent},
            )
        except (httpx.InvalidURL, ValueError, OSError) as error:
            # The surroundings name a proxy or a file of certificates that cannot be used.
            raise ServerError(f"{self.address} cannot be asked ({_short(error)})") from None

    def __enter__(self) -> Server:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._http.close()

    def send(self, method: str, path: str, data: Any = None, wait: int = 0) -> Reply:
        """Return the reply to a request, whose body is JSON; errors of the service are raised."""
        headers = {"Prefer": f"wait={wait}"} if wait else {}
        try:
            with self._http.stream(method, path, json=data, headers=headers) as response:
                body = self._read(response)
                reply = Reply(response.status_code, body, dict(response.headers))
        except (httpx.HTTPError, httpx.InvalidURL, httpx.StreamError, OSError) as error:
            raise ServerError(f"{self.address} {_why(error)}", passes=_passes(error)) from None
        return self._checked(reply)

    def ask(self, path: str, question: Mapping[str, Any]) -> Search:
        """Post a question and return its search."""
        return self._search(self.send("POST", path, question, POST_WAIT))

    def get(self, search: Search) -> Search:
        """Return a search as it stands now."""
        return self._search(self.send("GET", _path(search)))

    def post_puzzle(self, text: str) -> str:
        """Post a puzzle file, wait until it is compiled, and return its address.

        The service's sentence is raised if it cannot be cut so.
        """
        reply = self.send("POST", "/api/puzzles", {"file": text}, COMPILE_WAIT)
        if reply.status in (200, 201):
            place = reply.headers.get("location") or reply.headers.get("content-location", "")
        else:
            search = self.followed(self._search(reply), lambda progress: None)
            if search["state"] != "done":
                text = str(search.get("reason") or "the puzzle was not compiled")
                raise ServerError(text, REFUSED)
            place = str(search.get("result"))
        found = re.fullmatch(r"/api/puzzles/(p-[0-9a-f]{16})", place)
        if found is None:
            raise self._stranger("it did not say where the puzzle is")
        return found[1]

    def followed(self, search: Search, watch: Callable[[dict[str, Any]], None]) -> Search:
        """Return a search when it is over, or when it was stopped because somebody wants that.

        ``watch`` sees its progress. A service that is away for a while is waited for.
        """
        pause, away = FIRST_LOOK, 0.0
        while search["state"] not in OVER:
            if self._stop():
                return self._stopped(search)
            watch(search.get("progress") or {})
            self._wait(pause)
            pause = min(1.5 * pause, LONGEST_LOOK)
            try:
                search = self.get(search)
                away = 0.0
            except ServerError as error:
                away = away or time.monotonic()
                if not error.passes or time.monotonic() - away > PATIENCE:
                    raise
                pause = min(float(max(error.after, 1)), PATIENCE / 4)
        return search

    def _stopped(self, search: Search) -> Search:
        """Stop a search and return it with what was found."""
        search = self._search(self.send("DELETE", _path(search)))
        until = time.monotonic() + STOPPING_SECONDS
        while search["state"] == "stopping" and time.monotonic() < until:
            time.sleep(FIRST_LOOK)
            with suppress(ServerError):
                search = self.get(search)
        return search

    def _wait(self, seconds: float) -> None:
        until = time.monotonic() + seconds
        while not self._stop() and (left := until - time.monotonic()) > 0:
            time.sleep(min(left, STOP_LOOK))

    def _read(self, response: httpx.Response) -> bytes:
        until = time.monotonic() + REPLY_SECONDS
        parts, size = [], 0
        for part in response.iter_bytes():
            parts.append(part)
            size += len(part)
            if size > MOST_REPLY:
                raise self._stranger(f"it answered with more than {MOST_REPLY:,} bytes")
            if time.monotonic() > until:
                raise ServerError(f"{self.address} took longer than {REPLY_SECONDS:g} s to answer")
        return b"".join(parts)

    def _checked(self, reply: Reply) -> Reply:
        """Return a reply that is none of an error."""
        kind = reply.headers.get("content-type", "").partition(";")[0].strip().lower()
        if 300 <= reply.status < 400:
            place = reply.headers.get("location", "elsewhere")[:200]
            raise ServerError(
                f"{self.address} sends on to {place}; give the address of the service"
            )
        if reply.status >= 400:
            if kind != "application/problem+json":
                raise self._stranger(f"it answered with status {reply.status}")
            raise self._problem(reply)
        return reply

    def _problem(self, reply: Reply) -> ServerError:
        told = self.told(reply)
        text = str(told.get("detail") or told.get("title") or f"status {reply.status}")
        if reply.status not in (429, 503):
            return ServerError(text.rstrip("."), reply.status)
        given = reply.headers.get("retry-after", "")
        after = int(given) if re.fullmatch("[0-9]{1,6}", given) else 5
        said = f"{text.rstrip('.')}; {self.address} says to try again in {after} s"
        return ServerError(said, reply.status, passes=True, after=after)

    def _search(self, reply: Reply) -> Search:
        told = self.told(reply)
        number, state = told.get("id"), told.get("state")
        if not isinstance(state, str) or not re.fullmatch("[0-9a-f]{32}", str(number)):
            raise self._stranger("it did not answer with a search")
        return told

    def told(self, reply: Reply) -> dict[str, Any]:
        """Return the object that a service answered with."""
        try:
            told = json.loads(reply.body)
        except (ValueError, RecursionError):
            raise self._stranger("it did not answer with JSON") from None
        if not isinstance(told, dict):
            raise self._stranger("it did not answer with a JSON object")
        return told

    def _stranger(self, why: str) -> ServerError:
        return ServerError(f"there is no service of Trefoil at {self.address}: {why}")


def _path(search: Search) -> str:
    return f"/api/searches/{search['id']}"


def _passes(error: Exception) -> bool:
    """Return whether a service that was there before may be there again after an error."""
    return isinstance(error, httpx.TransportError) and _cause(error, ssl.SSLError) is None


def _why(error: Exception) -> str:
    """Return what went wrong, after the service's address."""
    secure = _cause(error, ssl.SSLError)
    if isinstance(secure, ssl.SSLCertVerificationError):
        return f"has a certificate that is not trusted here ({secure.verify_message})"
    if secure is not None:
        return "speaks no TLS that is understood here; is it a service with http:// instead?"
    if _cause(error, socket.gaierror) is not None:
        return "has a name that is not known here"
    if isinstance(error, httpx.ConnectTimeout):
        return f"cannot be reached: no connection within {CONNECT_SECONDS:g} s"
    if isinstance(error, httpx.TimeoutException):
        return f"did not answer within {READ_SECONDS:g} s"
    if isinstance(error, httpx.ProxyError):
        return f"cannot be reached through the proxy of the surroundings ({_short(error)})"
    if isinstance(error, httpx.ConnectError):
        return "cannot be reached: nothing listens there; `trefoil serve` starts a service"
    if isinstance(error, httpx.RemoteProtocolError | httpx.DecodingError):
        return f"does not speak HTTP as was expected ({_short(error)})"
    return f"cannot be asked ({_short(error)})"


def _cause(error: BaseException | None, kind: type[BaseException]) -> BaseException | None:
    """Return the error of a kind that an error came of, None for none."""
    for _ in range(10):
        if error is None or isinstance(error, kind):
            return error
        error = error.__cause__ or error.__context__
    return None


def _short(error: Exception) -> str:
    return " ".join(str(error).split())[:100] or type(error).__name__
