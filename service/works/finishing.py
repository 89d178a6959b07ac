"""The last pieces, put right by a worker."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from service import finish_report, finishing, puzzle_shelf, results
from service.engine import Engine
from service.specs import FinishSpec
from service.stores.base import State, Store
from service.works.aside import News
from service.works.base import Deal, End, Tick
from service.works.blocked import InOne

if TYPE_CHECKING:
    from search.deepening import Progress
    from search.encoding import Scope
    from search.goals import Goal
    from search.shelves import Shelves


class StoppedError(Exception):
    """Raised where somebody stops the work: there is nothing to give before it is done."""


class FinishWork(InOne):
    """The report of `trefoil finish --json` on a state."""

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
        own = FinishSpec.model_validate(spec)
        return finishing.key_of(own, puzzle_shelf.load(store, own.puzzle))

    def done(
        self, store: Store, spec: dict[str, Any], spent: float, news: News
    ) -> tuple[bytes, str | None, str]:
        from search.finishing_tables import Tables

        own = FinishSpec.model_validate(spec)
        puzzle = puzzle_shelf.load(store, own.puzzle)

        def watch(progress: Progress, goal: Goal) -> None:
            news.tell(step=f"three-cycles: {progress.step}", share=progress.share)

        engine = Engine(store.levels, stop=news.stop, watch=watch)

        def fetch(scope: Scope, goal: Goal) -> Shelves:
            outcome = engine.search(scope, goal)
            if news.stop():
                raise StoppedError
            return outcome.shelves

        news.tell(step="which steps put the pieces right")
        tables = Tables(puzzle, own.apart, fetch)
        report = finish_report.finished(
            tables, finishing.state_of(own, puzzle), own.by, None, news.stop
        )
        if news.stop():
            raise StoppedError
        result = results.FinishResult(**results.head(puzzle), spec=own, report=report)
        return results.content(result), None, ""
