"""The method of a puzzle, worked out once for all who ask."""

from __future__ import annotations

from typing import Any

from service import methods, puzzle_shelf, results
from service.endings import PERSON
from service.engine import Engine
from service.specs import MethodSpec
from service.stores.base import Store
from service.works.aside import News
from service.works.whole import InOne, StoppedError, fetching


class MethodWork(InOne):
    """The report of `trefoil method --json` on a puzzle."""

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

        def tell(text: str) -> None:
            news.tell(step=text)

        found = find_methods(puzzle, fetching(engine), tell=tell, stop=news.stop)
        if news.stop() and not found.methods:
            raise StoppedError
        report = method_report.methods(found)
        result = results.MethodResult(**results.head(puzzle), spec=own, report=report)
        return results.content(result), PERSON if news.stop() else None, ""
