"""Free play: short words, found by trying all, that put more pieces right than they cost turns.

Words of up to ``ShortWords.longest`` turns are tried one by one; pieces that are right may move, if
the balance is good. Words of up to twice as many are met from both ends, and these leave alone all
that is right: u and x with the same images of it, and the same sums, make the word u x'.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from puzzles.puzzle import Table, Word
from search.solving_looks import Contents
from search.solving_sums import Balance
from search.solving_words import ShortWords

#: With more pairs from both ends than this, words of that length are not looked at.
MOST_PAIRS = 100_000
#: By so many bits keys are looked up before they are compared.
SIEVE_BITS = 20
_SIEVE = np.uint64((1 << SIEVE_BITS) - 1)
#: Fixed, so that solving gives the same steps everywhere.
SEED = 20_260_102

Numbers = NDArray[np.int64]


@dataclass(frozen=True)
class Found:
    """A word, and what it is worth: the turns that it saves later, less its own."""

    word: Word
    worth: float


class FreePlay:
    """Looks for the word that is worth most.

    ``per_slot`` (slots,) are the turns that it saves to have a slot right. Words have at most
    ``most`` turns, and none are met from both ends; None for all that there are.
    """

    def __init__(
        self,
        words: ShortWords,
        balance: Balance,
        per_slot: NDArray[np.float64],
        most: int | None = None,
    ) -> None:
        self.words, self.balance, self.puzzle = words, balance, words.puzzle
        self._most = most
        self.per_slot = per_slot.astype(np.float32)
        self._slots = np.flatnonzero(per_slot > 0)
        random = np.random.default_rng(SEED)
        self._values = random.integers(0, 2**63, size=self.puzzle.placement_count, dtype=np.uint64)

    @cached_property
    def _sums(self) -> Numbers:
        """What each word adds to the sums; shape (words, entries)."""
        balance, words = self.balance, self.words
        return words.sums(balance.turns, balance.moduli, words.longest)

    @cached_property
    def _marks(self) -> NDArray[np.uint64]:
        """A random value for each value of each entry; shape (entries, greatest modulus)."""
        top = int(self.balance.moduli.max(initial=1))
        shape = (len(self.balance.entries), top)
        return np.random.default_rng(SEED + 1).integers(0, 2**63, size=shape, dtype=np.uint64)

    def _mark(self, sums: Numbers) -> NDArray[np.uint64]:
        """Return one value for sums (n, entries), the same for the same."""
        result = np.zeros(len(sums), dtype=np.uint64)
        for k in range(sums.shape[1]):
            result += self._marks[k, sums[:, k]]
        return result

    def whole(self, effect: Table) -> Word | None:
        """Return the shortest word that undoes an effect (placements,) on all slots that count.

        None where it would need more than twice as many turns as the longest words have.
        """
        words, puzzle = self.words, self.puzzle
        start, end = (np.zeros(len(words.last), dtype=np.uint64) for _ in range(2))
        for slot in self._slots.tolist():
            factor = np.uint64(2 * slot + 1)
            here = int(effect[puzzle.home[slot]])
            there = words.everywhere[int(puzzle.slot_of[here])]
            if twist := int(puzzle.twist_of[here]):
                twists = puzzle.types[int(puzzle.type_of[slot])].twists
                turned = (puzzle.twist_of[there] + twist) % twists
                there = puzzle.home[puzzle.slot_of[there]] + turned
            start += self._values[there] * factor
            end += self._values[words.everywhere[slot]] * factor
        for turns in range(2 * words.longest + 1):
            u, x = self._pairs(start, end, (turns + 1) // 2, turns // 2)
            if len(u):
                return words.word(int(u[0])) + puzzle.inverse(words.word(int(x[0])))
        return None

    def worth(self, contents: Contents) -> NDArray[np.float32]:
        """Return for each slot's content what it is worth at each placement; (slots, placements).

        Nought but where it looks right there.
        """
        puzzle, slots = self.puzzle, self._slots
        places = np.arange(puzzle.placement_count)
        there = puzzle.slot_of[places].astype(np.int64)
        fits = contents.wanted(slots[:, None], there[None, :])
        twist = puzzle.twist_of[places] % contents.looks.shown[there]
        return np.where(fits == twist, self.per_slot[there][None, :], np.float32(0))

    def best(self, contents: Contents, balanced: bool) -> Found | None:
        """Return the word that is worth most, None if none is worth more than nothing.

        With ``balanced`` the sums are right after it; then it may be worth less than nothing.
        """
        worth = self.worth(contents)
        home = self.puzzle.home[self._slots]
        before = float(worth[np.arange(len(self._slots)), home].sum())
        sums = self.balance.of(contents)
        one = self._one_by_one(worth, before, sums if balanced else None)
        right = self._slots[contents.right[self._slots]]
        two = None
        if self._most is None:
            two = self._both_ends(worth, before, contents, right, sums, balanced)
        options = [found for found in (one, two) if found is not None]
        best = max(options, key=lambda found: found.worth, default=None)
        if best is None or (best.worth <= 0 and not (balanced and sums.any())):
            return None
        return best

    def _one_by_one(
        self, worth: NDArray[np.float32], before: float, sums: Numbers | None
    ) -> Found | None:
        words = self.words
        total = np.zeros(len(words.last), dtype=np.float32)
        for row, slot in zip(worth, self._slots.tolist(), strict=True):
            total += row[words.everywhere[slot]]
        total -= words.turns
        total[0] = -np.inf
        if self._most is not None:
            total[words.up_to(self._most) :] = -np.inf
        if sums is not None:
            total[(((self._sums + sums) % self.balance.moduli) != 0).any(axis=1)] = -np.inf
        number = int(total.argmax())
        if total[number] == -np.inf:
            return None
        return Found(words.word(number), float(total[number]) - before)

    def _both_ends(
        self,
        worth: NDArray[np.float32],
        before: float,
        contents: Contents,
        right: Numbers,
        sums: Numbers,
        balanced: bool,
    ) -> Found | None:
        words = self.words
        if not len(right):
            return None
        keys = np.zeros(len(words.last), dtype=np.uint64)
        for slot in right.tolist():
            keys += self._values[words.everywhere[slot]] * np.uint64(2 * slot + 1)
        first = keys
        if balanced and sums.any():
            first = keys + self._mark((self._sums + sums) % self.balance.moduli)
        if balanced:
            keys = keys + self._mark(self._sums)
            first = first if sums.any() else keys
        most = float(worth.max(axis=1).sum()) - before
        best: Found | None = None
        for turns in range(words.longest + 1, 2 * words.longest + 1):
            if best is not None and best.worth >= most - turns:
                break
            u, x = self._pairs(first, keys, (turns + 1) // 2, turns // 2)
            if not len(u):
                continue
            value = self._value(worth, contents, u, x) - turns
            k = int(value.argmax())
            if best is None or value[k] > best.worth:
                back = self.puzzle.inverse(words.word(int(x[k])))
                best = Found(words.word(int(u[k])) + back, float(value[k]))
        return best

    def _pairs(
        self, first: NDArray[np.uint64], second: NDArray[np.uint64], long: int, short: int
    ) -> tuple[Numbers, Numbers]:
        """Return pairs of words of two lengths whose keys agree."""
        begins, nothing = self.words.begins, np.zeros(0, dtype=np.int64)
        start, base = begins[long], begins[short]
        own, other = first[start : begins[long + 1]], second[base : begins[short + 1]]
        # Nearly all keys are ruled out by a few of their bits, which is much faster than sorting.
        found = np.bincount((other & _SIEVE).astype(np.int64), minlength=1 << SIEVE_BITS)
        # A word meets itself, which says nothing.
        itself = int(first is second and long == short)
        likely = np.flatnonzero(found[(own & _SIEVE).astype(np.int64)] > itself)
        if not len(likely):
            return nothing, nothing
        order = np.argsort(other)
        ranked, own = other[order], own[likely]
        low, high = np.searchsorted(ranked, own), np.searchsorted(ranked, own, side="right")
        counts = high - low
        if not 0 < counts.sum() <= MOST_PAIRS:
            return nothing, nothing
        u = np.repeat(likely, counts)
        begin = np.cumsum(counts) - counts
        x = order[np.arange(len(u)) - np.repeat(begin - low, counts)]
        useful = u + start != x + base
        return u[useful] + start, x[useful] + base

    def _value(
        self, worth: NDArray[np.float32], contents: Contents, u: Numbers, x: Numbers
    ) -> NDArray[np.float32]:
        """Return what more stands right after the words u x', in turns that it saves.

        They leave alone what is right.
        """
        words, total = self.words, np.zeros(len(u), dtype=np.float32)
        moves, inverses = self.puzzle.moves, self.puzzle.inverses
        back: list[tuple[NDArray[np.bool_], Numbers]] = []
        while x.any():
            back.append((x > 0, inverses[words.last[x]].astype(np.int64)))
            x = np.where(x > 0, words.parent[x], 0)
        for row, slot in zip(worth, self._slots.tolist(), strict=True):
            if contents.right[slot]:
                continue
            there = words.everywhere[slot][u].astype(np.int64)
            for moving, turn in back:
                there = np.where(moving, moves[turn, there], there)
            total += row[there]
        return total
