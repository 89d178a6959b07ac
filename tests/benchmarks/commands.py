"""Whole commands, start of the interpreter included, with an empty and with a filled cache."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from tests.benchmarks.tables import Table, against, seconds

#: Arguments, whether the cache is filled before, the seconds that the command may take.
CASES = (
    ("puzzles", False, 0.5),
    ("parts 3x3x3", False, 0.5),
    ("find 3x3x3 UFR UBL DFL", False, 2.0),
    ("find 3x3x3 UFR UBL DFL", True, 0.7),
    ("atlas 3x3x3 corner --half-length 8", False, 3.0),
)
REPEATS = 5


def run(arguments: str, cache: Path) -> tuple[float, float]:
    """Run one command of ours; return wall time and processor time in seconds."""
    command = [sys.executable, "-c", "from service.cli import main; main()", *arguments.split()]
    environment = {**os.environ, "TREFOIL_CACHE": str(cache)}
    before, started = os.times(), time.perf_counter()
    subprocess.run(command, env=environment, capture_output=True, check=True)
    wall, after = time.perf_counter() - started, os.times()
    used = after.children_user + after.children_system
    return wall, used - before.children_user - before.children_system


def commands(small: bool = False) -> Iterator[Table]:
    """Time whole commands."""
    rows = []
    for arguments, filled, target in CASES[:1] if small else CASES:
        times = []
        with tempfile.TemporaryDirectory() as folder:
            run(arguments, Path(folder) / "first")
            for repeat in range(1 if small else REPEATS):
                times.append(run(arguments, Path(folder) / ("first" if filled else str(repeat))))
        wall = min(wall for wall, _ in times)
        rows.append(
            [
                f"`trefoil {arguments}`",
                "filled" if filled else "empty",
                seconds(wall),
                seconds(min(used for _, used in times)),
                against(wall, target),
            ]
        )
    yield Table(
        "Whole commands",
        ["command", "cache", "seconds", "processor time", "target"],
        rows,
        [f"Wall time, least of {REPEATS}, the interpreter's start included, kernels compiled."],
    )
