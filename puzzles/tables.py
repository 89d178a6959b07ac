"""Placements, stickers and paint of a cut body: from orbits of pieces to numbered tables."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from puzzles.bodies import Body, Vectors
from puzzles.errors import PuzzleFileError
from puzzles.orbits import MATCH, Orbit, Step, rotation
from puzzles.puzzle import PieceType, Sticker, Table
from puzzles.solid import Cells

#: The most slots times twists; kernels number placements in 16 bits and keep tables of pairs.
MOST_PLACEMENTS = 2000


@dataclass(frozen=True, eq=False)
class Painted:
    """The slots of one piece type with their visible twists.

    ``patches[k, x, m]`` is the patch that the first slot's patch number m becomes at slot k with
    twist x; ``kinds[m]`` numbers its class. ``stays`` is true where no piece leaves its slot:
    then like slots make one type although none can be reached from another.
    """

    pieces: tuple[int, ...]
    twists: int
    patches: NDArray[np.int64]
    kinds: tuple[int, ...]
    stays: bool
    depth: float


def painted(orbit: Orbit, cells: Cells, body: Body) -> Painted:
    """Find which rotations of a piece show, and start the twists at each slot's first face.

    A rotation by 1/n of a turn shows if it carries some patch onto another; those that show make
    a cyclic group, so the visible twists are counted modulo its order.
    """
    own = [k for k, patch in enumerate(cells.patches) if patch.piece == orbit.pieces[0]]
    own.sort(key=lambda k: cells.patches[k].face)
    n = orbit.rotations
    table = np.array(
        [
            [
                _images(frame @ rotation(orbit.axis, -2 * math.pi * x / n), own, piece, cells)
                for x in range(n)
            ]
            for piece, frame in zip(orbit.pieces, orbit.frames, strict=True)
        ]
    )
    twists = next(x for x in range(1, n + 1) if x == n or np.array_equal(table[0, x], table[0, 0]))
    table = table[:, :twists]
    classes: dict[frozenset[int], int] = {}
    kinds = []
    for m in range(len(own)):
        kinds.append(classes.setdefault(frozenset(table[0, :, m].tolist()), len(classes)))
    full = [m for m in range(len(own)) if len(set(table[0, :, m].tolist())) == twists]
    if not full:
        raise PuzzleFileError("a piece twists in a way that none of its patches shows")
    main = full[0]
    for k in range(len(table)):
        faces = [cells.patches[p].face for p in table[k, :, main]]
        table[k] = np.roll(table[k], -faces.index(min(faces)), axis=0)
    stays = len(orbit.pieces) == 1
    return Painted(orbit.pieces, twists, table, tuple(kinds), stays, orbit.depth)


def grouped(orbits: list[Painted]) -> list[Painted]:
    """Join the pieces that never leave their slots and are alike in faces, twists and depth."""
    result: list[Painted] = []
    for orbit in orbits:
        for k, other in enumerate(result):
            if (
                orbit.stays
                and other.stays
                and (orbit.twists, orbit.kinds) == (other.twists, other.kinds)
                and abs(orbit.depth - other.depth) < MATCH
            ):
                patches = np.concatenate([other.patches, orbit.patches])
                pieces = other.pieces + orbit.pieces
                result[k] = replace(other, pieces=pieces, patches=patches)
                break
        else:
            result.append(orbit)
    return result


def _images(matrix: Vectors, own: list[int], piece: int, cells: Cells) -> list[int]:
    """Return which patches of a slot the first slot's patches lie on after a rotation."""
    there = [k for k, patch in enumerate(cells.patches) if patch.piece == piece]
    centroids = np.array([cells.patches[k].centroid for k in there])
    moved = np.array([cells.patches[k].centroid for k in own]) @ matrix.T
    return [there[int(np.linalg.norm(centroids - point, axis=1).argmin())] for point in moved]


def number_types(painted_orbits: list[Painted], names: list[str]) -> tuple[PieceType, ...]:
    """Number slots and placements type by type."""
    result: list[PieceType] = []
    slot = placement = 0
    for number, (orbit, name) in enumerate(zip(painted_orbits, names, strict=True)):
        count = len(orbit.pieces)
        moves = not orbit.stays or orbit.twists > 1
        result.append(PieceType(name, number, slot, count, orbit.twists, placement, moves))
        slot += count
        placement += count * orbit.twists
    if placement > MOST_PLACEMENTS:
        raise PuzzleFileError(
            f"the cuts make {placement:,} slots and twists; at most {MOST_PLACEMENTS:,} are allowed"
        )
    return tuple(result)


def step_tables(
    painted_orbits: list[Painted], types: tuple[PieceType, ...], steps: list[Step]
) -> list[Table]:
    """Return for one step of every layer which placement each placement goes to."""
    total = types[-1].placements.stop
    where: dict[tuple[int, ...], int] = {}
    rows: list[tuple[int, ...]] = []
    for orbit in painted_orbits:
        for row in orbit.patches.reshape(-1, orbit.patches.shape[2]).tolist():
            where[tuple(row)] = len(rows)
            rows.append(tuple(row))
    result = []
    for step in steps:
        image = step.patches.tolist()
        moved = [where[tuple(image[patch] for patch in row)] for row in rows]
        assert len(moved) == total
        result.append(np.array(moved, dtype=np.int32))
    return result


def sticker_table(
    painted_orbits: list[Painted], types: tuple[PieceType, ...], cells: Cells
) -> tuple[Sticker, ...]:
    """Return the stickers in the order of the patches, classes numbered across all types."""
    found: dict[int, Sticker] = {}
    first_kind = 0
    for orbit, kind in zip(painted_orbits, types, strict=True):
        for m, own in enumerate(orbit.kinds):
            shows = orbit.kinds.count(own) == kind.twists
            for k in range(kind.count):
                for x in range(kind.twists):
                    patch = int(orbit.patches[k, x, m])
                    if patch in found:
                        continue
                    first = m == orbit.kinds.index(own)
                    placement = kind.first_placement + k * kind.twists + x if shows else -1
                    if shows and not first:
                        continue
                    old = cells.patches[patch]
                    found[patch] = Sticker(
                        kind.first_slot + k, old.face, first_kind + own, placement, old.outline
                    )
        first_kind += max(orbit.kinds) + 1
    return tuple(found[k] for k in range(len(cells.patches)))


def alike_pieces(
    types: tuple[PieceType, ...], stickers: tuple[Sticker, ...]
) -> tuple[Table, Table]:
    """Return for each piece its group of pieces that look the same, and the twist between them.

    The group is the number of its first piece; at any placement p, a piece looks as that first
    piece would at p with the twist added.
    """
    looks: dict[int, dict[tuple[int, int], int]] = {}
    for sticker in stickers:
        kind = next(t for t in types if sticker.slot in t.slots)
        twist = -1
        if sticker.placement >= 0:
            twist = (sticker.placement - kind.first_placement) % kind.twists
        looks.setdefault(sticker.slot, {})[sticker.kind, twist] = sticker.face
    slots = types[-1].slots.stop
    group, shift = np.arange(slots, dtype=np.int32), np.zeros(slots, dtype=np.int32)
    for kind in types:
        seen: dict[tuple[tuple[tuple[int, int], int], ...], int] = {}
        for slot in kind.slots:
            for x in range(kind.twists):
                turned = tuple(
                    sorted(
                        ((k, (y + x) % kind.twists if y >= 0 else -1), face)
                        for (k, y), face in looks[slot].items()
                    )
                )
                if turned in seen:
                    group[slot], shift[slot] = seen[turned], -x % kind.twists
                    break
            else:
                own = tuple(sorted(looks[slot].items()))
                seen[own] = slot
    return group, shift
