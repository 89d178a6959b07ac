"""Solving with what somebody has learned: their sequences, mirrored, undone, after setups.

A learned sequence is of use whatever it does: what it disturbs is put right later, or by the next.
Types come in stages, so that those of earlier ones stay; within a stage a beam search puts learned
sequences one after the other (``solving_learned_search``), with single turns between them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from puzzles.puzzle import Puzzle
from search.solving_learned_lines import Learned as Learned
from search.solving_learned_lines import learned_in as learned_in
from search.solving_learned_lines import learned_of as learned_of
from search.solving_learned_lines import read_learned as read_learned
from search.solving_learned_shelves import only as only
from search.solving_learned_solver import FREE_TURNS as FREE_TURNS
from search.solving_learned_solver import LearnedSolver
from search.solving_orders import Order

if TYPE_CHECKING:
    from search.solving_learned_blocked import LearnedBlockedSolver


def solver_with(
    puzzle: Puzzle,
    learned: Sequence[Learned],
    apart: bool = False,
    stop: Callable[[], bool] = lambda: False,
) -> LearnedSolver | LearnedBlockedSolver:
    """Return a solver that knows some sequences and short free play, and nothing else.

    ``apart``: pieces that look alike are told apart. ``stop()`` ends it early. Raises LimitError
    where turns can be blocked in too many ways.
    """
    if puzzle.can_block:
        from search.solving_learned_blocked import LearnedBlockedSolver

        return LearnedBlockedSolver(puzzle, learned, apart, stop)
    return LearnedSolver(puzzle, learned, apart, stop)


def order_for(puzzle: Puzzle, learned: Sequence[Learned], apart: bool = False) -> Order:
    """Return the order of types in which sequences disturb none that comes before, if there is one.

    Types that no sequence moves come first, where free play puts right what it can; types that
    sequences move only together are one stage.
    """
    return LearnedSolver(puzzle, learned, apart).order
