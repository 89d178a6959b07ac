"""Stored levels of searches: what names them, which of them counts for a goal, what fits memory."""

from __future__ import annotations

import hashlib
import zipfile
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import search
from puzzles.errors import LimitError
from search import claims
from search.encoding import Scope
from search.goals import Goal
from search.request import SECONDS, Bounds
from search.shelves import Shelves
from service.stores import Levels

#: The modules whose sources may decide what stands on shelves, which are not read after an edit:
#: all of the search, since a list of those that matter is soon one module short.
SOURCES = ("*.py", "kernels/*.py")


@lru_cache(maxsize=1)
def version() -> str:
    """Return a digest of the sources that decide what stands on shelves."""
    folder = Path(search.__file__).parent
    state = hashlib.sha256()
    for pattern in SOURCES:
        for path in sorted(folder.glob(pattern)):
            state.update(path.read_bytes())
    return state.hexdigest()[:16]


def levels_key(scope: Scope) -> str:
    """Return under what the levels of a scope's search are stored."""
    return f"{scope.key}|{version()}"


def read(data: bytes | None) -> Shelves | None:
    """Return stored shelves, None for bytes that are none."""
    if data is None:
        return None
    try:
        return Shelves.from_bytes(data)
    except (ValueError, KeyError, TypeError, OSError, EOFError, zipfile.BadZipFile):
        return None


def deepest(levels: Levels, scope: Scope, goal: Goal) -> Shelves | None:
    """Return the first stored shelves that reach a goal, else the deepest within its bound.

    What is found does not depend on what else is stored: deeper shelves than a goal needs are not
    looked at, nor those that its search would not have come by.
    """
    key = levels_key(scope)
    best: Shelves | None = None
    for number in reversed(levels.numbers(key)):
        if goal.half_length is not None and number > goal.half_length:
            continue
        shelves = read(levels.get(key, number))
        if shelves is None or shelves.number != number:
            continue
        if goal.half_length is None and shelves.astray:
            continue
        if not goal.reached(scope, shelves):
            return best or shelves
        best = shelves
        if goal.half_length is not None:
            break
    return best


def within_memory(scope: Scope, goal: Goal, bounds: Bounds | None) -> tuple[Goal, str]:
    """Return a goal that fits memory, and what to say if it ends by time; raises LimitError.

    Where the half-length for so many turns is too large, that is an error if half-lengths prove
    turns, or if one was asked for. Elsewhere no search covers all words of so many turns, and what
    is found for a while is as good as any. ``bounds`` are what somebody gave for the goal.
    """
    from search import rings

    bound = goal.half_length
    if bound is None or rings.memory(scope, bound) <= rings.MOST_BYTES:
        return goal, ""
    turns = None if bounds is None or bound == bounds.half_length else bounds.turns
    limit = f"tables of more than {rings.MOST_BYTES // 10**6} MB"
    if turns is None or claims.group_size(scope) is not None:
        asked = f"half-length {bound} would need"
        if turns is not None:
            asked = f"{turns} turns would need half-length {bound}, and that"
        raise LimitError(
            f"{asked} {limit} on this puzzle; a smaller bound, fewer layers or fewer kept "
            "types would fit"
        )
    note = f"not all of {turns} turns can be searched, which would need {limit}"
    if goal.seconds is None:
        note += f"; stopped after {SECONDS:g} s"
    return replace(goal, half_length=None, seconds=goal.seconds or SECONDS), note


def why_over(scope: Scope, goal: Goal, shelves: Shelves) -> str | None:
    """Return why a search without bounds has nothing left to do; None if it has."""
    from search import plan, rings

    if goal.half_length is not None or plan.next_step(scope, shelves) is not None:
        return None
    limit, following = rings.MOST_BYTES // 10**6, shelves.half_length + 1
    return f"half-length {following} would need more than {limit} MB"
