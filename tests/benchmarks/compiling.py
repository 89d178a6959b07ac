"""Seconds from a puzzle file to its compiled tables."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator

from puzzles import load
from puzzles.compile import from_text
from puzzles.file import catalogue
from tests.benchmarks.tables import Table, against, least, seconds

#: Seconds that the named puzzles may take in a fresh process.
TARGETS = {"5x5x5": 1.0, "ball-sixths": 1.0, "ball-sixths-218": 1.5}

_COLD = """
import sys, time
from puzzles import load
started = time.process_time()
load(sys.argv[1])
print(time.process_time() - started)
"""


def compiling(small: bool = False) -> Iterator[Table]:
    """Time the compiling of every puzzle of the catalogue, warm, and of the largest ones, cold."""
    rows = []
    for name in ["2x2x2"] if small else catalogue():

        def work(name: str = name) -> None:
            from_text.cache_clear()
            load(name)

        spent = least(work, 1 if small else 3)
        cold = _cold(name) if small or name in TARGETS else None
        puzzle = load(name)
        rows.append(
            [
                name,
                f"{puzzle.slot_count:,}",
                f"{len(puzzle.turns):,}",
                seconds(spent),
                seconds(cold) if cold is not None else "",
                against(cold, TARGETS[name]) if cold is not None and name in TARGETS else "",
            ]
        )
    yield Table(
        "From a puzzle file to its tables",
        ["puzzle", "pieces", "turns", "seconds", "cold", "target"],
        rows,
        [
            "Processor time of one thread, least of three; cold: once, in a fresh process, without "
            "the time to import.",
        ],
    )


def _cold(name: str) -> float:
    """Return the processor time that compiling takes as the first thing in a process."""
    done = subprocess.run(
        [sys.executable, "-c", _COLD, name], check=True, capture_output=True, text=True
    )
    return float(done.stdout)
