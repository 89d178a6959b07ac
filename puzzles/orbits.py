"""What a turn carries where: matching of patches, orbits of pieces, how often they twist."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from puzzles.bodies import SAME, Body, Vectors
from puzzles.errors import PuzzleFileError
from puzzles.solid import Cells, Patch
from puzzles.turns import Layer

#: A patch that a turn carries onto another differs from it by rounding only (3e-14 was measured).
MATCH = 1e-7
#: Twists are shares of a full turn with at most this denominator; no layer has more steps.
FINEST_TWIST = 60


@dataclass(frozen=True, eq=False)
class Step:
    """What one smallest step of a layer does: its matrix, the pieces it holds, and where they go.

    ``pieces[k]`` is the image of piece number k.
    """

    matrix: Vectors
    holds: NDArray[np.bool_]
    pieces: NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Orbit:
    """Pieces that can reach each other's slots, in the order of their names.

    ``frames[k]`` is a rotation that carries the first slot to slot k; ``rotations`` counts the
    rotations that bring a piece back into its slot, whether the paint shows them or not.
    """

    pieces: tuple[int, ...]
    frames: tuple[Vectors, ...]
    rotations: int
    axis: Vectors
    depth: float


def rotation(axis: Vectors, angle: float) -> Vectors:
    """Return the matrix of a rotation, counter-clockwise as seen from the axis's tip."""
    x, y, z = axis
    cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    result: Vectors = np.eye(3) + math.sin(angle) * cross + (1 - math.cos(angle)) * cross @ cross
    return result


def step_of(
    layer: Layer,
    holds: NDArray[np.bool_],
    cells: Cells,
    body: Body,
    layers: Sequence[Layer],
) -> Step:
    """Match the patches of a layer with their images under one step; all must fit exactly.

    ``layers`` are all that cut the body. Raises PuzzleFileError that names the layer, the piece,
    how far off it is, and what the file lacks.
    """
    matrix = rotation(np.array(layer.axis), -2 * math.pi / layer.steps)
    patches = np.arange(len(cells.patches))
    pieces = np.arange(len(holds))
    owners = np.array([patch.piece for patch in cells.patches])
    members = np.flatnonzero(holds[owners])
    if len(members) == 0:
        raise PuzzleFileError(f"layer {layer.name} holds no piece: its cut lies outside the body")
    if len(members) == len(patches):
        raise PuzzleFileError(f"layer {layer.name} holds every piece: its cut misses the body")
    centroids = np.array([cells.patches[k].centroid for k in members])
    nearest = np.linalg.norm((centroids @ matrix.T)[:, None] - centroids, axis=2).argmin(axis=1)
    for member, target in zip(members, members[nearest], strict=True):
        old, new = cells.patches[member], cells.patches[target]
        gap = _gap(old.outline @ matrix.T, new.outline)
        if gap > MATCH:
            size = min(old.area, new.area) / max(old.area, new.area)
            raise PuzzleFileError(
                f"layer {layer.name} by 1 of {layer.steps}: the patch on face "
                f"{body.faces[old.face].name} around {_point(old.centroid)} fits nowhere in the "
                f"layer; the nearest is {size:.0%} as large with corners up to {gap:.2g} off, and "
                f"only an exact fit is accepted{_advice(layer, layers, cells, members, body)}"
            )
        patches[member] = target
    pieces[owners] = owners[patches]
    if np.any(owners[patches] != pieces[owners]) or len(set(patches.tolist())) != len(patches):
        raise PuzzleFileError(
            f"layer {layer.name} by 1 of {layer.steps}: a piece would be torn apart; "
            "its patches do not stay together"
        )
    return Step(matrix, holds, pieces)


def _advice(
    layer: Layer, layers: Sequence[Layer], cells: Cells, members: NDArray[np.intp], body: Body
) -> str:
    """Return what the file lacks, to go on with after a sentence."""
    from puzzles.misfits import advice

    points = np.concatenate([cells.patches[k].outline for k in members])
    text = advice(layer, layers, body, points)
    return f"; {text}" if text else ""


def _point(vector: Vectors) -> str:
    # Adding zero makes no "-0.00".
    return "(" + ", ".join(f"{round(float(x), 2) + 0.0:.2f}" for x in vector) + ")"


def _gap(outline: Vectors, other: Vectors) -> float:
    """Return how far the farthest corner of either outline is from the nearest of the other."""
    distances = np.linalg.norm(outline[:, None] - other, axis=2)
    return float(max(distances.min(axis=1).max(), distances.min(axis=0).max()))


def centres(cells: Cells, layers: Sequence[Layer]) -> tuple[Vectors, Vectors]:
    """Return each piece's unit direction (pieces, 3) and distance from the centre (pieces,).

    A piece that reaches evenly to all sides, such as what is left of a cube whose corners turn, has
    its middle in the body's; it is given the axis of the layer that turns it, or the direction of
    its first patch.
    """
    count = cells.in_layer.shape[1]
    sums, areas = np.zeros((count, 3)), np.zeros(count)
    for patch in cells.patches:
        sums[patch.piece] += patch.area * patch.centroid
        areas[patch.piece] += patch.area
    middles = sums / areas[:, None]
    depths = np.linalg.norm(middles, axis=1)
    for piece in np.flatnonzero(depths < SAME):
        holding = np.flatnonzero(cells.in_layer[:, piece])
        first = next(p.centroid for p in cells.patches if p.piece == piece)
        middles[piece] = layers[int(holding[0])].axis if len(holding) else first
    return middles / np.linalg.norm(middles, axis=1)[:, None], depths


def painted_faces(patches: Sequence[Patch], pieces: int) -> list[int]:
    """Return on how many faces each piece has stickers."""
    faces: list[set[int]] = [set() for _ in range(pieces)]
    for patch in patches:
        faces[patch.piece].add(patch.face)
    return [len(own) for own in faces]


def in_order(
    steps: list[Step], body: Body, directions: Vectors, depths: Vectors, faces: list[int]
) -> list[Orbit]:
    """Return the orbits of pieces, given their directions, depths and how many faces each shows."""
    order = {piece: body.nearest(directions[piece]) for piece in range(len(depths))}

    def rank(group: list[int]) -> tuple[int, float, int, list[tuple[int, ...]]]:
        first = group[0]
        depth = -round(float(depths[first]), 6)
        return -min(3, faces[first]), depth, -len(group), order[first]

    found = [sorted(group, key=order.__getitem__) for group in groups(steps)]
    return [_orbit(group, steps, body, directions, depths) for group in sorted(found, key=rank)]


def nearest_faces(body: Body, direction: Vectors) -> str:
    """Return the letters of the faces that are nearest to a direction, at least three."""
    letters = ""
    for group in body.nearest(direction):
        letters += "".join(body.faces[k].name for k in group)
        if len(letters) >= 3:
            break
    return letters


def groups(steps: list[Step]) -> list[list[int]]:
    """Return the pieces that steps carry into each other's places."""
    left = set(range(len(steps[0].holds)))
    result = []
    while left:
        group = [left.pop()]
        for piece in group:
            for step in steps:
                image = int(step.pieces[piece])
                if image in left:
                    left.remove(image)
                    group.append(image)
        result.append(group)
    return result


def _orbit(
    pieces: list[int], steps: list[Step], body: Body, directions: Vectors, depths: Vectors
) -> Orbit:
    """Carry a frame along the orbit, and read off the twists with which it comes back.

    Raises PuzzleFileError for more twists than are told apart, as where pieces fit so roughly that
    they come back askew.
    """
    found = {pieces[0]: np.eye(3)}
    queue = [pieces[0]]
    rotations = 1
    axis = directions[pieces[0]]
    for piece in queue:
        for step in steps:
            if not step.holds[piece]:
                continue
            image = int(step.pieces[piece])
            frame = step.matrix @ found[piece]
            if image in found:
                part = share(found[image].T @ frame, axis)
                rotations = math.lcm(rotations, part.denominator)
                if rotations > FINEST_TWIST:
                    raise PuzzleFileError(
                        f"the piece near {nearest_faces(body, axis)} comes back to its place "
                        f"twisted in more than {FINEST_TWIST} ways; at most {FINEST_TWIST}, equal "
                        "shares of a full turn, are told apart"
                    )
            else:
                found[image] = frame
                queue.append(image)
    frames = tuple(found[piece] for piece in pieces)
    return Orbit(tuple(pieces), frames, rotations, axis, float(depths[pieces[0]]))


def share(matrix: Vectors, axis: Vectors) -> Fraction:
    """Return the clockwise angle of a rotation about a known axis, as a share of a full turn.

    The axis may be off a little, as on puzzles whose pieces do not fit their slots exactly: it only
    tells the sense.
    """
    cross = np.array(
        [matrix[2, 1] - matrix[1, 2], matrix[0, 2] - matrix[2, 0], matrix[1, 0] - matrix[0, 1]]
    )
    sine = -math.copysign(float(np.linalg.norm(cross)), float(cross @ axis)) / 2
    cosine = (float(np.trace(matrix)) - 1) / 2
    part = (math.atan2(sine, cosine) / (2 * math.pi)) % 1.0
    return Fraction(part).limit_denominator(FINEST_TWIST) % 1
