"""A service with a real server on a real store; the readers' work is done in threads, and the
workers' by the tests themselves, so that they decide what happens when."""

from __future__ import annotations

import asyncio
import json
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import httpx
import uvicorn
from fastapi import FastAPI

from search.deepening import deepen
from search.goals import goal_for
from service import representatives, results
from service.api import wire
from service.api.app import create
from service.limits import Limits
from service.puzzle_shelf import load
from service.readers import Pool
from service.reading import Message, Reply, reply_to
from service.settings import ServiceSettings
from service.specs import FindSpec
from service.stores.base import Lease, State, Store
from service.stores.sqlite import SqliteStore

#: A question that is answered in no time.
QUESTION = {"puzzle": "2x2x2", "cycle": ["UFR", "UBL", "DFR"], "half_length": 4}


class Inline:
    """Reads in threads what the readers' processes would read."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self.asked: list[Message] = []
        self.askers: list[str] = []
        self.ready = 1

    async def start(self) -> None:
        pass

    async def reply(self, message: Message, asker: str = "") -> Reply:
        self.asked.append(message)
        self.askers.append(asker)
        text = json.loads(json.dumps(message))
        return await asyncio.to_thread(reply_to, self.store, text)

    async def close(self) -> None:
        pass


class Away:
    """A store that can be taken away: everything then fails as it does when a server is gone."""

    def __init__(self, store: Store, error: Callable[[], Exception]) -> None:
        self._parts = (store.jobs, store.things, store.clubs, store.levels)
        self._store, self._error = store, error
        self.away = False
        self.jobs, self.things, self.clubs, self.levels = (
            _Guarded(self, part) for part in self._parts
        )

    def check(self) -> None:
        if self.away:
            raise self._error()

    def missing(self) -> list[str]:
        return ["the store is away"] if self.away else self._store.missing()

    def close(self) -> None:
        self._store.close()


class _Guarded:
    def __init__(self, away: Away, part: Any) -> None:
        self._away, self._part = away, part

    def __getattr__(self, name: str) -> Any:
        own = getattr(self._part, name)

        def call(*args: Any, **kwargs: Any) -> Any:
            self._away.check()
            return own(*args, **kwargs)

        return call


@dataclass
class Served:
    """A service that runs; ``client`` calls it."""

    app: FastAPI
    store: Store
    readers: Pool
    client: httpx.Client
    server: uvicorn.Server

    def post(self, question: dict[str, Any] | None = None, **headers: str) -> httpx.Response:
        """Post a search."""
        sent = {name.replace("_", "-"): value for name, value in headers.items()}
        return self.client.post("/api/searches", json=question or QUESTION, headers=sent)

    def lease(self) -> Lease:
        """Take the shard that is next."""
        lease = self.store.jobs.lease("tester", 600.0)
        assert lease is not None
        return lease

    def finish(self, lease: Lease | None = None) -> str:
        """Do the search that is next and return the digest of its result."""
        lease = lease or self.lease()
        digest = results.keep(self.store, found(lease.spec))
        outcome = json.dumps({"result": digest, "stopped_by": None, "note": ""})
        assert self.store.jobs.end(lease, State.DONE, outcome, "", 0.5)
        return digest


@cache
def found(text: str) -> bytes:
    """Return the result of a small search."""
    spec = FindSpec.model_validate_json(text)
    puzzle = load(None, spec.puzzle)  # type: ignore[arg-type]
    wanted = representatives.request_of(spec, puzzle)
    scope = wanted.scope()
    goal = replace(goal_for(wanted.triples(), wanted.bounds, scope), half_length=4)
    *_, last = deepen(scope, goal)
    return results.find_result(spec, puzzle, scope, last.shelves, None, "")


@contextmanager
def serving(
    folder: Path,
    *,
    limits: Limits | None = None,
    store: Store | None = None,
    readers: Pool | None = None,
    port: int = 0,
    **settings: Any,
) -> Iterator[Served]:
    """Run a service in a folder until the end of the block, at a port or at any."""
    path = folder / "store.sqlite"
    own = store if store is not None else SqliteStore(path)
    inline = readers if readers is not None else Inline(own)
    chosen = ServiceSettings(store=str(path), **settings)
    app = create(own, chosen, bounds=limits or Limits(), readers=inline)
    listening = socket.create_server(("127.0.0.1", port))
    config = uvicorn.Config(
        app,
        http=wire.protocol(app.state.service.limits, chosen.proxies),
        ws="none",
        lifespan="on",
        log_config=None,
        access_log=False,
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, args=([listening],))
    thread.start()
    port = listening.getsockname()[1]
    try:
        while not server.started:
            assert thread.is_alive()
            threading.Event().wait(0.01)
        with httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=20.0) as client:
            yield Served(app, own, inline, client, server)
    finally:
        app.state.leaving.set()
        server.should_exit = True
        thread.join(10.0)
        listening.close()
