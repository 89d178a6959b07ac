"""What the routes of one service share: its store, readers, limits and what is kept at hand."""

from __future__ import annotations

import asyncio
import hashlib
import json
import logging
import time
from collections import Counter
from collections.abc import Callable, Coroutine, Iterator
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from dataclasses import dataclass, field
from functools import lru_cache, partial
from pathlib import Path
from typing import Any, Literal, ParamSpec, TypeVar

from anyio import CapacityLimiter, to_thread
from fastapi import Request

from service import puzzle_shelf
from service.api import askers, beginning
from service.api.caching import Kept, Once
from service.api.drafting import Drafts
from service.api.following import Following
from service.api.measuring import Measuring
from service.api.problems import ProblemError
from service.api.room import Room
from service.api.together import Together
from service.limits import Limits
from service.metrics import Metrics
from service.puzzle_shelf import ADDRESS
from service.readers import BusyError, GoneError, Pool, TooLongError
from service.reading import Message, RefusedError, Reply
from service.settings import ServiceSettings
from service.stores.base import Job, Store, StoreError

P = ParamSpec("P")
T = TypeVar("T")

#: Threads that talk to the store at once.
STORE_THREADS = 16
#: The kind of things under which rendered answers are kept in the store.
ANSWER = "answer"
#: Seconds between two notes that a posted puzzle is used, and of how many that is remembered.
USE_EVERY, MOST_USED = 3_600.0, 10_000
#: Where what was asked stands in a request: the JSON body, the query, or the address.
Place = Literal["body", "query", "path"]

#: The address for which something is read; it stays in this process.
_asking: ContextVar[str] = ContextVar("asking", default="")

log = logging.getLogger("trefoil.api")


@dataclass
class Service:
    """One API process."""

    store: Store
    settings: ServiceSettings
    limits: Limits
    readers: Pool
    drafts: Drafts
    metrics: Metrics = field(default_factory=Metrics)
    once: Once = field(default_factory=Once)
    streams: Counter[str] = field(default_factory=Counter)

    def __post_init__(self) -> None:
        self.kept = Kept(self.limits.cached)
        self.proxies = askers.networks(self.settings.proxies)
        self.following = Following(self.job)
        self.measuring = Measuring(self.metrics)
        self.room = Room(self.store, self.limits.stored)
        self.together = Together(self.job, self.limits.searches_each)
        self._threads = CapacityLimiter(STORE_THREADS)
        self._secret: bytes | None = None
        self._used: dict[str, float] = {}
        self._tasks: set[asyncio.Task[None]] = set()

    def enter(self, request: Request) -> None:
        """Let what is read for a request count for the address that it comes from.

        What it begins goes by where a browser says that it comes from.
        """
        _asking.set(askers.address(request, self.proxies))
        beginning.enter(request)

    async def call(self, function: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> T:
        """Return what a function of the store returns, which is called in a thread."""
        bound = partial(function, *args, **kwargs)
        return await to_thread.run_sync(bound, limiter=self._threads)

    async def job(self, key: str) -> Job | None:
        """Return a job from the store."""
        job = await self.call(self.store.jobs.job, key)
        if job is not None:
            self.measuring.seen(job)
        return job

    async def asker(self, request: Request) -> str:
        """Return the name by which the store knows who asks; raises ProblemError, StoreError."""
        key = request.headers.get(askers.CLUB)
        if key is not None:
            return await self.call(askers.club, self.store, key)
        return await self.home(request)

    async def home(self, request: Request) -> str:
        """Return the name by which the store knows the address that asks, whatever its clubs."""
        if self._secret is None:
            self._secret = await self.call(askers.secret, self.store)
        return askers.hashed(self._secret, askers.address(request, self.proxies))

    @property
    def address(self) -> str:
        """The address that the request at work comes from; it stays in this process."""
        return _asking.get()

    async def check_club(self, request: Request) -> None:
        """Raise ProblemError for a key that opens no club, also where the answer is known.

        While the store is away nobody can say, and what is at hand is given.
        """
        key = request.headers.get(askers.CLUB)
        if key is not None:
            with suppress(StoreError):
                await self.call(askers.club, self.store, key)

    def crowded(self, asker: str) -> ProblemError | None:
        """Return the problem of who has, or all together have, as many streams as are allowed."""
        if self.streams[asker] >= self.limits.streams_each:
            text = f"you have {self.limits.streams_each} streams already; end one before another"
            return ProblemError(429, text, retry_after=5)
        if self.streams.total() >= self.limits.streams:
            return ProblemError(429, "there are as many streams as are allowed", retry_after=10)
        return None

    def spawn(self, work: Coroutine[Any, Any, None]) -> None:
        """Do something beside the requests, which may be broken off when the service leaves."""
        task = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def close(self) -> None:
        """Break off what is done beside the requests, and end the readers."""
        tasks = list(self._tasks)
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        await self.following.close()
        await self.readers.close()
        await self.drafts.close()
        await self.call(self.store.close)

    @contextmanager
    def stream(self, asker: str) -> Iterator[None]:
        """Count a stream or a waiting request while it lasts; raises ProblemError for too many."""
        problem = self.crowded(asker)
        if problem is not None:
            raise problem
        self.streams[asker] += 1
        self.metrics.streams.inc()
        try:
            yield
        finally:
            self.metrics.streams.dec()
            self.streams[asker] -= 1
            if not self.streams[asker]:
                del self.streams[asker]

    async def read(self, message: Message, place: Place = "body") -> Reply:
        """Return what a reader makes of a message; raises ProblemError and StoreError.

        ``place`` is where what was asked stands, for the pointers.
        """
        seconds = self.limits.reading
        try:
            reply = await self.readers.reply(message, _asking.get())
        except RefusedError as error:
            raise _refused(error, place) from None
        except BusyError:
            text = "more is asked just now than can be read; try again in a moment"
            raise ProblemError(503, text, retry_after=2) from None
        except TooLongError:
            text = f"this would take longer than {seconds} s to work out, which is the limit"
            raise ProblemError(422, text) from None
        except GoneError:
            text = "the process that read this ended twice; try again in a moment"
            raise ProblemError(503, text, retry_after=5) from None
        self._use(message)
        return reply

    def _use(self, message: Message) -> None:
        """Note once in a while that the posted puzzle of a message, if it has one, is used."""
        name = message.get("puzzle") or message.get("question", {}).get("puzzle", "")
        now = time.monotonic()
        if not ADDRESS.fullmatch(name) or now - self._used.get(name, -USE_EVERY) < USE_EVERY:
            return
        if len(self._used) >= MOST_USED:
            self._used.clear()
        self._used[name] = now
        self.spawn(self._note_use(name))

    async def _note_use(self, name: str) -> None:
        with suppress(StoreError):
            await self.call(puzzle_shelf.use, self.store, name)

    async def rendered(self, message: Message, place: Place = "body", store: bool = True) -> Reply:
        """Return what a reader makes of a message whose answer never changes.

        It is kept at hand, and with ``store`` in the store as well.
        """
        name = _name(message)
        reply = self.kept.get(name)
        if reply is not None:
            self.metrics.hits.labels("memory").inc()
            self._use(message)
            return reply
        return await self.once(name, partial(self._rendered, name, message, place, store))

    def keep(self, message: Message, body: bytes) -> None:
        """Keep at hand what a reader would make of a message, if that is known already."""
        self.kept.put(_name(message), Reply({}, body))

    async def _rendered(self, name: str, message: Message, place: Place, store: bool) -> Reply:
        reply = await self._stored(name) if store else None
        if reply is None:
            self.metrics.misses.inc()
            reply = await self.read(message, place)
            if store:
                await self._store(name, reply)
        else:
            self.metrics.hits.labels("store").inc()
        self.kept.put(name, reply)
        return reply

    async def _stored(self, name: str) -> Reply | None:
        data = await self.call(self.store.things.get, ANSWER, name)
        if data is None:
            return None
        head, _, body = data.partition(b"\n")
        return Reply(json.loads(head), body)

    async def _store(self, name: str, reply: Reply) -> None:
        """Keep an answer for other processes; that it cannot be kept harms nobody."""
        data = json.dumps(reply.head).encode() + b"\n" + reply.body
        try:
            await self.call(self.store.things.put, ANSWER, name, data)
        except StoreError:
            log.warning("an answer could not be kept in the store")


def service(request: Request) -> Service:
    """Return the service of a request, for routes."""
    own: Service = request.app.state.service
    return own


def _refused(error: RefusedError, place: Place) -> ProblemError:
    text = str(error)
    if error.kind == "missing":
        return ProblemError(404, text)
    if error.kind == "outdated":
        return ProblemError(410, text)
    if place == "path" or (place == "query" and error.where == "puzzle"):
        return ProblemError(404 if error.where == "puzzle" else 422, text)
    if not error.where:
        return ProblemError(422, text)
    if place == "query":
        return ProblemError(422, text, parameter=error.where)
    return ProblemError(422, text, pointer=f"#/{error.where}")


def _name(message: Message) -> str:
    """Return what names the answer to a message, made by these sources."""
    text = json.dumps([sources(), message], sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


@lru_cache(maxsize=1)
def sources() -> str:
    """Return a digest of all sources that have a say in how an answer reads."""
    folder = Path(__file__).parents[2]
    state = hashlib.sha256()
    for room in ("puzzles", "search", "service"):
        for path in sorted((folder / room).rglob("*")):
            if path.suffix in (".py", ".toml", ".json"):
                state.update(path.read_bytes())
    return state.hexdigest()


def progress_of(job: Job) -> dict[str, Any]:
    """Return a job's progress, empty for none yet."""
    told: dict[str, Any] = json.loads(job.progress) if job.progress else {}
    return told
