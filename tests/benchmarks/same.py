"""Whether two searches found the same rings: closed words up to where one starts to read."""

from __future__ import annotations

from collections.abc import Iterable

from puzzles.puzzle import Puzzle, Word
from puzzles.words import firsts, normal


def starts(puzzle: Puzzle, word: Word) -> set[Word] | None:
    """Return all words that a closed word can be read as, in normal form; None if it is shorter.

    From one start the others are reached by moving any turn that can stand first to the end.
    """
    found = {normal(puzzle, word)}
    todo = list(found)
    if len(todo[0]) < len(word):
        return None
    while todo:
        current = todo.pop()
        for k in firsts(puzzle, current):
            fresh = normal(puzzle, (*current[:k], *current[k + 1 :], current[k]))
            if len(fresh) < len(word):
                return None
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
            plain = normal(self.puzzle, word)
            if plain in self.number:
                continue
            every = starts(self.puzzle, word)
            if every is None:
                continue
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
        """Return how many of these rings the words reach, and how many words are of other rings.

        Words that get shorter when they are closed are passed over.
        """
        reached, strange = set(), 0
        for word in words:
            plain = normal(self.puzzle, word)
            number = self.number.get(plain)
            if number is not None:
                reached.add(number)
            elif starts(self.puzzle, word) is not None:
                strange += 1
        return len(reached), strange
