"""What mends parities and sums of twists, which three-cycles leave alone: early, and late.

Early it is a turn of some layers, before any three-cycle. Late it is a sequence that swaps two
pieces or twists one, whichever these are (``method_late``), or that turn and all that it disturbs
put right again.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from puzzles import brackets
from puzzles.effects import Cycle, Effect, cycle_text, cycles, effect_of, effect_of_cycles
from puzzles.laws import Part
from puzzles.layer_group import layer_group
from puzzles.least_effects import FEW, SWAP, TWIST, candidates
from puzzles.puzzle import Puzzle, Table, Word
from search.method_late import late
from search.method_solving import MethodSolver
from search.nesting import nesting
from search.solving_looks import Looks
from search.solving_sums import Balance, Entry

#: Effects that are asked of the group.
ASKED = 64
#: Parities of later types that may be odd together with one.
MOST_LATER = 5


@dataclass(frozen=True)
class Mend:
    """An odd rearrangement of a type, or a sum of its twists, and what puts it right.

    ``kind`` is "swap" for a rearrangement, "twist" for a sum; ``kept`` are the types that stay, by
    number, it among them. ``shows``: it can be wrong although
    all earlier types are right; if not, it is tied to what is right already. ``layers`` are those
    of which single turns change it, by number. ``cycles`` are two pieces that change places, or one
    that is twisted, and nothing else that is kept, ``word`` does that, empty where none was found.
    ``turns``: how many the sequences of the method alone take instead, 0 where that is not known.
    """

    type: int
    kind: str
    kept: tuple[int, ...]
    shows: bool
    layers: tuple[int, ...]
    cycles: tuple[Cycle, ...] = ()
    word: Word = ()
    turns: int = 0

    def effect(self, puzzle: Puzzle) -> str:
        """Return what is swapped or twisted as a text such as ``(UF UB)``."""
        return "".join(cycle_text(puzzle, cycle) for cycle in self.cycles)

    def notation(self, puzzle: Puzzle) -> str:
        """Return how its word is read, empty without one."""
        return brackets.text(nesting(puzzle).tree(self.word)) if self.word else ""


def mends(
    puzzle: Puzzle,
    number: int,
    kept: tuple[int, ...],
    stop: Callable[[], bool] = lambda: False,
) -> tuple[Mend, ...]:
    """Return what mends the parities and sums of a type, by number, while the types ``kept`` stay.

    Empty where it has none that can be wrong: pieces that look the same absorb parity, and most
    turns leave the sums of twists alone. No sequence is looked for after ``stop()``.
    """
    looks = Looks(puzzle)
    balance = Balance(looks)
    result = []
    for at, entry in enumerate(balance.entries):
        if entry.part.type != number or entry.part.single:
            continue
        changing = np.flatnonzero(balance.turns[:, at])
        layers = tuple(sorted(set(puzzle.turn_layer[changing].tolist())))
        if layers:
            result.append(_mend(looks, entry, layers, kept, stop))
    return tuple(result)


def instead(solver: MethodSolver, mend: Mend) -> Mend:
    """Return a mend without a word with the turns that the sequences of a method take instead."""
    if not mend.cycles or mend.word:
        return mend
    puzzle = solver.puzzle
    wrong = np.array(effect_of_cycles(puzzle, mend.cycles).table, dtype=np.int32)
    later = [
        next(candidates(puzzle, [entry.part], SWAP))
        for entry in solver.balance.entries
        if entry.what == "parity" and entry.part.type not in mend.kept
    ][:MOST_LATER]
    # What is odd may come with later types that are odd as well, which three-cycles cannot mend
    # either: of these the fewest that make a state that turns lead to.
    for count in range(len(later) + 1):
        for chosen in itertools.combinations(later, count):
            state = wrong
            for swap in chosen:
                state = swap[state]
            turns = solver.turns_for(state, mend.type)
            if turns is not None:
                return replace(mend, turns=turns)
    return mend


def _mend(
    looks: Looks,
    entry: Entry,
    layers: tuple[int, ...],
    kept: tuple[int, ...],
    stop: Callable[[], bool],
) -> Mend:
    puzzle, number = looks.puzzle, entry.part.type
    kind = SWAP if entry.what == "parity" else TWIST
    table = _possible(puzzle, entry.part, kind, kept)
    if table is None:
        return Mend(number, kind, kept, False, layers)
    known = cycles(puzzle, Effect(tuple(table.tolist())))
    found = {} if stop() else late(looks, entry.part.slots, kept, (kind,), layers, stop)
    if kind not in found:
        return Mend(number, kind, kept, True, layers, known)
    word = found[kind].word
    done = tuple(
        cycle
        for cycle in cycles(puzzle, effect_of(puzzle, word))
        if int(puzzle.type_of[puzzle.slot_of[cycle[0]]]) == number
    )
    return Mend(number, kind, kept, True, layers, done, word)


def _possible(puzzle: Puzzle, part: Part, kind: str, kept: tuple[int, ...]) -> Table | None:
    """Return an effect of a kind that turns can have while some types stay, None for none."""
    own = layer_group(puzzle, tuple(range(len(puzzle.layers))), kept)
    rows = list(itertools.islice(candidates(puzzle, [part], kind), ASKED))
    inside = own.contains(np.array(rows)) if rows else []
    found = next((row for row, fits in zip(rows, inside, strict=True) if fits), None)
    # Where other types look alike, what they do goes unseen.
    return (
        found
        if found is not None
        else next((row for row in rows[:FEW] if own.contains_alike(row)), None)
    )
