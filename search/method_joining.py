"""Solving by goals relative to other pieces: join what belongs together wherever it is.

Where blocks are joined is chosen so that few pieces have to move; from there on it is a puzzle that
one knows. Only a method's sequences are used, and at the end the known puzzle's own solver.
"""

from __future__ import annotations

import itertools
import statistics
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from puzzles.errors import RequestError
from puzzles.puzzle import Table, Word
from puzzles.words import normal
from search.method_joined import Joined
from search.method_orders import Plan, plans
from search.method_sequences import Workshop
from search.method_solving import Lookup, MethodSolver, lookup, method_solver
from search.solving import AnySolver, solver_for
from search.solving_looks import Contents
from search.solving_steps import Step

#: How many changes of blocks are made at once to put sums right.
MOST_CHANGED = 2


@dataclass(frozen=True)
class JoiningTried:
    """Solves of ``count`` scrambles by joining, of which ``solved`` came to the end.

    ``turns`` are the executed turns of each, ascending; ``before`` those until everything is
    joined, ascending. ``shown`` is how many showed what the known puzzle cannot.
    """

    count: int
    solved: int
    turns: tuple[int, ...]
    before: tuple[int, ...]
    shown: int

    @property
    def median(self) -> float:
        """The executed turns of a solve in the median."""
        return float(statistics.median(self.turns)) if self.turns else float("inf")


class JoiningSolver:
    """Solves by joining with the sequences of a plan, then with a solver of the known puzzle."""

    def __init__(self, joined: Joined, plan: Plan, solver: MethodSolver) -> None:
        self.joined, self.plan, self.solver = joined, plan, solver
        self.puzzle = joined.puzzle
        numbers = [k for k, own in enumerate(plan.order) if set(own) <= set(joined.first)]
        #: The stages that put single types right, and those that join.
        self.first = tuple(numbers)
        self.second = tuple(k for k in range(len(plan.order)) if k not in numbers)

    @cached_property
    def known(self) -> AnySolver:
        """What solves the known puzzle."""
        return solver_for(self.joined.known)

    def solve(self, effect: Table) -> tuple[Word, Word, bool]:
        """Return the turns that join, those of the known puzzle, and whether parity showed.

        Raises RequestError where that does not solve the state.
        """
        word: list[int] = []
        here = effect
        for number in self.first:
            here = self._do(here, self.solver.working_stage(here, number), word)
        if not self.first:
            here = self._balanced(here, word)
        here = self._join(here, self._target(here), word)
        own = self._finished(here)
        shown = own is None
        if own is None:
            for target in self._mended(here):
                trial = list(word)
                there = self._join(here, target, trial)
                own = self._finished(there)
                if own is not None:
                    word = trial
                    break
        if own is None:
            raise RequestError("what is joined cannot be solved")
        return normal(self.puzzle, word), own, shown

    def _do(self, here: Table, steps: Iterable[Step], word: list[int]) -> Table:
        for step in steps:
            for turn in step.word:
                here = self.puzzle.moves[turn][here]
                word.append(turn)
        return here

    def _balanced(self, here: Table, word: list[int]) -> Table:
        """Put the sums right by single turns, where no stage did so."""
        balance = self.solver.balance
        sums = balance.of(Contents.of(self.solver.looks, here))
        turns = balance.word_for(sums)
        if turns is None:
            raise RequestError("this state cannot be reached: no sequence leads to it")
        for turn in turns:
            here = self.puzzle.moves[turn][here]
            word.append(turn)
        return here

    def _join(self, here: Table, target: Table, word: list[int]) -> Table:
        """Bring the pieces of the joined types to where a target has them."""
        relative = _relative(here, target)
        for number in self.second:
            relative = self._do(relative, self.solver.working_stage(relative, number), word)
        return relative[target]

    def _finished(self, here: Table) -> Word | None:
        """Return the turns that end a joined state, None where the known puzzle has no such."""
        state = self.joined.gathered(here)
        if state is None:
            raise RequestError("pieces could not be joined")
        try:
            found = self.known.solve(state)
        except RequestError:
            return None
        return tuple(self.joined.turns[t] for t in found.word) if found.solved else None

    def _target(self, here: Table) -> Table:
        """Return where the joined types go: to the blocks where most of their pieces are."""
        from scipy.optimize import linear_sum_assignment

        theirs, joined = self.joined.known, self.joined
        there: dict[int, tuple[int, int]] = {}
        for kind in theirs.types:
            own = [slot for slot in kind.slots if len(joined.blocks.get(slot, ())) > 1]
            if not own:
                continue
            votes = np.zeros((len(own), len(own), kind.twists))
            place = {slot: k for k, slot in enumerate(own)}
            for slot in own:
                for piece in joined.blocks[slot]:
                    start = int(self.puzzle.home[piece])
                    g, end = joined.goes[start], joined.goes[int(here[start])]
                    twist = int(theirs.twist_of[end] - theirs.twist_of[g]) % kind.twists
                    votes[place[slot], place[int(theirs.slot_of[end])], twist] += 1
            rows, columns = linear_sum_assignment(-votes.max(axis=2))
            for row, column in zip(rows.tolist(), columns.tolist(), strict=True):
                there[own[row]] = (own[column], int(votes[row, column].argmax()))
        return self._even(here, there)

    def _even(self, here: Table, there: dict[int, tuple[int, int]]) -> Table:
        """Return a target whose sums three-cycles reach, changed where those of it are odd."""
        for known in self._near(self.joined.effect(there)):
            target = self._with_rest(here, known)
            if self._fits(here, target):
                return target
        raise RequestError("pieces cannot be joined by three-cycles from here")

    def _near(self, known: Table) -> Iterator[Table]:
        """Yield an effect on blocks, then those that differ by one or two changes."""
        changes = [effect for effect, _, _ in self.joined.changes()]
        for count in range(MOST_CHANGED + 1):
            for chosen in itertools.combinations(changes, count):
                result = known
                for change in chosen:
                    result = change[result]
                yield result

    def _mended(self, here: Table) -> Iterator[Table]:
        """Yield targets that differ from where blocks are by one or two changes."""
        state = self.joined.gathered(here)
        assert state is not None
        for known in itertools.islice(self._near(state), 1, None):
            target = self._with_rest(here, known)
            if self._fits(here, target):
                yield target

    def _with_rest(self, here: Table, known: Table) -> Table:
        """Return a target for the joined types; all others stay where they are."""
        target = self.joined.spread(known)
        result = np.array(here, dtype=np.int32)
        for number in self.joined.joined:
            own = list(self.puzzle.types[number].placements)
            result[own] = target[own]
        return result

    def _fits(self, here: Table, target: Table) -> bool:
        sums = self.solver.balance.of(Contents.of(self.solver.looks, _relative(here, target)))
        return not sums.any()


def _relative(here: Table, target: Table) -> Table:
    """Return the effect that is no effect once everything is where a target has it."""
    back = np.empty_like(target)
    back[target] = np.arange(len(target), dtype=target.dtype)
    return here[back]


def joining_tried(
    solver: JoiningSolver, states: Iterator[Table], over: Callable[[], bool]
) -> JoiningTried:
    """Return how solving states by joining goes; fewer when ``over()`` says so."""
    turns, before, shown, count = [], [], 0, 0
    puzzle = solver.puzzle
    for state in states:
        if count and over():
            break
        count += 1
        try:
            word, own, odd = solver.solve(state)
        except RequestError:
            continue
        end = state
        for turn in (*word, *own):
            end = puzzle.moves[turn][end]
        if not Contents.of(solver.solver.looks, end).solved:
            continue
        turns.append(len(normal(puzzle, (*word, *own))))
        before.append(len(word))
        shown += odd
    return JoiningTried(count, len(turns), tuple(sorted(turns)), tuple(sorted(before)), shown)


def joining_solver(
    joined: Joined, workshop: Workshop, matters: tuple[int, ...]
) -> tuple[JoiningSolver, Lookup | None] | None:
    """Return what solves by joining, with what is looked up first; None where it lacks sequences.

    ``matters`` are the types, by number, of which it shows whether they are right.
    """
    puzzle = joined.puzzle
    hard = tuple(k for k in joined.first if not workshop.sequences(puzzle.types[k], matters))
    known = lookup(puzzle, hard) if hard else None
    if hard and known is None:
        return None
    rest = tuple(k for k in joined.first if k not in hard)
    before, after = plans(workshop, rest, hard), plans(workshop, joined.joined, joined.first)
    if not before or not after:
        return None
    steps = (*_ordered(before).steps, *_ordered(after).steps)
    plan = Plan(puzzle, hard, steps, sharing=workshop.sharing).as_written()
    solver = method_solver(puzzle, plan.order, plan.words, known)
    return JoiningSolver(joined, plan, solver), known


def _ordered(row: list[Plan]) -> Plan:
    """Return the plan with the least to remember of those that go type by type."""
    return next(plan for plan in row if not plan.together)
