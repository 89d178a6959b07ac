"""Searches for an effect, each done in one go."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from service import effects, puzzle_shelf, results, stored
from service.engine import Engine
from service.specs import EffectSpec
from service.stores.base import Store
from service.works.aside import News
from service.works.blocked import MOST_TOLD, left_of
from service.works.whole import InOne

if TYPE_CHECKING:
    from search.effect_search import EffectProgress


class EffectWork(InOne):
    """Sequences for any small product of cycles."""

    def key_of(self, store: Store, spec: dict[str, Any]) -> str:
        own = EffectSpec.model_validate(spec)
        return own.key(puzzle_shelf.load(store, own.puzzle).digest, stored.version())

    def done(
        self, store: Store, spec: dict[str, Any], spent: float, news: News
    ) -> tuple[bytes, str | None, str]:
        own = EffectSpec.model_validate(spec)
        wanted = effects.request_of(own, puzzle_shelf.load(store, own.puzzle))
        wanted = replace(wanted, bounds=left_of(wanted.bounds, spent))

        def watch(progress: EffectProgress) -> None:
            words = sorted(progress.words.items(), key=lambda item: (len(item[0]), item))
            news.tell(
                step=progress.step,
                working=None if progress.half_length is None else progress.half_length + 1,
                half_length=progress.half_length,
                complete=progress.complete,
                share=progress.share,
                best=len(words[0][0]) if words else None,
                left=None,
                words=[[number, list(word)] for word, number in words[:MOST_TOLD]],
            )

        engine = Engine(store.levels, stop=news.stop, watch_effect=watch)
        result = effects.searched(engine, wanted, own)
        return results.content(result), result.stopped_by, result.note
