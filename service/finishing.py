"""The last pieces as a job: what is asked for, what names it, and the answer that it gives."""

from __future__ import annotations

import hashlib
import json
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

import service
from puzzles.assemblies import judge
from puzzles.errors import TrefoilError
from puzzles.puzzle import Puzzle
from puzzles.states import State
from service import finish_report, stored
from service.questions import FinishEntry, FinishQuestion
from service.reports import Report
from service.specs import FinishSpec

#: The sources that decide what is said of a state, besides those of the search.
SOURCES = ("service/finish*.py", "puzzles/*.py")


@lru_cache(maxsize=1)
def version() -> str:
    """Return a digest of the sources that decide what a finish is and what is said of it."""
    folder = Path(service.__file__).parent.parent
    state = hashlib.sha256(stored.version().encode())
    for pattern in SOURCES:
        for path in sorted(folder.glob(pattern)):
            state.update(path.read_bytes())
    return state.hexdigest()[:16]


def spec_of(puzzle: Puzzle, question: FinishQuestion) -> FinishSpec:
    """Return what a question comes to; raises FieldError."""
    from service.requesting import FieldError

    given = question.model_dump(include={*finish_report.WAYS, "colours"})
    field = next(way for way in finish_report.WAYS if given[way] is not None)
    try:
        state = finish_report.entered(puzzle, given, question.apart)
    except TrefoilError as error:
        text = str(error)
        raise FieldError(text, "colours" if text.startswith("colours:") else field) from None
    return FinishSpec(
        puzzle=question.puzzle,
        table=tuple(state.table.tolist()),
        apart=question.apart,
        by=question.by,
    )


def state_of(spec: FinishSpec, puzzle: Puzzle) -> State:
    """Return the state that a spec is about."""
    return State(puzzle, np.array(spec.table, dtype=np.int32), spec.apart)


def impossible(spec: FinishSpec, puzzle: Puzzle) -> Report | None:
    """Return the report on a state that no sequence solves, None for any other.

    Where turns can be blocked that takes the tables of a whole solve: a worker tells.
    """
    if puzzle.can_block:
        return None
    state = state_of(spec, puzzle)
    verdict = judge(state)
    return None if verdict.possible else finish_report.without(state, spec.by, verdict)


def key_of(spec: FinishSpec, puzzle: Puzzle) -> str:
    """Return what names the job of a spec."""
    return spec.key(puzzle.digest, version())


def entry(puzzle: Puzzle, question: FinishEntry) -> bytes:
    """Return how far a state is entered, as JSON."""
    given = question.model_dump(include={*finish_report.WAYS, "colours"})
    return json.dumps(finish_report.entry(puzzle, given, question.apart)).encode()


def answer(result: Any) -> Report:
    """Return the report that is kept as a result; raises BrokenResultError for another's."""
    from service.results import BrokenResultError, FinishResult

    if not isinstance(result, FinishResult):
        raise BrokenResultError("the stored result is not about the last pieces of a puzzle")
    return result.report
