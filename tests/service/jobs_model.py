"""What a store's jobs should do, in plain Python objects, and a machine that holds stores to it.

The machine does what workers and askers might, in any order, with leases that are long over too,
and after every step compares all that can be seen. Leases run out when it wants them to: renewing
one for no time at all ends it, whatever clock the store has.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import pytest
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from service.settings import MOST_ATTEMPTS
from service.stores.base import (
    JobLimits,
    Lease,
    Shard,
    Signal,
    State,
    Store,
    TooManyError,
    doublings,
)

LIMITS = JobLimits(open_each=3, open_all=4, spent_each=200.0)
KEYS = st.sampled_from(["k1", "k2", "k3", "k4", "k5"])
ASKERS = st.sampled_from(["ann", "ben", "eve"])
#: Quarters are exact in binary and in microseconds.
SPENT = st.sampled_from([0.0, 0.25, 1.5, 30.0])
LONG = 1000.0
NOT_OVER = (State.WAITING, State.RUNNING, State.STOPPING)


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

    def __init__(self) -> None:
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
        if sum(asker in other.askers for other in self.open()) >= LIMITS.open_each:
            return False
        if not joins and len(self.open()) >= LIMITS.open_all:
            return False
        if self.spending[asker] >= LIMITS.spent_each:
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


def machine(make: Callable[[], Store]) -> type[RuleBasedStateMachine]:
    """Return a machine that works on stores which ``make`` gives, empty each time."""

    class JobsMachine(RuleBasedStateMachine):
        @initialize()
        def begin(self) -> None:
            self.store = make()
            self.jobs = self.store.jobs
            self.model = Model()
            self.leases: list[Lease] = []
            self.before: dict[str, tuple[int, tuple[object, ...]]] = {}

        def some(self, data: st.DataObject) -> Lease | None:
            """A lease that was given, rather one of the last."""
            if not self.leases:
                return None
            at = data.draw(st.integers(0, len(self.leases) - 1))
            return self.leases[-1 - at]

        def took(self, lease: Lease, key: str, number: int) -> None:
            job = self.model.jobs[key]
            shard = job.shards[number]
            assert shard.open
            if job.state is State.WAITING:
                job.state = State.RUNNING
            assert lease.shard == Shard(key, job.run, job.stage, number, shard.epoch)
            assert (lease.kind, lease.spec) == (job.kind, f"spec of {key}")
            assert lease.payload == shard.payload
            assert lease.attempt == shard.failures + 1
            assert lease.expires == pytest.approx(lease.now + LONG)
            assert 0 < lease.began <= lease.now
            assert lease.token not in [other.token for other in self.leases]
            shard.token = lease.token
            self.leases.append(lease)

        @rule(key=KEYS, asker=ASKERS, kind=st.sampled_from(["find", "atlas"]))
        def submit(self, key: str, asker: str, kind: str) -> None:
            if self.model.submit(key, kind, asker):
                job = self.jobs.submit(key, kind, f"spec of {key}", asker, LIMITS)
                assert job == self.jobs.job(key)
            else:
                with pytest.raises(TooManyError) as caught:
                    self.jobs.submit(key, kind, f"spec of {key}", asker, LIMITS)
                assert caught.value.retry_after > 0

        @rule(key=KEYS, asker=ASKERS)
        def stop(self, key: str, asker: str) -> None:
            self.model.stop(key, asker)
            assert self.jobs.stop(key, asker) == self.jobs.job(key)

        @rule(many=st.integers(1, 3))
        def lease(self, many: int) -> None:
            for _ in range(many):
                line = self.model.line()
                lease = self.jobs.lease("worker", LONG)
                if not line:
                    assert lease is None
                    return
                assert lease is not None
                self.took(lease, *line[0])

        @rule(data=st.data(), older=st.sampled_from([0, 0, 1]))
        def lease_only(self, data: st.DataObject, older: int) -> None:
            """As somebody does whom a message told, perhaps of an earlier time."""
            line = self.model.line()
            if not line:
                return
            key, number = data.draw(st.sampled_from(line))
            job = self.model.jobs[key]
            only = Shard(key, job.run, job.stage, number, job.shards[number].epoch - older)
            lease = self.jobs.lease("worker", LONG, only)
            if older:
                assert lease is None
            else:
                assert lease is not None
                self.took(lease, key, number)

        @rule(data=st.data())
        def lease_again(self, data: st.DataObject) -> None:
            """A message that comes a second time gets nothing while the lease is in force."""
            lease = self.some(data)
            if lease is None:
                return
            shard = lease.shard
            job = self.model.jobs[shard.job]
            same = job.shards.get(shard.number)
            there = same is not None and same.open and same.epoch == shard.epoch
            there = there and (job.run, job.stage) == (shard.run, shard.stage)
            again = self.jobs.lease("worker", LONG, shard)
            assert (again is not None) == there
            if again is not None:
                self.took(again, shard.job, shard.number)

        @rule(data=st.data(), spent=SPENT, progress=st.sampled_from(["", '{"a":1}', '{"a":2}']))
        def renew(self, data: st.DataObject, spent: float, progress: str) -> None:
            lease = self.some(data)
            if lease is None:
                return
            said = self.jobs.renew(lease, LONG, spent, progress)
            held = self.model.held(lease)
            if held is None:
                assert said is Signal.LOST
                return
            job, _ = held
            self.model.charge(job, spent)
            job.progress = progress or job.progress
            assert said is (Signal.STOP if job.state is State.STOPPING else Signal.GO_ON)

        @rule(data=st.data())
        def lapse(self, data: st.DataObject) -> None:
            lease = self.some(data)
            if lease is None:
                return
            held = self.model.held(lease)
            said = self.jobs.renew(lease, 0.0, 0.0)
            assert (said is Signal.LOST) == (held is None)
            self.jobs.waiting(1)
            if held is not None:
                self.model.lapsed += 1
                job = self.jobs.job(lease.shard.job)
                assert job is not None
                self.model.let_go(lease, job.error)

        @rule(data=st.data(), spent=SPENT, result=st.binary(max_size=3))
        def record(self, data: st.DataObject, spent: float, result: bytes) -> None:
            lease = self.some(data)
            if lease is None:
                return
            plan = self.jobs.record(lease, result, spent, LONG)
            held = self.model.held(lease)
            if held is None or not held[1]:
                assert plan is None
                return
            job, number = held
            self.model.charge(job, spent)
            job.shards[number].token, job.shards[number].result = "", result
            if job.plan_if_none_left():
                assert plan is not None
                self.took(plan, job.key, 0)
            else:
                assert plan is None

        @rule(data=st.data(), spent=SPENT, parts=st.lists(st.binary(max_size=3), max_size=4))
        def plan(self, data: st.DataObject, spent: float, parts: list[bytes]) -> None:
            lease = self.some(data)
            if lease is None or not parts:
                return
            taken = self.jobs.plan(lease, parts, spent, '{"a":3}')
            held = self.model.held(lease)
            assert taken == (held is not None and not held[1])
            if held is None or held[1]:
                return
            job, _ = held
            self.model.charge(job, spent)
            job.progress = '{"a":3}'
            if job.state is State.STOPPING:
                job.shards = {}
                job.plan_if_none_left()
            else:
                job.shards = {n: ModelShard(part) for n, part in enumerate(parts, 1)}
                job.dealt = len(parts)

        @rule(
            data=st.data(),
            state=st.sampled_from([State.DONE, State.STOPPED, State.FAILED]),
            spent=SPENT,
        )
        def end(self, data: st.DataObject, state: State, spent: float) -> None:
            lease = self.some(data)
            if lease is None:
                return
            taken = self.jobs.end(lease, state, '{"result":"x"}', "why", spent)
            held = self.model.held(lease)
            may = held is not None and (not held[1] or state is State.FAILED)
            assert taken == may
            if held is not None and may:
                self.model.charge(held[0], spent)
                held[0].end(state, '{"result":"x"}', "why")
                self.model.failed += state is State.FAILED

        @rule(data=st.data(), spent=SPENT, failed=st.booleans())
        def let_go(self, data: st.DataObject, spent: float, failed: bool) -> None:
            lease = self.some(data)
            if lease is None:
                return
            if failed:
                self.jobs.fail(lease, "it broke", spent)
            else:
                self.jobs.give_back(lease, spent)
            held = self.model.held(lease)
            if held is not None:
                self.model.charge(held[0], spent)
                self.model.let_go(lease, "it broke" if failed else None)

        @rule(data=st.data())
        def results(self, data: st.DataObject) -> None:
            lease = self.some(data)
            if lease is None:
                return
            held = self.model.held(lease)
            expected = held[0].earlier if held is not None and not held[1] else []
            assert self.jobs.results(lease) == expected

        @rule(most=st.integers(1, 9))
        def waiting(self, most: int) -> None:
            shards = self.jobs.waiting(most)
            expected = []
            for key, number in self.model.line()[:most]:
                job = self.model.jobs[key]
                epoch = job.shards[number].epoch
                expected.append(Shard(key, job.run, job.stage, number, epoch))
            assert shards == expected

        @invariant()
        def agrees(self) -> None:
            if not hasattr(self, "model"):
                return
            for key, model in self.model.jobs.items():
                job = self.jobs.job(key)
                assert job is not None
                counts = (job.stage, job.shards, job.recorded)
                texts = (job.progress, job.outcome, job.error)
                seen = (job.run, job.kind, job.state, job.askers, *counts, *texts)
                if model.state.over:
                    # How far it was when it ended may be said or not.
                    assert seen[:4] + seen[7:] == model.seen()[:4] + model.seen()[7:]
                else:
                    assert seen == model.seen()
                assert (job.key, job.spec) == (key, f"spec of {key}")
                assert job.spent == model.spent
                assert (job.ended > 0) == job.state.over
                assert (job.began > 0) or job.state in (State.WAITING, State.STOPPED)
                version, last = self.before.get(key, (0, ()))
                if seen == last:
                    assert job.version == version
                else:
                    assert job.version > version
                self.before[key] = (job.version, seen)

        @invariant()
        def counts(self) -> None:
            if not hasattr(self, "model"):
                return
            figures = self.jobs.figures()
            jobs = self.model.open()
            assert figures.jobs_open == len(jobs)
            assert figures.shards_leased == sum(job.leases for job in jobs)
            assert figures.shards_open == len(self.model.line())
            assert (figures.lapsed, figures.failed) == (self.model.lapsed, self.model.failed)
            assert figures.oldest >= 0

        def teardown(self) -> None:
            if hasattr(self, "store"):
                self.store.close()

    return JobsMachine
