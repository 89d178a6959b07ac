"""Solving: from any state of a puzzle to the solved one, in steps that somebody can follow.

1. *Free play* (``solving_free``): short words that put more pieces right than they cost turns.
2. *The balance* (``solving_sums``): parities and sums of twists, which three-cycles leave alone.
3. *Three-cycles* (``solving_cycles``), type by type, that leave all else as it is.

What cannot be done like that is a *product* of words from a stabiliser chain (``factoring``).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from puzzles.errors import RequestError
from puzzles.puzzle import Puzzle, Table, Word
from search.solving_cycles import Splitter
from search.solving_free import FreePlay
from search.solving_looks import Contents, Looks
from search.solving_steps import BALANCE, CYCLE, FREE, Solution, Step, step_of
from search.solving_sums import Balance
from search.solving_words import short_words
from search.tools import Search, Tools, search_in_memory, tools_for

#: What a slot counts, in turns, whose piece no three-cycle puts right.
WITHOUT_CYCLES = 4.0


@dataclass(frozen=True, eq=False)
class Solver:
    """Solves one puzzle; the tables are made when they are first needed and then kept.

    ``apart``: pieces that look alike are told apart. ``search`` fetches the shelves for a table.
    """

    puzzle: Puzzle
    apart: bool = False
    search: Search = search_in_memory

    @cached_property
    def looks(self) -> Looks:
        """When pieces look right."""
        return Looks(self.puzzle, self.apart)

    @cached_property
    def balance(self) -> Balance:
        """The sums that three-cycles leave alone."""
        return Balance(self.looks)

    @cached_property
    def tools(self) -> tuple[Tools, ...]:
        """The three-cycles of every type that has any, with all types kept whose looks matter."""
        kept = tuple(np.flatnonzero(self.looks.matters).tolist())
        result = []
        for number in kept:
            kind = self.puzzle.types[number]
            if kind.count < 3:
                continue
            try:
                result.append(tools_for(self.puzzle, kind, kept, search=self.search))
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
        """The turns that it saves to have a slot right; shape (slots,)."""
        result = np.zeros(self.puzzle.slot_count)
        for number in np.flatnonzero(self.looks.matters).tolist():
            result[list(self.puzzle.types[number].slots)] = WITHOUT_CYCLES
        for splitter in self.splitters:
            result[list(splitter.tools.kind.slots)] = splitter.per_piece
        return result

    @cached_property
    def free(self) -> FreePlay:
        """Free play with all layers."""
        return FreePlay(short_words(self.puzzle), self.balance, self.per_slot)

    def solve(self, effect: Table) -> Solution:
        """Return a solution of the state to which an effect (placements,) leads."""
        run = _Run(self, effect)
        for _ in run.working():
            pass
        return run.solution


class _Run:
    """One state on its way to the solved one."""

    def __init__(self, solver: Solver, effect: Table) -> None:
        self.solver, self.start, self.effect = solver, effect, effect
        self.steps: list[Step] = []

    @property
    def solution(self) -> Solution:
        return Solution(self.solver.looks, self.start, tuple(self.steps))

    @property
    def contents(self) -> Contents:
        return Contents.of(self.solver.looks, self.effect)

    def working(self) -> Iterator[Step]:
        """Do step after step, and yield each."""
        solver = self.solver
        yield from self._free(False)
        if solver.balance.of(self.contents).any():
            yield self._balanced()
        yield from self._free(True)
        for splitter in solver.splitters:
            triples, _ = splitter.split(self.contents)
            for triple in triples:
                tools = splitter.tools
                number = int(tools.family(np.array(triple)))
                family = (tools.kind.number, number)
                yield self._do(tools.word(triple), CYCLE, triple, tools.setup(triple), family)

    def _do(
        self,
        word: Word,
        kind: str,
        cycle: tuple[int, ...] = (),
        setup: Word = (),
        family: tuple[int, int] | None = None,
    ) -> Step:
        looks = self.solver.looks
        step, self.effect = step_of(looks, self.effect, word, kind, cycle, setup, family)
        self.steps.append(step)
        return step

    def _free(self, balanced: bool) -> Iterator[Step]:
        while True:
            found = self.solver.free.best(self.contents, balanced)
            if found is None:
                return
            yield self._do(found.word, FREE)

    def _balanced(self) -> Step:
        """Put the sums right with the word that is worth most, or a shortest one."""
        found = self.solver.free.best(self.contents, True)
        if found is not None:
            return self._do(found.word, BALANCE)
        word = self.solver.balance.word_for(self.solver.balance.of(self.contents))
        if word is None:
            raise RequestError("no sequence leads to this state")
        return self._do(word, BALANCE)


Progress = Callable[[Step], None]
