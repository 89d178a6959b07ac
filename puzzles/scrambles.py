"""Random sequences for a club: nothing in them cancels, the same seed gives the same ones."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator

from puzzles.puzzle import Puzzle, Word

#: How much longer a scramble is than the least number of turns that could reach everything.
MARGIN = 1.25


def usual_length(puzzle: Puzzle) -> int:
    """Return how many turns a scramble has unless somebody says otherwise.

    With as many turns there are as many sequences as arrangements of the pieces, all counted that
    can be thought of, and a quarter more turns.
    """
    arrangements = sum(
        math.lgamma(t.count + 1) + t.count * math.log(t.twists) for t in puzzle.types if t.moves
    )
    layers = len(puzzle.layers)
    choices = len(puzzle.turns) * (layers - 1) / layers if layers > 1 else len(puzzle.turns)
    return max(1, math.ceil(MARGIN * arrangements / math.log(max(choices, 2))))


def scrambles(puzzle: Puzzle, count: int, seed: int, turns: int | None = None) -> Iterator[Word]:
    """Yield random sequences of so many turns, every one of which is executed.

    Each turn is drawn from all that neither merge nor cancel with those before it, also past turns
    that commute, and are possible where they stand. Only ``random()`` is drawn from, which Python
    keeps the same from version to version; a negative seed is another one than the positive. Where
    nothing goes on, as on a puzzle on which everything merges, sequences are shorter.
    """
    # As a whole number, a seed would lose its sign.
    source = random.Random(seed if seed >= 0 else str(seed))
    wanted = usual_length(puzzle) if turns is None else turns
    for _ in range(count):
        word: Word = ()
        while len(word) < wanted:
            useful = _useful(puzzle, word)
            if not useful:
                break
            word = (*word, useful[int(source.random() * len(useful))])
        yield word


def _useful(puzzle: Puzzle, word: Word) -> list[int]:
    """Return the turns that may come next; where turns can be blocked, none into a dead end.

    After a turn into a dead end only turns of its own layer are possible.
    """
    useful = [t for t in range(len(puzzle.turns)) if _adds(puzzle, word, t)]
    if not puzzle.can_block:
        return useful
    state = puzzle.effect(word)
    useful = [t for t in useful if puzzle.first_blocked((t,), state) is None]
    open_ones = []
    for turn in useful:
        longer, after = (*word, turn), puzzle.moves[turn][state]
        if any(
            _adds(puzzle, longer, t) and puzzle.first_blocked((t,), after) is None
            for t in range(len(puzzle.turns))
        ):
            open_ones.append(turn)
    return open_ones or useful


def _adds(puzzle: Puzzle, word: Word, turn: int) -> bool:
    """Return whether a turn after a word is one more executed turn."""
    layer, commutes = puzzle.turn_layer, puzzle.commutes
    for before in reversed(word):
        if layer[before] == layer[turn]:
            return False
        if not commutes[layer[before], layer[turn]]:
            return True
    return True
