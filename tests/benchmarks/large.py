"""Large searches, each in a process of its own: seconds, two threads against one, peak memory."""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

from puzzles import load
from search import goals
from search.deepening import deepen
from search.encoding import scope
from tests.benchmarks.tables import Table, against, seconds

#: Puzzle, half-length, the seconds that it may take on two cores.
CASES = (
    ("3x3x3-slices", 7, 15.0),
    ("4x4x4", 7, 60.0),
    ("dodecahedron-faces", 7, 60.0),
    ("4x4x4", 8, 300.0),
)
#: What two threads are compared with one on.
PAIRED = (("4x4x4", 8), ("3x3x3", 10))
#: Two threads have to be this many times as fast as one.
RATIO = 1.5
#: The most memory, in bytes.
MEMORY = 1 << 30
REPEATS = 3


def searched(name: str, half_length: int, threads: int) -> dict[str, float]:
    """Do a search with everything kept in this process; return what it took.

    ``joins`` are the seconds while the deepest level was joined, ``wall`` those for everything,
    from the loaded puzzle on, kernels compiled.
    """
    wanted = scope(load("2x2x2"))
    for _ in deepen(wanted, goals.Goal(4, None, None)):
        pass
    wanted = scope(load(name))
    started, used = time.perf_counter(), time.process_time()
    joins = 0.0
    orbits = found = 0
    for progress in deepen(wanted, goals.Goal(half_length, None, None), threads=threads):
        if progress.working == half_length and progress.share < 1.0:
            joins = time.perf_counter()
        found, orbits = progress.shelves.rings, len(progress.shelves.first)
    wall = time.perf_counter() - started
    return {
        "wall": wall,
        "processor": time.process_time() - used,
        "shelving": max(0.0, started + wall - joins) if joins else 0.0,
        "rings": found,
        "orbits": orbits,
        "memory": peak(),
    }


def peak() -> float:
    """Return the most memory that this process has held, in bytes.

    ``ru_maxrss`` begins with what the process that started this one held, so it comes second.
    """
    status = Path("/proc/self/status")
    if status.exists():
        for line in status.read_text().splitlines():
            if line.startswith("VmHWM:"):
                return float(line.split()[1]) * 1024
    return float(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss) * 1024


def apart(name: str, half_length: int, threads: int) -> dict[str, float]:
    """Do a search in a process of its own."""
    command = [sys.executable, "-m", "tests.benchmarks.large", name, str(half_length), str(threads)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    result: dict[str, float] = json.loads(done.stdout)
    return result


def large(small: bool = False) -> Iterator[Table]:
    """Time large searches by two threads, and two threads against one."""
    rows = []
    for name, half_length, target in (("2x2x2", 4, 15.0),) if small else CASES:
        taken = apart(name, half_length, 2)
        memory = taken["memory"] / (1 << 20)
        rows.append(
            [
                name,
                str(half_length),
                f"{taken['rings']:,.0f}",
                seconds(taken["wall"]),
                seconds(taken["processor"]),
                seconds(taken["shelving"]),
                against(taken["wall"], target),
                f"{memory:,.0f} MiB{'' if taken['memory'] < MEMORY else ' **missed**'}",
            ]
        )
    yield Table(
        "Large searches: everything kept, two threads, all levels with the catalogue",
        ["puzzle", "half-length", "rings of use", "seconds", "processor time",
         "of it the last level's catalogue", "target", "peak memory"],
        rows,
        [f"Once each, on {os.cpu_count()} cores, each in its own process, kernels compiled. "
         "Loading the puzzle and the start of the process count in memory, not in seconds."],
    )  # fmt: skip
    rows = []
    for name, half_length in (("2x2x2", 4),) if small else PAIRED:
        times: dict[int, list[dict[str, float]]] = {1: [], 2: []}
        for _ in range(1 if small else REPEATS):
            for threads, results in times.items():
                results.append(apart(name, half_length, threads))
        one, two = (min(r["wall"] for r in times[k]) for k in (1, 2))
        join_one, join_two = (min(r["wall"] - r["shelving"] for r in times[k]) for k in (1, 2))
        met = "met" if one / two >= RATIO else "**missed**"
        rows.append(
            [
                name,
                str(half_length),
                seconds(one),
                seconds(two),
                f"{one / two:.2f}",
                f"{join_one / join_two:.2f}",
                f"{RATIO}: {met}",
            ]
        )
    yield Table(
        "Two threads against one",
        ["puzzle", "half-length", "one", "two", "ratio", "without the last catalogue", "target"],
        rows,
        [f"Wall time, least of {REPEATS} repeats, alternating. Other work on the machine lowers "
         f"the ratio; the load was {os.getloadavg()[0]:.1f} of {os.cpu_count()} at the end."],
    )  # fmt: skip


if __name__ == "__main__":
    print(json.dumps(searched(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))))
