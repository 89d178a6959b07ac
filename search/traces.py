"""Words as letters of which some commute: the fast plain-Python tools that reading brackets needs.

A trace is a word up to the order of neighbouring turns of layers that commute; unlike in
``puzzles.words.normal`` turns of one layer are not merged, so that a turn may be split in two.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import lru_cache

import numpy as np

from puzzles.puzzle import Puzzle, Word


class Alphabet:
    """The turns of a puzzle in plain lists: layers, inverses, sums and what commutes.

    ``sums[t][u]`` is the turn that does t and u of one layer, -1 where they cancel, -2 where the
    layers differ; ``free[t][u]`` says that t and u are of different layers that commute,
    ``together[t][u]`` that they commute, be it in one layer.
    ``key[t]`` are fixed random numbers: sums of them tell collections of turns apart.
    """

    def __init__(self, puzzle: Puzzle) -> None:
        count = len(puzzle.turns)
        self.layer: list[int] = puzzle.turn_layer.tolist()
        self.inverse: list[int] = puzzle.inverses.tolist()
        self.sums: list[list[int]] = [[-2] * count for _ in range(count)]
        self.free: list[list[bool]] = [[False] * count for _ in range(count)]
        for t in range(count):
            for u in range(count):
                own, other = self.layer[t], self.layer[u]
                if own == other:
                    merged = puzzle.turn(own, puzzle.turns[t].amount + puzzle.turns[u].amount)
                    self.sums[t][u] = -1 if merged is None else merged
                else:
                    self.free[t][u] = bool(puzzle.commutes[own, other])
        self.together = [
            [self.free[t][u] or self.sums[t][u] != -2 for u in range(count)] for t in range(count)
        ]
        numbers = np.random.default_rng(1962).integers(1, 1 << 60, size=count)
        self.key: list[int] = numbers.tolist()
        self.inverse_key: list[int] = [self.key[t] for t in self.inverse]
        #: What both t and its inverse are counted as.
        self.kind: list[int] = [min(t, self.inverse[t]) for t in range(count)]
        self.turns_of: dict[int, list[int]] = {}
        for t, own in enumerate(self.layer):
            self.turns_of.setdefault(own, []).append(t)

    def undone(self, word: Iterable[int]) -> Word:
        """Return the turns that undo a word, in reverse order."""
        inverse = self.inverse
        return tuple([inverse[t] for t in word][::-1])

    def normal(self, word: Iterable[int]) -> Word:
        """Return what ``puzzles.words.normal`` returns, several times faster."""
        result: list[int] = []
        sums, free = self.sums, self.free
        for turn in word:
            allowed = free[turn]
            place = len(result)
            while place and allowed[result[place - 1]]:
                place -= 1
            if place:
                merged = sums[result[place - 1]][turn]
                if merged >= 0:
                    result[place - 1] = merged
                    continue
                if merged == -1:
                    del result[place - 1]
                    continue
            end = len(result)
            while place < end and result[place] < turn:
                place += 1
            result.insert(place, turn)
        return tuple(result)

    def ordered(self, word: Iterable[int]) -> Word:
        """Return the least order of a trace; turns of one layer stay apart."""
        result: list[int] = []
        free = self.free
        for turn in word:
            allowed = free[turn]
            place = end = len(result)
            while place and allowed[result[place - 1]]:
                place -= 1
            while place < end and result[place] < turn:
                place += 1
            result.insert(place, turn)
        return tuple(result)

    def firsts(self, word: Word) -> list[int]:
        """Return the positions of the turns that can be moved to the front."""
        free = self.free
        return [
            k
            for k, turn in enumerate(word)
            if k == 0 or (free[turn][word[k - 1]] and all(free[turn][t] for t in word[: k - 1]))
        ]

    def lasts(self, word: Word) -> list[int]:
        """Return the positions of the turns that can be moved to the end."""
        free, end = self.free, len(word) - 1
        return [
            k
            for k, turn in enumerate(word)
            if k == end or (free[turn][word[k + 1]] and all(free[turn][t] for t in word[k + 2 :]))
        ]

    def without_end(self, word: Word, end: Word) -> Word | None:
        """Return the trace x with ``word = x end``, or None where there is none."""
        rest = list(word)
        free = self.free
        for turn in reversed(end):
            allowed = free[turn]
            for k in range(len(rest) - 1, -1, -1):
                if rest[k] == turn:
                    del rest[k]
                    break
                if not allowed[rest[k]]:
                    return None
            else:
                return None
        return tuple(rest)

    def beginnings(self, word: Word) -> Iterator[tuple[Word, Word]]:
        """Yield every pair of traces (x, rest) with ``word = x rest``, shorter x first."""
        level: dict[Word, Word] = {self.ordered(word): ()}
        while level:
            following: dict[Word, Word] = {}
            for rest, start in level.items():
                yield start, rest
                for k in self.firsts(rest):
                    following.setdefault(rest[:k] + rest[k + 1 :], (*start, rest[k]))
            level = following

    def same(self, first: Word, second: Word) -> bool:
        """Return whether two words are one trace."""
        return first == second or self.without_end(first, second) == ()

    def peeled(self, word: Iterable[int]) -> tuple[Word, Word]:
        """Return (p, c) with ``word = p c p'`` and nothing left to cancel around the ring c.

        Where the first and the last turn of a layer only merge, p takes the first one and c ends
        with the sum: executed, the two ends of p then cost one turn and not two.
        """
        core = self.normal(word)
        peel: list[int] = []
        while True:
            for i in self.firsts(core):
                turn = core[i]
                j = next((j for j in self.lasts(core) if self.sums[core[j]][turn] != -2), i)
                if j != i:
                    break
            else:
                return tuple(peel), core
            rest = core[:i] + core[i + 1 : j] + core[j + 1 :]
            merged = self.sums[core[j]][turn]
            core = self.normal(rest if merged == -1 else (*rest, merged))
            peel.append(turn)


@lru_cache(maxsize=32)
def alphabet(puzzle: Puzzle) -> Alphabet:
    """Return the alphabet of a puzzle, made once."""
    return Alphabet(puzzle)
