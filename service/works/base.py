"""What a kind of job promises to the worker that does it."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from service.stores.base import State, Store


class LetGoError(Exception):
    """Raised by a tick when the work is to be let go at once: nothing of it will be taken."""


#: Called between slices of work, at least every 200 ms, with what there is to tell (JSON fields of
#: ``progress``, merged into what was told before) or nothing. Returns whether to go on; False means
#: to stop and to return what there is. Raises LetGoError.
Tick = Callable[[dict[str, Any] | None], bool]


@dataclass(frozen=True)
class Deal:
    """A plan's outcome: the parts that are to be done next, and what there is to tell.

    ``found``: the result of a part that holds all that was found until then, if this is not what
    the plan was given. It is put together where the job is to stop before its parts are dealt.
    """

    parts: Sequence[bytes]
    progress: dict[str, Any] = field(default_factory=dict)
    found: bytes | None = None


@dataclass(frozen=True)
class End:
    """A plan's outcome: the job is over, with an outcome (JSON fields) or an error."""

    state: State
    outcome: dict[str, Any] = field(default_factory=dict)
    error: str = ""


class Work(ABC):
    """One kind of job. ``spec`` is the job's, read from JSON."""

    def key(self, store: Store, spec: dict[str, Any], tick: Tick) -> str | None:
        """Return what a job with this spec has as its key if it was asked of these sources.

        None where any sources do the same, or nothing can be said of it.
        """
        return None

    @abstractmethod
    def plan(
        self,
        store: Store,
        spec: dict[str, Any],
        stage: int,
        parts: list[bytes],
        spent: float,
        tick: Tick,
    ) -> Deal | End:
        """Put together what the parts of the stage before gave; say what is next, or end the job.

        ``stage`` counts from 0, where ``parts`` is empty. ``spent``: seconds before this that count
        against a time limit of the job, which are those of computing by all who worked on it
        (``loop.counted``). When a tick says to stop, the job is to end as STOPPED with what there
        is. Errors of the family ``puzzles.errors.TrefoilError`` end the job as failed, with their
        text.
        """

    def part(
        self, store: Store, spec: dict[str, Any], payload: bytes, spent: float, tick: Tick
    ) -> bytes:
        """Do one part and return its result, or what there is of it when a tick says to stop."""
        raise RuntimeError("work of this kind is done within its plan and has no parts")
