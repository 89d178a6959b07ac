"""A whole solve as a job: what is asked for, what names it, and the answer that it gives."""

from __future__ import annotations

import hashlib
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

import service
from puzzles.assemblies import judge
from puzzles.errors import TrefoilError
from puzzles.notation import write
from puzzles.puzzle import Puzzle
from puzzles.states import State, hold
from service import finish_report, stored
from service.questions import SolveQuestion
from service.reports import Report
from service.specs import SolveSpec

if TYPE_CHECKING:
    from service.solving import Solved

#: The sources that decide what is said of a solution, besides those of the search.
SOURCES = ("service/sol*.py", "service/finish_report.py", "puzzles/*.py")
#: The fields of a question by which a state is entered.
WAYS = ("scramble", "cycles", "pieces", "stickers")


@lru_cache(maxsize=1)
def version() -> str:
    """Return a digest of the sources that decide what a solution is and what is said of it."""
    folder = Path(service.__file__).parent.parent
    state = hashlib.sha256(stored.version().encode())
    for pattern in SOURCES:
        for path in sorted(folder.glob(pattern)):
            state.update(path.read_bytes())
    return state.hexdigest()[:16]


def spec_of(puzzle: Puzzle, question: SolveQuestion) -> SolveSpec:
    """Return what a question comes to; raises FieldError."""
    from service.requesting import FieldError

    given = question.model_dump(include={*WAYS, "colours"})
    field = next(way for way in WAYS if given[way] is not None)
    try:
        own = {**given, "sequence": given["scramble"]}
        state = finish_report.entered(puzzle, own, question.apart)
    except TrefoilError as error:
        text = str(error)
        raise FieldError(text, "colours" if text.startswith("colours:") else field) from None
    return SolveSpec(
        puzzle=question.puzzle,
        table=tuple(state.table.tolist()),
        apart=question.apart,
        learned=None if question.learned is None else _learned(puzzle, question.learned),
    )


def _learned(puzzle: Puzzle, text: str) -> tuple[str, ...]:
    """Return the lines of the sequences that may be used; raises FieldError."""
    from search.solving_learned import learned_in
    from service.requesting import FieldError

    try:
        return tuple(own.text for own in learned_in(puzzle, text.splitlines()))
    except TrefoilError as error:
        raise FieldError(f"learned: {error}", "learned") from None


def state_of(spec: SolveSpec, puzzle: Puzzle) -> State:
    """Return the state that a spec is about."""
    return State(puzzle, np.array(spec.table, dtype=np.int32), spec.apart)


def key_of(spec: SolveSpec, puzzle: Puzzle) -> str:
    """Return what names the job of a spec."""
    return spec.key(puzzle.digest, version())


def unreached(spec: SolveSpec, puzzle: Puzzle) -> Report | None:
    """Return the report on a state that no sequence solves, None for any other."""
    state = state_of(spec, puzzle)
    verdict = judge(state)
    if verdict.possible:
        return None
    why = finish_report.why_not(puzzle, verdict)
    return {
        **{"puzzle": puzzle.name, "hold": hold(puzzle), "apart": state.apart},
        **{"state": state.text(), "solved": False, "before": None, "sequence": "", "turns": 0},
        **{"executed": 0, "different": 0, "learned": []},
        **{name: why[name] for name in ("reason", "repair", "steps")},
    }


def report(state: State, found: Solved) -> Report:
    """Return the report of a solution: what `trefoil solve --json` prints, with what pages need.

    Of each step it is counted, not listed, what it keeps; ``type`` is that of its three-cycle.
    ``before`` are turns from the solved puzzle to what looks like the state, if it is solved.
    """
    from service.solve_report import solution

    own = solution(state, found.solution, found.tools, found.balance)
    puzzle = state.puzzle
    steps = []
    for step, said in zip(found.solution.steps, own["steps"], strict=True):
        kind = puzzle.type_of[puzzle.slot_of[step.cycle[0]]] if step.cycle else None
        rest = {name: said[name] for name in said if name not in ("keeps", "cycle")}
        steps.append(
            {
                **rest,
                "cycle": said["cycle"].strip("()").split() if step.cycle else [],
                "kept": len(said["keeps"]),
                "type": None if kind is None else puzzle.types[int(kind)].name,
            }
        )
    return {
        **own,
        "apart": state.apart,
        "learned": [own.said for own in found.learned or ()],
        "steps": steps,
        # What is left of a state that is not solved would have to be undone as well.
        "before": write(puzzle, puzzle.inverse(found.solution.word)) if own["solved"] else None,
        "reason": found.reason or None,
        "repair": None,
    }


def answer(result: Any) -> Report:
    """Return the report that is kept as a result; raises BrokenResultError for another's."""
    from service.results import BrokenResultError, SolveResult

    if not isinstance(result, SolveResult):
        raise BrokenResultError("the stored result is not about a whole solve")
    return result.report
