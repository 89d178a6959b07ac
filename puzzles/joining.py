"""Bridges between parts of a net that do not touch, so that each face has a single outline."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from puzzles.arrangement import Net, linked, net
from puzzles.bodies import SAME, Vectors
from puzzles.circles import ROUND, Arcs, Circles, Cover, Flags, Numbers, match
from puzzles.errors import PuzzleFileError
from puzzles.locating import CLEAR, STEEP, Crossings, crossings, towards
from puzzles.meeting import Meetings

#: How many bridges are looked at before one is built, and from how many points they start.
_TRIED, _STARTS = 48, 240
#: Bridges are first wanted to cross arcs at an angle with this sine at least.
_UPRIGHT = 0.3


def joined(circles: Circles, kinds: Sequence[Arcs], met: Meetings) -> Net:
    """Return the net of arcs, connected by bridges.

    A bridge is an edge of the kind after the last of ``kinds``: a piece of a great circle between
    two parts that crosses nothing, and has the same face on both sides.
    """
    met = _with_points(circles, kinds, met)
    cover = Cover()
    while True:
        found = net(circles, [*kinds, cover.arcs()], met)
        if not len(found.circle):
            raise PuzzleFileError("no layer cuts the ball")
        part = linked(len(found.points), found.ends[:, 0], found.ends[:, 1])[found.ends[:, 0]]
        if np.all(part == part[0]):
            return found
        circles, met = _bridged(found, part, cover, met)


def _with_points(circles: Circles, kinds: Sequence[Arcs], met: Meetings) -> Meetings:
    """Give every full circle that meets nothing a point."""
    used = np.unique(np.concatenate([arcs.circle for arcs in kinds]))
    alone = np.setdiff1d(used, met.circle)
    angle = np.zeros(len(alone))
    return _more(met, circles.points(alone, angle), alone, np.arange(len(alone)), angle)


def _more(
    met: Meetings, points: Vectors, circle: Numbers, point: Numbers, angle: Vectors
) -> Meetings:
    """Return meetings and further ones, whose points are numbered from 0."""
    return Meetings(
        np.vstack([met.points, points]),
        np.concatenate([met.circle, circle]),
        np.concatenate([met.point, len(met.points) + point]),
        np.concatenate([met.angle, angle]),
    )


def _bridged(found: Net, part: Numbers, cover: Cover, met: Meetings) -> tuple[Circles, Meetings]:
    """Build bridges along one great circle; return the circles with it, and all meetings."""
    start, ahead, way = _plans(found, part)
    crossed = crossings(found, start, ahead)
    for steep in (_UPRIGHT, STEEP):
        for row in range(len(start)):
            hits = _hits(crossed, row, float(way[row]), steep)
            if hits is None:
                continue
            edges, ways = hits
            axis = np.cross(start[row], ahead[row])
            key = np.append(axis, 0.0)[None]
            known = match(found.circles.keys(), key)
            if known.number[0] < len(found.circles) or known.near:
                continue
            label = part[edges].tolist()
            built = [k for k in range(len(label) - 1) if label[k] != label[k + 1]]
            kept, groups = [], {x: x for x in label}
            for k in built:
                # Never a second bridge between parts that are joined already.
                one, other = groups[label[k]], groups[label[k + 1]]
                if one != other:
                    groups = {x: one if g == other else g for x, g in groups.items()}
                    kept.append(k)
            if kept:
                return _build(found, cover, met, (start[row], ahead[row], axis), edges, ways, kept)
    raise PuzzleFileError(
        "the circles lie so close together that their arcs cannot be told apart; move them apart"
    )


def _build(
    found: Net,
    cover: Cover,
    met: Meetings,
    path: tuple[Vectors, Vectors, Vectors],
    edges: Numbers,
    ways: Vectors,
    kept: list[int],
) -> tuple[Circles, Meetings]:
    start, ahead, axis = path
    circles = found.circles.plus(axis[None], np.zeros(1))
    number = len(circles) - 1
    ends = sorted({x for k in kept for x in (k, k + 1)})
    points = np.cos(ways[ends])[:, None] * start + np.sin(ways[ends])[:, None] * ahead
    which = np.arange(len(ends))
    own = np.full(len(ends), number)
    crossed = found.circle[edges[ends]]
    angle = circles.angles(own, points)
    for k in kept:
        at = float(angle[ends.index(k)])
        cover.add(number, at, float(ways[k + 1] - ways[k]), SAME)
    met = _more(
        met,
        points,
        np.concatenate([own, crossed]),
        np.concatenate([which, which]),
        np.concatenate([angle, circles.angles(crossed, points)]),
    )
    return circles, met


def _plans(found: Net, part: Numbers) -> tuple[Vectors, Vectors, Vectors]:
    """Return starts, directions and ways of possible bridges, the shortest first."""
    circles = found.circles
    some = np.unique(np.linspace(0, len(part) - 1, _STARTS).astype(np.int64))
    some = np.union1d(some, np.unique(part, return_index=True)[1])[: 4 * _STARTS]
    some = np.concatenate([some, some])
    share = np.where(np.arange(len(some)) < len(some) // 2, 0.5, 0.37)
    start = circles.points(found.circle[some], found.start[some] + share * found.length[some])
    used = np.unique(found.circle)
    # The nearest point of each circle, and which edge of it that is.
    row = np.repeat(np.arange(len(some)), len(used))
    circle = np.tile(used, len(some))
    angle = circles.angles(circle, start[row])
    edge = found.find(circle, angle, np.zeros(len(angle)))
    fits = (edge >= 0) & (part[edge] != part[some[row]])
    row, circle, angle = row[fits], circle[fits], angle[fits]
    target = circles.points(circle, angle)
    # Should there be none: straight to the first part's points.
    other = np.flatnonzero(part[some] != part[some[0]])[:_TRIED]
    row = np.concatenate([row, other])
    target = np.vstack([target, np.repeat(start[:1], len(other), axis=0)])
    ahead, way = towards(start[row], target)
    order = np.argsort(way, kind="stable")
    order = np.concatenate([order[:_TRIED], np.arange(len(row) - len(other), len(row))])
    return start[row[order]], ahead[order], way[order]


def _hits(crossed: Crossings, row: int, way: float, steep: float) -> tuple[Numbers, Vectors] | None:
    """Return the edges that a path crosses and where, in order; None if one is not clear."""
    where = crossed.way[row].copy()
    where[where > ROUND - SAME] = 0.0
    met: Flags = (crossed.edge[row] >= 0) & (where < way + CLEAR)
    if not np.all(crossed.trusted[row][met]) or np.any(crossed.sine[row][met] < steep):
        return None
    order = np.flatnonzero(met)[np.argsort(where[met])]
    return crossed.edge[row][order], where[order]
