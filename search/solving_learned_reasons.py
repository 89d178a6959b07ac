"""Why learned sequences leave something wrong, in words."""

from __future__ import annotations

import numpy as np

from puzzles.laws import joined, plural
from puzzles.names import slot_names
from search.solving_learned_solver import LearnedSolver
from search.solving_looks import Contents
from search.solving_steps import Solution

#: How many slots that are still wrong are named.
NAMED = 12


def why_left(solver: LearnedSolver, found: Solution) -> str:
    """Return which pieces a solution leaves wrong and why; empty for none."""
    if found.solved:
        return ""
    contents = Contents.of(found.looks, found.end)
    names = slot_names(found.puzzle)
    wrong = np.flatnonzero(~contents.right).tolist()
    shown = [names[k] for k in wrong[:NAMED]]
    if len(wrong) > NAMED:
        shown.append(f"{len(wrong) - NAMED} more")
    reasons = _reasons(solver, contents, wrong)
    # That a bounded search found nothing is no proof.
    could = "cannot be" if reasons else "were not" if len(wrong) > 1 else "was not"
    why = joined(reasons) or "no way to put the sequences together was found, as far as was looked"
    return f"with what you know {joined(shown)} {could} put right from here: {why}"


def _reasons(solver: LearnedSolver, contents: Contents, wrong: list[int]) -> list[str]:
    puzzle = solver.puzzle
    types = sorted({int(puzzle.type_of[slot]) for slot in wrong})
    unmoved = [t for t in types if not solver.disturbed[:, t].any()]
    result = []
    if unmoved:
        result.append(
            f"no sequence moves {joined([plural(puzzle.types[t].name) for t in unmoved])}"
        )
    values, fixed = solver.balance.of(contents), solver.added(()).fixed
    for entry, value, stays in zip(solver.balance.entries, values, fixed, strict=True):
        if not value or not stays or entry.part.type in unmoved:
            continue
        if entry.what == "parity":
            result.append(f"none changes {entry.part.words} by an odd number of swaps")
        else:
            result.append(f"none changes what the twists of {entry.part.words} add up to")
    for t in types:
        own = [slot for slot in wrong if puzzle.type_of[slot] == t]
        away = (contents.piece[own] != own).any()
        if t not in unmoved and away and not solver.carried[t]:
            result.append(f"each only twists {plural(puzzle.types[t].name)} where they are")
    return result
