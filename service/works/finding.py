"""Searches for a three-cycle, in steps that can be dealt out."""

from __future__ import annotations

from typing import Any

from search.goals import goal_for
from search.shelves import Shelves
from service import puzzle_shelf, results
from service.representatives import bounds_of, scope_of
from service.specs import FindSpec
from service.stores.base import Store
from service.works.base import Tick
from service.works.stepping import Clock, Opened, SteppingWork, opened
from service.works.telling import Teller


class FindWork(SteppingWork):
    """Words for any of a representative's three-cycles."""

    def opened(self, store: Store, spec: dict[str, Any]) -> Opened:
        own = FindSpec.model_validate(spec)
        puzzle = puzzle_shelf.load(store, own.puzzle)
        scope = scope_of(own, puzzle)
        return opened(own, puzzle, scope, goal_for(own.triples, bounds_of(own), scope))

    def result(self, own: Opened, shelves: Shelves, stopped_by: str | None, note: str) -> bytes:
        assert isinstance(own.spec, FindSpec)
        return results.find_result(own.spec, own.puzzle, own.scope, shelves, stopped_by, note)

    def teller(self, own: Opened, store: Store, clock: Clock, tick: Tick) -> Teller:
        assert isinstance(own.spec, FindSpec)
        triples, turns = own.spec.triples, own.spec.turns
        return Teller(own.scope, own.goal, own.key, store, clock, tick, triples, turns)
