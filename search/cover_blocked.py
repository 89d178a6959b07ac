"""What a favourite reaches where turns can be blocked: every sequence is tried where it stands.

All setups that are possible from the solved puzzle are walked through, one for each state that they
lead to; before each of them stands nothing, after it every start of the favourite and of its
undoing, then the setup undone. Only what can be done turn by turn counts. Symmetries keep what is
blocked, so that the images need not be tried; undoing does not keep it.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from puzzles.puzzle import Table, Word
from puzzles.words import normal
from search.cases import Cases
from search.cover import COMPARED, NEVER, Cover, Way
from search.favourite import Favourite
from search.frames import Numbers
from search.starts import Start, starts
from search.waymarks import Turned, Turner

#: The most states from which a favourite is tried.
MOST_STATES = 20_000


def blocked_cover(
    favourite: Favourite,
    setup: int,
    stop: Callable[[], bool] = lambda: False,
    cases: Cases | None = None,
) -> Cover:
    """Return what a favourite reaches; ``stop()`` ends it early, with what was found.

    ``cases`` are those of another cover of the same kind, whose classes are to be numbered alike.
    """
    puzzle = favourite.puzzle
    if cases is None:
        cases = Cases(favourite.scope, favourite.types, undoing=False)
    every = tuple(starts(puzzle, favourite.word))
    tries = []
    for number, one in enumerate(every):
        for undone in (False, True):
            word = puzzle.inverse(one.word) if undone else one.word
            rows = cases.of_effect(puzzle.effect(word))
            tries.append((number, Turned(0, undone), normal(puzzle, word), rows))
    turner = Turner.of(favourite.scope)
    levels: dict[int, int] = {}
    ways: dict[int, list[tuple[Numbers, Way]]] = {}
    states: dict[bytes, None] = {}
    start: Table = np.arange(puzzle.placement_count, dtype=np.int32)
    row: list[tuple[Word, Table]] = [((), start)]
    states[start.tobytes()] = None
    tried = -1
    for level in range(setup + 1):
        for before, _ in row:
            undo = puzzle.inverse(before)
            for number, turned, inner, rows in tries:
                word = normal(puzzle, before + inner + undo)
                if puzzle.first_blocked(before + inner + undo) or puzzle.first_blocked(word):
                    continue
                there = cases.carried(rows, undo)
                kind = int(cases.classes(there[None, :])[0])
                if levels.setdefault(kind, level) == level:
                    ways.setdefault(kind, []).append((there, Way(before, number, turned, word)))
            if stop():
                return _made(favourite, setup, cases, every, levels, False, tried, ways, turner)
        tried = level
        row = _further(favourite, row, states)
        if not row or len(states) > MOST_STATES:
            break
    return _made(favourite, setup, cases, every, levels, not row, tried, ways, turner)


def _order(found: tuple[Numbers, Way]) -> tuple[object, ...]:
    way = found[1]
    return (way.start > 0, len(way.word), way.turned.undone, way.start, way.word)


def _further(
    favourite: Favourite, row: list[tuple[Word, Table]], states: dict[bytes, None]
) -> list[tuple[Word, Table]]:
    """Return the states one turn beyond some, each once, with the turns that lead there."""
    puzzle, result = favourite.puzzle, []
    for before, state in row:
        for turn in favourite.scope.turns.tolist():
            if puzzle.first_blocked((turn,), state):
                continue
            after = puzzle.moves[turn][state]
            key = after.tobytes()
            if key not in states:
                states[key] = None
                result.append(((*before, turn), after))
    return result


def _made(
    favourite: Favourite,
    setup: int,
    cases: Cases,
    every: tuple[Start, ...],
    levels: dict[int, int],
    closed: bool,
    tried: int,
    ways: dict[int, list[tuple[Numbers, Way]]],
    turner: Turner,
) -> Cover:
    """Return a cover whose ways lead to the effect that stands for their class."""
    own = np.full(len(cases), NEVER, dtype=np.int64)
    own[list(levels)] = list(levels.values())
    puzzle = favourite.puzzle
    brought: dict[int, list[Way]] = {}
    for kind, found in ways.items():
        for rows, way in sorted(found, key=_order):
            mine = brought.setdefault(kind, [])
            if len(mine) == COMPARED:
                break
            keys = cases.keys(cases.images[:, rows])
            image = int(np.flatnonzero(keys == cases.keys(cases.rows_of(kind)))[0])
            mine.append(
                Way(
                    turner.turn(way.setup, image),
                    way.start,
                    turner.then(way.turned, Turned(image, False)),
                    normal(puzzle, turner.turn(way.word, image)),
                )
            )
    return Cover(favourite, setup, cases, every, own, closed, brought, tried)
