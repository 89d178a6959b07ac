"""The smallest effects that a type's pieces can have while all others stay, found by membership.

Nothing is searched for: each candidate (one piece twisted, two swapped, …) is asked of the group.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from puzzles.acting import joined_by
from puzzles.effects import Cycle, Effect, cycles
from puzzles.laws import Law, Part, plural
from puzzles.layer_group import LayerGroup, layer_group
from puzzles.puzzle import PieceType, Puzzle, Table

#: Kinds of effect, those that move fewer pieces first.
TWIST, SWAP, TWISTS, CYCLE, SWAPS = "twist", "swap", "two twists", "three-cycle", "two swaps"
#: How many pieces an effect of a kind moves.
MOVED = {TWIST: 1, SWAP: 2, TWISTS: 2, CYCLE: 3, SWAPS: 4}
#: Kinds that change slots; the others twist pieces where they are.
MOVING, TWISTING = (SWAP, CYCLE, SWAPS), (TWIST, TWISTS)
#: Candidates of a kind that are asked of the group at once, and at most.
BATCH, MOST = 64, 6_000
#: Sequences that bring a slot back and are looked at for what they join.
LOOPS = 200
#: Candidates that are asked for where pieces that look the same may change places.
FEW = 4


@dataclass(frozen=True, eq=False)
class Least:
    """An effect of a kind on pieces of one type that leaves all others alone.

    ``table`` is an example (placements,); ``alike`` is true where it can be had only if pieces that
    look the same may change places.
    """

    type: int
    kind: str
    table: Table
    alike: bool = False

    def cycles(self, puzzle: Puzzle) -> tuple[Cycle, ...]:
        """Return the example as cycles of placements."""
        return cycles(puzzle, Effect(tuple(self.table.tolist())))


@dataclass(frozen=True, eq=False)
class LeastOf:
    """What a type's pieces can do alone.

    ``found`` are effects that the group has, those that move fewer pieces first: the smallest twist
    in place, the smallest move, and a three-cycle where that is no smaller one. ``looking`` are
    smaller ones that can be had if pieces that look the same may change places. ``refused`` gives
    for each other kind of which every effect was asked for in vain the law that forbids it, None
    where no law of parity or twist does.
    """

    type: int
    found: tuple[Least, ...]
    looking: tuple[Least, ...]
    refused: tuple[tuple[str, Law | None], ...]
    alone: int | None = None


def least_effects(puzzle: Puzzle) -> tuple[LeastOf, ...]:
    """Return the smallest effects of every type that moves, in order of types."""
    own = layer_group(puzzle)
    return tuple(_least(own, kind) for kind in puzzle.types if kind.moves)


def _least(own: LayerGroup, kind: PieceType) -> LeastOf:
    parts = [_loose(own.puzzle, part) for part in own.parts if part.type == kind.number]
    parts = [part for part in parts if part.slots]
    refused: list[tuple[str, Law | None]] = []
    found: dict[str, Least] = {}
    for kinds in (MOVING, TWISTING) if parts else ():
        for name in kinds:
            tried = candidates(own.puzzle, parts, name, own.steps)
            table, law, every = _first(own, tried)
            if table is not None:
                found[name] = Least(kind.number, name, table)
                # A swap is seldom short; what pieces are put right with is the three-cycle.
                if name != SWAP:
                    break
            elif every:
                refused.append((name, law))
    looking = [
        Least(kind.number, name, table, alike=True)
        for name, _ in refused
        if name in (SWAP, TWIST) and (table := _looking(own, parts, name)) is not None
    ]
    alone = None
    if not found and own.proven:
        others = layer_group(own.puzzle, own.layers, [t for t in own.types if t != kind.number])
        alone = own.order // others.order if others.proven else None
    return LeastOf(
        kind.number,
        tuple(sorted(found.values(), key=lambda one: MOVED[one.kind])),
        tuple(looking),
        tuple(refused),
        alone,
    )


def _loose(puzzle: Puzzle, part: Part) -> Part:
    """Return a part without the slots of fastened pieces, none of which moves alone."""
    held = {slot for group in puzzle.bonds for slot in group}
    return replace(part, slots=tuple(slot for slot in part.slots if slot not in held))


def _looking(own: LayerGroup, parts: list[Part], name: str) -> Table | None:
    """Return the first effect of a kind that can be had for the eye, None where none was found."""
    if own.order_alike in (None, own.order):
        return None
    few = itertools.islice(candidates(own.puzzle, parts, name), FEW)
    return next((row for row in few if own.contains_alike(row)), None)


def _first(own: LayerGroup, rows: Iterator[Table]) -> tuple[Table | None, Law | None, bool]:
    """Return the first of some effects that the group has, else the law they break first.

    The last says whether there were any and all were looked at. An effect that breaks a law is not
    asked of the group.
    """
    law: Law | None = None
    unbroken = any_there = False
    waiting: list[Table] = []
    for row in itertools.islice(rows, MOST):
        any_there = True
        broken = own.broken(row)
        if broken is not None:
            law = law or broken
            continue
        unbroken = True
        waiting.append(row)
        if len(waiting) in (1, BATCH):
            # The first one alone: it decides where the group has all that no law forbids.
            inside = own.contains(np.array(waiting))
            if any(inside):
                return waiting[inside.index(True)], None, True
            if len(waiting) == BATCH:
                waiting.clear()
    if waiting:
        inside = own.contains(np.array(waiting))
        if any(inside):
            return waiting[inside.index(True)], None, True
    return None, None if unbroken else law, any_there and next(rows, None) is None


def candidates(
    puzzle: Puzzle, parts: Iterable[Part], kind: str, steps_of: Table | None = None
) -> Iterator[Table]:
    """Yield effects of a kind on the pieces of some parts, some of each class under conjugation.

    Pieces of a part reach each other's slots, so its first slot stands for all of them. With the
    effects of the layers' steps, (layers, placements), a second slot stands for those to which
    sequences carry it that bring the first one back.
    """
    parts = list(parts)
    twists = puzzle.types[parts[0].type].twists
    still = np.arange(puzzle.placement_count, dtype=np.int32)

    def second(first: int, slots: Sequence[int]) -> list[int]:
        if steps_of is None or len(slots) < 2:
            return list(slots)
        label = _joined_about(puzzle, steps_of, first)
        firsts: dict[int, int] = {}
        for slot in slots:
            firsts.setdefault(label[slot], slot)
        return list(firsts.values())

    steps = sorted(range(1, twists), key=lambda x: (x > twists - x, min(x, twists - x)))
    if kind == TWIST:
        for part, x in itertools.product(parts, steps):
            yield moved(puzzle, still, [(part.slots[0], part.slots[0], x)])
    elif kind == TWISTS:
        for part in parts:
            a = part.slots[0]
            others = second(a, [slot for p in parts for slot in p.slots if slot != a])
            for x in steps:
                # Against each other first.
                for y in sorted(steps, key=lambda y: (x + y) % twists):
                    for b in others:
                        yield moved(puzzle, still, [(a, a, x), (b, b, y)])
    elif kind == SWAP:
        for part in parts:
            a = part.slots[0]
            for z, b in itertools.product(range(twists), second(a, part.slots[1:])):
                for x in range(twists):
                    yield moved(puzzle, still, [(a, b, x), (b, a, z - x)])
    elif kind == CYCLE:
        for part in parts:
            a = part.slots[0]
            for b, c in itertools.product(second(a, part.slots[1:]), part.slots[1:]):
                for x, y in itertools.product(range(twists if b != c else 0), repeat=2):
                    yield moved(puzzle, still, [(a, b, x), (b, c, y), (c, a, -x - y)])
    elif kind == SWAPS:
        for part in parts:
            a = part.slots[0]
            rest = itertools.combinations(part.slots[1:], 2)
            for b, (c, d) in itertools.product(second(a, part.slots[1:]), rest):
                if b not in (c, d):
                    for x, y in itertools.product(range(twists), repeat=2):
                        yield moved(puzzle, still, [(a, b, x), (b, a, -x), (c, d, y), (d, c, -y)])


def _joined_about(puzzle: Puzzle, steps: Table, slot: int) -> list[int]:
    """Return a number for each slot; those with one are joined by sequences that keep a slot.

    Of the sequences "to a slot, one step, and back" (Schreier) some are enough: with fewer of them
    there are more numbers, and more to try.
    """
    rows = puzzle.slot_of[steps[:, puzzle.home]]
    way = {slot: np.arange(puzzle.slot_count, dtype=np.int32)}
    loops = []
    for at in (queue := [slot]):
        for row in rows:
            there, further = int(row[at]), row[way[at]]
            if there not in way:
                way[there] = further
                queue.append(there)
            else:
                loops.append((further, there))
    chosen = loops[:: -(-len(loops) // LOOPS)]
    keeping = [np.argsort(way[there])[further] for further, there in chosen]
    label = [0] * puzzle.slot_count
    for number, own in enumerate(joined_by(np.array(keeping, dtype=np.int32))):
        for k in own:
            label[k] = number
    return label


def moved(puzzle: Puzzle, still: Table, moves: Iterable[tuple[int, int, int]]) -> Table:
    """Return an effect that carries pieces from slot to slot, each with so many steps of twist."""
    result = still.copy()
    for start, goal, x in moves:
        twists = puzzle.types[puzzle.type_of[start]].twists
        own = np.arange(twists)
        result[puzzle.home[start] + own] = puzzle.home[goal] + (own + x) % twists
    return result


def kind_of(puzzle: Puzzle, effect: Table) -> tuple[int, str] | None:
    """Return the type and the kind of an effect that is one of the kinds here, else None."""
    slots = np.flatnonzero(effect[puzzle.home] != puzzle.home)
    types = set(puzzle.type_of[slots].tolist())
    if len(types) != 1:
        return None
    found = cycles(puzzle, Effect(tuple(effect.tolist())))
    lengths = sorted(len({int(puzzle.slot_of[p]) for p in cycle}) for cycle in found)
    pure = all(len({int(puzzle.slot_of[p]) for p in cycle}) == len(cycle) for cycle in found)
    number = types.pop()
    match lengths:
        case [1]:
            return number, TWIST
        case [1, 1]:
            return number, TWISTS
        case [2]:
            return number, SWAP
        case [3] if pure:
            return number, CYCLE
        case [2, 2] if pure:
            return number, SWAPS
    return None


def least_words(puzzle: Puzzle, own: Least) -> str:
    """Return words for an effect: "two edges flipped", "three corners cycled"."""
    kind = puzzle.types[own.type]
    name, many = kind.name, plural(kind.name)
    if own.kind == CYCLE:
        return f"three {many} cycled"
    if own.kind == SWAPS:
        return f"two pairs of {many} swapped"
    turned = [
        int(own.table[puzzle.home[slot]] - puzzle.home[slot])
        for slot in kind.slots
        if own.table[puzzle.home[slot]] != puzzle.home[slot]
    ]
    if own.kind == SWAP:
        order = len(own.cycles(puzzle)[0])
        return f"two {many} swapped" + (", which twists one of them" if order > 2 else "")
    if own.kind == TWIST:
        return f"one {name} {_turned(turned[0], kind.twists)}"
    if kind.twists == 2:
        return f"two {many} flipped"
    if sum(turned) % kind.twists == 0:
        return f"two {many} twisted against each other by {_part(turned[0], kind.twists)}"
    both = " and ".join(_part(x, kind.twists) for x in turned)
    return f"two {many} twisted, by {both}"


def _turned(x: int, twists: int) -> str:
    return "flipped" if twists == 2 else f"twisted by {_part(x, twists)}"


def _part(x: int, twists: int) -> str:
    """Return words for x of so many twists, whichever way round."""
    part = Fraction(min(x, twists - x), twists)
    names = {2: "half", 3: "third", 4: "quarter", 5: "fifth", 6: "sixth", 8: "eighth"}
    if part == Fraction(1, 2):
        return "half a turn"
    name = names.get(part.denominator, f"{part.denominator}th")
    if part.numerator == 1:
        return f"a {name} of a turn"
    return f"{part.numerator} {name}s of a turn"
