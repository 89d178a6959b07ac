"""One worker of a service on a Redis store: a thread that computes, and one that looks after it."""

from __future__ import annotations

import contextlib
import logging
import time
from collections.abc import Callable
from typing import TYPE_CHECKING

from service.output import print_text
from service.settings import LEAVING_SECONDS, PRESENT_EVERY, PRESENT_SECONDS, ServiceSettings
from service.stores.base import Shard, StoreError
from service.works import process
from service.works.others import Others

if TYPE_CHECKING:
    from dramatiq.brokers.redis import RedisBroker

    from service.stores.redis import RedisStore

log = logging.getLogger("trefoil.work")


def work(settings: ServiceSettings) -> None:
    """See ``transport.work``."""
    process.restrain(settings)
    from service.stores.redis import RedisStore
    from service.transport import broker as brokers

    where = brokers.address(settings)
    broker, sending = brokers.connected(where), brokers.connected(where)
    process.warm()
    leaving = process.Leaving()
    leaving.listen()
    store = RedisStore(settings.store)
    try:
        worker = RedisWorker(store, settings, leaving)
        worker.attend(broker, sending)
    finally:
        store.close()


class RedisWorker:
    """Does the shards that messages name, and says meanwhile that it is there."""

    def __init__(
        self, store: RedisStore, settings: ServiceSettings, leaving: process.Leaving
    ) -> None:
        self._store = store
        self._lease_seconds = settings.lease_seconds
        self._leaving = leaving
        self._name = process.name()
        self._worn = False
        self._others = Others()
        self._due = 0.0

    def attend(self, broker: RedisBroker, sending: RedisBroker) -> None:
        """Take messages from one broker and send some through the other until told to leave."""
        from service.transport import broker as brokers
        from service.transport.dispatcher import LOOK_SECONDS, Dispatcher

        taking = brokers.taking(broker, self.shard)
        dispatcher = Dispatcher(self._store, sending, self._name)
        taking.start()
        print_text("ready")
        while not self.leaves():
            self._present(lambda: brokers.queued(sending))
            dispatcher.look()
            time.sleep(LOOK_SECONDS)
        dispatcher.leave()
        # What is at work is given back at its next tick.
        taking.stop(timeout=int(1000 * LEAVING_SECONDS))
        with contextlib.suppress(StoreError):
            self._store.jobs.present(self._name, 0)

    def leaves(self) -> bool:
        """Return whether this process is to leave."""
        return self._leaving() or self._worn

    def shard(self, job: str, run: int, stage: int, number: int, epoch: int) -> None:
        """Do a shard if it is still open; what is not done is sent again by the dispatcher."""
        from service.works.kinds import work_for
        from service.works.loop import Went, do_lease

        if self.leaves() or self._others.leaves(job):
            return
        named = Shard(job, run, stage, number, epoch)
        try:
            lease = self._store.jobs.lease(self._name, self._lease_seconds, named)
        except StoreError as error:
            log.warning("the store is away: %s", error)
            return
        if lease is not None:
            went = do_lease(
                self._store,
                lease,
                work_for,
                self.leaves,
                self._lease_seconds,
                others=self._others,
            )
            self._worn = self._worn or went is Went.WORN

    def _present(self, hears: Callable[[], object]) -> None:
        """Say now and then that this worker is there; not while it hears nothing of shards."""
        now = time.monotonic()
        if now < self._due:
            return
        self._due = now + PRESENT_EVERY
        try:
            hears()
            self._store.jobs.present(self._name, PRESENT_SECONDS)
        except StoreError:
            self._due = now + 1.0
