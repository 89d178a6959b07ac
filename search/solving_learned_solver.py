"""Solving with learned sequences and short free play alone, stage by stage."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from puzzles.errors import RequestError
from puzzles.puzzle import Puzzle, Table, Word
from puzzles.words import normal
from search.atlas_entries import cycles_of
from search.reading import turns_of
from search.solving_learned_board import Board, Numbers
from search.solving_learned_lines import Learned
from search.solving_learned_order import stages_of
from search.solving_learned_shelves import only
from search.solving_learned_stage import Moves, Stage
from search.solving_learned_sums import Sums
from search.solving_learned_told import form_of, said_of
from search.solving_learned_words import Image, Known, images_of, known
from search.solving_looks import Contents, Looks
from search.solving_orders import Order
from search.solving_steps import CYCLE, FREE, LEARNED, Solution, Step, step_of
from search.solving_sums import Balance
from search.solving_words import ShortWords, short_words
from search.tools import UNKNOWN, Tools, tools_for

#: The most turns of free play beside learned sequences: what one sees without having learned it.
FREE_TURNS = 3
#: The most words of free play.
MOST_FREE = 40_000
#: The most turns of setup, first, and where that does not do; three-cycles have any.
SETUPS = (2, 3)
#: The most three-cycles of a type, those with fewest turns.
MOST_CYCLES = 40_000


def board_of(looks: Looks) -> Board:
    """Return the slots of a puzzle as a board."""
    puzzle = looks.puzzle
    home, slot_of, twist_of, group = (
        own.astype(np.int64)
        for own in (puzzle.home, puzzle.slot_of, puzzle.twist_of, puzzle.type_of)
    )
    return Board(home, slot_of, twist_of, looks.kind, looks.shift, looks.shown, group)


@dataclass(frozen=True, eq=False)
class Planned:
    """A stage with what its moves are made of, in this order: three-cycles, known, free words."""

    stage: Stage
    tools: tuple[Tools, ...]
    triples: Numbers
    known: Known


class LearnedSolver:
    """Solves one puzzle with ``learned`` sequences; tables are made when they are first needed.

    ``apart``: pieces that look alike are told apart. ``stop()`` ends it early.
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
        self.board = board_of(self.looks)
        #: The types of which it can be seen whether they are right.
        self.types: tuple[int, ...] = tuple(np.flatnonzero(self.looks.matters).tolist())
        self._planned: dict[tuple[Order, int], tuple[Planned, ...]] = {}
        self._knowing: dict[int, Known] = {}

    @cached_property
    def balance(self) -> Balance:
        """The parities and sums of twists."""
        return Balance(self.looks)

    @cached_property
    def words(self) -> ShortWords:
        """Short words, for free play and setups."""
        return short_words(self.puzzle)

    @cached_property
    def images(self) -> tuple[Image, ...]:
        """All that symmetries, undoing and other starts make of the learned sequences."""
        return images_of(self.puzzle, self.learned)

    @cached_property
    def moved(self) -> NDArray[np.bool_]:
        """Which slots each image changes; shape (images, slots)."""
        puzzle = self.puzzle
        to = np.array([puzzle.effect(own.word)[puzzle.home] for own in self.images])
        return self.board.moved(to.astype(np.int64))

    @cached_property
    def disturbed(self) -> NDArray[np.bool_]:
        """Which types each image disturbs, of those that matter; shape (images, types)."""
        result = np.zeros((len(self.images), len(self.puzzle.types)), dtype=np.bool_)
        for number in self.types:
            result[:, number] = self.moved[:, list(self.puzzle.types[number].slots)].any(axis=1)
        return result

    @cached_property
    def carried(self) -> Mapping[int, bool]:
        """Of which types, of those that matter, some image carries pieces to other slots."""
        puzzle = self.puzzle
        to = np.array([puzzle.effect(own.word)[puzzle.home] for own in self.images])
        away = (puzzle.slot_of[to] != np.arange(puzzle.slot_count)).any(axis=0)
        return {t: bool(away[list(puzzle.types[t].slots)].any()) for t in self.types}

    @cached_property
    def order(self) -> Order:
        """The types stage by stage."""
        rows = np.unique(self.disturbed, axis=0)
        return stages_of([np.flatnonzero(row).tolist() for row in rows], self.types)

    @cached_property
    def free(self) -> Moves:
        """The words of free play."""
        words, balance = self.words, self.balance
        turns = min(FREE_TURNS, words.longest)
        while turns > 1 and words.up_to(turns) > MOST_FREE:
            turns -= 1
        to = words.images(self.puzzle.home, turns).astype(np.int16)
        sums = words.sums(balance.turns, balance.moduli, turns)
        return Moves(to, words.turns[: len(to)], sums)

    @cached_property
    def plans(self) -> tuple[tuple[Order, int], ...]:
        """Orders, with the turns of setup, that are tried one after the other until one does."""
        touched = tuple(t for own in self.order for t in own if self.disturbed[:, t].any())
        rest = tuple(t for t in self.types if t not in touched)
        together = (*((rest,) if rest else ()), tuple(sorted(touched)))
        setups = [min(own, self.words.longest) for own in SETUPS]
        return tuple(dict.fromkeys((own, n) for n in setups for own in (self.order, together)))

    def knowing(self, turns: int) -> Known:
        """Return the moves with learned sequences and setups of up to so many turns."""
        if turns not in self._knowing:
            self._knowing[turns] = known(self.balance, self.words, self.images, turns)
        return self._knowing[turns]

    def stages(self, plan: tuple[Order, int]) -> tuple[Planned, ...]:
        """Return the stages of a plan."""
        if plan not in self._planned:
            order, turns = plan
            rows: list[Planned] = []
            before: tuple[int, ...] = ()
            for own in order:
                rows.append(self._stage(before, own, self.knowing(turns)))
                before = (*before, *own)
            self._planned[plan] = tuple(rows)
        return self._planned[plan]

    def _stage(self, before: tuple[int, ...], own: tuple[int, ...], known: Known) -> Planned:
        types = self.puzzle.types
        tools = tuple(self._tools(before, own))
        triples = [self._triples(one) for one in tools]
        none = np.zeros((0, 3), dtype=np.int64)
        every = np.concatenate([none, *(rows for rows, _ in triples)])
        cost = np.concatenate([np.zeros(0, dtype=np.int64), *(cost for _, cost in triples)])
        sums = np.zeros((len(every), len(self.balance.entries)), dtype=np.int64)
        cycles = Moves(self._carried(every), cost, sums)
        moves = Moves.joined(cycles, Moves(known.to, known.cost, known.sums))
        slots = np.array([s for t in own for s in types[t].slots], dtype=np.int64)
        stays = np.array([s for t in before for s in types[t].slots], dtype=np.int64)
        mendable, later = self.added(before), self.added((*before, *own))
        stage = Stage(self.board, slots, stays, moves, self.free, mendable, later)
        return Planned(stage, tools, every, known)

    def added(self, kept: tuple[int, ...]) -> Sums:
        """Return the sums up to what images add that leave some types alone."""
        useful = np.flatnonzero(~self.disturbed[:, list(kept)].any(axis=1)).tolist()
        words = [list(self.images[k].word) for k in useful]
        return Sums(self.balance.moduli, [self.balance.turns[own].sum(axis=0) for own in words])

    def _tools(self, before: tuple[int, ...], own: tuple[int, ...]) -> Iterator[Tools]:
        """Yield the three-cycles of types that images cycle three of while all others stay."""
        types, kept = self.puzzle.types, (*before, *own)
        slots = [s for t in kept for s in types[t].slots]
        three = self.moved[:, slots].sum(axis=1) == 3
        for number in own:
            kind = types[number]
            if (three & (self.moved[:, list(kind.slots)].sum(axis=1) == 3)).any():
                words = [normal(self.puzzle, one.word) for one in self.learned]
                try:
                    yield tools_for(self.puzzle, kind, kept, search=only(words))
                except RequestError:
                    # Single turns do it where the pieces never leave: there are no tables then.
                    continue

    def _triples(self, tools: Tools) -> tuple[Numbers, Numbers]:
        """Return the three-cycles of a type that have a word, cheapest first, and their turns."""
        triples = cycles_of(self.puzzle, tools.kind)
        cost = tools.cost(triples)
        order = np.argsort(cost, kind="stable")[: min(int((cost < UNKNOWN).sum()), MOST_CYCLES)]
        return triples[order].astype(np.int64), cost[order].astype(np.int64)

    def _carried(self, triples: Numbers) -> NDArray[np.int16]:
        """Return where three-cycles (n, 3) carry what is at home; shape (n, slots)."""
        puzzle = self.puzzle
        to = np.tile(puzzle.home.astype(np.int16), (len(triples), 1))
        twists = np.array([puzzle.types[int(t)].twists for t in puzzle.type_of], dtype=np.int64)
        line = np.arange(len(triples))
        for k in range(3):
            start, end = triples[:, k], triples[:, (k + 1) % 3]
            here, there = puzzle.slot_of[start], puzzle.slot_of[end]
            twist = (puzzle.twist_of[end] - puzzle.twist_of[start]) % twists[here]
            to[line, here] = puzzle.home[there] + twist
        return to

    @property
    def tools(self) -> Mapping[int, Tools]:
        """The three-cycles of the types that have any, as far as they were needed."""
        rows = [tools for own in self._planned.values() for one in own for tools in one.tools]
        return {one.kind.number: one for one in reversed(rows)}

    @cached_property
    def sources(self) -> Mapping[Word, Image]:
        """What of the learned each word is."""
        own = reversed(self.images)
        return {normal(self.puzzle, image.word): image for image in own}

    def why_left(self, found: Solution) -> str:
        """Return which pieces a solution leaves wrong and why; empty for none."""
        from search.solving_learned_reasons import why_left

        return why_left(self, found)

    def solve(self, effect: Table) -> Solution:
        """Return how far a state is brought to which an effect (placements,) leads."""
        best: Solution | None = None
        for plan in self.plans:
            found = Solution(self.looks, effect, tuple(_Run(self, effect).working(plan)))
            if best is None or wrong(found) < wrong(best):
                best = found
            if found.solved or self.stop():
                break
        assert best is not None
        return best


def wrong(found: Solution) -> int:
    """Return how many slots look wrong at the end."""
    return int((~Contents.of(found.looks, found.end).right).sum())


class _Run:
    """One state on its way to the solved one."""

    def __init__(self, solver: LearnedSolver, effect: Table) -> None:
        self.solver, self.effect = solver, effect

    def working(self, plan: tuple[Order, int]) -> Iterator[Step]:
        """Do the stages of a plan, and yield each step."""
        for planned in self.solver.stages(plan):
            stage = planned.stage
            contents = self._contents()
            sums = self.solver.balance.of(contents)
            held = stage.play.held(contents.piece, contents.twist)
            for number in stage.playing(held, sums):
                yield self._do(self.solver.words.word(number), FREE)
            contents = self._contents()
            held = stage.play.held(contents.piece, contents.twist)
            moves, _ = stage.working(held, self.solver.balance.of(contents), self.solver.stop)
            for number, undone in moves:
                yield self._move(planned, number, undone)

    def _contents(self) -> Contents:
        return Contents.of(self.solver.looks, self.effect)

    def _move(self, planned: Planned, number: int, undone: bool) -> Step:
        solver, puzzle = self.solver, self.solver.puzzle
        cycles, learned = len(planned.triples), len(planned.stage.learned)
        if number < cycles:
            triple = [int(p) for p in planned.triples[number]]
            return self._cycle(planned, triple[::-1] if undone else triple)
        if number >= learned:
            word = solver.words.word(number - learned)
            return self._do(puzzle.inverse(word) if undone else word, FREE)
        setup, image = planned.known.parts(number - cycles)
        if undone:
            inner = puzzle.inverse(image.word)
            image = self._known(inner) or replace(image, word=inner, undone=not image.undone)
        return self._do((), LEARNED, (), setup, image)

    def _cycle(self, planned: Planned, triple: list[int]) -> Step:
        puzzle = self.solver.puzzle
        kind = int(puzzle.type_of[puzzle.slot_of[triple[0]]])
        tools = next(own for own in planned.tools if own.kind.number == kind)
        word, setup = tools.word(triple), tools.setup(triple)
        inner = normal(puzzle, (*puzzle.inverse(setup), *word, *setup))
        return self._do(word, CYCLE, tuple(triple), setup, self._known(inner))

    def _known(self, inner: Word) -> Image | None:
        return self.solver.sources.get(normal(self.solver.puzzle, inner))

    def _do(
        self,
        word: Word,
        kind: str,
        cycle: tuple[int, ...] = (),
        setup: Word = (),
        image: Image | None = None,
    ) -> Step:
        solver = self.solver
        family = None if image is None else (-1, image.source)
        said, form = "", None
        if image is not None:
            form = form_of(solver.puzzle, solver.learned, image, setup)
            word = turns_of(solver.puzzle, form)
            said = said_of(solver.puzzle, solver.learned, image, word)
        step, self.effect = step_of(
            solver.looks, self.effect, word, kind, cycle, setup, family, said, form
        )
        return step
