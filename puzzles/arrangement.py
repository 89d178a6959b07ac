"""The net of arcs on the sphere: its faces, walked edge by edge, with areas in closed form."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from puzzles.bodies import SAME, Vectors
from puzzles.circles import ROUND, STRIDE, Arcs, Circles, Flags, Numbers, dots, frames
from puzzles.errors import PuzzleFileError
from puzzles.meeting import Meetings

#: Half-edges that leave a point in directions closer than this touch there, one inside the other.
_TANGENT = 1e-6
#: Areas must sum to the whole sphere, and vector areas to zero, as exactly as this.
_ALARM = 1e-7
#: An outline has a point at least every so many degrees.
_FINE = math.radians(3)


@dataclass(frozen=True, eq=False)
class Net:
    """Edges between points: circle, angle and length (in angle), kinds as bits, both ends.

    ``points`` has the shape (points, 3), ``ends`` (edges, 2). An edge runs counter-clockwise about
    its circle's axis. Edges are sorted by circle and angle.
    """

    circles: Circles
    points: Vectors
    circle: Numbers
    start: Vectors
    length: Vectors
    kind: Numbers
    ends: Numbers

    def find(self, circle: Numbers, angle: Vectors, slack: Vectors) -> Numbers:
        """Return the edges (m,) that hold angles of circles, -1 where there is none.

        Beyond its ends an edge holds as much as ``slack`` (m,), an angle.
        """
        keys = self.circle * STRIDE + self.start
        found = np.full(len(circle), -1, dtype=np.int64)
        # An edge that passes the angle 0, or begins there, is found by a full turn more or less.
        for turn in (-ROUND, ROUND, 0.0):
            some = np.arange(len(circle))
            if turn < 0:
                some = np.flatnonzero(angle + slack >= ROUND)
            where, wide = angle[some] + turn, slack[some]
            sought = circle[some] * STRIDE + np.clip(where + wide, -0.1, STRIDE - 0.1)
            at = np.maximum(np.searchsorted(keys, sought, side="right") - 1, 0)
            hit = (self.circle[at] == circle[some]) & (self.start[at] - wide <= where)
            hit &= where <= self.start[at] + self.length[at] + wide
            found[some[hit]] = at[hit]
        return found

    def only(self, mask: int) -> tuple[Net, Numbers]:
        """Return the net of the edges of some kinds, and which edges those are."""
        kept = np.flatnonzero(self.kind & mask)
        part = Net(
            self.circles,
            self.points,
            self.circle[kept],
            self.start[kept],
            self.length[kept],
            self.kind[kept],
            self.ends[kept],
        )
        return part, kept


def net(circles: Circles, kinds: Sequence[Arcs], met: Meetings) -> Net:
    """Return the edges between meeting points; bit k of an edge's kind says it is in kinds[k].

    A full circle that meets nothing must have got a point before.
    """
    order = np.lexsort((met.angle, met.circle))
    circle, point, start = met.circle[order], met.point[order], met.angle[order]
    if not len(circle):
        nothing = np.zeros(0, dtype=np.int64)
        none = np.zeros(0)
        return Net(circles, met.points, nothing, none, none, nothing, nothing.reshape(0, 2))
    last = np.append(circle[1:] != circle[:-1], True)
    following = np.arange(1, len(circle) + 1)
    following[last] = np.flatnonzero(np.append(True, last[:-1]))
    length = (start[following] - start) % ROUND
    length[following == np.arange(len(circle))] = ROUND
    middle = (start + length / 2) % ROUND
    kind = np.zeros(len(circle), dtype=np.int64)
    for bit, arcs in enumerate(kinds):
        kind |= arcs.covers(circle, middle, SAME).astype(np.int64) << bit
    there = kind > 0
    ends = np.column_stack([point, point[following]])
    return Net(
        circles, met.points, circle[there], start[there], length[there], kind[there], ends[there]
    )


def linked(count: int, first: Numbers, second: Numbers) -> Numbers:
    """Return a number for each of ``count`` things, equal where pairs link them, from 0 on."""
    label = np.arange(count)
    while True:
        low = np.minimum(label[first], label[second])
        new = label.copy()
        np.minimum.at(new, label[first], low)
        np.minimum.at(new, label[second], low)
        while not np.array_equal(new, new[new]):
            new = new[new]
        if np.array_equal(new, label):
            return np.unique(label, return_inverse=True)[1].astype(np.int64)
        label = new


@dataclass(frozen=True, eq=False)
class Arrangement:
    """A connected net and its faces; half-edge 2e runs along edge e, 2e + 1 back.

    ``face`` (half-edges,) is the face on the left of each. ``walk`` lists the half-edges face by
    face, each loop counter-clockwise about its face, and ``first`` (faces + 1,) says where each
    face begins in it. ``area`` (faces,) and ``vector`` (faces, 3) are areas and vector areas,
    the integral of the position over the face.
    """

    net: Net
    face: Numbers
    walk: Numbers
    first: Numbers
    area: Vectors
    vector: Vectors

    def merged(self, mask: int) -> Numbers:
        """Return for each face the number of the region it lies in between edges of some kinds."""
        through = np.flatnonzero(self.net.kind & mask == 0)
        return linked(len(self.area), self.face[2 * through], self.face[2 * through + 1])

    def above(self, axis: Vectors, height: float) -> Flags:
        """Return which faces lie above the circle at a height on an axis; it must be in the net.

        A face lies on one side of it with all its points, so the farthest one decides.
        """
        net = self.net
        middle = net.circles.points(net.circle, net.start + net.length / 2)
        beyond = np.repeat(middle @ axis - height, 2)
        along = net.circles.axis @ axis
        own = (np.abs(np.abs(along) - 1) < SAME) & (
            np.abs(net.circles.height * np.sign(along) - height) < 2 * SAME
        )
        # An edge of the circle itself has its axis on the left.
        left = np.repeat(np.where(own, np.sign(along), 0.0)[net.circle] * SAME, 2)
        left[1::2] *= -1
        beyond = np.where(left != 0.0, left, beyond)
        highest = np.full(len(self.area), -2.0)
        lowest = np.full(len(self.area), 2.0)
        np.maximum.at(highest, self.face, beyond)
        np.minimum.at(lowest, self.face, beyond)
        result: Flags = highest > -lowest
        return result

    def outlines(self) -> list[Vectors]:
        """Return each face's outline as points (k, 3), counter-clockwise; see `solid.Patch`."""
        net = self.net
        edge, back = self.walk // 2, self.walk % 2
        steps = np.maximum(1, np.ceil(net.length * net.circles.radius[net.circle] / _FINE))
        # Small circles are round, too: twelve points a turn at the least.
        steps = np.maximum(steps, np.ceil(net.length / (ROUND / 12) - SAME)).astype(np.int64)
        count = steps[edge]
        begin = np.concatenate([[0], np.cumsum(count)])
        share = (np.arange(begin[-1]) - np.repeat(begin[:-1], count)) / np.repeat(count, count)
        whole = np.repeat(edge, count)
        share = np.where(np.repeat(back, count) == 1, 1 - share, share)
        points = net.circles.points(net.circle[whole], net.start[whole] + share * net.length[whole])
        return np.split(points, begin[self.first[1:-1]])


def arrange(net: Net) -> Arrangement:
    """Walk the faces of a connected net, and measure them.

    Raises PuzzleFileError where Euler's formula or the sums of areas fail: the arcs then meet too
    delicately for the numbers at hand.
    """
    edges = len(net.circle)
    half = np.arange(2 * edges)
    edge, back = half // 2, half % 2
    sign = 1.0 - 2.0 * back
    origin = net.ends[edge, back]
    angle = net.start[edge] + np.where(back == 1, net.length[edge], 0.0)
    tangent = net.circles.tangents(net.circle[edge], angle) * sign[:, None]
    east, north = frames(net.points)
    heading = np.arctan2(dots(tangent, north[origin]), dots(tangent, east[origin]))
    bend = sign * (net.circles.height / net.circles.radius)[net.circle[edge]]
    order, place, first, last, around = _sorted_around(origin, heading, bend)
    # The next half-edge of a face is the one clockwise before the way back.
    before = np.where(place == first[origin], last[origin], place - 1)
    twin = half ^ 1
    following = order[before[twin]]
    inner = around[twin] - around[following]
    inner += np.where(place[following] < place[twin], 0.0, ROUND)
    face, walk, begin = _loops(following)
    faces = len(begin) - 1
    turning = sign * net.length[edge] * net.circles.height[net.circle[edge]] + math.pi - inner
    area = np.asarray(ROUND - np.bincount(face, turning, faces), dtype=np.float64)
    parts = _half_moments(net)
    vector = np.zeros((faces, 3))
    np.add.at(vector, face, parts[edge] * sign[:, None])
    used = len(np.unique(net.ends))
    if (
        used - edges + faces != 2
        or abs(float(area.sum()) - 2 * ROUND) > _ALARM
        or float(np.abs(vector.sum(axis=0)).max()) > _ALARM
        or float(area.min()) < -_ALARM
        or bool(np.any(np.linalg.norm(vector, axis=1) > area + _ALARM))
    ):
        raise PuzzleFileError(
            "the circles meet so delicately that their arcs cannot be told apart; give angles as "
            "formulas, such as to(UFR), to make them meet, or move them apart"
        )
    return Arrangement(net, face, walk, begin, area, vector)


def _sorted_around(
    origin: Numbers, heading: Vectors, bend: Vectors
) -> tuple[Numbers, Numbers, Numbers, Numbers, Vectors]:
    """Sort half-edges counter-clockwise about their points, touching ones by how they bend.

    Returns the order, each one's place in it, each point's first and last place, and each
    half-edge's angle about its point.
    """
    count = int(origin.max()) + 1
    lead = np.full(count, np.inf)
    np.minimum.at(lead, origin, heading)
    # Angles are counted from just before the least one, so that no touching pair is split.
    around = (heading - lead[origin] + 2 * _TANGENT) % ROUND
    order = np.lexsort((around, origin))
    close = np.diff(around[order], prepend=-1.0) < _TANGENT
    close &= np.diff(origin[order], prepend=-1) == 0
    group = np.empty(len(order), dtype=np.int64)
    group[order] = np.cumsum(~close)
    order = np.lexsort((bend, group))
    place = np.empty(len(order), dtype=np.int64)
    place[order] = np.arange(len(order))
    first = np.full(count, len(order), dtype=np.int64)
    last = np.full(count, -1, dtype=np.int64)
    np.minimum.at(first, origin, place)
    np.maximum.at(last, origin, place)
    return order, place, first, last, around


def _loops(following: Numbers) -> tuple[Numbers, Numbers, Numbers]:
    """Return each half-edge's loop, the half-edges loop by loop, and where each loop begins."""
    following_list = following.tolist()
    face = [-1] * len(following_list)
    walk: list[int] = []
    begin = [0]
    for start in range(len(following_list)):
        if face[start] >= 0:
            continue
        at = start
        while face[at] < 0:
            face[at] = len(begin) - 1
            walk.append(at)
            at = following_list[at]
        begin.append(len(walk))
    return np.array(face), np.array(walk), np.array(begin)


def _half_moments(net: Net) -> Vectors:
    """Return half the integral of r x dr along each edge, (edges, 3)."""
    circles, which = net.circles, net.circle
    low, high = net.start, net.start + net.length
    height, radius = circles.height[which], circles.radius[which]
    result: Vectors = (
        (height * radius)[:, None]
        * (
            (np.cos(high) - np.cos(low))[:, None] * circles.v[which]
            - (np.sin(high) - np.sin(low))[:, None] * circles.u[which]
        )
        + (radius * radius * net.length)[:, None] * circles.axis[which]
    ) / 2
    return result
