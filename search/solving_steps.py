"""What a solution is: steps, each a word with what it puts right and what it keeps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from puzzles.brackets import Tree
from puzzles.puzzle import Puzzle, Table, Word
from puzzles.words import normal
from search.solving_looks import Contents, Looks

#: Kinds of steps.
FREE, BALANCE, CYCLE, PRODUCT = "free", "odd turn", "three-cycle", "product"
#: A sequence that somebody has learned, of which more comes than a three-cycle.
LEARNED = "learned"


@dataclass(frozen=True)
class Step:
    """A few turns with one purpose.

    ``kind`` is "free" (short words that put pieces right), "odd turn" (a word that puts parities
    and sums of twists right), "three-cycle" or "product" (of words that a stabiliser chain is made
    of). ``cycle`` are the placements of a three-cycle, empty otherwise. ``right`` are the slots
    that look right after the step and did not before, ``kept`` those that did before and after.
    ``setup`` and ``family`` say of a three-cycle what it is done with: the turns before the word of
    the shelves, and which of them. ``said``: which learned sequence it is, in words; ``form``: what
    stands for it in brackets.
    """

    word: Word
    kind: str
    right: tuple[int, ...]
    kept: tuple[int, ...]
    cycle: tuple[int, ...] = ()
    setup: Word = ()
    family: tuple[int, int] | None = None
    said: str = ""
    form: Tree | None = None


@dataclass(frozen=True, eq=False)
class Solution:
    """Steps that put a state right; ``solved`` is false if they do not wholly.

    ``start`` (placements,) is the effect that led to the state.
    """

    looks: Looks
    start: Table
    steps: tuple[Step, ...]

    @property
    def puzzle(self) -> Puzzle:
        """The puzzle that is solved."""
        return self.looks.puzzle

    @property
    def end(self) -> Table:
        """The effect of what led to the state and of all steps, turn by turn; (placements,)."""
        effect = self.start
        for step in self.steps:
            for turn in step.word:
                effect = self.puzzle.moves[turn][effect]
        return effect

    @property
    def solved(self) -> bool:
        """Whether everything looks right in the end."""
        return Contents.of(self.looks, self.end).solved

    @property
    def word(self) -> Word:
        """All steps in a row, with everything cancelled, or as they are where that is blocked."""
        row = tuple(t for step in self.steps for t in step.word)
        cancelled = normal(self.puzzle, row)
        blocked = self.puzzle.first_blocked(cancelled, self.start) is not None
        return row if blocked else cancelled

    @property
    def turns(self) -> int:
        """How many turns the steps have, each as it is written."""
        return sum(len(step.word) for step in self.steps)

    @property
    def families(self) -> int:
        """How many different three-cycles there are up to symmetry, inversion and setups."""
        return len({step.family for step in self.steps if step.family is not None})


def step_of(
    looks: Looks,
    effect: Table,
    word: Word,
    kind: str,
    cycle: tuple[int, ...] = (),
    setup: Word = (),
    family: tuple[int, int] | None = None,
    said: str = "",
    form: Tree | None = None,
) -> tuple[Step, Table]:
    """Return a word as a step from a state, and the state after it."""
    after = effect
    for turn in word:
        after = looks.puzzle.moves[turn][after]
    old, new = Contents.of(looks, effect).right, Contents.of(looks, after).right
    right = tuple(np.flatnonzero(new & ~old).tolist())
    kept = tuple(np.flatnonzero(new & old).tolist())
    return Step(word, kind, right, kept, cycle, setup, family, said, form), after
