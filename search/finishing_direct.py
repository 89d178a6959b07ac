"""Short words that undo a state as it looks, or all of it but one type: met from both ends.

A word u from the state and a word x from the solved puzzle that look alike make the word u x',
which undoes the state. Of any word, one half is such a u and the other, undone, such an x, so that
all words of up to twice as many turns as the table of words has are looked at. What a word leads to
is told by a key: a sum of random values, one for each look at each place, type by type.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from puzzles.puzzle import Table, Word
from puzzles.words import normal
from search.solving_looks import Contents, Looks
from search.solving_words import ShortWords

#: The most pairs of words that are looked at for one number of turns.
MOST_PAIRS = 20_000
#: Words among which the one with least to remember is chosen.
MOST_CHOICES = 200
#: Fixed, so that a state is finished in the same way everywhere.
SEED = 20_261_126

Numbers = NDArray[np.int64]
Keys = NDArray[np.uint64]


@dataclass(frozen=True, eq=False)
class Direct:
    """Looks for words that undo states of one puzzle, pieces told apart as ``looks`` has it."""

    looks: Looks
    words: ShortWords
    _ends: dict[int, _End] = field(default_factory=dict, init=False, repr=False)

    @property
    def reach(self) -> int:
        """All words of up to so many turns are looked at."""
        return 2 * self.words.longest

    def fewest(self, effect: Table) -> list[Word]:
        """Return words that undo an effect (placements,), of the fewest turns of any form.

        None where every such word has more than ``reach`` turns.
        """
        for _, words in self._undoing(effect):
            return words
        return []

    def every(self, effect: Table, most: int = MOST_CHOICES) -> list[Word]:
        """Return words that undo an effect, those of fewer turns first, at most about ``most``."""
        result: list[Word] = []
        for _, words in self._undoing(effect):
            result += words
            if len(result) >= most:
                break
        return result

    def _undoing(self, effect: Table) -> Iterator[tuple[int, list[Word]]]:
        """Yield words that undo an effect by their number of turns, where there are any."""
        keys = self._from(effect)
        start: Keys = np.sum(keys, axis=0, dtype=np.uint64)
        end = self._end(None)
        for turns in range(self.reach + 1):
            u, x = end.pairs(start, turns, MOST_PAIRS)
            found = dict.fromkeys(self._joined(u[:MOST_CHOICES], x[:MOST_CHOICES]))
            # Keys of what looks different agree next to never; what is said is looked at anyway.
            right = [word for word in found if self._undone(effect, word)]
            if right:
                yield turns, right

    def _joined(self, u: Numbers, x: Numbers) -> Iterator[Word]:
        puzzle, words = self.words.puzzle, self.words
        for one, other in zip(u.tolist(), x.tolist(), strict=True):
            yield normal(puzzle, words.word(one) + puzzle.inverse(words.word(other)))

    def _undone(self, effect: Table, word: Word) -> bool:
        return Contents.of(self.looks, self.words.puzzle.effect(word)[effect]).solved

    def but_one(self, effect: Table) -> Iterator[tuple[int, Word, int]]:
        """Yield words after which only pieces of one type are wrong: its number, and how many.

        Of every type and number of turns at most ``MOST_PAIRS`` are looked at, and those yielded
        that leave the fewest pieces wrong.
        """
        if len(self._types) < 2:
            return
        keys = self._from(effect)
        whole: Keys = np.sum(keys, axis=0, dtype=np.uint64)
        for k, number in enumerate(self._types.tolist()):
            start, end = whole - keys[k], self._end(k)
            most: int | None = None
            for turns in range(self.reach + 1):
                u, x = end.pairs(start, turns, MOST_PAIRS)
                if not len(u):
                    continue
                wrong = self._wrong(effect, number, u, x)
                least = int(wrong.min())
                if most is None or least < most:
                    most = least
                    first = np.flatnonzero(wrong == least)[:1]
                    for word in self._joined(u[first], x[first]):
                        yield number, word, least

    def _wrong(self, effect: Table, number: int, u: Numbers, x: Numbers) -> Numbers:
        """Return how many slots of a type look wrong after the words u x'."""
        here = self._shown(effect, number, u)
        there = self._shown(np.arange(len(effect), dtype=np.int32), number, x)
        result: Numbers = np.count_nonzero(here != there, axis=0)
        return result

    def _shown(self, effect: Table, number: int, words: Numbers) -> Numbers:
        """Return what the slots of a type show after an effect and some words; (slots, words)."""
        puzzle, looks = self.words.puzzle, self.looks
        slots = puzzle.types[number].slots
        result = np.zeros((len(slots), len(words)), dtype=np.int64)
        seat = np.full(puzzle.slot_count, -1)
        seat[list(slots)] = np.arange(len(slots))
        columns = np.arange(len(words))
        for slot in slots:
            place = int(effect[puzzle.home[slot]])
            there = self.words.everywhere[int(puzzle.slot_of[place])][words].astype(np.int64)
            twist = self._twist(slot, int(puzzle.twist_of[place]))[there]
            shown = int(looks.kind[slot]) * int(looks.shown.max()) + twist
            result[seat[puzzle.slot_of[there]], columns] = shown
        return result

    @cached_property
    def _types(self) -> Numbers:
        """The numbers of the types of which it can be seen whether they are right."""
        return np.flatnonzero(self.looks.matters)

    def _twist(self, slot: int, twist: int) -> Numbers:
        """Return how the piece of a slot looks twisted where twist 0 would be at each placement.

        ``twist`` is its own; shape (placements,).
        """
        puzzle, looks = self.words.puzzle, self.looks
        turned: Numbers = puzzle.twist_of.astype(np.int64) + twist + int(looks.shift[slot])
        return turned % int(looks.shown[slot])

    @cached_property
    def _random(self) -> Keys:
        """A random value for each look in each slot; shape (slots, twists)."""
        shape = (self.words.puzzle.slot_count, int(self.looks.shown.max(initial=1)))
        return np.random.default_rng(SEED).integers(0, 2**63, size=shape, dtype=np.uint64)

    def _from(self, effect: Table) -> Keys:
        """Return the keys of what an effect and every word show; shape (types, words)."""
        puzzle, words = self.words.puzzle, self.words
        result = np.zeros((len(self._types), len(words.last)), dtype=np.uint64)
        for k, number in enumerate(self._types.tolist()):
            for slot in puzzle.types[number].slots:
                place = int(effect[puzzle.home[slot]])
                twist = self._twist(slot, int(puzzle.twist_of[place]))
                # An odd factor for each look of pieces: what looks the same has the same.
                factor = np.uint64(2 * int(self.looks.kind[slot]) + 1)
                values = self._random[puzzle.slot_of, twist] * factor
                result[k] += values[words.everywhere[int(puzzle.slot_of[place])]]
        return result

    @cached_property
    def _solved(self) -> Keys:
        """The keys of what words lead to from the solved puzzle; shape (types, words)."""
        return self._from(np.arange(self.words.puzzle.placement_count, dtype=np.int32))

    def _end(self, but: int | None) -> _End:
        """Return the other end, made when it is first asked for; ``but`` leaves one type out."""
        number = -1 if but is None else but
        if number not in self._ends:
            whole: Keys = np.sum(self._solved, axis=0, dtype=np.uint64)
            keys = whole if but is None else whole - self._solved[but]
            self._ends[number] = _End(self.words, keys)
        return self._ends[number]


class _End:
    """The keys of all words from the solved puzzle, each length sorted."""

    def __init__(self, words: ShortWords, keys: Keys) -> None:
        self._words = words
        begins = words.begins
        levels = [keys[begin:end] for begin, end in pairwise(begins)]
        self._orders = [np.argsort(level) for level in levels]
        self._sorted = [level[order] for level, order in zip(levels, self._orders, strict=True)]

    def pairs(self, start: Keys, turns: int, most: int) -> tuple[Numbers, Numbers]:
        """Return at most so many pairs of words, so many turns together, whose keys agree."""
        long, short = (turns + 1) // 2, turns // 2
        begins = self._words.begins
        own, ranked = start[begins[long] : begins[long + 1]], self._sorted[short]
        low = np.searchsorted(ranked, own)
        likely = np.flatnonzero(ranked[np.minimum(low, len(ranked) - 1)] == own)[:most]
        low = low[likely]
        counts = np.searchsorted(ranked, own[likely], side="right") - low
        # Where nearly everything agrees, as many words as there are may go with one.
        enough = int(np.searchsorted(np.cumsum(counts), most)) + 1
        likely, low, counts = likely[:enough], low[:enough], counts[:enough]
        u = np.repeat(likely, counts)[:most]
        first = np.repeat(low - np.cumsum(counts) + counts, counts)[:most]
        x = self._orders[short][np.arange(len(u)) + first]
        return u + begins[long], x + begins[short]
