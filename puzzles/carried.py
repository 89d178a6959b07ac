"""What a turn carries where on a ball: cells matched by their areas, exactly or by overlap."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from puzzles import file
from puzzles.ball import BallCells
from puzzles.bodies import SAME, Body, Vectors
from puzzles.errors import PuzzleFileError
from puzzles.expressions import angle
from puzzles.orbits import MATCH, Step, painted_faces, rotation
from puzzles.turns import Layer


@dataclass(frozen=True)
class Accepted:
    """What fits well enough: the share of a slot that is covered, or the gap between outlines.

    ``gap`` is in radians. None of both: only an exact fit.
    """

    share: float | None = None
    gap: float | None = None

    @property
    def words(self) -> str:
        if self.share is not None:
            return f"the file accepts {self.share:.0%}"
        if self.gap is not None:
            return f"the file accepts {math.degrees(self.gap):.3g} degrees"
        return "only an exact fit is accepted, unless the file has `accept` or `accept_gap`"


def accepted(model: file.PuzzleModel) -> Accepted:
    """Return what a file accepts as a fit; raises PuzzleFileError."""
    if model.accept_gap is None:
        return Accepted(model.accept)
    gap = angle(model.accept_gap, "accept_gap")
    if not 0 <= gap < math.pi / 4:
        raise PuzzleFileError("accept_gap: an angle between 0 and 45 degrees was expected")
    return Accepted(None, gap)


def step_of(number: int, layer: Layer, cells: BallCells, wanted: Accepted) -> Step:
    """Match the cells of a layer with their images under one step.

    Two cells are the same where area and vector area are; otherwise cells go where they overlap
    most in total. Raises PuzzleFileError that names the layer, the piece and how far off it is.
    """
    holds = cells.in_layer[number]
    matrix = rotation(np.array(layer.axis), -2 * math.pi / layer.steps)
    pieces = np.arange(len(holds))
    members = np.flatnonzero(holds)
    if len(members) == 0:
        raise PuzzleFileError(f"layer {layer.name} holds no piece")
    if len(members) == len(pieces):
        raise PuzzleFileError(f"layer {layer.name} holds every piece")
    marks = np.column_stack([cells.vectors, cells.areas])[members]
    moved = np.column_stack([cells.vectors[members] @ matrix.T, cells.areas[members]])
    distances = np.linalg.norm(moved[:, None] - marks, axis=2)
    nearest = distances.argmin(axis=1)
    if distances.min(axis=1).max() < MATCH and len(set(nearest.tolist())) == len(members):
        pieces[members] = members[nearest]
        return Step(matrix, holds, pieces)
    return _by_overlap(number, layer, cells, wanted, matrix)


def _by_overlap(
    number: int, layer: Layer, cells: BallCells, wanted: Accepted, matrix: Vectors
) -> Step:
    raise NotImplementedError


def named_faces(
    cells: BallCells, body: Body, directions: Vectors, groups: list[list[int]]
) -> list[int]:
    """Return how many faces each cell is named after, 0 for one that is named after none.

    That is how many it is painted with, if all cells that can reach its slot are; else those that
    it lies in the middle of.
    """
    painted = painted_faces(cells.patches, len(directions))
    axes = [
        (count, axis)
        for count, kind in ((1, "faces"), (2, "edges"), (3, "corners"))
        for _, axis in body.axes(kind)
    ]
    result = [0] * len(directions)
    for group in groups:
        counts = {painted[k] for k in group if any(p.face >= 0 for p in cells.patches)}
        for k in group:
            if len(counts) == 1:
                result[k] = painted[k]
                continue
            on = [count for count, axis in axes if float(axis @ directions[k]) > 1 - SAME]
            result[k] = on[0] if on else 0
    return result


def centres(cells: BallCells, layers: tuple[Layer, ...]) -> tuple[Vectors, Vectors]:
    """Return each cell's unit direction (pieces, 3) and the length of its middle (pieces,).

    A band round the ball has its middle in the ball's; it is given the axis of the layer that cut
    it, or the first axis there is.
    """
    middles = cells.vectors / cells.areas[:, None]
    depths = np.linalg.norm(middles, axis=1)
    directions = np.empty_like(middles)
    for k, (middle, depth) in enumerate(zip(middles, depths, strict=True)):
        if depth > 1e-6:
            directions[k] = middle / depth
        else:
            holding = np.flatnonzero(cells.in_layer[:, k])
            directions[k] = layers[int(holding[0]) if len(holding) else 0].axis
    return directions, depths
