"""What somebody knows, line by line: turns, brackets, the name, and where each may be begun."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from puzzles import brackets, renaming
from puzzles.brackets import Tree
from puzzles.errors import RequestError, TrefoilError
from puzzles.notation import Parsed, parse, plain, write
from puzzles.puzzle import Puzzle, Word
from puzzles.words import normal
from search.reading import turns_of
from search.shelves import LONGEST_WORD
from search.starts import Start, starts

#: The largest file of sequences, in bytes, and the most sequences in it.
MOST_BYTES, MOST_SEQUENCES = 1_000_000, 1_000
#: The most letters of a remark that is shown as a name.
MOST_REMARK = 60


@dataclass(frozen=True)
class Learned:
    """A sequence that somebody knows.

    ``tree`` are turns of layers, in the brackets of the line unless that has other turns, ``word``
    the same written out. ``line`` is what was written, ``remark`` what stood after ``#``.
    """

    tree: Tree
    word: Word
    line: str
    remark: str = ""

    @property
    def said(self) -> str:
        """What somebody knows it by: the remark with the line, or the line alone."""
        return f"{self.remark} ({self.line})" if self.remark else self.line

    @property
    def text(self) -> str:
        """The line with its remark, as it is read again."""
        return f"{self.line}  # {self.remark}" if self.remark else self.line


@dataclass(frozen=True)
class Begin:
    """A sequence begun somewhere: its turns in a row, the same in normal form, and after what.

    ``after`` is what is left to the end, in the letters of the line; empty for the beginning.
    """

    turns: Word
    word: Word
    after: str


def learned_of(puzzle: Puzzle, text: str, remark: str = "") -> Learned:
    """Return a sequence that somebody knows; raises TrefoilError for what is none."""
    parsed = parse(puzzle, text)
    written = parsed.word
    word = normal(puzzle, written)
    # Where turns can be blocked, turns in another order may be others that can be done.
    count = len(written) if puzzle.can_block else len(word)
    if count > LONGEST_WORD:
        raise RequestError(f"has {count} turns; at most {LONGEST_WORD} can be used")
    if not word:
        raise RequestError("all its turns cancel, so that it does nothing")
    tree = plain(puzzle, word) if len(written) > LONGEST_WORD else _tree(puzzle, parsed)
    shown = " ".join("".join(c if c.isprintable() else " " for c in remark).split())
    if len(shown) > MOST_REMARK:
        shown = f"{shown[: MOST_REMARK - 1].rstrip()}…"
    return Learned(tree, turns_of(puzzle, tree), " ".join(text.split()), shown)


def _tree(puzzle: Puzzle, parsed: Parsed) -> Tree:
    """Return what was written in turns of layers: with its brackets where it has no others."""
    if _layers_only(puzzle, parsed.tree):
        return parsed.tree
    return plain(puzzle, parsed.word)


def _layers_only(puzzle: Puzzle, tree: Tree) -> bool:
    return all(own.name in puzzle.layer_numbers and own.amount for own in brackets.expand(tree))


def read_learned(puzzle: Puzzle, path: str) -> tuple[Learned, ...]:
    """Return the sequences of a file, one a line; what follows ``#`` is a remark.

    Raises RequestError for a file that cannot be read, or that has none, or a wrong one.
    """
    try:
        with Path(path).open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except (OSError, ValueError) as error:
        text = error.strerror if isinstance(error, OSError) else str(error)
        raise RequestError(f"{path}: cannot be read ({text})") from None
    if len(data) > MOST_BYTES:
        raise RequestError(f"{path}: a file of sequences may have {MOST_BYTES:,} bytes")
    try:
        lines = data.decode("utf-8-sig").splitlines()
    except UnicodeDecodeError:
        raise RequestError(f"{path}: is no text in UTF-8") from None
    try:
        return learned_in(puzzle, lines)
    except RequestError as error:
        before = ", " if str(error).startswith("line ") else ": "
        raise RequestError(f"{path}{before}{error}") from None


def learned_in(
    puzzle: Puzzle, lines: Iterable[str], most: int = MOST_SEQUENCES
) -> tuple[Learned, ...]:
    """Return the sequences of some lines, one each; what follows ``#`` is a remark.

    Raises RequestError where there are none or more than ``most``, or for a wrong one, by its line.
    Of lines that do the same turns the first counts.
    """
    found: list[Learned] = []
    for number, line in enumerate(lines, 1):
        text, _, remark = line.partition("#")
        if not text.strip():
            continue
        try:
            own = learned_of(puzzle, text.strip(), remark)
        except TrefoilError as error:
            raise RequestError(f"line {number}: {error}") from None
        found.append(own)
        if len(found) > most:
            raise RequestError(f"has more than {most:,} sequences, which is the most")
    if not found:
        raise RequestError("has no sequences; one is expected on each line")
    once: dict[Word, Learned] = {}
    for own in found:
        once.setdefault(own.word if puzzle.can_block else normal(puzzle, own.word), own)
    return tuple(once.values())


def begins_of(puzzle: Puzzle, own: Learned) -> tuple[Begin, ...]:
    """Return where a sequence may be begun, its beginning first, with all its turns each time.

    Where the last turn and the first cancel or merge, what is left is not what somebody knows.
    """
    word = normal(puzzle, own.word)
    result = [Begin(own.word, word, "")]
    every = [one for one in starts(puzzle, word)[1:] if _whole(puzzle, word, one)]
    if not every:
        return tuple(result)
    tokens = list(brackets.expand(parse(puzzle, own.line).tree))
    letters = all(token.name in puzzle.layer_numbers for token in tokens)
    prefixes: dict[Word, tuple[int, str]] = {}
    for count in range(len(tokens)):
        turns = renaming.rename(puzzle, tokens[:count])[0]
        said = brackets.text(brackets.Sequence(tuple(tokens[:count])))
        prefixes.setdefault(normal(puzzle, turns), (len(turns), said))
    for one in every:
        if one.moved in prefixes:
            count, after = prefixes[one.moved]
            turns = (*own.word[count:], *own.word[:count])
            # The brackets of the line may be in another order than its turns.
            same = normal(puzzle, turns) == one.word
            result.append(Begin(turns if same else one.word, one.word, after))
        elif letters:
            result.append(Begin(one.word, one.word, write(puzzle, one.moved)))
    return tuple(result)


def _whole(puzzle: Puzzle, word: Word, start: Start) -> bool:
    """Whether nothing merges where the turns that are left to the end follow the others."""
    rest = normal(puzzle, (*puzzle.inverse(start.moved), *word))
    inside = len(rest) + len(start.moved) - len(word)
    return inside in (0, 1) and len(start.word) == len(rest) + len(start.moved)
