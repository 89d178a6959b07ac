"""Work that has no slices of its own, done beside a thread that ticks."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Generic, TypeVar

from service.works.base import Tick

T = TypeVar("T")

#: Seconds between two ticks.
BETWEEN = 0.1
#: The name of the threads that do work.
NAME = "work"


@dataclass
class News:
    """What the work has to tell since the last tick, and whether it is to stop."""

    _told: dict[str, Any] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _stopping: threading.Event = field(default_factory=threading.Event)

    def tell(self, **told: Any) -> None:
        """Tell progress, as JSON fields."""
        with self._lock:
            self._told.update(told)

    def stop(self) -> bool:
        """Return whether to return what there is."""
        return self._stopping.is_set()

    def _taken(self) -> dict[str, Any] | None:
        with self._lock:
            told, self._told = self._told, {}
        return told or None


class _Doing(threading.Thread, Generic[T]):
    def __init__(self, act: Callable[[News], T], news: News) -> None:
        super().__init__(daemon=True, name=NAME)
        self._act, self._news = act, news
        self.result: T | None = None
        self.error: BaseException | None = None

    def run(self) -> None:
        try:
            self.result = self._act(self._news)
        except BaseException as error:
            self.error = error


def aside(act: Callable[[News], T], tick: Tick) -> T:
    """Return what an act gives, ticking while it goes on; raises what it raises.

    When a tick says to stop, the act is told and ends when it looks. Where it is to be let go at
    once, it is told as well, and nothing waits for it.
    """
    news = News()
    doing = _Doing(act, news)
    doing.start()
    try:
        while doing.is_alive():
            doing.join(BETWEEN)
            if not tick(news._taken()):
                news._stopping.set()
    except BaseException:
        news._stopping.set()
        raise
    if doing.error is not None:
        raise doing.error
    return doing.result  # type: ignore[return-value]


def left_behind() -> bool:
    """Return whether work of this process goes on that nobody waits for any more."""
    return any(thread.name == NAME for thread in threading.enumerate())
