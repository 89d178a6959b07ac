"""Circles on the unit sphere, told apart with a tolerance, and arcs of them as intervals."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from puzzles.bodies import SAME, Vectors

Numbers = NDArray[np.int64]
Flags = NDArray[np.bool_]

ROUND = 2 * math.pi
#: Circles, and points where they meet, closer than this and not the same are a slip of the file.
NEAR = 1e-4
#: Circles are sorted by the size of their product with this, which no symmetry leaves alone.
_KEY = np.array([0.6180339887, 0.3247179572, 0.5549581321, 0.4546323581])
#: The numbers of circles are multiplied by this, so that an angle fits between two of them.
STRIDE = 8.0


@dataclass(frozen=True, eq=False)
class Circles:
    """Circles on the unit sphere: unit axes (n, 3), heights (n,), radii (n,), frames (n, 3) each.

    Circle k holds the points ``height[k] axis[k] + radius[k] (u[k] cos t + v[k] sin t)``; its
    angle t grows counter-clockwise about the axis. A circle seen from the other side, with axis
    and height negated, is the same circle.
    """

    axis: Vectors
    height: Vectors
    radius: Vectors
    u: Vectors
    v: Vectors

    def __len__(self) -> int:
        return len(self.height)

    def points(self, circle: Numbers, angle: Vectors) -> Vectors:
        """Return the points (m, 3) at angles (m,) of the numbered circles (m,)."""
        around = np.cos(angle)[:, None] * self.u[circle] + np.sin(angle)[:, None] * self.v[circle]
        result: Vectors = (
            self.height[circle, None] * self.axis[circle] + self.radius[circle, None] * around
        )
        return result

    def tangents(self, circle: Numbers, angle: Vectors) -> Vectors:
        """Return the unit directions (m, 3) in which the angle grows."""
        result: Vectors = (
            np.cos(angle)[:, None] * self.v[circle] - np.sin(angle)[:, None] * self.u[circle]
        )
        return result

    def angles(self, circle: Numbers, points: Vectors) -> Vectors:
        """Return the angles (m,), from 0 up to a full turn, of points on the numbered circles."""
        angle = np.arctan2(dots(points, self.v[circle]), dots(points, self.u[circle]))
        return np.asarray(angle % ROUND % ROUND, dtype=np.float64)

    def keys(self) -> Vectors:
        """Return axis and height as one vector, (n, 4)."""
        return np.column_stack([self.axis, self.height])

    def plus(self, axis: Vectors, height: Vectors) -> Circles:
        """Return these circles and more of them."""
        return circles(np.vstack([self.axis, axis]), np.concatenate([self.height, height]))


def dots(first: Vectors, second: Vectors) -> Vectors:
    """Return the products of rows, (m,)."""
    result: Vectors = np.einsum("ij,ij->i", first, second)
    return result


def circles(axis: Vectors, height: Vectors) -> Circles:
    """Return the circles with unit axes (n, 3) at heights (n,) between -1 and 1."""
    axis = np.asarray(axis, dtype=np.float64).reshape(-1, 3)
    height = np.asarray(height, dtype=np.float64).reshape(-1)
    u, v = frames(axis)
    return Circles(axis, height, np.sqrt((1 - height) * (1 + height)), u, v)


def frames(axis: Vectors) -> tuple[Vectors, Vectors]:
    """Return two unit vectors (n, 3) each, right-handed with each of the unit vectors given."""
    least = np.abs(axis).argmin(axis=1)
    u = np.cross(axis, np.eye(3)[least])
    u /= np.linalg.norm(u, axis=1)[:, None]
    return u, np.cross(axis, u)


@dataclass(frozen=True, eq=False)
class Matched:
    """Circles that were looked up: numbers (m,), whether seen from the other side (m,).

    Numbers from the count of the known ones on are new circles, whose first appearances among
    those looked up are ``fresh``. ``near`` are (looked up, number, distance) of circles that differ
    by more than rounding, but by less than NEAR.
    """

    number: Numbers
    flipped: Flags
    fresh: Numbers
    near: list[tuple[int, int, float]]


def match(known: Vectors, wanted: Vectors) -> Matched:
    """Look circles up, (m, 4), among known ones, (n, 4), and among each other."""
    count = len(known)
    number = np.full(len(wanted), -1, dtype=np.int64)
    flipped = np.zeros(len(wanted), dtype=np.bool_)
    near: list[tuple[int, int, float]] = []
    fresh: list[int] = []
    rows = np.arange(len(wanted))
    _look(known, wanted, rows, 0, number, flipped, near)
    left = np.flatnonzero(number < 0)
    while len(left):
        # One new circle each time: there are few, though each may have been met often.
        first = int(left[0])
        alone = wanted[first : first + 1]
        _look(alone, wanted, left, count + len(fresh), number, flipped, near)
        fresh.append(first)
        left = left[number[left] < 0]
    return Matched(number, flipped, np.array(fresh, dtype=np.int64), near)


def _look(
    known: Vectors,
    wanted: Vectors,
    rows: Numbers,
    offset: int,
    number: Numbers,
    flipped: Flags,
    near: list[tuple[int, int, float]],
) -> None:
    """Write the number of each of some wanted circles among known ones, found by sorted keys."""
    if not len(known) or not len(rows):
        return
    keys = np.abs(known @ _KEY)
    order = np.argsort(keys)
    keys = keys[order]
    sought = np.abs(wanted[rows] @ _KEY)
    low = np.searchsorted(keys, sought - 2 * NEAR)
    high = np.searchsorted(keys, sought + 2 * NEAR)
    for step in range(int((high - low).max(initial=0))):
        some = np.flatnonzero(low + step < high)
        candidate = order[low[some] + step]
        one, other = wanted[rows[some]], known[candidate]
        straight = np.linalg.norm(one - other, axis=1)
        turned = np.linalg.norm(one + other, axis=1)
        distance = np.minimum(straight, turned)
        hit = distance < SAME
        number[rows[some[hit]]] = offset + candidate[hit]
        flipped[rows[some[hit]]] = turned[hit] < straight[hit]
        almost = np.flatnonzero(~hit & (distance < NEAR))
        near.extend(
            (int(rows[some[k]]), int(offset + candidate[k]), float(distance[k])) for k in almost[:1]
        )


class Cover:
    """For each circle the angles that belong to a set, as sorted disjoint intervals in one turn.

    An interval that passes the angle 0 is kept as two, one up to a full turn and one from 0.
    """

    def __init__(self) -> None:
        self.parts: dict[int, list[tuple[float, float]]] = {}

    def add(self, circle: int, start: float, length: float, slack: float) -> list[list[float]]:
        """Add an arc; return the parts [start, length] that were not yet covered.

        ``slack`` is the angle below which ends are the same: a tolerance over the radius.
        """
        if length > ROUND - slack:
            pieces = [(0.0, ROUND)]
        else:
            start %= ROUND
            # Ends at the angle 0 are made exact, so that an arc that passes it is known by them.
            start = 0.0 if min(start, ROUND - start) <= slack else start
            end = start + length
            if end <= ROUND + slack:
                pieces = [(start, ROUND if end >= ROUND - slack else end)]
            else:
                pieces = [(start, ROUND), (0.0, end - ROUND)]
        new: list[list[float]] = []
        for low, high in pieces:
            if high - low > slack:
                new.extend(self._piece(circle, low, high, slack))
        return new

    def _piece(self, circle: int, low: float, high: float, slack: float) -> list[list[float]]:
        parts = self.parts.setdefault(circle, [])
        new: list[list[float]] = []
        at = low
        for start, end in parts:
            if start > high:
                break
            if start - at > slack:
                new.append([at, start - at])
            at = max(at, end)
        if high - at > slack:
            new.append([at, high - at])
        if new:
            merged: list[tuple[float, float]] = []
            for start, end in sorted([*parts, (low, high)]):
                if merged and start <= merged[-1][1] + slack:
                    merged[-1] = (merged[-1][0], max(merged[-1][1], end))
                else:
                    merged.append((start, end))
            self.parts[circle] = merged
        return new

    def arcs(self) -> Arcs:
        """Return the set as arrays."""
        rows = [
            (circle, start, end)
            for circle in sorted(self.parts)
            for start, end in self.parts[circle]
        ]
        return arcs_of(rows)


@dataclass(frozen=True, eq=False)
class Arcs:
    """A set of arcs: circle numbers, starts and ends (k,), sorted, disjoint, within one turn."""

    circle: Numbers
    start: Vectors
    end: Vectors

    def covers(self, circle: Numbers, angle: Vectors, slack: Vectors | float = 0.0) -> Flags:
        """Return which angles (m,), from 0 up to a full turn, of circles (m,) are in the set."""
        found = self._covers(circle, angle, slack)
        if np.any(slack):
            found |= self._covers(circle, angle + ROUND, slack)
            found |= self._covers(circle, angle - ROUND, slack)
        return found

    def _covers(self, circle: Numbers, angle: Vectors, slack: Vectors | float) -> Flags:
        if not len(self.circle):
            return np.zeros(len(circle), dtype=np.bool_)
        keys = self.circle * STRIDE + self.start
        inside = np.clip(angle + slack, -0.1, ROUND + 0.1)
        at = np.searchsorted(keys, circle * STRIDE + inside, side="right") - 1
        at = np.maximum(at, 0)
        result: Flags = (
            (self.circle[at] == circle)
            & (self.start[at] - slack <= angle)
            & (angle <= self.end[at] + slack)
        )
        return result

    def ends(self) -> tuple[Numbers, Vectors]:
        """Return circle and angle of every true end; where an arc passes 0 there is none."""
        low = self.start <= 0.0
        high = self.end >= ROUND
        passing = np.intersect1d(self.circle[low], self.circle[high])
        through = np.isin(self.circle, passing)
        starts, ends = ~(low & through), ~(high & through)
        circle = np.concatenate([self.circle[starts], self.circle[ends]])
        return circle, np.concatenate([self.start[starts], self.end[ends]]) % ROUND


def arcs_of(rows: Sequence[tuple[int, float, float]]) -> Arcs:
    """Return arcs from rows (circle, start, end) that are sorted and disjoint."""
    return Arcs(
        np.array([row[0] for row in rows], dtype=np.int64),
        np.array([row[1] for row in rows], dtype=np.float64),
        np.array([row[2] for row in rows], dtype=np.float64),
    )


def whole(numbers: Iterable[int]) -> Arcs:
    """Return full circles as arcs."""
    return arcs_of([(number, 0.0, ROUND) for number in sorted(numbers)])
