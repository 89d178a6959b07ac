"""The method of a puzzle as a job: what names it, and the answer that it gives."""

from __future__ import annotations

import hashlib
from functools import lru_cache
from pathlib import Path
from typing import Any

import service
from puzzles.puzzle import Puzzle
from service import stored
from service.reports import Report
from service.specs import MethodSpec

#: The sources that decide what is said of a method, besides those of the search.
SOURCES = ("search/*.py", "service/method*.py", "puzzles/*.py", "puzzles/catalogue/*.json")


@lru_cache(maxsize=1)
def version() -> str:
    """Return a digest of the sources that decide what a method is and what is said of it."""
    folder = Path(service.__file__).parent.parent
    state = hashlib.sha256(stored.version().encode())
    for pattern in SOURCES:
        for path in sorted(folder.glob(pattern)):
            state.update(path.read_bytes())
    return state.hexdigest()[:16]


def key_of(spec: MethodSpec, puzzle: Puzzle) -> str:
    """Return what names the job of a spec."""
    return spec.key(puzzle.digest, version())


def answer(result: Any) -> Report:
    """Return the report that is kept as a result; raises BrokenResultError for another's."""
    from service.results import BrokenResultError, MethodResult

    if not isinstance(result, MethodResult):
        raise BrokenResultError("the stored result is not about the method of a puzzle")
    return result.report
