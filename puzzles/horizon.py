"""Patches of the unit sphere as loops of points, and the part of them that a viewer sees.

The viewer is far away and sees the half of the sphere that is turned towards them; its rim is the
horizon. Through a loupe they see a smaller cap, whose rim is called the horizon here, too. A loop
runs counter-clockwise about its patch, as seen from outside: the patch is on its left. Clipping
follows Weiler and Atherton (Hidden surface removal using polygon area sorting, 1977), for one
straight line, which here is a circle: where a loop leaves the visible cap, the patch goes on along
the horizon, counter-clockwise, to the next place where a loop comes in.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from functools import lru_cache

import numpy as np

from puzzles.bodies import Vectors

#: Points that are closer than this are the same.
_SAME = 1e-7
#: Directions without a symmetry, by which equal points are found.
_SORTING = np.array(
    [
        [0.6180339887, 0.3247179572, 0.5549581321],
        [-0.4546323581, 0.7548776662, 0.1459898100],
        [0.2207440846, -0.5698402910, 0.6823278038],
    ]
)
#: Points no higher than this over the plane of the horizon are not over it: they are rounding.
_LEVEL = 1e-12
#: The horizon has a point at least every so many degrees.
_FINE = math.radians(4)
#: Entries this near behind an exit, in radians, are the same point, met once more a turn later.
_BEHIND = 1e-9


def boundary(outlines: Sequence[Vectors]) -> list[Vectors]:
    """Return the loops (k, 3) around the union of patches that do not overlap.

    ``outlines`` are closed lines (k, 3), the first point not repeated. What they walk in both
    directions is left out: the side that two patches share, and the seam between the rim and the
    hole of a ring. The whole sphere has no loop.
    """
    points = np.concatenate(outlines)
    label = _labels(points)
    following = np.arange(1, len(points) + 1)
    ends = np.cumsum([len(outline) for outline in outlines])
    following[ends - 1] = ends - [len(outline) for outline in outlines]
    left: dict[tuple[int, int], list[int]] = {}
    for number, after in enumerate(following.tolist()):
        first, second = int(label[number]), int(label[after])
        back = left.get((second, first))
        if first == second:
            continue
        if back:
            back.pop()
        else:
            left.setdefault((first, second), []).append(number)
    leaving: dict[int, list[tuple[int, int]]] = {}
    for (first, second), numbers in left.items():
        leaving.setdefault(first, []).extend((second, number) for number in numbers)
    loops = []
    for start, ways in leaving.items():
        while ways:
            loop, at = [], start
            while True:
                at, number = leaving[at].pop()
                loop.append(number)
                if at == start:
                    break
            loops.append(points[loop])
    return loops


def _labels(points: Vectors) -> np.ndarray[tuple[int, ...], np.dtype[np.int64]]:
    """Return a number for each point (k, 3), the same for the same points."""
    columns = []
    for keys in (points @ _SORTING.T).T:
        order = np.argsort(keys)
        new = np.concatenate([[0], np.diff(keys[order]) > _SAME])
        column = np.empty(len(points), dtype=np.int64)
        column[order] = np.cumsum(new)
        columns.append(column)
    return np.unique(np.column_stack(columns), axis=0, return_inverse=True)[1].reshape(-1)


def seen(loops: Iterable[Vectors], toward: Vectors, level: float = 0.0) -> list[Vectors]:
    """Return the loops (k, 3) around what is seen of a patch, all in the visible cap.

    ``toward`` is the unit vector to the viewer, ``level`` the height of the horizon in that
    direction: 0 for the half of the sphere, more for a smaller cap. The list is empty where nothing
    is seen, and where ``loops`` is.
    """
    east, north = _horizon_frame(*toward.tolist())
    whole: list[Vectors] = []
    hidden: list[Vectors] = []
    chains: list[Vectors] = []
    for loop in loops:
        above = loop @ toward - level > _LEVEL
        if above.all():
            whole.append(loop)
        elif not above.any():
            hidden.append(loop)
        else:
            chains.extend(_chains(loop, above, toward, level))
    if not chains:
        around = [_flat_area(loop, east, north, toward) for loop in whole]
        around += [-_flat_area(loop, east, north, -toward) for loop in hidden]
        # A patch is round the horizon if a loop on one side has it on the outer side.
        if (whole or hidden) and _rounds(around, len(whole)):
            rim = _along(0.0, 2 * math.pi, east, north)[:-1]
            whole.append(_raised(rim, toward, level))
        return whole
    entry = np.array([_angle(chain[0], east, north) for chain in chains])
    leave = np.array([_angle(chain[-1], east, north) for chain in chains])
    unused = set(range(len(chains)))
    while unused:
        first = number = min(unused)
        parts: list[Vectors] = []
        while True:
            unused.discard(number)
            ahead = (entry - leave[number] - _BEHIND) % (2 * math.pi) + _BEHIND
            after = int(ahead.argmin())
            parts.append(chains[number][:-1])
            rim = _along(float(leave[number]), float(ahead[after]), east, north)
            parts.append(_raised(rim[:-1], toward, level))
            number = after
            if number == first or number not in unused:
                break
        whole.append(np.concatenate(parts))
    return whole


def _rounds(areas: list[float], visible: int) -> bool:
    """Return whether the horizon lies in a patch, from the flat areas of loops that miss it.

    Loops of one side say it: those that have the patch on their outer side outweigh the others.
    """
    own = areas[:visible] or areas
    return sum(own) < 0


@lru_cache(maxsize=16)
def _horizon_frame(x: float, y: float, z: float) -> tuple[Vectors, Vectors]:
    """Return unit vectors east and north that make a right-handed frame with one to the viewer."""
    toward = np.array([x, y, z])
    east: Vectors = np.cross(toward, np.eye(3)[int(np.abs(toward).argmin())])
    east = east / np.linalg.norm(east)
    return east, np.cross(toward, east)


def _angle(point: Vectors, east: Vectors, north: Vectors) -> float:
    return math.atan2(float(point @ north), float(point @ east))


def _flat_area(loop: Vectors, east: Vectors, north: Vectors, pole: Vectors) -> float:
    """Return the area inside a loop's stereographic projection, positive if counter-clockwise.

    ``pole`` is the point in its middle; the sphere is seen from the side of ``east x north``.
    """
    away = 1 + loop @ pole
    x, y = loop @ east / away, loop @ north / away
    return float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2


def _along(start: float, length: float, east: Vectors, north: Vectors) -> Vectors:
    """Return points (k, 3) of a great circle from an angle on, both ends included."""
    angles = start + np.linspace(0.0, length, max(2, math.ceil(length / _FINE) + 1))
    points: Vectors = np.cos(angles)[:, None] * east + np.sin(angles)[:, None] * north
    return points


def _raised(points: Vectors, toward: Vectors, level: float) -> Vectors:
    """Return points (k, 3) of the great circle about ``toward`` moved up to the horizon."""
    return points * math.sqrt(1 - level * level) + toward * level


def _chains(loop: Vectors, above: np.ndarray, toward: Vectors, level: float) -> list[Vectors]:
    """Return the visible parts of a loop, each from one point of the horizon to another."""
    entering = np.flatnonzero(above & ~np.roll(above, 1))
    leaving = np.flatnonzero(above & ~np.roll(above, -1))
    count = len(loop)
    chains = []
    for first in entering.tolist():
        last = int(leaving[np.argmin((leaving - first) % count)])
        numbers = (first + np.arange((last - first) % count + 1)) % count
        chains.append(
            np.vstack(
                [
                    _crossing(loop[first - 1], loop[first], toward, level),
                    loop[numbers],
                    _crossing(loop[last], loop[(last + 1) % count], toward, level),
                ]
            )
        )
    return chains


def _crossing(first: Vectors, second: Vectors, toward: Vectors, level: float) -> Vectors:
    """Return where the horizon lies between two points on both its sides.

    It is exact for a great circle; for a smaller one, which is crossed by short steps, nearly so.
    """
    here, there = float(first @ toward) - level, float(second @ toward) - level
    point: Vectors = first * there - second * here
    point = point if there > here else -point
    flat = point - (point @ toward) * toward
    return _raised(flat / np.linalg.norm(flat), toward, level)
