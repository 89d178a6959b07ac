"""Flat shapes on the paper, given by their loops: where there is room, and fewer points."""

from __future__ import annotations

import math

import numpy as np

from puzzles.bodies import Vectors
from puzzles.views import Spot

#: How far a drawn line may be from the true one, in units of the picture.
_FLAT = 0.12
#: The best spot of a shape is looked for on a grid of so many points across.
_GRID = 13


def best_spot(shape: list[Vectors], middle: Vectors, busy: Vectors | None = None) -> Spot:
    """Return where a shape has most room: its middle if that is nearly as good, else searched.

    ``busy`` are points (…, 2) to keep clear of.
    """
    points, sides = _sides(shape)
    low, high = points.min(axis=0), points.max(axis=0)
    best, chosen = 0.0, points.mean(axis=0)
    own = float(_depths(points, sides, middle[None], busy)[0])
    for _ in range(3):
        across, up = (np.linspace(low[k], high[k], _GRID) for k in (0, 1))
        grid = np.stack(np.meshgrid(across, up), axis=-1).reshape(-1, 2)
        deep = _depths(points, sides, grid, busy)
        if deep.max() > best:
            best, chosen = float(deep.max()), grid[int(deep.argmax())]
        step = (high - low) / (_GRID - 1)
        low, high = chosen - step, chosen + step
    return Spot(middle, own) if own > 0.85 * best else Spot(chosen, best)


def room_at(shape: list[Vectors], place: Vectors, busy: Vectors | None = None) -> float:
    """Return how far inside a shape a place (2,) is, negative outside; see `best_spot`."""
    points = np.concatenate(shape)
    if np.any(place < points.min(axis=0)) or np.any(place > points.max(axis=0)):
        return -math.inf
    return float(_depths(*_sides(shape), place[None], busy)[0])


def _sides(shape: list[Vectors]) -> tuple[Vectors, Vectors]:
    """Return the points (k, 2) of all loops and the way (k, 2) from each to the next."""
    ways = [np.roll(loop, -1, axis=0) - loop for loop in shape]
    return np.concatenate(shape), np.concatenate(ways)


def _depths(
    points: Vectors, sides: Vectors, places: Vectors, busy: Vectors | None = None
) -> Vectors:
    """Return how far places (m, 2) are inside a shape with sides (k, 2) from points (k, 2).

    It is negative outside. Points to keep clear of count as its edge.
    """
    to = places[:, None] - points
    length = np.maximum((sides**2).sum(axis=1), 1e-12)
    along = np.clip((to * sides).sum(axis=2) / length, 0.0, 1.0)
    away = np.linalg.norm(to - along[..., None] * sides, axis=2).min(axis=1)
    above = points[:, 1] > places[:, None, 1]
    after = points[:, 1] + sides[:, 1] > places[:, None, 1]
    tall = np.where(sides[:, 1] == 0, 1.0, sides[:, 1])
    crossing = points[:, 0] + sides[:, 0] * -to[..., 1] / -tall
    inside = ((above != after) & (places[:, None, 0] < crossing)).sum(axis=1) % 2 == 1
    if busy is not None and len(busy):
        away = np.minimum(away, np.linalg.norm(places[:, None] - busy, axis=2).min(axis=1))
    return np.asarray(np.where(inside, away, -away))


def simple(shape: Vectors, flat: float = _FLAT) -> Vectors:
    """Return a closed line without the points that it does not need (Douglas and Peucker, 1973).

    No point is farther than ``flat`` from the line that is left.
    """
    if len(shape) < 4:
        return shape
    far = int(((shape - shape[0]) ** 2).sum(axis=1).argmax())
    kept = {0, far}
    stack = [(0, far), (far, len(shape))]
    while stack:
        first, last = stack.pop()
        if last - first < 2:
            continue
        start, end = shape[first], shape[last % len(shape)]
        way, to = end - start, shape[first + 1 : last] - start
        length = math.hypot(*way)
        if length > 1e-9:
            off = np.abs(to[:, 0] * way[1] - to[:, 1] * way[0]) / length
        else:
            off = np.linalg.norm(to, axis=1)
        worst = int(off.argmax())
        if off[worst] > flat:
            middle = first + 1 + worst
            kept.add(middle)
            stack += [(first, middle), (middle, last)]
    return shape[sorted(kept)]
