"""Solving where turns can be blocked: home to the shape first, then kind by kind with loops.

1. *Free play*: short walks, undone, that lead home and put more units right than they cost turns.
2. *The balance*: the shortest way home that also puts parities and twist sums right.
3. *Three-cycles*, kind by kind, that leave the kinds before alone, in the order that costs least.

All words are walks that were seen to be possible; everything is applied turn by turn once more.
Where a state has a way home and every three-cycle of every kind has a word, that is always enough:
three-cycles make all even rearrangements with a twist sum of zero. So a state from which no way
leads home cannot be reached at all.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from puzzles.assemblies import judge
from puzzles.errors import RequestError
from puzzles.puzzle import Puzzle, Table, Word
from puzzles.states import State
from puzzles.words import normal
from search.fastened import torn
from search.solving_blocked_near import MOST_STATES, Near
from search.solving_blocked_order import order_of
from search.solving_blocked_placing import Placing
from search.solving_blocked_products import Products
from search.solving_blocked_settling import settled
from search.solving_blocked_shapes import Shapes, shapes
from search.solving_blocked_ways import WaysHome
from search.solving_looks import Looks
from search.solving_steps import BALANCE, CYCLE, FREE, PRODUCT, Solution, Step, step_of

#: How many units a three-cycle puts right on average, to tell what one that is right is worth.
PER_CYCLE = 1.8
#: Fixed, so that a state is solved in the same way everywhere.
SEED = 1
#: What a unit that no three-cycle puts right is worth, in turns.
WITHOUT_CYCLES = 4.0
#: The least gain, in turns, for which a walk is done.
LEAST_GAIN = 0.01


class NeverError(RequestError):
    """A state that no turns lead to, with the reason, and the same where nothing is blocked."""

    def __init__(self, why: str, judged: str) -> None:
        self.why, self.judged = why, judged
        super().__init__(f"this state cannot be reached: {judged or why}")


class BlockedSolution(Solution):
    """Steps that put a state right where turns can be blocked."""

    @property
    def word(self) -> Word:
        """All steps in a row, with all cancelled that leaves every turn possible."""
        return cancelled(self.puzzle, [t for step in self.steps for t in step.word], self.start)


def cancelled(puzzle: Puzzle, word: Iterable[int], state: Table) -> Word:
    """Return a word that does the same with fewer turns, possible from a state if the word is.

    Turns pass those that commute with them where that leaves all possible, else only neighbours
    merge: what a layer holds whole, it holds whole after it has turned.
    """
    plain = tuple(word)
    for merged in (normal(puzzle, plain), _neighbours_merged(puzzle, plain)):
        if puzzle.first_blocked(merged, state) is None:
            return merged
    return plain


def _neighbours_merged(puzzle: Puzzle, word: Word) -> Word:
    result: list[int] = []
    for turn in word:
        if result and puzzle.turn_layer[result[-1]] == puzzle.turn_layer[turn]:
            amount = puzzle.turns[result.pop()].amount + puzzle.turns[turn].amount
            merged = puzzle.turn(int(puzzle.turn_layer[turn]), amount)
            if merged is not None:
                result.append(merged)
        else:
            result.append(turn)
    return tuple(result)


class BlockedSolver:
    """Solves one puzzle on which turns can be blocked; the tables are made at once.

    ``apart``: pieces that look alike are told apart, and so are twists that paint does not show.
    ``most``: so many states near home are kept. Raises LimitError where there are too many shapes.
    """

    def __init__(self, puzzle: Puzzle, apart: bool = False, most: int = MOST_STATES) -> None:
        self.puzzle = puzzle
        self.looks = Looks(puzzle, apart)
        self.shapes: Shapes = shapes(puzzle, apart)
        self.near = Near(self.shapes, most)
        self.ways = WaysHome(self.shapes, self.near.invariants)
        order = order_of(self.near)
        self.products = Products(self.near, order.stubborn)
        self.placing = {kind: Placing(cycles) for kind, cycles in order.cycles.items()}
        self._worth = np.full(len(self.shapes.reps), WITHOUT_CYCLES)
        for number, cycles in order.cycles.items():
            self._worth[list(self.shapes.kinds[number].units)] = cycles.mean / PER_CYCLE
        by_shape = np.argsort(self.near.shape, kind="stable")
        self._by_shape = by_shape
        self._begins = np.searchsorted(
            self.near.shape[by_shape], np.arange(len(self.shapes.turn_to) + 1)
        )
        self._look = np.arange(self.shapes.points)
        for kind in self.shapes.kinds:
            if kind.twists == 1:
                self._look[kind.first : kind.first + kind.count] = kind.first + np.array(kind.looks)

    def solve(self, effect: Table) -> Solution:
        """Return a solution of the state to which an effect (placements,) leads.

        Raises NeverError, with the reason, for a state that cannot be reached.
        """
        run = Run(self, effect)
        steps = tuple(run.working())
        return BlockedSolution(self.looks, run.start, steps)

    def working(self, effect: Table) -> Iterator[Step]:
        """Yield the steps of a solution one by one; raises as ``solve``."""
        yield from Run(self, effect).working()

    def similar(
        self, shape: int, element: NDArray[np.int16]
    ) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
        """Return the states near home that have a shape, and what it has in common with an element.

        That is what would be right after the walk to that state is undone, in turns that it saves.
        """
        states = self._by_shape[self._begins[shape] : self._begins[shape + 1]]
        stands = np.full(self.shapes.points, -1, dtype=np.int64)
        own = self._look[self.shapes.point_of]
        stands[element] = own
        worth = np.zeros(len(states))
        for u in range(element.shape[0]):
            worth += (stands[self.near.element[states, u]] == own[u]) * self._worth[u]
        return states, worth

    def product(self, element: NDArray[np.int16]) -> Word | None:
        """Return a word that puts the stubborn kinds right, empty if they are, None for none.

        Of an element that leaves all parities and twist sums as they are.
        """
        if self.products.right(element):
            return ()
        return self.products.word(element, self.near.invariants.of(element[None])[0])

    def now_right(self, element: NDArray[np.int16]) -> float:
        """Return what is right at the home shape, in turns that it saves."""
        right = self._look[element] == self._look[self.shapes.point_of]
        return float(self._worth[right].sum())


class Run:
    """One state on its way to the solved one."""

    def __init__(self, solver: BlockedSolver, effect: Table) -> None:
        self.solver = solver
        self.random = np.random.default_rng(SEED)
        if not solver.looks.apart:
            effect = settled(solver.puzzle, effect)
        self.start = self.effect = effect
        shape = solver.shapes.shape_of(effect)
        if shape is None:
            raise self._never(
                torn(solver.puzzle, effect)
                or "what is fastened together stands where no turns that are possible bring it"
            )
        element = solver.shapes.element(effect, shape)
        if element is None:
            raise self._never(
                "a piece is in a slot, or twisted in a way, to which turns that are possible never "
                "bring it"
            )
        self.shape, self.element = shape, element
        way = solver.ways.word(shape, self.values)
        product = solver.product(self.after(way)) if way is not None else None
        if product is None:
            raise self._never("without tearing anything apart, no turns lead there")

    def _never(self, why: str) -> NeverError:
        """Return the error that says why no sequence leads to the state."""
        solver = self.solver
        found = judge(State(solver.puzzle, self.start, solver.looks.apart))
        return NeverError(why, found.reason)

    def after(self, word: Word) -> NDArray[np.int16]:
        """Return the element after a word from here, at the home shape where it leads there."""
        shape, element = self.shape, self.element
        for turn in word:
            element = self.solver.shapes.acts[shape, turn, element]
            shape = int(self.solver.shapes.turn_to[shape, turn])
        return element

    @property
    def values(self) -> NDArray[np.int64]:
        values: NDArray[np.int64] = self.solver.near.invariants.of(self.element[None])[0]
        return values

    def working(self) -> Iterator[Step]:
        """Do step after step, and yield each."""
        solver = self.solver
        yield from self._free(False)
        word = solver.ways.word(self.shape, self.values)
        assert word is not None
        if word:
            yield self._do(word, BALANCE)
        yield from self._free(True)
        word = solver.product(self.element)
        assert word is not None
        if word:
            yield self._do(word, PRODUCT)
        for number, placing in solver.placing.items():
            kind = solver.shapes.kinds[number]
            row = placing.row(self.element[list(kind.units)] - kind.first, self.random)
            if row is None:
                raise RuntimeError(f"{solver.puzzle.name}: three-cycles did not solve a kind")
            for cycle in row.cycles:
                setup, middle = placing.cycles.word(cycle)
                word = (*setup, *middle, *solver.puzzle.inverse(setup))
                unit = kind.units[int(placing.cycles.numbering.triples()[cycle, 0]) // kind.twists]
                yield self._do(word, CYCLE, self._cycle(word, unit), setup)

    def _cycle(self, word: Word, unit: int) -> tuple[int, ...]:
        """Return the placements of the three-cycle of a unit's telling piece."""
        solver = self.solver
        effect = solver.puzzle.effect(word)
        first = int(solver.puzzle.home[solver.shapes.reps[unit]])
        second = int(effect[first])
        return first, second, int(effect[second])

    def _free(self, balanced: bool) -> Iterator[Step]:
        """Undo walks to states like this one while that saves turns."""
        solver, near = self.solver, self.solver.near
        while True:
            states, worth = solver.similar(self.shape, self.element)
            now = solver.now_right(self.element) if self.shape == 0 else 0.0
            values = self.values
            after = near.invariants.numbers(values - near.values[states])
            left = solver.ways.turns[0, after]
            here = solver.ways.turns[self.shape, int(near.invariants.numbers(values))]
            gain = worth - near.depth[states] - left - (now - here)
            if balanced:
                gain[left > 0] = -np.inf
            gain[left < 0] = -np.inf
            if not len(gain):
                return
            best = int(gain.argmax())
            if gain[best] < LEAST_GAIN:
                return
            yield self._do(solver.puzzle.inverse(near.word(int(states[best]))), FREE)

    def _do(self, word: Word, kind: str, cycle: tuple[int, ...] = (), setup: Word = ()) -> Step:
        solver = self.solver
        if solver.puzzle.first_blocked(word, self.effect) is not None:
            raise RuntimeError(f"{solver.puzzle.name}: a step of a solution is blocked")
        self.element = self.after(word)
        for turn in word:
            self.shape = int(solver.shapes.turn_to[self.shape, turn])
        step, self.effect = step_of(solver.looks, self.effect, word, kind, cycle, setup)
        return step


@lru_cache(maxsize=4)
def solver_for(puzzle: Puzzle, apart: bool = False) -> BlockedSolver:
    """Return the solver of a puzzle on which turns can be blocked, made once."""
    return BlockedSolver(puzzle, apart)
