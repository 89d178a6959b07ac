"""Solving with nothing but a method where turns can be blocked, and how that goes on scrambles.

Body after body is put right by the shortest walks, then parities and sums, then kind after kind:
by short walks that lead back to the home shape and put more units right, and by three-cycles.
"""

from __future__ import annotations

import statistics
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from puzzles.puzzle import Table, Word
from puzzles.scrambles import scrambles
from search.method_blocked_few import Few
from search.method_blocked_home import Homeward
from search.method_blocked_reach import Reach
from search.method_trying import Spent, Stretch, Tried
from search.solving_blocked import SEED as PLACING_SEED
from search.solving_blocked import cancelled
from search.solving_blocked_near import Near
from search.solving_blocked_placing import Placing
from search.solving_blocked_products import Products
from search.solving_learned import FREE_TURNS
from search.solving_steps import BALANCE, CYCLE, FREE, PRODUCT

Numbers = NDArray[np.int64]


@dataclass(frozen=True)
class Done:
    """A few turns of a solve: in which stage, of what kind, and a three-cycle's setup."""

    stage: int
    kind: str
    word: Word
    setup: Word = ()


@dataclass(frozen=True, eq=False)
class BlockedMethodSolver:
    """Solves by stages: home, the stubborn kinds if there are any, then kind after kind.

    ``few`` knows the arrangements of the stubborn kinds, ``products`` stands in where they are too
    many; both None where there are none.
    """

    homeward: Homeward
    few: Few | None
    products: Products | None
    reaches: tuple[Reach, ...]

    @property
    def near(self) -> Near:
        """The states near home."""
        return self.homeward.near

    @property
    def stages(self) -> int:
        """How many stages there are."""
        return 1 + (self.products is not None) + len(self.reaches)

    @cached_property
    def _placings(self) -> tuple[Placing, ...]:
        return tuple(Placing(reach) for reach in self.reaches)

    @cached_property
    def _loops(self) -> tuple[Numbers, NDArray[np.int16]]:
        """Loops of few turns that leave all sums alone, and where they carry all points."""
        near, shapes = self.near, self.near.shapes
        loops = near.loops[near.depth[near.loops] <= FREE_TURNS]
        loops = loops[~near.values[loops].any(axis=1)]
        acts = [near.actions(loops, kind) + kind.first for kind in shapes.kinds]
        return loops, np.concatenate(acts, axis=1).astype(np.int16)

    def solve(self, effect: Table) -> Iterator[Done]:
        """Yield what is done from the state to which an effect (placements,) leads."""
        shapes, near = self.near.shapes, self.near
        shape = shapes.shape_of(effect)
        element = None if shape is None else shapes.element(effect, shape)
        if shape is None or element is None:
            raise RuntimeError(f"{shapes.puzzle.name}: a scramble leads to no known shape")
        run = _Run(self, shape, element)
        while run.shape:
            yield run.do(0, FREE, self.homeward.word(run.shape))
        if self.products is None:
            word = self.homeward.ways.word(0, run.values)
            if word is None:
                raise RuntimeError(f"{shapes.puzzle.name}: no loop puts the sums right")
            if word:
                yield run.do(0, BALANCE, word)
        else:
            yield from self._stubborn(run)
        stage = self.stages - len(self.reaches)
        random = np.random.default_rng(PLACING_SEED)
        for number, placing in enumerate(self._placings):
            yield from self._free(run, stage + number, number)
            kind = placing.kind
            own = run.element[list(kind.units)] - kind.first
            row = placing.row(own, random)
            if row is None:
                raise RuntimeError(f"{shapes.puzzle.name}: three-cycles did not solve a kind")
            for cycle in row.cycles:
                setup, middle = placing.cycles.word(cycle)
                back = shapes.puzzle.inverse(setup)
                yield run.do(stage + number, CYCLE, (*setup, *middle, *back), setup)
        assert near.shape[0] == run.shape

    def _stubborn(self, run: _Run) -> Iterator[Done]:
        """Put the stubborn kinds right, with all sums."""
        assert self.products is not None
        if self.few is not None:
            word = self.few.word(0, run.element, run.values)
        else:
            balance = self.homeward.ways.word(0, run.values)
            assert balance is not None
            if balance:
                yield run.do(0, BALANCE, balance)
            right = self.products.right(run.element)
            word = () if right else self.products.word(run.element, run.values)
        if word is None:
            raise RuntimeError(f"{self.near.shapes.puzzle.name}: a stubborn kind stays wrong")
        if word:
            yield run.do(1, PRODUCT, word)

    def right(self, number: int, element: NDArray[np.int16]) -> NDArray[np.bool_]:
        """Return which units of a reach's kind look right in elements (…, units)."""
        kind = self.reaches[number].kind
        looks = np.array(kind.looks)
        own = element[..., list(kind.units)] - kind.first
        return np.asarray((looks[own // kind.twists] == looks) & (own % kind.twists == 0))

    def _free(self, run: _Run, stage: int, number: int) -> Iterator[Done]:
        """Do short loops while one puts more units right and leaves all that is right so."""
        loops, acts = self._loops
        if not len(loops):
            return
        while True:
            after = acts[:, run.element]
            keeps = np.ones(len(loops), dtype=np.bool_)
            for before in range(number):
                keeps &= self.right(before, after).all(axis=1)
            if self.products is not None:
                units = [u for kind in self.products.kinds for u in kind.units]
                keeps &= (after[:, units] == run.element[units]).all(axis=1)
            now, then = self.right(number, run.element), self.right(number, after)
            keeps &= then[:, now].all(axis=1)
            gain = np.where(keeps, then.sum(axis=1) - now.sum(), 0)
            best = int(gain.argmax())
            if not gain[best]:
                return
            yield run.do(stage, FREE, self.near.word(int(loops[best])))


class _Run:
    """One state on its way to the solved one."""

    def __init__(self, solver: BlockedMethodSolver, shape: int, element: NDArray[np.int16]) -> None:
        self.near, self.shape, self.element = solver.near, shape, element

    @property
    def values(self) -> Numbers:
        """The parities and sums of twists."""
        values: Numbers = self.near.invariants.of(self.element[None])[0]
        return values

    def do(self, stage: int, kind: str, word: Word, setup: Word = ()) -> Done:
        """Do some turns, each of which has to be possible."""
        shapes = self.near.shapes
        for turn in word:
            there = int(shapes.turn_to[self.shape, turn])
            if there < 0:
                raise RuntimeError(f"{shapes.puzzle.name}: a step of a method is blocked")
            self.element = shapes.acts[self.shape, turn, self.element]
            self.shape = there
        return Done(stage, kind, word, setup)


def blocked_tried(
    solver: BlockedMethodSolver,
    count: int,
    seed: int,
    over: Callable[[], bool] = lambda: False,
) -> Tried:
    """Return how solving so many scrambles goes; fewer when ``over()`` says so, at least one."""
    puzzle = solver.near.shapes.puzzle
    turns: list[int] = []
    rows: list[list[Spent]] = []
    odd = 0
    for word in scrambles(puzzle, count, seed):
        if turns and over():
            break
        state = puzzle.effect(word)
        steps, own = _counted(solver, state)
        done = tuple(turn for step in steps for turn in step.word)
        turns.append(len(cancelled(puzzle, done, state)))
        odd += any(step.kind == BALANCE for step in steps)
        rows.append(own)
    stretches = tuple(
        _stretch(solver, stage, [row[stage] for row in rows]) for stage in range(solver.stages)
    )
    return Tried(len(turns), len(turns), tuple(sorted(turns)), odd, FREE_TURNS, stretches)


def _counted(solver: BlockedMethodSolver, state: Table) -> tuple[list[Done], list[Spent]]:
    """Return the steps of a solve, and what it spent in each stage."""
    puzzle, shapes = solver.near.shapes.puzzle, solver.near.shapes
    steps = list(solver.solve(state))
    own = [Spent() for _ in range(solver.stages)]
    first = solver.stages - len(solver.reaches)
    here, begun = state, first - 1
    for step in steps:
        row, size = own[step.stage], len(step.word)
        while begun < step.stage:
            begun += 1
            own[begun].begins = own[begun].placed = _right(solver, begun - first, here)
        for turn in step.word:
            here = puzzle.moves[turn][here]
        if step.kind == CYCLE:
            row.cycles, row.cycling = row.cycles + 1, row.cycling + size
            continue
        if step.stage >= first:
            row.placed = _right(solver, step.stage - first, here)
        row.free += size * (step.kind == FREE)
        row.odd += size * (step.kind == BALANCE)
        row.looked_up += size * (step.kind == PRODUCT)
    for rest in range(begun + 1, len(own)):
        own[rest].begins = own[rest].placed = shapes.kinds[
            solver.reaches[rest - first].ground.number
        ].count
    return steps, own


def _right(solver: BlockedMethodSolver, number: int, effect: Table) -> int:
    """Return how many units of a reach's kind look right in a state of the home shape."""
    element = solver.near.shapes.element(effect, 0)
    return 0 if element is None else int(solver.right(number, element).sum())


def _stretch(solver: BlockedMethodSolver, stage: int, rows: list[Spent]) -> Stretch:
    def middle(name: str) -> float:
        return float(statistics.median(getattr(row, name) for row in rows)) if rows else 0.0

    first = solver.stages - len(solver.reaches)
    pieces = solver.reaches[stage - first].kind.count if stage >= first else 0
    return Stretch(
        pieces,
        middle("begins"),
        middle("placed"),
        middle("free"),
        middle("odd"),
        middle("cycles"),
        middle("cycling"),
        middle("looked_up"),
        (),
    )
