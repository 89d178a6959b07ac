"""Kernels that are there before somebody's time begins to count."""

from __future__ import annotations


def warm() -> None:
    """Load the kernels, or compile them where that was not done yet, by a small search."""
    from puzzles.compile import load
    from search.deepening import deepen
    from search.goals import goal_of
    from search.request import Bounds, request

    # Half-length 5 goes through every kernel that a search without blocked turns has.
    wanted = request(load("3x3x3"), "UFR UBL DFL", bounds=Bounds(half_length=5))
    scope = wanted.scope()
    for _ in deepen(scope, goal_of(wanted, scope)):
        pass
