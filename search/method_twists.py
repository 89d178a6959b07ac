"""Two pieces twisted where they sit by one sequence, where that saves turns against three-cycles.

Three-cycles twist pairs of pieces too, two of them one after the other. A sequence that twists two
pieces is one more thing to remember: it is named where it is shorter, with what it saves.
"""

from __future__ import annotations

import random
import statistics
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from puzzles.effects import Cycle, cycles, effect_of
from puzzles.laws import Part
from puzzles.layer_group import layer_group
from puzzles.least_effects import TWISTS, moved
from puzzles.puzzle import Word
from puzzles.words import normal
from search.method_late import late, stabilising
from search.method_solving import MethodSolver
from search.nesting import things
from search.solving_looks import Looks

#: Pairs of twisted pieces that both ways are measured on, and the seed that they are drawn with.
SAMPLED, SEED = 12, 20_261
#: What it takes with the sequence is at most this share of what it takes without.
WORTH_IT = 0.9
#: A slot and by how many twists its piece is twisted, for two pieces.
Twisted = tuple[tuple[int, int], tuple[int, int]]


@dataclass(frozen=True)
class TwistPair:
    """A word that twists two pieces of a type and keeps all that is right already.

    ``cycles`` are what it does. ``with_it`` turns take two twisted pieces on average with it and
    setups, ``without`` with the sequences of the method alone, both over the same ``count`` pairs.
    """

    type: int
    word: Word
    things: int
    cycles: tuple[Cycle, ...]
    with_it: float
    without: float
    count: int


@dataclass(frozen=True)
class Pair:
    """A word that twists two pieces of a part and keeps all that is right already."""

    part: Part
    word: Word


def pairs(
    looks: Looks,
    number: int,
    kept: tuple[int, ...],
    stop: Callable[[], bool] = lambda: False,
) -> tuple[Pair, ...]:
    """Return a word for each part of a type, by number, of which two pieces can be twisted."""
    result = []
    for part in layer_group(looks.puzzle).parts:
        if part.type != number or part.single or int(looks.shown[part.slots[0]]) < 2 or stop():
            continue
        found = late(looks, part.slots, kept, (TWISTS,), stop=stop)
        result += [Pair(part, found[TWISTS].word)] if TWISTS in found else []
    return tuple(result)


def saving(
    solver: MethodSolver,
    kept: tuple[int, ...],
    words: tuple[Pair, ...],
    stop: Callable[[], bool] = lambda: False,
) -> tuple[TwistPair, ...]:
    """Return the words that save turns; ``solver`` knows a method's sequences and nothing else."""
    result = []
    for pair in words:
        own = None if stop() else _measured(solver, pair.part, kept, pair.word)
        result += [own] if own is not None and own.with_it < WORTH_IT * own.without else []
    return tuple(result)


def _measured(
    solver: MethodSolver, part: Part, kept: tuple[int, ...], word: Word
) -> TwistPair | None:
    puzzle = solver.puzzle
    ways = reached(solver.looks, part.slots, kept, word)
    rows = sorted(ways)
    chosen = random.Random(SEED).sample(rows, min(SAMPLED, len(rows)))
    with_it, without = [], []
    still = np.arange(puzzle.placement_count, dtype=np.int32)
    for pair in chosen:
        effect = moved(puzzle, still, [(slot, slot, twist) for slot, twist in pair])
        turns = solver.turns_for(effect, part.type)
        if turns is not None:
            with_it.append(len(ways[pair]))
            without.append(turns)
    if not with_it:
        return None
    own = tuple(
        cycle
        for cycle in cycles(puzzle, effect_of(puzzle, word))
        if int(puzzle.type_of[puzzle.slot_of[cycle[0]]]) == part.type
    )
    return TwistPair(
        part.type,
        word,
        things(puzzle, word),
        own,
        statistics.mean(with_it),
        statistics.mean(without),
        len(with_it),
    )


def reached(
    looks: Looks, slots: tuple[int, ...], kept: tuple[int, ...], word: Word
) -> dict[Twisted, Word]:
    """Return a word for each pair of twisted pieces that setups around a word's images mend."""
    puzzle = looks.puzzle
    images = [symmetry.turns for symmetry in stabilising(puzzle, slots, kept)]
    every = {normal(puzzle, [int(image[t]) for t in word]) for image in images} | {word}
    every |= {normal(puzzle, puzzle.inverse(one)) for one in every}
    ways: dict[Twisted, tuple[Word, Word]] = {}
    queue: deque[Twisted] = deque()
    for one in sorted(every):
        twisted = _twisted(looks, slots, puzzle.inverse(one))
        if twisted is not None and twisted not in ways:
            ways[twisted] = (), one
            queue.append(twisted)
    there = puzzle.slot_of[puzzle.moves[:, puzzle.home]]
    while queue:
        pair = queue.popleft()
        setup, inner = ways[pair]
        for turn in range(len(there)):
            # The turn brings the pieces to where they are mended already.
            undone = there[int(puzzle.inverses[turn])]
            before = _ordered([(int(undone[slot]), twist) for slot, twist in pair])
            if before not in ways:
                ways[before] = (turn, *setup), inner
                queue.append(before)
    return {
        pair: normal(puzzle, (*setup, *inner, *puzzle.inverse(setup)))
        for pair, (setup, inner) in ways.items()
    }


def _twisted(looks: Looks, slots: tuple[int, ...], word: Word) -> Twisted | None:
    """Return which two pieces a word twists among those of some slots, and by how many twists."""
    puzzle = looks.puzzle
    effect = puzzle.effect(word)
    homes = puzzle.home[list(slots)]
    ends = effect[homes]
    own = [
        (slot, int(end - start))
        for slot, start, end in zip(slots, homes.tolist(), ends.tolist(), strict=True)
        if end != start
    ]
    if len(own) != 2 or any(int(puzzle.slot_of[effect[puzzle.home[s]]]) != s for s, _ in own):
        return None
    return _ordered(own)


def _ordered(rows: list[tuple[int, int]]) -> Twisted:
    one, other = sorted(rows)
    return one, other
