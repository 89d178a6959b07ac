"""A store in a Redis server, shared by all machines that serve and work.

What must happen at once is one Lua script (``lua/*.lua``); the server's clock is the store's. All
keys are made from one prefix inside the scripts, so a cluster of servers will not do: one server,
with an append-only file and without eviction (``missing`` asks for both).
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Sequence
from importlib import resources
from typing import Any

from service.stores.base import Store, StoreError

try:
    import redis
    from redis.backoff import NoBackoff
    from redis.exceptions import (
        AuthenticationError,
        BusyLoadingError,
        ConnectionError,
        OutOfMemoryError,
        ReadOnlyError,
        RedisError,
        ResponseError,
        TimeoutError,
    )
    from redis.retry import Retry
except ModuleNotFoundError as error:
    raise StoreError(
        "a Redis store needs the Python packages redis and dramatiq, which are not both installed"
    ) from error

#: What all keys begin with.
PREFIX = "trefoil:"
#: How long a connection, and an answer, are waited for, in seconds.
CONNECT_SECONDS = 2.0
ANSWER_SECONDS = 5.0
#: After how many seconds of silence a connection is tried before it is used.
IDLE_SECONDS = 30


class Server:
    """A connection to a Redis server, made when it is first used, for any number of threads.

    Every error becomes a StoreError of one sentence, in which no password stands.
    """

    def __init__(self, address: str) -> None:
        """Raises StoreError for an address that is none."""
        try:
            self._client = redis.Redis.from_url(
                address,
                socket_connect_timeout=CONNECT_SECONDS,
                socket_timeout=ANSWER_SECONDS,
                health_check_interval=IDLE_SECONDS,
                # What was begun is not asked for again: nobody knows whether it was done.
                retry=Retry(NoBackoff(), 0),
            )
        except ValueError:
            raise StoreError(
                "the store's address is no address of a Redis database; one such as "
                "redis://127.0.0.1:6379/0 is right"
            ) from None
        given = self._client.connection_pool.connection_kwargs
        place = given.get("path") or f"{given.get('host')}:{given.get('port')}"
        self.name = f"the store at {place}, database {given.get('db', 0)},"

    @contextlib.contextmanager
    def tried(self) -> Iterator[redis.Redis]:
        """Give the client; whatever it raises inside becomes a StoreError."""
        try:
            yield self._client
        except RedisError as error:
            raise StoreError(self._sentence(error), retry_after=2) from error
        except UnicodeError as error:
            raise StoreError(f"{self.name} gave what is not text: {error}") from error

    def script(self, *names: str) -> Script:
        """Return a script: the files of the folder ``lua`` with these names, one after another."""
        return Script(self, names)

    def close(self) -> None:
        with contextlib.suppress(RedisError):
            self._client.close()

    def _sentence(self, error: RedisError) -> str:
        if isinstance(error, BusyLoadingError):
            return f"{self.name} is still reading its file"
        if isinstance(error, AuthenticationError):
            return f"{self.name} does not accept the user or the password of its address"
        if isinstance(error, TimeoutError):
            return f"{self.name} did not answer in time"
        if isinstance(error, ConnectionError):
            return f"{self.name} cannot be reached"
        if isinstance(error, OutOfMemoryError):
            return f"{self.name} has no memory left: give it more, or ask for less to be kept"
        if isinstance(error, ReadOnlyError):
            return f"{self.name} is a replica and takes nothing new: name the first server"
        text = " ".join(str(error).split())
        if isinstance(error, ResponseError) and text.startswith("MISCONF"):
            return f"{self.name} cannot write its file: see to room on its disk"
        return f"{self.name} refused: {text[:200]}"


class Script:
    """A Lua script, loaded into the server when it is not there (any more)."""

    def __init__(self, server: Server, names: Sequence[str]) -> None:
        folder = resources.files("service.stores") / "lua"
        text = "\n".join((folder / f"{name}.lua").read_text("utf-8") for name in names)
        self._server = server
        with server.tried() as client:
            self._script = client.register_script(text)

    def __call__(self, *given: bytes | str | int) -> Any:
        """Return what it returns; raises StoreError."""
        with self._server.tried():
            return self._script(keys=[PREFIX], args=given)


class RedisStore(Store):
    """Everything that a service keeps, in one database of a Redis server."""

    def __init__(self, address: str) -> None:
        """``address``: ``redis://host:port/database``, ``rediss://…`` or ``unix://path``.

        Nothing is connected yet. Raises StoreError for an address that is none.
        """
        # Here, because these modules need what stands above.
        from service.stores.redis_clubs import RedisClubs
        from service.stores.redis_jobs import RedisJobs
        from service.stores.redis_levels import RedisLevels
        from service.stores.redis_things import RedisThings

        self.address = address
        self._server = Server(address)
        self.levels = RedisLevels(self._server)
        self.jobs = RedisJobs(self._server)
        self.things = RedisThings(self._server)
        self.clubs = RedisClubs(self._server)
        self._alone = self._server.script("alone")

    def alone(self, what: str, who: str, seconds: float) -> bool:
        """Return whether somebody may do alone what one at a time does, for so many seconds.

        0 seconds lets others do it. Raises StoreError.
        """
        return bool(self._alone(what, who, round(1000 * seconds)))

    def missing(self) -> list[str]:
        name = self._server.name
        try:
            with self._server.tried() as client:
                info = client.info()
        except StoreError as error:
            return [str(error)]
        lacks = []
        if info.get("loading"):
            lacks.append(f"{name} is still reading its file")
        if not info.get("aof_enabled"):
            lacks.append(f"{name} has no append-only file: set 'appendonly yes'")
        elif info.get("aof_last_write_status", "ok") != "ok":
            lacks.append(f"{name} cannot write its append-only file: see to room on its disk")
        policy = info.get("maxmemory_policy", "noeviction")
        if policy != "noeviction":
            lacks.append(
                f"{name} drops what it needs when memory is short: its maxmemory-policy is "
                f"{policy}, set 'maxmemory-policy noeviction'"
            )
        if info.get("role") != "master":
            lacks.append(f"{name} is a replica and takes nothing new: name the first server")
        return lacks

    def close(self) -> None:
        self._server.close()
