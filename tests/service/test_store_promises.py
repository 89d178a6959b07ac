"""What every store promises (``service.stores.base``), held against each kind of store."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TypeVar

import pytest
from hypothesis import HealthCheck, settings
from hypothesis.stateful import run_state_machine_as_test

from service.settings import EVICTED, MOST_ATTEMPTS
from service.stores.base import (
    JobLimits,
    Jobs,
    Role,
    Shard,
    Signal,
    State,
    TooManyError,
)
from tests.service.jobs_check import machine, walk
from tests.service.stores import STORES, Place

ROOT = Path(__file__).parents[2]
PLENTY = JobLimits(open_each=100, open_all=100, spent_each=1e6)
#: A lease, or a worker's word, that soon runs out, in seconds.
SHORT = 0.1

Value = TypeVar("Value")


@pytest.fixture(params=sorted(STORES))
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Place]:
    with STORES[request.param](tmp_path) as place:
        yield place


def given(value: Value | None) -> Value:
    """Return what is not None."""
    assert value is not None
    return value


def planned(jobs: Jobs, key: str, asker: str, parts: list[bytes]) -> None:
    """Submit a job and deal its parts."""
    jobs.submit(key, "find", "{}", asker, PLENTY)
    plan = given(jobs.lease("planner", 60, Shard(key, 1, 0, 0, 0)))
    assert jobs.plan(plan, parts, 0.0, "") is Signal.GO_ON


def test_jobs_do_what_a_plain_model_of_them_does(place: Place) -> None:
    """Short runs that hypothesis makes shorter still where one fails."""
    run_state_machine_as_test(
        machine(place.empty),
        settings=settings(
            max_examples=20,
            stateful_step_count=30,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )


@pytest.mark.parametrize("seed", range(3))
def test_jobs_do_what_the_model_does_for_a_long_while(place: Place, seed: int) -> None:
    walk(place.empty(), seed, steps=400)


# --- Jobs ---------------------------------------------------------------------------------------


def test_what_one_object_submits_another_sees(place: Place) -> None:
    first, second = place.open(), place.open()
    job = first.jobs.submit("k", "find", '{"x":1}', "ann", PLENTY)
    assert second.jobs.job("k") == job
    assert (job.run, job.state, job.askers) == (1, State.WAITING, ("ann",))
    assert second.jobs.job("other") is None
    assert second.jobs.stop("other", "ann") is None
    assert first.missing() == []


def test_a_job_from_question_to_outcome(place: Place) -> None:
    jobs = place.open().jobs
    jobs.submit("k", "find", '{"x":1}', "ann", PLENTY)
    plan = given(jobs.lease("w", 60))
    assert (plan.shard, plan.payload, plan.attempt) == (Shard("k", 1, 0, 0, 0), b"", 1)
    assert jobs.lease("w", 60) is None
    assert jobs.results(plan) == []
    assert jobs.plan(plan, [b"p1", b"p2", b"p3"], 0.5, '{"step":"a"}') is Signal.GO_ON
    leases = [given(jobs.lease("w", 60)) for _ in range(3)]
    assert [(lease.shard.number, lease.payload) for lease in leases] == [
        (1, b"p1"),
        (2, b"p2"),
        (3, b"p3"),
    ]
    assert jobs.record(leases[2], b"r3", 0.25, 60) is None
    assert jobs.record(leases[0], b"r1", 0.25, 60) is None
    assert given(jobs.job("k")).recorded == 2
    last = given(jobs.record(leases[1], b"r2", 0.25, 60))
    assert last.shard == Shard("k", 1, 1, 0, 0)
    assert jobs.results(last) == [b"r1", b"r2", b"r3"]
    assert jobs.end(last, State.DONE, '{"result":"d"}', "", 0.75)
    job = given(jobs.job("k"))
    assert (job.state, job.outcome, job.progress) == (State.DONE, '{"result":"d"}', '{"step":"a"}')
    assert job.spent == pytest.approx(2.0)
    assert job.created <= job.began <= job.ended
    assert jobs.submit("k", "find", '{"x":1}', "ben", PLENTY) == job
    assert jobs.lease("w", 60) is None


def test_a_result_is_taken_once(place: Place) -> None:
    jobs = place.open().jobs
    planned(jobs, "k", "ann", [b"p1", b"p2"])
    lease = given(jobs.lease("w", 60))
    assert jobs.record(lease, b"first", 1.0, 60) is None
    assert jobs.record(lease, b"second", 1.0, 60) is None
    jobs.fail(lease, "late", 1.0)
    jobs.give_back(lease, 1.0)
    assert jobs.renew(lease, 60, 1.0) is Signal.LOST
    job = given(jobs.job("k"))
    assert (job.recorded, job.spent) == (1, 1.0)
    plan = given(jobs.record(given(jobs.lease("w", 60)), b"other", 0.0, 60))
    assert jobs.results(plan) == [b"first", b"other"]


def test_a_lease_that_runs_out_goes_to_somebody_else(place: Place) -> None:
    jobs = place.open().jobs
    jobs.submit("k", "find", "{}", "ann", PLENTY)
    old = given(jobs.lease("w1", SHORT))
    assert jobs.lease("w2", 60) is None
    place.pass_time(SHORT * 1.2)
    assert jobs.renew(old, 60, 0.0) is Signal.LOST
    assert [shard.epoch for shard in jobs.waiting(9)] == [1]
    new = given(jobs.lease("w2", 60))
    assert (new.attempt, new.shard.epoch) == (2, 1)
    assert jobs.plan(old, [b"p"], 0.0, "") is Signal.LOST
    assert not jobs.end(old, State.DONE, "{}", "", 0.0)
    assert jobs.plan(new, [b"p"], 0.0, "") is Signal.GO_ON
    assert jobs.figures().lapsed == 1


def test_a_lease_that_is_renewed_does_not_run_out(place: Place) -> None:
    jobs = place.open().jobs
    jobs.submit("k", "find", "{}", "ann", PLENTY)
    lease = given(jobs.lease("w1", 0.3))
    for _ in range(3):
        place.pass_time(0.15)
        assert jobs.renew(lease, 0.3, 0.0) is Signal.GO_ON
    assert jobs.lease("w2", 60) is None


@pytest.mark.parametrize("how", ["lapse", "fail"])
def test_the_third_failure_ends_a_job_with_an_error(place: Place, how: str) -> None:
    jobs = place.open().jobs
    planned(jobs, "k", "ann", [b"p1", b"p2"])
    other = given(jobs.lease("w", 60))
    for attempt in range(1, MOST_ATTEMPTS + 1):
        assert given(jobs.job("k")).state is State.RUNNING
        lease = given(jobs.lease("w", 60))
        assert (lease.payload, lease.attempt) == (b"p2", attempt)
        if how == "fail":
            jobs.fail(lease, "it is broken", 0.0)
        else:
            jobs.renew(lease, 0.0, 0.0)
            jobs.waiting(1)
    job = given(jobs.job("k"))
    assert job.state is State.FAILED
    assert job.error == "it is broken" if how == "fail" else str(MOST_ATTEMPTS) in job.error
    assert jobs.renew(other, 60, 0.0) is Signal.LOST
    assert jobs.lease("w", 60) is None
    assert jobs.figures().failed == 1
    again = jobs.submit("k", "find", "{}", "ann", PLENTY)
    assert (again.run, again.state, again.error) == (2, State.WAITING, "")
    assert given(jobs.lease("w", 60)).attempt == 1


def test_what_is_given_back_was_not_tried(place: Place) -> None:
    jobs = place.open().jobs
    jobs.submit("k", "find", "{}", "ann", PLENTY)
    for epoch in range(MOST_ATTEMPTS + 2):
        lease = given(jobs.lease("w", 60))
        assert (lease.attempt, lease.shard.epoch) == (1, epoch)
        jobs.give_back(lease, 0.0)


def test_a_message_about_an_earlier_time_gets_nothing(place: Place) -> None:
    jobs = place.open().jobs
    jobs.submit("k", "find", "{}", "ann", PLENTY)
    [message] = jobs.waiting(5)
    lease = given(jobs.lease("w", 60, message))
    assert jobs.lease("w", 60, message) is None
    jobs.give_back(lease, 0.0)
    assert jobs.lease("w", 60, message) is None
    [message] = jobs.waiting(5)
    lease = given(jobs.lease("w", 60, message))
    jobs.plan(lease, [b"p"], 0.0, "")
    assert jobs.lease("w", 60, message) is None
    assert jobs.lease("w", 60, Shard("other", 1, 0, 0, 0)) is None
    assert [(shard.stage, shard.number) for shard in jobs.waiting(5)] == [(0, 1)]


def test_a_plan_of_a_job_that_is_to_stop_keeps_what_it_was_given(place: Place) -> None:
    jobs = place.open().jobs
    planned(jobs, "k", "ann", [b"p1", b"p2"])
    leases = [given(jobs.lease("w", 60)) for _ in range(2)]
    jobs.record(leases[0], b"r1", 0.0, 60)
    plan = given(jobs.record(leases[1], b"r2", 0.0, 60))
    jobs.stop("k", "ann")
    assert jobs.plan(plan, [b"p3"], 0.5, '{"step":"b"}') is Signal.STOP
    job = given(jobs.job("k"))
    assert (job.state, job.stage, job.spent) == (State.STOPPING, 1, 0.5)
    assert jobs.waiting(9) == []
    # Where who has it leaves, another one has it all.
    jobs.give_back(plan, 0.0)
    plan = given(jobs.lease("w2", 60))
    assert jobs.results(plan) == [b"r1", b"r2"]
    assert jobs.end(plan, State.STOPPED, '{"result":"d"}', "", 0.0)
    assert given(jobs.job("k")).outcome == '{"result":"d"}'


def test_a_job_that_nobody_began_is_stopped_at_once(place: Place) -> None:
    jobs = place.open().jobs
    jobs.submit("k", "find", "{}", "ann", PLENTY)
    jobs.submit("k", "find", "{}", "ben", PLENTY)
    assert given(jobs.stop("k", "eve")).askers == ("ann", "ben")
    assert given(jobs.stop("k", "ann")).state is State.WAITING
    job = given(jobs.stop("k", "ben"))
    assert (job.state, job.outcome, job.askers) == (State.STOPPED, "", ())
    assert job.ended > 0
    assert jobs.stop("k", "ben") == job
    assert jobs.lease("w", 60) is None


def test_a_stopped_job_keeps_what_was_found(place: Place) -> None:
    jobs = place.open().jobs
    planned(jobs, "k", "ann", [b"p1", b"p2", b"p3"])
    first, second = given(jobs.lease("w", 60)), given(jobs.lease("w", 60))
    jobs.record(first, b"r1", 0.0, 60)
    assert given(jobs.stop("k", "ann")).state is State.STOPPING
    assert jobs.renew(second, 60, 0.0) is Signal.STOP
    # The third part was open and is dropped.
    plan = given(jobs.record(second, b"half of r2", 0.0, 60))
    assert plan.shard.plans
    assert jobs.results(plan) == [b"r1", b"half of r2"]
    assert jobs.renew(plan, 60, 0.0) is Signal.STOP
    assert jobs.end(plan, State.STOPPED, '{"result":"d"}', "", 0.0)
    job = given(jobs.job("k"))
    assert (job.state, job.outcome) == (State.STOPPED, '{"result":"d"}')
    again = jobs.submit("k", "find", "{}", "ben", PLENTY)
    assert (again.run, again.state, again.outcome) == (2, State.WAITING, "")
    assert again.version > job.version


def test_a_stopping_job_that_is_wanted_again_begins_anew(place: Place) -> None:
    jobs = place.open().jobs
    planned(jobs, "k", "ann", [b"p1", b"p2"])
    old = given(jobs.lease("w", 60))
    jobs.stop("k", "ann")
    again = jobs.submit("k", "find", "{}", "ann", PLENTY)
    assert (again.run, again.state, again.stage) == (2, State.WAITING, 0)
    assert jobs.renew(old, 60, 0.0) is Signal.LOST
    assert jobs.record(old, b"r", 0.0, 60) is None
    assert given(jobs.lease("w", 60)).shard == Shard("k", 2, 0, 0, 0)


def test_an_error_that_nothing_mends_ends_a_job_from_a_part(place: Place) -> None:
    jobs = place.open().jobs
    planned(jobs, "k", "ann", [b"p1", b"p2"])
    part = given(jobs.lease("w", 60))
    assert not jobs.end(part, State.DONE, "{}", "", 0.0)
    assert jobs.end(part, State.FAILED, "", "it cannot be", 0.0)
    assert given(jobs.job("k")).error == "it cannot be"


def test_askers_take_turns_and_short_jobs_go_before_long_ones(place: Place) -> None:
    jobs = place.open().jobs
    for key in ("a1", "a2", "a3"):
        planned(jobs, key, "ann", [b"p"] * 4)
    planned(jobs, "b1", "ben", [b"p"] * 4)
    order = [shard.job for shard in jobs.waiting(8)]
    # The one with the fewest leases, of equal ones the older job.
    assert order == ["a1", "b1", "a1", "b1", "a1", "b1", "a1", "b1"]
    leases = [given(jobs.lease("w", 60)) for _ in range(4)]
    assert [lease.shard.job for lease in leases] == order[:4]
    jobs.renew(leases[0], 60, 5.0)
    for lease in leases:
        jobs.give_back(lease, 0.0)
    # Five seconds were spent on a1, nothing on the others.
    assert [shard.job for shard in jobs.waiting(4)] == ["a2", "b1", "a2", "b1"]


def test_a_shared_job_goes_by_the_asker_with_the_fewest_leases(place: Place) -> None:
    jobs = place.open().jobs
    planned(jobs, "own", "ann", [b"p"] * 4)
    planned(jobs, "both", "ann", [b"p"] * 4)
    assert given(jobs.lease("w", 60)).shard.job == "own"
    jobs.submit("both", "find", "{}", "ben", PLENTY)
    assert given(jobs.lease("w", 60)).shard.job == "both"
    # Now ann has two leases and ben one.
    assert [shard.job for shard in jobs.waiting(3)] == ["both", "both", "both"]
    jobs.submit("bens", "find", "{}", "ben", PLENTY)
    jobs.submit("eves", "find", "{}", "eve", PLENTY)
    assert given(jobs.lease("w", 60)).shard.job == "eves"


def test_stopping_jobs_are_put_together_first(place: Place) -> None:
    jobs = place.open().jobs
    planned(jobs, "other", "ben", [b"p"] * 3)
    planned(jobs, "k", "ann", [b"p"])
    jobs.stop("k", "ann")
    assert [shard.job for shard in jobs.waiting(2)] == ["k", "other"]
    assert given(jobs.lease("w", 60)).shard == Shard("k", 1, 1, 0, 0)


def test_limits_are_said_in_a_sentence(place: Place) -> None:
    jobs = place.open().jobs
    limits = JobLimits(open_each=2, open_all=3, spent_each=10.0)
    jobs.submit("k1", "find", "{}", "ann", limits)
    jobs.submit("k2", "find", "{}", "ann", limits)
    with pytest.raises(TooManyError, match="2") as caught:
        jobs.submit("k3", "find", "{}", "ann", limits)
    assert caught.value.retry_after > 0
    assert jobs.job("k3") is None
    # What is there already may be asked for again.
    assert jobs.submit("k1", "find", "{}", "ann", limits).askers == ("ann",)
    jobs.submit("k3", "find", "{}", "ben", limits)
    with pytest.raises(TooManyError, match="3"):
        jobs.submit("k4", "find", "{}", "ben", limits)
    # Joining is no job more.
    assert jobs.submit("k1", "find", "{}", "ben", limits).askers == ("ann", "ben")
    jobs.stop("k2", "ann")
    assert jobs.submit("k4", "find", "{}", "ann", limits).state is State.WAITING


def test_computing_is_limited_by_the_hour(place: Place) -> None:
    jobs = place.open().jobs
    limits = JobLimits(open_each=9, open_all=9, spent_each=10.0)
    jobs.submit("k1", "find", "{}", "ann", limits)
    jobs.submit("k1", "find", "{}", "ben", limits)
    lease = given(jobs.lease("w", 10_000))
    jobs.renew(lease, 10_000, 6.0)
    jobs.submit("k2", "find", "{}", "ann", limits)
    jobs.end(lease, State.DONE, "{}", "", 4.5)
    for asker in ("ann", "ben"):
        with pytest.raises(TooManyError) as caught:
            jobs.submit("k3", "find", "{}", asker, limits)
        assert 0 < caught.value.retry_after <= 3700
    jobs.submit("k3", "find", "{}", "eve", limits)
    if place.jumps:
        place.pass_time(3700)
        jobs.submit("k4", "find", "{}", "ann", limits)


def test_who_is_there_and_what_waits_is_counted(place: Place) -> None:
    jobs = place.open().jobs
    jobs.present("w1", 60)
    jobs.present("w2", SHORT)
    jobs.present("w3", 60)
    assert jobs.figures().workers == 3
    jobs.present("w3", 0)
    place.pass_time(SHORT * 1.2)
    assert jobs.figures().workers == 1
    planned(jobs, "k", "ann", [b"p"] * 3)
    given(jobs.lease("w1", 60))
    place.pass_time(SHORT)
    figures = jobs.figures()
    assert (figures.jobs_open, figures.shards_open, figures.shards_leased) == (1, 2, 1)
    assert SHORT <= figures.oldest < SHORT + 30


def test_jobs_that_are_over_make_room(place: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    for module in ("sqlite_shards", "redis_jobs"):
        monkeypatch.setattr(f"service.stores.{module}.MOST_JOBS", 3)
    jobs = place.open().jobs
    for key in ("k1", "k2", "k3", "k4", "k5"):
        jobs.submit(key, "find", "{}", "ann", PLENTY)
        if key != "k1":
            place.pass_time(0.002)
            jobs.end(given(jobs.lease("w", 60, Shard(key, 1, 0, 0, 0))), State.DONE, "{}", "", 0.0)
    jobs.submit("k6", "find", "{}", "ann", PLENTY)
    there = [key for key in ("k1", "k2", "k3", "k4", "k5", "k6") if jobs.job(key) is not None]
    assert there == ["k1", "k5", "k6"]


def test_a_thousand_parts_and_large_results(place: Place) -> None:
    jobs = place.open().jobs
    planned(jobs, "k", "ann", [b"%d" % number for number in range(1000)])
    assert given(jobs.job("k")).shards == 1000
    first = given(jobs.lease("w", 60))
    assert first.payload == b"0"
    planned(jobs, "large", "ben", [bytes(2_000_000)])
    large = given(jobs.lease("w", 60))
    assert large.payload == bytes(2_000_000)
    plan = given(jobs.record(large, bytes(range(256)) * 8000, 0.0, 60))
    assert jobs.results(plan) == [bytes(range(256)) * 8000]


def test_threads_share_a_store(place: Place) -> None:
    jobs = place.open().jobs
    planned(jobs, "k", "ann", [b"%d" % number for number in range(60)])

    def work(worker: int) -> list[int]:
        done = []
        while True:
            lease = jobs.lease(f"w{worker}", 60)
            if lease is None:
                return done
            if lease.shard.plans:
                return [*done, 0]
            jobs.record(lease, lease.payload, 0.0, 60)
            done.append(lease.shard.number)

    with ThreadPoolExecutor(4) as pool:
        done = [number for numbers in pool.map(work, range(4)) for number in numbers]
    assert sorted(number for number in done if number) == list(range(1, 61))
    assert given(jobs.job("k")).stage == 1


def test_processes_never_get_the_same_shard(place: Place, tmp_path: Path) -> None:
    """Four processes race for all shards; what each got and was taken is written down."""
    jobs = place.open().jobs
    parts = 120
    for key, asker in (("k1", "ann"), ("k2", "ben")):
        planned(jobs, key, asker, [b"%d" % number for number in range(1, parts + 1)])
    program = [sys.executable, "-m", "tests.service.store_racer", place.address]
    racers = [
        subprocess.Popen([*program, f"w{n}"], stdout=subprocess.PIPE, text=True, cwd=ROOT)
        for n in range(4)
    ]
    lines = [racer.communicate(timeout=60)[0].splitlines() for racer in racers]
    assert [racer.returncode for racer in racers] == [0] * 4
    done = sorted(line for some in lines for line in some if line.startswith("part"))
    assert done == sorted(f"part {key} {n}" for key in ("k1", "k2") for n in range(1, parts + 1))
    plans = [line for some in lines for line in some if line.startswith("plan")]
    assert sorted(plans) == [f"plan k1 {parts}", f"plan k2 {parts}"]
    assert given(jobs.job("k1")).state is given(jobs.job("k2")).state is State.DONE
    assert jobs.figures().lapsed == 0


# --- Levels -------------------------------------------------------------------------------------


def test_a_level_is_there_after_it_was_put(place: Place) -> None:
    levels = place.open().levels
    assert levels.numbers("a") == []
    assert levels.get("a", 3) is None
    levels.put("a", 10, b"ten")
    levels.put("a", 9, b"\x00nine\xff")
    levels.put("b", 4, b"")
    other = place.open().levels
    assert other.numbers("a") == [9, 10]
    assert other.get("a", 9) == b"\x00nine\xff"
    assert other.get("b", 4) == b""
    assert other.get("a", 4) is None


def test_a_level_has_one_result(place: Place) -> None:
    levels = place.open().levels
    levels.put("a", 3, b"first")
    levels.put("a", 3, b"second")
    assert levels.get("a", 3) == b"first"


# --- Things -------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["result", EVICTED[0]])
def test_a_thing_is_put_once(place: Place, kind: str) -> None:
    things = place.open().things
    assert things.get(kind, "a") is None
    assert things.put(kind, "a", bytes(range(256)))
    assert not things.put(kind, "a", b"other")
    assert things.get(kind, "a") == bytes(range(256))
    assert things.get("other", "a") is None
    assert place.open().things.get(kind, "a") == bytes(range(256))
    things.remove(kind, "a")
    things.remove(kind, "a")
    assert things.get(kind, "a") is None
    assert things.put(kind, "a", b"")
    assert things.get(kind, "a") == b""


def test_things_are_counted_and_listed_newest_first(place: Place) -> None:
    things = place.open().things
    for name in ("b", "a", "c"):
        things.put("puzzle", name, b"x")
    things.put("puzzle", "b", b"y")
    things.put("result", "d", b"x")
    assert things.count("puzzle") == 3
    assert things.count("nothing") == 0
    assert things.names("puzzle", 2) == ["c", "a"]
    assert things.names("puzzle", 9) == ["c", "a", "b"]
    assert things.names("nothing", 9) == []


# --- Clubs --------------------------------------------------------------------------------------

HASHES = {Role.READ: "r", Role.ADD: "a", Role.KEEP: "k"}


def test_a_club_is_entered_by_its_links(place: Place) -> None:
    clubs = place.open().clubs
    clubs.found("1", "Turners", HASHES)
    for role, hashed in HASHES.items():
        club, allowed = given(place.open().clubs.entered(hashed))
        assert (club.number, club.name, club.roles) == ("1", "Turners", tuple(Role))
        assert allowed is role
    assert clubs.entered("1") is None
    assert clubs.entered("") is None
    with pytest.raises(ValueError, match="number"):
        clubs.found("1", "Others", {Role.KEEP: "x"})
    assert clubs.entered("x") is None
    clubs.rename("1", "Twisters <&>")
    assert given(clubs.entered("r"))[0].name == "Twisters <&>"


def test_a_link_that_is_replaced_opens_nothing(place: Place) -> None:
    clubs = place.open().clubs
    clubs.found("1", "Turners", HASHES)
    clubs.replace_link("1", Role.ADD, "new")
    assert clubs.entered("a") is None
    assert given(clubs.entered("new"))[1] is Role.ADD
    clubs.replace_link("1", Role.READ, None)
    assert clubs.entered("r") is None
    assert given(clubs.entered("k"))[0].roles == (Role.ADD, Role.KEEP)
    clubs.replace_link("1", Role.READ, "again")
    assert given(clubs.entered("again"))[0].roles == tuple(Role)


def test_a_shelf_holds_what_was_put_on_it(place: Place) -> None:
    clubs = place.open().clubs
    clubs.found("1", "Turners", HASHES)
    clubs.found("2", "Others", {Role.KEEP: "k2"})
    first = clubs.add("1", '{"a":1}', 3)
    second = clubs.add("1", '{"b":"ü"}', 3)
    assert clubs.items("1") == [first, second]
    assert (first.data, second.data) == ('{"a":1}', '{"b":"ü"}')
    assert first.number < second.number
    assert clubs.items("2") == []
    assert clubs.change("1", first.number, '{"a":2}')
    assert not clubs.change("1", second.number + 9, "{}")
    assert not clubs.change("2", first.number, "{}")
    assert [item.data for item in clubs.items("1")] == ['{"a":2}', '{"b":"ü"}']
    third = clubs.add("1", "{}", 3)
    with pytest.raises(TooManyError, match="3"):
        clubs.add("1", "{}", 3)
    assert clubs.take_off("1", third.number)
    assert not clubs.take_off("1", third.number)
    assert clubs.add("1", "{}", 3).number > third.number
    assert [item.number for item in clubs.items("1")][:2] == [first.number, second.number]


def test_a_club_that_is_removed_leaves_nothing(place: Place) -> None:
    clubs = place.open().clubs
    clubs.found("1", "Turners", HASHES)
    clubs.add("1", "{}", 3)
    clubs.remove("1")
    clubs.remove("1")
    assert [clubs.entered(hashed) for hashed in HASHES.values()] == [None] * 3
    assert clubs.items("1") == []
    clubs.rename("1", "x")
    clubs.replace_link("1", Role.KEEP, "late")
    assert clubs.entered("late") is None
    with pytest.raises(KeyError):
        clubs.add("1", "{}", 3)
    clubs.found("1", "New", {Role.KEEP: "n"})
    assert clubs.items("1") == []
