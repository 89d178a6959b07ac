"""`trefoil serve`: the API in this process, and worker processes that it looks after."""

from __future__ import annotations

import contextlib
import errno
import http.client
import logging
import os
import shlex
import signal
import socket
import threading
import time
from collections.abc import Iterator
from types import FrameType
from typing import Any

import uvicorn

from puzzles.errors import RequestError
from service import logs
from service.output import print_text
from service.settings import (
    COMPILING_SECONDS,
    EVERY_ADDRESS,
    LEAVING_SECONDS,
    ServiceSettings,
    is_redis,
)
from service.stores.base import StoreError
from service.supervising import Workers

#: Connections that wait to be accepted.
BACKLOG = 256
#: How often it is looked whether the service is ready, in seconds.
LOOK_SECONDS = 0.2
#: After so many seconds more than everything is given to end, the process ends anyway.
GRACE = 2.0

log = logging.getLogger("trefoil.workers")


def serve(settings: ServiceSettings) -> None:
    """Serve until SIGTERM or SIGINT; a second one ends it at once.

    Raises RequestError if the address cannot be listened at or the store cannot be opened.
    """
    listening = bound(settings.host, settings.port)
    logs.configure()
    # That it begins and ends is said in print.
    logging.getLogger("uvicorn.error").setLevel(logging.WARNING)
    try:
        app = _app(settings)
        workers = Workers(settings.workers, settings.environment(), log.warning)
        _run(app, listening, workers, settings)
    finally:
        listening.close()


def _app(settings: ServiceSettings) -> Any:
    from service.api.app import create

    try:
        return create(settings.store, settings)
    except StoreError as error:
        raise RequestError(str(error)) from None


def _run(app: Any, listening: socket.socket, workers: Workers, settings: ServiceSettings) -> None:
    from service.api import wire

    wire.prepare()
    config = uvicorn.Config(
        app,
        http=wire.protocol(app.state.service.limits, settings.proxies),
        ws="none",
        lifespan="on",
        log_config=None,
        access_log=False,
        server_header=False,
        # Who asks is for the API to say, which knows whom to believe.
        proxy_headers=False,
        backlog=BACKLOG,
        timeout_graceful_shutdown=int(LEAVING_SECONDS),
    )
    server = _Server(config, workers, app.state.leaving)
    address = _address(listening)
    with _handled(server.leave):
        workers.start()
        threading.Thread(
            target=_tell_ready, args=(server, address, settings), name="ready", daemon=True
        ).start()
        try:
            server.run(sockets=[listening])
        except SystemExit:
            # The reason is in the log; uvicorn ends so where the application does not begin.
            raise RequestError("the service could not begin") from None
        finally:
            app.state.leaving.set()
            workers.stop(LEAVING_SECONDS)


class _Server(uvicorn.Server):
    """A server that leaves its streams and workers with it, and ends at once if told twice."""

    def __init__(self, config: uvicorn.Config, workers: Workers, leaving: threading.Event) -> None:
        super().__init__(config)
        self._workers = workers
        self._leaving = leaving

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Leave signals as they are; ``leave`` gets them from before the workers are begun."""
        yield

    def leave(self, number: int, frame: FrameType | None) -> None:
        """End within a few seconds; the second time at once."""
        if self.should_exit:
            self._workers.tell(signal.SIGKILL)
            os._exit(128 + number)
        self.should_exit = True
        self._leaving.set()
        self._workers.tell()
        threading.Thread(target=self._end_anyway, name="ending", daemon=True).start()

    def _end_anyway(self) -> None:
        """End the process where something does not end by itself, such as a call that hangs."""
        time.sleep(2 * LEAVING_SECONDS + GRACE)
        self._workers.tell(signal.SIGKILL)
        os._exit(1)


@contextlib.contextmanager
def _handled(handler: Any) -> Iterator[None]:
    numbers = (signal.SIGINT, signal.SIGTERM)
    before = {number: signal.signal(number, handler) for number in numbers}
    try:
        yield
    finally:
        for number, old in before.items():
            signal.signal(number, old)


def bound(host: str, port: int) -> socket.socket:
    """Return a socket that listens at an address; raises RequestError if there can be none."""
    where = f"[{host}]" if ":" in host else host
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)
    except (OSError, UnicodeError):
        raise RequestError(
            f"{where} is no address of this machine; 127.0.0.1 is, for this machine alone"
        ) from None
    family, kind, protocol, _, place = found[0]
    listening = socket.socket(family, kind, protocol)
    try:
        if os.name == "posix":
            # A port that a service has just left can be taken again.
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind(place)
        listening.listen(BACKLOG)
    except OSError as error:
        listening.close()
        raise RequestError(_why_not(error, where, port)) from None
    listening.setblocking(False)
    return listening


def _why_not(error: OSError, where: str, port: int) -> str:
    if error.errno == errno.EADDRINUSE:
        return f"port {port} of {where} is taken; --port names another one, 0 any that is free"
    if error.errno == errno.EACCES:
        return f"port {port} of {where} is not allowed to you; one from 1024 on would be"
    if error.errno == errno.EADDRNOTAVAIL:
        return f"{where} is no address of this machine; 127.0.0.1 is, for this machine alone"
    return f"port {port} of {where} cannot be listened at ({error.strerror})"


def _address(listening: socket.socket) -> tuple[str, int]:
    host, port = listening.getsockname()[:2]
    return str(host), int(port)


def _tell_ready(
    server: uvicorn.Server, address: tuple[str, int], settings: ServiceSettings
) -> None:
    """Print the address when it can be called, and once more when all is ready."""
    while not server.started:
        if server.should_exit:
            return
        time.sleep(0.02)
    print_text(f"Trefoil listens at {_shown(address)}")
    if settings.workers:
        _tell_compiling()
    elif not is_redis(settings.store):
        print_text(
            "no worker is begun here; what is asked waits for one: "
            f"trefoil work --store {shlex.quote(settings.store)}"
        )
    began = time.monotonic()
    while not _ready(address, settings.hosts[0]):
        if server.should_exit:
            return
        time.sleep(LOOK_SECONDS)
    print_text(
        f"ready after {time.monotonic() - began:.1f} s; everything is kept in {_store(settings)}"
    )


def _shown(address: tuple[str, int]) -> str:
    """Return what others can call, where a service listens at all addresses one of them."""
    host, port = address
    if host in EVERY_ADDRESS:
        return f"all addresses of this machine, such as {_url(own_address(host), port)}"
    return _url(host, port)


def _url(host: str, port: int) -> str:
    return f"http://[{host}]:{port}" if ":" in host else f"http://{host}:{port}"


def own_address(every: str) -> str:
    """Return the address at which others reach this machine, its own for itself if there is none.

    The system is asked from where it would send to an address that stands in documents only (RFC
    5737, RFC 3849); nothing is sent.
    """
    six = every == "::"
    # What listens at :: is called at addresses of the older kind as well, which are more usual.
    for family, other in ((socket.AF_INET, "192.0.2.1"), (socket.AF_INET6, "2001:db8::1")):
        if family == socket.AF_INET6 and not six:
            continue
        with contextlib.suppress(OSError), socket.socket(family, socket.SOCK_DGRAM) as asked:
            asked.connect((other, 9))
            return str(asked.getsockname()[0])
    return "::1" if six else "127.0.0.1"


def _tell_compiling() -> None:
    from search.kernels import jit

    if not jit.warm():
        print_text(f"compiling the search kernels, about {COMPILING_SECONDS} s")


def _ready(address: tuple[str, int], name: str) -> bool:
    """Return whether the service says that it is ready."""
    host = {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(address[0], address[0])
    connection = http.client.HTTPConnection(host, address[1], timeout=2.0)
    try:
        connection.request("GET", "/readyz", headers={"Host": "localhost" if name == "*" else name})
        return connection.getresponse().status == 200
    except (OSError, http.client.HTTPException):
        return False
    finally:
        connection.close()


def _store(settings: ServiceSettings) -> str:
    """Return where things are kept, without a password that may stand in the address."""
    scheme, separator, rest = settings.store.partition("://")
    return f"{scheme}://{rest.rpartition('@')[2]}" if separator else settings.store
