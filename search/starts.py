"""The starts of a sequence: the sequences that come of beginning it elsewhere.

A sequence done in a ring may begin at every turn, and inside a turn of more than one step. With u
the turns that are left to the end, W then reads u' W u: as many turns, other pieces.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from puzzles.puzzle import Puzzle, Word
from puzzles.turns import Turn
from puzzles.words import firsts, normal

#: The most starts of one sequence; with parallel layers there are more than turns.
MOST_STARTS = 400


@dataclass(frozen=True)
class Start:
    """A sequence that begins elsewhere: its turns, and the turns that it leaves to the end."""

    word: Word
    moved: Word


def starts(puzzle: Puzzle, word: Word) -> list[Start]:
    """Return all starts of a word in normal form, the word itself first, each word once."""
    found: dict[Word, Start] = {word: Start(word, ())}
    row = [found[word]]
    for one in row:
        for turn in _movable(puzzle, one.word):
            new = normal(puzzle, (puzzle.inverse((turn,)) + one.word + (turn,)))
            if new not in found and len(new) <= len(word) and len(found) < MOST_STARTS:
                found[new] = Start(new, normal(puzzle, (*one.moved, turn)))
                row.append(found[new])
    for one in row:
        for turn in _inside(puzzle, one.word):
            new = normal(puzzle, (puzzle.inverse((turn,)) + one.word + (turn,)))
            if len(found) < MOST_STARTS:
                found.setdefault(new, Start(new, normal(puzzle, (*one.moved, turn))))
    return list(found.values())


def _movable(puzzle: Puzzle, word: Word) -> Iterator[int]:
    """Yield the turns that may stand first, and so may be left to the end."""
    for k in firsts(puzzle, word):
        yield word[k]


def _inside(puzzle: Puzzle, word: Word) -> Iterator[int]:
    """Yield the first parts of turns that may stand first and are of more than one step."""
    for k in firsts(puzzle, word):
        turn = puzzle.turns[word[k]]
        layer = int(puzzle.turn_layer[word[k]])
        steps = puzzle.layers[layer].steps
        parts: list[int] = []
        if 2 * turn.amount <= steps:
            parts += range(1, turn.amount)
        if 2 * turn.amount >= steps:
            parts += [-a % steps for a in range(1, steps - turn.amount)]
        for amount in parts:
            part = puzzle.turn_numbers.get(Turn(turn.layer, amount))
            rest = puzzle.turn_numbers.get(Turn(turn.layer, (turn.amount - amount) % steps))
            if part is not None and rest is not None:
                yield part
