"""A whole service under load: answers from the cache and `/livez`, while a search computes.

Requests come at fixed times, whether or not earlier ones were answered, and are counted from the
time at which they should have been sent: a service that falls behind cannot hide it.
"""

from __future__ import annotations

import asyncio
import itertools
import json
import os
import random
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Awaitable, Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx

from tests.benchmarks.tables import Table

#: Questions a second, looks at `/livez` a second, and for how long.
RATE, LIVEZ_RATE, SECONDS = 100, 20, 15.0
#: How many different questions are asked, all of them about corners of the 3x3x3.
QUESTIONS = 40
#: A search that goes on for longer than all of it.
LONG = {"puzzle": "4x4x4", "cycle": ["UFR", "UBL", "DFL"], "half_length": 10, "seconds": 600}
CORNERS = ("UFR", "UFL", "UBR", "UBL", "DFR", "DFL", "DBR", "DBL")


@contextmanager
def service() -> Iterator[str]:
    """Run `trefoil serve` on an empty store; give its address when it is ready."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    with tempfile.TemporaryDirectory() as folder:
        store = Path(folder) / "store.sqlite"
        command = [sys.executable, "-m", "service.cli", "serve"]
        command += ["--port", str(port), "--store", str(store)]
        process = subprocess.Popen(
            command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env={**os.environ}
        )
        base = f"http://127.0.0.1:{port}"
        try:
            _until(lambda: httpx.get(f"{base}/readyz", timeout=5).status_code == 200)
            yield base
        finally:
            process.terminate()
            process.wait(30)


def _until(said: Callable[[], bool], seconds: float = 180.0) -> None:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        try:
            if said():
                return
        except httpx.HTTPError:
            pass
        time.sleep(0.1)
    raise RuntimeError(f"the service did not come to it in {seconds:g} s")


def _questions(count: int) -> list[dict[str, object]]:
    triples = list(itertools.permutations(CORNERS, 3))
    random.Random(1).shuffle(triples)
    return [{"puzzle": "3x3x3", "cycle": list(triple)} for triple in triples[:count]]


def _warm(base: str, count: int) -> tuple[float, float]:
    """Ask each question until it is answered; return the seconds of the first, and of the others.

    The others come from the first one's search as far as they are its images, and are rendered.
    """
    spent = []
    for question in _questions(count):
        began = time.monotonic()

        def known(question: dict[str, object] = question) -> bool:
            said = httpx.post(
                f"{base}/api/searches", json=question, headers={"Prefer": "wait=10"}, timeout=30
            )
            return said.status_code == 200

        _until(known)
        spent.append(time.monotonic() - began)
    return spent[0], sorted(spent[1:])[len(spent) // 2]


async def _at_rate(
    send: Callable[[int], Awaitable[None]], rate: int, seconds: float
) -> list[float]:
    """Send at fixed times; return the seconds from when each should have gone to its answer."""
    loop = asyncio.get_running_loop()
    began = loop.time() + 0.2
    spent: list[float] = []

    async def one(number: int) -> None:
        due = began + number / rate
        await asyncio.sleep(max(0.0, due - loop.time()))
        await send(number)
        spent.append(loop.time() - due)

    await asyncio.gather(*(one(n) for n in range(int(rate * seconds))))
    return sorted(spent)


class _Lines:
    """Connections that are kept open; a plain client takes less of the cores that it shares."""

    def __init__(self, base: str) -> None:
        self._host, _, port = base.removeprefix("http://").partition(":")
        self._port = int(port)
        self._free: list[tuple[asyncio.StreamReader, asyncio.StreamWriter]] = []

    async def status(self, method: str, path: str, body: bytes = b"") -> int:
        """Send a request and return the status of its answer, which is read whole."""
        reader, writer = self._free.pop() if self._free else (None, None)
        # One that lay idle may have been closed at the other end.
        if reader is None or writer is None or reader.at_eof():
            reader, writer = await asyncio.open_connection(self._host, self._port)
        head = f"{method} {path} HTTP/1.1\r\nHost: {self._host}\r\nContent-Length: {len(body)}\r\n"
        kind = "Content-Type: application/json\r\n" if body else ""
        writer.write(f"{head}{kind}\r\n".encode() + body)
        said = (await reader.readuntil(b"\r\n\r\n")).decode("latin-1").lower()
        length = int(said.partition("content-length:")[2].partition("\r\n")[0])
        await reader.readexactly(length)
        self._free.append((reader, writer))
        return int(said.split()[1])

    def close(self) -> None:
        """Close all connections."""
        for _, writer in self._free:
            writer.close()


async def _loaded(base: str, count: int, seconds: float) -> tuple[list[float], list[float]]:
    bodies = [json.dumps(question).encode() for question in _questions(count)]
    lines = _Lines(base)

    async def ask(number: int) -> None:
        assert await lines.status("POST", "/api/searches", bodies[number % len(bodies)]) == 200

    async def live(number: int) -> None:
        assert await lines.status("GET", "/livez") == 200

    answers, lives = await asyncio.gather(
        _at_rate(ask, RATE, seconds), _at_rate(live, LIVEZ_RATE, seconds)
    )
    lines.close()
    return answers, lives


def _of(times: list[float], share: float) -> str:
    return f"{1000 * times[min(len(times) - 1, int(share * len(times)))]:.1f} ms"


def serving(quick: bool) -> Iterator[Table]:
    """Yield the table: waits at 100 questions a second, with and without a search at work."""
    count, seconds = (3, 0.5) if quick else (QUESTIONS, SECONDS)
    rows = []
    with service() as base:
        first, others = _warm(base, count)
        for name in ("nothing else", "a search computes"):
            if name != "nothing else":
                said = httpx.post(f"{base}/api/searches", json=LONG, timeout=30)
                address = said.headers["Location"]
                _until(
                    lambda: httpx.get(base + address, timeout=30).json()["state"] == "running"  # noqa: B023
                )
            answers, lives = asyncio.run(_loaded(base, count, seconds))
            rows += [
                [
                    name,
                    f"answers, {RATE}/s",
                    *(_of(answers, s) for s in (0.5, 0.99)),
                    _of(answers, 1),
                ],
                [
                    name,
                    f"/livez, {LIVEZ_RATE}/s",
                    *(_of(lives, s) for s in (0.5, 0.99)),
                    _of(lives, 1),
                ],
            ]
        assert httpx.get(base + address, timeout=30).json()["state"] == "running"
        began = time.monotonic()
        httpx.delete(base + address, timeout=30)
        _until(lambda: httpx.get(base + address, timeout=30).json()["state"] == "stopped")
        stopped = time.monotonic() - began
    yield Table(
        "Answers from the cache, and the event loop",
        ["beside", "what", "median", "99 of 100", "longest"],
        rows,
        [
            f"{count} different questions, {seconds:g} s each; the client runs on the same "
            f"{os.cpu_count()} cores. Before: the first of them answered in {first:.2f} s, the "
            f"others, from the same stored search, in {others:.2f} s (median). The search was "
            f"stopped in {stopped:.2f} s.",
        ],
    )
