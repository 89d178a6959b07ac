"""The method of every catalogue puzzle: processor time, steps, sequences, things, median turns."""

from __future__ import annotations

import time
from collections.abc import Iterator

from puzzles import load
from puzzles.file import catalogue
from search.method import SCRAMBLES, find_methods
from tests.benchmarks.tables import Table, seconds


def methods(small: bool = False) -> Iterator[Table]:
    """Work out the methods of each puzzle, with tables from cold; one table a puzzle."""
    head = ["puzzle", "processor time", "ends in", "steps", "sequences", "things", "turns (median)"]
    count = 2 if small else SCRAMBLES
    notes = (
        f"Medians over {count} scrambles, all solved with the sequences of the method alone; "
        "sequences and things to remember without those of a known puzzle that a method ends in.",
    )
    for name in ("2x2x2", "tetrahedron-corners") if small else catalogue():
        yield Table(f"Methods of {name}", head, list(_rows(name, count)), notes)


def _rows(name: str, count: int) -> Iterator[list[str]]:
    puzzle = load(name)
    started = time.process_time()
    found = find_methods(puzzle, count=count)
    if not found.methods:
        yield [name, "none", "", "", "", "", ""]
    took = seconds(time.process_time() - started)
    for own in found.methods:
        sizes = [str(len(own.steps)), str(len(own.words)), str(own.things)]
        yield [name, took, "", *sizes, _turns(own.tried.median, own.tried.count, count)]
        took = ""
    for end in found.joined:
        sizes = [str(len(end.steps)), str(len(end.plan.words)), str(end.plan.things)]
        turns = _turns(end.tried.median, end.tried.count, count)
        yield [name, "", end.joined.known.name, *sizes, turns]


def _turns(median: float, count: int, asked: int) -> str:
    return f"{median:g}" if count == asked else f"{median:g} ({count} scrambles)"
