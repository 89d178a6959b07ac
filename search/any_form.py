"""Sequences of any form for a wanted effect: from both ends at once, and simple forms with setups.

All effects of up to d turns are known (``search.nearby``). If V does what U and then the wanted
effect do, U' V has it: so the shortest sequence of up to 2 d turns is found, or there is none.
Longer ones are found as S U' V S', and as powers of short words and commutators of these
(``search.forms``), whose other cycles die.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from puzzles.puzzle import Puzzle, Table, Word
from puzzles.words import normal
from search.channels import plan
from search.conjugates import Conjugates, pairs_of, settled
from search.forms import LONGEST, LONGEST_POWER, FormSearch
from search.nearby import Nearby

#: With more effects than this, the shortest of the words for any of them is enough.
MANY = 40
#: Words that meet at the least length are written out as long as there are at most so many.
FEW = 60
#: Of words that agree so many are compared with each other, and so many pairs at a time.
MOST_TOGETHER, BATCH = 200, 100_000
#: Words that are kept are at most so many turns longer than the shortest.
NEAR_BEST = 2
#: Where what is not moved tells fewer bits apart, nearly all words would agree.
LEAST_BITS = 6.0


class BothEnds:
    """Words U' V that have one of the wanted effects, the shortest of any form.

    ``found``: the number of the effect that each word does. ``none_up_to``: no sequence of any
    form with up to so many turns has one of the effects, besides those that are found.
    """

    def __init__(self, near: Nearby, wanted: Sequence[Table]) -> None:
        self.near, self.wanted = near, wanted
        self.found: dict[Word, int] = {}
        self.none_up_to = 0

    def run(self, puzzle: Puzzle, stop: Callable[[], bool]) -> Iterator[float]:
        """Look for words, U of few turns first; yield the share that is done.

        A word of n turns is met with a V of as many turns as are known, or with no U at all, so
        that the first one that is met for an effect is the shortest. With many effects it ends as
        soon as one is proven to be.
        """
        near = self.near
        order = np.argsort(near.keys)
        ordered = near.keys[order]
        narrowed = near.acting.narrowed(np.array(self.wanted))
        least: dict[int, int] = {}
        taken = [0] * len(narrowed)
        for depth, (begin, end) in enumerate(itertools.pairwise(near.begins)):
            for number, effect in enumerate(narrowed):
                keys = near.key_of(effect[near.homes[begin:end]])
                at = np.minimum(np.searchsorted(ordered, keys), len(ordered) - 1)
                first = np.flatnonzero(ordered[at] == keys)
                second = order[at[first]]
                if len(first):
                    turns = depth + near.depths(second)
                    best = least.setdefault(number, int(turns.min()))
                    for m in np.flatnonzero(turns == best)[: FEW - taken[number]].tolist():
                        back = puzzle.inverse(near.word(begin + int(first[m])))
                        word = normal(puzzle, (*back, *near.word(int(second[m]))))
                        self.found.setdefault(word, number)
                        taken[number] += 1
                yield (begin + (end - begin) * (number + 1) / len(narrowed)) / len(near.keys)
                if stop():
                    return
            self.none_up_to = depth + near.depth
            if len(narrowed) > MANY and min(least.values(), default=math.inf) <= self.none_up_to:
                return


class Around:
    """Words S U' V S': all U and V that agree on all but as many pieces as the effect moves.

    They are joined like rings (``search.channels``), on what is not moved or on blocks of slots;
    what U' V does is then looked up among the conjugates of the wanted effect.
    """

    def __init__(self, near: Nearby, places: Conjugates, counts: Mapping[int, int]) -> None:
        self.near, self.places, self.counts = near, places, counts
        self.found: dict[Word, int] = {}
        self.best: int | None = None

    def run(self, setup: int | None, stop: Callable[[], bool]) -> Iterator[float]:
        """Look for words with at most ``setup`` turns of S; yield the share that is done."""
        own, puzzle = self.near.acting, self.places.puzzle
        kinds = puzzle.type_of[own.slots]
        types = [puzzle.types[k] for k in sorted(set(kinds.tolist()))]
        chosen = plan(types, self.counts)
        if chosen.bits < LEAST_BITS:
            return
        others = ~np.isin(kinds, list(self.counts))
        block = np.zeros(len(kinds), dtype=np.int64)
        for local, n in chosen.blocks.items():
            inside = kinds == types[local].number
            block[inside] = (own.slots[inside] - types[local].first_slot) % n
        for done, choice in enumerate(chosen.choices, 1):
            agree = others.copy()
            for local, one in choice:
                agree |= (kinds == types[local].number) & (block == one)
            for _ in self._join(np.flatnonzero(agree), setup):
                yield done / len(chosen.choices)
                if stop():
                    return

    def _join(self, agree: NDArray[np.int64], setup: int | None) -> Iterator[None]:
        """Look at the pairs of words that agree on the pieces of some slots; yield now and then."""
        near = self.near
        keys = np.zeros(len(near.keys), dtype=np.uint64)
        for slot in agree.tolist():
            keys += near.values[slot, near.homes[:, slot]]
        order = np.argsort(keys, kind="stable")
        ordered = keys[order]
        yield
        # Neighbours that agree, then those one farther apart, while there are any.
        for step in range(1, MOST_TOGETHER):
            same = np.flatnonzero(ordered[step:] == ordered[:-step])
            if not len(same):
                return
            for begin in range(0, len(same), BATCH):
                part = same[begin : begin + BATCH]
                self._look(order[part], order[part + step], setup)
                yield

    def _look(self, first: NDArray[np.int64], second: NDArray[np.int64], setup: int | None) -> None:
        near, puzzle, own = self.near, self.places.puzzle, self.near.acting
        one, two = near.homes[first], near.homes[second]
        differ = one != two
        count = sum(self.counts.values())
        right = np.flatnonzero(differ.sum(axis=1) == count)
        if not len(right):
            return
        differ = differ[right]
        starts = own.placements[one[right][differ]].reshape(len(right), count)
        ends = own.placements[two[right][differ]].reshape(len(right), count)
        numbers = self.places.found(settled(puzzle, starts, ends).keys(puzzle))
        for k in np.flatnonzero(numbers >= 0).tolist():
            number, u, v = int(numbers[k]), int(first[right[k]]), int(second[right[k]])
            depth = int(self.places.depths[number])
            turns = int(near.depths(np.array([u, v])).sum()) + 2 * depth
            if (setup is not None and depth > setup) or (
                self.best is not None and turns > self.best + NEAR_BEST
            ):
                continue
            word = (*puzzle.inverse(near.word(u)), *near.word(v))
            whole = normal(puzzle, self.places.word(number, word))
            self.found.setdefault(whole, self.places.wanted_of(number))
            self.best = len(whole) if self.best is None else min(self.best, len(whole))


class EffectForms(FormSearch):
    """Simple forms that have a wanted effect, or one that setups make of it."""

    def __init__(
        self,
        places: Conjugates,
        turns: list[int],
        slots: NDArray[np.int64],
        count: int,
        setup: int | None,
    ) -> None:
        super().__init__(places.puzzle, turns, slots, places.symmetries)
        self.places, self.count, self.setup = places, count, setup
        #: The words found, each with the number of the effect that it does.
        self.found: dict[Word, int] = {}
        #: How many turns are named in the form of each word that was ever found.
        self.things: dict[Word, int] = {}

    def promising(self, changed: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Return the rows in which as many pieces move as in the wanted effect."""
        result: NDArray[np.bool_] = changed.sum(axis=1) == self.count
        return result

    def keep(self, word: Word, text: str | None) -> None:
        """Keep a word with its setup if it has a wanted effect."""
        puzzle = self.puzzle
        most = LONGEST if text is None or "," in text else LONGEST_POWER
        if len(word) > 2 * most:
            return
        effect = puzzle.effect(word)[None, :]
        pairs = pairs_of(puzzle, effect, self.slots, self.count)
        number = int(self.places.found(pairs.keys(puzzle))[0])
        if number < 0 or (self.setup is not None and self.places.depths[number] > self.setup):
            return
        whole = normal(puzzle, self.places.word(number, word))
        if len(whole) <= most:
            self.found.setdefault(whole, self.places.wanted_of(number))
            things = named(text or "") + int(self.places.depths[number])
            self.things[whole] = min(things, self.things.get(whole, things))


def named(text: str) -> int:
    """Return how many turns are named in brackets: not those that undo, nor repetitions."""
    return sum(not part.isdigit() for part in re.findall(r"[^][\s(),:]+", text))


def does(puzzle: Puzzle, word: Word, effect: Table, slots: NDArray[np.integer]) -> bool:
    """Return whether a word does an effect with the pieces of some slots."""
    homes = puzzle.home[slots]
    return bool((puzzle.effect(word)[homes] == effect[homes]).all())
