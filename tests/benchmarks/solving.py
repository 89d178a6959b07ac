"""Whole solves of random scrambles, of every puzzle of the catalogue: turns and processor time."""

from __future__ import annotations

import time
from collections.abc import Iterator

from puzzles import load
from puzzles.file import catalogue
from puzzles.scrambles import scrambles
from search.solving import Solver, solver_for
from tests.benchmarks.tables import Table, seconds

#: Scrambles of each puzzle, and the seed that they are drawn with.
SCRAMBLES, SEED = 1_000, 1
#: What a solve of the 3x3x3 is to stay below: turns in the median, seconds.
MOST_TURNS, MOST_SECONDS = 90, 0.5


def solving(small: bool = False) -> Iterator[Table]:
    """Solve random scrambles and check each by applying it; one table a puzzle as it is done."""
    head = [
        "puzzle",
        "tables",
        "solved",
        "turns (median)",
        "worst",
        "a solve",
        "worst",
        "different sequences (median)",
        "in all",
    ]
    notes = (
        f"{'2' if small else f'{SCRAMBLES:,}'} scrambles each, seed {SEED}; turns are executed "
        "turns, times are processor time.",
        f"3x3x3: below {MOST_TURNS} turns in the median and {MOST_SECONDS} s a solve are wanted.",
    )
    for name in ("2x2x2", "tetrahedron-corners") if small else catalogue():
        yield Table(f"Solving {name}", head, [_row(name, 2 if small else SCRAMBLES)], notes)


def _row(name: str, count: int) -> list[str]:
    puzzle = load(name)
    started = time.process_time()
    solver = solver_for(puzzle)
    if isinstance(solver, Solver):
        for _ in solver.prepare():
            pass
    solver.solve(puzzle.effect(()))
    made = time.process_time() - started
    turns, times, each, every, solved = [], [], [], set(), 0
    for word in scrambles(puzzle, count, SEED):
        state = puzzle.effect(word)
        started = time.process_time()
        found = solver.solve(state)
        times.append(time.process_time() - started)
        solved += found.solved and puzzle.first_blocked(found.word, state) is None
        turns.append(len(found.word))
        own = {step.family for step in found.steps if step.family is not None}
        each.append(len(own))
        every |= own
    middle = count // 2
    return [
        name,
        seconds(made),
        f"{solved:,} of {count:,}",
        str(sorted(turns)[middle]),
        str(max(turns)),
        seconds(sum(times) / count),
        seconds(max(times)),
        str(sorted(each)[middle]),
        str(len(every)),
    ]
