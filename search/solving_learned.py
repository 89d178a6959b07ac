"""Solving with what somebody has learned: their sequences, mirrored, undone, after setups.

A learned sequence is of use whatever it does: what it disturbs is put right later, or by the next.
Types come in stages, so that those of earlier ones stay; within a stage a beam search puts learned
sequences one after the other (``solving_learned_search``), with single turns between them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from puzzles.errors import RequestError, TrefoilError
from puzzles.notation import parse
from puzzles.puzzle import Puzzle, Word
from puzzles.words import normal
from search.shelves import LONGEST_WORD
from search.solving_learned_shelves import only as only
from search.solving_learned_solver import FREE_TURNS as FREE_TURNS
from search.solving_learned_solver import LearnedSolver
from search.solving_orders import Order

if TYPE_CHECKING:
    from search.solving_learned_blocked import LearnedBlockedSolver

#: The largest file of sequences, in bytes, and the most sequences in it.
MOST_BYTES, MOST_SEQUENCES = 1_000_000, 1_000


def read_learned(puzzle: Puzzle, path: str) -> tuple[Word, ...]:
    """Return the sequences of a file, one a line; what follows ``#`` is left out.

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
) -> tuple[Word, ...]:
    """Return the sequences of some lines, one each; what follows ``#`` is left out.

    Raises RequestError where there are none or more than ``most``, or for a wrong one, by its line.
    """
    words: list[Word] = []
    for number, line in enumerate(lines, 1):
        text = line.split("#", 1)[0].strip()
        if not text:
            continue
        try:
            word = _learned(puzzle, text)
        except TrefoilError as error:
            raise RequestError(f"line {number}: {error}") from None
        words.append(word)
        if len(words) > most:
            raise RequestError(f"has more than {most:,} sequences, which is the most")
    if not words:
        raise RequestError("has no sequences; one is expected on each line")
    return tuple(dict.fromkeys(words))


def _learned(puzzle: Puzzle, text: str) -> Word:
    written = parse(puzzle, text).word
    # Where turns can be blocked, turns in another order may be others that can be done.
    word = tuple(written) if puzzle.can_block else normal(puzzle, written)
    if len(word) > LONGEST_WORD:
        raise RequestError(f"has {len(word)} turns; at most {LONGEST_WORD} can be used")
    if not normal(puzzle, word):
        raise RequestError("all its turns cancel, so that it does nothing")
    return word


def solver_with(
    puzzle: Puzzle,
    words: Sequence[Word],
    apart: bool = False,
    stop: Callable[[], bool] = lambda: False,
) -> LearnedSolver | LearnedBlockedSolver:
    """Return a solver that knows some sequences and short free play, and nothing else.

    ``apart``: pieces that look alike are told apart. ``stop()`` ends it early. Raises LimitError
    where turns can be blocked in too many ways.
    """
    if puzzle.can_block:
        from search.solving_learned_blocked import LearnedBlockedSolver

        return LearnedBlockedSolver(puzzle, words, apart, stop)
    return LearnedSolver(puzzle, words, apart, stop)


def order_for(puzzle: Puzzle, words: Sequence[Word], apart: bool = False) -> Order:
    """Return the order of types in which sequences disturb none that comes before, if there is one.

    Types that no sequence moves come first, where free play puts right what it can; types that
    sequences move only together are one stage.
    """
    return LearnedSolver(puzzle, words, apart).order
