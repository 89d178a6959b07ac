"""The last pieces: a state into steps that solve it, most of them three-cycles that keep the rest.

What a short word undoes is undone directly: of all words of up to twice as many turns as the table
of short words has, none is missed (``search.finishing_direct``). Otherwise six or fewer unsolved
pieces of a type are split by comparing all products of at most four three-cycles
(``search.splits``), more of them step by step (``search.solving_cycles``), type by type; a *free*
word goes before them where that takes fewer turns. What three-cycles cannot change, parities and
sums of twists, is put right first by a short word, an *odd turn*; what is left where a type has no
three-cycles, by a *product* of words. A few pieces may also be put right *all at once*, by one
sequence that a search of its own finds.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from puzzles.assemblies import Judgement, judge
from puzzles.brackets import count, text
from puzzles.errors import RequestError
from puzzles.notation import write
from puzzles.puzzle import Puzzle, Word
from puzzles.states import State
from puzzles.words import normal
from search.atlas_entries import Chosen, Said, teller
from search.finishing_plans import (
    AT_ONCE,
    MOST_AT_ONCE,
    NOT_LOOKED,
    AtOnce,
    Finish,
    Once,
    Part,
    Plan,
    at_once,
)
from search.finishing_proofs import compared, one_by_one
from search.finishing_tables import Tables
from search.impossible import ImpossibleError
from search.nesting import nesting
from search.solving_looks import Contents
from search.solving_steps import BALANCE, CYCLE, FREE, PRODUCT, Solution, Step, step_of
from search.split_tables import TypeCycles
from search.splits import (
    MEASURES,
    MEMORY,
    MOST_HELPING,
    MOST_SLOTS,
    TURNS,
    best_split,
    measured,
    unsolved_of,
)
from search.tools import Search, Tools, search_in_memory

#: Short words that are looked at for an odd turn.
MOST_WORDS = 20_000
#: Odd turns that are followed to the end, by what a quick look says of them.
MOST_FOLLOWED = 10


@dataclass(frozen=True, eq=False)
class Finisher:
    """Finishes states of one puzzle with its tables, by one of ``splits.MEASURES``.

    ``once`` says how far one sequence for all unsolved pieces is looked for, where they are few and
    three-cycles alone do not do. It ends soon after ``stop()`` says so.
    """

    tables: Tables
    by: str = TURNS
    once: AtOnce = NOT_LOOKED
    stop: Callable[[], bool] = lambda: False

    def __post_init__(self) -> None:
        if self.by not in MEASURES:
            raise RequestError(f"by {self.by!r}: {' or '.join(MEASURES)} was expected")

    def finish(self, state: State) -> Finish:
        """Return the best steps for a state.

        Raises ImpossibleError with the laws that it breaks and the smallest repair.
        """
        verdict = self.judged(state)
        if not verdict.possible:
            raise ImpossibleError(f"no sequence solves this: {verdict.reason}")
        direct, fewest = self._direct(state)
        if direct is not None and self.by != MEMORY and not _few(state):
            # Any other way has two steps or more, or is a word that has no fewer turns.
            return self._told(state, direct, None, fewest)
        plans = [
            plan
            for word in self._first_words(state)
            if (plan := self._by_cycles(state, word, 0)) is not None
        ]
        best = min(plans, key=lambda plan: plan.order(self.by), default=None)
        if best is not None:
            # As they are, few pieces are split with the help of others in any case.
            ends = [plan.first for plan in (best, *plans) if plan is best or not plan.first]
            helped = [self._by_cycles(state, end, MOST_HELPING) for end in dict.fromkeys(ends)]
            every = [plan for plan in (*helped, best) if plan is not None]
            best = min(every, key=lambda plan: plan.order(self.by))
        if direct is not None and (best is None or direct.order(self.by) < best.order(self.by)):
            best = direct
        found: Once | None = None
        once = self.once
        if not once.always and best is not None and best.kind != BALANCE:
            # Three-cycles do: one sequence instead of several steps is looked for shortly.
            several = bool(best.first) + len(list(best.cycles)) > 1
            once = once.shortly if several else NOT_LOOKED
        if once.always or direct is None:
            found = at_once(state, self.tables.matters, self.by, once, self.stop)
            whole = _whole(found)
            if whole is not None and (best is None or whole.order(self.by) < best.order(self.by)):
                best = whole
        return self._told(state, best or self._with_products(state), found, fewest)

    def _direct(self, state: State) -> tuple[Plan | None, int | None]:
        """Return a word that undoes a state, and the fewest turns of any, None for both if many.

        Many is more than ``Direct.reach``. By memory it is the one with least to remember of those
        that were found, else one of the fewest turns of any form.
        """
        puzzle, direct = self.tables.puzzle, self.tables.direct
        find = direct.every if self.by == MEMORY else direct.fewest
        words = find(state.table) if state.unsolved else []
        if not words:
            return None, None
        told = nesting(puzzle)
        word = min(words, key=lambda own: (told.things(own), len(own)))
        form = told.tree(word)
        said = Said(write(puzzle, word), text(form), len(word), count(form), word)
        return Plan(word, (), AT_ONCE, said), len(words[0])

    def judged(self, state: State) -> Judgement:
        """Return whether turns lead to a state, else why not, with the smallest repair."""
        return judge(state)

    def _first_words(self, state: State) -> list[Word]:
        """Return words that leave parities and twists right, the likeliest first; () is one.

        Where they are right and few pieces are unsolved, () and what is promising beside it.
        """
        tables = self.tables
        contents = Contents.of(tables.looks, state.table)
        sums = tables.balance.of(contents)
        counts = np.bincount(tables.puzzle.type_of[list(state.unsolved)], minlength=1)
        few = not sums.any() and counts.max(initial=0) <= MOST_SLOTS
        words, most = tables.words, tables.words.longest
        while most > 1 and words.up_to(most) > MOST_WORDS:
            most -= 1
        given = words.sums(tables.balance.turns, tables.balance.moduli, most)
        fits = np.flatnonzero(((given + sums) % tables.balance.moduli == 0).all(axis=1))
        if not len(fits):
            word = tables.balance.word_for(sums)
            return [] if word is None else [word]
        value = self._unsolved_turns(state, fits) + words.turns[fits]
        order = np.argsort(value, kind="stable")[:MOST_FOLLOWED]
        likely = [(float(value[k]), words.word(int(fits[k]))) for k in order]
        likely += self._but_one(state)
        likely.sort(key=lambda own: own[0])
        if few:
            # The empty word is the first of those that fit; only what promises more goes before.
            better = [word for worth, word in likely if word and worth < value[0]]
            return [(), *better[:MOST_FOLLOWED]]
        return [word for _, word in likely[:MOST_FOLLOWED]]

    def _but_one(self, state: State) -> list[tuple[float, Word]]:
        """Return words that undo all but pieces of one type, and about what that takes in all."""
        puzzle, result = self.tables.puzzle, []
        for number, word, wrong in self.tables.direct.but_one(state.table):
            # What leaves nothing wrong undoes the state directly.
            if wrong:
                each = float(self.tables.per_slot[puzzle.types[number].slots[0]])
                result.append((len(word) + wrong * each, word))
        return result

    def _unsolved_turns(self, state: State, numbers: NDArray[np.int64]) -> NDArray[np.float64]:
        """Return about how many turns it takes to solve what each of some words leaves."""
        puzzle, looks = self.tables.puzzle, self.tables.looks
        places = state.table[puzzle.home]
        twists = np.array([puzzle.types[k].twists for k in puzzle.type_of.tolist()])
        result = np.zeros(len(numbers))
        for piece, place in enumerate(places.tolist()):
            slot = int(puzzle.slot_of[place])
            there = self.tables.words.everywhere[slot, numbers].astype(np.int64)
            goal = puzzle.slot_of[there]
            twist = (puzzle.twist_of[there] + int(puzzle.twist_of[place])) % twists[piece]
            turned = (twist + looks.shift[piece] - looks.shift[goal]) % looks.shown[piece]
            right = (looks.kind[goal] == looks.kind[piece]) & (turned == 0)
            result += np.where(right, 0.0, self.tables.per_slot[goal])
        return result

    def _by_cycles(self, state: State, first: Word, helping: int) -> Plan | None:
        """Return a plan of a first word and three-cycles after it, None if that is not enough."""
        contents = Contents.of(self.tables.looks, state.table)
        kind = BALANCE if self.tables.balance.of(contents).any() else FREE
        after = state.after(self.tables.puzzle.effect(first)) if first else state
        parts = self._parts(after, helping)
        return None if parts is None else Plan(first, parts, kind)

    def _parts(self, state: State, helping: int) -> tuple[Part, ...] | None:
        """Return three-cycles for all that is not solved, None where some type has none for it."""
        parts = []
        for number in sorted({int(self.tables.puzzle.type_of[slot]) for slot in state.unsolved}):
            tools = self.tables.tools(self.tables.puzzle.types[number])
            part = None if tools is None else self._part(tools, state, helping)
            if part is None:
                return None
            parts.append(part)
        return tuple(parts)

    def _part(self, tools: Tools, state: State, helping: int) -> Part | None:
        """Return the three-cycles for one type, None where they do not solve it."""
        named = unsolved_of(state, tools.kind)
        if len(named) <= MOST_SLOTS:
            try:
                split = best_split(tools, state, self.by, helping)
            except ValueError:
                split = None
            if split is not None:
                return Part(tools.kind, split, compared(tools, split, self.by))
        triples, whole = self.tables.splitter(tools).split(
            Contents.of(self.tables.looks, state.table)
        )
        if not whole:
            return None
        rows = tuple((int(a), int(b), int(c)) for a, b, c in triples)
        split = measured(TypeCycles(tools), rows, named)
        return Part(tools.kind, split, one_by_one(tools, len(named)))

    def _with_products(self, state: State) -> Plan:
        """Return a plan for what three-cycles alone do not solve: words from a stabiliser chain.

        Such words for the types that have no three-cycles for it, and three-cycles for the rest; or
        words for all types at once.
        """
        tables, plans = self.tables, []
        for types in dict.fromkeys((self._without(state), tables.matters)):
            word = tables.products(types).word(Contents.of(tables.looks, state.table))
            if word is not None:
                parts = self._parts(state.after(tables.puzzle.effect(word)), 0)
                if parts is not None:
                    plans.append(Plan(word, parts, PRODUCT))
        if not plans:
            raise ImpossibleError("no sequence solves this: no turns lead to this state")
        return min(plans, key=lambda plan: plan.order(self.by))

    def _without(self, state: State) -> tuple[int, ...]:
        """Return the numbers of the unsolved types that three-cycles do not solve as they are."""
        found = []
        for number in sorted({int(self.tables.puzzle.type_of[slot]) for slot in state.unsolved}):
            tools = self.tables.tools(self.tables.puzzle.types[number])
            if tools is None or self._part(tools, state, 0) is None:
                found.append(number)
        return tuple(found) or self.tables.matters

    def _told(self, state: State, plan: Plan, found: Once | None, fewest: int | None) -> Finish:
        """Return a plan step by step, each applied and written out.

        ``found`` is what a search for one sequence came to, ``fewest`` as many turns as any form
        needs.
        """
        puzzle, effect = self.tables.puzzle, state.table
        steps: list[Step] = []
        said: list[Said] = []
        if plan.first:
            first = normal(puzzle, plan.first)
            step, effect = step_of(self.tables.looks, effect, first, plan.kind)
            steps.append(step)
            plain = write(puzzle, first)
            said.append(plan.said or Said(plain, plain, len(first), len(first), first))
        for part, triple in plan.cycles:
            tools = self.tables.tools(part.kind)
            assert tools is not None
            one = self.words(tools).said(triple)
            family = (part.kind.number, int(tools.family(np.array(triple))))
            setup = () if self.by == MEMORY else tools.setup(triple)
            step, effect = step_of(
                self.tables.looks, effect, one.word, CYCLE, triple, setup, family
            )
            steps.append(step)
            said.append(one)
        solution = Solution(self.tables.looks, state.table, tuple(steps))
        if not solution.solved:
            raise RuntimeError("steps were found that do not solve the state")
        turns, note = len(solution.word), "" if found is None else found.note
        if not note or (fewest is not None and (plan.said is None or len(plan.first) <= fewest)):
            note = self._proven(turns, fewest, plan.kind == AT_ONCE)
        settled = self.once.always or fewest is not None or turns <= self.tables.direct.reach + 1
        settled |= found is not None and found.proven
        single = len(steps) == 1 and steps[0].kind == CYCLE
        further = not settled and not single and len(state.unsolved) <= MOST_AT_ONCE
        return Finish(state, self.by, solution, tuple(said), plan.parts, note, further)

    def _proven(self, turns: int, fewest: int | None, directly: bool) -> str:
        """Say what is known of sequences of any form, beside one of so many turns."""
        reach = self.tables.direct.reach
        how = "it undoes the state directly" if directly else ""
        what = f"no sequence of any form has up to {reach} turns"
        if turns <= (reach + 1 if fewest is None else fewest):
            what = "no sequence of any form has fewer turns"
        elif fewest is not None:
            what = f"the fewest turns of any form are {fewest}"
        if not turns:
            return ""
        return f"{how}; {what}" if how else what

    def words(self, tools: Tools) -> Written:
        """Return how the three-cycles of a type are written: shortest, or easiest to remember."""
        number = tools.kind.number
        if number not in self._written:
            self._written[number] = Written(tools, self.by == MEMORY)
        return self._written[number]

    @cached_property
    def _written(self) -> dict[int, Written]:
        return {}


class Written:
    """The words of three-cycles as text and in brackets."""

    def __init__(self, tools: Tools, easiest: bool) -> None:
        self._tools, self._easiest = tools, easiest

    @cached_property
    def _chosen(self) -> Chosen:
        return Chosen(self._tools.scope, self._tools.shelves)

    def said(self, triple: tuple[int, int, int]) -> Said:
        """Return the shortest word of a three-cycle, or the one with least to remember."""
        if not self._easiest:
            return self._tools.written(triple)
        orbit, symmetry, turned = self._tools.place(triple)
        easiest = self._chosen.patterns(orbit)[1]
        return teller(self._tools.scope)(easiest, symmetry, turned)


def _whole(found: Once | None) -> Plan | None:
    """Return the plan of one sequence that was found, None for none."""
    if found is None or found.said is None:
        return None
    return Plan(found.said.word, (), AT_ONCE, found.said)


def _few(state: State) -> bool:
    """Return whether so few pieces are unsolved, all of a type, that a three-cycle may do."""
    types = state.puzzle.type_of[list(state.unsolved)]
    return len(types) <= 3 and len(set(types.tolist())) == 1


def finish(tables: Tables, state: State, by: str = TURNS) -> Finish:
    """Return the best steps for a state; see ``Finisher.finish``."""
    return Finisher(tables, by).finish(state)


class AnyFinisher(Protocol):
    """What every finisher can do, also where turns can be blocked."""

    def finish(self, state: State) -> Finish:
        """Return the best steps for a state; raises ImpossibleError."""

    def judged(self, state: State) -> Judgement:
        """Return whether turns lead to a state, else why not, with the smallest repair."""


def finisher_for(
    puzzle: Puzzle,
    apart: bool = False,
    search: Search = search_in_memory,
    by: str = TURNS,
    once: AtOnce = NOT_LOOKED,
    stop: Callable[[], bool] = lambda: False,
) -> AnyFinisher:
    """Return what finishes states of a puzzle, see ``Finisher``; ``search`` fetches its shelves.

    Raises LimitError where turns can be blocked and what is fastened can stand in too many ways.
    """
    if puzzle.can_block:
        from search.finishing_blocked import BlockedFinisher
        from search.solving_blocked import solver_for

        return BlockedFinisher(solver_for(puzzle, apart), by, once, stop)
    return Finisher(Tables(puzzle, apart, search), by, once, stop)
