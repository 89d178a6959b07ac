"""What a puzzle consists of, worked out once for all who ask."""

from __future__ import annotations

from typing import Any

from service import parts, parts_report, puzzle_shelf, results
from service.asked import parts_version
from service.specs import PartsSpec
from service.stores.base import Store
from service.works.aside import News
from service.works.whole import InOne


class PartsWork(InOne):
    """The report of `trefoil parts --json` on a puzzle."""

    def key_of(self, store: Store, spec: dict[str, Any]) -> str:
        own = PartsSpec.model_validate(spec)
        return own.key(puzzle_shelf.load(store, own.puzzle).digest, parts_version())

    def done(
        self, store: Store, spec: dict[str, Any], spent: float, news: News
    ) -> tuple[bytes, str | None, str]:
        own = PartsSpec.model_validate(spec)
        news.tell(step="what the puzzle consists of")
        puzzle = puzzle_shelf.load(store, own.puzzle)
        report = parts_report.parts(parts.parts(puzzle, store.levels))
        result = results.PartsResult(**results.head(puzzle), spec=own, report=report)
        return results.content(result), None, ""
