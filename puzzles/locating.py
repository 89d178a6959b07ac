"""Great circles followed over a net of arcs: what they cross first says where a point is."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from puzzles.arrangement import Arrangement, Net
from puzzles.bodies import SAME, Vectors
from puzzles.circles import ROUND, Flags, Numbers

#: A crossing is trusted if the sine of its angle is larger and the edge's ends are farther off.
STEEP, CLEAR = 1e-3, 1e-6
#: Points are looked up in portions, so that points times circles stay below this.
_PORTION = 400_000
#: How many edges are aimed at, at three points each, before a point is given up.
_AIMS = 40
#: How many of the nearest circles are looked at for an edge.
_NEAREST = 6


@dataclass(frozen=True, eq=False)
class Crossings:
    """What great circles meet: way from the start, edge (-1: none), how it is crossed.

    All of shape (paths, 2 x circles used). ``rising`` says whether a path passes to the edge's
    left; ``trusted`` is False where it grazes the circle, or passes an end of an edge too closely.
    """

    way: Vectors
    edge: Numbers
    sine: Vectors
    rising: Flags
    trusted: Flags


def crossings(net: Net, start: Vectors, direction: Vectors) -> Crossings:
    """Follow great circles once round from points (m, 3) in tangent unit directions (m, 3)."""
    used = np.unique(net.circle)
    circles = net.circles
    axis, height, radius = circles.axis[used], circles.height[used], circles.radius[used]
    here, ahead = start @ axis.T, direction @ axis.T
    swing = np.hypot(here, ahead)
    inside = (swing - height) * (swing + height)
    # A path that grazes a circle from outside may be crossing it, but for rounding.
    row, column = np.nonzero((inside > 0) | (np.abs(swing - np.abs(height)) < CLEAR * radius))
    peak = np.arctan2(ahead[row, column], here[row, column])
    half = np.arctan2(np.sqrt(np.clip(inside[row, column], 0.0, None)), height[column])
    steep = swing[row, column] * np.sin(half) / radius[column]
    shape = (len(start), 2 * len(used))
    result = Crossings(
        np.zeros(shape),
        np.full(shape, -1, dtype=np.int64),
        np.zeros(shape),
        np.zeros(shape, dtype=np.bool_),
        np.zeros(shape, dtype=np.bool_),
    )
    which = used[column]
    slack = CLEAR / circles.radius[which]
    for sign in (-1, 1):
        way = (peak + sign * half) % ROUND
        points = np.cos(way)[:, None] * start[row] + np.sin(way)[:, None] * direction[row]
        angle = circles.angles(which, points)
        edge = net.find(which, angle, slack)
        along = (angle - net.start[edge] + slack) % ROUND - slack
        far = np.minimum(along, net.length[edge] - along) > slack
        place = row, column + (len(used) if sign == 1 else 0)
        result.way[place] = way
        result.edge[place] = edge
        result.sine[place] = steep
        result.rising[place] = sign == -1
        result.trusted[place] = far & (steep > STEEP)
    return result


def locate(arrangement: Arrangement, points: Vectors, mask: int) -> Numbers:
    """Return a face of the region in which each unit vector (m, 3) lies, -1 on its edges.

    Regions are what edges of the kinds in ``mask`` part; on an edge means within SAME. Where the
    nearest point of the net is inside an edge, the point lies on that side of it. From the others
    a great circle is followed to the first edge that it crosses; where that crossing is not to be
    trusted, another direction is taken. A point so close to a corner of the net that no direction
    can be trusted counts as on an edge.
    """
    points = np.asarray(points, dtype=np.float64).reshape(-1, 3)
    net, numbers = arrangement.net.only(mask)
    size = max(1, _PORTION // (len(np.unique(net.circle)) + len(net.points)))
    if len(points) > size:
        parts = [
            locate(arrangement, points[k : k + size], mask) for k in range(0, len(points), size)
        ]
        return np.concatenate(parts)
    half = _nearest(net, points)
    half[_on_edges(net, points)] = -2
    left = np.flatnonzero(half == -1)
    # Edges' middles, the longest first: a path towards one meets an edge for certain.
    longest = np.argsort(-net.length * net.circles.radius[net.circle], kind="stable")
    for share, aim in itertools.product((0.5, 0.29, 0.83), longest[:_AIMS].tolist()):
        if not len(left):
            break
        where = net.start[aim : aim + 1] + share * net.length[aim]
        target = net.circles.points(net.circle[aim : aim + 1], where)
        ahead, distance = towards(points[left], target)
        met = crossings(net, points[left], ahead)
        nearest = np.where(met.edge >= 0, met.way, 2 * ROUND).argmin(axis=1)
        rows = np.arange(len(left))
        edge = met.edge[rows, nearest]
        good = (edge >= 0) & met.trusted[rows, nearest]
        good &= (distance > CLEAR) & (distance < math.pi - CLEAR)
        # Rising to an edge's left, the path came from its right.
        side = np.where(met.rising[rows, nearest], 1, 0)
        half[left[good]] = (2 * edge + side)[good]
        left = left[~good]
    edge, side = half // 2, half % 2
    return np.where(half < 0, -1, arrangement.face[2 * numbers[edge] + side])


def _nearest(net: Net, points: Vectors) -> Numbers:
    """Return the half-edge whose inside is the nearest to each point, -1 where a corner is."""
    used = np.unique(net.circle)
    circles = net.circles
    height, radius = circles.height[used], circles.radius[used]
    here = points @ circles.axis[used].T
    across = np.sqrt(np.clip(1 - here * here, 0.0, None))
    away = np.abs(np.arctan2(across * height - here * radius, here * height + across * radius))
    if len(used) > _NEAREST:
        which = np.argpartition(away, _NEAREST, axis=1)[:, :_NEAREST]
    else:
        which = np.broadcast_to(np.arange(len(used)), away.shape)
    row = np.repeat(np.arange(len(points)), which.shape[1])
    column = which.ravel()
    angle = circles.angles(used[column], points[row])
    edge = net.find(used[column], angle, np.zeros(len(angle))).reshape(which.shape)
    chord = 2 * np.sin(np.where(edge < 0, math.pi, away[row, column].reshape(which.shape)) / 2)
    best = chord.argmin(axis=1)
    rows = np.arange(len(points))
    corners = net.points[np.unique(net.ends)]
    # Squared chords to corners, by products; a corner must be clearly farther.
    farther = 2 - 2 * (points @ corners.T).max(axis=1) > chord[rows, best] ** 2 + CLEAR
    inside = here[rows, which[rows, best]] > height[which[rows, best]]
    half = 2 * edge[rows, best] + np.where(inside, 0, 1)
    return np.where(farther & (edge[rows, best] >= 0), half, -1)


def _on_edges(net: Net, points: Vectors) -> Flags:
    """Return which points lie within SAME of an edge."""
    used = np.unique(net.circle)
    circles = net.circles
    off = np.abs(points @ circles.axis[used].T - circles.height[used]) / circles.radius[used]
    row, column = np.nonzero(off < SAME)
    which = used[column]
    edge = net.find(which, circles.angles(which, points[row]), SAME / circles.radius[which])
    result = np.zeros(len(points), dtype=np.bool_)
    result[row[edge >= 0]] = True
    return result


def towards(start: Vectors, target: Vectors) -> tuple[Vectors, Vectors]:
    """Return the tangent unit directions (m, 3) from points to others, and the ways (m,)."""
    cosine = np.sum(start * target, axis=1)
    ahead = target - cosine[:, None] * start
    sine = np.linalg.norm(ahead, axis=1)
    return ahead / np.maximum(sine, SAME)[:, None], np.arctan2(sine, cosine)
