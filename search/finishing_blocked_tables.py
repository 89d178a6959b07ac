"""Three-cycles for the last pieces where turns can be blocked, with the words that do them.

They are what pairs of short walks make and, where these do not reach every three-cycle of a kind
with all else kept, commutators of loops as well (``solving_blocked_cycles``). All words begin and
end at the home shape, where each is possible, whichever piece is where. None is proven shortest.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from puzzles.errors import TrefoilError
from puzzles.notation import parse, write
from puzzles.puzzle import Puzzle, Word
from search import brackets
from search.atlas_entries import Said
from search.fastened import possible
from search.frames import Numbers
from search.nesting import things
from search.solving_blocked import BlockedSolver, cancelled
from search.solving_blocked_cycles import UNKNOWN as NO_WORD
from search.solving_blocked_cycles import Cycles as Table
from search.solving_blocked_nested import Gathered, rounds
from search.solving_blocked_placing import Placing
from search.solving_blocked_shapes import Kind
from search.split_tables import Triple
from search.tools import UNKNOWN

#: The least number of units of which three can be cycled.
LEAST_UNITS = 3


class KindCycles:
    """The three-cycles of one kind that keep some others; places are its points from its first."""

    def __init__(self, table: Table, kept: frozenset[int]) -> None:
        self.table, self.kept = table, kept
        self.kind: Kind = table.kind
        self.puzzle: Puzzle = table.near.shapes.puzzle
        self._start = np.arange(self.puzzle.placement_count, dtype=np.int32)
        self._words: dict[int, tuple[Word, Word, Word]] = {}
        self._said: dict[int, Said] = {}

    @cached_property
    def placing(self) -> Placing:
        """What puts more units right than can be compared, step by step."""
        return Placing(self.table)

    @property
    def twists(self) -> int:
        """How many points a slot has."""
        return self.kind.twists

    def firsts(self, slots: Sequence[int]) -> Numbers:
        """Return the point with twist 0 of each of some slots, by number in the kind."""
        return np.array(slots, dtype=np.int64) * self.kind.twists

    def cost(self, triples: NDArray[np.integer]) -> Numbers:
        """Return the turns of words that are left after cancelling, UNKNOWN for no word."""
        return self._each(triples, lambda number: len(self.parts(number)[0]))

    def things(self, triples: NDArray[np.integer]) -> Numbers:
        """Return how many things there are to remember: of setups, and of what is in the middle."""
        return self._each(triples, self._things_of)

    def family(self, triples: NDArray[np.integer]) -> Numbers:
        """Return numbers of the words in the middle: images and inverses of one have the same."""
        ends = self._ends[self._done(self._numbers(triples))]
        return np.where(ends >= 0, self._classes[ends], -1)

    def orbit(self, triples: NDArray[np.integer]) -> Numbers:
        """Return numbers that are the same for a triple and its inverse."""
        rows = np.asarray(triples)
        ways = ([0, 1, 2], [1, 2, 0], [2, 0, 1], [0, 2, 1], [2, 1, 0], [1, 0, 2])
        every: Numbers = np.stack([self._numbers(rows[..., way]) for way in ways]).min(axis=0)
        return every

    def executed(self, triples: Sequence[Triple]) -> int:
        """Return how many turns are left of triples done in a row."""
        row = [turn for triple in triples for turn in self.word(triple)]
        return len(cancelled(self.puzzle, row, self._start))

    def word(self, triple: Triple) -> Word:
        """Return the word of a triple, what cancels left out."""
        return self.parts(self._number(triple))[0]

    def setup(self, triple: Triple) -> Word:
        """Return the turns of setup before the word in the middle."""
        return self.parts(self._number(triple))[1]

    def parts(self, number: int) -> tuple[Word, Word, Word]:
        """Return for the number of a three-cycle its word, its setup, and what is in the middle."""
        if number not in self._words:
            done = int(self._done(np.array(number)))
            setup, middle = self.table.word(done)
            if done != number:
                middle = self.puzzle.inverse(middle)
            row = (*setup, *middle, *self.puzzle.inverse(setup))
            whole = cancelled(self.puzzle, row, self._start)
            setup = cancelled(self.puzzle, setup, self._start)
            self._words[number] = whole, setup, middle
        return self._words[number]

    def said(self, triple: Triple) -> Said:
        """Return the word of a triple as text and in brackets, if it can be read so."""
        number = self._number(triple)
        if number not in self._said:
            word, setup, middle = self.parts(number)
            text = write(self.puzzle, word)
            notation = bracketed(self.puzzle, word)
            if not notation and setup and len(word) == 2 * len(setup) + len(middle):
                notation = f"[{write(self.puzzle, setup)}: {write(self.puzzle, middle)}]"
            things_of = self._things_of(number)
            self._said[number] = Said(text, notation or text, len(word), things_of, word)
        return self._said[number]

    def _things_of(self, number: int) -> int:
        _, setup, middle = self.parts(number)
        return len(setup) + things(self.puzzle, middle)

    def _number(self, triple: Triple) -> int:
        return int(self._numbers(np.array(triple)))

    def _numbers(self, triples: NDArray[np.integer]) -> Numbers:
        rows = np.asarray(triples)
        numbers = self.table.numbering.number(rows.reshape(-1, 3))
        return numbers.reshape(rows.shape[:-1])

    def _done(self, numbers: Numbers) -> Numbers:
        """Return which three-cycles are done for some: they or their inverses, whose word is best.

        So a three-cycle and its inverse have as many turns.
        """
        undone = self._numbers(self._triples[numbers][..., [0, 2, 1]])
        cost = self.table.cost
        better = (cost[undone] < cost[numbers]) | (
            (cost[undone] == cost[numbers]) & (undone < numbers)
        )
        result: Numbers = np.where(better, undone, numbers)
        return result

    @cached_property
    def _triples(self) -> Numbers:
        return self.table.numbering.triples()

    def _each(self, triples: NDArray[np.integer], measure: Callable[[int], int]) -> Numbers:
        numbers = self._numbers(triples)
        known = self.table.cost[numbers] < NO_WORD
        result = np.full(numbers.shape, UNKNOWN, dtype=np.int64)
        result[known] = [measure(number) for number in numbers[known].tolist()]
        return result

    @cached_property
    def _ends(self) -> Numbers:
        return self.table.ends()

    @cached_property
    def _classes(self) -> Numbers:
        """For each of the table's words the first that is an image of it, or of what undoes it."""
        first: dict[Word, int] = {}
        result = []
        for k, word in enumerate(self.table.words):
            if word not in first:
                for image in images_of(self.puzzle, word):
                    first.setdefault(image, k)
            result.append(first[word])
        return np.array(result, dtype=np.int64)


def images_of(puzzle: Puzzle, word: Word) -> list[Word]:
    """Return the images of a word under symmetry, and of what undoes it."""
    images = [own.turns.tolist() for own in puzzle.symmetries] or [[*range(len(puzzle.turns))]]
    ways = (word, puzzle.inverse(word))
    return [tuple([image[t] for t in way]) for image in images for way in ways]


def bracketed(puzzle: Puzzle, word: Word) -> str:
    """Return a word in brackets whose turns are possible as they are written, else nothing."""
    form = brackets.shortest_form(puzzle, word)
    if form is None:
        return ""
    text = brackets.text(puzzle, form)
    try:
        read = parse(puzzle, text).word
    except TrefoilError:
        return ""
    return text if possible(puzzle, read) else ""


class BlockedTables:
    """The three-cycles of every kind of one puzzle, made when they are first asked for."""

    def __init__(self, solver: BlockedSolver) -> None:
        self.solver = solver
        self._made: dict[tuple[int, frozenset[int]], KindCycles] = {}

    @cached_property
    def kinds(self) -> tuple[int, ...]:
        """The numbers of the kinds, in the order in which a whole solve puts them right."""
        first = [*self.solver.placing]
        every = range(len(self.solver.shapes.kinds))
        return (*first, *(number for number in every if number not in first))

    @cached_property
    def _gathered(self) -> Gathered:
        """Commutators of loops, none where pairs of walks reach all three-cycles."""
        own, every = self.solver, range(len(self.solver.shapes.kinds))
        for number in every:
            if own.shapes.kinds[number].count >= LEAST_UNITS:
                found = own.near.three_cycles(number, set(every) - {number})
                if not Table(own.near, number, found, {}).complete:
                    break
        else:
            return Gathered()
        # All rounds, so that what is known does not depend on what was asked for before.
        *_, last = (Gathered(), *rounds(own.near))
        return last

    def keeping(self, number: int, kept: Iterable[int]) -> KindCycles | None:
        """Return the three-cycles of a kind that leave other kinds alone, None for none at all."""
        others = frozenset(kept) - {number}
        near = self.solver.near
        if near.shapes.kinds[number].count < LEAST_UNITS:
            return None
        if (number, others) not in self._made:
            more = self._gathered.three_cycles(number, others)
            table = Table(near, number, near.three_cycles(number, others), more)
            self._made[number, others] = KindCycles(table, others)
        own = self._made[number, others]
        return own if len(own.placing.numbers) else None

    def ways(self, number: int, later: Iterable[int]) -> list[KindCycles]:
        """Return tables for a kind: one that keeps all, else some that disturb one of the later.

        The last is that of a whole solve, which may disturb all of the later kinds.
        """
        every = frozenset(range(len(self.solver.shapes.kinds)))
        whole = self.keeping(number, every)
        if whole is not None and whole.table.complete:
            return [whole]
        sets = [every, *(every - {one} for one in later), every - set(later)]
        found = [self.keeping(number, own) for own in dict.fromkeys(sets)]
        return [own for own in found if own is not None]


@lru_cache(maxsize=4)
def blocked_tables(solver: BlockedSolver) -> BlockedTables:
    """Return the tables of a solver, made once."""
    return BlockedTables(solver)
