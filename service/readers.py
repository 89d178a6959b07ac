"""A pool of reader processes that the API hands questions and results to, with a deadline each."""

from __future__ import annotations

import asyncio
import contextlib
import json
import logging
import os
import sys
from collections.abc import Coroutine
from typing import Any, Protocol

from service.reading import LENGTHS, MEMORY, SECONDS, Message, RefusedError, Reply
from service.stores.base import StoreError
from service.turns import CrowdedError, Turns

#: Seconds that a reader may take until it is ready.
STARTING_SECONDS = 60.0
#: Seconds between two tries to start a reader that dies at once: at first, and at most.
FIRST_PAUSE, LONGEST_PAUSE = 0.2, 10.0
#: The largest head and body of a frame, in bytes; more is a fault of the reader.
MOST_HEAD, MOST_BODY = 10_000_000, 500_000_000
#: How often a message is given to another reader when the one that had it dies.
TRIES = 2

log = logging.getLogger("trefoil.readers")


class BusyError(Exception):
    """All readers have more to do than may wait, and whoever asks has most of it."""


class TooLongError(Exception):
    """A message took longer than its limit; the reader that had it was ended."""


class GoneError(Exception):
    """The readers that had a message died of it."""


class Pool(Protocol):
    """What hands messages to readers."""

    @property
    def ready(self) -> int:
        """How many readers are there."""

    async def start(self) -> None:
        """Begin to start readers; returns at once."""

    async def reply(self, message: Message, asker: str = "") -> Reply:
        """Return what came of a message; readers are shared fairly between askers.

        Raises RefusedError, StoreError, BusyError, TooLongError and GoneError.
        """

    async def close(self) -> None:
        """End all readers."""


class _Reader:
    """One process, which does one message at a time."""

    def __init__(self, process: asyncio.subprocess.Process) -> None:
        assert process.stdin is not None
        assert process.stdout is not None
        self._process = process
        self._in, self._out = process.stdin, process.stdout

    @property
    def alive(self) -> bool:
        return self._process.returncode is None

    async def exchange(self, message: Message) -> tuple[dict[str, Any], bytes]:
        text = json.dumps(message).encode()
        self._in.write(LENGTHS.pack(len(text), 0) + text)
        await self._in.drain()
        return await self.received()

    async def received(self) -> tuple[dict[str, Any], bytes]:
        head, body = LENGTHS.unpack(await self._out.readexactly(LENGTHS.size))
        if head > MOST_HEAD or body > MOST_BODY:
            raise ConnectionError("a reader sent no frame")
        told: dict[str, Any] = json.loads(await self._out.readexactly(head))
        return told, await self._out.readexactly(body)

    async def end(self) -> None:
        if self.alive:
            with contextlib.suppress(ProcessLookupError):
                self._process.kill()
        await self._process.wait()
        self._in.close()


class Readers:
    """A pool of so many readers on a store.

    ``seconds`` is the deadline of one message, ``memory`` that of one reader in megabytes; at most
    ``queue`` messages wait.
    """

    def __init__(self, store: str, size: int, seconds: float, memory: int, queue: int) -> None:
        self._environment = {
            **os.environ,
            "TREFOIL_STORE": store,
            MEMORY: str(memory),
            SECONDS: str(seconds),
            # More threads would only take memory: the arrays are small.
            "OPENBLAS_NUM_THREADS": "1",
            "OMP_NUM_THREADS": "1",
        }
        self._size, self._seconds, self._queue = size, seconds, queue
        self._all: set[_Reader] = set()
        self._turns: Turns[_Reader] = Turns()
        self._tasks: set[asyncio.Task[Any]] = set()
        self._closed = False

    @property
    def ready(self) -> int:
        return sum(reader.alive for reader in self._all)

    async def start(self) -> None:
        for _ in range(self._size):
            self._spawn(self._started())

    async def reply(self, message: Message, asker: str = "") -> Reply:
        for _ in range(TRIES):
            reader = await self._free(asker)
            # An asker who leaves must not take the reader along in the middle of a frame.
            doing = self._spawn(self._given(reader, message, asker))
            try:
                head, body = await asyncio.shield(doing)
            except (asyncio.IncompleteReadError, ConnectionError, json.JSONDecodeError):
                continue
            return _reply(head, body)
        raise GoneError

    async def close(self) -> None:
        self._closed = True
        for task in list(self._tasks):
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        await asyncio.gather(*(reader.end() for reader in self._all), return_exceptions=True)
        self._all.clear()

    async def _free(self, asker: str) -> _Reader:
        """Return a reader that has nothing to do, when there is one; raises BusyError."""
        if self._turns.waiting >= self._queue and not self._turns.make_room(asker):
            raise BusyError
        try:
            async with asyncio.timeout(self._seconds):
                while True:
                    reader = await self._turns.take(asker)
                    if reader.alive:
                        return reader
                    self._turns.lose(asker)
                    self._replace(reader)
        except (TimeoutError, CrowdedError):
            raise BusyError from None

    async def _given(
        self, reader: _Reader, message: Message, asker: str
    ) -> tuple[dict[str, Any], bytes]:
        """Let a reader do a message, and have it back or replaced after that."""
        try:
            async with asyncio.timeout(self._seconds):
                result = await reader.exchange(message)
        except TimeoutError:
            log.warning("a reader took longer than its limit and was ended")
            self._turns.lose(asker)
            self._replace(reader)
            raise TooLongError from None
        except BaseException:
            self._turns.lose(asker)
            self._replace(reader)
            raise
        self._turns.give_back(reader, asker)
        return result

    def _replace(self, reader: _Reader) -> None:
        self._all.discard(reader)
        self._spawn(reader.end())
        if not self._closed:
            self._spawn(self._started())

    async def _started(self) -> None:
        """Start a reader, again and again until one is ready."""
        pause = FIRST_PAUSE
        while not self._closed:
            try:
                reader = await self._begun()
            except (OSError, ValueError, EOFError, TimeoutError) as error:
                # Where memory or processes are short, they may not be in a while.
                log.warning(
                    "a reader could not be started (%r); trying again in %g s", error, pause
                )
                await asyncio.sleep(pause)
                pause = min(2 * pause, LONGEST_PAUSE)
            else:
                self._all.add(reader)
                self._turns.add(reader)
                return

    async def _begun(self) -> _Reader:
        """Return a new reader that is ready; raises OSError, ValueError, EOFError, TimeoutError."""
        reader = _Reader(
            await asyncio.create_subprocess_exec(
                sys.executable,
                # No module is taken from the folder in which it is begun.
                "-P",
                "-m",
                "service.reading",
                stdin=asyncio.subprocess.PIPE,
                stdout=asyncio.subprocess.PIPE,
                env=self._environment,
            )
        )
        try:
            async with asyncio.timeout(STARTING_SECONDS):
                await reader.received()
        except BaseException:
            await reader.end()
            raise
        return reader

    def _spawn(self, work: Coroutine[Any, Any, Any]) -> asyncio.Task[Any]:
        task = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._finished)
        return task

    def _finished(self, task: asyncio.Task[Any]) -> None:
        self._tasks.discard(task)
        if not task.cancelled():
            # What a message raised belongs to who waits for it, if anybody still does.
            task.exception()


def _reply(head: dict[str, Any], body: bytes) -> Reply:
    error = head.get("error")
    if error is None:
        return Reply(head["head"], body)
    if error == "store":
        raise StoreError(head["text"], head["after"])
    if error == "unexpected":
        raise RuntimeError("a reader met an unexpected error")
    raise RefusedError(error, head["text"], head.get("where", ""))
