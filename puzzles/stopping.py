"""Stopping work that takes long: whoever begins it says how, and it looks now and then.

Some of it lies deep, in tables that are made when they are first asked for. So what is to be looked
at is not handed down: ``stoppable`` holds for all that is done inside it, in the same thread.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar

_LOOK: ContextVar[Callable[[], None] | None] = ContextVar("look", default=None)


@contextmanager
def stoppable(look: Callable[[], None]) -> Iterator[None]:
    """Let ``look`` end what is done inside: it raises whatever is to come out of the work."""
    token = _LOOK.set(look)
    try:
        yield
    finally:
        _LOOK.reset(token)


def look() -> None:
    """Raise what ends this work, if somebody wants it to end; called at least every 0.2 s."""
    own = _LOOK.get()
    if own is not None:
        own()
