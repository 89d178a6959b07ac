"""Long work as a person sees it: a progress bar, and Ctrl-C that ends it cleanly."""

from __future__ import annotations

import contextlib
import signal
import sys
from collections.abc import Iterator
from types import FrameType
from typing import TYPE_CHECKING, Any

from service.output import say

if TYPE_CHECKING:
    from rich.progress import Progress as Bar

    from search.deepening import Progress
    from search.effect_search import EffectProgress
    from search.fixed import FixedProgress
    from search.goals import Goal


class Stopper:
    """Whether somebody pressed Ctrl-C; a second time ends the program at once."""

    def __init__(self) -> None:
        self.pressed = False

    def __call__(self) -> bool:
        return self.pressed

    def _press(self, number: int, frame: FrameType | None) -> None:
        if self.pressed:
            raise KeyboardInterrupt
        self.pressed = True
        say("stopping; once more ends it at once")

    @contextlib.contextmanager
    def listening(self) -> Iterator[Stopper]:
        """Listen for Ctrl-C inside; afterwards it does what it did before."""
        before = signal.signal(signal.SIGINT, self._press)
        try:
            yield self
        finally:
            signal.signal(signal.SIGINT, before)


class Watcher:
    """A bar on standard error, only where that is a terminal, that appears when work begins."""

    def __init__(self) -> None:
        self._bar: Bar | None = None
        self._task: Any = None

    def __call__(self, progress: Progress, goal: Goal) -> None:
        if sys.stderr.isatty():
            level = progress.step
            self._show(progress.share, level, _best(progress, goal))

    def fixed(self, progress: FixedProgress) -> None:
        """Show how far a search in the fixed frame is."""
        if not sys.stderr.isatty():
            return
        found = progress.found
        if len(found.words) > 1:
            known = sum(bool(own) for own in found.words)
            best = f"{known} of {len(found.words)} cycles"
        else:
            best = f"best so far: {found.best} turns" if found.best else "nothing yet"
        self._show(progress.share, f"{progress.working} turns in S, A and B", best)

    def effect(self, progress: EffectProgress) -> None:
        """Show how far a search for an effect is."""
        if sys.stderr.isatty():
            best = min(map(len, progress.words), default=0)
            said = f"best so far: {best} turns" if best else "nothing yet"
            self._show(progress.share, progress.step, said)

    def far(self, progress: dict[str, Any]) -> None:
        """Show how far a search on a service is, from what it tells of it."""
        if not sys.stderr.isatty():
            return
        best = progress.get("best")
        share = progress.get("share") or 0.0
        level = str(progress.get("step") or "waiting for a worker")
        self._show(float(share), level, f"best so far: {best} turns" if best else "nothing yet")

    def _show(self, share: float, level: str, best: str) -> None:
        if self._bar is None:
            self._bar, self._task = started()
        self._bar.update(self._task, completed=share, level=level, best=best)

    def close(self) -> None:
        """Take the bar away."""
        if self._bar is not None:
            self._bar.stop()
            self._bar = None

    @contextlib.contextmanager
    def watching(self) -> Iterator[Watcher]:
        """Take the bar away at the end of the block."""
        try:
            yield self
        finally:
            self.close()


def started() -> tuple[Bar, Any]:
    """Return a bar on standard error, and its task, whose fields `level` and `best` are words."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    bar = Progress(
        TextColumn("{task.fields[level]}"),
        BarColumn(),
        TextColumn("{task.percentage:>3.0f} %"),
        TimeElapsedColumn(),
        TextColumn("{task.fields[best]}"),
        console=Console(stderr=True),
        transient=True,
    )
    task = bar.add_task("", total=1.0, level="", best="")
    bar.start()
    return bar, task


def _best(progress: Progress, goal: Goal) -> str:
    """Return the best so far in words: of the wanted cycles, or how many have something."""
    import numpy as np

    from search.kernels.arrays import NONE

    found = progress.shelves
    if goal.orbits is None:
        known = found.turns[found.turns < NONE]
        longest = f", at most {known.max()} turns" if len(known) else ""
        return f"{len(known)} of {len(found.turns)} patterns{longest}"
    best = int(found.turns[np.searchsorted(found.first, goal.orbits)].min(initial=NONE))
    return f"best so far: {best} turns" if best < NONE else "nothing yet"
