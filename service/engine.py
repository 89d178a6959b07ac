"""From a request to what is known about it: impossible, stored, or searched and then stored."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from puzzles.errors import LimitError
from puzzles.puzzle import Puzzle
from search.answers import Found, found
from search.encoding import Scope, useful_layers
from search.goals import Goal, goal_of
from search.impossible import check
from search.ranking import MOST_FAMILIES, Weights
from search.request import Bounds, Request
from search.shelves import Shelves
from service import stored
from service.endings import PERSON, TIME
from service.settings import COMPILING_SECONDS
from service.stores import Levels, NoLevels

if TYPE_CHECKING:
    from search.deepening import Progress
    from search.effect_search import EffectProgress
    from search.fixed import FixedProgress
    from service.blocked import FixedOutcome


class NoFormError(Exception):
    """A request that no commutator form fulfils; the text says in one sentence why."""


@dataclass(frozen=True, eq=False)
class Outcome:
    """How a search ended: its shelves, and what ended it early.

    ``stopped_by`` is PERSON or TIME, ``note`` says in words what else did.
    """

    shelves: Shelves
    stopped_by: str | None = None
    note: str = ""


@dataclass(frozen=True, eq=False)
class FindResult:
    """The answers to a request, and how the search for them ended."""

    found: Found
    outcome: Outcome | FixedOutcome


def _quiet(progress: Progress, goal: Goal) -> None:
    pass


@dataclass(frozen=True)
class Engine:
    """Answers requests from a store, or by searching with ``threads`` threads.

    ``notice`` is told what a person waits for; ``watch`` sees the progress of a search,
    ``watch_fixed`` that of one in the fixed frame, ``watch_effect`` that of one for an effect; when
    ``stop()`` is true, a search ends within moments and keeps what it has found.
    """

    levels: Levels = field(default_factory=NoLevels)
    threads: int = 1
    notice: Callable[[str], None] = lambda text: None
    watch: Callable[[Progress, Goal], None] = _quiet
    stop: Callable[[], bool] = lambda: False
    watch_fixed: Callable[[FixedProgress], None] = lambda progress: None
    watch_effect: Callable[[EffectProgress], None] = lambda progress: None

    @property
    def version(self) -> str:
        """What names the sources of the search in the store."""
        return stored.version()

    def find(
        self,
        request: Request,
        weights: Weights | None = None,
        most: int = MOST_FAMILIES,
        left_handed: bool = False,
    ) -> FindResult:
        """Return the ranked answers to a request.

        Raises ImpossibleError, NoFormError, and LimitError for bounds that need too much.
        """
        puzzle, free = request.puzzle, request.free()
        if puzzle.can_block:
            from service import blocked

            forbid_commuting(puzzle, request.layers)
            return blocked.find(self, request, weights, most, left_handed)
        check(puzzle, request.cycle, request.layers, request.alike, request.any_twist, free)
        forbid_commuting(puzzle, request.layers)
        scope = request.scope()
        outcome = self.search(scope, goal_of(request, scope), request.bounds)
        answers = found(request, scope, outcome.shelves, weights, most, left_handed)
        return FindResult(with_note(answers, outcome.note), outcome)

    def search(self, scope: Scope, goal: Goal, bounds: Bounds | None = None) -> Outcome:
        """Return shelves that reach a goal, from the store if it has them, else by searching.

        The result does not depend on what else is stored: deeper shelves than a goal needs are not
        looked at, nor those that its search would not have come by. Raises LimitError where the
        goal names a half-length that needs too much memory;
        ``bounds`` are what somebody gave for it.
        """
        start = stored.deepest(self.levels, scope, goal)
        if start is not None and goal.reached(scope, start):
            return Outcome(start)
        self.tell_compiling()
        goal, note = stored.within_memory(scope, goal, bounds)
        if not note:
            return self._deepened(scope, goal, start)
        start = stored.deepest(self.levels, scope, goal)
        if start is not None and goal.reached(scope, start):
            return Outcome(start)
        outcome = self._deepened(scope, goal, start)
        return replace(outcome, note=outcome.note or (note if outcome.stopped_by == TIME else ""))

    def tell_compiling(self) -> None:
        """Tell a person who has to wait for kernels to be compiled."""
        from search.kernels import jit

        jit.when_damaged(self.notice)
        if not jit.warm():
            never = jit.why_not_kept()
            once = f"they cannot be kept, since {never}" if never else "once on this machine"
            self.notice(f"Compiling the search kernels, about {COMPILING_SECONDS} s; {once}")

    def _deepened(self, scope: Scope, goal: Goal, start: Shelves | None) -> Outcome:
        from search import atlas
        from search.deepening import deepen

        bound = goal.half_length
        shelves = start if start is not None else atlas.empty(scope)
        note = ""
        try:
            for progress in deepen(scope, goal, start, self.threads, self.stop):
                deeper = progress.shelves.number > shelves.number
                shelves = progress.shelves
                if deeper:
                    key = stored.levels_key(scope)
                    self.levels.put(key, shelves.number, shelves.to_bytes())
                self.watch(progress, goal)
        except LimitError as error:
            if bound is not None:
                raise
            note = str(error)
        if self.stop():
            return Outcome(shelves, PERSON, note)
        if note or goal.reached(scope, shelves):
            return Outcome(shelves, None, note)
        why = stored.why_over(scope, goal, shelves)
        return Outcome(shelves, TIME) if why is None else Outcome(shelves, None, why)


def forbid_commuting(puzzle: Puzzle, layers: Iterable[int] | None) -> None:
    """Raise NoFormError if all layers that may turn commute: every commutator then does nothing."""
    every = tuple(range(len(puzzle.layers)) if layers is None else layers)
    if not useful_layers(puzzle, every):
        names = " ".join(puzzle.layers[k].name for k in every)
        raise NoFormError(
            f"The layers that may turn ({names}) all commute with each other, so a commutator of "
            "them does nothing."
        )


def with_note(answers: Found, note: str) -> Found:
    """Return answers that say more about how a search ended."""
    if not note:
        return answers
    says = replace(answers.searched, text=f"{answers.searched.text}; {note}")
    return replace(answers, searched=says)
