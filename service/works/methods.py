"""The method of a puzzle, worked out once for all who ask."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from service import methods, puzzle_shelf, results
from service.endings import PERSON
from service.engine import Engine
from service.specs import MethodSpec
from service.stores.base import State, Store
from service.works.aside import News
from service.works.base import Deal, End, Tick
from service.works.blocked import InOne
from service.works.finishing import StoppedError

if TYPE_CHECKING:
    from search.encoding import Scope
    from search.goals import Goal
    from search.shelves import Shelves


class MethodWork(InOne):
    """The report of `trefoil method --json` on a puzzle."""

    def plan(
        self,
        store: Store,
        spec: dict[str, Any],
        stage: int,
        parts: list[bytes],
        spent: float,
        tick: Tick,
    ) -> Deal | End:
        try:
            return super().plan(store, spec, stage, parts, spent, tick)
        except StoppedError:
            return End(State.STOPPED)

    def key_of(self, store: Store, spec: dict[str, Any]) -> str:
        own = MethodSpec.model_validate(spec)
        return methods.key_of(own, puzzle_shelf.load(store, own.puzzle))

    def done(
        self, store: Store, spec: dict[str, Any], spent: float, news: News
    ) -> tuple[bytes, str | None, str]:
        from search.method import find_methods
        from service import method_report

        own = MethodSpec.model_validate(spec)
        puzzle = puzzle_shelf.load(store, own.puzzle)
        engine = Engine(store.levels, stop=news.stop)

        def fetch(scope: Scope, goal: Goal) -> Shelves:
            outcome = engine.search(scope, goal)
            if news.stop():
                raise StoppedError
            return outcome.shelves

        def tell(text: str) -> None:
            news.tell(step=text)

        found = find_methods(puzzle, fetch, tell=tell, stop=news.stop)
        if news.stop() and not found.methods:
            raise StoppedError
        report = method_report.methods(found)
        result = results.MethodResult(**results.head(puzzle), spec=own, report=report)
        return results.content(result), PERSON if news.stop() else None, ""
