"""Great circles followed over a net of arcs: what they cross first says where a point is."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from puzzles.arrangement import Arrangement, Net
from puzzles.bodies import SAME, Vectors
from puzzles.circles import ROUND, Flags, Numbers, dots
from puzzles.errors import PuzzleFileError

#: A crossing is trusted if the sine of its angle is larger and the edge's ends are farther off.
STEEP, CLEAR = 1e-3, 1e-6
#: Points are looked up in portions, so that points times circles stay below this.
_PORTION = 400_000


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
    peak = np.arctan2(ahead, here)
    inside = (swing - height) * (swing + height)
    half = np.arctan2(np.sqrt(np.clip(inside, 0.0, None)), np.broadcast_to(height, swing.shape))
    way = np.concatenate([peak - half, peak + half], axis=1) % ROUND
    points = np.cos(way)[:, :, None] * start[:, None] + np.sin(way)[:, :, None] * direction[:, None]
    which = np.broadcast_to(np.concatenate([used, used]), way.shape).ravel()
    angle = circles.angles(which, points.reshape(-1, 3))
    grazing = np.abs(swing - np.abs(height)) < CLEAR * radius
    meets = np.concatenate([(inside > 0) | grazing] * 2, axis=1)
    edge = np.where(meets.ravel(), net.find(which, angle), -1)
    sine = np.concatenate([swing * np.sin(half) / radius] * 2, axis=1)
    along = (angle - net.start[edge]) % ROUND
    margin = np.minimum(along, net.length[edge] - along) * circles.radius[which]
    trusted = (margin > CLEAR).reshape(way.shape) & (sine > STEEP)
    rising = np.zeros(way.shape, dtype=np.bool_)
    rising[:, : len(used)] = True
    return Crossings(way, edge.reshape(way.shape), sine, rising, trusted)


def locate(arrangement: Arrangement, points: Vectors, mask: int) -> Numbers:
    """Return the face of each unit vector (m, 3); -1 within SAME of an edge of the kinds in mask.

    From each point a great circle is followed to the first edge that it crosses; where that
    crossing is not to be trusted, another direction is taken.
    """
    points = np.asarray(points, dtype=np.float64).reshape(-1, 3)
    net = arrangement.net
    size = max(1, _PORTION // len(np.unique(net.circle)))
    if len(points) > size:
        parts = [
            locate(arrangement, points[k : k + size], mask) for k in range(0, len(points), size)
        ]
        return np.concatenate(parts)
    found = np.full(len(points), -1, dtype=np.int64)
    left = np.flatnonzero(~_on_edges(net, points, mask))
    # Edges' middles, the longest first: a path towards one meets an edge for certain.
    longest = np.argsort(-net.length * net.circles.radius[net.circle], kind="stable")
    for share in (0.5, 0.29, 0.83):
        for aim in longest[:40].tolist():
            if not len(left):
                return found
            where = net.start[aim : aim + 1] + share * net.length[aim]
            target = net.circles.points(net.circle[aim : aim + 1], where)[0]
            ahead = target - (points[left] @ target)[:, None] * points[left]
            size_ = np.linalg.norm(ahead, axis=1)
            ahead /= np.maximum(size_, SAME)[:, None]
            met = crossings(net, points[left], ahead)
            way = np.where(met.edge >= 0, met.way, 2 * ROUND)
            # A point on an edge that does not count is on either side of it.
            way[(way < SAME) | ((way > ROUND - SAME) & (way <= ROUND))] = 0.0
            nearest = way.argmin(axis=1)
            rows = np.arange(len(left))
            edge = met.edge[rows, nearest]
            good = (size_ > CLEAR) & (edge >= 0) & met.trusted[rows, nearest]
            # Rising to an edge's left, the path came from its right.
            side = np.where(met.rising[rows, nearest], 1, 0)
            found[left[good]] = arrangement.face[2 * edge + side][good]
            left = left[~good]
    if len(left):
        raise PuzzleFileError("the cuts are too fine to say in which piece a point lies")
    return found


def _on_edges(net: Net, points: Vectors, mask: int) -> Flags:
    """Return which points lie within SAME of an edge of the kinds in mask."""
    used = np.unique(net.circle)
    circles = net.circles
    off = np.abs(points @ circles.axis[used].T - circles.height[used]) / circles.radius[used]
    row, column = np.nonzero(off < SAME)
    which = used[column]
    angle = circles.angles(which, points[row])
    result = np.zeros(len(points), dtype=np.bool_)
    for slack in (-1.0, 0.0, 1.0):
        edge = net.find(which, (angle + slack * SAME / circles.radius[which]) % ROUND)
        hit = (edge >= 0) & (net.kind[edge] & mask != 0)
        result[row[hit]] = True
    return result


def towards(start: Vectors, target: Vectors) -> tuple[Vectors, Vectors]:
    """Return the tangent unit directions (m, 3) from points to others, and the ways (m,)."""
    ahead = target - dots(start, target)[:, None] * start
    sine = np.linalg.norm(ahead, axis=1)
    way = np.arctan2(sine, dots(start, target))
    return ahead / np.maximum(sine, SAME)[:, None], np.where(sine < SAME, math.pi, way)
