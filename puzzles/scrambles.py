"""Random sequences for a club: nothing in them cancels, the same seed gives the same ones."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator

import numpy as np

from puzzles.puzzle import Puzzle, Table, Word

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
    that commute, and are possible where they stand. Where turns can be blocked, one after which
    its own layer could only be turned on is kept for the end. Only ``random()`` is drawn from,
    which Python keeps the same from version to version; a negative seed is another one than the
    positive. Where nothing goes on, as on a puzzle on which everything merges, sequences are
    shorter.
    """
    # As a whole number, a seed would lose its sign.
    source = random.Random(seed if seed >= 0 else str(seed))
    wanted = usual_length(puzzle) if turns is None else turns
    for _ in range(count):
        word: Word = ()
        state = puzzle.effect(word)
        while len(word) < wanted:
            useful = [t for t in range(len(puzzle.turns)) if _adds(puzzle, word, t)]
            if puzzle.can_block:
                useful = _lasting(puzzle, word, state, useful, wanted - len(word) - 1)
            if not useful:
                break
            turn = useful[int(source.random() * len(useful))]
            word, state = (*word, turn), puzzle.moves[turn][state]
        yield word


def _adds(puzzle: Puzzle, word: Word, turn: int) -> bool:
    """Return whether a turn after a word is one more executed turn."""
    layer, commutes = puzzle.turn_layer, puzzle.commutes
    for before in reversed(word):
        if layer[before] == layer[turn]:
            return False
        if not commutes[layer[before], layer[turn]]:
            return True
    return True


# --- where turns can be blocked -----------------------------------------------------------------


def _lasting(puzzle: Puzzle, word: Word, state: Table, turns: list[int], after: int) -> list[int]:
    """Return those of some turns that are possible and let a word go on for ``after`` more turns.

    A turn that *seals* itself, after which nothing comes between it and the next turn of its
    layer, takes away for good what it holds fast: it may only come where there are as many layers
    beside one another, each of which can be turned whatever the others do, as turns are wanted
    still. Where no turn is like that, those after which there are the most such layers.
    """
    possible = [t for t in turns if puzzle.first_blocked((t,), state) is None]
    seals = {t: after > 0 and _seals(puzzle, (*word, t), puzzle.moves[t][state]) for t in possible}

    def beside(turn: int) -> int:
        return _beside(puzzle, (*word, turn), puzzle.moves[turn][state])

    enough = after <= len(puzzle.layers)
    lasting = [t for t in possible if not seals[t] or (enough and beside(t) >= after)]
    if lasting or not possible:
        return lasting
    counts = [beside(t) for t in possible]
    return [t for t, count in zip(possible, counts, strict=True) if count == max(counts)]


def _seals(puzzle: Puzzle, word: Word, state: Table) -> bool:
    """Return whether nothing comes between the last turn of a word and the next of its layer.

    That would be a turn of a layer that does not commute with its own, at once or after one turn
    that carries what is in the way.
    """
    layer, commutes = puzzle.turn_layer, puzzle.commutes
    own = layer[word[-1]]
    across = np.flatnonzero(~commutes[own][layer])
    held: set[int] = set()
    for turn in across.tolist():
        blocked = puzzle.first_blocked((turn,), state)
        if blocked is None:
            return False
        held.update(blocked.slots)
    # The slots of what is in the way are those at home; where it stands is what layers take.
    there = puzzle.slot_of[state[puzzle.home[sorted(held)]]]
    for first in np.flatnonzero(commutes[own][layer] & (layer != own)).tolist():
        if not puzzle.in_layer[layer[first], there].any() or not _adds(puzzle, word, first):
            continue
        if puzzle.first_blocked((first,), state) is None:
            then = puzzle.moves[first][state]
            if any(puzzle.first_blocked((t,), then) is None for t in across.tolist()):
                return False
    return True


def _beside(puzzle: Puzzle, word: Word, state: Table) -> int:
    """Return how many layers that commute with one another can be turned after a word."""
    found: list[int] = []
    for turn in range(len(puzzle.turns)):
        layer = int(puzzle.turn_layer[turn])
        if (
            puzzle.commutes[layer, found].all()
            and layer not in found
            and _adds(puzzle, word, turn)
            and puzzle.first_blocked((turn,), state) is None
        ):
            found.append(layer)
    return len(found)
