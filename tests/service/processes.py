"""The service and its workers as real processes, for tests that send signals."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

#: Leases that run out soon, so that tests of dead workers are short.
LEASE_SECONDS = 2.0


def until(true: Callable[[], Any], seconds: float = 30.0, says: str = "it") -> float:
    """Wait until something is true; return how long it took."""
    began = time.monotonic()
    while not true():
        assert time.monotonic() < began + seconds, f"{says} did not come true in {seconds:g} s"
        time.sleep(0.05)
    return time.monotonic() - began


def is_there(process: int) -> bool:
    """Return whether a process is there and not only left to be waited for."""
    try:
        stat = Path(f"/proc/{process}/stat").read_text()
    except OSError:
        return False
    return stat.rpartition(")")[2].split()[0] != "Z"


def children(process: int) -> list[int]:
    """Return the processes that a process has begun."""
    found = []
    for task in Path(f"/proc/{process}/task").glob("*/children"):
        with contextlib.suppress(OSError):
            found += [int(word) for word in task.read_text().split()]
    return found


def command_of(process: int) -> str:
    """Return the command line of a process, empty if it is gone."""
    try:
        return Path(f"/proc/{process}/cmdline").read_bytes().replace(b"\0", b" ").decode()
    except OSError:
        return ""


class Process:
    """A command of ours; what it prints is kept line by line."""

    def __init__(self, *arguments: str, **environment: str) -> None:
        if not Path("/proc/self/task").exists():
            pytest.skip("what a process has begun is read in /proc")
        self.process = subprocess.Popen(
            [sys.executable, "-P", "-m", *arguments],
            env={**os.environ, "TREFOIL_LEASE_SECONDS": str(LEASE_SECONDS), **environment},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        self.out: list[str] = []
        self.err: list[str] = []
        for stream, lines in ((self.process.stdout, self.out), (self.process.stderr, self.err)):
            threading.Thread(target=_read, args=(stream, lines), daemon=True).start()

    @property
    def number(self) -> int:
        return self.process.pid

    def says(self, text: str, seconds: float = 60.0) -> str:
        """Wait for a line that has a text in it, and return it."""

        def line() -> str | None:
            return next((one for one in self.out if text in one), None)

        until(lambda: line() or self.process.poll() is not None, seconds, f"the line {text!r}")
        found = line()
        assert found is not None, (self.process.returncode, self.out, self.err)
        return found

    def tell(self, number: int = signal.SIGTERM) -> None:
        self.process.send_signal(number)

    def ended(self, seconds: float = 10.0) -> int:
        """Wait for the end and return the exit status."""
        return self.process.wait(seconds)

    def end(self) -> None:
        """End it in any case."""
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()


def _read(stream: Any, lines: list[str]) -> None:
    with contextlib.suppress(ValueError):
        lines.extend(iter(stream.readline, ""))


class Service(Process):
    """`trefoil serve` at a free port."""

    def __init__(self, store: Path | str, workers: int = 1, **environment: str) -> None:
        super().__init__(
            "service.cli",
            "serve",
            *("--port", "0"),
            *("--store", str(store)),
            *("--workers", str(workers)),
            **environment,
        )
        self._client: httpx.Client | None = None

    @property
    def client(self) -> httpx.Client:
        """A client of the service, which listens by then."""
        if self._client is None:
            address = self.says("listens at").split()[-1]
            self._client = httpx.Client(base_url=address, timeout=20.0)
        return self._client

    def ready(self) -> Service:
        self.says("ready after")
        return self

    @property
    def workers(self) -> list[int]:
        """The process numbers of its workers."""
        return [one for one in children(self.number) if "service.works" in command_of(one)]

    def post(self, question: dict[str, Any], kind: str = "searches", **headers: str) -> Any:
        return self.client.post(f"/api/{kind}", json=question, headers=headers)

    def end(self) -> None:
        below = children(self.number)
        super().end()
        # Workers leave by themselves when the service is gone; no test leaves any behind.
        with contextlib.suppress(AssertionError):
            until(lambda: not any(is_there(one) for one in below), 5.0)
        for one in below:
            if is_there(one) and "service" in command_of(one):
                os.kill(one, signal.SIGKILL)


@contextlib.contextmanager
def serving(store: Path | str, workers: int = 1, **environment: str) -> Iterator[Service]:
    """Run a service for the block, ready at its begin and gone at its end."""
    service = Service(store, workers, **environment)
    try:
        yield service.ready()
    finally:
        service.end()
