"""Requests on puzzles on which turns can be blocked: stored, or searched, in the fixed frame first.

The search that knows of no blocked turns has its turn beside (``search.unblocked``).
"""

from __future__ import annotations

import json
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from puzzles.errors import LimitError
from search.blocked_finding import (
    Chosen,
    blocked_found,
    choose,
    forbid_unreached,
    problem_of,
)
from search.both_ends import Ends, from_both_ends
from search.fixed import FixedGoal, FixedProgress, Sequences, deepen, goal_of, nothing
from search.fixed_problem import Problem
from search.goals import Goal
from search.kernels import jit
from search.ranking import Weights
from search.request import Request
from search.shelves import Shelves
from search.unblocked import Beside, View
from search.warming import warm
from service.endings import PERSON, TIME

if TYPE_CHECKING:
    from service.engine import Engine, FindResult


@dataclass(frozen=True, eq=False)
class Searched:
    """All that the searches for one request have given."""

    own: Problem
    ends: Ends
    chosen: Chosen
    outcome: FixedOutcome


@dataclass(frozen=True, eq=False)
class FixedOutcome:
    """How a search in the fixed frame ended: what it found, and what ended it early.

    ``stopped_by`` is who or what did, ``note`` says in words what else.
    """

    sequences: Sequences
    stopped_by: str | None = None
    note: str = ""


def find(
    engine: Engine,
    request: Request,
    weights: Weights | None,
    most: int,
    left_handed: bool,
) -> FindResult:
    """Return the ranked answers to a request; raises what ``Engine.find`` does."""
    from service.engine import FindResult, with_note

    found = searched(engine, request)
    forbid_unreached(found.ends)
    answers = blocked_found(
        request, found.own, found.chosen, found.ends, weights, most, left_handed
    )
    return FindResult(with_note(answers, found.outcome.note), found.outcome)


def searched(engine: Engine, request: Request) -> Searched:
    """Return what the searches for a request give; raises what ``Engine.find`` does.

    Where the one from both ends has shown that there is nothing to be found, nothing is looked for.
    """
    own = problem_of(request)
    ends = stored_ends(engine, own)
    if ends.never:
        return Searched(own, ends, Chosen({}, 0), FixedOutcome(nothing(own)))
    goal = goal_of(request.bounds, none_up_to=ends.none_up_to)

    def unblocked(view: View, until: Goal) -> Shelves:
        return engine.search(view.scope, until, request.bounds).shelves

    if not jit.warm():
        # Those of the search beside as well, before any clock begins.
        engine.tell_compiling()
        warm()
    beside = Beside(request, own, goal, unblocked)
    outcome = search(engine, own, goal, beside=beside)
    if not engine.stop():
        beside.finish(outcome.sequences)
    chosen = choose(request, own, outcome.sequences, beside.gathered(outcome.sequences))
    return Searched(own, ends, chosen, outcome)


def stored_ends(engine: Engine, own: Problem) -> Ends:
    """Return what a search from both ends says, from the store if it has it."""
    key = f"{own.key}|ends|{engine.version}"
    try:
        data = engine.levels.get(key, 0)
        if data is not None:
            return Ends(**json.loads(data))
    except (ValueError, TypeError):
        pass
    ends = from_both_ends(own, stop=engine.stop)
    if not engine.stop():
        engine.levels.put(key, 0, json.dumps(vars(ends)).encode())
    return ends


def search(
    engine: Engine,
    own: Problem,
    goal: FixedGoal,
    watch: Callable[[FixedProgress], None] | None = None,
    beside: Beside | None = None,
) -> FixedOutcome:
    """Return what reaches a goal, from the store if it has it, else by searching.

    ``beside`` is told how far the search is, so that the other one has its turn.
    """
    key = f"{own.key}|{goal.setup}|{engine.version}"
    found = _stored(engine, key, own, goal)
    if found is not None and goal.reached(found):
        return FixedOutcome(found)
    engine.tell_compiling()
    note = ""
    try:
        for progress in deepen(own, goal, found, engine.stop):
            deeper = found is None or progress.found.level > found.level
            found = progress.found
            if deeper and found.level:
                engine.levels.put(key, found.level, found.to_bytes())
            (watch or engine.watch_fixed)(progress)
            if beside is not None and not engine.stop():
                beside.after(found, progress.seconds)
    except LimitError as error:
        if found is None:
            raise
        note = str(error)
    assert found is not None
    if engine.stop():
        return FixedOutcome(found, PERSON, note)
    return FixedOutcome(found, None if note or goal.reached(found) else TIME, note)


def _stored(engine: Engine, key: str, own: Problem, goal: FixedGoal) -> Sequences | None:
    """Return the lowest stored level that reaches a goal, else the deepest within its bound."""
    best: Sequences | None = None
    for level in reversed(engine.levels.numbers(key)):
        if goal.level is not None and level > goal.level:
            continue
        data = engine.levels.get(key, level)
        try:
            found = Sequences.from_bytes(data) if data is not None else None
        except (ValueError, KeyError, TypeError, IndexError, OSError, EOFError, zipfile.BadZipFile):
            continue
        if found is None or found.level != level or len(found.words) != len(own.wanted):
            continue
        if not goal.reached(found):
            return best or found
        best = found
        if goal.level is not None:
            break
    return best
