"""The last pieces where turns can be blocked: home to the shape first, then three-cycles.

What stands wrong is put right by a short walk home that also mends parities and sums of twists,
chosen among those known by what they leave. The units of a kind (loose pieces, and bodies that turn
as one) are then split as where no turns are blocked (``splits``), with the three-cycles that are
known (``finishing_blocked_tables``). Every step is applied turn by turn and must be possible.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from puzzles.assemblies import Judgement, all_home, judge
from puzzles.errors import RequestError
from puzzles.laws import joined, plural
from puzzles.names import slot_names
from puzzles.notation import write
from puzzles.puzzle import Puzzle, Word
from puzzles.states import State
from search.atlas_entries import Said
from search.finishing_blocked_tables import (
    BlockedTables,
    KindCycles,
    blocked_tables,
    bracketed,
    images_of,
)
from search.finishing_plans import AT_ONCE, NOT_LOOKED, AtOnce, Finish, Part, at_once
from search.impossible import ImpossibleError
from search.nesting import things
from search.solving_blocked import BlockedSolution, BlockedSolver, NeverError, Run
from search.solving_blocked_shapes import Kind
from search.solving_steps import BALANCE, CYCLE, FREE, PRODUCT, Step, step_of
from search.split_tables import Places, SlotLooks, slots_of
from search.splits import (
    MEASURES,
    MEMORY,
    MOST_HELPING,
    MOST_SLOTS,
    SEQUENCES,
    TURNS,
    Split,
    best_helped,
    measured,
    product,
)

#: What a step is called that brings bodies home, where they are not.
HOME = "way home"
#: Ways home that are followed to the end, by what a quick look says of them.
MOST_FOLLOWED = 10
#: Fixed, so that a state is finished in the same way everywhere.
SEED = 1

Element = NDArray[np.int16]


@dataclass(frozen=True, eq=False)
class _Share:
    """The three-cycles of one kind; ``compared``: all products of at most four were."""

    cycles: KindCycles
    part: Part
    compared: bool


@dataclass(frozen=True, eq=False)
class _Way:
    """A way to the solved state: words at first, each with its kind of step, then three-cycles.

    ``said`` belongs to one sequence for all.
    """

    first: tuple[tuple[Word, str], ...]
    shares: tuple[_Share, ...]
    said: Said | None = None

    def order(self, by: str) -> tuple[int, ...]:
        """Return what ways are sorted by, the best first."""
        splits = [share.part.split for share in self.shares]
        first = sum(len(word) for word, _ in self.first)
        turns = first + sum(own.executed for own in splits)
        if by == SEQUENCES:
            return len(self.first) + sum(own.sequences for own in splits), turns
        if by == MEMORY:
            first = self.said.things if self.said is not None else first
            return first + sum(own.things for own in splits), turns
        return turns, sum(len(own.triples) for own in splits)


@dataclass(frozen=True, eq=False)
class BlockedFinisher:
    """Finishes states of one puzzle on which turns can be blocked; see ``finishing.Finisher``."""

    solver: BlockedSolver
    by: str = TURNS
    once: AtOnce = NOT_LOOKED
    stop: Callable[[], bool] = lambda: False
    tables: BlockedTables = field(init=False)

    def __post_init__(self) -> None:
        if self.by not in MEASURES:
            raise RequestError(f"by {self.by!r}: {' or '.join(MEASURES)} was expected")
        object.__setattr__(self, "tables", blocked_tables(self.solver))

    @property
    def puzzle(self) -> Puzzle:
        """The puzzle that it is about."""
        return self.solver.puzzle

    def finish(self, state: State) -> Finish:
        """Return the best steps for a state.

        Raises ImpossibleError for a state to which no turns lead that are possible.
        """
        verdict = self.judged(state)
        if not verdict.possible:
            raise ImpossibleError(f"no sequence solves this: {verdict.reason}")
        run = Run(self.solver, state.table)
        state = replace(state, table=run.start)
        ways = [way for word in self._first_words(run) for way in self._after(run, word, 0)]
        best = min(ways, key=lambda way: way.order(self.by), default=None)
        if best is not None and best.shares:
            word = best.first[0][0] if best.first and best.first[0][1] != PRODUCT else ()
            helped = self._after(run, word, MOST_HELPING)
            best = min((best, *helped), key=lambda way: way.order(self.by))
        note = ""
        if best is None or best.first or self.once.always:
            once, note = self._at_once(run, state)
            if once is not None and (best is None or once.order(self.by) < best.order(self.by)):
                best = once
        found = None if best is None else self._told(state, best, note)
        if best is None or (self.by == TURNS and not all(one.compared for one in best.shares)):
            # Too much to compare: a whole solve takes free turns before there is much to keep.
            whole = self._whole(state)
            if found is None or len(whole.word) < len(found.word):
                return whole
        assert found is not None
        return found

    def judged(self, state: State) -> Judgement:
        """Return whether turns that are possible lead to a state, else why not, with a repair.

        Where what mends the laws leads to nothing that can be solved, few pieces are all put home.
        """
        error = self._never(state)
        if error is None:
            return Judgement(True, True, (), "", None)
        verdict = judge(state)
        repair = verdict.repair
        if repair is not None and self._never(state.after(repair.effect)) is None:
            return verdict
        repair = all_home(state) if len(state.unsolved) <= MOST_SLOTS else None
        return Judgement(False, True, verdict.broken, error.why, repair)

    def _never(self, state: State) -> NeverError | None:
        try:
            Run(self.solver, state.table)
        except NeverError as error:
            return error
        return None

    def _at_once(self, run: Run, state: State) -> tuple[_Way | None, str]:
        """Return one sequence for all, None for none, and how far it was looked for.

        Only where bodies stand as at home: there is possible what is possible from solved.
        """
        if run.shape:
            return None, ""
        matters = np.flatnonzero(self.solver.looks.matters).tolist()
        found = at_once(state, matters, self.by, self.once, self.stop)
        if found is None or found.said is None:
            return None, "" if found is None else found.note
        word = found.said.word
        if self.puzzle.first_blocked(word, state.table) is not None:
            return None, found.note
        return _Way(((word, AT_ONCE),), (), found.said), found.note

    def _first_words(self, run: Run) -> list[Word]:
        """Return walks home that leave parities and twists right, the likeliest first; () is one.

        Where all stands as at home and few units are unsolved, those that are worth their turns.
        """
        solver, near, values = self.solver, self.solver.near, run.values
        states, worth = solver.similar(run.shape, run.element)
        same = (near.values[states] == values).all(axis=1)
        counts = [len(_named(kind, run.element)) for kind in solver.shapes.kinds]
        if run.shape == 0 and not values.any() and max(counts, default=0) <= MOST_SLOTS:
            same &= worth - near.depth[states] >= solver.now_right(run.element)
        states, worth = states[same], worth[same]
        likely = states[np.argsort(near.depth[states] - worth, kind="stable")[:MOST_FOLLOWED]]
        words = [self.puzzle.inverse(near.word(int(k))) for k in likely]
        shortest = solver.ways.word(run.shape, values)
        assert shortest is not None
        return list(dict.fromkeys([*words, shortest]))

    def _after(self, run: Run, word: Word, helping: int) -> Iterator[_Way]:
        """Yield ways home that begin with a word, after which all stands as at home."""
        element = run.after(word)
        kind = HOME if run.shape else BALANCE if run.values.any() else FREE
        first = ((word, kind),) if word else ()
        mended = self.solver.product(element)
        if mended is None:
            return
        if mended:
            element = self._walked(element, mended)
            first = (*first, (mended, PRODUCT))
        for shares in self._shares(element, self.tables.kinds, helping):
            yield _Way(first, shares)

    def _walked(self, element: Element, word: Word) -> Element:
        """Return an element of the home shape after a word that leads back there."""
        shapes, shape = self.solver.shapes, 0
        for turn in word:
            element = shapes.acts[shape, turn, element]
            shape = int(shapes.turn_to[shape, turn])
        return element

    def _shares(
        self, element: Element, kinds: Sequence[int], helping: int
    ) -> Iterator[tuple[_Share, ...]]:
        """Yield three-cycles, kind by kind, for all that is not right at the home shape."""
        if not kinds:
            yield ()
            return
        number, *later = kinds
        if not _named(self.solver.shapes.kinds[number], element):
            yield from self._shares(element, later, helping)
            return
        for cycles in self.tables.ways(number, later):
            share = self._share(cycles, element, helping)
            if share is None:
                continue
            after = element
            for triple in share.part.split.triples:
                after = self._walked(after, cycles.word(triple))
            for rest in self._shares(after, later, helping):
                yield (share, *rest)

    def _share(self, cycles: KindCycles, element: Element, helping: int) -> _Share | None:
        """Return the three-cycles for one kind, None where they do not solve it."""
        kind, named = cycles.kind, _named(cycles.kind, element)
        points = _points(kind, element)
        kind_of_piece = self.puzzle.types[int(self.puzzle.type_of[self._slots(kind, [0])[0]])]

        def split(slots: Sequence[int]) -> Split | None:
            try:
                own = slots_of(cycles, slots)
                return product(own, _arranged(kind, points, slots), _looks(kind, slots), self.by)
            except ValueError:
                return None

        if len(named) <= MOST_SLOTS:
            every = range(kind.count)
            found = best_helped(split, named, every, cycles.twists, self.by, helping)
            if found is not None:
                placed = replace(found, slots=self._slots(kind, found.slots), proven=False)
                return _Share(cycles, Part(kind_of_piece, placed, self._best(cycles, placed)), True)
        row = cycles.placing.row(points, np.random.default_rng(SEED))
        if row is None:
            return None
        table = cycles.table.numbering.triples()[list(row.cycles)]
        triples = tuple((int(a), int(b), int(c)) for a, b, c in table.tolist())
        greedy = measured(cycles, triples, self._slots(kind, named))
        text = (
            f"{len(named)} unsolved {plural(kind_of_piece.name)} are too many to compare all "
            "products: chosen step by step, nothing is proven of it"
        )
        return _Share(cycles, Part(kind_of_piece, greedy, text), False)

    def _best(self, cycles: KindCycles, split: Split) -> str:
        """Say among what a split is the best."""
        names = slot_names(self.puzzle)
        slots = joined([names[slot] for slot in sorted(split.slots)])
        what = {
            TURNS: f"fewer than {split.fewest} turns, step by step",
            SEQUENCES: "fewer different sequences",
            MEMORY: "fewer things to remember",
        }[self.by]
        kinds = self.solver.shapes.kinds
        spared = {number for number in range(len(kinds)) if kinds[number] is not cycles.kind}
        more = "; what they disturb is put right after them" if spared - cycles.kept else ""
        return (
            f"of the three-cycles that are known, no product of at most four on {slots} has "
            f"{what}; where turns can be blocked none is proven shortest{more}"
        )

    def _slots(self, kind: Kind, numbers: Sequence[int]) -> tuple[int, ...]:
        """Return the slots at home of the pieces that tell where units are."""
        return tuple(self.solver.shapes.reps[kind.units[k]] for k in numbers)

    def _told(self, state: State, way: _Way, note: str) -> Finish:
        """Return a way step by step, each applied and written out."""
        steps: list[Step] = []
        said: list[Said] = []
        effect = state.table
        for word, name in way.first:
            step, effect = self._step(effect, word, name)
            steps.append(step)
            text = write(self.puzzle, word)
            plain = Said(text, text, len(word), len(word), word)
            said.append(way.said if way.said is not None and name == AT_ONCE else plain)
        for share in way.shares:
            cycles = share.cycles
            for triple in share.part.split.triples:
                one = cycles.said(triple)
                slot = self._slots(cycles.kind, [triple[0] // cycles.twists])[0]
                family = (cycles.kind.first, int(cycles.family(np.array(triple))))
                step, effect = self._step(effect, one.word, CYCLE, slot)
                steps.append(replace(step, setup=cycles.setup(triple), family=family))
                said.append(one)
        return self._finish(state, steps, said, tuple(one.part for one in way.shares), note)

    def _step(
        self, effect: NDArray[np.int32], word: Word, name: str, slot: int | None = None
    ) -> tuple[Step, NDArray[np.int32]]:
        """Return a step that is possible, and the effect after it; ``slot`` begins its cycle."""
        puzzle, cycle = self.puzzle, tuple[int, ...]()
        if puzzle.first_blocked(word, effect) is not None:
            raise RuntimeError(f"{puzzle.name}: a step for the last pieces is blocked")
        if slot is not None:
            does = puzzle.effect(word)
            first = int(puzzle.home[slot])
            cycle = (first, int(does[first]), int(does[does[first]]))
        return step_of(self.solver.looks, effect, word, name, cycle)

    def _whole(self, state: State) -> Finish:
        """Return a whole solve as steps, nothing of which is compared with others."""
        found = self.solver.solve(state.table)
        steps, said = [], []
        seen: dict[Word, int] = {}
        for step in found.steps:
            own, text = step, write(self.puzzle, step.word)
            if step.kind == CYCLE:
                middle = step.word[len(step.setup) : len(step.word) - len(step.setup)]
                first = images_of(self.puzzle, middle)
                number = seen.setdefault(min(first), len(seen))
                kind = int(self.puzzle.type_of[self.puzzle.slot_of[step.cycle[0]]])
                own = replace(step, family=(kind, number))
            notation = (bracketed(self.puzzle, step.word) if step.kind == CYCLE else "") or text
            count = things(self.puzzle, step.word)
            steps.append(own)
            said.append(Said(text, notation, len(step.word), count, step.word))
        return self._finish(state, steps, said, (), "")

    def _finish(
        self, state: State, steps: list[Step], said: list[Said], parts: tuple[Part, ...], note: str
    ) -> Finish:
        """Return steps as a finish; raises RuntimeError where they do not solve the state."""
        solution = BlockedSolution(self.solver.looks, state.table, tuple(steps))
        word = solution.word
        if not solution.solved or not state.after(self.puzzle.effect(word)).is_solved:
            raise RuntimeError(f"{self.puzzle.name}: steps were found that do not solve the state")
        if self.puzzle.first_blocked(word, state.table) is not None:
            raise RuntimeError(f"{self.puzzle.name}: the steps in a row are blocked")
        return Finish(state, self.by, solution, tuple(said), parts, note)


def _points(kind: Kind, element: Element) -> NDArray[np.int64]:
    """Return at which point each unit of a kind stands, counted from the kind's first."""
    result: NDArray[np.int64] = element[list(kind.units)].astype(np.int64) - kind.first
    return result


def _named(kind: Kind, element: Element) -> list[int]:
    """Return the slots of a kind, by number, in which a unit does not look right."""
    points, looks = _points(kind, element), np.array(kind.looks)
    slots, twists = points // kind.twists, points % kind.twists
    right = (looks[slots] == looks) & (twists == 0)
    return sorted(slots[~right].tolist())


def _looks(kind: Kind, slots: Sequence[int]) -> SlotLooks:
    """Return how the units of some slots of a kind look."""
    _, number = np.unique(np.array(kind.looks)[list(slots)], return_inverse=True)
    still = np.zeros(len(slots), dtype=np.int64)
    return SlotLooks(number.astype(np.int64), still, kind.twists, kind.twists)


def _arranged(kind: Kind, points: NDArray[np.int64], slots: Sequence[int]) -> Places:
    """Return the local place of the unit of each of some slots, by looks; shape (slots,).

    All other slots look right. Of units that look the same any may be meant.
    """
    result = np.full(len(slots), -1, dtype=np.int8)
    free = list(range(len(slots)))
    inside = {int(point) // kind.twists: unit for unit, point in enumerate(points.tolist())}
    order = sorted(range(len(slots)), key=lambda j: inside[slots[j]] not in slots)
    for j in order:
        unit = inside[slots[j]]
        fitting = [i for i in free if kind.looks[slots[i]] == kind.looks[unit]]
        i = next((i for i in fitting if slots[i] == unit), fitting[0])
        free.remove(i)
        result[i] = j * kind.twists + int(points[unit]) % kind.twists
    return result
