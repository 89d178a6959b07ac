"""Work that is done in one go, within the first plan of a job."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from service import results
from service.endings import PERSON
from service.stores.base import State, Store
from service.works.aside import News, aside
from service.works.base import Deal, End, Tick, Work

if TYPE_CHECKING:
    from search.encoding import Scope
    from search.goals import Goal
    from search.shelves import Shelves
    from service.engine import Engine


class StoppedError(Exception):
    """Raised where somebody stops the work and there is nothing to give before it is done."""


class InOne(Work):
    """Work whose first plan does everything: ``done`` returns a result and what stopped it."""

    @abstractmethod
    def done(
        self, store: Store, spec: dict[str, Any], spent: float, news: News
    ) -> tuple[bytes, str | None, str]:
        """Return the result, who or what ended the work early, and what else is to be said.

        Raises StoppedError.
        """

    @abstractmethod
    def key_of(self, store: Store, spec: dict[str, Any]) -> str:
        """Return the key that a job with this spec has."""

    def key(self, store: Store, spec: dict[str, Any], tick: Tick) -> str | None:
        return aside(lambda news: self.key_of(store, spec), tick)

    def plan(
        self,
        store: Store,
        spec: dict[str, Any],
        stage: int,
        parts: list[bytes],
        spent: float,
        tick: Tick,
    ) -> Deal | End:
        if not tick(None):
            return End(State.STOPPED)
        try:
            content, by, note = aside(lambda news: self.done(store, spec, spent, news), tick)
        except StoppedError:
            return End(State.STOPPED)
        outcome = {"result": results.keep(store, content), "stopped_by": by, "note": note}
        return End(State.STOPPED if by == PERSON else State.DONE, outcome)


def fetching(engine: Engine) -> Callable[[Scope, Goal], Shelves]:
    """Return what fetches shelves by searching; it raises StoppedError where that is stopped."""

    def fetch(scope: Scope, goal: Goal) -> Shelves:
        outcome = engine.search(scope, goal)
        if engine.stop():
            raise StoppedError
        return outcome.shelves

    return fetch
