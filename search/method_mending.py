"""What mends parities, which three-cycles leave alone: an odd turn early, or a sequence late."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from puzzles.effects import Cycle, Effect, cycle_text, cycles
from puzzles.errors import LimitError, RequestError
from puzzles.layer_group import layer_group
from puzzles.least_effects import FEW, SWAP, candidates
from puzzles.puzzle import Puzzle, Word
from search.effects_wanted import find_effect
from search.impossible import ImpossibleError
from search.solving_looks import Looks
from search.solving_sums import Balance

#: Swaps that are asked of the group.
ASKED = 64
#: Seconds that are spent on one sequence at most.
SECONDS = 4.0


@dataclass(frozen=True)
class Mend:
    """An odd rearrangement of a type, and what puts it right.

    ``shows``: it can be odd although all earlier types are right; if not, ``tied`` to what is right
    already. ``layers`` are those of which single turns make it even or odd, by number. ``cycles``
    are two pieces that change places and nothing else that is kept, ``word`` does that, empty where
    none was found or none was looked for; ``notation`` is how it is read.
    """

    type: int
    shows: bool
    layers: tuple[int, ...]
    cycles: tuple[Cycle, ...] = ()
    word: Word = ()
    notation: str = ""

    def swap(self, puzzle: Puzzle) -> str:
        """Return the two pieces as a text such as ``(UF UB)``."""
        return "".join(cycle_text(puzzle, cycle) for cycle in self.cycles)


def mends(
    puzzle: Puzzle,
    number: int,
    kept: tuple[int, ...],
    seconds: float,
    stop: Callable[[], bool] = lambda: False,
) -> tuple[Mend, ...]:
    """Return what mends the parities of a type, by number, while the types ``kept`` stay.

    Empty where it has none that shows: pieces that look the same absorb it. ``seconds`` are spent
    on a sequence for it at most.
    """
    balance = Balance(Looks(puzzle))
    result = []
    for at, entry in enumerate(balance.entries):
        if entry.part.type != number or entry.what != "parity":
            continue
        odd = np.flatnonzero(balance.turns[:, at] == 1)
        layers = tuple(sorted(set(puzzle.turn_layer[odd].tolist())))
        if not layers:
            continue
        own = layer_group(puzzle, tuple(range(len(puzzle.layers))), kept)
        rows = list(itertools.islice(candidates(puzzle, [entry.part], SWAP), ASKED))
        inside = own.contains(np.array(rows)) if rows else []
        # Where other types look alike, what they do goes unseen.
        swapped = next((row for row, fits in zip(rows, inside, strict=True) if fits), None)
        if swapped is None:
            swapped = next((row for row in rows[:FEW] if own.contains_alike(row)), None)
        if swapped is None:
            result.append(Mend(number, False, layers))
            continue
        swap = cycles(puzzle, Effect(tuple(swapped.tolist())))
        word, notation = _sequence(puzzle, swap, kept, min(seconds, SECONDS), stop)
        result.append(Mend(number, True, layers, swap, word, notation))
    return tuple(result)


def _sequence(
    puzzle: Puzzle,
    swap: tuple[Cycle, ...],
    kept: tuple[int, ...],
    seconds: float,
    stop: Callable[[], bool],
) -> tuple[Word, str]:
    """Return a sequence for a swap and how it is read, empty where none is found in time."""
    if seconds < 1 or stop():
        return (), ""
    names = [puzzle.types[k].name for k in kept]
    try:
        found = find_effect(puzzle, swap, keep=names, seconds=seconds, stop=stop)
    except (ImpossibleError, LimitError, RequestError):
        return (), ""
    best = min(found.answers, key=lambda a: (a.things, a.turns), default=None)
    return ((), "") if best is None else (tuple(best.word), best.notation)
