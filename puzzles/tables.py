"""Placements, stickers and paint of a cut body: from orbits of pieces to numbered tables."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from puzzles.bodies import Vectors
from puzzles.errors import PuzzleFileError
from puzzles.orbits import MATCH, Orbit, Step, rotation, share
from puzzles.puzzle import PieceType, Sticker, Table
from puzzles.solid import Patch

#: The most slots times twists; kernels number placements in 16 bits and keep tables of pairs.
MOST_PLACEMENTS = 2000


@dataclass(frozen=True, eq=False)
class Painted:
    """The slots of one piece type with their twists, those that show or all that are kept.

    ``frames[k, x]`` is the rotation from the first slot to slot k with twist x, (k, x, 3, 3).
    ``patches[k, x, m]`` is the patch that the first slot's patch number m becomes there, -1 where
    slots are not painted alike; ``kinds[m]`` numbers its class. ``seen`` twists show. ``stays`` is
    true where no piece leaves its slot: then like slots make one type although none can be reached
    from another. ``axes[k]`` is what twists turn about, in the frame of slot k; ``rotations`` of
    them make a full turn.
    """

    pieces: tuple[int, ...]
    twists: int
    seen: int
    patches: NDArray[np.int64]
    kinds: tuple[int, ...]
    stays: bool
    depth: float
    frames: Vectors
    axes: Vectors
    rotations: int

    @property
    def stickered(self) -> bool:
        return bool(np.all(self.patches >= 0))


def painted(orbit: Orbit, patches: Sequence[Patch], keep: bool = False) -> Painted:
    """Find which rotations of a piece show, and start the twists at each slot's first face.

    A rotation by 1/n of a turn shows if some piece of the type would look different; those that do
    not make a cyclic group, so the visible twists are counted modulo an order. With ``keep`` all
    rotations are told apart.
    """
    own = _own(patches, orbit.pieces[0])
    n = orbit.rotations
    spins = [rotation(orbit.axis, -2 * math.pi * x / n) for x in range(n)]
    frames = np.array([[frame @ spin for spin in spins] for frame in orbit.frames])
    table = np.array(
        [
            [_images(frame, own, piece, patches) for frame in row]
            for piece, row in zip(orbit.pieces, frames, strict=True)
        ]
    )
    alike = bool(np.all(table >= 0))
    if alike:
        seen = next(
            x for x in range(1, n + 1) if x == n or np.array_equal(table[0, x], table[0, 0])
        )
    else:
        seen = next(x for x in range(1, n + 1) if n % x == 0 and _hidden(orbit, patches, x))
        table = np.full((len(orbit.pieces), n, 1), -1)
    twists = n if keep else seen
    table, frames = table[:, :twists], frames[:, :twists]
    classes: dict[frozenset[int], int] = {}
    kinds = []
    for m in range(table.shape[2]):
        kinds.append(classes.setdefault(frozenset(table[0, :, m].tolist()), len(classes)))
    full = [m for m in range(table.shape[2]) if len(set(table[0, :, m].tolist())) == seen]
    if alike and full:
        for k in range(len(table)):
            faces = [patches[p].face for p in table[k, :, full[0]]]
            first = faces.index(min(faces))
            table[k] = np.roll(table[k], -first, axis=0)
            frames[k] = frames[k, np.arange(first, first + twists) % twists]
    stays = len(orbit.pieces) == 1
    return Painted(
        orbit.pieces,
        twists,
        seen,
        table,
        tuple(kinds),
        stays,
        orbit.depth,
        frames,
        np.array([orbit.axis] * len(frames)),
        n,
    )


def _own(patches: Sequence[Patch], piece: int) -> list[int]:
    """Return the numbers of a piece's patches in the order of their faces."""
    return _by_piece(tuple(patches)).get(piece, [])


@lru_cache(maxsize=4)
def _by_piece(patches: tuple[Patch, ...]) -> dict[int, list[int]]:
    found: dict[int, list[int]] = {}
    for k in sorted(range(len(patches)), key=lambda k: (patches[k].piece, patches[k].face)):
        found.setdefault(patches[k].piece, []).append(k)
    return found


def _hidden(orbit: Orbit, patches: Sequence[Patch], twist: int) -> bool:
    """Return whether no piece of an orbit looks different with a twist."""
    spin = rotation(orbit.axis, -2 * math.pi * twist / orbit.rotations)
    for piece, frame in zip(orbit.pieces, orbit.frames, strict=True):
        own = _own(patches, piece)
        images = _images(frame @ spin @ frame.T, own, piece, patches)
        if any(
            image < 0 or patches[image].face != patches[k].face
            for k, image in zip(own, images, strict=True)
        ):
            return False
    return True


def grouped(orbits: list[Painted], exact: bool = True, told: bool = False) -> list[Painted]:
    """Join the pieces that never leave their slots and are alike in faces, twists and depth.

    The depth does not count where pieces need not fit their slots exactly. ``told``: hidden twists
    count too, so that types stay what they are whichever of them have these told apart.
    """
    result: list[Painted] = []
    for orbit in orbits:
        for k, other in enumerate(result):
            if (
                orbit.stays
                and other.stays
                and (orbit.twists, orbit.kinds) == (other.twists, other.kinds)
                and orbit.stickered == other.stickered
                and (not told or orbit.rotations == other.rotations)
                and (not exact or abs(orbit.depth - other.depth) < MATCH)
            ):
                result[k] = replace(
                    other,
                    pieces=other.pieces + orbit.pieces,
                    patches=np.concatenate([other.patches, orbit.patches]),
                    frames=np.concatenate([other.frames, orbit.frames]),
                    axes=np.concatenate([other.axes, orbit.axes]),
                )
                break
        else:
            result.append(orbit)
    return result


def _images(matrix: Vectors, own: list[int], piece: int, patches: Sequence[Patch]) -> list[int]:
    """Return which patches of a slot some patches lie on after a rotation, -1 for none.

    They are told by middle and area. Several patches never lie on one.
    """
    there = _own(patches, piece)
    if len(there) != len(own):
        return [-1] * len(own)
    middles = np.array([patches[k].centroid for k in there])
    areas = np.array([patches[k].area for k in there])
    moved = np.array([patches[k].centroid for k in own]) @ matrix.T
    off = np.linalg.norm(moved[:, None] - middles, axis=2)
    off += np.abs(np.array([patches[k].area for k in own])[:, None] - areas)
    nearest = off.argmin(axis=1)
    found = [there[int(k)] for k in nearest]
    if len(set(found)) < len(found):
        return [-1] * len(own)
    return [k if d < MATCH else -1 for k, d in zip(found, off.min(axis=1), strict=True)]


def number_types(painted_orbits: list[Painted], names: list[str]) -> tuple[PieceType, ...]:
    """Number slots and placements type by type."""
    result: list[PieceType] = []
    slot = placement = 0
    for number, (orbit, name) in enumerate(zip(painted_orbits, names, strict=True)):
        count, twists = len(orbit.pieces), orbit.twists
        moves = not orbit.stays or twists > 1
        result.append(
            PieceType(
                name, number, slot, count, twists, placement, moves, orbit.seen, orbit.stickered
            )
        )
        slot += count
        placement += count * twists
    if placement > MOST_PLACEMENTS:
        raise PuzzleFileError(
            f"the cuts make {placement:,} slots and twists; at most {MOST_PLACEMENTS:,} are allowed"
        )
    return tuple(result)


def step_tables(
    painted_orbits: list[Painted], types: tuple[PieceType, ...], steps: list[Step]
) -> list[Table]:
    """Return for one step of every layer which placement each placement goes to."""
    where = {
        piece: (number, k)
        for number, orbit in enumerate(painted_orbits)
        for k, piece in enumerate(orbit.pieces)
    }
    result = []
    for step in steps:
        row = np.arange(types[-1].placements.stop, dtype=np.int32)
        for number, (orbit, kind) in enumerate(zip(painted_orbits, types, strict=True)):
            for k, piece in enumerate(orbit.pieces):
                if not step.holds[piece]:
                    continue
                image = int(step.pieces[piece])
                there, j = where[image]
                assert there == number
                twist = twist_between(orbit, j, step.matrix @ orbit.frames[k, 0])
                old = kind.first_placement + k * kind.twists
                new = kind.first_placement + j * kind.twists
                turned = (np.arange(kind.twists) + twist) % kind.twists
                row[old : old + kind.twists] = new + turned
        result.append(row)
    return result


def twist_between(orbit: Painted, slot: int, frame: Vectors) -> int:
    """Return the twist with which a frame lies at a slot of an orbit, by its number there."""
    if orbit.twists == 1:
        return 0
    part = share(orbit.frames[slot, 0].T @ frame, orbit.axes[slot])
    return round(part * orbit.rotations) % orbit.twists


def sticker_table(
    painted_orbits: list[Painted], types: tuple[PieceType, ...], patches: Sequence[Patch]
) -> tuple[Sticker, ...]:
    """Return the stickers in the order of the patches, classes numbered across all types.

    Where the slots of a type are not painted alike, each of its stickers is a class of its own and
    shows no placement.
    """
    found: dict[int, Sticker] = {}
    first_kind = 0
    for orbit, kind in zip(painted_orbits, types, strict=True):
        if not kind.stickered:
            for k, piece in enumerate(orbit.pieces):
                for number in _own(patches, piece):
                    old = patches[number]
                    slot = kind.first_slot + k
                    found[number] = Sticker(slot, old.face, first_kind, -1, old.outline)
                    first_kind += 1
            continue
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
                    old = patches[patch]
                    found[patch] = Sticker(
                        kind.first_slot + k, old.face, first_kind + own, placement, old.outline
                    )
        first_kind += max(orbit.kinds) + 1
    return tuple(found[k] for k in range(len(patches)))


def alike_pieces(
    painted_orbits: list[Painted], types: tuple[PieceType, ...], patches: Sequence[Patch]
) -> tuple[Table, Table]:
    """Return for each piece its group of pieces that look the same, and the twist between them.

    The group is the number of its first piece; at any placement p, a piece looks as that first
    piece would at p with the twist added.
    """
    slots = types[-1].slots.stop
    group, shift = np.arange(slots, dtype=np.int32), np.zeros(slots, dtype=np.int32)
    for orbit, kind in zip(painted_orbits, types, strict=True):
        if orbit.stays:
            # None of them can come to another's slot, where it might look the same.
            continue
        paint = [sorted(patches[m].face for m in _own(patches, piece)) for piece in orbit.pieces]
        firsts: list[int] = []
        for k in range(kind.count):
            for first in firsts:
                if paint[k] != paint[first]:
                    continue
                twist = _twist_alike(orbit, k, first, patches)
                if twist is not None:
                    group[kind.first_slot + k] = kind.first_slot + first
                    shift[kind.first_slot + k] = twist
                    break
            else:
                firsts.append(k)
    return group, shift


def _twist_alike(orbit: Painted, slot: int, first: int, patches: Sequence[Patch]) -> int | None:
    """Return the twist with which another piece looks as that of a slot does, None for none."""
    own = _own(patches, orbit.pieces[first])
    for x in range(orbit.twists):
        spin = orbit.frames[0, 0].T @ orbit.frames[0, x]
        matrix = orbit.frames[slot, 0] @ spin @ orbit.frames[first, 0].T
        images = _images(matrix, own, orbit.pieces[slot], patches)
        if all(
            image >= 0 and patches[image].face == patches[k].face
            for k, image in zip(own, images, strict=True)
        ):
            return x
    return None
