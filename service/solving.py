"""From an entered state to a solution that was checked, with tables from the store."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from puzzles.laws import joined
from puzzles.names import slot_names
from puzzles.states import State
from search.solving_looks import Contents
from search.solving_steps import Solution

if TYPE_CHECKING:
    from search.encoding import Scope
    from search.goals import Goal
    from search.shelves import Shelves
    from search.solving_sums import Balance
    from search.tools import Tools
    from service.engine import Engine

#: How many slots that are still wrong are named.
NAMED = 12


@dataclass(frozen=True, eq=False)
class Solved:
    """A solution with the tables that it is told from; ``reason`` says why it is not whole."""

    solution: Solution
    tools: Mapping[int, Tools]
    balance: Balance | None
    reason: str = ""


def solved(engine: Engine, state: State, learned: str | None = None) -> Solved:
    """Return a solution of a state, every turn of it applied once more.

    ``learned`` is the path of a file with the only sequences that may be used. Raises
    KeyboardInterrupt when the engine is stopped.
    """
    from search.solving import Solver, solver_for

    def fetch(scope: Scope, goal: Goal) -> Shelves:
        shelves = engine.search(scope, goal).shelves
        if engine.stop():
            raise KeyboardInterrupt
        return shelves

    if learned is not None:
        from search.solving_learned import read_learned, solver_with

        solver = solver_with(state.puzzle, read_learned(state.puzzle, learned), state.apart)
    else:
        own = solver_for(state.puzzle, state.apart, fetch)
        if not isinstance(own, Solver):
            return Solved(_checked(own.solve(state.table)), {}, None)
        solver = own
    steps = []
    for step in solver.working(state.table):
        steps.append(step)
        if engine.stop():
            raise KeyboardInterrupt
    found = Solution(solver.looks, state.table, tuple(steps))
    tools = {one.kind.number: one for stage in solver.stages for one in stage.tools}
    if learned is None:
        return Solved(_checked(found), tools, solver.balance)
    return Solved(found, tools, solver.balance, _left(found))


def _checked(found: Solution) -> Solution:
    """Return a solution that solves; anything else is an error of ours."""
    if not found.solved:
        raise AssertionError("a solution does not solve")
    if found.puzzle.first_blocked([t for s in found.steps for t in s.word], found.start):
        raise AssertionError("a turn of a solution is blocked")
    return found


def forbid_unreached(state: State) -> None:
    """Raise ImpossibleError, with the reason and the smallest repair, for a state out of reach."""
    from puzzles.assemblies import judge
    from search.impossible import ImpossibleError

    judged = judge(state)
    if not judged.possible:
        raise ImpossibleError(judged.reason)


def _left(found: Solution) -> str:
    """Return which pieces learned sequences leave wrong; empty for none."""
    if found.solved:
        return ""
    names = slot_names(found.puzzle)
    right = Contents.of(found.looks, found.end).right
    wrong = [names[k] for k in range(len(right)) if not right[k]]
    shown = wrong[:NAMED] + ([f"{len(wrong) - NAMED} more"] if len(wrong) > NAMED else [])
    return f"with these sequences alone {joined(shown)} cannot be put right from here"
