"""Pictures of the steps that a result has: the state before each, its three-cycle numbered.

Arrows on the solved puzzle would say nothing where turns can be blocked: there a step may begin at
a state in which pieces straddle the places of others, and what it carries may move others with it.
"""

from __future__ import annotations

import numpy as np

from puzzles.names import placement_names
from puzzles.notation import parse
from puzzles.puzzle import Puzzle
from puzzles.state_picture import draw_state
from service import puzzle_shelf, results
from service.reading import NotThereError
from service.reports import Report
from service.results import FinishResult, SolveResult
from service.stores.base import Store


def picture(store: Store, digest: str, number: int) -> bytes:
    """Return a picture of the state before a step of a result, the first being 1, as SVG.

    Raises NotThereError for a result without such a step, and where the steps do not solve it.
    """
    content = store.things.get("result", digest)
    result = None if content is None else results.read(content)
    if not isinstance(result, SolveResult | FinishResult):
        raise NotThereError("there is no result with steps that has this digest")
    steps = result.report["steps"]
    if not result.report.get("solved", True):
        raise NotThereError("the steps of this result do not solve it, so they have no pictures")
    if not 1 <= number <= len(steps):
        have = f"{len(steps)} step{'' if len(steps) == 1 else 's'}"
        raise NotThereError(f"there is no step {number}: the result has {have}")
    puzzle = puzzle_shelf.load(store, result.spec.puzzle)
    results.forbid_outdated(result.tables, puzzle)
    return drawn(puzzle, steps, number).encode()


def drawn(puzzle: Puzzle, steps: list[Report], number: int) -> str:
    """Return the picture; the pieces that a three-cycle carries are numbered in its order."""
    left = [t for step in steps[number - 1 :] for t in parse(puzzle, step["sequence"]).word]
    # All that is left, undone, leads from the solved puzzle to a state that looks like this one.
    before = puzzle.inverse(left)
    effect = puzzle.effect(before)
    home = np.argsort(effect)
    names = placement_names(puzzle)
    cycle = [int(home[names.index(name)]) for name in steps[number - 1]["cycle"]]
    return draw_state(puzzle, before, cycle, title=f"{puzzle.name} before step {number}")
