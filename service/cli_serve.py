"""The commands that run the service: serve, and work for one more worker."""

from __future__ import annotations

import logging
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from puzzles.errors import RequestError
from service.output import FOUND, print_text

if TYPE_CHECKING:
    from service.settings import ServiceSettings

StoreOption = Annotated[
    str | None,
    typer.Option(
        "--store",
        metavar="FILE",
        help="Keep everything in this file, or at redis://…; else what TREFOIL_STORE says.",
    ),
]
Port = Annotated[
    str | None,
    typer.Option("--port", metavar="N", help="Listen at this port; 8000 unless given, 0 any free."),
]
Host = Annotated[
    str | None,
    typer.Option(
        "--host", metavar="ADDRESS", help="Listen at this address; at 127.0.0.1 unless given."
    ),
]
WorkerCount = Annotated[
    str | None,
    typer.Option("--workers", metavar="N", help="Begin so many workers; 1 unless given."),
]


def serve(
    port: Port = None,
    host: Host = None,
    store: StoreOption = None,
    workers: WorkerCount = None,
) -> int:
    """Run the service: searches as jobs behind an HTTP API, with workers beside it."""
    from service.settings import service_settings

    settings = service_settings(store, host, port, workers)
    _check_surroundings()
    _readable(settings)
    from service import serving

    serving.serve(settings)
    return FOUND


def work(store: StoreOption = None) -> int:
    """Run one more worker for a service, on this machine or, with Redis, on any."""
    from service import logs
    from service.settings import is_redis, service_settings
    from service.stores.base import StoreError
    from service.works import process

    settings = service_settings(store)
    _check_surroundings()
    _readable(settings)
    logs.configure(level=logging.WARNING)
    try:
        if is_redis(settings.store):
            from service import transport

            transport.work(settings)
        else:
            process.work(settings, ready=lambda: print_text("ready"))
    except StoreError as error:
        raise RequestError(str(error)) from None
    return FOUND


def _check_surroundings() -> None:
    """Raise RequestError for variables that are no settings, or limits that cannot be."""
    from service import limits
    from service.settings import check_variables

    check_variables(row.variable for row in limits.rows())
    limits.limits()


def _readable(settings: ServiceSettings) -> None:
    """Raise RequestError for a file that is no store and cannot be made one.

    A full disk or a Redis server that is away are no reason not to begin: the one can be read, and
    the other comes back.
    """
    from service.settings import default_store, is_redis
    from service.stores import open_store
    from service.stores.base import StoreError

    if is_redis(settings.store):
        return
    folder = Path(settings.store).expanduser().parent
    if not folder.is_dir() and settings.store != str(default_store()):
        raise RequestError(
            f"{settings.store} cannot be made: the folder {folder} is not there; make it, or name "
            "a file in another one"
        )
    store = open_store(settings.store)
    try:
        store.things.count("result")
    except StoreError as error:
        raise RequestError(str(error)) from None
    finally:
        store.close()
