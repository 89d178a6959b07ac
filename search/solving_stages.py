"""A stage of solving: the types that are put right in it, while those of earlier stages stay."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from puzzles.errors import RequestError
from puzzles.layer_group import layer_group
from puzzles.puzzle import Puzzle
from search.solving_cycles import Splitter
from search.solving_free import FreePlay
from search.solving_looks import Looks
from search.solving_sums import Balance
from search.solving_words import ShortWords
from search.tools import Search, Tools, tools_for

#: What a slot counts, in turns, whose piece no three-cycle puts right.
WITHOUT_CYCLES = 4.0
#: What a slot counts that has to be right before all else.
ABOVE_ALL = 1_000.0


@dataclass(frozen=True, eq=False)
class Stage:
    """Types by number that are put right, and those before that stay as they are.

    ``free_turns``: words of free play have at most so many turns, and none are met from both ends;
    None for all that there are.
    """

    balance: Balance
    before: tuple[int, ...]
    types: tuple[int, ...]
    words: ShortWords
    search: Search
    free_turns: int | None = None

    @property
    def puzzle(self) -> Puzzle:
        """The puzzle that is solved."""
        return self.balance.puzzle

    @property
    def looks(self) -> Looks:
        """When pieces look right."""
        return self.balance.looks

    @property
    def kept(self) -> tuple[int, ...]:
        """The types that are right once the stage is done."""
        return tuple(sorted((*self.before, *self.types)))

    @cached_property
    def tools(self) -> tuple[Tools, ...]:
        """The three-cycles of every type of the stage that has any."""
        result = []
        for number in self.types:
            kind = self.puzzle.types[number]
            if kind.count < 3:
                continue
            try:
                result.append(tools_for(self.puzzle, kind, self.kept, search=self.search))
            except RequestError:
                # Its pieces never leave their slots, or all layers commute.
                continue
        return tuple(result)

    @cached_property
    def splitters(self) -> tuple[Splitter, ...]:
        """What puts each type right by three-cycles, for types that have any."""
        made = (Splitter(tools, self.looks) for tools in self.tools)
        return tuple(splitter for splitter in made if len(splitter.cost))

    @cached_property
    def per_slot(self) -> NDArray[np.float64]:
        """The turns that it saves to have a slot right, nought for later types; shape (slots,)."""
        result = np.zeros(self.puzzle.slot_count)
        for number in self.types:
            result[list(self.puzzle.types[number].slots)] = WITHOUT_CYCLES
        for splitter in self.splitters:
            result[list(splitter.tools.kind.slots)] = splitter.per_piece
        for number in self.before:
            result[list(self.puzzle.types[number].slots)] = ABOVE_ALL
        return result

    @cached_property
    def free(self) -> FreePlay:
        """Free play that weighs turns against what stands right."""
        return FreePlay(self.words, self.balance, self.per_slot, self.free_turns)

    @cached_property
    def hard(self) -> tuple[int, ...]:
        """The numbers of types that three-cycles and balance alone do not always put right.

        They have slots that reach each other and of which no three-cycle is known, or not all that
        there are.
        """
        hard = set()
        for part in layer_group(self.puzzle).parts:
            kind = self.puzzle.types[part.type]
            if part.type not in self.types or part.single:
                continue
            if len(part.slots) == 2 and self.looks.shown[part.slots[0]] == 1:
                continue
            own = [s for s in self.splitters if s.tools.kind is kind]
            if not any(s.fills(part.slots) for s in own):
                hard.add(part.type)
        return tuple(sorted(hard))

    @cached_property
    def hard_first(self) -> FreePlay:
        """Free play for which nothing counts as much as the types that are hard."""
        per_slot = self.per_slot.copy()
        for number in self.hard:
            per_slot[list(self.puzzle.types[number].slots)] = ABOVE_ALL
        return FreePlay(self.words, self.balance, per_slot, self.free_turns)
