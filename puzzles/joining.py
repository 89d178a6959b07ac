"""Bridges between parts of a net that do not touch, so that each face has a single outline."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from puzzles.arrangement import Net, linked, net
from puzzles.bodies import SAME, Vectors
from puzzles.circles import ROUND, Arcs, Circles, Cover, Flags, Numbers, match
from puzzles.errors import PuzzleFileError
from puzzles.locating import CLEAR, STEEP, Crossings, crossings, towards
from puzzles.meeting import Meetings

#: How many bridges are looked at before some are built, and how many for each part at least.
_TRIED = 48
#: Bridges start from at most so many points of each part.
_STARTS = 12
#: Bridges are first wanted to cross arcs at an angle with this sine at least.
_UPRIGHT = 0.3


@dataclass(frozen=True, eq=False)
class _Path:
    """A piece of a great circle: start and direction (3,), and which edges it meets on its way.

    ``kept`` are the numbers of crossings from which a bridge leads to the next one.
    """

    start: Vectors
    ahead: Vectors
    edges: Numbers
    ways: Vectors
    kept: list[int]


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
        part = np.unique(part, return_inverse=True)[1].astype(np.int64)
        # Each part builds its shortest bridge at once; where that fails, more are tried.
        few = max(1, _TRIED // (int(part.max()) + 1))
        paths = _paths(found, part, few) or _paths(found, part, few + _TRIED)
        if not paths:
            raise PuzzleFileError(
                "the circles lie so close together that their arcs cannot be told apart; move "
                "them apart"
            )
        circles, met = _built(found, cover, met, paths)


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


def _paths(found: Net, part: Numbers, each: int) -> list[_Path]:
    """Return paths with bridges that can all be built, tried ``each`` times from every part."""
    start, ahead, way = _plans(found, part, each)
    crossed = crossings(found, start, ahead)
    axis = np.cross(start, ahead)
    matched = match(found.circles.keys(), np.column_stack([axis, np.zeros(len(axis))]))
    # A bridge along a circle of the net would not be told from it.
    free = matched.number >= len(found.circles)
    free[[row for row, _, _ in matched.near]] = False
    taken: set[int] = set()
    group = np.arange(int(part.max()) + 1)
    middles, halves = np.zeros((0, 3)), np.zeros(0)
    paths: list[_Path] = []
    for steep in (_UPRIGHT, STEEP):
        for row in np.flatnonzero(free).tolist():
            hits = None
            if int(matched.number[row]) not in taken:
                hits = _hits(crossed, row, float(way[row]), steep)
            if hits is None:
                continue
            edges, ways = hits
            label = part[edges]
            kept = []
            for k in range(len(label) - 1):
                one, other = int(group[label[k]]), int(group[label[k + 1]])
                # Never a second bridge between parts that are joined already, nor one that
                # might cross another.
                half = (ways[k + 1] - ways[k]) / 2
                at = (ways[k + 1] + ways[k]) / 2
                middle = np.cos(at) * start[row] + np.sin(at) * ahead[row]
                far = np.linalg.norm(middles - middle, axis=1) > halves + half + CLEAR
                if one != other and np.all(far):
                    group[group == other] = one
                    middles, halves = np.vstack([middles, middle]), np.append(halves, half)
                    kept.append(k)
            if kept:
                taken.add(int(matched.number[row]))
                paths.append(_Path(start[row], ahead[row], edges, ways, kept))
        if paths:
            break
    return paths


def _built(found: Net, cover: Cover, met: Meetings, paths: list[_Path]) -> tuple[Circles, Meetings]:
    """Build bridges; return the circles with theirs, and all meetings."""
    axis = np.array([np.cross(path.start, path.ahead) for path in paths])
    circles = found.circles.plus(axis, np.zeros(len(paths)))
    for number, path in enumerate(paths, len(found.circles)):
        ends = sorted({x for k in path.kept for x in (k, k + 1)})
        way = path.ways[ends]
        points = np.cos(way)[:, None] * path.start + np.sin(way)[:, None] * path.ahead
        which = np.arange(len(ends))
        own = np.full(len(ends), number)
        crossed = found.circle[path.edges[ends]]
        angle = circles.angles(own, points)
        for k in path.kept:
            at = float(angle[ends.index(k)])
            cover.add(number, at, float(path.ways[k + 1] - path.ways[k]), SAME)
        met = _more(
            met,
            points,
            np.concatenate([own, crossed]),
            np.concatenate([which, which]),
            np.concatenate([angle, circles.angles(crossed, points)]),
        )
    return circles, met


def _plans(found: Net, part: Numbers, each: int) -> tuple[Vectors, Vectors, Vectors]:
    """Return starts, directions and ways of possible bridges, the shortest first."""
    circles = found.circles
    # Some edges of each part, spread over it.
    order = np.argsort(part, kind="stable")
    size = np.bincount(part)
    nth = np.arange(len(part)) - np.repeat(np.cumsum(size) - size, size)
    gap = np.repeat(np.maximum(1, size // _STARTS), size)
    some = order[nth % gap == 0]
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
    # The shortest of each part.
    owner = part[some[row]]
    order = np.lexsort((way, owner))
    size = np.bincount(owner, minlength=int(part.max()) + 1)
    nth = np.arange(len(owner)) - np.repeat(np.cumsum(size) - size, size)
    order = order[nth < each]
    order = order[np.argsort(way[order], kind="stable")]
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
