"""Solving with nothing but a method: its order, its sequences, and short free play.

Types of which not all three-cycles can be had come first, while nothing has to stay; where they
have few arrangements, each of these is known with its shortest word (``Lookup``).
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from functools import cached_property
from typing import cast

import numpy as np
from numpy.typing import NDArray

from puzzles.errors import LimitError, RequestError
from puzzles.puzzle import Puzzle, Table, Word
from search.solving import Solver
from search.solving_learned import FREE_TURNS, only
from search.solving_looks import Contents, Looks
from search.solving_orders import Order
from search.solving_products import Products
from search.solving_steps import Solution, Step
from search.solving_sums import Balance

#: Types with more arrangements than this, sums of the others counted in, are not looked up.
MOST_ARRANGEMENTS = 200_000

Numbers = NDArray[np.int64]


class Lookup(Products):
    """All arrangements of some types, and of the sums of all others, each with a shortest word."""

    @cached_property
    def ways(self) -> dict[bytes, int]:
        """The last turn of a shortest word to every arrangement, -1 for the solved one.

        Raises LimitError where there are more than MOST_ARRANGEMENTS.
        """
        moves = self._moves
        start = np.arange(moves.shape[1], dtype=np.int16)
        ways = {start.tobytes(): -1}
        queue = deque([start])
        while queue:
            here = queue.popleft()
            for turn, move in enumerate(moves):
                there = move[here]
                if (name := there.tobytes()) not in ways:
                    ways[name] = turn
                    queue.append(there)
            if len(ways) > MOST_ARRANGEMENTS:
                raise LimitError("there are too many arrangements to know each of them")
        self._farthest = here
        return ways

    @cached_property
    def _moves(self) -> NDArray[np.int16]:
        rows = [
            np.concatenate([self._projected(move), self._circles(sums)])
            for move, sums in zip(self.puzzle.moves, self.balance.turns, strict=True)
        ]
        return np.array(rows).astype(np.int16)

    @property
    def most(self) -> int:
        """How many turns the arrangement takes that is farthest from solved."""
        _ = self.ways
        return len(self._back(self._farthest))

    def _back(self, there: NDArray[np.int16]) -> Word:
        """Return the turns that undo what leads to an arrangement."""
        result = []
        while (turn := self.ways[there.tobytes()]) >= 0:
            undo = int(self.puzzle.inverses[turn])
            result.append(undo)
            there = self._moves[undo][there]
        return tuple(result)

    def word(self, contents: Contents) -> Word | None:
        """Return a shortest word that puts the types and all sums right, None for none."""
        left = (-self.balance.of(contents)) % self.balance.moduli
        circles = self._circles(left)
        best: Word | None = None
        for undoing in self._undoing(contents):
            whole = np.concatenate([self._projected(undoing), circles]).astype(np.int16)
            if whole.tobytes() in self.ways:
                back = self.puzzle.inverse(self._back(whole))
                best = back if best is None or len(back) < len(best) else best
        return best


def lookup(puzzle: Puzzle, types: tuple[int, ...]) -> Lookup | None:
    """Return all arrangements of some types, None where they are too many."""
    own = Lookup(Balance(Looks(puzzle)), types)
    try:
        _ = own.ways
    except LimitError:
        return None
    return own


class _Nothing:
    """Stands in for products of words, which nobody remembers."""

    def word(self, contents: Contents) -> Word | None:
        return None


@dataclass(frozen=True, eq=False)
class MethodSolver(Solver):
    """A solver that knows the sequences of a method, and its first types by heart."""

    known: Lookup | None = None

    @cached_property
    def on_hard(self) -> Products:
        """The arrangements of the types that come first because they lack three-cycles."""
        return cast(Products, self.known or _Nothing())

    @cached_property
    def on_all(self) -> Products:
        """Nothing: a method has to do without."""
        return cast(Products, _Nothing())

    def staged(self, effect: Table) -> tuple[Solution, tuple[int, ...]]:
        """Return a solution and the number of the stage of each of its steps.

        Raises RequestError where the method does not solve the state.
        """
        steps: list[Step] = []
        stages: list[int] = []
        here, right = effect, self._right(effect)
        for step in self.working(effect):
            steps.append(step)
            stages.append(self._first_wrong(right))
            for turn in step.word:
                here = self.puzzle.moves[turn][here]
            right = self._right(here)
        return Solution(self.looks, effect, tuple(steps)), tuple(stages)

    def turns_for(self, effect: Table, number: int) -> int | None:
        """Return the turns that a state takes until a type, by number, is right; None for never.

        Types of later stages may still be wrong then.
        """
        last = next((k for k, stage in enumerate(self.stages) if number in stage.types), None)
        try:
            solution, stages = self.staged(effect)
        except RequestError:
            return None
        if last is None or not solution.solved:
            return None
        rows = zip(solution.steps, stages, strict=True)
        return sum(len(step.word) for step, at in rows if at <= last)

    def _right(self, effect: Table) -> NDArray[np.bool_]:
        return Contents.of(self.looks, effect).right

    def _first_wrong(self, right: NDArray[np.bool_]) -> int:
        for number, stage in enumerate(self.stages):
            slots = [s for k in stage.types for s in self.puzzle.types[k].slots]
            if not right[slots].all():
                return number
        return max(len(self.stages) - 1, 0)


def method_solver(
    puzzle: Puzzle, order: Order, words: tuple[Word, ...], known: Lookup | None
) -> MethodSolver:
    """Return a solver that knows some words and their order, and nothing else."""
    return MethodSolver(
        puzzle,
        search=only(words),
        order=order,
        free_turns=FREE_TURNS,
        products=known is not None,
        known=known,
    )
