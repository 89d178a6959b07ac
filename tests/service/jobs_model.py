"""What a store's jobs should do, in plain Python objects."""

from __future__ import annotations

from dataclasses import dataclass, field

from service.settings import MOST_ATTEMPTS
from service.stores.base import JobLimits, Lease, State, doublings


@dataclass
class ModelShard:
    """A part or a plan; ``token`` is that of the lease in force, "" for none."""

    payload: bytes
    epoch: int = 0
    failures: int = 0
    token: str = ""
    result: bytes | None = None

    @property
    def open(self) -> bool:
        return not self.token and self.result is None


@dataclass
class ModelJob:
    """One run of a job. ``order`` says which came first."""

    key: str
    run: int
    kind: str
    order: int
    askers: list[str]
    state: State = State.WAITING
    stage: int = 0
    dealt: int = 0
    shards: dict[int, ModelShard] = field(default_factory=lambda: {0: ModelShard(b"")})
    earlier: list[bytes] = field(default_factory=list)
    spent: float = 0.0
    progress: str = ""
    outcome: str = ""
    error: str = ""

    @property
    def recorded(self) -> int:
        return sum(shard.result is not None for shard in self.shards.values())

    @property
    def leases(self) -> int:
        return sum(bool(shard.token) for shard in self.shards.values())

    def seen(self) -> tuple[object, ...]:
        """What of it can be seen, but for its version and times."""
        counts = (self.stage, self.dealt, self.recorded)
        texts = (self.progress, self.outcome, self.error)
        return (self.run, self.kind, self.state, tuple(self.askers), *counts, *texts)

    def end(self, state: State, outcome: str = "", error: str = "") -> None:
        self.state, self.outcome, self.error = state, outcome, error
        self.shards = {}

    def plan_if_none_left(self) -> bool:
        if any(shard.result is None for shard in self.shards.values()):
            return False
        self.earlier = [
            shard.result for _, shard in sorted(self.shards.items()) if shard.result is not None
        ]
        self.stage, self.dealt, self.shards = self.stage + 1, 0, {0: ModelShard(b"")}
        return True

    def open_again(self, number: int, failed: str | None) -> bool:
        """Return whether it fails with that."""
        shard = self.shards[number]
        shard.token = ""
        if self.state is State.STOPPING and number:
            del self.shards[number]
            self.plan_if_none_left()
            return False
        shard.failures += failed is not None
        if failed is not None and shard.failures >= MOST_ATTEMPTS:
            self.end(State.FAILED, error=failed)
            return True
        shard.epoch += 1
        return False


class Model:
    """All jobs."""

    def __init__(self, limits: JobLimits) -> None:
        self.limits = limits
        self.jobs: dict[str, ModelJob] = {}
        self.spending = dict.fromkeys(["ann", "ben", "eve"], 0.0)
        self.count = 0
        self.lapsed = 0
        self.failed = 0

    def open(self) -> list[ModelJob]:
        return [job for job in self.jobs.values() if not job.state.over]

    def submit(self, key: str, kind: str, asker: str) -> bool:
        """Return whether it is allowed."""
        job = self.jobs.get(key)
        joins = job is not None and job.state in (State.WAITING, State.RUNNING)
        if job is not None and (job.state is State.DONE or (joins and asker in job.askers)):
            return True
        if sum(asker in other.askers for other in self.open()) >= self.limits.open_each:
            return False
        if not joins and len(self.open()) >= self.limits.open_all:
            return False
        if self.spending[asker] >= self.limits.spent_each:
            return False
        if job is not None and joins:
            job.askers.append(asker)
            return True
        self.count += 1
        self.jobs[key] = ModelJob(key, job.run + 1 if job else 1, kind, self.count, [asker])
        return True

    def stop(self, key: str, asker: str) -> None:
        job = self.jobs.get(key)
        if job is None or job.state.over or asker not in job.askers:
            return
        job.askers.remove(asker)
        if job.askers:
            return
        if job.state is State.WAITING:
            job.end(State.STOPPED)
            return
        job.state = State.STOPPING
        job.shards = {n: s for n, s in job.shards.items() if not (n and s.open)}
        job.plan_if_none_left()

    def line(self) -> list[tuple[str, int]]:
        """Return the open shards as they should be leased, as if each were leased in turn."""
        leases: dict[str, int] = {}
        for job in self.jobs.values():
            for asker in job.askers:
                leases[asker] = leases.get(asker, 0) + job.leases
        left = {
            job.key: sorted(n for n, shard in job.shards.items() if shard.open)
            for job in self.open()
        }

        def rank(key: str) -> tuple[int, int, int, int]:
            job = self.jobs[key]
            if job.state is State.STOPPING:
                return (0, 0, doublings(job.spent), job.order)
            fewest = min(leases[asker] for asker in job.askers)
            return (1, fewest, doublings(job.spent), job.order)

        found = []
        while any(left.values()):
            key = min((key for key in left if left[key]), key=rank)
            found.append((key, left[key].pop(0)))
            for asker in self.jobs[key].askers:
                leases[asker] += 1
        return found

    def held(self, lease: Lease) -> tuple[ModelJob, int] | None:
        """Return the job and the number of the shard that a lease in force is on."""
        for job in self.open():
            for number, shard in job.shards.items():
                if shard.token == lease.token:
                    return job, number
        return None

    def charge(self, job: ModelJob, spent: float) -> None:
        job.spent += spent
        for asker in job.askers:
            self.spending[asker] += spent

    def let_go(self, lease: Lease, reason: str | None) -> None:
        held = self.held(lease)
        if held is not None:
            job, number = held
            self.failed += job.open_again(number, reason)
