"""What happens when workers are killed: every search ends as if nobody had been."""

from __future__ import annotations

import json
import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from service.desk import Desk
from service.questions import FindQuestion
from service.stores.base import Job, JobLimits, State, Store
from service.stores.sqlite import SqliteStore
from tests.service.processes import LEASE_SECONDS, command_of, until

MANY = JobLimits(1_000, 1_000, 1e9)
#: Enough for plans and parts at different stages; each makes others wait until its lease is over.
#: On a machine with much else to do, all may be over before that; so many are enough.
KILLS, LEAST = 12, 6
#: Workers give way to all else, so that much else makes them slow; nothing takes so many seconds.
LONG = 300.0
#: What is written down of everything that is recorded, by the store's file itself.
AUDIT = """
create table audit (what text not null, job text, run integer, stage integer, number integer);
create trigger recorded after update of state on shard when new.state = 'done' begin
    insert into audit select 'part', key, run, new.stage, new.number from job
    where number = new.job;
end;
create trigger planned after insert on shard when new.number = 1 begin
    insert into audit select 'plan', key, run, new.stage, 0 from job
    where number = new.job;
end;
create trigger ended after update of closed on job when new.closed = 1 begin
    insert into audit values ('end', new.key, new.run, 0, 0);
end;
"""
#: So many workers, replaced when they die, all from one process that has begun what they need
#: before: the service's own way (``test_serving``) takes a second of computing for each.
FORKED = """
import os, signal, sys, time
from service.settings import service_settings
from service.works import process

settings = service_settings()
process.restrain(settings)
from service.stores import open_store
from service.works.kinds import work_for
from service.works.loop import run

process.warm()
own, leaving, below = os.getpid(), [], set()

def work():
    listening = process.Leaving(own)
    listening.listen()
    run(open_store(settings.store), process.name(), work_for, listening, settings.lease_seconds)
    os._exit(0)

signal.signal(signal.SIGTERM, lambda *_: leaving.append(True))
print("ready", flush=True)
while not leaving and os.getppid() == int(sys.argv[1]):
    while len(below) < int(sys.argv[2]):
        number = os.fork()
        if not number:
            work()
        below.add(number)
    ended, _ = os.waitpid(-1, os.WNOHANG)
    below.discard(ended)
    time.sleep(0.01)
for number in below:
    os.kill(number, signal.SIGKILL)
    os.waitpid(number, 0)
"""


def questions() -> list[FindQuestion]:
    """Return searches of some seconds each, the last levels of which are dealt out in parts."""
    five = [[face for face in "UDLRFB" if face != left_out] for left_out in "UD"]
    return [
        FindQuestion(puzzle="3x3x3", cycle=["UFR", "UBL", "DFL"], half_length=last, layers=layers)
        for layers, last in zip((None, *five), (10, 9, 9), strict=True)
    ]


def submit_all(store: Store, wanted: list[FindQuestion]) -> list[str]:
    """Submit the jobs of questions, and return their keys."""
    desk = Desk(store)
    keys = []
    for question in wanted:
        asked = desk.ask(question)
        assert asked.body is None, asked.body
        store.jobs.submit(asked.key, asked.kind, asked.spec, "somebody", MANY)
        keys.append(asked.key)
    return keys


def known(store: Store, key: str) -> Job:
    job = store.jobs.job(key)
    assert job is not None
    return job


def result(store: Store, key: str) -> bytes:
    """Return the bytes of a job's result."""
    job = known(store, key)
    assert job.state is State.DONE, (job.state, job.error)
    content = store.things.get("result", json.loads(job.outcome)["result"])
    assert content is not None
    return content


def all_over(store: Store, keys: list[str]) -> bool:
    return all(known(store, key).state.over for key in keys)


def test_workers_killed_at_random(tmp_path: Path) -> None:
    """Every search ends with the undisturbed result, and nothing is recorded twice."""
    path = tmp_path / "store.sqlite"
    store = SqliteStore(path)
    wanted = submit_all(store, questions())
    with closing(sqlite3.connect(path)) as file:
        file.executescript(AUDIT)
    with at_work(path, 3, 2 * LEASE_SECONDS):
        killed = kill_at_random(path, random.Random(20261125))
        until(lambda: all_over(store, wanted), LONG, "the end of all searches")
    assert killed >= LEAST
    assert store.jobs.figures().lapsed >= killed // 2
    with closing(sqlite3.connect(path)) as file:
        twice = file.execute("select * from audit group by 1, 2, 3, 4, 5 having count(*) > 1")
        assert twice.fetchall() == []
        ends = file.execute("select job from audit where what = 'end'").fetchall()
        assert sorted(ends) == sorted((key,) for key in wanted)
        assert file.execute("pragma integrity_check").fetchone() == ("ok",)

    calm = SqliteStore(tmp_path / "calm.sqlite")
    assert submit_all(calm, questions()) == wanted
    with at_work(calm.path, 2, 60.0):
        until(lambda: all_over(calm, wanted), LONG, "the end of all searches")
    assert calm.jobs.figures().lapsed == 0
    for key in wanted:
        assert result(store, key) == result(calm, key)
    store.close()
    calm.close()


@contextmanager
def at_work(path: Path, count: int, lease: float) -> Iterator[None]:
    """Have so many worker processes at work on a store, replaced when they die."""
    environment = {"TREFOIL_STORE": str(path), "TREFOIL_LEASE_SECONDS": str(lease)}
    command = [sys.executable, "-P", "-c", FORKED, str(os.getpid()), str(count)]
    with subprocess.Popen(command, env={**os.environ, **environment}) as workers:
        try:
            yield
        finally:
            workers.terminate()
            workers.wait(LONG)


def kill_at_random(path: Path, dice: random.Random) -> int:
    """Kill workers that hold a lease, KILLS times; return how often that was possible.

    A shard that was broken off twice is spared, since the third time would end its job: that is
    another promise, and tested elsewhere.
    """
    killed = 0
    with closing(sqlite3.connect(path, timeout=10.0)) as file:
        while killed < KILLS and file.execute("select 1 from shard limit 1").fetchone():
            time.sleep(dice.uniform(0.01, 0.06))
            rows = file.execute(
                "select worker from shard where state = 'leased' and failures < 2"
            ).fetchall()
            numbers = {int(name.split("-")[-2]) for (name,) in rows}
            # The leases of those that were killed before run out only later.
            alive = sorted(one for one in numbers if "service.works" in command_of(one))
            if alive:
                os.kill(dice.choice(alive), signal.SIGKILL)
                killed += 1
    return killed


def test_job_whose_workers_die_three_times_fails_with_a_sentence(tmp_path: Path) -> None:
    path = tmp_path / "store.sqlite"
    store = SqliteStore(path)
    (key,) = submit_all(store, [questions()[0]])
    for _ in range(3):
        lease = store.jobs.lease("a worker that dies", 0.01)
        assert lease is not None
        time.sleep(0.02)
    assert store.jobs.lease("another", 1.0) is None
    job = known(store, key)
    assert job.state is State.FAILED
    assert "broken off 3 times" in job.error
    store.close()
