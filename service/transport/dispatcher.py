"""The dispatcher: keeps as many shards in the broker as workers may want soon, and no more.

One process at a time does this, whoever has the lock in the store; it expires where that process
died. All that a dispatcher remembers may be lost: then some messages come twice.
"""

from __future__ import annotations

import logging
import time
from typing import TYPE_CHECKING

from redis.exceptions import RedisError

from service.stores.base import Shard, StoreError
from service.stores.redis import RedisStore
from service.transport import broker as brokers

if TYPE_CHECKING:
    from dramatiq.brokers.redis import RedisBroker

#: How often it looks what is to be sent, in seconds.
LOOK_SECONDS = 0.05
#: How long the lock lasts unless it is taken again.
LOCK_SECONDS = 3.0
#: A message whose shard has no lease after so many seconds is sent again.
AGAIN_SECONDS = 3.0
#: So many messages more than there are workers, so that none waits for the next look.
SPARE = 2

log = logging.getLogger("trefoil.dispatch")


class Dispatcher:
    """Sends messages about open shards while it has the lock."""

    def __init__(self, store: RedisStore, broker: RedisBroker, name: str) -> None:
        """``name`` is that of this process among all."""
        self._store = store
        self._broker = broker
        self._name = name
        self._sent: dict[Shard, float] = {}
        self._away = False

    def look(self) -> None:
        """Send what is to be sent now; where a server is away, the next look may do better."""
        try:
            if self._store.alone("dispatcher", self._name, LOCK_SECONDS):
                self._send()
            else:
                self._sent.clear()
            self._away = False
        except (StoreError, RedisError) as error:
            if not self._away:
                log.warning("messages are not sent just now: %s", error)
            self._away = True

    def leave(self) -> None:
        """Let go of the lock."""
        try:
            self._store.alone("dispatcher", self._name, 0)
        except StoreError:
            log.info("the lock runs out by itself")

    def _send(self) -> None:
        jobs = self._store.jobs
        wanted = max(1, jobs.figures().workers) + SPARE
        waiting = jobs.waiting(wanted)
        now = time.monotonic()
        self._sent = {shard: self._sent[shard] for shard in waiting if shard in self._sent}
        due = [shard for shard in waiting if now - self._sent.get(shard, -1e9) >= AGAIN_SECONDS]
        if not due:
            return
        queued = brokers.queued(self._broker)
        ahead = next((at for at, shard in enumerate(waiting) if shard not in self._sent), wanted)
        if queued > ahead:
            # A new one goes before some that are queued; a short search does not wait for a long.
            self._broker.flush(brokers.QUEUE)
            due, queued = waiting, 0
        for shard in due[: max(0, wanted - queued)]:
            self._broker.enqueue(brokers.message(shard))
            self._sent[shard] = now
