"""Searching for a wanted effect, deeper and deeper: any form, simple forms, then level by level.

First both ends (``any_form``), which finds short sequences of any form; then powers and
commutators of powers, which finds an answer soon; then the levels of rings (``search.rings``),
which find all commutator forms and prove what is the shortest (``search.claims``, whose proof is
about words and holds for every effect). Commutators do only even rearrangements of each part, and
their twists add up to nothing in each: for other effects no level is searched.
"""

from __future__ import annotations

import itertools
import math
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from puzzles.errors import LimitError, RequestError
from puzzles.puzzle import Word
from search import claims, rings
from search.any_form import LEAST_BITS, Around, BothEnds, EffectForms, does
from search.conjugates import Conjugates
from search.effect_rings import Gathering
from search.encoding import Scope, effect_scope
from search.impossible_effects import no_commutator
from search.nearby import acting, nearby
from search.request import MOST_HALF_LENGTH
from search.wanted import EffectRequest

#: Of a time limit, the shares after which both ends, setups around them and the simple forms have
#: had their turn.
ENDS_SHARE, AROUND_SHARE, FORMS_SHARE = 0.2, 0.4, 0.5
#: The simple forms go on for so many batches; for more where no levels come after them.
MOST_BATCHES, MOST_BATCHES_ALONE = 400, 8_000
#: Where the work is counted, so many times as many batches where no levels come after them.
ALONE = 4
#: Words that are handed on: the shortest ones, and none that is longer than the shortest by more.
MOST_HANDED, MOST_LONGER = 120, 12
#: Of the words of simple forms so many stay, however short others are.
MOST_SIMPLE = 40


@dataclass(frozen=True)
class Effort:
    """How much is looked at, in counts that are the same on every machine.

    ``around``: batches of pairs of words that agree, for sequences with setups. ``forms``: batches
    of simple forms, four times as many where nothing comes after them. ``conjugates``: those that
    levels of rings look at, for all joins; a level that would go beyond is not begun.
    """

    around: int
    forms: int
    conjugates: float

    def times(self, factor: float) -> Effort:
        """Return so many times as much."""
        return Effort(
            math.ceil(self.around * factor),
            math.ceil(self.forms * factor),
            self.conjugates * factor,
        )


@dataclass(frozen=True, eq=False)
class EffectProgress:
    """How far a search for an effect is.

    ``words``: those found so far in normal form, each with the effect that it does, a number in
    ``request.looking_alike()``. ``half_length``: levels that are done, None where commutators
    cannot have the effect or are not searched. ``none_up_to``: no sequence of any form has fewer
    or as many turns, besides words that are given. ``complete``: the same for commutator forms,
    None where nothing is proven. ``step`` says what is at work, ``share`` of it is done.
    ``cut_short``: the time was over, or somebody stopped, before it was done. ``note`` says what
    else ended it.
    """

    words: Mapping[Word, int]
    half_length: int | None
    none_up_to: int
    complete: int | None
    step: str
    share: float
    seconds: float
    finished: bool = False
    cut_short: bool = False
    note: str = ""


def search_effect(
    request: EffectRequest,
    *,
    threads: int = 1,
    stop: Callable[[], bool] = lambda: False,
    effort: Effort | None = None,
) -> Iterator[EffectProgress]:
    """Yield progress until the bounds are reached, the best is proven, or ``stop()`` says so.

    With an ``effort`` no more than that is looked at: what is found is then the same on every
    machine, unless a limit of time in the bounds is over before. Raises LimitError for a level that
    was asked for and would need too much memory.
    """
    yield from _Searching(request, threads, stop, effort).run()


class _Searching:
    def __init__(
        self,
        request: EffectRequest,
        threads: int,
        stop: Callable[[], bool],
        effort: Effort | None,
    ) -> None:
        self.request, self.threads, self._stop = request, threads, stop
        self.effort = effort
        self.puzzle, self.bounds = request.puzzle, request.bounds
        self.wanted = request.looking_alike()
        self.words: dict[Word, int] = {}
        self.simple: dict[Word, int] = {}
        self.half_length: int | None = None
        self.none_up_to = 0
        self.complete: int | None = None
        self.cut_short, self.note = False, ""
        #: The last simple form of which all were looked at.
        self.looked = ""
        self.started = time.monotonic()
        kinds = self.puzzle.type_of
        self.slots = np.flatnonzero(np.isin(kinds, request.kept_types))
        self.count = sum(count for _, count in request.counts)

    def over(self, share: float = 1.0) -> bool:
        """Return whether somebody stops, or so large a share of the time is over.

        Where the work is counted, all of the time is for whatever is at work.
        """
        limit = self.bounds.time_limit
        share = share if self.effort is None else 1.0
        gone = time.monotonic() - self.started
        return self._stop() or (limit is not None and gone > share * limit)

    def told(self, step: str, share: float, finished: bool = False) -> EffectProgress:
        seconds = time.monotonic() - self.started
        return EffectProgress(
            self.words,
            self.half_length,
            self.none_up_to,
            self.complete,
            step,
            share,
            seconds,
            finished,
            self.cut_short,
            self.note,
        )

    def take(self, words: Mapping[Word, int]) -> dict[Word, int]:
        """Take up words that can be done, have the effect and fit the bounds; return them."""
        puzzle, most = self.puzzle, self.bounds.turns
        right: dict[Word, int] = {}
        for word, number in words.items():
            if most is not None and len(word) > most:
                continue
            if puzzle.can_block and puzzle.first_blocked(word) is not None:
                continue
            if not does(puzzle, word, self.wanted[number], self.slots):
                raise RuntimeError("a word was found that does not do what it was found for")
            right[word] = number
        self.words |= right
        if len(self.words) > MOST_HANDED:
            kept = sorted(self.words, key=lambda word: (len(word), word))[:MOST_HANDED]
            self.words = {word: self.words[word] for word in kept}
        return right

    def take_simple(self, words: Mapping[Word, int], things: Mapping[Word, int]) -> None:
        """Take up words of simple forms; those with the fewest things to remember stay."""
        self.simple |= self.take(words)
        if len(self.simple) > MOST_SIMPLE:
            kept = sorted(self.simple, key=lambda word: (things[word], len(word), word))
            self.simple = {word: self.simple[word] for word in kept[:MOST_SIMPLE]}

    @property
    def best(self) -> int | None:
        return min(map(len, self.words), default=None)

    def run(self) -> Iterator[EffectProgress]:
        request = self.request
        scope = self._scope()
        if scope is not None:
            _compile(scope, request)
            self.started = time.monotonic()
        symmetries = scope.symmetries if scope is not None else ()
        layers = self.puzzle.turn_layer.tolist()
        turns = [t for t, layer in enumerate(layers) if layer in set(request.turning)]
        yield from self._both_ends(turns)
        if not self._settled():
            useful = scope.turns.tolist() if scope is not None else turns
            places = Conjugates(self.puzzle, self.wanted, self.slots, useful, symmetries)
            while (self.bounds.setup is None or places.depth < self.bounds.setup) and places.grow(
                stop=self.over
            ):
                yield self.told("setups", 0.0)
            yield from self._around(places, scope is None)
            yield from self._forms(places, turns, scope is None and not self.words)
            if scope is not None:
                yield from self._levels(scope, places)
            else:
                self.cut_short = self.over()
        elif scope is not None:
            # What is proven for every form is proven for commutators.
            self.complete = self.none_up_to
        self._leave_long()
        if self.effort is not None:
            self.note = self._counted()
        yield self.told("", 1.0, True)

    def _counted(self) -> str:
        """Say what was looked through where the work is counted, and whether time ended it."""
        said = [self.note] if self.note else []
        if self.looked:
            said.append(f"all simple forms as far as {self.looked} were looked through")
        elif not self._settled():
            said.append("simple forms were looked through in part")
        if self.over():
            said.append("time was over before this search was through")
        return "; ".join(said)

    def _settled(self) -> bool:
        """Return whether both ends have said all: nothing is shorter, or as short as is asked."""
        most, best = self.bounds.turns, self.best
        return (best is not None and best <= self.none_up_to) or (
            most is not None and most <= self.none_up_to
        )

    def _leave_long(self) -> None:
        """Leave out words that are much longer than the shortest."""
        best = self.best or 0
        self.words |= self.simple
        self.words = {w: n for w, n in self.words.items() if len(w) <= best + MOST_LONGER}

    def _scope(self) -> Scope | None:
        """Return the scope of the levels; None where commutators cannot have the effect."""
        request = self.request
        if self.puzzle.can_block or no_commutator(request):
            return None
        try:
            own = effect_scope(self.puzzle, request.layers, request.kept, request.counts)
        except RequestError:
            return None
        return own if own.bits >= LEAST_BITS else None

    def _both_ends(self, turns: list[int]) -> Iterator[EffectProgress]:
        request = self.request
        own = acting(self.puzzle, request.turning, request.kept_types)
        yield self.told("sequences of any form", 0.0)
        self.near = near = nearby(own, stop=lambda: self.over(ENDS_SHARE))
        ends = BothEnds(near, self.wanted)
        for share in ends.run(self.puzzle, lambda: self.over(ENDS_SHARE)):
            yield self.told(f"sequences of up to {2 * near.depth} turns", share)
        self.take(ends.found)
        if not self.puzzle.can_block:
            self.none_up_to = ends.none_up_to

    def _around(self, places: Conjugates, alone: bool) -> Iterator[EffectProgress]:
        around = Around(self.near, places, dict(self.request.counts))
        most = 1.0 if alone else AROUND_SHARE
        batches = None if self.effort is None else self.effort.around
        shares = around.run(self.bounds.setup, lambda: self.over(most))
        for share in itertools.islice(shares, batches):
            yield self.told(f"sequences of up to {2 * self.near.depth} turns with setups", share)
        self.take(around.found)

    def _forms(self, places: Conjugates, turns: list[int], alone: bool) -> Iterator[EffectProgress]:
        """Look at simple forms; ``alone``: nothing comes after them."""
        forms = EffectForms(places, turns, self.slots, self.count, self.bounds.setup)
        batches, most = 0, MOST_BATCHES_ALONE if alone else MOST_BATCHES
        if self.effort is not None:
            most = self.effort.forms * (ALONE if alone else 1)
        for text, steps in forms.stages(self.near):
            for share in steps:
                batches += 1
                self.take_simple(forms.found, forms.things)
                forms.found.clear()
                yield self.told(text, share)
                if self.over(1.0 if alone else FORMS_SHARE) or batches > most:
                    return
            self.looked = text

    def _levels(self, scope: Scope, places: Conjugates) -> Iterator[EffectProgress]:
        gathering = Gathering(scope, places, self.wanted, self.bounds.setup)
        asked = self._asked(scope)
        self.half_length = 0
        looked_at = 0.0
        while not self._reached(scope, asked):
            level = self.half_length + 1
            looked_at += rings.level_cost(scope, level) * len(scope.arrays.joins)
            if self.effort is not None and looked_at > self.effort.conjugates:
                return
            if rings.memory(scope, level) > rings.MOST_BYTES:
                most = f"half-length {level} would need more than {rings.MOST_BYTES // 10**6} MB"
                # Where no turns are proven, no search covers all words of so many turns.
                proves = claims.group_size(scope) is not None
                if self.bounds.half_length is not None or (asked is not None and proves):
                    done = f"everything up to half-length {self.half_length} is done"
                    raise LimitError(f"{most}; {done}")
                self.note = most
                return
            for part in rings.level(scope, level, self.threads):
                for _ in gathering.put(part.records):
                    pass
                yield self.told(f"half-length {level}", part.share)
                if self.over():
                    self.cut_short = True
                    self.take(gathering.words)
                    return
            self.take(gathering.words)
            if not self.words:
                for _ in gathering.walk():
                    yield self.told(f"setups for half-length {level}", 1.0)
                    if self.over():
                        break
                self.take(gathering.words)
            self.half_length = level
            self.complete = self._proven(scope, places, gathering)
            yield self.told(f"half-length {level}", 1.0)

    def _asked(self, scope: Scope) -> int | None:
        """Return the half-length that the bounds ask for, None if they leave it open."""
        bounds = self.bounds
        if bounds.turns is None:
            return bounds.half_length
        needed = claims.half_length_for(scope, bounds.turns) or (bounds.turns + 1) // 2
        return needed if bounds.half_length is None else min(needed, bounds.half_length)

    def _reached(self, scope: Scope, asked: int | None) -> bool:
        done = self.half_length or 0
        if done >= MOST_HALF_LENGTH:
            return True
        if asked is not None:
            return done >= asked
        best = self.best
        if best is None:
            return False
        return self.complete >= best if self.complete is not None else 2 * done >= best

    def _proven(self, scope: Scope, places: Conjugates, gathering: Gathering) -> int | None:
        """Return up to how many turns no shorter commutator form is left, None for nothing.

        All rings are known up to what ``claims`` says. A word S R S' has |R| + 2 |S| turns, so that
        with the shortest ring known and all setups up to some depth, longer setups give only
        longer words. A bound on setups leaves nothing to claim.
        """
        proven = claims.complete(scope, self.half_length or 0)
        if proven is None or self.bounds.setup is not None:
            return None
        if gathering.least is not None and not places.whole:
            proven = min(proven, gathering.least + 2 * (places.depth + 1) - 1)
        return max(proven, 0)


def _compile(scope: Scope, request: EffectRequest) -> None:
    """Run every kernel on next to nothing, so that compiling does not count as time to search."""
    slots = np.flatnonzero(np.isin(scope.puzzle.type_of, scope.kept))
    places = Conjugates(scope.puzzle, [request.effect], slots, [], ())
    gathering = Gathering(scope, places, [request.effect], None)
    for part in rings.level(scope, 2):
        for _ in gathering.put(part.records):
            pass
    gathering.warm_up()
