"""A whole puzzle, solved by a worker."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from service import puzzle_shelf, results, solutions
from service.engine import Engine
from service.specs import SolveSpec
from service.stores.base import Store
from service.works.aside import News
from service.works.whole import InOne, StoppedError

if TYPE_CHECKING:
    from search.deepening import Progress
    from search.goals import Goal


class SolveWork(InOne):
    """The report of `trefoil solve --json` on a state, as pages have it."""

    def key_of(self, store: Store, spec: dict[str, Any]) -> str:
        own = SolveSpec.model_validate(spec)
        return solutions.key_of(own, puzzle_shelf.load(store, own.puzzle))

    def done(
        self, store: Store, spec: dict[str, Any], spent: float, news: News
    ) -> tuple[bytes, str | None, str]:
        from search.solving_learned import learned_in
        from service.solving import solved

        own = SolveSpec.model_validate(spec)
        puzzle = puzzle_shelf.load(store, own.puzzle)

        def watch(progress: Progress, goal: Goal) -> None:
            news.tell(step=f"three-cycles: {progress.step}", share=progress.share)

        news.tell(step="one step after the other")
        state = solutions.state_of(own, puzzle)
        known = None if own.learned is None else learned_in(puzzle, own.learned)
        try:
            found = solved(Engine(store.levels, stop=news.stop, watch=watch), state, known)
        except KeyboardInterrupt:
            raise StoppedError from None
        report = solutions.report(state, found)
        result = results.SolveResult(**results.head(puzzle), spec=own, report=report)
        return results.content(result), None, ""
