"""From an entered state to a solution that was checked, with tables from the store."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from puzzles.states import State
from puzzles.stopping import look, stoppable
from search.solving_steps import Solution

if TYPE_CHECKING:
    from search.encoding import Scope
    from search.goals import Goal
    from search.shelves import Shelves
    from search.solving_learned import Learned
    from search.solving_sums import Balance
    from search.tools import Tools
    from service.engine import Engine


@dataclass(frozen=True, eq=False)
class Solved:
    """A solution with the tables that it is told from; ``reason`` says why it is not whole.

    ``learned`` are the only sequences that could be used, None for any.
    """

    solution: Solution
    tools: Mapping[int, Tools]
    balance: Balance | None
    reason: str = ""
    learned: Sequence[Learned] | None = None


def solved(engine: Engine, state: State, learned: Sequence[Learned] | None = None) -> Solved:
    """Return a solution of a state, every turn of it applied once more.

    ``learned`` are the only sequences that may be used. Raises KeyboardInterrupt when the engine is
    stopped.
    """
    if learned is not None:
        return _with_learned(engine, state, learned)

    def end() -> None:
        if engine.stop():
            raise KeyboardInterrupt

    with stoppable(end):
        return _found(engine, state)


def _found(engine: Engine, state: State) -> Solved:
    """Return a solution of a state with all that there is."""
    from search.solving import Solver, solver_for

    def fetch(scope: Scope, goal: Goal) -> Shelves:
        shelves = engine.search(scope, goal).shelves
        if engine.stop():
            raise KeyboardInterrupt
        return shelves

    own = solver_for(state.puzzle, state.apart, fetch)
    if not isinstance(own, Solver):
        return Solved(_checked(own.solve(state.table)), {}, None)
    steps = []
    for step in own.working(state.table):
        steps.append(step)
        look()
    found = Solution(own.looks, state.table, tuple(steps))
    tools = {one.kind.number: one for stage in own.stages for one in stage.tools}
    return Solved(_checked(found), tools, own.balance)


def _with_learned(engine: Engine, state: State, learned: Sequence[Learned]) -> Solved:
    """Return how far a state is solved with some sequences, and why no further."""
    from search.solving_learned import solver_with

    solver = solver_with(state.puzzle, learned, state.apart, engine.stop)
    found = solver.solve(state.table)
    if engine.stop():
        raise KeyboardInterrupt
    reason = solver.why_left(found)
    return Solved(found if reason else _checked(found), solver.tools, None, reason, learned)


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
