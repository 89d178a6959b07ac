"""Bridges between parts of a net that do not touch, so that each face has a single outline."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from puzzles.arrangement import Net, linked, net
from puzzles.bodies import SAME, Vectors
from puzzles.circles import ROUND, Arcs, Circles, Cover, Flags, Numbers, dots, match
from puzzles.errors import LimitError, PuzzleFileError
from puzzles.locating import CLEAR, STEEP, Crossings, crossings, towards
from puzzles.meeting import Meetings

#: The most parts that a net may have.
MOST_PARTS = 250
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
        if int(part.max()) >= MOST_PARTS:
            raise LimitError(
                f"the cuts fall into {int(part.max()) + 1} parts that do not touch; at most "
                f"{MOST_PARTS} are allowed"
            )
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
    built = _Built()
    paths: list[_Path] = []
    for steep in (_UPRIGHT, STEEP):
        for row in np.flatnonzero(free).tolist():
            if int(matched.number[row]) in taken:
                continue
            edges, ways, clear = _hits(crossed, row, steep)
            # Bridges much longer than the one that was planned are left to better paths.
            usable = clear[:-1] & clear[1:] & (np.diff(ways) < 2 * way[row] + CLEAR)
            usable &= group[part[edges[:-1]]] != group[part[edges[1:]]]
            kept = []
            for k in np.flatnonzero(usable).tolist():
                one, other = int(group[part[edges[k]]]), int(group[part[edges[k + 1]]])
                # Never a second bridge between parts that are joined already.
                if one != other and built.apart(start[row], ahead[row], ways[k : k + 2]):
                    group[group == other] = one
                    kept.append(k)
            if kept:
                built.add(start[row], ahead[row], [ways[k : k + 2] for k in kept])
                taken.add(int(matched.number[row]))
                paths.append(_Path(start[row], ahead[row], edges, ways, kept))
        if paths:
            break
    return paths


class _Built:
    """Bridges of one round: their axes, middles and ends (k, 3), and half their lengths (k,)."""

    def __init__(self) -> None:
        self.axis = np.zeros((0, 3))
        self.middle = np.zeros((0, 3))
        self.half = np.zeros(0)
        self.ends = np.zeros((0, 3))

    def add(self, start: Vectors, ahead: Vectors, ways: Sequence[Vectors]) -> None:
        """Add the bridges of a path."""
        pairs = np.array(ways)
        self.axis = np.vstack([self.axis, np.tile(np.cross(start, ahead), (len(ways), 1))])
        self.middle = np.vstack([self.middle, _on(start, ahead, pairs.mean(axis=1))])
        self.half = np.append(self.half, (pairs[:, 1] - pairs[:, 0]) / 2)
        self.ends = np.vstack([self.ends, _on(start, ahead, pairs.ravel())])

    def apart(self, start: Vectors, ahead: Vectors, ways: Vectors) -> bool:
        """Return whether a bridge neither crosses those that are built nor ends where they do."""
        ends = _on(start, ahead, ways)
        if np.any(np.linalg.norm(self.ends[:, None] - ends, axis=2) < CLEAR):
            return False
        meets = np.cross(self.axis, np.cross(start, ahead))
        sine = np.linalg.norm(meets, axis=1)
        meets /= np.maximum(sine, SAME)[:, None]
        middle = _on(start, ahead, ways.mean(keepdims=True))[0]
        own = math.cos((ways[1] - ways[0]) / 2 + CLEAR)
        crossing = np.zeros(len(sine), dtype=np.bool_)
        for sign in (1.0, -1.0):
            theirs = sign * dots(meets, self.middle) > np.cos(self.half + CLEAR)
            crossing |= theirs & (sign * (meets @ middle) > own)
        return not np.any(crossing | (sine < CLEAR))


def _on(start: Vectors, ahead: Vectors, ways: Vectors) -> Vectors:
    """Return the points (m, 3) at ways (m,) along a great circle."""
    result: Vectors = np.cos(ways)[:, None] * start + np.sin(ways)[:, None] * ahead
    return result


def _built(found: Net, cover: Cover, met: Meetings, paths: list[_Path]) -> tuple[Circles, Meetings]:
    """Build bridges; return the circles with theirs, and all meetings."""
    axis = np.array([np.cross(path.start, path.ahead) for path in paths])
    circles = found.circles.plus(axis, np.zeros(len(paths)))
    for number, path in enumerate(paths, len(found.circles)):
        ends = sorted({x for k in path.kept for x in (k, k + 1)})
        points = _on(path.start, path.ahead, path.ways[ends])
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


def _hits(crossed: Crossings, row: int, steep: float) -> tuple[Numbers, Vectors, Flags]:
    """Return the edges that a path crosses and where, in order, and which crossings are clear."""
    where = crossed.way[row].copy()
    where[where > ROUND - SAME] = 0.0
    order = np.argsort(where)
    order = order[crossed.edge[row][order] >= 0]
    clear: Flags = crossed.trusted[row][order] & (crossed.sine[row][order] >= steep)
    return crossed.edge[row][order], where[order], clear
