"""How many pieces of each kind a cut body has, without tables, names or paint."""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from puzzles import orbits, solid
from puzzles.arrangement import Net
from puzzles.bodies import Vectors
from puzzles.errors import LimitError, PuzzleFileError
from puzzles.orbits import Step
from puzzles.turns import Layer
from puzzles.unknowns import OpenPuzzle

#: Pieces that stay are alike if their areas and vector areas agree in this many decimals.
_DECIMALS = 6


@dataclass(frozen=True, eq=False)
class Counted:
    """Counts of alike pieces, the largest first, and what tells puzzles with the same counts apart.

    ``net`` is the net of cuts of a ball, None of a solid.
    """

    counts: tuple[int, ...]
    key: Hashable
    net: Net | None

    @property
    def pieces(self) -> int:
        return sum(self.counts)


@dataclass(frozen=True)
class Refused:
    """Why there is no puzzle with some depths; ``endless`` if cuts never close or are too many."""

    why: str
    endless: bool


def count(puzzle: OpenPuzzle, bounds: Sequence[float]) -> Counted | Refused:
    """Return how many pieces of each kind there are where the open sizes have these bounds."""
    layers = puzzle.layers(bounds)
    if any(layer.low >= layer.high for layer in layers):
        return Refused("a layer would end before it begins", False)
    try:
        return _ball(puzzle, layers) if puzzle.model.shape == "ball" else _solid(puzzle, layers)
    except LimitError as error:
        return Refused(str(error), True)
    except PuzzleFileError as error:
        return Refused(str(error), False)


def _solid(puzzle: OpenPuzzle, layers: tuple[Layer, ...]) -> Counted:
    cells = solid.cut(puzzle.body, layers)
    steps = [
        orbits.step_of(layer, holds, cells, puzzle.body, layers)
        for layer, holds in zip(layers, cells.in_layer, strict=True)
    ]
    areas, sums = np.zeros(cells.in_layer.shape[1]), np.zeros((cells.in_layer.shape[1], 3))
    for patch in cells.patches:
        areas[patch.piece] += patch.area
        sums[patch.piece] += patch.area * patch.centroid
    marks = np.column_stack([areas, np.linalg.norm(sums, axis=1)])
    kinds = _kinds(orbits.groups(steps), marks, cells.in_layer)
    return _counted(kinds, cells.in_layer, None)


def _ball(puzzle: OpenPuzzle, layers: tuple[Layer, ...]) -> Counted:
    from puzzles import ball, carried

    model = puzzle.model
    wanted = carried.accepted(model)
    exact = wanted.share is None and wanted.gap is None
    closed = model.closed if "closed" in model.model_fields_set else exact
    cells = ball.cut(puzzle.body, layers, False, closed or exact)
    steps: list[Step] = [
        carried.step_of(number, layer, cells, puzzle.body, wanted)
        for number, layer in enumerate(layers)
    ]
    groups = orbits.groups(steps)
    marks = np.column_stack([cells.areas, np.linalg.norm(cells.vectors, axis=1)])
    net = cells.arrangement.net
    kinds = _kinds(groups, marks, cells.in_layer)
    found = _counted(kinds, cells.in_layer, net)
    return found if closed or not exact else _whole(found, kinds, cells.whole)


def _whole(parts: Counted, kinds: list[list[int]], whole: NDArray[np.int64]) -> Counted:
    """Count pieces that stay whole: those made of parts of the same kinds are alike."""
    made_of: dict[int, list[int]] = {}
    for number, kind in enumerate(kinds):
        for part in kind:
            made_of.setdefault(int(whole[part]), []).append(number)
    alike = Counter(tuple(sorted(own)) for own in made_of.values())
    return Counted(tuple(sorted(alike.values(), reverse=True)), (parts.key, len(alike)), parts.net)


def _kinds(groups: list[list[int]], marks: Vectors, in_layer: NDArray[np.bool_]) -> list[list[int]]:
    """Return groups of pieces, those that stay together where they have the same marks."""
    held = in_layer.sum(axis=0)
    alone: dict[Hashable, list[int]] = {}
    found: list[list[int]] = []
    for group in groups:
        if len(group) > 1:
            found.append(group)
            continue
        mark = tuple(np.round(marks[group[0]], _DECIMALS).tolist())
        alone.setdefault((mark, int(held[group[0]])), []).append(group[0])
    return found + list(alone.values())


def _counted(kinds: list[list[int]], in_layer: NDArray[np.bool_], net: Net | None) -> Counted:
    """Return the counts of kinds of pieces, and how many layers hold those of each kind."""
    held = in_layer.sum(axis=0)
    # How many layers hold the pieces does not depend on the depths, as long as nothing meets.
    key = tuple(sorted((len(own), int(held[own].sum()), int(held[own].max())) for own in kinds))
    return Counted(tuple(sorted(map(len, kinds), reverse=True)), key, net)
