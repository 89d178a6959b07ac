"""The outlines of bodies: what they fill, as far as it decides which turns are possible."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from puzzles.puzzle import Puzzle, Table
from puzzles.stopping import look
from search.fastened import bodies


def seen_twists(puzzle: Puzzle, slot: int, apart: bool) -> int:
    """Return how many twists of the piece of a slot can be told from each other."""
    kind = puzzle.types[int(puzzle.type_of[slot])]
    return kind.twists if apart else kind.seen


def shown_placements(puzzle: Puzzle, apart: bool) -> Table:
    """Return for each placement the first one that looks the same on the same piece."""
    seen = np.array([kind.twists if apart else kind.seen for kind in puzzle.types])
    shown: Table = (
        puzzle.home[puzzle.slot_of] + puzzle.twist_of % seen[puzzle.type_of[puzzle.slot_of]]
    )
    return shown.astype(np.int32)


def _telling(puzzle: Puzzle) -> frozenset[int]:
    """Return the types whose twists forbid turns."""
    if puzzle.blocked is None:
        return frozenset()
    stops = np.flatnonzero(puzzle.blocked.any(axis=0))
    return frozenset(int(puzzle.type_of[puzzle.slot_of[p]]) for p in stops)


@dataclass(frozen=True, eq=False)
class Outlines:
    """The outlines of bodies: what they fill, by number, and where turns carry that.

    ``outlines[b][place]`` for every place of body b, ``steps`` (outlines, turns), -1 where blocked.
    ``reps[b]`` is the slot at home of the piece that tells, with the outline, where the body is;
    None where the outline alone does.
    """

    outlines: tuple[tuple[int, ...], ...]
    steps: NDArray[np.int32]
    reps: tuple[int | None, ...]


def outlines_of(puzzle: Puzzle, apart: bool) -> Outlines:
    """Return the outlines of bodies.

    An outline is the slots that are filled, with the twists of those that forbid turns. A body is
    told by a piece of a type of which it has no other; where none tells, the slot of one that tells
    belongs to the outline; and where not even such a one is there, each place is an outline.
    """
    found = bodies(puzzle, tuple(range(len(puzzle.turns))))
    shown, telling = shown_placements(puzzle, apart), _telling(puzzle)
    numbers: dict[tuple[object, ...], int] = {}
    rows: list[list[int]] = []
    outlines, reps = [], []
    for b, (members, places) in enumerate(zip(found.members, found.places, strict=True)):
        types = [int(puzzle.type_of[slot]) for slot in members]
        filled: list[tuple[object, ...]] = []
        for place in places.tolist():
            look()
            kinds = zip(place, types, strict=True)
            filled.append(
                tuple(sorted((int(puzzle.slot_of[p]), p if k in telling else -1) for p, k in kinds))
            )
        rep, keys = _told(shown[places], puzzle.slot_of[places], filled, types)
        if keys is None:
            keys = [(b, place) for place in range(len(places))]
        own = []
        for key in keys:
            if key not in numbers:
                numbers[key] = len(numbers)
                rows.append([])
            own.append(numbers[key])
        for place, number in enumerate(own):
            rows[number] = [own[q] if q >= 0 else -1 for q in found.forth[b, place].tolist()]
        outlines.append(tuple(own))
        reps.append(None if rep is None else members[rep])
    table = np.array(rows, dtype=np.int32).reshape(len(rows), len(puzzle.turns))
    return Outlines(tuple(outlines), table, tuple(reps))


def _told(
    shown: Table, slots: Table, filled: list[tuple[object, ...]], types: list[int]
) -> tuple[int | None, list[tuple[object, ...]] | None]:
    """Return which member tells a body's place, and what the outline of every place is then.

    None and None where no member does.
    """
    for alone in (True, False):
        for k, kind in enumerate(types):
            if alone and types.count(kind) > 1:
                continue
            keys = filled
            if not alone:
                keys = [(own, int(slot)) for own, slot in zip(filled, slots[:, k], strict=True)]
            if len({*zip(keys, shown[:, k].tolist(), strict=True)}) == len(keys):
                return k, keys
    return None, None
