"""Solving with learned sequences where turns can be blocked: home first, then in loops.

What is possible depends on the shape alone (``solving_blocked_shapes``). A learned sequence is of
use at every shape near home at which it, or what is made of it, can be done. With the way there as
its setup and that way, or where it ends at another shape a short one, back home it is a loop, which
may be done whenever the puzzle has its home shape. What loops do to units is what moves do to slots
elsewhere.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from puzzles.errors import RequestError
from puzzles.laws import joined, plural
from puzzles.names import slot_names
from puzzles.puzzle import Puzzle, Table, Word
from search.solving_blocked import BlockedSolution
from search.solving_blocked_near import Invariants
from search.solving_blocked_settling import settled
from search.solving_blocked_shapes import Shapes, shapes
from search.solving_blocked_ways import WaysHome
from search.solving_learned_board import Board, Numbers
from search.solving_learned_lines import Learned
from search.solving_learned_order import stages_of
from search.solving_learned_stage import Moves, Stage
from search.solving_learned_sums import Sums
from search.solving_learned_told import form_of, said_of
from search.solving_learned_words import Image, images_of
from search.solving_looks import Looks
from search.solving_orders import Order
from search.solving_steps import FREE, LEARNED, Solution, Step, step_of
from search.tools import Tools

#: The most turns of a loop of free play.
FREE_TURNS = 4
#: The most turns of a way to where a sequence is done, and where there are few loops then.
SETUP_TURNS, ENOUGH_LOOPS = (2, 3), 5_000
#: The most walks from home, and the most loops with learned sequences.
MOST_WALKS, MOST_LOOPS = 30_000, 60_000
#: How many units that are still wrong are named.
NAMED = 12

Elements = NDArray[np.int16]


@dataclass(frozen=True)
class Walk:
    """Turns from home, the shape that they lead to, and what they do to the points."""

    word: Word
    shape: int
    points: Elements


@dataclass(frozen=True, eq=False)
class Loop:
    """A learned sequence, or what was made of it, after a walk and before the way home.

    ``image`` is None for free play.
    """

    before: Word
    image: Image | None
    home: Word
    word: Word

    def undone(self, puzzle: Puzzle) -> Loop:
        """Return the loop that undoes this one."""
        undone, image = puzzle.inverse, self.image
        if image is not None:
            image = replace(image, word=undone(image.word), undone=not image.undone)
        return Loop(undone(self.home), image, undone(self.before), undone(self.word))


class LearnedBlockedSolver:
    """Solves one puzzle on which turns can be blocked with ``learned`` sequences, free play.

    Raises LimitError where there are too many shapes.
    """

    def __init__(
        self,
        puzzle: Puzzle,
        learned: Sequence[Learned],
        apart: bool = False,
        stop: Callable[[], bool] = lambda: False,
    ) -> None:
        self.puzzle, self.learned, self.stop = puzzle, tuple(learned), stop
        self.looks = Looks(puzzle, apart)
        self.shapes: Shapes = shapes(puzzle, apart)
        self.invariants = Invariants(self.shapes.kinds)
        self.board = _board(self.shapes)
        self._planned: dict[Order, tuple[Stage, ...]] = {}

    @property
    def tools(self) -> Mapping[int, Tools]:
        """Tables of three-cycles, of which there are none here."""
        return {}

    @cached_property
    def ways(self) -> WaysHome:
        """The ways home from every shape."""
        return WaysHome(self.shapes, self.invariants)

    @cached_property
    def images(self) -> tuple[Image, ...]:
        """All that symmetries, undoing and other starts make of the learned sequences."""
        return images_of(self.puzzle, self.learned)

    @cached_property
    def walks(self) -> tuple[Walk, ...]:
        """The walks from home of few turns, one for each state that they lead to."""
        start = Walk((), 0, np.arange(self.shapes.points, dtype=np.int16))
        result, row, seen = [start], [start], {(0, start.points.tobytes())}
        for _ in range(FREE_TURNS):
            further = []
            for walk in row:
                for turn in np.flatnonzero(self.shapes.turn_to[walk.shape] >= 0).tolist():
                    shape = int(self.shapes.turn_to[walk.shape, turn])
                    points = self.shapes.acts[walk.shape, turn][walk.points]
                    if (key := (shape, points.tobytes())) not in seen:
                        seen.add(key)
                        further.append(Walk((*walk.word, turn), shape, points))
                if len(seen) > MOST_WALKS:
                    return tuple(result)
            result += further
            row = further
        return tuple(result)

    @cached_property
    def loops(self) -> tuple[tuple[Loop, ...], Moves, int]:
        """Loops with learned sequences, then those of free play; how many the first are."""
        home = self.shapes.point_of.astype(np.int64)
        rows: list[tuple[Loop, Numbers]] = []
        for turns in SETUP_TURNS:
            rows = self._learned_loops(turns)
            if len(rows) >= ENOUGH_LOOPS:
                break
        free = [
            (Loop(walk.word, None, (), walk.word), walk.points[home].astype(np.int64))
            for walk in self.walks
            if walk.shape == 0 and walk.word
        ]
        every = [*rows, *free]
        to = np.array([own for _, own in every]).astype(np.int16).reshape(-1, len(home))
        cost = np.array([len(loop.word) for loop, _ in every], dtype=np.int64)
        sums = self.invariants.of(to)
        return tuple(loop for loop, _ in every), Moves(to, cost, sums), len(rows)

    def _learned_loops(self, turns: int) -> list[tuple[Loop, Numbers]]:
        """Return loops with learned sequences and ways of up to so many turns, short ones first.

        Each comes with where it carries what is at home; those that do the same are there once.
        """
        home = self.shapes.point_of.astype(np.int64)
        puzzle, found = self.puzzle, dict[bytes, tuple[Loop, Numbers]]()
        found[home.tobytes()] = Loop((), None, (), ()), home
        at_shape: dict[int, list[tuple[int, int, Elements]]] = {}
        short = [walk for walk in self.walks if len(walk.word) <= turns]
        near: dict[int, list[Walk]] = {}
        for walk in short:
            near.setdefault(walk.shape, []).append(walk)
        for walk in short:
            if walk.shape not in at_shape:
                at_shape[walk.shape] = self._at(walk.shape)
            for number, shape, acts in at_shape[walk.shape]:
                # What ends at another shape goes home from there by a short way.
                homeward = [walk] if shape == walk.shape else near.get(shape, [])
                for other in homeward[: max(0, MOST_LOOPS - len(found))]:
                    own = _undone(other.points)[acts[walk.points[home]]].astype(np.int64)
                    image = self.images[number]
                    back = puzzle.inverse(other.word)
                    word = (*walk.word, *image.word, *back)
                    key = own.tobytes()
                    if key not in found or len(word) < len(found[key][0].word):
                        found[key] = Loop(walk.word, image, back, word), own
        rows = [own for own in found.values() if own[0].word]
        return sorted(rows, key=lambda own: len(own[0].word))

    def _at(self, shape: int) -> list[tuple[int, int, Elements]]:
        """Return which images can be done at a shape, where they lead, and what they do."""
        result = []
        own = self.shapes
        for number, image in enumerate(self.images):
            here, points = shape, np.arange(own.points, dtype=np.int16)
            for turn in image.word:
                there = int(own.turn_to[here, turn])
                if there < 0:
                    break
                points = own.acts[here, turn][points]
                here = there
            else:
                result.append((number, here, points))
        return result

    @cached_property
    def disturbed(self) -> NDArray[np.bool_]:
        """Which kinds each loop with a learned sequence disturbs; shape (loops, kinds)."""
        _, moves, count = self.loops
        moved = self.board.moved(moves.to[:count].astype(np.int64))
        kinds = range(len(self.shapes.kinds))
        return np.array([moved[:, self.board.group == k].any(axis=1) for k in kinds]).T

    @cached_property
    def orders(self) -> tuple[Order, ...]:
        """Orders of kinds that are tried one after the other until one does."""
        kinds = range(len(self.shapes.kinds))
        rows = np.unique(self.disturbed, axis=0)
        first = stages_of([np.flatnonzero(row).tolist() for row in rows], kinds)
        touched = tuple(k for k in kinds if self.disturbed[:, k].any())
        rest = tuple(k for k in kinds if k not in touched)
        together = tuple(own for own in (rest, touched) if own)
        return tuple(dict.fromkeys((first, together)))

    def stages(self, order: Order) -> tuple[Stage, ...]:
        """Return the stages of an order of kinds."""
        if order not in self._planned:
            _, moves, count = self.loops
            learned = Moves(moves.to[:count], moves.cost[:count], moves.sums[:count])
            free = Moves(moves.to[count:], moves.cost[count:], moves.sums[count:])
            rows, before = [], tuple[int, ...]()
            for own in order:
                slots, stays = (np.flatnonzero(np.isin(self.board.group, k)) for k in (own, before))
                mendable, later = self.added(before), self.added((*before, *own))
                rows.append(Stage(self.board, slots, stays, learned, free, mendable, later))
                before = (*before, *own)
            self._planned[order] = tuple(rows)
        return self._planned[order]

    def added(self, kept: tuple[int, ...]) -> Sums:
        """Return the sums up to what loops add that leave some kinds alone."""
        _, moves, count = self.loops
        useful = ~self.disturbed[:, list(kept)].any(axis=1)
        return Sums(self.invariants.moduli, np.unique(moves.sums[:count][useful], axis=0))

    def solve(self, effect: Table) -> Solution:
        """Return how far a state is brought to which an effect (placements,) leads.

        Raises RequestError for a state that cannot be reached.
        """
        best: tuple[int, Solution] | None = None
        for order in self.orders:
            run = _Run(self, effect)
            steps = run.working(self.stages(order))
            wrong = int(run.wrong.sum())
            if best is None or wrong < best[0]:
                best = wrong, BlockedSolution(self.looks, run.start, steps)
            if not wrong or self.stop():
                break
        assert best is not None
        return best[1]

    def why_left(self, found: Solution) -> str:
        """Return which pieces a solution leaves wrong and why; empty for none."""
        if found.solved:
            return ""
        run = _Run(self, found.end)
        names = slot_names(self.puzzle)
        units = np.flatnonzero(run.wrong).tolist()
        shown = [names[self.shapes.reps[u]] for u in units[:NAMED]]
        if len(units) > NAMED:
            shown.append(f"{len(units) - NAMED} more")
        kinds = sorted({int(self.board.group[u]) for u in units})
        unmoved = [k for k in kinds if not self.disturbed[:, k].any()]
        if unmoved:
            own = joined([plural(self.shapes.kinds[k].name) for k in unmoved])
            why = f"near home no sequence can be done that moves {own} and leads back"
        else:
            why = "no way to put the sequences together was found, as far as was looked"
        could = "cannot be" if unmoved else "were not" if len(units) > 1 else "was not"
        return f"with what you know {joined(shown)} {could} put right from here: {why}"


class _Run:
    """One state on its way to the solved one."""

    def __init__(self, solver: LearnedBlockedSolver, effect: Table) -> None:
        self.solver = solver
        if not solver.looks.apart:
            effect = settled(solver.puzzle, effect)
        self.start = self.effect = effect
        shape = solver.shapes.shape_of(effect)
        element = None if shape is None else solver.shapes.element(effect, shape)
        if shape is None or element is None:
            raise RequestError(
                "this state cannot be reached: something stands where no turns that are possible "
                "bring it"
            )
        self.shape, self.element = shape, element

    @property
    def wrong(self) -> NDArray[np.bool_]:
        """Which units look wrong, those away from home in their shape counted in."""
        board = self.solver.board
        at = self.element.astype(np.int64)
        piece, twist = self._contents(at)
        same = board.kind[piece] == board.kind[np.arange(board.slots)]
        right: NDArray[np.bool_] = same & (twist == 0) & (self.shape == 0)
        return ~right

    def _contents(self, at: Numbers) -> tuple[Numbers, Numbers]:
        board = self.solver.board
        piece, twist = np.empty(board.slots, np.int64), np.empty(board.slots, np.int64)
        piece[board.slot_of[at]] = np.arange(board.slots)
        twist[board.slot_of[at]] = board.twist_of[at]
        return piece, twist

    def working(self, stages: tuple[Stage, ...]) -> tuple[Step, ...]:
        """Return the steps of some stages, the way home before them."""
        solver, steps = self.solver, list[Step]()
        word = solver.ways.word(self.shape, self._sums())
        if word is None:
            raise RequestError(
                "this state cannot be reached: without tearing anything apart, no turns lead there"
            )
        if word:
            steps.append(self._do(word, FREE))
        loops, _, count = solver.loops
        for stage in stages:
            held = stage.play.held(*self._contents(self.element.astype(np.int64)))
            for number in stage.playing(held, self._sums()):
                steps.append(self._do(loops[count + number].word, FREE))
            held = stage.play.held(*self._contents(self.element.astype(np.int64)))
            moves, _ = stage.working(held, self._sums(), solver.stop)
            for number, undone in moves:
                loop = loops[number].undone(solver.puzzle) if undone else loops[number]
                steps.append(self._do(loop.word, FREE if loop.image is None else LEARNED, loop))
        return tuple(steps)

    def _sums(self) -> Numbers:
        sums: Numbers = self.solver.invariants.of(self.element[None])[0]
        return sums

    def _do(self, word: Word, kind: str, loop: Loop | None = None) -> Step:
        solver = self.solver
        if solver.puzzle.first_blocked(word, self.effect) is not None:
            raise RuntimeError(f"{solver.puzzle.name}: a step of a solution is blocked")
        for turn in word:
            self.element = solver.shapes.acts[self.shape, turn, self.element]
            self.shape = int(solver.shapes.turn_to[self.shape, turn])
        image = loop.image if loop else None
        if loop is None or image is None:
            step, self.effect = step_of(solver.looks, self.effect, word, kind)
            return step
        said = said_of(solver.puzzle, solver.learned, image, word)
        form = form_of(solver.puzzle, solver.learned, image, loop.before, loop.home)
        step, self.effect = step_of(
            *(solver.looks, self.effect, word, kind, (), loop.before),
            *((-1, image.source), said, form),
        )
        return step


def _undone(points: Elements) -> Elements:
    """Return what undoes something that is done to the points."""
    result = np.empty_like(points)
    result[points] = np.arange(len(points), dtype=points.dtype)
    return result


def _board(own: Shapes) -> Board:
    """Return the units of a puzzle as the slots of a board."""
    units = len(own.reps)
    home = own.point_of.astype(np.int64)
    kind, shown, group = (np.zeros(units, dtype=np.int64) for _ in range(3))
    slot_of, twist_of = (np.zeros(own.points, dtype=np.int64) for _ in range(2))
    for number, one in enumerate(own.kinds):
        for k, u in enumerate(one.units):
            kind[u], shown[u], group[u] = one.units[one.looks[k]], one.twists, number
            twists = np.arange(one.twists)
            slot_of[home[u] + twists], twist_of[home[u] + twists] = u, twists
    shift = np.zeros(units, dtype=np.int64)
    return Board(home, slot_of, twist_of, kind, shift, shown, group)
