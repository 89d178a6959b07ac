"""What a favourite does not reach: how much setup it would take, or why it is never reached."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from puzzles.effects import Cycle, effect_of_cycles
from puzzles.errors import LimitError
from puzzles.layer_group import layer_group
from puzzles.puzzle import Puzzle
from search.atlas_entries import cycles_of
from search.cases import Cases
from search.cover import NEVER, Cover
from search.favourite import Favourite, Shape, shape_of
from search.frames import Numbers
from search.impossible import reason

#: Cases of one shape that are looked at one by one; beyond it they are only counted.
MOST_LISTED = 200_000

#: Why a case is out of reach.
SETUP, IMPOSSIBLE, OTHER, OPEN = "setup", "impossible", "never", "not found"


@dataclass(frozen=True)
class Rest:
    """Cases that are out of reach for one reason.

    ``kind``: SETUP (they need ``turns`` of setup), IMPOSSIBLE (no sequence does them, ``reason``
    says why), OTHER (possible, but no setup of this favourite ever comes there), OPEN (not found,
    and nothing is proven). ``cycles``: the cases, or none where there are too many to be listed.
    """

    kind: str
    count: int
    turns: int | None
    reason: str
    example: tuple[Cycle, ...]
    cycles: tuple[tuple[Cycle, ...], ...]


def total(puzzle: Puzzle, shapes: Iterable[Shape]) -> int:
    """Return how many effects have one of some shapes, all pieces told apart.

    Of a type with n pieces and t twists, with cycles of lengths l, k of a kind alike:
    n! / (n - sum of l)! divided by the product of all l and of all k!, times t^(l - 1) each.
    """
    return sum(_count(puzzle, shape) for shape in set(shapes))


def _count(puzzle: Puzzle, shape: Shape) -> int:
    result = 1
    for number in {kind for kind, _, _ in shape}:
        own = [(length, twist) for kind, length, twist in shape if kind == number]
        n, t = puzzle.types[number].count, puzzle.types[number].twists
        result *= math.perm(n, sum(length for length, _ in own))
        result //= math.prod(length for length, _ in own)
        result //= math.prod(math.factorial(own.count(one)) for one in set(own))
        result *= math.prod(t ** (length - 1) for length, _ in own)
    return result


def shapes_of(own: Cover) -> set[Shape]:
    """Return the shapes among what a favourite reaches: its own, and those of mirrors and undoing.

    They differ only in how much the cycles twist.
    """
    puzzle, found = own.favourite.puzzle, {own.favourite.shape}
    for number in range(len(own.cases)):
        found |= {shape_of(puzzle, own.cases.cycles(r)) for _, r, _ in own.cases.members(number)}
    return found


def every(puzzle: Puzzle, shape: Shape) -> Iterator[tuple[Cycle, ...]]:
    """Yield every effect of a shape as cycles, each once."""
    if len(shape) == 1 and shape[0][1:] == (3, 0):
        for a, b, c in cycles_of(puzzle, puzzle.types[shape[0][0]]).tolist():
            yield ((a, b, c),)
        return
    for found in _chosen(puzzle, shape, frozenset(), -1):
        yield tuple(sorted(found, key=lambda cycle: int(puzzle.slot_of[cycle[0]])))


def _chosen(
    puzzle: Puzzle, shape: Shape, used: frozenset[int], after: int
) -> Iterator[tuple[Cycle, ...]]:
    """Yield all ways to choose cycles of a shape in slots that are not used yet.

    Of cycles alike each begins at a later slot than the one before, ``after``.
    """
    if not shape:
        yield ()
        return
    (number, length, twist), rest = shape[0], shape[1:]
    kind = puzzle.types[number]
    for first in kind.slots:
        if first in used or first <= after:
            continue
        others = [slot for slot in kind.slots if slot > first and slot not in used]
        for slots in itertools.permutations(others, length - 1):
            for twists in itertools.product(range(kind.twists), repeat=length - 1):
                start = int(puzzle.home[first])
                once = [
                    start,
                    *(int(puzzle.home[s]) + x for s, x in zip(slots, twists, strict=True)),
                ]
                cycle = _around(puzzle, once, twist, kind.twists)
                mine = used | {first, *slots}
                again = first if rest and rest[0] == shape[0] else -1
                for more in _chosen(puzzle, rest, mine, again):
                    yield (cycle, *more)


def _around(puzzle: Puzzle, once: list[int], twist: int, twists: int) -> Cycle:
    """Return a cycle of placements that comes back twisted, as often round as it takes."""
    result: list[int] = []
    rounds = twists // math.gcd(twist, twists) if twist else 1
    for k in range(rounds):
        for p in once:
            home = int(puzzle.home[puzzle.slot_of[p]])
            result.append(home + (p - home + k * twist) % twists)
    return tuple(result)


def rest(own: Cover) -> tuple[Rest, ...]:
    """Return what is out of reach, by reason: the least setup first, then what never is reached."""
    puzzle = own.favourite.puzzle
    shapes = shapes_of(own)
    count = total(puzzle, shapes)
    missing = count - own.reached
    if not missing:
        return ()
    if count > MOST_LISTED:
        return tuple(_counted(own, missing))
    by_reason: dict[tuple[str, int | None, str], list[tuple[Cycle, ...]]] = {}
    cases = own.cases
    listed = [cycles for shape in sorted(shapes) for cycles in every(puzzle, shape)]
    if own.favourite.three_cycle:
        rows = cases.of_triples(np.array([cycle for (cycle,) in listed]))
    else:
        rows = np.array([rows_of(cases, cycles) for cycles in listed])
    levels = own.level(rows)
    left = np.flatnonzero((levels == NEVER) | (levels > own.setup))
    reasons: dict[int, tuple[str, str]] = {}
    try:
        classes = cases.classes(rows[left])
        reasons = _reasons(own, np.unique(classes[levels[left] == NEVER]))
    except LimitError:
        # There is too much to walk through for a reason.
        classes = cases.known(rows[left])
    for at, number in zip(left.tolist(), classes.tolist(), strict=True):
        level = int(levels[at])
        kind, text = (SETUP, "") if level != NEVER else reasons.get(number, (OPEN, ""))
        key = kind, level if level != NEVER else None, text
        by_reason.setdefault(key, []).append(listed[at])
    order = [SETUP, IMPOSSIBLE, OTHER, OPEN]
    keys = sorted(by_reason, key=lambda k: (order.index(k[0]), k[1] or 0, k[2]))
    return tuple(
        Rest(kind, len(found), turns, text, found[0], tuple(found))
        for kind, turns, text in keys
        for found in [by_reason[kind, turns, text]]
    )


def rows_of(cases: Cases, cycles: tuple[Cycle, ...]) -> Numbers:
    """Return the rows of cycles of the puzzle's placements."""
    table = effect_of_cycles(cases.scope.puzzle, cycles).table
    return cases.of_effect(np.array(table, dtype=np.int32))


def _counted(own: Cover, missing: int) -> Iterator[Rest]:
    """Yield what is out of reach where there is too much to be looked at one by one."""
    for turns, number in enumerate(own.counts):
        if turns > own.setup and number:
            missing -= number
            example = next(
                own.cases.cycles(rows)
                for k in np.flatnonzero(own.levels == turns).tolist()
                for _, rows, _ in own.cases.members(k)
            )
            yield Rest(SETUP, number, turns, "", example, ())
    if missing:
        text = "there are too many to look at one by one"
        yield Rest(OPEN, missing, None, text, (), ())


def _reasons(own: Cover, classes: Numbers) -> dict[int, tuple[str, str]]:
    """Return for classes that are never reached why not, looked at once for all that turns join."""
    cases, favourite = own.cases, own.favourite
    closed = bool(own.closed)
    result: dict[int, tuple[str, str]] = {}
    for number in classes.tolist():
        if number in result:
            continue
        joined, row = {number}, [number]
        while row:
            after = np.unique(cases.after(np.array(row))).tolist()
            row = [k for k in after if k not in joined]
            joined.update(row)
        text = _impossible(favourite, cases.cycles(next(_own_rows(cases, number))))
        found = (IMPOSSIBLE, text) if text else (OTHER, "") if closed else (OPEN, "")
        result.update(dict.fromkeys(joined, found))
    return result


def _own_rows(cases: Cases, number: int) -> Iterator[Numbers]:
    return (rows for _, rows, _ in cases.members(number))


def _impossible(favourite: Favourite, cycles: tuple[Cycle, ...]) -> str:
    """Return why no sequence does an effect, empty if one does."""
    puzzle, layers, kept = favourite.puzzle, favourite.layers, favourite.kept
    free = [] if kept is None else [t.number for t in puzzle.types if t.number not in kept]
    if len(cycles) == 1:
        return reason(puzzle, cycles[0], layers, alike=False, free=free) or ""
    group = layer_group(puzzle, layers, kept)
    effect = np.array(effect_of_cycles(puzzle, cycles).table, dtype=np.int32)
    return "" if group.contains(effect)[0] else "no sequence of these turns does it"
