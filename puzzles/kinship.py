"""What behaves alike: types within a puzzle, and types and kinds of layer beside the catalogue's.

Signatures are compared first (how many points, which cycles each layer has); where they agree, a
renaming of points and layers is looked for and verified on all of them.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from puzzles.acting import Action, Renaming, renamings
from puzzles.known import Known, action, known, roams, slots_action, type_action
from puzzles.layer_group import layer_steps
from puzzles.layer_kinds import LayerKind
from puzzles.puzzle import Puzzle

#: Renamings that are looked at for the one that reads best, and to find one that fits.
MOST_LOOKED_AT = 200
#: With more kinds of layer than this, only single ones and all together are compared.
MOST_KINDS = 6


@dataclass(frozen=True)
class Likeness:
    """Two types of a puzzle that are moved alike, by their numbers.

    ``layers`` gives for the layers that move the first which layer does the same to the second,
    and by how many of its steps for one. ``with_twist``: the twists go along. ``slots`` gives the
    slot of the second type for each of the first.
    """

    types: tuple[int, int]
    layers: tuple[tuple[int, int, int], ...]
    with_twist: bool
    slots: tuple[int, ...]

    @property
    def same_turns(self) -> bool:
        """Whether each turn does the same to both, so that they go in step."""
        return all(one == other and unit == 1 for one, other, unit in self.layers)


@dataclass(frozen=True)
class TypeLike:
    """A type, by its number, that moves as a type of a catalogue puzzle, by their names."""

    type: int
    puzzle: str
    known_type: str
    with_twist: bool


@dataclass(frozen=True)
class LayersLike:
    """Kinds of layer, by their numbers, that alone make a puzzle of the catalogue.

    Or, where ``held`` is the slot of a piece, all layers that do not move it; ``kinds`` is empty.
    ``made_of`` gives for each type of that puzzle, by name, what one of its pieces is here: types
    by number, each with how many pieces. ``riding`` are types that only go round with single
    layers, ``more`` those that do something else besides. ``goes`` gives
    for each placement that goes along with one of that puzzle which one it is, sorted.
    """

    kinds: tuple[int, ...]
    puzzle: str
    made_of: tuple[tuple[str, tuple[tuple[int, int], ...]], ...]
    riding: tuple[int, ...]
    more: tuple[int, ...]
    layers: tuple[tuple[str, str], ...]
    held: int | None = None
    goes: tuple[tuple[int, int], ...] = field(default=(), repr=False)


def likenesses(puzzle: Puzzle) -> tuple[Likeness, ...]:
    """Return the pairs of types whose pieces are moved alike, twists included where they can be."""
    numbers = [kind.number for kind in puzzle.types if roams(puzzle, kind.number)]
    with_twist = {k: type_action(puzzle, k) for k in numbers}
    without = {k: slots_action(puzzle, k) for k in numbers}
    result = []
    for one, other in itertools.combinations(numbers, 2):
        own = _alike(puzzle, one, other, with_twist, True)
        own = own or _alike(puzzle, one, other, without, False)
        if own is not None:
            result.append(own)
    return tuple(result)


def _alike(
    puzzle: Puzzle, one: int, other: int, actions: dict[int, Action], twist: bool
) -> Likeness | None:
    first, second = actions[one], actions[other]
    kinds = puzzle.types[one], puzzle.types[other]
    if kinds[0].count != kinds[1].count or first.signature != second.signature:
        return None
    best: tuple[int, Renaming] | None = None
    for found in itertools.islice(renamings(first, second), MOST_LOOKED_AT):
        score = sum(
            _strange(puzzle, first.layers[k], second.layers[m], unit)
            for k, (m, unit) in enumerate(found.layers)
        )
        if best is None or score < best[0]:
            best = score, found
        if score == 0:
            break
    if best is None:
        return None
    renaming = best[1]
    layers = tuple(
        (first.layers[k], second.layers[m], unit) for k, (m, unit) in enumerate(renaming.layers)
    )
    slots: dict[int, int] = {}
    for p, q in enumerate(renaming.points):
        here, there = first.points[p], second.points[q]
        if twist:
            here, there = int(puzzle.slot_of[here]), int(puzzle.slot_of[there])
        if slots.setdefault(here, there) != there:
            return None
    return Likeness(
        (one, other), layers, twist, tuple(slots[slot] for slot in puzzle.types[one].slots)
    )


def _strange(puzzle: Puzzle, one: int, other: int, unit: int) -> int:
    """Return how much there is to keep in mind where one layer stands for another."""
    if puzzle.shape == "written":
        return (one != other) * 2 + (unit != 1)
    along = float(np.dot(puzzle.layers[one].axis, puzzle.layers[other].axis))
    away = 0 if one == other else 2 if along > 1 - 1e-6 else 3 if along < -1 + 1e-6 else 5
    return away + (unit != 1)


def types_like(puzzle: Puzzle) -> tuple[TypeLike, ...]:
    """Return which types move as types of the catalogue, each beside the simplest puzzles first.

    Where a type's twists go along in none, twists are left aside.
    """
    result = []
    others = [own for own in known() if not _is(puzzle, own)]
    for kind in puzzle.types:
        if not roams(puzzle, kind.number):
            continue
        for twist in (True, False):
            make = type_action if twist else slots_action
            own = make(puzzle, kind.number)
            found = [
                TypeLike(kind.number, other.name, known_type.name, twist)
                for other in others
                for number, known_type in enumerate(other.types)
                if own.signature == (known_type.placements if twist else known_type.slots)
                and _same(own, other, number, twist)
            ]
            result += found
            if found:
                break
    return tuple(result)


def _same(own: Action, other: Known, number: int, twist: bool) -> bool:
    theirs = other.type_action(number) if twist else other.slots_action(number)
    return next(renamings(theirs, own), None) is not None


def layers_like(puzzle: Puzzle, kinds: Sequence[LayerKind]) -> tuple[LayersLike, ...]:
    """Return which sets of layers make a puzzle of the catalogue.

    Looked at are kinds of layer, few of them first, and then for a piece of each type the layers
    that leave it where it is.
    """
    result = []
    for chosen, layers in _sets(kinds):
        whole = len(chosen) == len(kinds)
        result += [replace(like, kinds=chosen) for like in _made(puzzle, layers, whole)]
    seen = {layers for _, layers in _sets(kinds)}
    for kind in puzzle.types:
        piece = kind.slots[-1]
        layers = tuple(np.flatnonzero(~_moved_by(puzzle)[:, piece]).tolist())
        if layers in seen or len(layers) < 2 or not roams(puzzle, kind.number):
            continue
        seen.add(layers)
        result += [replace(like, held=piece) for like in _made(puzzle, layers, False)]
    return tuple(result)


def _sets(kinds: Sequence[LayerKind]) -> list[tuple[tuple[int, ...], tuple[int, ...]]]:
    """Return the sets of kinds that are looked at, each with its layers."""
    sizes = range(1, len(kinds) + 1) if len(kinds) <= MOST_KINDS else sorted({1, len(kinds)})
    return [
        (chosen, tuple(sorted(k for number in chosen for k in kinds[number].layers)))
        for size in sizes
        for chosen in itertools.combinations(range(len(kinds)), size)
    ]


def _moved_by(puzzle: Puzzle) -> NDArray[np.bool_]:
    """Return which pieces each layer moves or twists; (layers, slots)."""
    moved: NDArray[np.bool_] = layer_steps(puzzle)[:, puzzle.home] != puzzle.home
    return moved


def _is(puzzle: Puzzle, other: Known) -> bool:
    """Return whether a puzzle of the catalogue is this very one, and no other that is equal."""
    return (puzzle.name, puzzle.digest) == (other.name, other.digest)


def _made(puzzle: Puzzle, layers: Sequence[int], whole: bool) -> list[LayersLike]:
    """Return what some layers make, but for the puzzle itself where they are the ``whole``."""
    own = action(puzzle, layers)
    orbits = [own.on(orbit) for orbit in own.orbits()]
    signatures = Counter(orbit.signature for orbit in orbits)
    result = []
    for other in known():
        fits = len(other.layers) == len(layers) and not Counter(other.orbits) - signatures
        if not fits or (whole and _is(puzzle, other)):
            continue
        found = next(renamings(other.action, own), None)
        if found is not None:
            result.append(_layers_like(puzzle, own, orbits, other, found))
    return result


def _layers_like(
    puzzle: Puzzle,
    own: Action,
    orbits: list[Action],
    other: Known,
    found: Renaming,
) -> LayersLike:
    """Say what each orbit of some layers is beside a puzzle that was found among them."""
    theirs = other.action
    #: For each placement here the one of the other puzzle that it goes along with.
    goes: dict[int, int] = {own.points[q]: theirs.points[p] for p, q in enumerate(found.points)}
    riding, more = set(), set()
    known_orbits = [theirs.on(orbit) for orbit in theirs.orbits()]
    given = dict(enumerate(found.layers))
    for orbit in orbits:
        if orbit.points[0] in goes:
            continue
        copies = (
            (one, copy)
            for one in known_orbits
            if one.signature == orbit.signature
            for copy in itertools.islice(renamings(one, orbit, given), 1)
        )
        copied = next(copies, None)
        number = int(puzzle.type_of[puzzle.slot_of[orbit.points[0]]])
        if copied is not None:
            one, copy = copied
            goes.update((orbit.points[q], one.points[p]) for p, q in enumerate(copy.points))
        elif sum(order > 1 for order in orbit.orders) == 1:
            riding.add(number)
        else:
            more.add(number)
    made: dict[int, dict[int, set[int]]] = {}
    for here, there in goes.items():
        slot = int(puzzle.slot_of[here])
        kind = other.type_of[there]
        made.setdefault(kind, {}).setdefault(other.slot_of[there], set()).add(slot)
    made_of = tuple(
        (
            other.types[kind].name,
            tuple(
                sorted(Counter(int(puzzle.type_of[s]) for s in next(iter(per.values()))).items())
            ),
        )
        for kind, per in sorted(made.items())
    )
    layers = tuple(
        (other.layers[theirs.layers[k]], puzzle.layers[own.layers[m]].name)
        for k, (m, _) in enumerate(found.layers)
    )
    return LayersLike(
        (),
        other.name,
        made_of,
        tuple(sorted(riding)),
        tuple(sorted(more)),
        layers,
        goes=tuple(sorted(goes.items())),
    )
