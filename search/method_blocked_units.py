"""What units of a kind are called, and how many arrangements they have."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass

from puzzles.laws import joined, plural
from puzzles.names import slot_names
from search.fastened import bodies
from search.solving_blocked_near import Near
from search.solving_blocked_shapes import Shapes

#: Slots that are listed to tell kinds of the same name apart.
MOST_SLOTS = 3


@dataclass(frozen=True)
class Units:
    """What a kind is called: ``name`` for one of its units and ``names`` for several.

    Pieces that are fastened together are a block.

    ``number`` is the kind's; ``types`` are the types of its units' pieces.
    """

    number: int
    name: str
    names: str
    types: tuple[int, ...]


def units_of(shapes: Shapes) -> tuple[Units, ...]:
    """Return what each kind of units is called, all differently."""
    puzzle = shapes.puzzle
    holder = {slot: bond for bond in puzzle.bonds for slot in bond}
    made: list[tuple[str, str, tuple[int, ...]]] = []
    bound = {int(puzzle.type_of[s]) for s in holder}
    for kind in shapes.kinds:
        slot = shapes.reps[kind.units[0]]
        own = int(puzzle.type_of[slot])
        if slot in holder:
            types = tuple(sorted({int(puzzle.type_of[s]) for s in holder[slot]}))
            name = "-".join(puzzle.types[k].name for k in types) + " block"
            made.append((name, plural(name), types))
            continue
        name = puzzle.types[own].name
        loose = "loose " if own in bound else ""
        made.append((loose + name, loose + plural(name), (own,)))
    times = Counter(name for name, _, _ in made)
    result = []
    for number, (name, names, own_types) in enumerate(made):
        if times[name] > 1:
            units = shapes.kinds[number].units
            slots = [slot_names(puzzle)[shapes.reps[u]] for u in units[:MOST_SLOTS]]
            more = ", …" if len(units) > MOST_SLOTS else ""
            where = f" ({', '.join(slots)}{more})"
            name, names = name + where, names + where
        result.append(Units(number, name, names, own_types))
    return tuple(result)


def noun(shapes: Shapes) -> str:
    """Return what all bodies that stand in the way of turns are called."""
    puzzle = shapes.puzzle
    found = bodies(puzzle, tuple(range(len(puzzle.turns)))).members
    count = len(found)
    types = {int(puzzle.type_of[own[0]]) for own in found if len(own) == 1}
    return joined(
        [
            *([plural("block", count)] if puzzle.bonds else []),
            *(plural(puzzle.types[k].name, count) for k in sorted(types)),
        ]
    )


def kind_of_piece(shapes: Shapes, slot: int) -> int | None:
    """Return the kind of the unit that a piece, by its slot at home, belongs to; None for none."""
    holder = next((bond for bond in shapes.puzzle.bonds if slot in bond), (slot,))
    unit = next((u for u, own in enumerate(shapes.reps) if own in holder), None)
    return next((n for n, kind in enumerate(shapes.kinds) if unit in kind.units), None)


def looks_of(near: Near, numbers: tuple[int, ...], reached: int) -> int:
    """Return how many arrangements, told apart by looks, some kinds have that three-cycles finish.

    ``reached`` is how many values of parities and twist sums there are, with those of all others.
    """
    moduli = near.invariants.moduli.tolist()
    whole = reached
    for number in numbers:
        kind = near.shapes.kinds[number]
        ways = math.factorial(kind.count) * kind.twists**kind.count
        for same in Counter(kind.looks).values():
            ways //= math.factorial(same)
        for column, other in enumerate(near.invariants.kind_of):
            if other == number:
                ways //= moduli[column]
        whole *= ways
    return whole
