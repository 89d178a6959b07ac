"""Critical angles on a ball: where, as one bound moves, circles touch or three meet in a point.

Circles that turns make of others have the heights of those and axes that do not depend on any
height. So between two critical angles the cuts of a ball only move, and what meets what stays.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from puzzles.arrangement import Net
from puzzles.ball import CUT
from puzzles.bodies import Vectors
from puzzles.circles import Arcs, Circles, Flags, Numbers

#: Critical angles closer than this are one; of several, the one computed most exactly is taken.
SAME_ANGLE = 1e-7
#: Heights that agree as closely as this are those of one bound.
_SAME_HEIGHT = 1e-11
#: An arc's end may move so many times as fast as the bound; where it may have come, it counts.
_SPEED = 4.0
#: From how many circles on only pairs are looked at, not triples: such balls have thousands of
#: pieces, and nobody counts those.
_MOST_CIRCLES = 400
#: Triples are looked at in portions of this size.
_PORTION = 300_000
_BLOCK = 256


@dataclass(frozen=True, eq=False)
class _Moving:
    """Circles as caps: axes (n, 3); which of them move (n,); heights of the others (n,)."""

    number: Numbers
    axis: Vectors
    moves: Flags
    height: Vectors


@dataclass(frozen=True, eq=False)
class _Events:
    """Angles (k,) at which circles meet; ``circles`` (k, 3), the third -1 where two touch.

    ``sign`` says on which side of the first circle's axis, as seen from the second's, they touch.
    """

    angle: Vectors
    circles: Numbers
    sign: Vectors


def between(
    net: Net, bound: float, least: float, most: float, matrices: Sequence[Vectors]
) -> tuple[float, float]:
    """Return the nearest critical angles below and above a bound, or the ends of its range.

    ``net`` is what the cuts make where the bound is what it is; circles at its height move with
    it. ``matrices`` carry the layers to each other.
    """
    edges = np.flatnonzero(net.kind & CUT)
    caps = _caps(net.circles, np.unique(net.circle[edges]), math.cos(bound))
    found = [_touching(caps)]
    if len(caps.number) <= _MOST_CIRCLES:
        found.append(_meeting(caps, _representatives(caps, matrices)))
    angle = np.concatenate([x.angle for x in found])
    circles = np.concatenate([x.circles for x in found])
    sign = np.concatenate([x.sign for x in found])
    arcs = Arcs(net.circle[edges], net.start[edges], net.start[edges] + net.length[edges])
    ends = []
    for side, end in ((-1, least), (1, most)):
        beyond = (angle - bound) * side
        some = np.flatnonzero((beyond > SAME_ANGLE) & (beyond < (end - bound) * side))
        # Where two circles touch is known more exactly: those stand first.
        some = some[np.lexsort((circles[some, 2] >= 0, np.round(beyond[some] / SAME_ANGLE)))]
        for k in range(0, len(some), _BLOCK):
            rows = some[k : k + _BLOCK]
            own = _Events(angle[rows], circles[rows], sign[rows])
            real = np.flatnonzero(_real(own, caps, net.circles, arcs, bound))
            if len(real):
                end = _most_exact(own, real)
                break
        ends.append(float(end))
    return ends[0], ends[1]


def _most_exact(own: _Events, real: Numbers) -> float:
    """Return the first real angle, by two circles that touch there if there are any."""
    first = own.angle[real[0]]
    same = real[np.abs(own.angle[real] - first) < SAME_ANGLE]
    touching = same[own.circles[same, 2] < 0]
    return float(own.angle[touching[0] if len(touching) else same[0]])


def _caps(circles: Circles, used: Numbers, height: float) -> _Moving:
    own = circles.height[used]
    moves = np.abs(np.abs(own) - abs(height)) < _SAME_HEIGHT
    sign = np.where(moves & (own * height < 0), -1.0, 1.0)
    return _Moving(used, circles.axis[used] * sign[:, None], moves, own)


def _representatives(caps: _Moving, matrices: Sequence[Vectors]) -> list[int]:
    """Return one circle of each class that the matrices carry to each other."""
    left = np.ones(len(caps.number), dtype=np.bool_)
    result = []
    for k in range(len(left)):
        if not left[k]:
            continue
        result.append(k)
        for matrix in matrices:
            along = caps.axis @ (matrix @ caps.axis[k])
            same = caps.moves == caps.moves[k]
            ahead = (along > 1 - 1e-9) & (np.abs(caps.height - caps.height[k]) < 1e-9)
            back = (along < 1e-9 - 1) & (np.abs(caps.height + caps.height[k]) < 1e-9)
            left &= ~(same & (ahead | (back & ~caps.moves)))
        left[k] = False
    return result


def _touching(caps: _Moving) -> _Events:
    """Return the angles at which two circles, one of them moving at least, touch."""
    first, second = np.triu_indices(len(caps.number), 1)
    swap = ~caps.moves[first]
    first, second = np.where(swap, second, first), np.where(swap, first, second)
    kept = caps.moves[first]
    first, second = first[kept], second[kept]
    cross = np.linalg.norm(np.cross(caps.axis[first], caps.axis[second]), axis=1)
    theta = np.arctan2(cross, np.einsum("ij,ij->i", caps.axis[first], caps.axis[second]))
    both = caps.moves[second]
    radius = np.arccos(np.clip(caps.height[second], -1, 1))
    rows = [
        (both, theta / 2, 1.0),
        (both, math.pi - theta / 2, -1.0),
        (~both, theta - radius, 1.0),
        (~both, radius + theta, 1.0),
        (~both, radius - theta, -1.0),
        (~both, 2 * math.pi - theta - radius, -1.0),
    ]
    angle = np.concatenate([value[which] for which, value, _ in rows])
    sign = np.concatenate([np.full(int(which.sum()), s) for which, _, s in rows])
    one = np.concatenate([first[which] for which, *_ in rows])
    other = np.concatenate([second[which] for which, *_ in rows])
    return _Events(angle, np.column_stack([one, other, np.full(len(one), -1)]), sign)


def _meeting(caps: _Moving, first: list[int]) -> _Events:
    """Return the angles at which a circle of some and two others, one moving, meet in a point."""
    j, k = np.triu_indices(len(caps.number), 1)
    angles, triples = [], []
    for i in first:
        kept = (j != i) & (k != i) & (caps.moves[i] | caps.moves[j] | caps.moves[k])
        rows = np.column_stack([np.full(int(kept.sum()), i), j[kept], k[kept]])
        for at in range(0, len(rows), _PORTION):
            own = rows[at : at + _PORTION]
            cosine, which = _cosines(caps, own)
            angles.append(np.arccos(np.clip(cosine, -1, 1)))
            triples.append(own[which])
    angle = np.concatenate([np.zeros(0), *angles])
    circles = np.concatenate([np.zeros((0, 3), dtype=np.int64), *triples])
    return _Events(angle, circles, np.zeros(len(angle)))


def _cosines(caps: _Moving, rows: Numbers) -> tuple[Vectors, Numbers]:
    """Return cosines at which triples of circles meet, and which triple each belongs to.

    A point x of three circles has N x = h, so that h' G^-1 h = 1 for the matrix G of the products
    of axes: with h = p u + q a quadratic equation in the moving cosine u. Axes in one plane, with
    weights c that add up to nothing, need c h = 0 instead.
    """
    axis = caps.axis[rows]
    p = caps.moves[rows].astype(np.float64)
    q = np.where(caps.moves[rows], 0.0, caps.height[rows])
    cross = np.cross(axis[:, [1, 2, 0]], axis[:, [2, 0, 1]])
    det = np.einsum("ij,ij->i", axis[:, 0], cross[:, 0])
    # The adjugate of G is the matrix of the products of the cross products.
    adjugate = np.einsum("kia,kja->kij", cross, cross)
    a = np.einsum("ki,kij,kj->k", p, adjugate, p)
    b = 2 * np.einsum("ki,kij,kj->k", p, adjugate, q)
    c = np.einsum("ki,kij,kj->k", q, adjugate, q) - det * det
    flat = np.abs(det) < 1e-7
    solid = ~flat & (np.abs(a) > 1e-12)
    root = b * b - 4 * a * c
    fits = np.flatnonzero(solid & (root > -1e-12))
    swing = np.sqrt(np.clip(root[fits], 0.0, None))
    # In this form nothing cancels.
    sum_of = -(b[fits] + np.where(b[fits] < 0, -1.0, 1.0) * swing) / 2
    with np.errstate(divide="ignore", invalid="ignore"):
        roots = [sum_of / a[fits], np.where(sum_of == 0, 0.0, c[fits] / sum_of)]
    linear = np.flatnonzero(~flat & ~solid & (np.abs(b) > 1e-12))
    plane = np.flatnonzero(flat)
    lead = np.linalg.norm(cross[plane], axis=2).argmax(axis=1)
    normal = cross[plane, lead]
    weights = np.einsum("kia,ka->ki", cross[plane], normal)
    below = np.einsum("ki,ki->k", weights, p[plane])
    steady = np.abs(below) > 1e-9
    plane, weights, below = plane[steady], weights[steady], below[steady]
    u = np.concatenate(
        [*roots, -c[linear] / b[linear], -np.einsum("ki,ki->k", weights, q[plane]) / below]
    )
    which = np.concatenate([fits, fits, linear, plane])
    kept = np.isfinite(u) & (np.abs(u) <= 1)
    return u[kept], which[kept]


def _real(own: _Events, caps: _Moving, circles: Circles, arcs: Arcs, bound: float) -> Flags:
    """Return at which angles the arcs that are there may reach the meeting point."""
    cosine = np.cos(own.angle)
    result = np.zeros(len(cosine), dtype=np.bool_)
    touching = own.circles[:, 2] < 0
    for points, rows in _points(own, caps, cosine, touching):
        good = np.ones(len(rows), dtype=np.bool_)
        for column in range(3):
            which = own.circles[rows, column]
            number = caps.number[np.maximum(which, 0)]
            moved = np.where(caps.moves[np.maximum(which, 0)], cosine[rows], caps.height[which])
            radius = np.sqrt(np.clip(1 - moved**2, 1e-12, None))
            slack = _SPEED * np.abs(own.angle[rows] - bound) / radius + 1e-6
            angle = circles.angles(number, points)
            good &= (which < 0) | arcs.covers(number, angle, np.minimum(slack, 1.0))
        result[rows] |= good
    return result


def _points(
    own: _Events, caps: _Moving, cosine: Vectors, touching: Flags
) -> list[tuple[Vectors, Numbers]]:
    """Return possible meeting points and the numbers of their events."""
    found = []
    rows = np.flatnonzero(touching)
    one, other = caps.axis[own.circles[rows, 0]], caps.axis[own.circles[rows, 1]]
    aside = other - np.einsum("ij,ij->i", one, other)[:, None] * one
    length = np.linalg.norm(aside, axis=1)
    parallel = length < 1e-9
    length[parallel] = 1.0
    aside *= (own.sign[rows] / length)[:, None]
    sine = np.sqrt(np.clip(1 - cosine[rows] ** 2, 0.0, None))
    found.append((cosine[rows, None] * one + sine[:, None] * aside, rows))
    # Circles that become the same touch everywhere: some of their points will do.
    for k in rows[parallel].tolist():
        axis = caps.axis[own.circles[k, 0]]
        u = np.cross(axis, np.eye(3)[np.abs(axis).argmin()])
        u /= np.linalg.norm(u)
        turn = np.linspace(0, 2 * math.pi, 24, endpoint=False)[:, None]
        ring = np.cos(turn) * u + np.sin(turn) * np.cross(axis, u)
        points = cosine[k] * axis + math.sqrt(max(0.0, 1 - cosine[k] ** 2)) * ring
        found.extend((point[None], np.array([k])) for point in points)
    rows = np.flatnonzero(~touching)
    which = own.circles[rows]
    axis = caps.axis[which]
    height = np.where(caps.moves[which], cosine[rows, None], caps.height[which])
    # The nearest solution also serves axes in one plane; there, the point may be on either side.
    inverse = np.linalg.pinv(axis, rcond=1e-7)
    middle = np.einsum("kij,kj->ki", inverse, height)
    cross = np.cross(axis[:, [0, 0]], axis[:, [1, 2]])
    normal = cross[np.arange(len(rows)), np.linalg.norm(cross, axis=2).argmax(axis=1)]
    normal /= np.maximum(np.linalg.norm(normal, axis=1), 1e-12)[:, None]
    left = 1 - np.einsum("ij,ij->i", middle, middle)
    flat = np.abs(np.einsum("ij,ij->i", axis[:, 0], np.cross(axis[:, 1], axis[:, 2]))) < 1e-7
    off = np.where(flat, np.sqrt(np.clip(left, 0.0, None)), 0.0)[:, None] * normal
    inside = left > -1e-6
    for side in (1, -1):
        found.append(((middle + side * off)[inside], rows[inside]))
    return found
