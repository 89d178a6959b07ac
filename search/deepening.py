"""Searching deeper and deeper: step after step of rings, with progress and a clean stop."""

from __future__ import annotations

import time
from collections.abc import Callable, Generator, Iterator
from dataclasses import dataclass

import numpy as np

from puzzles.errors import LimitError
from search import atlas, goals, plan, rings
from search.encoding import Scope
from search.kernels.records import RECORD
from search.shelves import Shelves


@dataclass(frozen=True, eq=False)
class Progress:
    """How far a search is: the shelves so far, the step at work and the share of it done.

    ``working`` is the step's half-length, ``step`` says what it is about. ``finished`` is true with
    the last one. ``seconds`` have gone by.
    """

    shelves: Shelves
    working: int
    step: str
    share: float
    seconds: float
    finished: bool = False


def deepen(
    scope: Scope,
    goal: goals.Goal,
    found: Shelves | None = None,
    threads: int = 1,
    stop: Callable[[], bool] = lambda: False,
) -> Iterator[Progress]:
    """Yield progress until a goal is reached, the time is over, or ``stop()`` says so.

    ``found`` is where an earlier search came to. Every step that is finished is settled before it
    is yielded; of a step that is broken off, the rings found so far are kept as well, but nothing
    is claimed for it. A search without bounds does what ``search.plan`` says, until nothing is left
    that fits; one that asks for a half-length does levels and nothing else, and raises LimitError
    for a level that would need too much memory.
    """
    _compile(scope)
    started = time.monotonic()
    shelves = found if found is not None else atlas.empty(scope)
    text = ""
    while not goal.reached(scope, shelves):
        step, astray = step_after(scope, shelves, goal)
        if step is None:
            break
        filling = atlas.Filling(scope, shelves)
        text = step.text
        broken = False
        for share in fill(scope, filling, step, threads):
            seconds = time.monotonic() - started
            over = goal.seconds is not None and seconds > goal.seconds
            if over or stop():
                broken = True
                break
            yield Progress(shelves, step.half_length, text, share, seconds)
        shelves = atlas.finish(settling(filling, None if broken else step, astray))
        if broken:
            break
        yield Progress(shelves, step.half_length, text, 1.0, time.monotonic() - started)
    seconds = time.monotonic() - started
    yield Progress(shelves, shelves.half_length, text, 1.0, seconds, True)


def step_after(scope: Scope, shelves: Shelves, goal: goals.Goal) -> tuple[plan.Step | None, bool]:
    """Return the step after some shelves, None for none, and whether it leaves the plan.

    Raises LimitError for a level that was asked for and would need too much memory.
    """
    planned = plan.next_step(scope, shelves)
    step = planned
    if goal.half_length is not None or (step is None and not shelves.half_length):
        step = _asked_for(scope, shelves)
    return step, shelves.astray or step != planned


def fill(
    scope: Scope, filling: atlas.Filling, step: plan.Step, threads: int = 1
) -> Iterator[float]:
    """Put the rings of a step on shelves; yield the share that is done, some 0.1 s apart.

    Slice by slice: all rings of a level at once take seconds, in which nobody can stop.
    """
    for part in step.joins(scope, threads):
        for _ in filling.putting(part.records):
            yield part.share
        yield part.share


def settling(
    filling: atlas.Filling, step: plan.Step | None, astray: bool
) -> Generator[None, None, Shelves]:
    """Return the shelves after a step, or, for None, with what there is of one; yield in between.

    ``astray``: the step leaves the plan.
    """
    found = filling.found
    if step is None:
        return filling.settling(found.half_length, found.steps, found.astray)
    if step.long is None:
        return filling.settling(step.half_length, found.steps, astray)
    return filling.settling(found.half_length, (*found.steps, step.long), astray)


def _asked_for(scope: Scope, shelves: Shelves) -> plan.Step:
    """Return the next level; raises LimitError if it would need too much memory."""
    half_length = shelves.half_length + 1
    if rings.memory(scope, half_length) > rings.MOST_BYTES:
        raise LimitError(
            f"half-length {half_length} would need more than {rings.MOST_BYTES // 10**6} MB; "
            f"everything up to half-length {shelves.half_length} is done"
        )
    return plan.level_step(scope, half_length)


def _compile(scope: Scope) -> None:
    """Run every kernel on next to nothing, so that compiling does not count as time to search."""
    filling = atlas.Filling(scope, atlas.empty(scope))
    for part in rings.level(scope, 2):
        filling.put(part.records)
    if len(filling.found.first):
        # Most puzzles have no rings as short as that.
        filling.gather(np.zeros((0, RECORD), dtype=np.uint8), 0)
    filling.put_words(*filling.new_words(), 0)
    filling.settled(2)
