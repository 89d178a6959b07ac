"""One worker against two on a large search: how long it takes, and that the result is the same."""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from puzzles import load
from search.request import Bounds, request
from service import stored
from service.representatives import find_spec
from service.stores import open_store
from service.stores.base import Job, JobLimits, State
from tests.benchmarks.tables import Table, seconds

#: How many times as fast two workers have to be.
RATIO = 1.5
#: Puzzle, cycle and half-length of large searches.
SEARCHES = [("4x4x4", "UFR UBL DFL", 8), ("3x3x3", "UFR UBL DFL", 11)]
#: Each is done so often by one and by two in turn, and the least times count.
REPEATS = 3
PLENTY = JobLimits(10**6, 10**6, 1e12)


def workers(small: bool = False) -> Iterator[Table]:
    """Search with one worker process and with two, each time from nothing in a store of its own."""
    rows = []
    for name, cycle, half_length in [("4x4x4", "UFR UBL DFL", 6)] if small else SEARCHES:
        took, computed, results, shards = {1: 1e9, 2: 1e9}, {1: 1e9, 2: 1e9}, set(), 0
        beside = 1e9
        for _ in range(1 if small else REPEATS):
            for count in (1, 2):
                spent, busiest, job, shards = _searched(name, cycle, half_length, count)
                took[count] = min(took[count], spent)
                computed[count] = min(computed[count], busiest)
                results.add(json.loads(job.outcome)["result"])
            beside = min(beside, _beside(name, cycle, half_length))
        ratio = took[1] / took[2]
        verdict = "met" if ratio >= RATIO else "**missed**"
        same = "yes" if len(results) == 1 else "**no**"
        row = [name, str(half_length), str(shards), seconds(took[1]), seconds(took[2])]
        more = [f"{computed[1] / computed[2]:.2f}", f"{2 * took[1] / beside:.2f}"]
        rows.append([*row, f"{ratio:.2f}", verdict, *more, same])
    head = ["puzzle", "half-length", "shards", "one worker", "two workers", "ratio"]
    note = (
        f"From the question in the store to the end of the job, {os.cpu_count()} cores, least of "
        f"{REPEATS}; every level from nothing, kernels loaded. Busier one: the same ratio for "
        "processor time, of the busier of the two, which other work on the machine changes less. "
        "At most: how much two such searches get done at once that share nothing but the machine, "
        "in the time of one. Same: all results have one digest."
    )
    title = "One worker process against two, on one SQLite file"
    head += [f"at least {RATIO:g}", "busier one", "at most", "same"]
    yield Table(title, head, rows, [note])


def _searched(name: str, cycle: str, half_length: int, count: int) -> tuple[float, float, Job, int]:
    """Return the seconds that so many workers took, the processor time of the busiest one of them,
    the job, and the most shards of a stage.
    """
    puzzle = load(name)
    wanted = request(puzzle, cycle, bounds=Bounds(half_length=half_length))
    spec = find_spec(name, wanted)
    key = spec.key(puzzle.digest, stored.version())
    with tempfile.TemporaryDirectory() as folder:
        address = str(Path(folder) / "store.sqlite")
        store = open_store(address)
        with contextlib.ExitStack() as stack:
            stack.callback(store.close)
            numbers = [stack.enter_context(_worker(address)) for _ in range(count)]
            before = [_computed(number) for number in numbers]
            began = time.perf_counter()
            store.jobs.submit(key, spec.kind, spec.text(), "somebody", PLENTY)
            shards = 0
            while True:
                job = store.jobs.job(key)
                assert job is not None
                shards = max(shards, job.shards)
                if job.state.over:
                    break
                time.sleep(0.02)
            took = time.perf_counter() - began
            after = [_computed(number) for number in numbers]
    assert job.state is State.DONE, job.error
    busiest = max(b - a for a, b in zip(before, after, strict=True))
    return took, busiest, job, shards


def _beside(name: str, cycle: str, half_length: int) -> float:
    """Return the seconds that two searches took at once, each by one worker on a store of its own.

    What two cores share, such as memory, makes that longer than one alone takes.
    """
    with ThreadPoolExecutor(2) as pool:
        began = [pool.submit(_searched, name, cycle, half_length, 1) for _ in range(2)]
        return max(one.result()[0] for one in began)


def _computed(process: int) -> float:
    """Return the processor time of a process until now, in seconds."""
    fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


@contextlib.contextmanager
def _worker(address: str) -> Iterator[int]:
    """Give the number of a worker process that is ready, and end it."""
    process = subprocess.Popen(
        [sys.executable, "-m", "service.works", str(os.getpid())],
        env={**os.environ, "TREFOIL_STORE": address},
        stdout=subprocess.PIPE,
    )
    try:
        assert process.stdout is not None
        assert process.stdout.readline()
        yield process.pid
    finally:
        process.terminate()
        process.wait()
        if process.stdout is not None:
            process.stdout.close()
