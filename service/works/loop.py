"""What a worker does: takes leases, does their shards, and gives the store what came of them."""

from __future__ import annotations

import contextlib
import json
import logging
import time
from collections.abc import Callable
from enum import Enum

from puzzles.errors import TrefoilError
from service.settings import IDLE_SECONDS, LEASE_SECONDS, PRESENT_EVERY, PRESENT_SECONDS
from service.stores.base import Lease, Signal, State, Store, StoreError
from service.works.aside import left_behind
from service.works.base import Deal, End, LetGoError, Work
from service.works.holding import BackOff, DeafError, GiveBackError, Held, Stop, pause
from service.works.others import FORSAKEN, Others, OtherSourcesError

#: From the kind of a job to what does it.
Works = Callable[[str], Work]

OUT_OF_MEMORY = "there was not enough memory for this; smaller bounds or fewer layers would fit"

#: By the clock, a time limit is over after so many seconds and so many times the limit.
PATIENT_SECONDS, PATIENT_TIMES = 60.0, 10.0

log = logging.getLogger("trefoil.work")


class Went(Enum):
    """How it went with a lease."""

    #: The store has what came of it, or somebody else has the lease.
    WELL = "well"
    #: The store could not be used, or something is wrong here; it is worth waiting a little, so
    #: that a worker at which all goes wrong leaves the rest to others.
    ILL = "ill"
    #: The process ran out of memory, or does something still that nobody waits for; another one
    #: in its place would be as new.
    WORN = "worn"


def run(
    store: Store, worker: str, works: Works, stop: Stop, seconds: float = LEASE_SECONDS
) -> None:
    """Do what there is to do until ``stop()``; then what is unfinished is given back.

    ``worker`` names this worker in the store, ``seconds`` is how long a lease lasts. While the
    store is away, it is tried again. Returns as well when the process should be replaced.
    """
    beat = _Presence(store, worker)
    wait, others = BackOff(), Others()
    away = False
    while not stop():
        try:
            beat()
            lease = others.lease(store.jobs, worker, seconds)
        except StoreError as error:
            if not away:
                log.warning("the store is away, and is tried again and again: %s", error)
            away = True
            wait.pause(stop)
            continue
        away = False
        if lease is None:
            wait.well()
            pause(IDLE_SECONDS, stop)
            continue
        went = do_lease(store, lease, works, stop, seconds, beat, others)
        if went is Went.WORN:
            break
        if went is Went.ILL:
            wait.pause(stop)
        else:
            wait.well()
    with contextlib.suppress(StoreError):
        store.jobs.present(worker, 0)


def do_lease(
    store: Store,
    lease: Lease,
    works: Works,
    stop: Stop,
    seconds: float = LEASE_SECONDS,
    beat: Callable[[], None] = lambda: None,
    others: Others | None = None,
) -> Went:
    """Do the shard of a lease, and the plan that follows where it was the last of its stage.

    ``beat()`` is called at every tick. ``others`` are the jobs that this worker does not take.
    Whatever the work raises becomes a result, a shard that is open again, or a job that has failed;
    nothing is raised for it.
    """
    held: Held | None = Held(store, lease, stop, seconds, beat)
    while held is not None:
        reason, went = "", Went.WELL
        try:
            following = _done(held, works(held.lease.kind))
        except GiveBackError:
            return _given_back(held, Went.WELL)
        except OtherSourcesError:
            return _left(held, others or Others())
        except DeafError:
            return _given_up(held)
        except LetGoError:
            return Went.WORN if left_behind() else Went.WELL
        except StoreError as error:
            log.warning("the store is away: %s", error)
            return _given_back(held, Went.ILL)
        except MemoryError:
            # The error is gone, and all that its frames held, before anything else is done.
            reason, went = OUT_OF_MEMORY, Went.WORN
        except TrefoilError as error:
            reason = str(error)
        except Exception as error:
            log.exception("a shard of the kind %s failed", held.lease.kind)
            reason = f"something unexpected went wrong ({type(error).__name__}); the log has more"
            went = Went.ILL
        if reason:
            return _failed(held, reason, went)
        since = held.stopping_since
        held = None if following is None else Held(store, following, stop, seconds, beat, since)
    return Went.WELL


def counted(lease: Lease) -> float:
    """Return the seconds that count against a time limit of a job, up to a lease on it.

    They are those of computing, by all workers. So that nobody waits for ever where workers have
    much else to do, those by the clock count beyond a minute, a tenth each.
    """
    waited = lease.now - lease.began
    return max(lease.spent, (waited - PATIENT_SECONDS) / PATIENT_TIMES)


def _done(held: Held, work: Work) -> Lease | None:
    """Do one shard and record it; return a lease on the plan that follows, if there is one."""
    store, lease = held.store, held.lease
    spec = json.loads(lease.spec)
    had = counted(lease)
    with contextlib.suppress(TrefoilError):
        # What the spec lacks is for the work to say.
        if work.key(store, spec, held.tick) not in (None, lease.shard.job):
            raise OtherSourcesError
    if not lease.shard.plans:
        result = work.part(store, spec, lease.payload, had, held.tick)
        return held.insist(lambda spent: store.jobs.record(lease, result, spent, held.seconds))
    # A plan may be quicker than the first renewal, and what follows depends on it.
    held.insist(lambda spent: held.learn())
    parts = held.insist(lambda spent: store.jobs.results(lease))

    def planned(stage: int, parts: list[bytes]) -> Deal | End:
        try:
            return work.plan(store, spec, stage, parts, had, held.tick)
        except TrefoilError as error:
            return End(State.FAILED, error=str(error))

    made = planned(lease.shard.stage, parts)
    if isinstance(made, Deal):
        if _deal(held, made) is not Signal.STOP:
            return None
        # Since the last tick, nobody wants the job any more: what was found is put together.
        held.told_to_stop()
        if made.found is None:
            made = planned(lease.shard.stage, parts)
        else:
            made = planned(lease.shard.stage + 1, [made.found])
    _end(held, made if isinstance(made, End) else End(State.STOPPED))
    return None


def _deal(held: Held, deal: Deal) -> Signal:
    def act(spent: float) -> Signal:
        progress = held.progress(deal.progress)
        signal = held.store.jobs.plan(held.lease, deal.parts, spent, progress)
        if signal is Signal.STOP:
            held.charged()
        return signal

    return held.insist(act)


def _end(held: Held, end: End) -> None:
    """End the job; the outcome gets the times that were measured beside what the work says.

    ``seconds``: of computing, by half-length; ``stop_seconds``: from learning that it was to stop.
    """

    def act(spent: float) -> bool:
        outcome = dict(end.outcome)
        if took := held.by_depth():
            outcome["seconds"] = took
        if held.stopping_since is not None:
            outcome["stop_seconds"] = round(time.monotonic() - held.stopping_since, 3)
        text = json.dumps(outcome, separators=(",", ":")) if outcome else ""
        return held.store.jobs.end(held.lease, end.state, text, end.error, spent)

    held.insist(act)


def _given_back(held: Held, went: Went) -> Went:
    """Open a shard again for others; if the store is away, the lease runs out by itself."""
    with contextlib.suppress(StoreError):
        held.store.jobs.give_back(held.lease, held.spent())
    return went


def _left(held: Held, others: Others) -> Went:
    """Leave a job of other sources to others, which counts for nothing; end it if there are none.

    What is stored under its key would not be what its sources find.
    """
    store, lease = held.store, held.lease
    with contextlib.suppress(StoreError):
        if others.forsaken(lease):
            store.jobs.end(lease, State.FAILED, "", FORSAKEN, 0.0)
        else:
            log.warning("a job of other sources than this worker's is left to others")
            store.jobs.give_back(lease, 0.0)
    return Went.WELL


def _given_up(held: Held) -> Went:
    """End a shard whose work does not stop: a part is dropped, after a plan the job is over."""
    log.warning("work of the kind %s did not stop when it was told", held.lease.kind)
    if held.lease.shard.plans:
        with contextlib.suppress(LetGoError):
            _end(held, End(State.STOPPED))
        return Went.WORN
    return _given_back(held, Went.WORN)


def _failed(held: Held, reason: str, went: Went) -> Went:
    with contextlib.suppress(LetGoError):
        held.insist(lambda spent: held.store.jobs.fail(held.lease, reason, spent))
    return went


class _Presence:
    """Says every few seconds that a worker is there; a store that is away is no reason to stop."""

    def __init__(self, store: Store, worker: str) -> None:
        self._store = store
        self._worker = worker
        self._due = 0.0

    def __call__(self) -> None:
        now = time.monotonic()
        if now < self._due:
            return
        self._due = now + PRESENT_EVERY
        try:
            self._store.jobs.present(self._worker, PRESENT_SECONDS)
        except StoreError:
            self._due = now + 1.0
