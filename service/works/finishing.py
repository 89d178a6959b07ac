"""The last pieces, put right by a worker."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from puzzles.stopping import stoppable
from service import finish_report, finishing, puzzle_shelf, results
from service.engine import Engine
from service.specs import FinishSpec
from service.stores.base import Store
from service.works.aside import News
from service.works.whole import InOne, StoppedError, fetching

if TYPE_CHECKING:
    from search.deepening import Progress
    from search.goals import Goal


class FinishWork(InOne):
    """The report of `trefoil finish --json` on a state."""

    def key_of(self, store: Store, spec: dict[str, Any]) -> str:
        own = FinishSpec.model_validate(spec)
        return finishing.key_of(own, puzzle_shelf.load(store, own.puzzle))

    def done(
        self, store: Store, spec: dict[str, Any], spent: float, news: News
    ) -> tuple[bytes, str | None, str]:
        own = FinishSpec.model_validate(spec)
        puzzle = puzzle_shelf.load(store, own.puzzle)

        def watch(progress: Progress, goal: Goal) -> None:
            news.tell(step=f"three-cycles: {progress.step}", share=progress.share)

        engine = Engine(store.levels, stop=news.stop, watch=watch)

        news.tell(step="which steps put the pieces right")
        state = finishing.state_of(own, puzzle)

        def end() -> None:
            if news.stop():
                raise StoppedError

        with stoppable(end):
            report = finish_report.finished(state, fetching(engine), own.by, None, news.stop)
        end()
        result = results.FinishResult(**results.head(puzzle), spec=own, report=report)
        return results.content(result), None, ""
