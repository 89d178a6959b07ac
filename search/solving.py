"""Solving: from any state of a puzzle to the solved one, in steps that somebody can follow.

1. *Free play* (``solving_free``): short words that put more pieces right than they cost turns.
2. *The balance* (``solving_sums``): parities and sums of twists, which three-cycles leave alone.
3. *Three-cycles* (``solving_cycles``), type by type, that leave all else as it is.

Types may be put right in stages; then three-cycles of a stage may do to later types what they
like, and are shorter. What cannot be done like that is a *product* of words from a stabiliser chain
(``factoring``).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np

from puzzles.errors import RequestError
from puzzles.layer_group import layer_group
from puzzles.puzzle import Puzzle, Table, Word
from search.solving_cycles import Splitter
from search.solving_free import FreePlay
from search.solving_looks import Contents, Looks
from search.solving_orders import Order, usual_order
from search.solving_products import Products
from search.solving_stages import Stage
from search.solving_steps import BALANCE, CYCLE, FREE, PRODUCT, Solution, Step, step_of
from search.solving_sums import Balance
from search.solving_words import ShortWords, short_words
from search.tools import Search, search_in_memory

#: Puzzles with more arrangements than this, counted without any law, are not solved at one go.
FEW_ARRANGEMENTS = 10**13


class AnySolver(Protocol):
    """What every solver can do, also where turns can be blocked."""

    @property
    def puzzle(self) -> Puzzle:
        """The puzzle that is solved."""

    @property
    def looks(self) -> Looks:
        """When pieces look right."""

    def solve(self, effect: Table) -> Solution:
        """Return a solution of the state to which an effect (placements,) leads."""


@dataclass(frozen=True, eq=False)
class Solver:
    """Solves one puzzle; the tables are made when they are first needed and then kept.

    ``apart``: pieces that look alike are told apart. ``search`` fetches the shelves for a table.
    ``order``: the types by number, stage by stage; None for the usual one. ``free_turns`` bounds
    the words of free play, ``products`` allows those of stabiliser chains.
    """

    puzzle: Puzzle
    apart: bool = False
    search: Search = search_in_memory
    order: Order | None = None
    free_turns: int | None = None
    products: bool = True

    @cached_property
    def looks(self) -> Looks:
        """When pieces look right."""
        return Looks(self.puzzle, self.apart)

    @cached_property
    def balance(self) -> Balance:
        """The sums that three-cycles leave alone."""
        return Balance(self.looks)

    @cached_property
    def words(self) -> ShortWords:
        """The short words of free play."""
        return short_words(self.puzzle)

    @cached_property
    def types(self) -> tuple[int, ...]:
        """The numbers of the types of which it can be seen whether they are right."""
        return tuple(np.flatnonzero(self.looks.matters).tolist())

    @cached_property
    def stages(self) -> tuple[Stage, ...]:
        """The stages, in order; types that were not named come last."""
        chosen = self.order
        if chosen is None:
            chosen = usual_order(self.puzzle, self.types, self.search)
        order = [tuple(t for t in own if t in self.types) for own in chosen]
        rest = set(self.types).difference(*order)
        before: tuple[int, ...] = ()
        result = []
        for own in [*order, tuple(sorted(rest))]:
            if own:
                search, most = self.search, self.free_turns
                result.append(Stage(self.balance, before, own, self.words, search, most))
                before = (*before, *own)
        return tuple(result)

    @cached_property
    def splitters(self) -> tuple[Splitter, ...]:
        """What puts each type right by three-cycles, for types that have any."""
        return tuple(splitter for stage in self.stages for splitter in stage.splitters)

    @cached_property
    def at_one_go(self) -> FreePlay | None:
        """Words from both ends, where there are so few states that these reach most of them."""
        kinds = [self.puzzle.types[number] for number in self.types]
        free = math.prod(math.factorial(k.count) * k.twists**k.count for k in kinds)
        if free > FEW_ARRANGEMENTS or self.free_turns is not None:
            return None
        if layer_group(self.puzzle).order > len(self.words.last) ** 2:
            return None
        slots = [s for k in kinds for s in k.slots]
        per_slot = np.zeros(self.puzzle.slot_count)
        per_slot[slots] = 1.0
        return FreePlay(self.words, self.balance, per_slot)

    @cached_property
    def on_hard(self) -> Products:
        """Words for all elements on the types that three-cycles do not do, and the sums."""
        return Products(self.balance, self.stages[0].hard)

    @cached_property
    def on_all(self) -> Products:
        """Words for all elements on all types whose looks matter."""
        return Products(self.balance, self.types)

    def prepare(self) -> Iterator[str]:
        """Make the tables one by one; yield before each what it is, for somebody who waits."""
        yield "which types come first"
        for stage in self.stages:
            for number in stage.types:
                yield f"three-cycles of the type {self.puzzle.types[number].name}"
                _ = stage.tools
            _ = stage.splitters, stage.hard
        yield "short words"
        _ = self.words.everywhere

    def working(self, effect: Table) -> Iterator[Step]:
        """Yield the steps of a solution one by one.

        Raises RequestError for a state to which no sequence leads.
        """
        yield from _Run(self, effect).working()

    def working_stage(self, effect: Table, number: int) -> Iterator[Step]:
        """Yield the steps of one stage, by number, from a state; the balance goes with the first.

        Raises RequestError for a state to which no sequence leads.
        """
        yield from _Run(self, effect).stage(self.stages[number], number == 0)

    def solve(self, effect: Table) -> Solution:
        """Return a solution of the state to which an effect (placements,) leads.

        Raises RequestError for a state to which no sequence leads.
        """
        return Solution(self.looks, effect, tuple(self.working(effect)))


def solver_for(puzzle: Puzzle, apart: bool = False, search: Search = search_in_memory) -> AnySolver:
    """Return what solves a puzzle; ``apart``: pieces that look alike are told apart."""
    if puzzle.can_block:
        from search import solving_blocked

        return solving_blocked.solver_for(puzzle, apart)
    return Solver(puzzle, apart, search)


class _Run:
    """One state on its way to the solved one."""

    def __init__(self, solver: Solver, effect: Table) -> None:
        self.solver, self.effect = solver, effect

    @property
    def contents(self) -> Contents:
        return Contents.of(self.solver.looks, self.effect)

    def working(self) -> Iterator[Step]:
        """Do step after step, and yield each."""
        solver = self.solver
        if self.contents.solved:
            return
        if solver.at_one_go is not None:
            word = solver.at_one_go.whole(self.effect)
            if word is not None:
                yield self._do(word, FREE)
                return
        for number, stage in enumerate(solver.stages):
            yield from self.stage(stage, number == 0)
        if not self.contents.solved and solver.products:
            yield self._product(solver.on_all)
            if not self.contents.solved:
                # Pieces that never leave their slots are told by no sum and in no chain.
                raise RequestError("this state cannot be reached: no sequence leads to it")

    def stage(self, stage: Stage, first: bool) -> Iterator[Step]:
        """Do one stage; the balance is put right in the ``first`` one."""
        if first:
            yield from self._free(stage.free, False)
            if self.solver.balance.of(self.contents).any():
                yield self._balanced(stage.free)
        yield from self._free(stage.free, True)
        if self._wrong(stage.hard):
            yield from self._free(stage.hard_first, True)
            if first and self._wrong(stage.hard) and self.solver.products:
                yield self._product(self.solver.on_hard)
                yield from self._free(stage.hard_first, True)
        for splitter in stage.splitters:
            yield from self._three_cycles(splitter)

    def _three_cycles(self, splitter: Splitter) -> Iterator[Step]:
        triples, _ = splitter.split(self.contents)
        tools = splitter.tools
        for triple in triples:
            number = int(tools.family(np.array(triple)))
            family = (tools.kind.number, number)
            yield self._do(tools.word(triple), CYCLE, triple, tools.setup(triple), family)

    def _wrong(self, types: tuple[int, ...]) -> bool:
        """Return whether a piece of some types is not right."""
        right = self.contents.right
        kinds = self.solver.puzzle.types
        return any(not right[list(kinds[number].slots)].all() for number in types)

    def _product(self, products: Products) -> Step:
        word = products.word(self.contents)
        if word is None:
            raise RequestError("this state cannot be reached: no sequence leads to it")
        return self._do(word, PRODUCT)

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
        return step

    def _free(self, play: FreePlay, balanced: bool) -> Iterator[Step]:
        while True:
            found = play.best(self.contents, balanced)
            if found is None:
                return
            yield self._do(found.word, FREE)

    def _balanced(self, play: FreePlay) -> Step:
        """Put the sums right with the word that is worth most, or a shortest one."""
        found = play.best(self.contents, True)
        if found is not None:
            return self._do(found.word, BALANCE)
        word = self.solver.balance.word_for(self.solver.balance.of(self.contents))
        if word is None:
            raise RequestError("this state cannot be reached: no sequence leads to it")
        return self._do(word, BALANCE)
