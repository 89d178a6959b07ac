"""Words for every element of a permutation group: a stabiliser chain whose entries are short words.

T. Minkwitz, An algorithm for solving the factorization problem in permutation groups, J. Symbolic
Computation 26, 1998: level k has, for each point that the stabiliser of the first k base points
carries base point k to, a word of that stabiliser. Words are put through the chain from the
shortest on; one that is shorter than the entry where it arrives takes its place, and what is left
of it goes on to the next level. Products of entries fill what is still missing and make words
shorter. An element is then the product of at most one entry from each level.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from puzzles.chain import Chain
from puzzles.errors import LimitError
from puzzles.stopping import look

Permutation = NDArray[np.int32]
#: Generators by number, in the order in which they are done.
Factors = tuple[int, ...]

#: Words of generators that are put through the chain one by one before products of entries are.
SHORT_WORDS = 4_000
#: What is left of a word is put on the next level only while it is no longer than this many times
#: the longest that came in; each round lets longer ones pass.
GROWTH = 1.25
#: Rounds of products of entries before a chain that is not full is given up.
MOST_ROUNDS = 60
#: Random products that are put through in each round, and rounds after the chain is full.
PRODUCTS, POLISHING = 2_000, 3
#: Entries that are looked up or put in, each on all points, before a chain that is not full is
#: given up: some three quarters of a minute of work on one core.
MOST_STEPS = 20_000_000
#: Fixed, so that the same group has the same words everywhere.
SEED = 20_260_103


@dataclass
class _Entry:
    """An element that carries a base point somewhere, as a word and as tables."""

    word: Factors
    there: Permutation
    back: Permutation


class Factoring:
    """Words in generators for all elements of the group that they generate.

    ``generators`` (n, points) are permutations, ``inverses`` the number of the generator that
    undoes each, ``order`` is how many elements the group has, if that is known. Raises LimitError
    where the order cannot be found out, or no words for some elements within ``MOST_STEPS``. It
    looks whether it is to stop (``puzzles.stopping``).
    """

    def __init__(
        self, generators: NDArray[np.integer], inverses: Sequence[int], order: int | None = None
    ) -> None:
        self.generators = generators.astype(np.int32)
        self.inverses = tuple(int(k) for k in inverses)
        self.points = generators.shape[1]
        self._identity = np.arange(self.points, dtype=np.int32)
        moved = (self.generators != self._identity).any(axis=0)
        self.base: list[int] = np.flatnonzero(moved).tolist()
        self.order = self._order() if order is None else order
        self._levels: list[dict[int, _Entry]] = [
            {point: _Entry((), self._identity, self._identity)} for point in self.base
        ]
        self._random = np.random.default_rng(SEED)
        #: Entries that were looked up or put in.
        self.steps = 0
        self._fill()

    @property
    def full(self) -> bool:
        """Whether every element of the group has a word."""
        return math.prod(len(level) for level in self._levels) == self.order

    def word(self, permutation: NDArray[np.integer]) -> Factors | None:
        """Return generators whose product, left to right, is a permutation; None for no element."""
        left = permutation.astype(np.int32)
        result: list[Factors] = []
        for point, level in zip(self.base, self._levels, strict=True):
            entry = level.get(int(left[point]))
            if entry is None:
                return None
            result.append(entry.word)
            left = entry.back[left]
        if not np.array_equal(left, self._identity):
            return None
        # What was undone last was done first.
        return self.shortened(k for word in reversed(result) for k in word)

    def shortened(self, word: Iterable[int]) -> Factors:
        """Return a word without generators that are undone right after they were done."""
        result: list[int] = []
        for k in word:
            if result and self.inverses[result[-1]] == k:
                result.pop()
            else:
                result.append(k)
        return tuple(result)

    def _order(self) -> int:
        chain = Chain(self.generators, (0,))
        if not chain.verified:
            raise LimitError("the group is too large for a chain of words")
        return chain.order

    def _fill(self) -> None:
        """Put short words through the chain, then products, until every element has a word."""
        longest = 0
        for word, there in self._short():
            longest = max(longest, len(word))
            self._put(word, there, 4 * len(word) + 8)
        limit = 4.0 * longest + 8
        for _ in range(MOST_ROUNDS):
            if self.full or self.steps > MOST_STEPS:
                break
            self._round(limit)
            limit *= 1.0 if self.full else GROWTH
        if not self.full:
            known, digits = math.prod(len(level) for level in self._levels), len(str(self.order))
            raise LimitError(
                f"no words were found for some elements of a group of about 10^{digits - 1} "
                f"elements: after {self.steps:,} steps products of short words reach "
                f"{known / self.order:.1g} of it"
            )
        for _ in range(POLISHING):
            self._round(limit)

    def _short(self) -> Iterator[tuple[Factors, Permutation]]:
        """Yield short words, each with what it does, those with fewer generators first."""
        level: list[tuple[Factors, Permutation]] = [((), self._identity)]
        seen = {self._identity.tobytes()}
        count = 0
        while level and count < SHORT_WORDS:
            following = []
            for word, there in level:
                for k, generator in enumerate(self.generators):
                    after = generator[there]
                    if (name := after.tobytes()) in seen:
                        continue
                    seen.add(name)
                    following.append(((*word, k), after))
                    yield following[-1]
                    count += 1
                    if count >= SHORT_WORDS:
                        return
            level = following

    def _undone(self, word: Factors) -> Factors:
        return tuple(self.inverses[k] for k in reversed(word))

    def _put(self, word: Factors, there: Permutation, limit: float) -> None:
        """Put a word through the chain, as long as what is left of it is not too long."""
        look()
        for level, point in zip(self._levels, self.base, strict=True):
            if len(word) > limit:
                return
            self.steps += 1
            image = int(there[point])
            if image == point:
                continue
            entry = level.get(image)
            if entry is None or len(word) < len(entry.word):
                back = _inverse(there)
                level[image] = _Entry(word, there, back)
                mirrored = int(back[point])
                other = level.get(mirrored)
                if other is None or len(word) < len(other.word):
                    level[mirrored] = _Entry(self._undone(word), back, there)
                if entry is None:
                    return
                # The longer one goes on, undone by the shorter.
                word, there, entry = entry.word, entry.there, level[image]
            word = self.shortened((*word, *self._undone(entry.word)))
            there = entry.back[there]

    def _round(self, limit: float) -> None:
        """Put products of two entries of one level, and random products, through the chain."""
        for number, level in enumerate(self._levels):
            entries = [e for e in level.values() if e.word]
            for _ in range(min(PRODUCTS // len(self._levels) + 8, len(entries) ** 2)):
                one, other = (entries[int(k)] for k in self._random.integers(len(entries), size=2))
                self._product(one, other, limit)
            if number + 1 < len(self._levels) and entries:
                below = self._levels[int(self._random.integers(number + 1, len(self._levels)))]
                for other in list(below.values()):
                    one = entries[int(self._random.integers(len(entries)))]
                    if other.word:
                        self._conjugate(one, other, limit)

    def _product(self, one: _Entry, other: _Entry, limit: float) -> None:
        word = self.shortened((*one.word, *other.word))
        if word:
            self._put(word, other.there[one.there], limit)

    def _conjugate(self, one: _Entry, other: _Entry, limit: float) -> None:
        word = self.shortened((*one.word, *other.word, *self._undone(one.word)))
        if word:
            self._put(word, one.back[other.there[one.there]], limit)


def _inverse(permutation: Permutation) -> Permutation:
    result = np.empty_like(permutation)
    result[permutation] = np.arange(len(permutation), dtype=permutation.dtype)
    return result
