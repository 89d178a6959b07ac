"""What every three-cycle of a type costs and the word that does it, as tables for many at once.

A solver asks for thousands of three-cycles, of which it does a few: costs are one look into a table
of all, words are put together from the shelves only for those that are done.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from puzzles.effects import effect_of_cycles
from puzzles.errors import RequestError
from puzzles.layer_group import layer_group
from puzzles.puzzle import PieceType, Puzzle, Word
from puzzles.stopping import look
from puzzles.words import normal
from search import frames, plan
from search.atlas_entries import Pattern, Said, pattern, placed, teller, triple_of
from search.encoding import Scope, scope, wanted_with_images
from search.frames import Frames, Numbers
from search.goals import Goal
from search.kernels.arrays import NONE
from search.shelves import Shelves

#: The cost of a three-cycle for which nothing was found.
UNKNOWN = NONE
#: Conjugates of which a step of the search may look at while some three-cycle has no word yet, and
#: once all have one. A step that looks at 30 million takes about a second on one core.
MOST_CONJUGATES = 400_000_000.0
ENOUGH_CONJUGATES = 4_000_000.0
#: Conjugates for each pair of elements of the group, of which such a step looks at no more.
PER_PAIR = 10

#: How shelves for a goal are come by: by searching in memory, or from a store.
Search = Callable[[Scope, Goal], Shelves]


@dataclass(frozen=True, eq=False)
class Filled(Goal):
    """The goal of a table: a word for every three-cycle that can be done, shorter ones while cheap.

    While one has none, steps that look at up to ``most`` conjugates are done; where all have, the
    search ends before the first step with more than ``enough``, or where the next rings are longer
    than every word. Of a group with few elements, a step looks at no more than ``PER_PAIR``
    conjugates for each pair of these: more bring nothing new.
    """

    enough: float = field(kw_only=True, default=ENOUGH_CONJUGATES)
    most: float = field(kw_only=True, default=MOST_CONJUGATES)

    def reached(self, scope: Scope, found: Shelves) -> bool:
        if self.half_length is not None:
            return super().reached(scope, found)
        can_be_done = possible(scope, tuple(found.first.tolist()))
        if not can_be_done.any():
            return True
        step = plan.next_step(scope, found)
        if step is None:
            return True
        hardest = int(found.turns[can_be_done].max())
        # Where little is kept, there are many joins, and each looks at all conjugates.
        work = step.conjugates * len(scope.arrays.joins)
        if hardest >= NONE:
            group = layer_group(scope.puzzle, scope.layers, scope.kept)
            # Whole numbers: orders of large puzzles are beyond what a float holds.
            return work > self.most or work > PER_PAIR * group.order**2
        # Of larger half-lengths hardly any ring is as short as that.
        return work > self.enough or hardest <= 2 * found.half_length


@lru_cache(maxsize=64)
def possible(scope: Scope, first: tuple[int, ...]) -> NDArray[np.bool_]:
    """Return of which orbits three-cycles can be done, by the numbers of their representatives.

    Decided by membership in the group of the kept types; where its order is not proven, by the laws
    of parity and twist.
    """
    group = layer_group(scope.puzzle, scope.layers, scope.kept)
    rows = [effect_of_cycles(scope.puzzle, [triple_of(scope, n)]).table for n in first]
    if not rows:
        return np.zeros(0, dtype=np.bool_)
    return np.array(group.contains(np.array(rows, dtype=np.int32)), dtype=np.bool_)


def search_in_memory(own: Scope, goal: Goal) -> Shelves:
    """Return shelves for a goal by searching, without a store."""
    from search.deepening import deepen

    shelves = None
    for progress in deepen(own, goal):
        look()
        shelves = progress.shelves
    assert shelves is not None
    return shelves


@dataclass(frozen=True, eq=False)
class Tools:
    """The three-cycles of one type while the types of ``scope.kept`` stay as they are.

    Triples are placements of the puzzle: the piece at the first goes to the second, that to the
    third, that to the first. ``shelves`` are what a search for the scope came to.
    """

    kind: PieceType
    scope: Scope
    shelves: Shelves

    @property
    def puzzle(self) -> Puzzle:
        """The puzzle that it is about."""
        return self.scope.puzzle

    @property
    def can_be_done(self) -> bool:
        """Whether the group has any three-cycle of the type."""
        return bool(possible(self.scope, tuple(self.shelves.first.tolist())).any())

    @property
    def kept(self) -> tuple[int, ...]:
        """The numbers of the types that every word leaves as they are."""
        return self.scope.kept

    def cost(self, triples: NDArray[np.integer]) -> Numbers:
        """Return the executed turns of triples (..., 3), setups counted, UNKNOWN for no word."""
        return self._turns[self._numbers(triples)]

    def things(self, triples: NDArray[np.integer]) -> Numbers:
        """Return the fewest things to remember of triples (..., 3), UNKNOWN for no word."""
        return self._things[self._numbers(triples)]

    def family(self, triples: NDArray[np.integer]) -> Numbers:
        """Return for triples (..., 3) the number of the word that setups lead them to.

        Two triples with the same number are done by the same word of the shelves, by one of its
        images under symmetry or their inverses, after different setups; -1 for no word.
        """
        orbits = self._table.orbit[self._numbers(triples)]
        return np.where(orbits >= 0, self._ends[orbits], -1)

    def orbit(self, triples: NDArray[np.integer]) -> Numbers:
        """Return for triples (..., 3) a number that they share with their images and inverses."""
        return self._table.orbit[self._numbers(triples)]

    def word(self, triple: Iterable[int]) -> Word:
        """Return the word with the cost of a triple, in normal form; RequestError for no word."""
        orbit, symmetry, turned = self.place(triple)
        whole = self._whole(orbit)
        return self._carried(self.puzzle.inverse(whole) if turned else whole, symmetry)

    def setup(self, triple: Iterable[int]) -> Word:
        """Return the turns before the word of the shelves that a triple is done with."""
        orbit, symmetry, _ = self.place(triple)
        return self._carried(self._parts(orbit)[0], symmetry)

    def written(self, triple: Iterable[int]) -> Said:
        """Return the word of a triple as text and in brackets, S [A, B] S'."""
        orbit, symmetry, turned = self.place(triple)
        if orbit not in self._patterns:
            self._patterns[orbit] = pattern(self.puzzle, self._whole(orbit), None)
        return self._said(self._patterns[orbit], symmetry, turned)

    def _carried(self, word: Word, symmetry: int) -> Word:
        image = self.scope.symmetries[symmetry].turns
        return normal(self.puzzle, [int(image[t]) for t in word])

    @cached_property
    def _patterns(self) -> dict[int, Pattern]:
        """The words of representatives in brackets, as far as they were asked for."""
        return {}

    @cached_property
    def _said(self) -> Callable[[Pattern, int, bool], Said]:
        return teller(self.scope)

    @cached_property
    def _table(self) -> Frames:
        return frames.frames(self.scope, tuple(self.shelves.first.tolist()))

    @cached_property
    def _place_of(self) -> Numbers:
        """The kernels' number of each of the puzzle's placements, -1 where a type is not kept."""
        return placed(self.scope, np.arange(self.puzzle.placement_count))

    def _numbers(self, triples: NDArray[np.integer]) -> Numbers:
        return frames.numbers(self.scope, self._place_of[triples])

    def place(self, triple: Iterable[int]) -> tuple[int, int, bool]:
        """Return the orbit of a triple by its place, and how its representative becomes it.

        That is by a symmetry of the scope, by number, and inverted if true.
        """
        row = tuple(int(p) for p in triple)
        number = int(self._numbers(np.array(row, dtype=np.int64)))
        table = self._table
        orbit = int(table.orbit[number])
        if orbit < 0 or self.shelves.turns[orbit] >= NONE:
            raise RequestError(f"no sequence is known for the three-cycle of placements {row}")
        return orbit, int(table.symmetry[number]), bool(table.turned[number])

    @cached_property
    def _turns(self) -> Numbers:
        return self._spread(self.shelves.turns)

    @cached_property
    def _things(self) -> Numbers:
        return self._spread(self.shelves.things)

    def _spread(self, best: Numbers) -> Numbers:
        """Return a measure of orbits for every number of a triple."""
        orbit = self._table.orbit
        if not len(best):
            return np.full(len(orbit), UNKNOWN, dtype=np.int64)
        result: Numbers = np.where(orbit >= 0, best[orbit], UNKNOWN).astype(np.int64)
        return result

    @cached_property
    def _steps(self) -> tuple[Numbers, Numbers]:
        """For every orbit the turn of setup that its representative needs next, -1 for none.

        And the orbit to which that turn leads.
        """
        turns, own = self.shelves.turns, self.shelves.shortest.cost[:, 0].astype(np.int64)
        step = np.full(len(turns), -1, dtype=np.int64)
        leads = np.arange(len(turns))
        if not len(turns):
            return step, leads
        starts = [frames.triple(self.scope, number) for number in self.shelves.first.tolist()]
        there = self.scope.arrays.moves[:, np.array(starts, dtype=np.int64)]
        beyond = self._table.orbit[frames.numbers(self.scope, there)]
        through = turns[beyond] + 2
        best = through.argmin(axis=0)
        needs = (own > turns) & (turns < NONE)
        step[needs] = best[needs]
        leads[needs] = beyond[best, np.arange(len(turns))][needs]
        return step, leads

    @cached_property
    def _ends(self) -> Numbers:
        """For every orbit the one whose word is done in the end, -1 for no word."""
        _, leads = self._steps
        ends: Numbers = leads
        while not np.array_equal(ends[leads], ends):
            ends = ends[leads]
        return np.where(self.shelves.turns < NONE, ends, -1)

    @cached_property
    def _words(self) -> dict[int, tuple[Word, Word]]:
        """Setups and words of the shelves for representatives, as far as they were asked for."""
        return {}

    def _whole(self, orbit: int) -> Word:
        """Return the word of an orbit's representative with its setup, in normal form."""
        setup, inner = self._parts(orbit)
        return normal(self.puzzle, (*setup, *inner, *self.puzzle.inverse(setup)))

    def _parts(self, orbit: int) -> tuple[Word, Word]:
        """Return the setup of an orbit's representative and the word of the shelves after it."""
        if orbit not in self._words:
            self._words[orbit] = self._walk(orbit)
        return self._words[orbit]

    def _walk(self, orbit: int) -> tuple[Word, Word]:
        enc, table, turns = self.scope.arrays, self._table, self.scope.turns
        there = np.array(frames.triple(self.scope, int(self.shelves.first[orbit])))
        setup: list[int] = []
        while True:
            number = int(frames.numbers(self.scope, there))
            at = int(table.orbit[number])
            image = enc.symmetry[int(table.symmetry[number])]
            turn = int(self._steps[0][at])
            if turn < 0:
                break
            # What a turn does for the representative its image does for the triple.
            turn = int(image[turn])
            setup.append(turn)
            there = enc.moves[turn][there]
        shelf = self.shelves.shortest
        inner = shelf.words[at, 0, : shelf.length[at, 0]].astype(np.int64)
        if table.turned[number]:
            inner = enc.inverse[inner[::-1]]
        return tuple(int(turns[t]) for t in setup), tuple(turns[image[inner]].tolist())


def tools_for(
    puzzle: Puzzle,
    kind: PieceType,
    kept: Iterable[int] | None = None,
    layers: Iterable[int] | None = None,
    search: Search = search_in_memory,
    goal: Goal | None = None,
) -> Tools:
    """Return the three-cycles of a type while some types are kept, None for all.

    ``layers`` and ``kept`` are numbers, ``kept`` with the type itself. ``search`` fetches shelves
    for a goal, by default ``Filled``. Raises RequestError where the type's pieces never leave their
    slots, or not with these layers.
    """
    turning = None if layers is None else tuple(sorted(layers))
    keeping = None if kept is None else tuple(sorted(kept))
    wanted = wanted_with_images(puzzle, kind.number, turning, keeping)
    own = scope(puzzle, turning, keeping, wanted)
    return Tools(kind, own, search(own, goal or Filled(None, None, None)))
