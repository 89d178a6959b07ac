"""The smallest repair as far as parities, sums of twists and reached places go, class by class.

What turns cannot change is a vector of parities and sums (``laws.Sums``) and, for each piece, the
placements that turns carry it to. A repair moves as few pieces as bring the vector among those of
the turns.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from puzzles.laws import Law, Part, Vector
from puzzles.layer_group import LayerGroup
from puzzles.puzzle import Puzzle, Table
from puzzles.states import State, looks, shown, solved

#: Numbers that name the class of a vector: for each law by how much it is broken.
Class = tuple[int, ...]


@dataclass(frozen=True, eq=False)
class Mend:
    """A repair as an effect on the state, shape (placements,), and the laws broken before it.

    ``stray`` are the pieces, by home slots, that turns never bring to where they are; ``least``
    says that no repair moves fewer pieces, as far as parity, twist and reached places go.
    """

    effect: Table
    broken: tuple[Law, ...]
    stray: tuple[int, ...]
    least: bool


@dataclass(frozen=True)
class Change:
    """A change of one part: pieces taken out, slots not solved after it, where two slots go.

    ``goes`` has for each slot that it moves the slot and twist that its piece gets.
    """

    pieces: int
    unsolved: int
    goes: tuple[tuple[int, int, int], ...]


def mend(own: LayerGroup, state: State) -> Mend:
    """Return the smallest repair of what parities, sums of twists and reached places say.

    Of repairs of as many pieces the one that leaves the fewest slots unsolved.
    """
    effect, stray, out = brought_in(own, state)
    after = state.after(effect)
    laws = own.laws if state.apart else own.laws_alike
    start = class_of(own, laws, after)
    broken = tuple(law for law, by in zip(laws, start, strict=True) if by)
    least = not stray or state.apart or not _any_alike(own, stray)
    if any(start):
        _, _, changes = cheapest(own, after, laws, own.parts, out)[wanted(own, start)]
        for change in changes:
            effect = changed(own.puzzle, change)[effect]
            mixed = any(
                slot in part.slots
                for part in own.parts
                if set(part.slots) & out
                for slot, _, _ in change.goes
            )
            least = least and not (mixed and change.pieces)
    return Mend(effect, broken, stray, least)


def _any_alike(own: LayerGroup, pieces: tuple[int, ...]) -> bool:
    kinds = {int(own.puzzle.type_of[piece]) for piece in pieces}
    return any(int(own.puzzle.type_of[group[0]]) in kinds for group in own.alike)


def class_of(own: LayerGroup, laws: tuple[Law, ...], state: State) -> Class:
    """Return the class of a state: for each law by how much it is broken, 0 where it holds."""
    return _class(own, laws, own.sums.vector(_kept(own, state)))


def wanted(own: LayerGroup, start: Class) -> Class:
    """Return the class of what mends a state of a class."""
    n = math.lcm(*own.sums.moduli) if own.sums.moduli else 1
    return tuple(-x % n for x in start)


def _kept(own: LayerGroup, state: State) -> Table:
    """Return a table with the state's looks that keeps the parts, the table itself if it does."""
    if state.apart or own.keeps_parts(state.table):
        return state.table
    kept = own.brought_home(state.table)
    return state.table if kept is None else kept


def _class(own: LayerGroup, laws: tuple[Law, ...], vector: Vector) -> Class:
    moduli = own.sums.moduli
    n = math.lcm(*moduli) if moduli else 1
    return tuple(
        sum(c * v * (n // m) for c, v, m in zip(law.coefficients, vector, moduli, strict=True)) % n
        for law in laws
    )


@lru_cache(maxsize=24)
def reached(own: LayerGroup) -> Table:
    """Return for each placement the lowest one that turns carry to it; shape (placements,)."""
    label = np.arange(own.puzzle.placement_count, dtype=np.int32)
    while True:
        old = label.copy()
        for row in own.steps:
            np.minimum.at(label, row, label)
            label = np.minimum(label, label[row])
        if np.array_equal(old, label):
            return label


def brought_in(own: LayerGroup, state: State) -> tuple[Table, tuple[int, ...], frozenset[int]]:
    """Return the effect that puts pieces where turns never bring them to where they do.

    Also those pieces, which any repair has to take out, and the slots that they are in. Each gets
    back to its own slot where one of them sits there, else to another of theirs that it gets to.
    """
    puzzle, label = own.puzzle, reached(own)
    effect = np.arange(puzzle.placement_count, dtype=np.int32)
    table = _kept(own, state)
    held = sorted(slot for part in own.parts for slot in part.slots)
    stray = [k for k in held if label[table[puzzle.home[k]]] != label[puzzle.home[k]]]
    if not state.apart:
        stray = [k for k in stray if not _hidden(puzzle, k, table, label)]
    slots = [int(puzzle.slot_of[table[puzzle.home[k]]]) for k in stray]
    left = list(slots)
    for piece, slot in sorted(zip(stray, slots, strict=True), key=lambda x: x[0] not in slots):
        goals = [s for s in left if _ways(puzzle, label, piece, s)]
        goal = next((s for s in (piece, slot) if s in goals), goals[0] if goals else None)
        if goal is None:
            continue
        left.remove(goal)
        twists = puzzle.types[int(puzzle.type_of[piece])].twists
        to = _ways(puzzle, label, piece, goal)[0]
        for x in range(twists):
            here = int(table[puzzle.home[piece] + x])
            effect[here] = puzzle.home[goal] + (to + x) % twists
    if len(np.unique(effect)) != len(effect):
        effect = np.arange(puzzle.placement_count, dtype=np.int32)
    return effect, tuple(stray), frozenset(slots)


def _ways(puzzle: Puzzle, label: Table, piece: int, slot: int) -> list[int]:
    """Return the twists with which turns bring a piece to a slot."""
    kind = puzzle.types[int(puzzle.type_of[piece])]
    if slot not in kind.slots:
        return []
    home = int(puzzle.home[slot])
    return [x for x in range(kind.twists) if label[home + x] == label[puzzle.home[piece]]]


def _hidden(puzzle: Puzzle, piece: int, table: Table, label: Table) -> bool:
    """Return whether a twist that does not show would bring a piece to where turns do."""
    kind = puzzle.types[int(puzzle.type_of[piece])]
    place = int(table[puzzle.home[piece]])
    home = int(puzzle.home[puzzle.slot_of[place]])
    return any(
        label[home + (place - home + x) % kind.twists] == label[puzzle.home[piece]]
        for x in range(0, kind.twists, kind.seen)
    )


def cheapest(
    own: LayerGroup,
    state: State,
    laws: tuple[Law, ...],
    parts: tuple[Part, ...],
    out: frozenset[int] = frozenset(),
) -> dict[Class, tuple[int, int, list[Change]]]:
    """Return for each class the cheapest changes, one a part at most, that bring it about.

    With them how many pieces they take out and how many slots more they leave unsolved. A walk over
    the classes, part by part: there are as many as the laws' factors multiply to.
    """
    n = math.lcm(*own.sums.moduli) if own.sums.moduli else 1
    best: dict[Class, tuple[int, int, list[Change]]] = {(0,) * len(laws): (0, 0, [])}
    for part in parts:
        options: dict[Class, Change] = {}
        for vector, change in _changes(own, state, part, out):
            key = _class(own, laws, vector)
            old = options.get(key)
            if old is None or (change.pieces, change.unsolved) < (old.pieces, old.unsolved):
                options[key] = change
        longer = dict(best)
        for key, (pieces, left, row) in best.items():
            for more, change in options.items():
                if not any(more):
                    continue
                there = tuple((a + b) % n for a, b in zip(key, more, strict=True))
                cost = pieces + change.pieces, left + change.unsolved
                known = longer.get(there)
                if known is None or cost < known[:2]:
                    longer[there] = (*cost, [*row, change])
        best = longer
    return best


def _changes(
    own: LayerGroup, state: State, part: Part, out: frozenset[int]
) -> Iterator[tuple[Vector, Change]]:
    """Yield the changes of a part by one twist or one swap, each with its vector.

    Pieces that are out anyway cost nothing more. ``unsolved`` counts how many slots more, or fewer,
    are unsolved after it.
    """
    puzzle, label = own.puzzle, reached(own)
    kind = puzzle.types[part.type]
    group, added, seen = looks(puzzle, state.apart)
    now, goal = shown(state), solved(puzzle, state.apart)
    most = max(t.twists for t in puzzle.types)
    piece_at = np.empty(puzzle.slot_count, dtype=np.int64)
    places = state.table[puzzle.home]
    piece_at[puzzle.slot_of[places]] = np.arange(puzzle.slot_count)
    twist_at = puzzle.twist_of[places][piece_at]
    bad = (now != goal).tolist()

    def after(slot: int, there: int, twist: int) -> tuple[bool, bool]:
        """Whether a piece brought from a slot to another is unsolved there, and allowed."""
        piece = int(piece_at[slot])
        x = int(twist_at[slot] + twist) % kind.twists
        look = int(group[piece]) * most + (x + int(added[piece])) % int(seen[piece])
        allowed = label[puzzle.home[there] + x] == label[puzzle.home[piece]] or not state.apart
        return look != goal[there], bool(allowed)

    def vector(parity: int, twist: int) -> Vector:
        return tuple(
            0 if other is not part else parity if what == "parity" else twist % modulus
            for (other, what), modulus in zip(own.sums.entries, own.sums.moduli, strict=True)
        )

    for k, slot in enumerate(part.slots):
        for x in range(1, kind.twists):
            wrong, allowed = after(slot, slot, x)
            if allowed:
                left = int(wrong) - int(bad[slot])
                yield vector(0, x), Change(int(slot not in out), left, ((slot, slot, x),))
        for other in part.slots[k + 1 :]:
            pieces = (slot not in out) + (other not in out)
            for y in range(kind.twists):
                there, allowed = after(slot, other, y)
                if not allowed:
                    continue
                for z in range(kind.twists):
                    here, fits = after(other, slot, z)
                    if fits:
                        left = int(there) + int(here) - int(bad[slot]) - int(bad[other])
                        goes = ((slot, other, y), (other, slot, z))
                        yield vector(1, (y + z) % kind.twists), Change(pieces, left, goes)


def changed(puzzle: Puzzle, change: Change) -> Table:
    """Return a change as an effect; shape (placements,)."""
    effect = np.arange(puzzle.placement_count, dtype=np.int32)
    for slot, there, twist in change.goes:
        twists = puzzle.types[int(puzzle.type_of[slot])].twists
        x = np.arange(twists)
        effect[int(puzzle.home[slot]) + x] = int(puzzle.home[there]) + (x + twist) % twists
    return effect
