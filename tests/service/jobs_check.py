"""Stores held to the plain model of jobs: by hypothesis in short runs, by chance in long ones.

What workers and askers might do is done to a store and to the model, in any order and with leases
that are long over too; after every step all that can be seen is compared. Leases run out when the
check wants them to: renewing one for no time at all ends it, whatever clock the store has.
"""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, rule

from service.stores.base import JobLimits, Lease, Shard, Signal, State, Store, TooManyError
from tests.service.jobs_model import Model, ModelShard

LONG = 1000.0
#: So few that all are met in short runs; in long ones only the numbers of jobs are.
TIGHT, WIDE = JobLimits(3, 4, 100.0), JobLimits(3, 4, 1e6)
KEYS = ["k1", "k2", "k3", "k4", "k5"]
KINDS = ["find", "atlas"]
ASKERS = ["ann", "ben", "eve"]
#: Quarters are exact in binary and in microseconds.
SPENT = [0.0, 0.25, 1.5, 30.0]
RESULTS = [b"", b"\x00\xff", b"a", b"bc"]
#: What may be done under a lease, as often as it is to be.
STEPS = [
    *["go on"] * 6,
    *["lease"] * 4,
    *["renew", "lapse", "give back", "fail", "twice", "message", "old message", "stop"],
    *["mix up", "waiting", "done", "stopped", "failed"],
]


class JobsCheck:
    """A store, the model of what should be in it, and all leases that were given."""

    def __init__(self, store: Store, limits: JobLimits) -> None:
        self.store = store
        self.jobs = store.jobs
        self.model = Model(limits)
        self.leases: list[Lease] = []
        self.before: dict[str, tuple[int, tuple[object, ...]]] = {}

    def stop(self, key: str, asker: str) -> None:
        self.model.stop(key, asker)
        assert self.jobs.stop(key, asker) == self.jobs.job(key)

    def lease_only(self, which: int, older: bool) -> None:
        """As somebody does whom a message told, perhaps of an earlier time."""
        line = self.model.line()
        if not line:
            return
        key, number = line[which % len(line)]
        job = self.model.jobs[key]
        only = Shard(key, job.run, job.stage, number, job.shards[number].epoch - older)
        lease = self.jobs.lease("worker", LONG, only)
        assert (lease is None) == older
        if lease is not None:
            self.took(lease, key, number)

    def step(self, what: str, which: int, spent: float, parts: list[bytes]) -> None:
        """Do one of STEPS, under a lease that is mostly one in force; ``which`` chooses."""
        good = [lease for lease in self.leases if self.model.held(lease)]
        good = good if good and which % 6 else self.leases
        if what == "waiting":
            self.waiting(1 + which % 9)
        elif what in ("message", "old message"):
            self.lease_only(which, what == "old message")
        elif what == "lease" or not good:
            self.lease(1 + which % 2)
        else:
            self.work(good[-1 - which % len(good)], what, spent, parts)

    def work(self, lease: Lease, what: str, spent: float, parts: list[bytes]) -> None:
        """Do one of STEPS under a lease."""
        self.results(lease)
        if what in ("go on", "mix up"):
            if lease.shard.plans == (what == "go on"):
                self.plan(lease, spent, parts)
            else:
                self.record(lease, spent, parts[0])
        elif what == "renew":
            self.renew(lease, spent, '{"a":1}' if spent else "")
        elif what == "lapse":
            self.lapse(lease)
        elif what == "twice":
            self.lease_again(lease)
        elif what == "stop":
            for asker in list(self.model.jobs[lease.shard.job].askers):
                self.stop(lease.shard.job, asker)
        elif what in list(State):
            self.end(lease, State(what), spent)
        else:
            self.let_go(lease, spent, what == "fail")

    def lease(self, many: int) -> None:
        for _ in range(many):
            line = self.model.line()
            lease = self.jobs.lease("worker", LONG)
            if not line:
                assert lease is None
                return
            assert lease is not None
            self.took(lease, *line[0])

    def waiting(self, most: int) -> None:
        shards = self.jobs.waiting(most)
        expected = []
        for key, number in self.model.line()[:most]:
            job = self.model.jobs[key]
            epoch = job.shards[number].epoch
            expected.append(Shard(key, job.run, job.stage, number, epoch))
        assert shards == expected

    def submit(self, key: str, kind: str, asker: str) -> None:
        if self.model.submit(key, kind, asker):
            job = self.jobs.submit(key, kind, f"spec of {key}", asker, self.model.limits)
            assert job == self.jobs.job(key)
        else:
            with pytest.raises(TooManyError) as caught:
                self.jobs.submit(key, kind, f"spec of {key}", asker, self.model.limits)
            assert caught.value.retry_after > 0

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
        assert lease.spent == job.spent
        assert lease.token not in [other.token for other in self.leases]
        shard.token = lease.token
        self.leases.append(lease)

    def lease_again(self, lease: Lease) -> None:
        """A message that comes a second time gets nothing while the lease is in force."""
        shard = lease.shard
        job = self.model.jobs[shard.job]
        same = job.shards.get(shard.number)
        there = same is not None and same.open and same.epoch == shard.epoch
        there = there and (job.run, job.stage) == (shard.run, shard.stage)
        again = self.jobs.lease("worker", LONG, shard)
        assert (again is not None) == there
        if again is not None:
            self.took(again, shard.job, shard.number)

    def renew(self, lease: Lease, spent: float, progress: str) -> None:
        said = self.jobs.renew(lease, LONG, spent, progress)
        held = self.model.held(lease)
        if held is None:
            assert said is Signal.LOST
            return
        job, _ = held
        self.model.charge(job, spent)
        job.progress = progress or job.progress
        assert said is (Signal.STOP if job.state is State.STOPPING else Signal.GO_ON)

    def lapse(self, lease: Lease) -> None:
        held = self.model.held(lease)
        said = self.jobs.renew(lease, 0.0, 0.0)
        assert (said is Signal.LOST) == (held is None)
        self.jobs.waiting(1)
        if held is not None:
            self.model.lapsed += 1
            job = self.jobs.job(lease.shard.job)
            assert job is not None
            self.model.let_go(lease, job.error)

    def record(self, lease: Lease, spent: float, result: bytes) -> None:
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

    def plan(self, lease: Lease, spent: float, parts: list[bytes]) -> None:
        taken = self.jobs.plan(lease, parts, spent, '{"a":3}')
        held = self.model.held(lease)
        if held is None or held[1]:
            assert taken is Signal.LOST
            return
        job, _ = held
        self.model.charge(job, spent)
        job.progress = '{"a":3}'
        assert taken is (Signal.STOP if job.state is State.STOPPING else Signal.GO_ON)
        if job.state is not State.STOPPING:
            job.shards = {n: ModelShard(part) for n, part in enumerate(parts, 1)}
            job.dealt = len(parts)

    def end(self, lease: Lease, state: State, spent: float) -> None:
        taken = self.jobs.end(lease, state, '{"result":"x"}', "why", spent)
        held = self.model.held(lease)
        may = held is not None and (not held[1] or state is State.FAILED)
        assert taken == may
        if held is not None and may:
            self.model.charge(held[0], spent)
            held[0].end(state, '{"result":"x"}', "why")
            self.model.failed += state is State.FAILED

    def let_go(self, lease: Lease, spent: float, failed: bool) -> None:
        if failed:
            self.jobs.fail(lease, "it broke", spent)
        else:
            self.jobs.give_back(lease, spent)
        held = self.model.held(lease)
        if held is not None:
            self.model.charge(held[0], spent)
            self.model.let_go(lease, "it broke" if failed else None)

    def results(self, lease: Lease) -> None:
        held = self.model.held(lease)
        expected = held[0].earlier if held is not None and not held[1] else []
        assert self.jobs.results(lease) == expected

    def agrees(self) -> None:
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
            spec = "" if model.state.over else f"spec of {key}"
            assert (job.key, job.spec) == (key, spec)
            assert job.spent == model.spent
            assert (job.ended > 0) == job.state.over
            assert (job.began > 0) or job.state in (State.WAITING, State.STOPPED)
            version, last = self.before.get(key, (0, ()))
            if seen == last:
                assert job.version == version
            else:
                assert job.version > version
            self.before[key] = (job.version, seen)
        figures = self.jobs.figures()
        jobs = self.model.open()
        assert figures.jobs_open == len(jobs)
        assert figures.shards_leased == sum(job.leases for job in jobs)
        assert figures.shards_open == len(self.model.line())
        assert (figures.lapsed, figures.failed) == (self.model.lapsed, self.model.failed)
        assert figures.oldest >= 0


def machine(make: Callable[[], Store]) -> type[RuleBasedStateMachine]:
    """Return a machine that works on stores which ``make`` gives, empty each time."""

    class JobsMachine(RuleBasedStateMachine):
        # Few rules, each with a choice of its own: hypothesis leaves out whole rules in most runs.

        @initialize()
        def begin(self) -> None:
            self.check = JobsCheck(make(), TIGHT)

        @rule(key=st.sampled_from(KEYS), kind=st.sampled_from(KINDS), asker=st.sampled_from(ASKERS))
        def submit(self, key: str, kind: str, asker: str) -> None:
            self.check.submit(key, kind, asker)
            self.check.agrees()

        @rule(
            what=st.sampled_from(STEPS),
            which=st.integers(0, 50),
            spent=st.sampled_from(SPENT),
            parts=st.lists(st.sampled_from(RESULTS), min_size=1, max_size=4),
        )
        def step(self, what: str, which: int, spent: float, parts: list[bytes]) -> None:
            self.check.step(what, which, spent, parts)
            self.check.agrees()

        def teardown(self) -> None:
            if hasattr(self, "check"):
                self.check.store.close()

    return JobsMachine


def walk(store: Store, seed: int, steps: int) -> None:
    """Do so many steps by chance."""
    chance = random.Random(seed)
    check = JobsCheck(store, WIDE)
    for _ in range(steps):
        if chance.random() < 0.2:
            check.submit(*(chance.choice(names) for names in (KEYS, KINDS, ASKERS)))
        elif chance.random() < 0.1:
            check.stop(chance.choice(KEYS), chance.choice(ASKERS))
        else:
            parts = chance.choices(RESULTS, k=chance.randint(1, 4))
            check.step(chance.choice(STEPS), chance.randrange(50), chance.choice(SPENT), parts)
        check.agrees()
