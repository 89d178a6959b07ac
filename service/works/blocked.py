"""Searches on puzzles on which turns can be blocked, each done in one go."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from puzzles.puzzle import Puzzle
from search.atlas_entries import Pattern
from search.fixed import FixedProgress
from search.request import Bounds
from service import blocked, blocked_atlas, puzzle_shelf, results, stored
from service.engine import Engine
from service.representatives import atlas_request_of, request_of
from service.specs import AtlasSpec, FindSpec
from service.stores.base import Store
from service.works.aside import News
from service.works.whole import InOne

if TYPE_CHECKING:
    from search.deepening import Progress
    from search.goals import Goal

#: The most words that are told before a search is over.
MOST_TOLD = 12
#: The least share of its time that a search has when somebody else had begun it.
LEAST_SHARE = 0.25


class BlockedWork(InOne):
    """Sequences for a three-cycle."""

    def key_of(self, store: Store, spec: dict[str, Any]) -> str:
        return _key(store, FindSpec.model_validate(spec))

    def done(
        self, store: Store, spec: dict[str, Any], spent: float, news: News
    ) -> tuple[bytes, str | None, str]:
        own = FindSpec.model_validate(spec)
        puzzle = puzzle_shelf.load(store, own.puzzle)
        wanted = request_of(own, puzzle)
        wanted = replace(wanted, bounds=left_of(wanted.bounds, spent))
        found = blocked.searched(_engine(store, news), wanted)
        outcome = found.outcome
        return _find_result(own, puzzle, found), outcome.stopped_by, outcome.note


class BlockedAtlasWork(InOne):
    """The best sequences for all three-cycles of a type."""

    def key_of(self, store: Store, spec: dict[str, Any]) -> str:
        return _key(store, AtlasSpec.model_validate(spec))

    def done(
        self, store: Store, spec: dict[str, Any], spent: float, news: News
    ) -> tuple[bytes, str | None, str]:
        own = AtlasSpec.model_validate(spec)
        puzzle = puzzle_shelf.load(store, own.puzzle)
        wanted = atlas_request_of(own, puzzle)
        wanted = replace(wanted, bounds=left_of(wanted.bounds, spent))
        found = blocked_atlas.found(_engine(store, news), wanted, own.type)
        return _atlas_result(own, puzzle, found), found.stopped_by, ""


def _key(store: Store, own: FindSpec | AtlasSpec) -> str:
    return own.key(puzzle_shelf.load(store, own.puzzle).digest, stored.version())


def left_of(bounds: Bounds, spent: float) -> Bounds:
    """Return bounds with the time that is left of theirs, a share of it in any case."""
    limit = bounds.time_limit
    if limit is None or spent < 1.0:
        return bounds
    return replace(bounds, seconds=max(limit - spent, LEAST_SHARE * limit))


def _engine(store: Store, news: News) -> Engine:
    def watch(progress: Progress, goal: Goal) -> None:
        news.tell(step=progress.step, working=progress.working, share=progress.share)

    def watch_fixed(progress: FixedProgress) -> None:
        found = progress.found
        words = sorted(
            ((number, word) for number, own in enumerate(found.words) for word in own[:MOST_TOLD]),
            key=lambda item: (len(item[1]), item),
        )
        news.tell(
            step=f"sequences with {progress.working} turns in S, A and B",
            working=progress.working,
            half_length=found.level,
            complete=None,
            share=progress.share,
            best=found.best,
            left=None,
            words=[[number, list(word)] for number, word in words[:MOST_TOLD]],
        )

    return Engine(
        store.levels, notice=_unheard, watch=watch, stop=news.stop, watch_fixed=watch_fixed
    )


def _unheard(text: str) -> None:
    """Tell nobody what a person at a terminal would be told."""


def _find_result(spec: FindSpec, puzzle: Puzzle, found: blocked.Searched) -> bytes:
    met, ends = found.chosen.met, found.ends
    beside = None
    if met is not None:
        beside = results.BesideFound(
            calm=met.calm,
            turns=met.turns,
            of=met.of,
            half_length=met.half_length,
            steps=results.long_steps(met.steps),
            further=found.chosen.further,
        )
    result = results.BlockedResult(
        **results.head(puzzle, found.outcome.stopped_by, found.outcome.note),
        spec=spec,
        level=found.chosen.level,
        ends=results.EndsFound(**vars(ends)),
        words=results.done(puzzle, found.chosen.words, spec.setup),
        beside=beside,
    )
    return results.content(result)


def _atlas_result(spec: AtlasSpec, puzzle: Puzzle, found: blocked_atlas.AtlasFound) -> bytes:
    def said(own: Pattern) -> results.PatternFound:
        return results.PatternFound(turns=own.word, things=own.things, text=own.text)

    result = results.BlockedAtlasResult(
        **results.head(puzzle, found.stopped_by),
        spec=spec,
        level=found.level,
        says=found.says,
        impossible=found.impossible,
        never=found.never,
        entries=tuple(
            results.EntryFound(
                cycle=one.triple, shortest=said(one.shortest), easiest=said(one.easiest)
            )
            for one in found.entries
        ),
    )
    return results.content(result)
