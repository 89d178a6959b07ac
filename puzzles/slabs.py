"""The slabs between the cuts across an axis, and which layers turn for a block of slabs."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from puzzles.bodies import Vectors
from puzzles.puzzle import Puzzle
from puzzles.symmetry import CLOSE


@dataclass(frozen=True, eq=False)
class Line:
    """The layers on an axis and its opposite.

    ``bounds`` are all depths at which a slab begins or ends; ``layers`` gives each layer's number,
    whether its axis points the line's way (1 or -1), and its slabs.
    """

    axis: Vectors
    bounds: tuple[float, ...]
    layers: tuple[tuple[int, int, frozenset[int]], ...]


@lru_cache(maxsize=64)
def _lines(puzzle: Puzzle) -> tuple[Line, ...]:
    axes: list[Vectors] = []
    for layer in puzzle.layers:
        axis = np.array(layer.axis)
        if not any(abs(float(axis @ other)) > 1 - CLOSE for other in axes):
            axes.append(axis)
    result = []
    for axis in axes:
        own = []
        for number, layer in enumerate(puzzle.layers):
            along = float(axis @ np.array(layer.axis))
            if abs(along) > 1 - CLOSE:
                ends = (layer.low, layer.high) if along > 0 else (-layer.high, -layer.low)
                own.append((number, 1 if along > 0 else -1, ends))
        bounds: list[float] = []
        for depth in sorted(x for *_, ends in own for x in (*ends, -math.inf, math.inf)):
            if not bounds or not _same(depth, bounds[-1]):
                bounds.append(depth)
        layers = tuple((n, sense, _between(bounds, *ends)) for n, sense, ends in own)
        result.append(Line(axis, tuple(bounds), tuple((n, s, x) for n, s, x in layers if x)))
    return tuple(result)


def _same(x: float, y: float) -> bool:
    return x == y or abs(x - y) < CLOSE


def _between(bounds: list[float] | tuple[float, ...], low: float, high: float) -> frozenset[int]:
    """Return the slabs between two depths; none if a depth is no bound."""
    ends = [k for depth in (low, high) for k, x in enumerate(bounds) if _same(x, depth)]
    return frozenset(range(*ends)) if len(ends) == 2 else frozenset()


def line_along(puzzle: Puzzle, axis: Vectors) -> tuple[Line, int] | None:
    """Return the line along an axis, and whether it points the same way (1 or -1)."""
    for line in _lines(puzzle):
        along = float(line.axis @ axis)
        if abs(along) > 1 - CLOSE:
            return line, 1 if along > 0 else -1
    return None


def _cover(line: Line, wanted: frozenset[int]) -> list[tuple[int, int]] | None:
    """Return the fewest layers, with their senses, that together are the wanted slabs."""
    if not wanted:
        return []
    best: list[tuple[int, int]] | None = None
    for number, sense, slabs in line.layers:
        if min(wanted) in slabs and slabs <= wanted:
            rest = _cover(line, wanted - slabs)
            if rest is not None and (best is None or len(rest) + 1 < len(best)):
                best = [(number, sense), *rest]
    return best


def turning_layers(
    puzzle: Puzzle, axis: Vectors, low: float, high: float
) -> tuple[list[tuple[int, int]], bool] | None:
    """Return the layers that turn for a block, with their senses, and whether the whole turns.

    The senses tell for turning about ``axis``; None if the block cannot be had.
    """
    if low == -math.inf and high == math.inf:
        return [], True
    found = line_along(puzzle, axis)
    if found is None:
        return None
    line, way = found
    slabs = _between(line.bounds, *((low, high) if way > 0 else (-high, -low)))
    if not slabs:
        return None
    own = _cover(line, slabs)
    if own is not None:
        return [(number, sense * way) for number, sense in own], False
    others = _cover(line, frozenset(range(len(line.bounds) - 1)) - slabs)
    return None if others is None else ([(n, -sense * way) for n, sense in others], True)
