"""The broker: a Redis database of its own, through which Dramatiq carries messages to workers."""

from __future__ import annotations

import os
from collections.abc import Callable
from typing import Any
from urllib.parse import parse_qs, urlencode

from puzzles.errors import RequestError
from service.settings import ServiceSettings
from service.stores.base import Shard, StoreError
from service.stores.redis import ANSWER_SECONDS, CONNECT_SECONDS

#: A worker computes in one thread and has one message at a time: one that it has but does not do
#: would wait for it while others are idle.
THREADS = 1
#: Milliseconds until a connection that broke is tried again; Dramatiq reads it when it is imported.
RESTART = 500
os.environ.setdefault("dramatiq_restart_delay", str(RESTART))
try:
    import dramatiq
    import redis
    from dramatiq.brokers.redis import RedisBroker
except ModuleNotFoundError as error:
    raise StoreError(
        "workers on a Redis store need the Python packages redis and dramatiq, which are not both "
        "installed"
    ) from error

#: What all keys of the broker begin with, and the one queue that it has.
NAMESPACE = "trefoil"
QUEUE = "shards"
ACTOR = "shard"
#: Milliseconds without a word after which a worker's messages are put back into the queue. Shards
#: do not wait for that: what has no lease is sent again.
HEARTBEAT = 20_000
#: How many of a million commands look for messages of workers that are gone. The look goes over
#: all keys of the database, which has no others.
MAINTENANCE = 100_000
#: The longest that a worker without work sleeps before it looks into the queue, in milliseconds.
IDLE = 100


def address(settings: ServiceSettings) -> str:
    """Return the broker's address: as it was given, else the database after the store's.

    Raises RequestError where it would be the store's own.
    """
    if not settings.broker:
        return _following(settings.store)
    if settings.broker == settings.store:
        raise RequestError(
            "TREFOIL_BROKER is the store's own database; another number after the last / is right"
        )
    return settings.broker


def connected(where: str) -> RedisBroker:
    """Return a broker, not connected yet; raises RequestError for an address that is none."""
    try:
        client = redis.Redis.from_url(
            where, socket_connect_timeout=CONNECT_SECONDS, socket_timeout=ANSWER_SECONDS
        )
    except ValueError:
        # What is wrong with it may have the password in it.
        raise RequestError(
            "TREFOIL_BROKER is no address of a Redis database; one such as redis://127.0.0.1/1 is "
            "right"
        ) from None
    # No middleware: leases count, not the time limits and attempts of messages.
    made: RedisBroker = RedisBroker(  # type: ignore[no-untyped-call]
        client=client,
        middleware=[],
        namespace=NAMESPACE,
        heartbeat_timeout=HEARTBEAT,
        maintenance_chance=MAINTENANCE,
    )
    return made


def taking(broker: RedisBroker, do: Callable[[str, int, int, int, int], None]) -> dramatiq.Worker:
    """Return what takes messages, when it is started, and calls ``do`` with what each names."""
    named: Any = dramatiq.actor(broker=broker, actor_name=ACTOR, queue_name=QUEUE)
    named(do)
    worker = dramatiq.Worker(broker, queues={QUEUE}, worker_threads=THREADS, worker_timeout=IDLE)
    worker.queue_prefetch = THREADS
    return worker


def message(shard: Shard) -> dramatiq.Message[None]:
    """Return the message about a shard."""
    return dramatiq.Message(
        queue_name=QUEUE,
        actor_name=ACTOR,
        args=(shard.job, shard.run, shard.stage, shard.number, shard.epoch),
        kwargs={},
        options={},
    )


def queued(broker: RedisBroker) -> int:
    """Return how many messages wait for a worker; raises StoreError."""
    try:
        # Dramatiq's own count has in it what workers have that are gone.
        length: Any = broker.client.llen(f"{broker.namespace}:{QUEUE}")
    except redis.RedisError as error:
        raise StoreError(f"the broker, which carries messages, is away: {error}") from None
    return int(length)


def _following(store: str) -> str:
    """Return the address of the database after the one of an address."""
    scheme, _, rest = store.partition("://")
    place, _, query = rest.partition("?")
    asked = parse_qs(query)
    host, slash, path = place.partition("/")
    if scheme == "unix" or (not path and "db" in asked):
        asked["db"] = [str(_after(asked.get("db", ["0"])[0]))]
        host, path = f"{host}{slash}{path}", ""
    else:
        path = f"/{_after(path.strip('/') or '0')}"
    ending = f"?{urlencode(asked, doseq=True)}" if asked else ""
    return f"{scheme}://{host}{path}{ending}"


def _after(number: str) -> int:
    if not (number.isascii() and number.isdigit()):
        # A password with a slash that is not written as %2F may stand where it is looked for.
        raise RequestError(
            "the store's address does not end with the number of a database; one such as "
            "redis://127.0.0.1/0 is right, or TREFOIL_BROKER may name another"
        )
    return int(number[:9]) + 1
