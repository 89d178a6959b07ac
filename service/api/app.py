"""The HTTP API and the pages of a service as an application."""

from __future__ import annotations

import asyncio
import gc
import threading
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from typing import Any

from fastapi import FastAPI

from service.api import problems
from service.api.asking import router as asking
from service.api.bench import router as bench
from service.api.clubs import Sealed
from service.api.clubs import router as clubs
from service.api.compressing import Compressed
from service.api.context import Service, sources
from service.api.covers import router as covers
from service.api.drafting import PROCESSES, Drafts
from service.api.drafts import router as drafts
from service.api.finish_asking import router as finish_asking
from service.api.finishes import router as finishes
from service.api.guard import Guard
from service.api.health import router as health
from service.api.methods import router as methods
from service.api.openapi import document
from service.api.practice import router as practice
from service.api.puzzles import router as puzzles
from service.api.readings import router as readings
from service.api.results import router as results
from service.api.searches import router as searches
from service.api.sheets import router as sheets
from service.api.solves import router as solves
from service.api.step_pictures import router as step_pictures
from service.api.templates import Templates
from service.api.warming import warm
from service.limits import Limits, limits
from service.pages import forms, routes
from service.pages.problems import Problems
from service.readers import Pool, Readers
from service.settings import ServiceSettings
from service.stores import open_store
from service.stores.base import Store

#: How often it is looked whether the service is told to leave, in seconds.
LOOK_SECONDS = 0.1

DESCRIPTION = (
    "Finds the shortest and the easiest sequences that cycle three pieces of a turning puzzle and "
    "leave the rest alone. Long searches go on while nobody waits: what was asked stays at its "
    "address, and results stay where they are for good."
)


def create(
    store: Store | str,
    settings: ServiceSettings,
    *,
    bounds: Limits | None = None,
    readers: Pool | None = None,
) -> FastAPI:
    """Return the application on a store, or on the one at an address.

    ``bounds`` are those of the environment unless given. ``app.state.leaving``, an event, is to be
    set when the service is told to leave: streams end then. Raises RequestError for limits that
    the environment has wrong.
    """
    own = limits() if bounds is None else bounds
    pool = readers or Readers(
        settings.store, settings.readers, own.reading, own.reader_memory, own.reading_queue
    )
    kept = open_store(store) if isinstance(store, str) else store
    service = Service(kept, settings, own, pool, _drafts(settings, own, readers))
    app = FastAPI(
        title="Trefoil",
        description=DESCRIPTION,
        docs_url=None,
        redoc_url=None,
        openapi_url="/api/openapi.json",
        redirect_slashes=False,
        lifespan=_life,
    )
    app.state.service = service
    app.state.leaving = threading.Event()
    # Readers that were given are no processes of this service, which do nothing unasked.
    app.state.warms = readers is None
    for router in (
        drafts,
        puzzles,
        bench,
        readings,
        covers,
        finishes,
        finish_asking,
        solves,
        methods,
        sheets,
        practice,
        asking,
        searches,
        results,
        step_pictures,
        clubs,
        health,
        routes.router,
    ):
        app.include_router(router)
    problems.register(app)
    app.openapi = document(app)  # type: ignore[method-assign]
    templates = Templates(lambda: _addresses(app))
    app.state.templates = templates
    # Within the guard, so that HEAD has the fields of what GET sends.
    app.add_middleware(Compressed)
    app.add_middleware(
        Guard,
        limits=own,
        hosts=settings.hosts,
        metrics=service.metrics,
        templates=templates,
        forms=forms.TAKING,
        enter=service.enter,
    )
    # The last one stands before the others.
    app.add_middleware(Problems)
    app.add_middleware(Sealed)
    return app


def _drafts(settings: ServiceSettings, own: Limits, readers: Pool | None) -> Drafts:
    """Return what looks at drafts: processes of its own, or the readers that were given."""
    if readers is not None:
        return Drafts(readers, own.drafting, started=True)
    pool = Readers(settings.store, PROCESSES, own.drafting, own.reader_memory, own.reading_queue)
    return Drafts(pool, own.drafting)


def _addresses(app: FastAPI) -> dict[str, Any]:
    """Return the document with the addresses of pages as well, of which it says nothing."""
    told = app.openapi()
    return {**told, "paths": {**told["paths"], **routes.paths()}}


@asynccontextmanager
async def _life(app: FastAPI) -> AsyncIterator[None]:
    """Begin the readers with the service, and leave with nothing behind."""
    service: Service = app.state.service
    # Read before the first request, which would wait for it.
    sources()
    app.openapi()
    await service.readers.start()
    if app.state.warms:
        service.spawn(warm(service))
    # A collection of everything that was loaded takes tens of milliseconds, for which all who ask
    # would wait; what stays until the end need not be looked at.
    gc.collect()
    gc.freeze()
    watching = asyncio.get_running_loop().create_task(_leave(app, service))
    try:
        yield
    finally:
        watching.cancel()
        with suppress(asyncio.CancelledError):
            await watching
        await service.close()
        gc.unfreeze()


async def _leave(app: FastAPI, service: Service) -> None:
    """Let streams end when the service is told to leave."""
    while not app.state.leaving.is_set():
        await asyncio.sleep(LOOK_SECONDS)
    await service.following.leave()
