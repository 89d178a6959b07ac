"""What every store promises of jobs: work in shards, each of which one worker does at a time."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum


class State(StrEnum):
    """Where a job stands."""

    #: Nobody has begun it.
    WAITING = "waiting"
    #: At least one lease was given.
    RUNNING = "running"
    #: Nobody wants it any more; it ends as soon as what was found is put together.
    STOPPING = "stopping"
    #: It came to its end; ``outcome`` says with what.
    DONE = "done"
    #: It was stopped; ``outcome`` says what was found until then, empty if nothing was begun.
    STOPPED = "stopped"
    #: It cannot be done; ``error`` says why.
    FAILED = "failed"

    @property
    def over(self) -> bool:
        """Whether nothing more happens to it."""
        return self in (State.DONE, State.STOPPED, State.FAILED)


@dataclass(frozen=True)
class Job:
    """One piece of work, by its key, which says all of what it is about.

    ``run`` counts how often it was begun anew. ``kind`` and ``spec`` say what to do, ``askers`` who
    wants it. ``spec`` is JSON, which may be large, and empty when it is over. ``spent``: seconds of
    computing so far, over all workers. ``progress`` and ``outcome`` are JSON, empty for none yet;
    ``progress`` is what the workers said last.
    ``shards`` and ``recorded`` count the parts of the stage, none while it is planned.
    ``version`` goes up with every change of all of this but ``spent``, over all runs. ``created``:
    when this run was asked for; ``began``: when its first lease was given, ``ended``: when it was
    over, 0.0 before. ``askers`` stay when it is over.
    """

    key: str
    run: int
    kind: str
    spec: str
    state: State
    askers: tuple[str, ...]
    stage: int
    shards: int
    recorded: int
    spent: float
    progress: str
    outcome: str
    error: str
    version: int
    created: float
    began: float
    ended: float


@dataclass(frozen=True)
class Shard:
    """A part of a job that one worker does at a time.

    A job goes in stages. Number 0 of every stage is its *plan*, whose payload is empty: it puts
    together what the parts of the stage before have given and either ends the job or says which
    parts the stage has, numbered from 1. ``epoch`` goes up whenever the shard is open again after
    a lease, so that a message about an earlier time can be told from one that counts.
    """

    job: str
    run: int
    stage: int
    number: int
    epoch: int

    @property
    def plans(self) -> bool:
        """Whether this is a plan."""
        return self.number == 0


@dataclass(frozen=True)
class Lease:
    """A shard in the hands of one worker until a time, unless it is renewed before.

    ``token`` is secret to this lease: what comes with an older one is not taken. ``attempt``
    counts from 1. ``began`` and ``spent`` are the job's when it was given, at the store's time
    ``now``.
    """

    shard: Shard
    kind: str
    spec: str
    payload: bytes
    token: str
    attempt: int
    began: float
    spent: float
    now: float
    expires: float


class Signal(StrEnum):
    """What a worker that renews is to do."""

    GO_ON = "go on"
    #: The job is to end: record what there is.
    STOP = "stop"
    #: The lease ran out, or the job is over: let go, nothing will be taken.
    LOST = "lost"


@dataclass(frozen=True)
class JobLimits:
    """How much of all this there may be; ``submit`` raises TooManyError beyond it.

    ``open_each``: jobs of one asker that are not over. ``open_all``: of all askers. ``spent_each``:
    seconds of computing that one asker's jobs may have taken in the last hour.
    """

    open_each: int
    open_all: int
    spent_each: float


@dataclass(frozen=True)
class Figures:
    """What there is to count: ``oldest`` is how long the oldest open shard waits, in seconds.

    ``workers`` are those that said lately that they are there. ``lapsed`` counts leases that ran
    out, ``failed`` jobs that failed, both since the store began.
    """

    jobs_open: int
    shards_open: int
    shards_leased: int
    oldest: float
    workers: int
    lapsed: int
    failed: int


def doublings(spent: float) -> int:
    """Return how often one second was doubled: 0 below 1 s, 1 below 2 s, 2 below 4 s, and so on."""
    return int(spent).bit_length()


class Jobs(ABC):
    """Jobs, in shards that are leased.

    Each shard's result is taken once, under the lease that is in force. A lease that runs out is
    given to somebody else; a shard whose leases ran out or failed MOST_ATTEMPTS times ends its job
    as failed; a part of a job that is STOPPING is dropped instead of being opened again.

    Who is given work: jobs that are STOPPING first; then the asker with the fewest leases, then the
    job on which the least was spent (in ``doublings``, so that short ones go first and long ones
    take turns), then the older one; within a job, the lowest number. A lease on a job counts for
    all of its askers, and a job goes by that one of them who has the fewest.

    Beyond ``settings.MOST_JOBS``, jobs that are over make room, those that ended first go first.
    """

    @abstractmethod
    def submit(self, key: str, kind: str, spec: str, asker: str, limits: JobLimits) -> Job:
        """Return the job with a key, which somebody wants.

        One that waits or runs is joined, one that is done stays as it is; one that is stopping,
        was stopped or has failed begins anew with its next ``run``. Raises TooManyError.
        """

    @abstractmethod
    def job(self, key: str) -> Job | None:
        """Return a job, None if there is none."""

    @abstractmethod
    def stop(self, key: str, asker: str) -> Job | None:
        """Take back that somebody wants a job, and return it; None if there is none.

        When nobody is left, it is STOPPING: open parts are dropped, and the plan that puts
        together what was found follows the last lease. Where nothing was begun it is STOPPED at
        once. An asker that does not want the job, and one that is over, change nothing.
        """

    @abstractmethod
    def lease(self, worker: str, seconds: float, only: Shard | None = None) -> Lease | None:
        """Return a lease on the shard that is next, or on that one; None if there is none.

        Leases that ran out are taken back before. A message about another run, stage or epoch
        than what is open now gets None.
        """

    @abstractmethod
    def renew(self, lease: Lease, seconds: float, spent: float, progress: str = "") -> Signal:
        """Prolong a lease to so many seconds from now.

        ``spent`` are the seconds of computing since the last time; ``progress`` replaces the
        job's, empty leaves it.
        """

    @abstractmethod
    def record(self, lease: Lease, result: bytes, spent: float, seconds: float) -> Lease | None:
        """Keep the result of a part; return a lease on the plan if that was the last of its stage.

        Under a lease that is no more in force nothing is kept and None returned.
        """

    @abstractmethod
    def results(self, lease: Lease) -> list[bytes]:
        """Return what the parts of the stage before have given, in order, for a plan.

        Parts that were dropped when the job was stopped are left out. Nothing for a lease that is
        no more in force.
        """

    @abstractmethod
    def plan(self, lease: Lease, parts: Sequence[bytes], spent: float, progress: str) -> Signal:
        """Finish a plan with the payloads of its stage's parts, at least one.

        Return GO_ON if it was taken. STOP says that the job is STOPPING: the parts are not taken,
        and the lease stays in force, so that the plan can end the job with what was found. LOST: it
        is no more in force.
        """

    @abstractmethod
    def end(self, lease: Lease, state: State, outcome: str, error: str, spent: float) -> bool:
        """Finish a plan, and with it the job, as DONE, STOPPED or FAILED; whether it was taken.

        A part may end its job as FAILED, with an error that no other attempt would mend.
        """

    @abstractmethod
    def give_back(self, lease: Lease, spent: float) -> None:
        """Open a shard again that could not be finished; does not count as an attempt."""

    @abstractmethod
    def fail(self, lease: Lease, reason: str, spent: float) -> None:
        """Open a shard again after an error; after MOST_ATTEMPTS the job fails with the reason."""

    @abstractmethod
    def present(self, worker: str, seconds: float) -> None:
        """Say that a worker is there and ready, for so many seconds from now; 0 says goodbye."""

    @abstractmethod
    def waiting(self, most: int) -> list[Shard]:
        """Return the open shards that are next, in the order of their leases, without leasing them.

        Leases that ran out are taken back before.
        """

    @abstractmethod
    def figures(self) -> Figures:
        """Return what there is to count."""
