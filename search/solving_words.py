"""All short words of a puzzle as one table, and where they carry placements, for many at once."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from puzzles.puzzle import Puzzle, Word

#: The most words of a table: all up to the greatest length of which there are not more.
MOST_WORDS = 90_000
#: No table goes to more turns than this.
LONGEST = 12

Numbers = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class ShortWords:
    """Reduced words by length: word k is word ``parent[k]`` followed by turn ``last[k]``.

    ``begins[n]`` is the number of the first word with n turns; word 0 is the empty one. Of words
    that differ only by the order of turns that commute, one is there.
    """

    puzzle: Puzzle
    parent: Numbers
    last: Numbers
    begins: tuple[int, ...]

    @property
    def longest(self) -> int:
        """The turns of the longest words."""
        return len(self.begins) - 2

    def up_to(self, turns: int) -> int:
        """Return how many words have at most so many turns."""
        return self.begins[min(turns, self.longest) + 1]

    def word(self, number: int) -> Word:
        """Return the turns of a word."""
        result: list[int] = []
        while number:
            result.append(int(self.last[number]))
            number = int(self.parent[number])
        return tuple(reversed(result))

    @cached_property
    def everywhere(self) -> NDArray[np.int16]:
        """Where the words carry what is at home in each slot; shape (slots, words)."""
        images = self.images(self.puzzle.home, self.longest)
        return np.ascontiguousarray(images.T).astype(np.int16)

    @cached_property
    def turns(self) -> Numbers:
        """How many turns each word has; shape (words,)."""
        lengths = np.diff(np.array(self.begins))
        return np.repeat(np.arange(len(lengths)), lengths)

    def images(self, placements: NDArray[np.integer], turns: int) -> NDArray[np.int32]:
        """Return where words of up to so many turns carry placements (m,); shape (words, m)."""
        count = self.up_to(turns)
        result = np.empty((count, len(placements)), dtype=np.int32)
        result[0] = placements
        for begin, end in zip(self.begins[1:], self.begins[2:], strict=False):
            if begin >= count:
                break
            own = slice(begin, end)
            moves = self.puzzle.moves
            result[own] = moves[self.last[own][:, None], result[self.parent[own]]]
        return result

    def sums(self, vectors: Numbers, moduli: Numbers, turns: int) -> Numbers:
        """Return the sums of what each turn adds, ``vectors`` (turns, n), modulo ``moduli``."""
        count = self.up_to(turns)
        result = np.zeros((count, vectors.shape[1]), dtype=np.int64)
        for begin, end in zip(self.begins[1:], self.begins[2:], strict=False):
            if begin >= count:
                break
            own = slice(begin, end)
            result[own] = (result[self.parent[own]] + vectors[self.last[own]]) % moduli
        return result


@lru_cache(maxsize=16)
def short_words(
    puzzle: Puzzle, layers: tuple[int, ...] | None = None, most: int = MOST_WORDS
) -> ShortWords:
    """Return the words of some layers, by number (None for all), up to a length that fits."""
    turns = [
        t for t in range(len(puzzle.turns)) if layers is None or int(puzzle.turn_layer[t]) in layers
    ]
    own = np.array(turns, dtype=np.int64)
    layer = puzzle.turn_layer.astype(np.int64)
    commutes = puzzle.commutes
    count = len(puzzle.layers)
    # Which layers may come next, one row a word: not those that would merge or cancel with a turn
    # that can stand last, nor those that commute with the last turns and have a smaller number.
    closed = np.zeros((1, count), dtype=np.bool_)
    parents, lasts, begins = [np.array([-1])], [np.array([-1])], [0, 1]
    smaller = np.arange(count)[None, :] <= np.arange(count)[:, None]
    while len(begins) <= LONGEST:
        allowed = ~closed[:, layer[own]]
        row, column = np.nonzero(allowed)
        if not len(row) or begins[-1] + len(row) > most:
            break
        turn = own[column]
        after = layer[turn]
        # A layer stays closed while all that came since commutes with it.
        following = closed[row] & commutes[after]
        following |= smaller[after] & commutes[after]
        following[np.arange(len(after)), after] = True
        parents.append(row + begins[-2])
        lasts.append(turn)
        begins.append(begins[-1] + len(row))
        closed = following
    return ShortWords(puzzle, np.concatenate(parents), np.concatenate(lasts), tuple(begins))
