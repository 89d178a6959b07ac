"""How a sequence is turned: by a symmetry of its search, and perhaps undone; ways in a row."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from puzzles.puzzle import Puzzle, Word
from search.encoding import Scope
from search.frames import Numbers


@dataclass(frozen=True, order=True)
class Turned:
    """A symmetry of a scope by number, 0 for none, and whether the sequence is undone."""

    symmetry: int
    undone: bool


class Turner:
    """Turns words by the symmetries of a scope, and puts two such ways together."""

    def __init__(self, scope: Scope) -> None:
        self._scope = scope
        self._puzzle: Puzzle = scope.puzzle
        self._turns = [symmetry.turns.tolist() for symmetry in scope.symmetries]
        names = {own.turns.tobytes(): k for k, own in reversed(list(enumerate(scope.symmetries)))}
        own = [symmetry.turns for symmetry in scope.symmetries]
        #: The symmetry that is the first and then the second, (K, K).
        self.compose: Numbers = np.array(
            [
                [names[second[first].astype(first.dtype).tobytes()] for second in own]
                for first in own
            ],
            dtype=np.int64,
        )

    @staticmethod
    def of(scope: Scope) -> Turner:
        """Return that of a scope, made once."""
        return _turner(scope)

    def way(self, image: int) -> Turned:
        """Return what an image of ``search.cases.Cases`` is, by its number."""
        count = len(self._turns)
        return Turned(image % count, image >= count)

    def then(self, first: Turned, second: Turned) -> Turned:
        """Return one way after another."""
        return Turned(
            int(self.compose[first.symmetry, second.symmetry]), first.undone != second.undone
        )

    def turn(self, word: Iterable[int], symmetry: int) -> Word:
        """Return a word, as the puzzle's turns, after a symmetry; not in normal form."""
        own = self._turns[symmetry]
        return tuple([own[turn] for turn in word])

    def apply(self, word: Iterable[int], turned: Turned) -> Word:
        """Return a word turned and perhaps undone; not in normal form."""
        result = self.turn(word, turned.symmetry)
        return self._puzzle.inverse(result) if turned.undone else result

    def back(self, symmetry: int) -> int:
        """Return the symmetry that takes another back."""
        return int(np.flatnonzero(self.compose[symmetry] == self.compose[0, 0])[0])

    def mirrors(self, turned: Turned) -> bool:
        """Return whether a mirror is part of it."""
        return self._scope.symmetries[turned.symmetry].reflects

    def number(self, symmetry: int) -> int:
        """Return the number that the puzzle has for a symmetry of the scope."""
        own = self._scope.symmetries[symmetry]
        return next(k for k, one in enumerate(self._puzzle.symmetries) if one is own)


@lru_cache(maxsize=16)
def _turner(scope: Scope) -> Turner:
    return Turner(scope)
