"""Searching deeper and deeper: level after level of rings, with progress and a clean stop."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from puzzles.errors import LimitError
from search import atlas, goals, rings
from search.encoding import Scope
from search.shelves import Shelves


@dataclass(frozen=True, eq=False)
class Progress:
    """How far a search is: the shelves so far, the half-length at work and the share of it done.

    ``finished`` is true with the last one. ``seconds`` have gone by.
    """

    shelves: Shelves
    working: int
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

    ``found`` is where an earlier search came to. Every level that is finished is settled before it
    is yielded; of a level that is broken off, the rings found so far are kept as well, but nothing
    is claimed for it. A search without bounds ends before a level that would need too much memory;
    one that asks for that level raises LimitError.
    """
    _compile(scope)
    started = time.monotonic()
    shelves = found if found is not None else atlas.empty(scope)
    while not goal.reached(scope, shelves):
        half_length = shelves.half_length + 1
        if rings.memory(scope, half_length) > rings.MOST_BYTES:
            if goal.half_length is None and shelves.half_length:
                break
            raise LimitError(
                f"half-length {half_length} would need more than {rings.MOST_BYTES // 10**6} MB; "
                f"everything up to half-length {shelves.half_length} is done"
            )
        filling = atlas.Filling(scope, shelves)
        broken = False
        for part in rings.level(scope, half_length, threads):
            # Slice by slice: all rings of a level at once take seconds, in which nobody can stop.
            filling.put(part.records)
            seconds = time.monotonic() - started
            over = goal.seconds is not None and seconds > goal.seconds
            if over or stop():
                broken = True
                break
            yield Progress(shelves, half_length, part.share, seconds)
        done = half_length - 1 if broken else half_length
        shelves = filling.settled(done)
        if broken:
            break
        yield Progress(shelves, half_length, 1.0, time.monotonic() - started)
    yield Progress(shelves, shelves.half_length, 1.0, time.monotonic() - started, True)


def _compile(scope: Scope) -> None:
    """Run every kernel on next to nothing, so that compiling does not count as time to search."""
    filling = atlas.Filling(scope, atlas.empty(scope))
    for part in rings.level(scope, 2):
        filling.put(part.records)
    filling.settled(2)
