"""Tables as Markdown, and how times are taken: several repeats, the least of them."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

T = TypeVar("T")


@dataclass(frozen=True)
class Table:
    """Rows under a head, with a title and notes on how they were measured."""

    title: str
    head: Sequence[str]
    rows: Sequence[Sequence[str]]
    notes: Sequence[str] = field(default=())

    def markdown(self) -> str:
        """Return the table as Markdown, columns as wide as they need to be."""
        lines = [list(self.head), *(list(row) for row in self.rows)]
        widths = [max(3, *(len(line[k]) for line in lines)) for k in range(len(self.head))]

        def drawn(cells: Sequence[str]) -> str:
            return "| " + " | ".join(c.ljust(w) for c, w in zip(cells, widths, strict=True)) + " |"

        rule = "|" + "|".join("-" * (w + 2) for w in widths) + "|"
        text = [f"### {self.title}", "", drawn(lines[0]), rule, *map(drawn, lines[1:])]
        return "\n".join([*text, *(f"\n{note}" for note in self.notes)])


def timed(
    work: Callable[[], T], repeats: int, clock: Callable[[], float] = time.thread_time
) -> tuple[float, T]:
    """Return the least time of several repeats, in seconds of a clock, and the last result.

    By default the processor time of this thread, which others on a shared machine lengthen least.
    """
    times = []
    for _ in range(max(1, repeats)):
        started = clock()
        result = work()
        times.append(clock() - started)
    return min(times), result


def least(work: Callable[[], object], repeats: int) -> float:
    """Return the least processor time of several repeats, in seconds."""
    return timed(work, repeats)[0]


def seconds(value: float) -> str:
    """Return a time with the unit that suits it."""
    if value < 0.1:
        return f"{value * 1000:.3g} ms"
    return f"{value:.3g} s"


def against(value: float, target: float) -> str:
    """Return whether a time is within its target."""
    return f"{seconds(target)}: {'met' if value <= target else '**missed**'}"
