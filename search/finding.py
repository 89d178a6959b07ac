"""The search as a library: one call from names to ranked answers, all in memory."""

from __future__ import annotations

from collections.abc import Sequence

from puzzles.errors import LimitError
from puzzles.puzzle import Puzzle
from search.answers import Found, found
from search.blocked_finding import blocked_found, choose, forbid_unreached, problem_of
from search.deepening import deepen
from search.goals import Goal, goal_of
from search.impossible import check
from search.ranking import Weights
from search.request import Bounds, Request, request
from search.shelves import Shelves


def find(
    puzzle: Puzzle,
    cycle: str | Sequence[str],
    *,
    layers: str | Sequence[str] | None = None,
    keep: str | Sequence[str] | None = None,
    free: str | Sequence[str] | None = None,
    alike: bool = True,
    any_twist: bool = False,
    turns: int | None = None,
    half_length: int | None = None,
    setup: int | None = None,
    seconds: float | None = None,
    weights: Weights | None = None,
    most: int = 10,
    threads: int = 1,
) -> Found:
    """Return the ranked sequences that cycle three pieces and leave all else that is kept alone.

    ``cycle`` names three stickers, such as ``"UFR UBL DFL"``: the first goes to the second, that to
    the third, that to the first. Raises RequestError for a request that is not right, LimitError
    for one that is too large, ImpossibleError for a cycle that no sequence does.
    """
    bounds = Bounds(turns, half_length, setup, seconds)
    wanted = request(
        puzzle,
        cycle,
        layers=layers,
        keep=keep,
        free=free,
        alike=alike,
        any_twist=any_twist,
        bounds=bounds,
    )
    if puzzle.can_block:
        return _found_blocked(wanted, weights, most, threads)
    check(wanted.puzzle, wanted.cycle, wanted.layers, wanted.alike, any_twist, wanted.free())
    scope = wanted.scope()
    shelves = None
    for progress in deepen(scope, goal_of(wanted, scope), threads=threads):
        shelves = progress.shelves
    assert shelves is not None
    return found(wanted, scope, shelves, weights, most)


def _found_blocked(wanted: Request, weights: Weights | None, most: int, threads: int) -> Found:
    from search import fixed
    from search.both_ends import from_both_ends
    from search.unblocked import Beside, View

    own = problem_of(wanted)
    ends = from_both_ends(own)
    forbid_unreached(ends)
    sequences = fixed.nothing(own)
    goal = fixed.goal_of(wanted.bounds, none_up_to=ends.none_up_to)

    def unblocked(view: View, until: Goal) -> Shelves:
        *_, last = deepen(view.scope, until, threads=threads)
        return last.shelves

    beside = Beside(wanted, own, goal, unblocked)
    try:
        for progress in fixed.deepen(own, goal):
            sequences = progress.found
            beside.after(sequences, progress.seconds)
    except LimitError:
        # What was found before a level that is too large is an answer, too.
        if goal.level is not None or not sequences.level:
            raise
    beside.finish(sequences)
    chosen = choose(wanted, own, sequences, beside.gathered(sequences))
    return blocked_found(wanted, own, chosen, ends, weights, most)
