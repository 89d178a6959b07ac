"""What a turn carries where on a ball: cells matched by their areas, exactly or by overlap."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from puzzles import file, overlap
from puzzles.ball import BallCells
from puzzles.bodies import SAME, Body, Vectors
from puzzles.errors import PuzzleFileError
from puzzles.expressions import angle
from puzzles.orbits import MATCH, Step, nearest_faces, painted_faces, rotation
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
        return "only an exact fit is accepted (`accept` or `accept_gap` in the file allow more)"


def accepted(model: file.PuzzleModel) -> Accepted:
    """Return what a file accepts as a fit; raises PuzzleFileError."""
    if model.accept_gap is None:
        return Accepted(model.accept)
    gap = angle(model.accept_gap, "accept_gap")
    if not 0 <= gap < math.pi / 4:
        raise PuzzleFileError("accept_gap: an angle between 0 and 45 degrees was expected")
    return Accepted(None, gap)


def step_of(number: int, layer: Layer, cells: BallCells, body: Body, wanted: Accepted) -> Step:
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
    return _by_overlap(number, layer, cells, body, wanted, matrix)


def _by_overlap(
    number: int, layer: Layer, cells: BallCells, body: Body, wanted: Accepted, matrix: Vectors
) -> Step:
    """Send cells where they overlap most in total, if every one fits as well as the file accepts.

    Raises PuzzleFileError for the cell that fits worst.
    """
    from scipy.optimize import linear_sum_assignment

    holds = cells.in_layer[number]
    members = np.flatnonzero(holds)
    areas = cells.areas[members]
    shares = overlap.covering(cells, layer, holds, matrix) / np.maximum(areas[:, None], areas)
    _, targets = linear_sum_assignment(-shares)
    own = shares[np.arange(len(members)), targets]
    worst = int(own.argmin())
    if wanted.gap is None:
        fits = wanted.share is not None and own[worst] >= wanted.share
    else:
        gaps = [
            overlap.gap(cells, int(p), int(members[t]), matrix)
            for p, t in zip(members, targets, strict=True)
        ]
        worst = int(np.argmax(gaps))
        fits = math.radians(gaps[worst]) <= wanted.gap
    if not fits:
        piece, slot = int(members[worst]), int(members[targets[worst]])
        smaller = cells.areas[piece] <= cells.areas[slot]
        verb = "covers its new slot" if smaller else "lies in its new slot"
        raise PuzzleFileError(
            f"layer {layer.name} by 1 of {layer.steps}: the piece near {_near(cells, body, piece)} "
            f"{verb} to {own[worst]:.0%}; outlines differ by up to "
            f"{overlap.gap(cells, piece, slot, matrix):.2g} degrees; {wanted.words}"
        )
    pieces = np.arange(len(holds))
    pieces[members] = members[targets]
    return Step(matrix, holds, pieces)


def _near(cells: BallCells, body: Body, piece: int) -> str:
    """Return the letters of the faces that are nearest to a cell, at least three."""
    middle = cells.vectors[piece]
    length = float(np.linalg.norm(middle))
    if length < SAME:
        return "the middle"
    return nearest_faces(body, middle / length)


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
