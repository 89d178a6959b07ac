"""How far a search is, told at ticks: share, what is proven, the best so far, seconds left."""

from __future__ import annotations

import json
import time
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from search import atlas, claims
from search.encoding import Scope
from search.frames import representatives
from search.goals import Goal
from search.kernels.arrays import NONE
from search.plan import Step
from search.representatives import words_of
from search.request import MOST_HALF_LENGTH
from search.rings import level_cost
from search.setups import within
from search.shelves import Shelves
from service.specs import Triple
from service.stores.base import Store, StoreError
from service.works.base import Tick

if TYPE_CHECKING:
    from service.works.stepping import Clock

#: Progress is told so often at most, in seconds, and the best so far is looked for so often.
TELL_SECONDS = 0.4
LOOK_SECONDS = 2.0
#: Before so many seconds of a step have gone by, nobody knows how long it takes.
KNOWN_SECONDS = 0.5
#: Neither before so much of it is done.
KNOWN_SHARE = 0.02
#: The most words that are told before a search is over, of this many three-cycles at most.
MOST_TOLD = 12
MOST_CYCLES = 3


class Teller:
    """Ticks with what there is to tell of one job; ``stopped`` once a tick has said so.

    ``triples`` are the wanted three-cycles of an asker who wants one of them, empty for an atlas;
    ``setup`` and ``turns`` are their bounds. ``best`` is the least number of executed turns known,
    ``share`` what is done of the step at work.
    """

    def __init__(
        self,
        scope: Scope,
        goal: Goal,
        key: str,
        store: Store,
        clock: Clock,
        tick: Tick,
        triples: Sequence[Triple] = (),
        turns: int | None = None,
    ) -> None:
        self.scope, self.goal, self.key = scope, goal, key
        self.store, self.clock, self.tick = store, clock, tick
        self.triples, self.turns = triples, turns
        place = {int(p): k for k, p in enumerate(scope.placements)}
        own = [[place[p] for p in triple] for triple in triples]
        self._numbers = representatives(scope, np.array(own, dtype=np.int64).reshape(-1, 3))
        self.best: int | None = None
        self.share = 0.0
        self.stopped = False
        self._found: Shelves | None = None
        self._step: Step | None = None
        self._began, self._from = 0.0, 0.0
        self._words: list[list[Any]] | None = None
        self._told, self._looked = 0.0, time.monotonic()
        self._rings = 0

    def begin(
        self,
        found: Shelves,
        step: Step,
        best: int | None = None,
        began: float | None = None,
        share: float = 0.0,
    ) -> None:
        """Tell of a step from now on, which others began at a time, with a share of it done."""
        self._found, self._step = found, step
        self._began = self.clock.now if began is None else began
        self._from = self.share = share
        self._rings = found.rings
        if best is not None:
            self.best = best
        elif self.best is None:
            # What an earlier search has found is told at once.
            self._take_up(found)

    def complete(self, found: Shelves) -> None:
        """Take up what the shelves after a step say."""
        self._found, self.share = found, 1.0
        self._take_up(found)

    def go_on(self, share: float, filling: atlas.Filling | None = None) -> bool:
        """Tick, and tell what there is to tell now and then; return whether to go on."""
        self.share = share
        now = time.monotonic()
        told = None
        if filling is not None and now - self._looked > LOOK_SECONDS:
            self._look(filling)
            self._looked = time.monotonic()
        if now - self._told > TELL_SECONDS:
            self._told = now
            told = self._with_others(self.news())
        self.stopped |= not self.tick(told)
        return not self.stopped

    def news(self) -> dict[str, Any]:
        """Return all there is to tell."""
        found, step = self._found, self._step
        if found is None or step is None:
            return {}
        told: dict[str, Any] = {
            "step": step.text,
            "working": step.half_length,
            "half_length": found.half_length,
            "complete": claims.complete(self.scope, found.half_length),
            "share": round(self.share, 4),
            "left": self._left(step),
        }
        if self._words is not None:
            told |= {"best": self.best, "words": self._words}
        return told

    def _with_others(self, told: dict[str, Any]) -> dict[str, Any]:
        """Return news in which what others at work on the job told stays where it is better."""
        try:
            job = self.store.jobs.job(self.key)
            before = json.loads(job.progress) if job is not None and job.progress else {}
        except (StoreError, ValueError):
            return told
        if before.get("step") == told.get("step") and "share" in told:
            told["share"] = max(told["share"], before.get("share") or 0.0)
        best = before.get("best")
        if "best" in told and best is not None and best <= told["best"]:
            if best < told["best"]:
                self.best, self._words = best, None
            told.pop("best")
            told.pop("words")
        return told

    def _look(self, filling: atlas.Filling) -> None:
        """Look whether the rings that were found of a step are better than all before."""
        if not self.triples or filling.rings == self._rings:
            return
        self._rings = filling.rings
        found = filling.found
        self._take_up(atlas.finish(filling.settling(found.half_length, found.steps, found.astray)))

    def _take_up(self, found: Shelves) -> None:
        best = self._best_of(found)
        if best is None or (self.best is not None and best >= self.best and self._words):
            return
        if self.best is None or best <= self.best:
            self.best = best
            self._words = self._words_of(found)

    def _best_of(self, found: Shelves) -> int | None:
        turns = self._turns_of(found)
        best = min(turns, default=NONE)
        return best if best < NONE else None

    def _turns_of(self, found: Shelves) -> list[int]:
        """Return the least executed turns that are known for each of the wanted three-cycles."""
        if not self.triples:
            return []
        turns = found.turns
        if self.goal.setup is not None:
            own = found.shortest.cost[:, 0].astype(np.int64)
            turns = within(self.scope, found.first, own, 2, self.goal.setup)
        known: list[int] = turns[np.searchsorted(found.first, self._numbers)].tolist()
        return known

    def _words_of(self, found: Shelves) -> list[list[Any]]:
        """Return words for those of the wanted three-cycles that have the best, the best first."""
        turns = self._turns_of(found)
        chosen = sorted(range(len(turns)), key=lambda k: (turns[k], k))[:MOST_CYCLES]
        some = [self.triples[k] for k in chosen]
        words = words_of(self.scope, found, some, self.goal.setup, self.turns)
        every = sorted(words.items(), key=lambda item: (len(item[0]), item))
        return [[chosen[number], list(word)] for word, number in every[:MOST_TOLD]]

    def _left(self, step: Step) -> float | None:
        """Return about how many seconds are left, None if nobody knows.

        By how many conjugates a second were looked at since the step began, by all who work on it.
        The time that a search may take at most says nothing about how much it needs.
        """
        limit = self.clock.left
        spent, done = self.clock.now - self._began, self.share - self._from
        further = self._further(step)
        if done < KNOWN_SHARE or spent < KNOWN_SECONDS or further is None:
            return None
        rate = done * step.conjugates / spent
        left = ((1.0 - self.share) * step.conjugates + further) / rate
        return round(left if limit is None else min(left, limit), 1)

    def _further(self, step: Step) -> float | None:
        """Return how many conjugates are looked at after a step, None if nobody knows.

        A search that proves its best ends where the step at work is the last that this takes; else
        something better may be found first, which takes fewer.
        """
        last = self.goal.half_length
        if last is not None:
            return sum(level_cost(self.scope, h) for h in range(step.half_length + 1, last + 1))
        if self.best is None or step.long is not None:
            return None
        last = claims.half_length_for(self.scope, self.best) or (self.best + 1) // 2
        return 0.0 if step.half_length >= min(last, MOST_HALF_LENGTH) else None
