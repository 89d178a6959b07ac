"""Rotations and reflections that carry layers to layers, as permutations of the tables."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from puzzles.bodies import SAME, Body, Vectors
from puzzles.puzzle import PieceType, Sticker, Symmetry, Table
from puzzles.tables import Painted, twist_between
from puzzles.turns import Layer, Turn

#: Directions of layers and middles of patches closer than this are the same.
CLOSE = 1e-6
#: Points are sorted along this unit direction, which no symmetry of a body leaves alone.
_ALONG = np.array([0.5698402910, 0.7548776662, 0.3247179572])


def matrices(points: Vectors) -> list[Vectors]:
    """Return all orthogonal matrices that carry a set of points around the origin onto itself.

    A matrix is known by what it does to three independent points, so every triple of points with
    the same distances and angles is tried. The identity comes first.
    """
    base = _independent(points)
    gram = points @ points.T
    inverse = np.linalg.inv(points[base])
    wanted = gram[np.ix_(base, base)]
    found = []
    for p in np.flatnonzero(np.abs(np.diag(gram) - wanted[0, 0]) < CLOSE):
        fits = (np.abs(np.diag(gram) - wanted[1, 1]) < CLOSE) & (
            np.abs(gram[p] - wanted[0, 1]) < CLOSE
        )
        for q in np.flatnonzero(fits):
            last = (
                (np.abs(np.diag(gram) - wanted[2, 2]) < CLOSE)
                & (np.abs(gram[p] - wanted[0, 2]) < CLOSE)
                & (np.abs(gram[q] - wanted[1, 2]) < CLOSE)
            )
            for r in np.flatnonzero(last):
                matrix = (inverse @ points[[p, q, r]]).T
                if matched(points @ matrix.T, points) is not None:
                    found.append(matrix)
    found.sort(key=lambda m: (float(np.abs(m - np.eye(3)).max()) > SAME, np.linalg.det(m) < 0))
    return found


def _independent(points: Vectors) -> list[int]:
    """Return three points that span space, as far from flat as the first ones allow."""
    first = 0
    second = int(np.linalg.norm(np.cross(points[first], points), axis=1).argmax())
    third = int(np.abs(points @ np.cross(points[first], points[second])).argmax())
    return [first, second, third]


def matched(moved: Vectors, places: Vectors) -> NDArray[np.int64] | None:
    """Return the place on which each moved point lies, or None if one lies on none."""
    keys = places @ _ALONG
    order = np.argsort(keys)
    sought = moved @ _ALONG
    low = np.searchsorted(keys[order], sought - CLOSE)
    high = np.searchsorted(keys[order], sought + CLOSE, side="right")
    nearest = np.full(len(moved), -1, dtype=np.int64)
    least = np.full(len(moved), CLOSE)
    for step in range(int((high - low).max(initial=0))):
        some = np.flatnonzero(low + step < high)
        candidates = order[low[some] + step]
        distances = np.linalg.norm(moved[some] - places[candidates], axis=1)
        better = distances <= least[some]
        least[some[better]] = distances[better]
        nearest[some[better]] = candidates[better]
    return None if np.any(nearest < 0) else nearest


def symmetries(
    body: Body,
    layers: Sequence[Layer],
    turns: Sequence[Turn],
    orbits: Sequence[Painted],
    types: Sequence[PieceType],
    stickers: Sequence[Sticker],
    middles: Vectors,
    places: Vectors,
) -> tuple[Symmetry, ...]:
    """Return all symmetries of a compiled puzzle, the identity first, rotations before the rest.

    ``middles`` (stickers, 3) tell stickers apart, ``places`` (slots, 3) the slots of a type. What
    they are must not depend on where an outline begins, nor on how finely it is drawn.
    """
    numbers = {
        (s.kind, s.placement): k for k, s in reversed(list(enumerate(stickers))) if s.placement >= 0
    }
    mains: dict[int, int] = {}
    for (_, placement), k in numbers.items():
        mains.setdefault(placement, k)
    number_of = {turn: number for number, turn in enumerate(turns)}
    layer_of = {layer.name: number for number, layer in enumerate(layers)}
    owner = [kind for kind in types for _ in kind.slots]
    result = []
    for matrix in matrices(body.points):
        images = _layer_images(layers, matrix)
        slots = _slot_images(types, places, matrix) if images is not None else None
        if images is None or slots is None:
            continue
        carried = matched(middles @ matrix.T, middles)
        turned = []
        for turn in turns:
            image, sign = images[layer_of[turn.layer]]
            steps = layers[image].steps
            turned.append(number_of[Turn(layers[image].name, turn.amount * sign % steps)])
        placements: list[int] = []
        for orbit, kind in zip(orbits, types, strict=True):
            there = owner[slots[kind.first_slot]]
            main = mains.get(kind.first_placement)
            first = None
            if carried is not None and main is not None:
                first = stickers[carried[main]].placement
            placements.extend(
                _placement_images(
                    orbit,
                    orbits[there.number],
                    kind,
                    there,
                    slots[kind.first_slot :],
                    matrix,
                    first,
                )
            )
        result.append(
            Symmetry(
                matrix,
                bool(np.linalg.det(matrix) < 0),
                _frozen(placements),
                _frozen(turned),
                _frozen([image for image, _ in images]),
                _frozen([-1] * len(stickers) if carried is None else carried.tolist()),
            )
        )
    return tuple(result)


def _slot_images(types: Sequence[PieceType], places: Vectors, matrix: Vectors) -> list[int] | None:
    """Return the slot to which each slot is carried, None if a type is not carried onto one."""
    moved = places @ matrix.T
    type_of = np.repeat(np.arange(len(types)), [kind.count for kind in types])
    firsts = moved[[kind.first_slot for kind in types]]
    near = np.abs(firsts[:, None] - places).max(axis=2) <= CLOSE
    result: list[int] = []
    for kind, close in zip(types, near, strict=True):
        own = moved[kind.first_slot : kind.slots.stop]
        for number in np.unique(type_of[close]).tolist():
            other = types[number]
            if (other.count, other.twists, other.seen) != (kind.count, kind.twists, kind.seen):
                continue
            found = matched(own, places[other.first_slot : other.slots.stop])
            if found is not None and len(set(found.tolist())) == len(found):
                result.extend(other.first_slot + int(k) for k in found)
                break
        else:
            return None
    return result


def _placement_images(
    orbit: Painted,
    other: Painted,
    kind: PieceType,
    there: PieceType,
    slots: Sequence[int],
    matrix: Vectors,
    first: int | None,
) -> list[int]:
    """Return the images of a type's placements, ``first`` being that of the first one if known.

    With F(k, x) the frame of a placement, the image has the frame M F(k, x) C for one C that is the
    same for all: the one that carries the first placement to ``first``. Pieces that never leave
    their slots have frames of their own; a reflection turns their twists the other way, and so does
    a rotation that turns the axis of a band round.
    """
    twists = kind.twists
    if twists == 1:
        return [there.first_placement + slots[k] - there.first_slot for k in range(kind.count)]
    if orbit.stays:
        ends = [slots[k] - there.first_slot for k in range(kind.count)]
        along = ((orbit.axes @ matrix.T) * other.axes[ends]).sum(axis=1) * np.linalg.det(matrix)
        return [
            there.first_placement + end * twists + (x if same else -x) % twists
            for end, same in zip(ends, along > 0, strict=True)
            for x in range(twists)
        ]
    if first is None:
        first = there.first_placement + (slots[0] - there.first_slot) * twists
    slot, twist = divmod(first - there.first_placement, twists)
    constant = (matrix @ orbit.frames[0, 0]).T @ other.frames[slot, twist]
    result = []
    for k in range(kind.count):
        j = slots[k] - there.first_slot
        for x in range(twists):
            y = twist_between(other, j, matrix @ orbit.frames[k, x] @ constant)
            result.append(there.first_placement + j * twists + y)
    return result


def _frozen(values: Sequence[int]) -> Table:
    table = np.array(values, dtype=np.int32)
    table.setflags(write=False)
    return table


def _layer_images(layers: Sequence[Layer], matrix: Vectors) -> list[tuple[int, int]] | None:
    """Return for each layer its image and whether turning keeps (1) or changes (-1) its sense."""
    axes = np.array([layer.axis for layer in layers])
    moved = axes @ matrix.T
    sense = 1 if np.linalg.det(matrix) > 0 else -1
    result = []
    for layer, axis in zip(layers, moved, strict=True):
        for number, other in enumerate(layers):
            if other.steps != layer.steps:
                continue
            along = float(axis @ axes[number])
            same = along > 1 - SAME and _close((layer.low, layer.high), (other.low, other.high))
            turned = along < -1 + SAME and _close(
                (-layer.high, -layer.low), (other.low, other.high)
            )
            if same or turned:
                result.append((number, sense if same else -sense))
                break
        else:
            return None
    return result


def _close(first: tuple[float, float], second: tuple[float, float]) -> bool:
    return all(x == y or abs(x - y) < SAME for x, y in zip(first, second, strict=True))
