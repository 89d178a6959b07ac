"""Seconds from a puzzle file to its compiled tables."""

from __future__ import annotations

from collections.abc import Iterator

from puzzles import load
from puzzles.file import catalogue
from tests.benchmarks.tables import Table, against, least, seconds

#: Seconds that the named puzzles may take.
TARGETS = {"5x5x5": 1.0}


def compiling(small: bool = False) -> Iterator[Table]:
    """Time the compiling of every puzzle of the catalogue."""
    rows = []
    for name in ["2x2x2"] if small else catalogue():

        def work(name: str = name) -> None:
            load.cache_clear()
            load(name)

        spent = least(work, 1 if small else 3)
        puzzle = load(name)
        rows.append(
            [
                name,
                f"{puzzle.slot_count:,}",
                f"{len(puzzle.turns):,}",
                seconds(spent),
                against(spent, TARGETS[name]) if name in TARGETS else "",
            ]
        )
    yield Table(
        "From a puzzle file to its tables",
        ["puzzle", "pieces", "turns", "seconds", "target"],
        rows,
        ["Processor time of one thread, least of three."],
    )
