"""Words for any element on some types, from a stabiliser chain: what nothing else can solve."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from puzzles.puzzle import Word
from puzzles.words import normal
from search.factoring import Factoring
from search.solving_looks import Contents
from search.solving_sums import Balance

#: Ways to take alike pieces for each other that are tried.
MOST_WAYS = 256

Numbers = NDArray[np.int64]


class Products:
    """The group of all turns on the placements of some types, and on the sums of all others.

    A sum modulo m is m points in a circle, which a turn carries on by as much as it adds. Pieces
    that look alike are taken for each other where only that makes an element of the group.
    """

    def __init__(self, balance: Balance, types: tuple[int, ...]) -> None:
        self.balance, self.looks, self.types = balance, balance.looks, types
        self.puzzle = balance.puzzle
        kinds = [self.puzzle.types[number] for number in types]
        self._placements = np.array([p for k in kinds for p in k.placements], dtype=np.int64)
        self._slots = np.array([s for k in kinds for s in k.slots], dtype=np.int64)
        self._others = np.flatnonzero(balance.without(types))

    @cached_property
    def _factoring(self) -> Factoring:
        moves = [
            np.concatenate([self._projected(move), self._circles(sums)])
            for move, sums in zip(self.puzzle.moves, self.balance.turns, strict=True)
        ]
        return Factoring(np.array(moves), self.puzzle.inverses.tolist())

    def _projected(self, effect: NDArray[np.integer]) -> Numbers:
        """Return an effect on the placements of the types, numbered in a row."""
        number = np.zeros(self.puzzle.placement_count, dtype=np.int64)
        number[self._placements] = np.arange(len(self._placements))
        result: Numbers = number[effect[self._placements]]
        return result

    def _circles(self, sums: Numbers) -> Numbers:
        """Return what adding sums does to the points of the circles, numbered after the others."""
        result, first = [np.zeros(0, dtype=np.int64)], len(self._placements)
        for k in self._others.tolist():
            m = int(self.balance.moduli[k])
            result.append(first + (np.arange(m) + sums[k]) % m)
            first += m
        return np.concatenate(result)

    def word(self, contents: Contents) -> Word | None:
        """Return a word that puts the types and all sums right, None if there is none."""
        left = (-self.balance.of(contents)) % self.balance.moduli
        circles = self._circles(left)
        for undoing in self._undoing(contents):
            whole = np.concatenate([self._projected(undoing), circles])
            factors = self._factoring.word(whole)
            if factors is not None:
                return normal(self.puzzle, factors)
        return None

    def _undoing(self, contents: Contents) -> Iterator[Numbers]:
        """Yield effects that make the types look right; those that move fewest pieces first."""
        plain = self._assigned(contents)
        if plain is None:
            return
        groups: dict[int, list[int]] = {}
        for slot in self._slots.tolist():
            groups.setdefault(int(self.looks.kind[slot]), []).append(slot)
        swaps = [group[:2] for group in groups.values() if len(group) > 1]
        ways = itertools.product((False, True), repeat=len(swaps))
        for chosen in itertools.islice(ways, MOST_WAYS):
            there = dict(plain)
            for (one, other), swap in zip(swaps, chosen, strict=True):
                if swap:
                    here = {end: start for start, end in there.items()}
                    there[here[one]], there[here[other]] = other, one
            yield self._effect(contents, there)

    def _assigned(self, contents: Contents) -> dict[int, int] | None:
        """Return for each slot of the types the slot to which what is there is to go."""
        looks = self.looks
        there = {s: s for s in self._slots.tolist() if contents.right[s]}
        free: dict[int, list[int]] = {}
        for slot in self._slots.tolist():
            if slot not in there:
                free.setdefault(int(looks.kind[slot]), []).append(slot)
        for slot in self._slots.tolist():
            if slot in there:
                continue
            places = free.get(int(looks.kind[contents.piece[slot]]))
            if not places:
                return None
            there[slot] = places.pop(0)
        return there

    def _effect(self, contents: Contents, there: dict[int, int]) -> Numbers:
        """Return the effect that carries what is in each slot to where it looks right."""
        puzzle = self.puzzle
        result = np.arange(puzzle.placement_count)
        for here, end in there.items():
            twists = puzzle.types[int(puzzle.type_of[here])].twists
            turn = int(contents.wanted(np.array([here]), np.array([end]))[0])
            own = np.arange(twists)
            result[puzzle.home[here] + own] = puzzle.home[end] + (own + turn) % twists
        return result
