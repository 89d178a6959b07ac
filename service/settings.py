"""Every limit and place of the service, with what it means and how to change it."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from puzzles.errors import RequestError

#: The most threads that may be asked for.
MOST_THREADS = 64
#: Threads that are used unless somebody asks for more; two, so that a laptop stays usable.
DEFAULT_THREADS = 2
#: The largest cache, in bytes; what was not used for longest is dropped first.
MOST_CACHE_BYTES = 500_000_000
#: The most answers or lines of a table that may be asked for.
MOST_SHOWN = 10_000
#: Answers that `find` shows, and lines of the table that `atlas` shows, unless asked for more.
DEFAULT_ANSWERS = 10
DEFAULT_LINES = 20
#: The most scrambles at once, and the most turns of one.
MOST_SCRAMBLES = 1_000
LONGEST_SCRAMBLE = 1_000
#: How long another process's write to the cache is waited for, in seconds.
BUSY_SECONDS = 5.0
#: Seconds that compiling the kernels takes, once on a machine (measured on a small shared one).
COMPILING_SECONDS = 20


#: The longest name, of a puzzle, a type, a layer or a sticker, that is read.
MOST_NAME = 100
#: How often a shard may be begun before its job fails.
MOST_ATTEMPTS = 3
#: How long a worker's lease lasts unless it is renewed, in seconds, and how often it renews.
LEASE_SECONDS = 10.0
RENEW_SECONDS = 0.2
#: Kinds of things (``stores.base.Things``) that can be made again and make room for others.
EVICTED = ("answer",)


@dataclass(frozen=True)
class Settings:
    """What the surroundings decide.

    ``cache``: the SQLite file in which finished searches are kept, None for none; environment
    variable TREFOIL_CACHE, empty for none, else ``trefoil/searches.sqlite`` in XDG_CACHE_HOME or
    ``~/.cache``. ``threads``: how many search at once; TREFOIL_THREADS, else two or as many as
    there are processors. ``debug``: show the place of an unexpected error; TREFOIL_DEBUG=1.
    """

    cache: Path | None
    threads: int
    debug: bool = False


def settings(threads: int | None = None) -> Settings:
    """Return the settings of this process; ``threads`` as asked for. Raises RequestError."""
    return Settings(_cache(), _threads(threads), debug())


def debug() -> bool:
    """Return whether TREFOIL_DEBUG asks for the place of an unexpected error."""
    return os.environ.get("TREFOIL_DEBUG", "") not in ("", "0")


def _cache() -> Path | None:
    given = os.environ.get("TREFOIL_CACHE")
    if given is not None:
        return Path(given).expanduser() if given else None
    base = os.environ.get("XDG_CACHE_HOME")
    try:
        folder = Path(base) if base else Path.home() / ".cache"
    except RuntimeError:
        return None
    return folder / "trefoil" / "searches.sqlite"


def _threads(asked: int | None) -> int:
    if asked is None:
        text = os.environ.get("TREFOIL_THREADS", "")
        if not text:
            return min(DEFAULT_THREADS, os.cpu_count() or 1)
        if not text.isascii() or not text.isdigit():
            raise RequestError(
                f"TREFOIL_THREADS is {text[:20]!r}; a number from 1 to {MOST_THREADS} is right"
            )
        asked = int(text[:9])
    if not 1 <= asked <= MOST_THREADS:
        raise RequestError(f"threads {asked}: a number from 1 to {MOST_THREADS} was expected")
    return asked
