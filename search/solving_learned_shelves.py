"""Some sequences on shelves, in place of those of a search: their three-cycles with every setup."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from puzzles.effects import cycles, effect_of
from puzzles.puzzle import Puzzle, Word
from search import frames
from search.encoding import Scope
from search.goals import Goal
from search.nesting import things
from search.shelves import LONGEST_WORD, Shelves
from search.tools import Search


def only(words: Iterable[Word]) -> Search:
    """Return a search that finds some sequences and nothing else, for any scope."""
    return _Learned(tuple(words))


def _is_triple(puzzle: Puzzle, cycle: tuple[int, ...]) -> bool:
    return len(cycle) == 3 and len({int(puzzle.slot_of[p]) for p in cycle}) == 3


class _Learned:
    """Shelves with some sequences and nothing else, as ``search.tools.Search`` gives them."""

    def __init__(self, words: tuple[Word, ...]) -> None:
        self._words = words

    def __call__(self, scope: Scope, goal: Goal) -> Shelves:
        from search import atlas

        found = atlas.empty(scope)
        rows = [row for word in self._words if (row := self._row(scope, found, word)) is not None]
        if not rows:
            return found
        orbits, costs, others, words = zip(*rows, strict=True)
        table = np.zeros((len(rows), LONGEST_WORD), dtype=np.uint8)
        for k, own in enumerate(words):
            table[k, : len(own)] = own
        lengths = np.array([len(own) for own in words], dtype=np.int16)
        at = np.array(orbits, dtype=np.int64)
        turns, memory = np.array(costs, dtype=np.int16), np.array(others, dtype=np.int16)
        filling = atlas.Filling(scope, found)
        filling.put_words(
            atlas.Words(at, turns, memory, lengths, table),
            atlas.Words(at, memory, turns, lengths, table),
            len(rows),
        )
        return filling.settled(0)

    def _row(
        self, scope: Scope, found: Shelves, word: Word
    ) -> tuple[int, int, int, list[int]] | None:
        """Return orbit, turns, things and the word of the orbit's representative; None for none."""
        puzzle = scope.puzzle
        place = {int(t): k for k, t in enumerate(scope.turns)}
        own = [
            c
            for c in cycles(puzzle, effect_of(puzzle, word))
            if int(puzzle.type_of[puzzle.slot_of[c[0]]]) in scope.kept
        ]
        if len(own) != 1 or not _is_triple(puzzle, own[0]) or not set(word) <= set(place):
            return None
        if int(puzzle.type_of[puzzle.slot_of[own[0][0]]]) not in scope.wanted:
            return None
        table = frames.frames(scope, tuple(found.first.tolist()))
        number = int(frames.numbers(scope, np.searchsorted(scope.placements, np.array(own[0]))))
        back = scope.arrays.symmetry_back[int(table.symmetry[number])]
        base = puzzle.inverse(word) if table.turned[number] else word
        kernel = [int(back[place[t]]) for t in base]
        return int(table.orbit[number]), len(word), things(puzzle, word), kernel
