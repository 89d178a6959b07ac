"""Whether two searches found the same rings: closed words up to where one starts to read."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from puzzles.puzzle import Puzzle, Word
from puzzles.words import firsts, normal


def moved_on(puzzle: Puzzle, word: Word) -> Iterator[Word]:
    """Yield the words after moving each turn that can stand first to the end, in normal form."""
    for k in firsts(puzzle, word):
        yield normal(puzzle, (*word[:k], *word[k + 1 :], word[k]))


def closed(puzzle: Puzzle, word: Word) -> Word:
    """Return a word with everything cancelled that cancels when it is closed to a ring."""
    current = normal(puzzle, word)
    while True:
        shorter = (w for w in moved_on(puzzle, current) if len(w) < len(current))
        following = next(shorter, None)
        if following is None:
            return current
        current = following


def starts(puzzle: Puzzle, word: Word) -> set[Word]:
    """Return all words that a closed word can be read as, in normal form."""
    found = {closed(puzzle, word)}
    todo = list(found)
    while todo:
        for fresh in moved_on(puzzle, todo.pop()):
            if fresh not in found:
                found.add(fresh)
                todo.append(fresh)
    return found


class Rings:
    """A set of closed words, each known by all its starts."""

    def __init__(self, puzzle: Puzzle) -> None:
        self.puzzle = puzzle
        self.number: dict[Word, int] = {}
        self.count = 0

    def add_with_images(self, words: Iterable[Word]) -> None:
        """Add closed words with their inverses and images under every symmetry."""
        for word in words:
            if closed(self.puzzle, word) in self.number:
                continue
            every = starts(self.puzzle, word)
            for symmetry in self.puzzle.symmetries:
                for back in (False, True):
                    self._add(self._image(symmetry.turns.tolist(), start, back) for start in every)

    def _image(self, turns: list[int], word: Word, back: bool) -> Word:
        image = tuple(turns[t] for t in word)
        return normal(self.puzzle, self.puzzle.inverse(image) if back else image)

    def _add(self, every: Iterable[Word]) -> None:
        for start in every:
            if start in self.number:
                return
            self.number[start] = self.count
        self.count += 1

    def compare(self, words: Iterable[Word]) -> tuple[int, int]:
        """Return how many of these rings the words reach, and how many words are of other rings."""
        reached, strange = set(), 0
        for word in {normal(self.puzzle, word) for word in words}:
            number = self.number.get(closed(self.puzzle, word))
            if number is not None:
                reached.add(number)
            else:
                strange += 1
        return len(reached), strange
