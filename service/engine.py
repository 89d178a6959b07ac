"""From a request to what is known about it: impossible, stored, or searched and then stored."""

from __future__ import annotations

import hashlib
import zipfile
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import search
from puzzles.errors import LimitError
from puzzles.puzzle import Puzzle
from search import claims
from search.answers import Found, found
from search.encoding import Scope, useful_layers
from search.goals import Goal, goal_of
from search.impossible import check
from search.ranking import MOST_FAMILIES, Weights
from search.request import SECONDS, Bounds, Request
from search.shelves import Shelves
from service.settings import COMPILING_SECONDS
from service.stores import Levels, NoLevels

if TYPE_CHECKING:
    from search.deepening import Progress
    from search.fixed import FixedProgress
    from service.blocked import FixedOutcome

#: The modules whose sources may decide what stands on shelves, which are not read after an edit:
#: all of the search, since a list of those that matter is soon one module short.
SOURCES = ("*.py", "kernels/*.py")
#: Who or what ends a search early.
PERSON, TIME = "person", "time"


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
    ``watch_fixed`` that of one in the fixed frame; when
    ``stop()`` is true, a search ends within moments and keeps what it has found.
    """

    levels: Levels = field(default_factory=NoLevels)
    threads: int = 1
    notice: Callable[[str], None] = lambda text: None
    watch: Callable[[Progress, Goal], None] = _quiet
    stop: Callable[[], bool] = lambda: False
    watch_fixed: Callable[[FixedProgress], None] = lambda progress: None

    @property
    def version(self) -> str:
        """What names the sources of the search in the store."""
        return _version()

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
        key = f"{scope.key}|{_version()}"
        start = self._stored(key, scope, goal)
        if start is not None and goal.reached(scope, start):
            return Outcome(start)
        self.tell_compiling()
        from search import rings

        bound = goal.half_length
        if bound is not None:
            turns = None if bounds is None or bound == bounds.half_length else bounds.turns
            if rings.memory(scope, bound) > rings.MOST_BYTES:
                return self._unbounded(key, scope, goal, turns)
        return self._deepened(key, scope, goal, start)

    def _unbounded(self, key: str, scope: Scope, goal: Goal, turns: int | None) -> Outcome:
        """Search for so many turns where the half-length for it is too large; raises LimitError.

        Where half-lengths prove turns, or one was asked for, that is an error. Elsewhere no search
        covers all words of so many turns, and what is found for a while is as good as any.
        """
        from search import rings

        limit = f"tables of more than {rings.MOST_BYTES // 10**6} MB"
        if turns is None or claims.group_size(scope) is not None:
            asked = f"half-length {goal.half_length} would need"
            if turns is not None:
                asked = f"{turns} turns would need half-length {goal.half_length}, and that"
            raise LimitError(
                f"{asked} {limit} on this puzzle; a smaller bound, fewer layers or fewer kept "
                "types would fit"
            )
        note = f"not all of {turns} turns can be searched, which would need {limit}"
        if goal.seconds is None:
            note += f"; stopped after {SECONDS:g} s"
        goal = replace(goal, half_length=None, seconds=goal.seconds or SECONDS)
        start = self._stored(key, scope, goal)
        if start is not None and goal.reached(scope, start):
            return Outcome(start)
        outcome = self._deepened(key, scope, goal, start)
        return replace(outcome, note=outcome.note or (note if outcome.stopped_by == TIME else ""))

    def _stored(self, key: str, scope: Scope, goal: Goal) -> Shelves | None:
        """Return the first stored shelves that reach a goal, else the deepest within its bound."""
        best: Shelves | None = None
        for number in reversed(self.levels.numbers(key)):
            if goal.half_length is not None and number > goal.half_length:
                continue
            shelves = _read(self.levels.get(key, number))
            if shelves is None or shelves.number != number:
                continue
            if goal.half_length is None and shelves.astray:
                continue
            if not goal.reached(scope, shelves):
                return best or shelves
            best = shelves
            if goal.half_length is not None:
                break
        return best

    def tell_compiling(self) -> None:
        """Tell a person who has to wait for kernels to be compiled."""
        from search.kernels import jit

        jit.when_damaged(self.notice)
        if not jit.warm():
            never = jit.why_not_kept()
            once = f"they cannot be kept, since {never}" if never else "once on this machine"
            self.notice(f"Compiling the search kernels, about {COMPILING_SECONDS} s; {once}")

    def _deepened(self, key: str, scope: Scope, goal: Goal, start: Shelves | None) -> Outcome:
        from search import atlas, plan, rings
        from search.deepening import deepen

        bound = goal.half_length
        shelves = start if start is not None else atlas.empty(scope)
        note = ""
        try:
            for progress in deepen(scope, goal, start, self.threads, self.stop):
                deeper = progress.shelves.number > shelves.number
                shelves = progress.shelves
                if deeper:
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
        if bound is None and plan.next_step(scope, shelves) is None:
            limit, following = rings.MOST_BYTES // 10**6, shelves.half_length + 1
            return Outcome(
                shelves, None, f"half-length {following} would need more than {limit} MB"
            )
        return Outcome(shelves, TIME)


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


def _read(data: bytes | None) -> Shelves | None:
    """Return stored shelves, None for bytes that are none."""
    if data is None:
        return None
    try:
        return Shelves.from_bytes(data)
    except (ValueError, KeyError, TypeError, OSError, EOFError, zipfile.BadZipFile):
        return None


@lru_cache(maxsize=1)
def _version() -> str:
    """Return a digest of the sources that decide what stands on shelves."""
    folder = Path(search.__file__).parent
    state = hashlib.sha256()
    for pattern in SOURCES:
        for path in sorted(folder.glob(pattern)):
            state.update(path.read_bytes())
    return state.hexdigest()[:16]
