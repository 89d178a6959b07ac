"""Words as nested brackets: the fewest turns to remember when undoing and repeating are free."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

from puzzles.puzzle import Puzzle, Word
from search.traces import Alphabet, alphabet

#: How many sub-words are remembered for a puzzle before memory is cleared.
MOST_REMEMBERED = 200_000


@dataclass(frozen=True)
class Plain:
    """Turns that stand as they are."""

    word: Word


@dataclass(frozen=True)
class Row:
    """Parts done one after the other."""

    parts: tuple[Tree, ...]


@dataclass(frozen=True)
class Commutator:
    """``[a, b]``: a, b, a undone, b undone."""

    a: Tree
    b: Tree


@dataclass(frozen=True)
class Conjugate:
    """``[setup: inner]``: setup, inner, setup undone."""

    setup: Tree
    inner: Tree


@dataclass(frozen=True)
class Repeated:
    """``(inner)times``."""

    inner: Tree
    times: int


Tree = Plain | Row | Commutator | Conjugate | Repeated


class Nesting:
    """The shortest nested form of every word asked about, by dynamic programming over sub-words.

    A plain turn counts 1; ``S X S'`` counts S and X; ``A B A' B'`` counts A and B; a repetition
    counts what is repeated; anything else is two shorter words in a row. Turns of layers that
    commute may stand in any order inside S, A and B.
    """

    def __init__(self, letters: Alphabet) -> None:
        self.letters = letters
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
            return Plain(word)
        if how == "repeated":
            return Repeated(self.tree(word[: size // k]), k)
        if how == "commutator":
            return Commutator(self.tree(word[:k]), self.tree(word[k : size // 2]))
        if how == "conjugate":
            return Conjugate(self.tree(word[:k]), self.tree(word[k : size - k]))
        return row(self.tree(word[:k]), self.tree(word[k:]))

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
    return Nesting(alphabet(puzzle))


def things(puzzle: Puzzle, word: Word) -> int:
    """Return how many turns must be remembered of a word as it stands.

    They are the turns of its shortest nested bracket form: undoing and repeating are free.
    """
    return nesting(puzzle).things(tuple(word))


def row(*parts: Tree) -> Tree:
    """Return parts in a row as one tree: rows inside are opened, plain neighbours joined."""
    flat: list[Tree] = []
    for part in parts:
        for piece in part.parts if isinstance(part, Row) else (part,):
            if isinstance(piece, Plain) and not piece.word:
                continue
            if isinstance(piece, Plain) and flat and isinstance(flat[-1], Plain):
                flat[-1] = Plain(flat[-1].word + piece.word)
            else:
                flat.append(piece)
    if len(flat) == 1:
        return flat[0]
    return Row(tuple(flat)) if flat else Plain(())


def written_out(tree: Tree, undone: Callable[[Word], Word]) -> Word:
    """Return all turns of a tree; ``undone`` gives the turns that undo a word."""
    match tree:
        case Plain(word):
            return word
        case Row(parts):
            return tuple(turn for part in parts for turn in written_out(part, undone))
        case Repeated(inner, times):
            return written_out(inner, undone) * times
        case Conjugate(setup, inner):
            around = written_out(setup, undone)
            return around + written_out(inner, undone) + undone(around)
        case Commutator(first, second):
            a, b = written_out(first, undone), written_out(second, undone)
            return a + b + undone(a) + undone(b)


def bracketed(tree: Tree, write: Callable[[Word], str]) -> str:
    """Return a tree as text, ``[[R, U], L']``; ``write`` gives the text of plain turns."""
    match tree:
        case Plain(word):
            return write(word)
        case Row(parts):
            return " ".join(bracketed(part, write) for part in parts)
        case Repeated(inner, times):
            return f"({bracketed(inner, write)}){times}"
        case Conjugate(setup, inner):
            return f"[{bracketed(setup, write)}: {bracketed(inner, write)}]"
        case Commutator(first, second):
            return f"[{bracketed(first, write)}, {bracketed(second, write)}]"
