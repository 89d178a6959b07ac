"""Rigid bodies: pieces that can hold up a turn, as small tables of where each body may be.

A turn is possible in a state exactly if no body stands in its way: pieces that are fastened
together must all be in its layer or none, and no piece may stand where ``puzzle.blocked`` forbids
it. What a body may do depends on nothing but where it is itself, so that a few numbers, one place
of each body, say all about a state that decides which turns are possible.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from puzzles.errors import LimitError
from puzzles.laws import joined
from puzzles.names import placement_name, slot_names
from puzzles.puzzle import Puzzle, Table
from puzzles.stopping import look

#: The most places of one body; a rigid one has at most as many as the puzzle has rotations of a
#: piece, a few hundred.
MOST_PLACES = 20_000


@dataclass(frozen=True, eq=False)
class Bodies:
    """Where bodies may be, and where turns carry them.

    ``members[b]`` are the slots at home of the pieces of body b, ``places[b]`` (n, members) the
    placements of these pieces in each of its places; place 0 is home. ``forth[b, place, t]`` is the
    place after turn t, -1 where the body forbids it. ``back[b, place, t]`` is the place from which
    the inverse of turn t leads here, -1 where that is not possible: it walks t, seen from the end
    of a sequence. Turns are those that were given, by their place among them.
    """

    members: tuple[tuple[int, ...], ...]
    places: tuple[Table, ...]
    forth: NDArray[np.int32]
    back: NDArray[np.int32]

    @property
    def slots(self) -> tuple[int, ...]:
        """The slots at home of all pieces that belong to a body."""
        return tuple(sorted(slot for own in self.members for slot in own))

    def found(self, homes: Table, state: Table) -> list[int]:
        """Return the place of every body in a state, -1 where none of its places fits.

        ``homes`` are the puzzle's home placements, ``state`` (placements,) an effect.
        """
        result = []
        for own, places in zip(self.members, self.places, strict=True):
            there = state[homes[list(own)]]
            fits = np.flatnonzero((places == there).all(axis=1))
            result.append(int(fits[0]) if len(fits) else -1)
        return result


@lru_cache(maxsize=32)
def bodies(puzzle: Puzzle, turns: tuple[int, ...]) -> Bodies:
    """Return the bodies of a puzzle of which only some turns may be done; raises LimitError."""
    members = _members(puzzle, turns)
    every, tables = [], []
    for own in members:
        places, table = _walked(puzzle, turns, own)
        every.append(places)
        tables.append(table)
    most = max((len(table) for table in tables), default=1)
    forth = np.full((len(members), most, len(turns)), -1, dtype=np.int32)
    back = np.full((len(members), most, len(turns)), -1, dtype=np.int32)
    for b, table in enumerate(tables):
        forth[b, : len(table)] = table
        for k, turn in enumerate(turns):
            inverse = turns.index(int(puzzle.inverses[turn]))
            start = np.flatnonzero(table[:, inverse] >= 0)
            back[b, table[start, inverse], k] = start
    return Bodies(members, tuple(every), forth, back)


def torn(puzzle: Puzzle, state: Table) -> str:
    """Say what is fastened together in a state (placements,) where no turns bring it, "" if none.

    That is about the first such body, by itself, whatever else is in its way.
    """
    own, names = bodies(puzzle, tuple(range(len(puzzle.turns)))), slot_names(puzzle)
    for members, place in zip(own.members, own.found(puzzle.home, state), strict=True):
        if place < 0 and len(members) > 1:
            there = [placement_name(puzzle, int(state[puzzle.home[slot]])) for slot in members]
            return (
                f"{joined([names[slot] for slot in members])} are fastened together, and no turns "
                f"that are possible bring them to {joined(there)}"
            )
    return ""


@lru_cache(maxsize=32)
def _lists(puzzle: Puzzle) -> list[list[list[int]]]:
    """Return where each turn carries each body, as plain lists."""
    every: list[list[list[int]]] = bodies(puzzle, tuple(range(len(puzzle.turns)))).forth.tolist()
    return every


def possible(puzzle: Puzzle, word: Iterable[int]) -> bool:
    """Return what ``puzzle.first_blocked(word) is None`` says, many times faster."""
    every = _lists(puzzle)
    places = [0] * len(every)
    for turn in word:
        for b, table in enumerate(every):
            place = table[places[b]][turn]
            if place < 0:
                return False
            places[b] = place
    return True


def _members(puzzle: Puzzle, turns: tuple[int, ...]) -> tuple[tuple[int, ...], ...]:
    """Return the slots of each body: what is fastened together, and single pieces that block."""
    members = [tuple(sorted(own)) for own in puzzle.bonds]
    bound = {slot for own in members for slot in own}
    if puzzle.blocked is not None:
        stops = np.asarray(puzzle.blocked[list(turns)].any(axis=0))
        kinds = {int(puzzle.type_of[puzzle.slot_of[p]]) for p in np.flatnonzero(stops)}
        for kind in sorted(kinds):
            for slot in puzzle.types[kind].slots:
                if slot not in bound and stops[list(_reached(puzzle, turns, slot))].any():
                    members.append((slot,))
    return tuple(members)


def _reached(puzzle: Puzzle, turns: tuple[int, ...], slot: int) -> set[int]:
    """Return all placements to which turns carry a piece when none of them is blocked."""
    home = int(puzzle.home[slot])
    found, row = {home}, [home]
    for here in row:
        for there in puzzle.moves[list(turns), here].tolist():
            if there not in found:
                found.add(there)
                row.append(there)
    return found


def _walked(
    puzzle: Puzzle, turns: tuple[int, ...], own: tuple[int, ...]
) -> tuple[Table, NDArray[np.int32]]:
    """Return the places of one body (n, members) and the place after each turn (n, turns)."""
    moves = puzzle.moves[list(turns)]
    layers = puzzle.in_layer[puzzle.turn_layer[list(turns)]]
    start = tuple(int(p) for p in puzzle.home[list(own)])
    numbers, row = {start: 0}, [start]
    table: list[list[int]] = []
    for here in row:
        look()
        at = np.array(here)
        held = layers[:, puzzle.slot_of[at]]
        possible = np.asarray(held.all(axis=1) | ~held.any(axis=1))
        if puzzle.blocked is not None:
            possible &= ~puzzle.blocked[list(turns)][:, at].any(axis=1)
        after = moves[:, at]
        line = []
        for k in range(len(turns)):
            if not possible[k]:
                line.append(-1)
                continue
            there = tuple(int(p) for p in after[k])
            if there not in numbers:
                if len(row) >= MOST_PLACES:
                    raise LimitError(
                        f"pieces that are fastened together have more than {MOST_PLACES:,} places"
                    )
                numbers[there] = len(row)
                row.append(there)
            line.append(numbers[there])
        table.append(line)
    return np.array(row, dtype=np.int32), np.array(table, dtype=np.int32)


def fitting(found: Bodies, body: int, wanted: Sequence[int | None]) -> list[int]:
    """Return the places of a body in which its pieces stand as wanted, None for anywhere."""
    places = found.places[body]
    keep = np.ones(len(places), dtype=np.bool_)
    for k, placement in enumerate(wanted):
        if placement is not None:
            keep &= places[:, k] == placement
    return [int(n) for n in np.flatnonzero(keep)]
