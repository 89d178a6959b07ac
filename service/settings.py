"""Every limit and place of the service, with what it means and how to change it."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable
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
#: How often a worker without work looks for some, in seconds.
IDLE_SECONDS = 0.05
#: How often a worker says that it is there, and for how long that holds, in seconds.
PRESENT_EVERY = 5.0
PRESENT_SECONDS = 20.0
#: The longest that a worker waits before it tries a store again that is away, in seconds.
MOST_BACK_OFF = 5.0
#: By how much workers give way to everything else on the machine.
WORKER_NICENESS = 10
#: How long requests, streams and workers are given to end after SIGTERM, in seconds.
LEAVING_SECONDS = 4.0
#: The most worker processes, and the most processes that render answers.
MOST_WORKERS = 64
MOST_READERS = 16
#: The least and the most memory of one worker, in megabytes; below it the kernels do not load.
LEAST_MEMORY, MOST_MEMORY = 1_000, 1_000_000
#: The most jobs that are remembered; those that ended first go first.
MOST_JOBS = 100_000
#: Kinds of things (``stores.base.Things``) that can be made again and make room for others, and how
#: many bytes of them are kept.
EVICTED = ("answer",)
MOST_EVICTED_BYTES = 200_000_000
#: Addresses that stand for all of a machine's. As a name in ``hosts`` they stand for the address
#: that a request came to.
EVERY_ADDRESS = ("0.0.0.0", "::")


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


# --- The service --------------------------------------------------------------------------------


@dataclass(frozen=True)
class ServiceSettings:
    """How `trefoil serve` and `trefoil work` run; every field has a variable of the surroundings.

    ``store``, TREFOIL_STORE: where everything is kept, the path of an SQLite file or the address of
    a Redis server (``redis://…``); else ``trefoil/trefoil.sqlite`` in XDG_DATA_HOME or
    ``~/.local/share``.
    ``broker``, TREFOIL_BROKER: the Redis database that carries messages to workers, empty for the
    one after the store's.
    ``host``, TREFOIL_HOST: the address to listen at, this machine alone (127.0.0.1) unless given.
    ``port``, TREFOIL_PORT: the port to listen at, 8000 unless given; 0 takes any that is free.
    ``workers``, TREFOIL_WORKERS: how many worker processes `trefoil serve` starts, 1 unless given.
    ``worker_memory``, TREFOIL_WORKER_MEMORY: the memory that one worker may have, in megabytes.
    ``readers``, TREFOIL_READERS: how many processes render answers, 2 unless given.
    ``hosts``, TREFOIL_HOSTS: the names, with commas between, under which the service may be
    called; else the machine's own name and those of its addresses at which it listens. ``*`` is
    any name.
    ``proxies``, TREFOIL_PROXIES: addresses of proxies, with commas between, that are believed what
    they say about who asks; none unless given.
    ``lease_seconds``, TREFOIL_LEASE_SECONDS: after how long without a word from a worker another
    one takes its shard, 10 unless given.
    """

    store: str
    broker: str = ""
    host: str = "127.0.0.1"
    port: int = 8000
    workers: int = 1
    worker_memory: int = 4_000
    readers: int = 2
    hosts: tuple[str, ...] = ("localhost", "127.0.0.1", "[::1]")
    proxies: tuple[str, ...] = ()
    lease_seconds: float = LEASE_SECONDS

    def environment(self) -> dict[str, str]:
        """Return the variables that give another process the same settings."""
        return {
            "TREFOIL_STORE": self.store,
            "TREFOIL_BROKER": self.broker,
            "TREFOIL_HOST": self.host,
            "TREFOIL_PORT": str(self.port),
            "TREFOIL_WORKERS": str(self.workers),
            "TREFOIL_WORKER_MEMORY": str(self.worker_memory),
            "TREFOIL_READERS": str(self.readers),
            "TREFOIL_HOSTS": ",".join(self.hosts),
            "TREFOIL_PROXIES": ",".join(self.proxies),
            "TREFOIL_LEASE_SECONDS": str(self.lease_seconds),
        }


#: Variables that the command line reads. What a service tells its readers is no setting.
_OTHERS = ("TREFOIL_CACHE", "TREFOIL_THREADS", "TREFOIL_DEBUG", "TREFOIL_SERVER")


def service_settings(
    store: str | None = None,
    host: str | None = None,
    port: str | None = None,
    workers: str | None = None,
) -> ServiceSettings:
    """Return the settings of the service; what is given was asked for on the command line.

    Raises RequestError with what was wrong and what would be right.
    """
    host = _host(*_given("--host", host, "TREFOIL_HOST", "127.0.0.1"))
    return ServiceSettings(
        store=store_address(store),
        broker=os.environ.get("TREFOIL_BROKER", ""),
        host=host,
        port=_whole(*_given("--port", port, "TREFOIL_PORT", "8000"), 0, 65_535),
        workers=_whole(*_given("--workers", workers, "TREFOIL_WORKERS", "1"), 0, MOST_WORKERS),
        worker_memory=_whole(
            *_given("", None, "TREFOIL_WORKER_MEMORY", "4000"), LEAST_MEMORY, MOST_MEMORY, " of MB"
        ),
        readers=_whole(*_given("", None, "TREFOIL_READERS", "2"), 1, MOST_READERS),
        hosts=_hosts(os.environ.get("TREFOIL_HOSTS", ""), host),
        proxies=_proxies(os.environ.get("TREFOIL_PROXIES", "")),
        lease_seconds=_seconds("TREFOIL_LEASE_SECONDS", LEASE_SECONDS, 0.5, 600.0),
    )


def check_variables(limits: Iterable[str]) -> None:
    """Raise RequestError for a variable that looks like a setting of the service and is none.

    ``limits`` are the variables of its limits. Others that begin with TREFOIL_ may be somebody
    else's, and are refused only where they look like a slip of the pen.
    """
    import difflib

    known = [*ServiceSettings("").environment(), *limits]
    for name in sorted(os.environ):
        if not name.startswith("TREFOIL_") or name in known or name in _OTHERS:
            continue
        like = difflib.get_close_matches(name, known, 1, 0.9)
        if like or name.startswith("TREFOIL_MAX_"):
            meant = like or difflib.get_close_matches(name, known, 1, 0.0)
            raise RequestError(f"{name[:60]} is no setting; {meant[0]} would be one")


def store_address(asked: str | None = None) -> str:
    """Return the store as asked for, else as TREFOIL_STORE has it, else ``default_store()``."""
    name, address = _given("--store", asked, "TREFOIL_STORE", "")
    if not address:
        if asked is not None:
            raise RequestError("--store: the path of a file or redis://… was expected")
        return str(default_store())
    if "\0" in address:
        raise RequestError(f"{name} has a character that no path can have")
    if re.match(r"[A-Za-z][A-Za-z0-9+.-]*://", address) and not is_redis(address):
        shown = address.partition("://")[0][:20] + "://"
        raise RequestError(
            f"{name} is {shown}…; the path of a file, or the address of a Redis server "
            "(redis://, rediss:// or unix://), is right"
        )
    return address


def is_redis(address: str) -> bool:
    """Return whether the address of a store is that of a Redis server."""
    return address.startswith(("redis://", "rediss://", "unix://"))


def default_store() -> Path:
    """Return the SQLite file that is the store where nobody names another; raises RequestError."""
    base = os.environ.get("XDG_DATA_HOME")
    try:
        folder = Path(base) if base else Path.home() / ".local" / "share"
    except RuntimeError:
        raise RequestError(
            "there is no home folder for the store; TREFOIL_STORE may name a file elsewhere"
        ) from None
    return folder / "trefoil" / "trefoil.sqlite"


def _given(option: str, asked: str | None, variable: str, usual: str) -> tuple[str, str]:
    """Return the name by which a setting was given, and what was given."""
    if asked is not None:
        return option, asked
    return variable, os.environ.get(variable) or usual


def _whole(name: str, text: str, least: int, most: int, unit: str = "") -> int:
    text = text.strip()
    if text.isascii() and text.isdigit() and least <= int(text[:9]) <= most and len(text) <= 9:
        return int(text)
    raise RequestError(f"{name} is {text[:20]!r}; a number{unit} from {least} to {most} is right")


def _seconds(variable: str, usual: float, least: float, most: float) -> float:
    text = os.environ.get(variable, "")
    if not text:
        return usual
    try:
        value = float(text)
    except ValueError:
        value = -1.0
    if least <= value <= most:
        return value
    raise RequestError(
        f"{variable} is {text[:20]!r}; a number of seconds from {least:g} to {most:g} is right"
    )


def _host(name: str, text: str) -> str:
    """Return an address to listen at, without the brackets of IPv6."""
    host = text.strip().removeprefix("[").removesuffix("]")
    if not host or any(sign.isspace() or sign in "/\0@" for sign in host) or len(host) > 253:
        raise RequestError(
            f"{name} is {text[:40]!r}; an address of this machine such as 127.0.0.1 is right"
        )
    return host


def _hosts(text: str, bound: str) -> tuple[str, ...]:
    """Return the names under which the service may be called, in small letters."""
    names = tuple(word.strip().lower() for word in text.split(",") if word.strip())
    for name in names:
        bare = name.removeprefix("[").removesuffix("]")
        if any(sign.isspace() or sign in "/@" for sign in bare) or (":" in bare and bare == name):
            raise RequestError(
                f"TREFOIL_HOSTS has {name[:40]!r}; names without ports, such as "
                "puzzles.example.org, with commas between are right"
            )
    if names:
        return names
    if text.strip():
        raise RequestError(
            f"TREFOIL_HOSTS is {text[:40]!r}, which names nothing; names such as "
            "puzzles.example.org, with commas between, are right"
        )
    import socket

    own = [*ServiceSettings.hosts]
    more = [bound.lower()]
    if bound in EVERY_ADDRESS:
        more.append(socket.gethostname().lower())
    for name in more:
        bracketed = f"[{name}]" if ":" in name else name
        if name and bracketed not in own:
            own.append(bracketed)
    return tuple(own)


def _proxies(text: str) -> tuple[str, ...]:
    """Return addresses and networks as they stand."""
    import ipaddress

    words = tuple(word.strip() for word in text.split(",") if word.strip())
    for word in words:
        try:
            ipaddress.ip_network(word, strict=False)
        except ValueError:
            raise RequestError(
                f"TREFOIL_PROXIES has {word[:40]!r}; addresses or networks such as 10.0.0.0/8, "
                "with commas between, are right"
            ) from None
    return words
