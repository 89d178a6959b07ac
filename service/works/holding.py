"""A lease in the hands of this process: kept in force, told of progress, let go when it must be."""

from __future__ import annotations

import contextlib
import json
import resource
import time
from collections.abc import Callable
from typing import Any, TypeVar

from service.settings import LEASE_SECONDS, MOST_BACK_OFF, RENEW_SECONDS
from service.stores.base import Lease, Signal, State, Store, StoreError
from service.works.base import LetGoError

T = TypeVar("T")
Stop = Callable[[], bool]

#: The first pause before a store that was away is tried again, in seconds; each is twice as long.
FIRST_BACK_OFF = 0.1
#: The longest sleep at a time, in seconds, so that a stop is seen soon.
NAP = 0.05
#: How long a work may go on after it was told to stop, in seconds.
PATIENCE = 5.0
#: A lease is renewed at least so many times before it would run out.
RENEWALS = 5
#: The field of a job's progress that says what was spent until a half-length was complete.
SPENT_UP_TO = "spent_up_to"


class GiveBackError(LetGoError):
    """Raised by a tick when this process is to leave: somebody else shall have the shard."""


class DeafError(LetGoError):
    """Raised by a tick when the work was told to stop long ago and goes on."""


def pause(seconds: float, stop: Stop) -> None:
    """Wait for so many seconds, less if this process is to leave."""
    until = time.monotonic() + seconds
    while not stop():
        left = until - time.monotonic()
        if left <= 0:
            return
        time.sleep(min(NAP, left))


class BackOff:
    """Pauses that grow from one to the next, until all is well again."""

    def __init__(self) -> None:
        self._next = FIRST_BACK_OFF

    def well(self) -> None:
        """Begin with the shortest pause again."""
        self._next = FIRST_BACK_OFF

    def pause(self, stop: Stop) -> None:
        """Wait, less if this process is to leave."""
        pause(self._next, stop)
        self._next = min(MOST_BACK_OFF, 2 * self._next)


class Held:
    """One lease that this process has.

    ``stop()`` says whether the process is to leave, ``beat()`` is called at every tick.
    ``seconds``: how long the lease lasts from each renewal on. What was computed is counted in
    seconds of processor time, of this process and of those that it began and that ended.
    """

    def __init__(
        self,
        store: Store,
        lease: Lease,
        stop: Stop,
        seconds: float = LEASE_SECONDS,
        beat: Callable[[], None] = lambda: None,
        stopping_since: float | None = None,
    ) -> None:
        self.store = store
        self.lease = lease
        #: When it was learned that the job is to stop, by ``time.monotonic``; None if it is not.
        self.stopping_since = stopping_since
        self._stop = stop
        self._beat = beat
        self.seconds = seconds
        self._renewal = min(RENEW_SECONDS, seconds / RENEWALS)
        now = time.monotonic()
        self._due = now + self._renewal
        self._until = now + seconds
        self._counted = _computed()
        self._news: dict[str, Any] = {}
        self._lost = False
        self._deaf_until: float | None = None
        self._depth: int | None = None

    def tick(self, told: dict[str, Any] | None = None) -> bool:
        """Tell progress, renew the lease if it is time; the ``Tick`` that a work is given."""
        if told:
            self._news.update(told)
            self._mark(told)
        if self._lost:
            raise LetGoError
        if self._stop():
            raise GiveBackError
        now = time.monotonic()
        if now >= self._due:
            self._renew(now)
            if self._lost:
                raise LetGoError
        self._beat()
        if self._deaf_until is not None and now >= self._deaf_until:
            raise DeafError
        if self.stopping_since is not None and self._deaf_until is None:
            self._deaf_until = now + PATIENCE
        return self.stopping_since is None

    def learn(self) -> None:
        """Learn whether the job is to stop, before the first renewal would tell."""
        job = self.store.jobs.job(self.lease.shard.job)
        if job is not None and job.state is State.STOPPING:
            self.told_to_stop()

    def told_to_stop(self) -> None:
        """Note that the job is to stop."""
        if self.stopping_since is None:
            self.stopping_since = time.monotonic()

    def insist(self, act: Callable[[float], T]) -> T:
        """Return what an act that ends a shard gives; while the store is away, try again.

        The act is given the seconds of computing since they were counted last. Raises LetGoError
        when the lease is lost in the meantime, or this process is to leave.
        """
        wait = BackOff()
        while True:
            try:
                return act(self.spent())
            except StoreError:
                wait.pause(self._stop)
                if self._stop():
                    raise LetGoError from None
                self._beat()
                # A lease that ran out while the store was away may still be in force there.
                self._renew(time.monotonic(), for_good=True)
                if self._lost:
                    raise LetGoError from None

    def spent(self) -> float:
        """Return the seconds of computing since they were counted last."""
        return _computed() - self._counted

    def charged(self) -> None:
        """Note that the store was told what was computed until now, and the lease goes on."""
        self._counted = _computed()

    def by_depth(self) -> dict[str, float]:
        """Return the seconds of computing that each complete half-length took, as far as known."""
        marks = {int(depth): total for depth, total in self._known().get(SPENT_UP_TO, {}).items()}
        took, before = {}, 0.0
        for depth in sorted(marks):
            took[str(depth)] = round(marks[depth] - before, 3)
            before = marks[depth]
        return took

    def progress(self, told: dict[str, Any]) -> str:
        """Return the job's progress as JSON with what is told now put in; empty if it is the same.

        What this process told at ticks and did not send yet is put in before.
        """
        self._mark(told)
        job = self.store.jobs.job(self.lease.shard.job)
        before = "" if job is None else job.progress
        text = json.dumps({**_fields(before), **self._news, **told}, separators=(",", ":"))
        return "" if text == before else text

    def _known(self) -> dict[str, Any]:
        """Return the job's progress with what was not sent yet."""
        job = self.store.jobs.job(self.lease.shard.job)
        return {**_fields("" if job is None else job.progress), **self._news}

    def _mark(self, told: dict[str, Any]) -> None:
        """Note what was spent on the job when another half-length is complete.

        Plans alone note it, since nobody else is at work on a job that is planned.
        """
        depth = told.get("half_length")
        if not self.lease.shard.plans or not isinstance(depth, int) or depth == self._depth:
            return
        with contextlib.suppress(StoreError):
            job = self.store.jobs.job(self.lease.shard.job)
            if job is None:
                return
            marks = self._known().get(SPENT_UP_TO, {})
            marks.setdefault(str(depth), round(job.spent + self.spent(), 3))
            self._news[SPENT_UP_TO] = marks
            self._depth = depth

    def _renew(self, now: float, for_good: bool = False) -> None:
        """Renew; where the store is away, the lease is lost when its time is over.

        ``for_good``: it is the store that says whether it is lost, however late.
        """
        spent = _computed()
        try:
            progress = self.progress({}) if self._news else ""
            signal = self.store.jobs.renew(
                self.lease, self.seconds, spent - self._counted, progress
            )
        except StoreError:
            self._lost = not for_good and time.monotonic() >= self._until
            self._due = now + 2 * self._renewal
            return
        self._counted = spent
        self._due, self._until = now + self._renewal, now + self.seconds
        self._news.clear()
        self._lost = signal is Signal.LOST
        if signal is Signal.STOP:
            self.told_to_stop()


def _computed() -> float:
    """Return the seconds that were computed so far, here and in processes begun here."""
    children = resource.getrusage(resource.RUSAGE_CHILDREN)
    return time.process_time() + children.ru_utime + children.ru_stime


def _fields(progress: str) -> dict[str, Any]:
    """Return the fields of a job's progress, none if it is empty or cannot be read."""
    try:
        known = json.loads(progress or "{}")
    except ValueError:
        return {}
    return known if isinstance(known, dict) else {}
