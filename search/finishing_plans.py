"""What finishing comes to: steps with what is proven of them, and one sequence that does all."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from puzzles.effects import Effect, cycles
from puzzles.puzzle import PieceType, Word
from puzzles.states import State
from search.atlas_entries import Said
from search.solving_steps import CYCLE, Solution
from search.splits import MEMORY, TURNS, Split

#: The most unsolved pieces for which one sequence is looked for, and what such a step is called.
MOST_AT_ONCE = 6
AT_ONCE = "all at once"
#: The share of the whole that is looked at where three-cycles do.
SHORTLY = 0.02
#: What such a search looks at, see ``effect_search.Effort``: about what takes so many seconds of
#: processor time on one core of a small machine.
EFFORT, WORTH = (50, 400, 12e6), 8.0


@dataclass(frozen=True)
class AtOnce:
    """How far one sequence for all is looked for.

    ``times`` as much is looked at as usually, which is the same on every machine; ``seconds`` end
    it before, 0 for not at all. ``always``: also where three-cycles alone do.
    """

    seconds: float = 0.0
    times: float = 1.0
    always: bool = False

    @staticmethod
    def within(seconds: float) -> AtOnce:
        """Return what somebody wants who gives it so many seconds, also where three-cycles do."""
        return AtOnce(seconds, max(1.0, seconds / WORTH), True)

    @property
    def shortly(self) -> AtOnce:
        """What is looked at where three-cycles do, in several steps."""
        return AtOnce(self.seconds, SHORTLY * self.times)


#: One sequence for all is not looked for.
NOT_LOOKED = AtOnce()


@dataclass(frozen=True, eq=False)
class Part:
    """How the unsolved pieces of one type were split: ``text`` says what is proven of it."""

    kind: PieceType
    split: Split
    text: str


@dataclass(frozen=True, eq=False)
class Finish:
    """Steps that solve a state, as they are written, and what is proven of them.

    ``said[k]`` is step k of ``solution`` as text and in brackets. ``parts`` are about the types
    that three-cycles solve; ``note`` says how far a search for one sequence went, if there was one.
    ``further``: somebody who gives it time may still get a shorter one.
    """

    state: State
    by: str
    solution: Solution
    said: tuple[Said, ...]
    parts: tuple[Part, ...]
    note: str = ""
    further: bool = False

    @property
    def word(self) -> Word:
        """All steps in a row, with everything cancelled."""
        return self.solution.word

    @property
    def sequences(self) -> int:
        """How many different sequences have to be known: images and setups are not counted."""
        others = sum(step.kind != CYCLE for step in self.solution.steps)
        return self.solution.families + others


@dataclass(frozen=True, eq=False)
class Plan:
    """A first word, and three-cycles after it that solve the rest."""

    first: Word
    parts: tuple[Part, ...]
    kind: str
    said: Said | None = None

    @property
    def cycles(self) -> Iterator[tuple[Part, tuple[int, int, int]]]:
        """The three-cycles in order, with the part that each belongs to."""
        for part in self.parts:
            for triple in part.split.triples:
                yield part, triple

    def order(self, by: str) -> tuple[int, ...]:
        """Return what plans are sorted by, the best first."""
        turns = len(self.first) + sum(part.split.executed for part in self.parts)
        if by == TURNS:
            return (turns, len(list(self.cycles)))
        if by == MEMORY:
            first = len(self.first) if self.said is None else self.said.things
            return first + sum(part.split.things for part in self.parts), turns
        return bool(self.first) + sum(part.split.sequences for part in self.parts), turns


@dataclass(frozen=True)
class Once:
    """One sequence that solves all, None where none was found, and how far it was looked for.

    ``proven``: no sequence of any form has fewer turns than the shortest that was found.
    """

    said: Said | None
    note: str
    proven: bool = False


def at_once(
    state: State,
    matters: Sequence[int],
    by: str,
    bound: AtOnce,
    stop: Callable[[], bool],
) -> Once | None:
    """Return one sequence that solves a state, None where none is looked for.

    ``matters`` are the numbers of the types that are kept. Where turns can be blocked the state has
    to be at the home shape, where what is possible from solved is possible.
    """
    if bound.seconds <= 0 or not 0 < len(state.unsolved) <= MOST_AT_ONCE:
        return None
    from search.effect_search import Effort
    from search.effects_wanted import find_effect

    puzzle = state.puzzle
    undone = Effect(tuple(np.argsort(state.table).tolist()))
    found = find_effect(
        puzzle,
        cycles(puzzle, undone),
        keep=[puzzle.types[number].name for number in matters],
        alike=not state.apart,
        seconds=bound.seconds,
        stop=stop,
        effort=Effort(*EFFORT).times(bound.times),
    )
    if not found.answers:
        return Once(None, found.searched.text)
    if by == MEMORY:
        best = min(found.answers, key=lambda answer: (answer.things, answer.turns))
    else:
        best = min(found.answers, key=lambda answer: (answer.turns, answer.things))
    said = Said(best.sequence, best.notation, best.turns, best.things, best.word)
    fewest = min(answer.turns for answer in found.answers)
    return Once(said, found.searched.text, found.searched.any_form >= fewest - 1)
