"""Leases a second from a store, taken by processes that race for them, and whether any was doubled.

A worker leases a shard, records its result, and takes the next: two transactions a lease.
"""

from __future__ import annotations

import contextlib
import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from service.stores import open_store
from service.stores.base import JobLimits, Shard, Signal, State
from tests.benchmarks.tables import Table, seconds

#: Open shards, processes that race for them, and for how long, in seconds.
SHARDS, PROCESSES, SPENT = 10_000, 4, 5.0
#: How many jobs the shards are of, and how many askers want them.
LAYOUTS = {
    "100 jobs of 20 askers": (100, 20),
    "one large job": (1, 1),
    "as many jobs, 2,000 askers": (SHARDS, 2000),
}
PLENTY = JobLimits(10**9, 10**9, 1e12)


def leases(small: bool = False) -> Iterator[Table]:
    """Race for the shards of a SQLite file, and of a Redis server where there is one."""
    shards, spent, layouts = (100, 0.3, 1) if small else (SHARDS, SPENT, len(LAYOUTS))
    rows = []
    for name, (jobs, askers) in list(LAYOUTS.items())[:layouts]:
        for kind, place in _places():
            with place as address:
                _fill(address, shards, min(jobs, shards), min(askers, shards))
                rows.append([kind, name, *_race(address, spent)])
    yield Table(
        f"{PROCESSES} processes race for {shards:,} open shards",
        ["store", "shards of", "leases a second", "taken twice", "median", "99 of 100 within"],
        rows,
        [f"Each lease is one transaction, and one more records its result; {spent:g} s each."],
    )


def _places() -> Iterator[tuple[str, contextlib.AbstractContextManager[str]]]:
    yield "SQLite", _file()
    from tests.service.redis_server import PROGRAM

    if PROGRAM is not None:
        yield "Redis", _server()


@contextlib.contextmanager
def _file() -> Iterator[str]:
    with tempfile.TemporaryDirectory() as folder:
        yield str(Path(folder) / "store.sqlite")


@contextlib.contextmanager
def _server() -> Iterator[str]:
    from tests.service.redis_server import RedisServer

    with tempfile.TemporaryDirectory() as folder:
        server = RedisServer(Path(folder))
        server.start()
        try:
            yield server.address()
        finally:
            server.kill()


def _fill(address: str, shards: int, jobs: int, askers: int) -> None:
    """Submit so many jobs of so many askers and deal their parts."""
    store = open_store(address)
    parts = [b"payload"] * (shards // jobs)
    for number in range(jobs):
        key = f"job {number}"
        store.jobs.submit(key, "find", "{}", f"asker {number % askers}", PLENTY)
        if jobs < shards:
            plan = store.jobs.lease("planner", 600, Shard(key, 1, 0, 0, 0))
            assert plan is not None
            assert store.jobs.plan(plan, parts, 0.0, "") is Signal.GO_ON
    store.close()


def _race(address: str, spent: float) -> list[str]:
    """Return the last columns of a row."""
    begin = time.time() + 1.5
    command = [sys.executable, "-m", "tests.benchmarks.leases", address]
    workers = [
        subprocess.Popen(
            [*command, f"worker {n}", str(begin), str(spent)], stdout=subprocess.PIPE, text=True
        )
        for n in range(PROCESSES)
    ]
    taken: list[tuple[object, ...]] = []
    times: list[float] = []
    rate = 0.0
    for worker in workers:
        said = json.loads(worker.communicate()[0])
        taken += [tuple(shard) for shard in said["taken"]]
        times += said["times"]
        rate += len(said["taken"]) / max(said["seconds"], 1e-9)
    times.sort()
    doubled = len(taken) - len(set(taken))
    at = [times[len(times) * share // 100] for share in (50, 99)] if times else [0.0, 0.0]
    return [f"{rate:,.0f}", str(doubled), *map(seconds, at)]


def work(address: str, name: str, begin: float, spent: float) -> None:
    """Take leases for so many seconds and print which, and how long each took, as JSON."""
    jobs = open_store(address).jobs
    jobs.lease(name, 600, Shard("none", 1, 0, 0, 0))
    taken, times = [], []
    time.sleep(max(0.0, begin - time.time()))
    began = now = time.perf_counter()
    while now < began + spent:
        lease = jobs.lease(name, 600)
        if lease is None:
            break
        times.append(time.perf_counter() - now)
        shard = lease.shard
        if shard.plans:
            good = jobs.end(lease, State.DONE, "{}", "", 0.01)
        else:
            jobs.record(lease, b"result", 0.01, 600)
            good = True
        if good:
            taken.append((shard.job, shard.stage, shard.number))
        now = time.perf_counter()
    print(json.dumps({"taken": taken, "times": times, "seconds": now - began}))


if __name__ == "__main__":
    work(sys.argv[1], sys.argv[2], float(sys.argv[3]), float(sys.argv[4]))
