"""Beside the search in the fixed frame: words of the search that knows of no blocked turns.

That search (``search.deepening``) goes much farther, since it meets rings up to symmetry and looks
for all three-cycles at once. Of its words those are kept whose turns are all possible from solved.
On the tables as they are these may be few; so it is given the puzzle with only the turns that, from
solved, block nothing (``View.calm``): where none of these ever blocks another, all words will do.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from puzzles.blocking import without
from puzzles.errors import LimitError, RequestError
from puzzles.puzzle import Puzzle, Word
from puzzles.words import normal
from search import checking
from search.candidates import MOST_WORDS, words_for
from search.coverage import LongStep, covered
from search.encoding import Scope
from search.fastened import possible
from search.fixed import FixedGoal, Sequences
from search.fixed_problem import Problem, Triple
from search.goals import Goal, goal_for
from search.impossible import ImpossibleError, check, wanted_effect
from search.request import Request
from search.shelves import Shelves

#: The share of the time that the search in the fixed frame has for itself at first, and how many
#: seconds that is where no time is given.
FIRST_SHARE = 0.25
FIRST_SECONDS = 5.0
#: The share of what is then left for the other search, where some of its words cannot be done.
SIEVED_SHARE = 0.5
#: How many times as many words are looked at, where some of them cannot be done.
SIEVED_WORDS = 10


@dataclass(frozen=True, eq=False)
class View:
    """A request on the puzzle without blocks and with only some of its turns.

    ``turns[t]`` is the blocked puzzle's number of the view's turn t, ``of`` how many turns may be
    done there. ``triples`` are the cycles to be looked for, with their numbers among the wanted
    states. ``calm``: only turns that, from solved, block nothing; else all.
    """

    request: Request
    scope: Scope
    turns: tuple[int, ...]
    of: int
    triples: tuple[tuple[int, Triple], ...]
    calm: bool

    def goal(self, seconds: float | None) -> Goal:
        """Return how far to search: as the bounds say, as far as tables fit, for some seconds."""
        triples = [triple for _, triple in self.triples]
        goal = goal_for(triples, self.request.bounds, self.scope)
        fits = goal.half_length
        if fits is not None:
            from search import rings

            while fits > 1 and rings.memory(self.scope, fits) > rings.MOST_BYTES:
                fits -= 1
        return replace(goal, half_length=fits, seconds=seconds)

    def words(self, own: Problem, shelves: Shelves) -> dict[Word, int]:
        """Return words that can be done, as the blocked puzzle's turns, and what each is for.

        That is the number of a wanted state. Raises RuntimeError where shelves are broken.
        """
        bounds, result = self.request.bounds, dict[Word, int]()
        most = MOST_WORDS if self.calm else SIEVED_WORDS * MOST_WORDS
        for number, triple in self.triples:
            every = words_for(self.scope, shelves, triple, bounds.setup, most)
            checking.check(self.scope, [triple] * len(every), every)
            for found in every:
                word = normal(own.puzzle, [self.turns[t] for t in found])
                if bounds.turns is not None and len(word) > bounds.turns:
                    continue
                if own.fulfils(number, word):
                    result.setdefault(word, number)
        return result

    def gathered(self, own: Problem, shelves: Shelves) -> Gathered:
        """Return what shelves give, with how far they go."""
        met = Met(self.calm, len(self.turns), self.of, shelves.half_length, shelves.steps)
        return Gathered(self.words(own, shelves), met)


@dataclass(frozen=True)
class Met:
    """What the other search has met: rings up to a half-length, and those of some long steps.

    ``turns`` of so many (``of``) took part, if ``calm`` those that block nothing.
    """

    calm: bool
    turns: int
    of: int
    half_length: int
    steps: tuple[LongStep, ...]

    def said(self, further: bool, apart: str) -> str:
        """Return what was covered, and whether answers come from it, to go after a semicolon."""
        which = f"with only the turns that block nothing ({self.turns} of {self.of})"
        if not self.calm:
            which = "that knows of no blocked turns, its words kept where they can be done"
        far = covered(self.half_length, self.steps, apart)
        found = "further sequences come from" if further else "nothing further came from"
        return f"{found} the search {which}, which met {far}"


@dataclass(frozen=True, eq=False)
class Gathered:
    """What the other search gave: words that can be done, what they are for, what it met."""

    words: dict[Word, int]
    met: Met


@lru_cache(maxsize=16)
def _turning(puzzle: Puzzle, turns: tuple[int, ...], calm: bool) -> tuple[Puzzle, tuple[int, ...]]:
    """Return the puzzle without blocks and with the turns that serve, and their numbers."""
    kept = blocking_nothing(puzzle, turns) if calm else turns
    mask: NDArray[np.bool_] = np.zeros(len(puzzle.turns), dtype=np.bool_)
    mask[list(kept)] = True
    return without(replace(puzzle, bonds=(), blocked=None), mask), kept


def blocking_nothing(puzzle: Puzzle, turns: Sequence[int]) -> tuple[int, ...]:
    """Return which turns are possible from solved and leave all of other layers that are possible.

    Of a layer so many as two of them make no other one: all multiples of some amount. Two that
    block nothing may still together block a third one.
    """
    first = [t for t in turns if possible(puzzle, (t,))]
    layer = puzzle.turn_layer
    calm = {
        t for t in first if all(layer[u] == layer[t] or possible(puzzle, (t, u)) for u in first)
    }
    kept: list[int] = []
    for number, own in enumerate(puzzle.layers):
        at = {puzzle.turns[t].amount: t for t in calm if layer[t] == number}
        for step in range(1, own.steps):
            multiples = range(step, own.steps, step)
            if own.steps % step == 0 and at.keys() >= {*multiples}:
                kept += [at[amount] for amount in multiples]
                break
    return tuple(sorted(kept))


def view_of(request: Request, own: Problem) -> View | None:
    """Return the view that serves a request, None where none does.

    A cycle whose pieces are fastened to others is none of three pieces alone, and cannot be looked
    for. The turns that block nothing serve where they are enough for the cycle, else all turns.
    """
    homes = own.puzzle.home
    triples = tuple(
        (number, one.triple)
        for number, one in enumerate(own.wanted)
        if np.array_equal(one.effect[homes], wanted_effect(own.puzzle, one.triple)[homes])
    )
    if not triples:
        return None
    for calm in (True, False):
        puzzle, turns = _turning(own.puzzle, own.turns, calm)
        view = _viewed(request, own, puzzle, turns, triples, calm) if turns else None
        if view is not None:
            return view
    return None


def _viewed(
    request: Request,
    own: Problem,
    puzzle: Puzzle,
    turns: tuple[int, ...],
    triples: Sequence[tuple[int, Triple]],
    calm: bool,
) -> View | None:
    """Return the request with some turns, None where the cycle is then impossible."""
    kept = request.kept
    if kept is not None:
        # What is fastened is kept also where its type is free, and scopes keep whole types.
        kept = tuple(sorted({*kept, *(int(puzzle.type_of[s]) for s in own.kept)}))
    layers = tuple(sorted({int(own.puzzle.turn_layer[t]) for t in turns}))
    asked = replace(request, puzzle=puzzle, layers=layers, kept=kept)
    try:
        scope = asked.scope()
        check(puzzle, asked.cycle, layers, asked.alike, asked.any_twist, asked.free())
    except (RequestError, LimitError, ImpossibleError):
        return None
    return View(asked, scope, turns, len(own.turns), tuple(triples), calm)


class Beside:
    """The other search, done once, when the search in the fixed frame has had its share of time.

    Where that has come to its goal with an answer before, the other one is not asked: so an answer
    within bounds does not depend on how fast a machine is. ``search`` does the other one.
    """

    def __init__(
        self,
        request: Request,
        own: Problem,
        goal: FixedGoal,
        search: Callable[[View, Goal], Shelves],
    ) -> None:
        self.view: View | None = None
        self.shelves: Shelves | None = None
        self._request, self._own, self._goal, self._search = request, own, goal, search
        self._began: float | None = None
        self._done = False

    def enough(self, found: Sequences) -> bool:
        """Return whether the search in the fixed frame has come to its goal with an answer."""
        return self._goal.reached(found) and found.best is not None

    def after(self, found: Sequences, seconds: float) -> None:
        """Do the other search if the one in the fixed frame has gone on for its share."""
        if self._began is None:
            # When the clock of the other search began, after what had to be compiled.
            self._began = time.monotonic() - seconds
        limit = self._goal.seconds
        first = FIRST_SECONDS if limit is None else limit * FIRST_SHARE
        if seconds >= first and not self.enough(found):
            self.now(None if limit is None else limit - seconds)

    def finish(self, found: Sequences) -> None:
        """Do the other search if it is still to be done and the first one has no answer."""
        limit = self._goal.seconds
        began = time.monotonic() if self._began is None else self._began
        left = None if limit is None else limit - (time.monotonic() - began)
        if not self.enough(found) and (left is None or left > 0):
            self.now(left)

    def now(self, seconds: float | None) -> None:
        """Do the other search, once, for some of the seconds that are left."""
        if self._done:
            return
        self._done = True
        began = time.monotonic()
        self.view = view_of(self._request, self._own)
        if self.view is None:
            return
        if seconds is not None:
            seconds = max(seconds - (time.monotonic() - began), 0.1)
            seconds *= 1.0 if self.view.calm else SIEVED_SHARE
        try:
            self.shelves = self._search(self.view, self.view.goal(seconds))
        except LimitError:
            self.view = None

    def gathered(self, found: Sequences) -> Gathered | None:
        """Return what the other search gave, None where it was not done or is of no use."""
        if self.view is None or self.shelves is None or self.enough(found):
            return None
        return self.view.gathered(self._own, self.shelves)
