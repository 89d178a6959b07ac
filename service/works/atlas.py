"""Searches for all three-cycles of a piece type, in steps that can be dealt out."""

from __future__ import annotations

from typing import Any

from search.shelves import Shelves
from service import puzzle_shelf, results
from service.atlases import goal_of
from service.representatives import atlas_request_of, scope_of
from service.specs import AtlasSpec
from service.stores.base import Store
from service.works.base import Tick
from service.works.stepping import Clock, Opened, SteppingWork, opened
from service.works.telling import Teller


class AtlasWork(SteppingWork):
    """Shelves with the best words for every three-cycle of a type."""

    def opened(self, store: Store, spec: dict[str, Any]) -> Opened:
        own = AtlasSpec.model_validate(spec)
        puzzle = puzzle_shelf.load(store, own.puzzle)
        scope = scope_of(own, puzzle)
        return opened(own, puzzle, scope, goal_of(atlas_request_of(own, puzzle), scope))

    def result(self, own: Opened, shelves: Shelves, stopped_by: str | None, note: str) -> bytes:
        assert isinstance(own.spec, AtlasSpec)
        return results.atlas_result(own.spec, own.puzzle, own.scope, shelves, stopped_by, note)

    def teller(self, own: Opened, store: Store, clock: Clock, tick: Tick) -> Teller:
        return Teller(own.scope, own.goal, own.key, store, clock, tick)
