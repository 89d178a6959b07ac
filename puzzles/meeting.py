"""Where arcs on the sphere cross and touch, and the complaint about those that nearly meet."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from puzzles.bodies import SAME, Vectors
from puzzles.circles import NEAR, ROUND, Arcs, Circles, Flags, Numbers, dots
from puzzles.errors import LimitError, PuzzleFileError

#: The most points in which arcs may meet; the ball of 218 pieces has 296.
MOST_POINTS = 8000
#: The most crossings of two arcs; many may lie in one point.
MOST_CROSSINGS = 60_000
#: Points are first sorted into boxes of this size; the boxes' sides are then looked over.
_BOX = 1e-6
#: Points are sorted along this direction, which no symmetry leaves alone.
_ALONG = np.array([0.5698402910, 0.7548776662, 0.3247179572])


@dataclass(frozen=True, eq=False)
class Meetings:
    """Points (n, 3), and which of them lie on which circle at which angle: (k,) each, by circle."""

    points: Vectors
    circle: Numbers
    point: Numbers
    angle: Vectors


def coinciding(first: str, second: str, gap: float) -> PuzzleFileError:
    """Return the complaint about two circles that are nearly, but not quite, the same."""
    return PuzzleFileError(
        f"{first} and {second} are nearly the same circle, {_degrees(gap)}; give angles as "
        "formulas, such as to(UFR), to make them the same, or move them apart"
    )


def nearly(names: Sequence[str], how: str) -> PuzzleFileError:
    """Return the complaint about circles that nearly meet in a point, and how near."""
    listed = list(dict.fromkeys(names))
    said = listed[0] if len(listed) == 1 else ", ".join(listed[:-1]) + " and " + listed[-1]
    return PuzzleFileError(
        f"{said} nearly meet, {how}; give angles as formulas, such as to(UFR), to "
        "make them meet, or move them apart"
    )


def _degrees(gap: float) -> str:
    return f"{math.degrees(gap):.1g} degrees apart"


def meetings(circles: Circles, arcs: Arcs, names: Sequence[str] | None) -> Meetings:
    """Return where a set of arcs meets itself, and where its arcs end.

    With names, raises PuzzleFileError for arcs that nearly meet; without, those are told apart as
    they are. Raises LimitError for too many points.
    """
    pairs = _pairs(circles, np.unique(arcs.circle))
    if names is not None:
        _complain(circles, arcs, names, pairs)
    one, other, at, points = _crossing(circles, pairs)
    there = circles.angles(other, points)
    slack = SAME / circles.radius
    meets = arcs.covers(one, at, slack[one]) & arcs.covers(other, there, slack[other])
    one, other, points = one[meets], other[meets], points[meets]
    at, there = at[meets], there[meets]
    if len(one) > MOST_CROSSINGS:
        raise _too_many(len(one))
    end, where = arcs.ends()
    points = np.vstack([points, circles.points(end, where)])
    rows = np.concatenate([np.arange(len(one))] * 2 + [len(one) + np.arange(len(end))])
    circle = np.concatenate([one, other, end])
    angle = np.concatenate([at, there, where])
    distinct, number = _distinct(points, circle, rows, names)
    vertex = number[rows]
    _, kept = np.unique(circle * len(distinct) + vertex, return_index=True)
    return Meetings(distinct, circle[kept], vertex[kept], angle[kept])


def _too_many(count: int) -> LimitError:
    return LimitError(
        f"the circles meet {count:,} times; {MOST_POINTS:,} points and {MOST_CROSSINGS:,} pairs "
        "of circles there are the most allowed"
    )


@dataclass(frozen=True, eq=False)
class _Pairs:
    """Pairs of circles: how far beyond the middle of the first the second cuts its axis.

    Over the second's axis the first circle's points lie from middle - swing to middle + swing;
    ``beyond`` is the second's height less the middle, and ``gap`` how far the two are apart,
    negative where they cross. Pairs with the same axis are left out: they never meet.
    """

    first: Numbers
    second: Numbers
    beyond: Vectors
    swing: Vectors
    gap: Vectors

    def where(self, kept: Flags) -> _Pairs:
        """Return some of the pairs."""
        return _Pairs(
            self.first[kept],
            self.second[kept],
            self.beyond[kept],
            self.swing[kept],
            self.gap[kept],
        )


def _pairs(circles: Circles, used: Numbers) -> _Pairs:
    """Return the pairs of circles that cross, touch, or nearly touch."""
    row, column = np.triu_indices(len(used), 1)
    first, second = used[row], used[column]
    leaning = np.linalg.norm(np.cross(circles.axis[first], circles.axis[second]), axis=1)
    swing = circles.radius[first] * leaning
    middle = circles.height[first] * dots(circles.axis[first], circles.axis[second])
    beyond = circles.height[second] - middle
    gap = (np.abs(beyond) - swing) / circles.radius[second]
    return _Pairs(first, second, beyond, swing, gap).where((gap < NEAR) & (leaning > SAME))


def _crossing(circles: Circles, pairs: _Pairs) -> tuple[Numbers, Numbers, Vectors, Vectors]:
    """Return the points in which pairs of circles cross (two) or touch (one), seen from the first.

    Returned are circle, other circle, angle on the first, and the point itself.
    """
    pairs = pairs.where(pairs.gap < SAME)
    one, other = pairs.first, pairs.second
    touching = np.abs(pairs.gap) < SAME
    inside = (pairs.swing - pairs.beyond) * (pairs.swing + pairs.beyond)
    half = np.arctan2(np.sqrt(np.clip(inside, 0.0, None)), pairs.beyond)
    half[touching] = np.where(pairs.beyond[touching] > 0, 0.0, math.pi)
    peak = _peak(circles, one, other)
    twice = ~touching
    angle = np.concatenate([peak + half, (peak - half)[twice]]) % ROUND % ROUND
    one = np.concatenate([one, one[twice]])
    other = np.concatenate([other, other[twice]])
    return one, other, angle, circles.points(one, angle)


def _peak(circles: Circles, one: Numbers, other: Numbers) -> Vectors:
    """Return the angle on each circle at which it is nearest to another's axis."""
    along = dots(circles.u[one], circles.axis[other])
    across = dots(circles.v[one], circles.axis[other])
    return np.asarray(np.arctan2(across, along), dtype=np.float64)


def _complain(circles: Circles, arcs: Arcs, names: Sequence[str], pairs: _Pairs) -> None:
    """Raise the complaint about arcs that nearly touch."""
    pairs = pairs.where((np.abs(pairs.gap) < NEAR) & (np.abs(pairs.gap) >= SAME))
    one, other = pairs.first, pairs.second
    angle = _peak(circles, one, other) + np.where(pairs.beyond > 0, 0.0, math.pi)
    angle = angle % ROUND % ROUND
    slack = 2 * NEAR / circles.radius
    there = circles.angles(other, circles.points(one, angle))
    meets = arcs.covers(one, angle, slack[one]) & arcs.covers(other, there, slack[other])
    for k in np.flatnonzero(meets)[:1]:
        raise nearly([names[int(one[k])], names[int(other[k])]], _degrees(abs(float(pairs.gap[k]))))


def _distinct(
    points: Vectors, circle: Numbers, rows: Numbers, names: Sequence[str] | None
) -> tuple[Vectors, Numbers]:
    """Return the different points, and the number of each given one among them.

    ``circle[k]`` passes through the point ``rows[k]``; that is for complaints.
    """
    if not len(points):
        return points, np.zeros(0, dtype=np.int64)
    boxes = np.round(points / _BOX).astype(np.int64)
    boxes -= boxes.min(axis=0)
    span = int(boxes.max()) + 1
    keys = (boxes[:, 0] * span + boxes[:, 1]) * span + boxes[:, 2]
    _, lead, number = np.unique(keys, return_index=True, return_inverse=True)
    if names is None:
        # Circles that nearly meet are allowed here: points of one box may differ.
        far = np.linalg.norm(points - points[lead[number]], axis=1) >= SAME
        lead = np.concatenate([lead, np.flatnonzero(far)])
        number[far] = np.arange(len(lead) - far.sum(), len(lead))
    else:
        _apart(points, np.arange(len(points)), lead[number], circle, rows, names)
    if len(lead) > 4 * MOST_POINTS:
        raise _too_many(len(lead))
    order = np.argsort(points[lead] @ _ALONG)
    along = (points[lead] @ _ALONG)[order]
    same = np.arange(len(lead))
    limit = SAME if names is None else NEAR
    step = 1
    while step < len(lead):
        low = np.flatnonzero(along[step:] - along[:-step] < limit)
        if not len(low):
            break
        one, other = order[low], order[low + step]
        if names is not None:
            _apart(points, lead[one], lead[other], circle, rows, names)
        close = np.linalg.norm(points[lead[one]] - points[lead[other]], axis=1) < SAME
        for a, b in zip(one[close].tolist(), other[close].tolist(), strict=True):
            least, most = sorted((int(same[a]), int(same[b])))
            same[same == most] = least
        step += 1
    left, place = np.unique(same, return_inverse=True)
    if len(left) > MOST_POINTS:
        raise _too_many(len(left))
    return points[lead[left]], place[number]


def _apart(
    points: Vectors,
    first: Numbers,
    second: Numbers,
    circle: Numbers,
    rows: Numbers,
    names: Sequence[str],
) -> None:
    """Raise the complaint if two points are near each other and not the same."""
    gap = np.linalg.norm(points[first] - points[second], axis=1)
    for k in np.flatnonzero((gap >= SAME) & (gap < NEAR))[:1]:
        here = np.isin(rows, [first[k], second[k]])
        raise nearly(
            [names[x] for x in sorted(set(circle[here].tolist()))], _degrees(float(gap[k]))
        )
