"""What every store promises: the levels of searches, jobs, things kept by name, and clubs.

The store is the truth. What stands in it is whole or not there, for every process that looks.
Unless a docstring says otherwise, a method that cannot reach, read or write the store raises
StoreError, changes nothing and may be called again. All of them may be called from any thread.
Times are seconds since 1970 by the store's own clock, so that machines with different clocks agree.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum


class StoreError(Exception):
    """The store cannot be used just now; the text says in one sentence why.

    ``retry_after``: seconds after which it is worth trying again.
    """

    def __init__(self, text: str, retry_after: int = 5) -> None:
        super().__init__(text)
        self.retry_after = retry_after


class TooManyError(Exception):
    """An asker, or all together, have as much as the limits allow; one sentence says of what.

    ``retry_after``: seconds after which it is worth trying again, 0 where waiting does not help.
    """

    def __init__(self, text: str, retry_after: int = 10) -> None:
        super().__init__(text)
        self.retry_after = retry_after


# --- Levels -------------------------------------------------------------------------------------


class Levels(ABC):
    """Finished levels of searches, as bytes, by the search's key and a number.

    The number is the half-length; where a search does other steps between levels
    (``search.plan``), what is there after each of them stands beside the levels, under a number
    that no half-length reaches. A level that was put is never changed afterwards: a level has one
    result. Losing a level costs time and nothing else; what was not used for longest goes first
    where room is short.
    """

    @abstractmethod
    def numbers(self, key: str) -> list[int]:
        """Return the numbers that are there for a key, ascending."""

    @abstractmethod
    def get(self, key: str, number: int) -> bytes | None:
        """Return what was put for a key and a number, None if it is not there."""

    @abstractmethod
    def put(self, key: str, number: int, data: bytes) -> None:
        """Keep a finished level; one that is there already stays as it is."""

    @abstractmethod
    def close(self) -> None:
        """Let go of files and connections."""


class NoLevels(Levels):
    """Keeps nothing."""

    def numbers(self, key: str) -> list[int]:
        return []

    def get(self, key: str, number: int) -> bytes | None:
        return None

    def put(self, key: str, number: int, data: bytes) -> None:
        pass

    def close(self) -> None:
        pass


# --- Jobs ---------------------------------------------------------------------------------------


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


# --- Things kept by name ------------------------------------------------------------------------


class Things(ABC):
    """Bytes by kind and name, put once and never changed.

    Kinds that can be made again (``settings.EVICTED``) make room for others, those not used for
    longest first; all others stay until they are removed.
    """

    @abstractmethod
    def get(self, kind: str, name: str) -> bytes | None:
        """Return what was put, None if it is not there."""

    @abstractmethod
    def put(self, kind: str, name: str, data: bytes) -> bool:
        """Keep something; return whether it is new: what is there already stays as it is."""

    @abstractmethod
    def count(self, kind: str) -> int:
        """Return how many there are of a kind."""

    @abstractmethod
    def names(self, kind: str, most: int) -> list[str]:
        """Return names of a kind, those that were put last first."""

    @abstractmethod
    def remove(self, kind: str, name: str) -> None:
        """Remove something, if it is there."""


# --- Clubs --------------------------------------------------------------------------------------


class Role(StrEnum):
    """What a link to a club's shelf allows; each allows what those before it do."""

    READ = "read"
    ADD = "add"
    KEEP = "keep"


@dataclass(frozen=True)
class Club:
    """A club: a name and the roles that have a link in force."""

    number: str
    name: str
    created: float
    roles: tuple[Role, ...]


@dataclass(frozen=True)
class Item:
    """Something on a club's shelf: JSON, numbered in the order in which it came."""

    number: int
    data: str
    added: float


class Clubs(ABC):
    """Clubs and what is on their shelves. Links are known by the hashes of their keys alone.

    What is done to a club that is not there (any more) does nothing.
    """

    @abstractmethod
    def found(self, number: str, name: str, hashes: dict[Role, str]) -> None:
        """Found a club, whose number nobody else has; raises ValueError if somebody has."""

    @abstractmethod
    def entered(self, key_hash: str) -> tuple[Club, Role] | None:
        """Return the club that a link opens, and what it allows; None for no link in force."""

    @abstractmethod
    def rename(self, number: str, name: str) -> None:
        """Give a club another name."""

    @abstractmethod
    def replace_link(self, number: str, role: Role, key_hash: str | None) -> None:
        """Put another link in the place of a role's, or none."""

    @abstractmethod
    def remove(self, number: str) -> None:
        """Remove a club with all of its shelf and links."""

    @abstractmethod
    def items(self, number: str) -> list[Item]:
        """Return what is on the shelf, in order."""

    @abstractmethod
    def add(self, number: str, data: str, most: int) -> Item:
        """Put something on the shelf; numbers go up and are never given twice.

        Raises TooManyError if there are ``most`` already, KeyError if there is no such club.
        """

    @abstractmethod
    def change(self, number: str, item: int, data: str) -> bool:
        """Put other data in an item's place; return whether it is there."""

    @abstractmethod
    def take_off(self, number: str, item: int) -> bool:
        """Take something off the shelf; return whether it was there."""


# --- All of it ----------------------------------------------------------------------------------


class Store(ABC):
    """Everything that a service keeps, in one place."""

    levels: Levels
    jobs: Jobs
    things: Things
    clubs: Clubs

    @abstractmethod
    def missing(self) -> list[str]:
        """Return in sentences what this store lacks to be relied on, nothing if all is well.

        Raises nothing: a store that cannot be reached says that.
        """

    @abstractmethod
    def close(self) -> None:
        """Let go of files and connections."""
