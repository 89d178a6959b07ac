"""The first three-cycles of every type of the 170-piece ball, next to levels of half-lengths alone.

Each measurement is a process of its own, by one thread, from the start of the process on, with
compiled kernels on disk.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator

import numpy as np

from puzzles import load
from search import goals
from search.deepening import deepen
from search.encoding import Scope, scope
from search.kernels.arrays import NONE
from search.shelves import Shelves
from tests.benchmarks.large import peak
from tests.benchmarks.tables import Table, seconds

PUZZLE = "ball-sixths"
#: Type, the seconds in which its first three-cycle has to be found, and its most turns. Of the
#: three types of 48 this project's prototype knew cycles of 16, 18 and 22 turns.
CASES = (
    ("blade", 60.0, 16),
    ("petal", 60.0, 16),
    ("rim", 60.0, 16),
    ("edge", 300.0, 36),
    ("tip", 300.0, 36),
)
#: A search that finds nothing ends after so many seconds.
LONGEST = 300.0
#: The half-length that a search by levels alone is told to reach; it never gets there.
FAR = 12


class First(goals.Goal):
    """The goal of some three-cycle: a search ends with the step that finds the first."""

    def reached(self, scope: Scope, found: Shelves) -> bool:
        return bool((found.turns < NONE).any())


def found(kind: str, limit: float, alone: bool) -> dict[str, float | str]:
    """Search in this process until some three-cycle of a type is known; return what it took.

    ``alone``: by levels alone, in so many seconds of the processor.
    """
    puzzle = load(PUZZLE)
    number = next(t.number for t in puzzle.types if t.name == kind)
    one = scope(puzzle, None, None, (number,))
    goal = First(FAR if alone else None, None, None)
    step = ""
    for progress in deepen(one, goal, stop=lambda: time.process_time() > limit):
        step = progress.step or step
    shelves = progress.shelves
    known = shelves.turns[shelves.turns < NONE]
    return {
        "wall": time.time() - STARTED,
        "processor": time.process_time(),
        "turns": int(np.min(known, initial=NONE)),
        "most": int(np.max(known, initial=0)),
        "half_length": shelves.half_length,
        "step": step,
        "memory": peak(),
    }


def apart(kind: str, limit: float, alone: bool) -> dict[str, float | str]:
    """Search in a process of its own."""
    command = [sys.executable, "-m", "tests.benchmarks.balls", kind, f"{limit}"]
    command += ["alone"] if alone else []
    environment = {**os.environ, "TREFOIL_STARTED": str(time.time())}
    done = subprocess.run(command, capture_output=True, text=True, check=True, env=environment)
    result: dict[str, float | str] = json.loads(done.stdout)
    return result


#: When this process, or the one that started it for a measurement, began.
STARTED = float(os.environ.get("TREFOIL_STARTED") or time.time())


def balls(small: bool = False) -> Iterator[Table]:
    """Time the first three-cycle of each type, and give levels alone the same time."""
    # So that no measurement compiles: the long arms of tips use every kernel.
    apart(CASES[2][0] if small else CASES[-1][0], LONGEST, False)
    rows = []
    for kind, target, most in CASES[2:3] if small else CASES:
        taken = apart(kind, LONGEST, False)
        plain = apart(kind, float(taken["processor"]), True)
        met = float(taken["processor"]) <= target and float(taken["turns"]) <= most
        rows.append(
            [
                kind,
                _turns(taken),
                f"{taken['most']}",
                f"{taken['step']}",
                seconds(float(taken["processor"])),
                seconds(float(taken["wall"])),
                f"{most} turns, {target:g} s: {'met' if met else '**missed**'}",
                f"{float(taken['memory']) / (1 << 20):,.0f} MiB",
                f"{_turns(plain)} (half-length {plain['half_length']} done)",
            ]
        )
    yield Table(
        "The 170-piece ball: the first three-cycle of each type, all else kept, one thread",
        ["type", "turns", "all cycles, with setups", "found by", "processor time", "wall time",
         "target", "peak memory", "levels alone, in the same time"],
        rows,
        [f"Once each, in a process of its own, its start and the puzzle included, kernels compiled "
         f"before. Load at the end: {os.getloadavg()[0]:.1f} of {os.cpu_count()} cores; targets "
         "are held against processor time."],
    )  # fmt: skip


def _turns(taken: dict[str, float | str]) -> str:
    return "none" if taken["turns"] == NONE else f"{taken['turns']}"


if __name__ == "__main__":
    print(json.dumps(found(sys.argv[1], float(sys.argv[2]), "alone" in sys.argv[3:])))
