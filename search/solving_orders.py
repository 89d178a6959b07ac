"""In which order types are put right: those whose three-cycles are dear while all else stays first.

Early on little has to stay, and three-cycles are short; on the ball of 170 pieces those of the tips
have 25 turns while all types stay, 10 while no other does. Types with short ones come last and
together, where free play may put right pieces of any of them.
"""

from __future__ import annotations

import numpy as np

from puzzles.errors import RequestError
from puzzles.puzzle import PieceType, Puzzle
from search.atlas_entries import cycles_of
from search.tools import UNKNOWN, Filled, Search, tools_for

#: Types by number, stage by stage.
Order = tuple[tuple[int, ...], ...]

#: Three-cycles of more turns than this on average are dear.
DEAR = 12.0
#: Conjugates that a step of a search may look at only to find out what is dear.
MOST, ENOUGH = 4_000_000.0, 100_000.0


def usual_order(puzzle: Puzzle, types: tuple[int, ...], search: Search) -> Order:
    """Return the types stage by stage: one for each dear one, the dearest first, then the others.

    Before the dear ones come types that have no three-cycles: what puts those right may move all
    else.
    """
    goal = Filled(None, None, None, enough=ENOUGH, most=MOST)
    costs = {number: _cost(puzzle, puzzle.types[number], types, search, goal) for number in types}
    without = tuple(n for n in types if costs[n] is None)
    dear = [(n, cost) for n in types if (cost := costs[n]) is not None and cost > DEAR]
    # Of two that are as dear, the one with fewer pieces: free play puts more of them right.
    dear.sort(key=lambda own: (-round(own[1]), puzzle.types[own[0]].count))
    if not dear:
        return (types,)
    first = [(number,) for number, _ in dear]
    rest = tuple(n for n in types if n not in without and (n,) not in first)
    return tuple(stage for stage in (without, *first, rest) if stage)


def _cost(
    puzzle: Puzzle, kind: PieceType, types: tuple[int, ...], search: Search, goal: Filled
) -> float | None:
    """Return the turns of a type's three-cycles on average, None where there are none to be had.

    UNKNOWN for what a short search does not find.
    """
    if kind.count < 3:
        return None
    try:
        tools = tools_for(puzzle, kind, types, search=search, goal=goal)
    except RequestError:
        return None
    cost = tools.cost(cycles_of(puzzle, kind))
    known = cost[cost < UNKNOWN]
    if len(known):
        return float(np.mean(known))
    return float(UNKNOWN) if tools.can_be_done else None
