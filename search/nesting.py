"""Words as nested brackets: the fewest turns to remember when undoing and repeating are free."""

from __future__ import annotations

from functools import lru_cache

from puzzles.brackets import Commutator, Conjugate, Repeat, Sequence, Tree, sequence
from puzzles.notation import plain
from puzzles.puzzle import Puzzle, Word
from search.traces import alphabet

#: How many sub-words are remembered for a puzzle before memory is cleared.
MOST_REMEMBERED = 200_000


class Nesting:
    """The shortest nested form of every word asked about, by dynamic programming over sub-words.

    A plain turn counts 1; ``S X S'`` counts S and X; ``A B A' B'`` counts A and B; a repetition
    counts what is repeated; anything else is two shorter words in a row. Turns of layers that
    commute may stand in any order inside S, A and B.
    """

    def __init__(self, puzzle: Puzzle) -> None:
        self.puzzle = puzzle
        self.letters = alphabet(puzzle)
        self._known: dict[Word, tuple[int, str, int]] = {}

    def things(self, word: Word) -> int:
        """Return how many turns the shortest nested form has."""
        return self._best(word)[0]

    def least(self, word: Word) -> int:
        """Return a quick lower bound: a turn and its inverse need to be named once."""
        kind = self.letters.kind
        return len({kind[turn] for turn in word})

    def tree(self, word: Word) -> Tree:
        """Return the shortest nested form."""
        _, how, k = self._best(word)
        size = len(word)
        if how == "plain":
            return plain(self.puzzle, word)
        if how == "repeated":
            return Repeat(self.tree(word[: size // k]), k)
        if how == "commutator":
            return Commutator(self.tree(word[:k]), self.tree(word[k : size // 2]))
        if how == "conjugate":
            return Conjugate(self.tree(word[:k]), self.tree(word[k : size - k]))
        return _row(self.tree(word[:k]), self.tree(word[k:]))

    def _best(self, word: Word) -> tuple[int, str, int]:
        known = self._known.get(word)
        if known is None:
            known = self._found(word)
            if len(self._known) >= MOST_REMEMBERED:
                self._known.clear()
            self._known[word] = known
        return known

    def _found(self, word: Word) -> tuple[int, str, int]:
        size, least = len(word), self.least(word)
        best = (size, "plain", 0)
        if least == size:
            return best
        for k in range(size, 1, -1):
            if size % k == 0 and word[: size // k] * k == word:
                best = min(best, (self.things(word[: size // k]), "repeated", k))
        for k in self._undoings(word, size):
            best = min(best, (self.things(word[:k]) + self.things(word[k:-k]), "conjugate", k))
        if size % 2 == 0:
            half = size // 2
            for k in range(1, half):
                if self._undo(word[:k], word[half : half + k]) and self._undo(
                    word[k:half], word[half + k :]
                ):
                    cost = self.things(word[:k]) + self.things(word[k:half])
                    best = min(best, (cost, "commutator", k))
        for k in range(1, size):
            if best[0] == least:
                break
            cost = self.things(word[:k])
            if cost < best[0]:
                cost += self.things(word[k:])
                if cost < best[0]:
                    best = (cost, "row", k)
        return best

    def _undoings(self, word: Word, size: int) -> list[int]:
        """Return the lengths of the beginnings that the end of the word undoes."""
        key, inverse_key = self.letters.key, self.letters.inverse_key
        difference, found = 0, []
        for k in range(1, (size + 1) // 2):
            difference += inverse_key[word[k - 1]] - key[word[size - k]]
            if difference == 0 and self._undo(word[:k], word[size - k :]):
                found.append(k)
        return found

    def _undo(self, first: Word, second: Word) -> bool:
        """Whether the second word undoes the first, turns that commute in any order."""
        inverse = self.letters.inverse
        if len(first) == 1:
            return second[0] == inverse[first[0]]
        undone = self.letters.undone(first)
        if undone == second:
            return True
        key = self.letters.key
        if sum([key[t] for t in undone]) != sum([key[t] for t in second]):
            return False
        return self.letters.same(undone, second)


@lru_cache(maxsize=32)
def nesting(puzzle: Puzzle) -> Nesting:
    """Return the memory of nested forms of a puzzle."""
    return Nesting(puzzle)


def things(puzzle: Puzzle, word: Word) -> int:
    """Return how many turns must be remembered of a word as it stands.

    They are the turns of its shortest nested bracket form: undoing and repeating are free.
    """
    return nesting(puzzle).things(tuple(word))


def _row(*parts: Tree) -> Tree:
    """Return parts in a row as one tree, rows inside opened."""
    flat: list[Tree] = []
    for part in parts:
        flat += part.parts if isinstance(part, Sequence) else (part,)
    return sequence(flat)
