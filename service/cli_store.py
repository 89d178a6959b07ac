"""The commands that look after a store: backup and restore."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from puzzles.errors import RequestError
from service.output import FOUND, print_text, say

if TYPE_CHECKING:
    from service.stores.sqlite_backup import Kept

Backup = Annotated[str, typer.Argument(metavar="FILE", help="The file that holds the copy.")]
CopiedStore = Annotated[
    str | None,
    typer.Option(
        "--store", metavar="FILE", help="Copy what is in this file; else what TREFOIL_STORE says."
    ),
]
RestoredStore = Annotated[
    str | None,
    typer.Option(
        "--store", metavar="FILE", help="Put it in this file; else where TREFOIL_STORE says."
    ),
]
Anyway = Annotated[
    bool,
    typer.Option("--anyway", help="Even if the copy holds nothing of what would be replaced."),
]


def backup(file: Backup, store: CopiedStore = None) -> int:
    """Copy all that a service keeps to one file, while the service may go on working."""
    from service.stores import sqlite_backup
    from service.stores.base import StoreError

    place = _path(store)
    try:
        kept = sqlite_backup.backup(place, _file(file))
    except StoreError as error:
        raise RequestError(str(error)) from None
    print_text(f"{place} was copied to {file}: {_said(kept)}")
    if kept.replaced:
        print_text("It takes the place of the older copy that was there")
    return FOUND


def restore(file: Backup, store: RestoredStore = None, anyway: Anyway = False) -> int:
    """Put what a backup holds in the place of all that a service keeps, which is put aside."""
    from service.stores import sqlite_backup
    from service.stores.base import StoreError

    place = _path(store)
    try:
        kept = sqlite_backup.restore(_file(file), place, anyway)
    except StoreError as error:
        raise RequestError(str(error)) from None
    print_text(f"{place} now holds what {file} does: {_said(kept)}")
    if kept.aside is not None:
        what = "The damaged file" if kept.damaged else "All"
        print_text(f"{what} that was there is {kept.aside} now")
    if kept.at_work:
        say(
            "a service is at work on it: searches that the backup does not have are lost, and it "
            "may answer from memory until it is begun anew"
        )
    return FOUND


def _path(asked: str | None) -> Path:
    """Return the file of the store; raises RequestError for one in a Redis server."""
    from service.settings import is_redis, store_address

    address = store_address(asked)
    if is_redis(address):
        raise RequestError(
            "the store is in a Redis server, whose append-only file is to be copied as its "
            "manual says; --store may name a file"
        )
    return Path(address).expanduser()


def _file(text: str) -> Path:
    if not text or "\0" in text:
        raise RequestError("the name of a file was expected for the backup")
    return Path(text)


def _said(kept: Kept) -> str:
    counts = (
        (kept.jobs, "search", "searches"),
        (kept.results, "result", "results"),
        (kept.puzzles, "posted puzzle", "posted puzzles"),
        (kept.clubs, "club", "clubs"),
    )
    words = ", ".join(f"{count} {one if count == 1 else many}" for count, one, many in counts)
    return f"{words}; {kept.size / 1e6:.1f} MB"
