"""A ball cut by circles: pieces are faces of the net of arcs, paint parts them into patches."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from puzzles.arrangement import Arrangement, arrange
from puzzles.bodies import Body, Vectors
from puzzles.circles import Circles, Cover, Numbers, circles, match, whole
from puzzles.closing import close
from puzzles.errors import LimitError, PuzzleFileError
from puzzles.joining import joined
from puzzles.locating import locate
from puzzles.meeting import coinciding, meetings, nearly
from puzzles.solid import MOST_PATCHES, SMALLEST_AREA, Patch
from puzzles.turns import Layer

#: Kinds of edges: the layers' own circles; all cuts; paint. Bridges are the next bit.
OWN, CUT, PAINT = 1, 2, 4


@dataclass(frozen=True, eq=False)
class BallCells:
    """The cut ball: areas (n,), vector areas (n, 3), membership (layers, n), patches, whole (n,).

    Areas sum to 4 pi. The vector area is the integral of the position over the cell. A patch is
    the part of a cell with one paint (all of it where there is none, face -1); its centroid is its
    vector area over its area. ``whole`` is the number of the uncut piece each cell lies in: the
    cell between the layers' own circles, before they are carried on by turns.
    """

    areas: Vectors
    vectors: Vectors
    in_layer: NDArray[np.bool_]
    patches: tuple[Patch, ...]
    whole: Numbers
    arrangement: Arrangement
    cells: Numbers

    def locate(self, points: Vectors) -> Numbers:
        """Return the cell in which each unit vector (m, 3) lies, -1 on a cut (within 1e-9)."""
        face = locate(self.arrangement, points, CUT)
        return np.where(face < 0, -1, self.cells[face])


def cut(
    body: Body, layers: tuple[Layer, ...], paint: bool = True, closed: bool = True
) -> BallCells:
    """Cut the unit ball by the circles of its layers, whose lows and highs are heights.

    With ``closed``, the cuts are carried on by the layers' turns. With ``paint``, the body's edges,
    seen from the centre, are painted on. Raises PuzzleFileError where circles nearly meet or
    pieces are too small to be real, LimitError where there are too many.
    """
    own, names = _circles(layers)
    cuts = whole(range(len(own)))
    meetings(own, cuts, names)
    known, arcs = own, cuts
    if closed:
        grown = close(own, names, layers)
        known, names, arcs = grown.circles, grown.names, grown.arcs
    painted = Cover()
    if paint:
        known, names, painted = _paint(body, known, names)
    kinds = [cuts, arcs, painted.arcs()]
    together = Cover()
    for kind in kinds[1:]:
        for k in range(len(kind.circle)):
            number = int(kind.circle[k])
            start, end = float(kind.start[k]), float(kind.end[k])
            together.add(number, start, end - start, 1e-9 / float(known.radius[number]))
    found = joined(known, kinds, meetings(known, together.arcs(), names))
    arrangement = arrange(found)
    count = len(arrangement.area)
    if count > MOST_PATCHES:
        raise LimitError(f"the cuts make {count:,} patches; at most {MOST_PATCHES:,} are allowed")
    _no_slivers(arrangement, names)
    return _cells(body, layers, arrangement, paint)


def _circles(layers: tuple[Layer, ...]) -> tuple[Circles, list[str]]:
    """Return the different circles that bound layers, and words for each."""
    rows = [
        (layer, height) for layer in layers for height in (layer.low, layer.high) if -1 < height < 1
    ]
    for layer, bound in rows:
        if 2 * math.pi * (1 - abs(bound)) < SMALLEST_AREA:
            raise PuzzleFileError(
                f"layer {layer.name}: its circle is only {math.degrees(math.acos(abs(bound))):.1g}"
                " degrees wide; a piece so small is not real"
            )
    if not rows:
        raise PuzzleFileError("no layer cuts the ball: give angles between 0 and 180 degrees")
    axis = np.array([layer.axis for layer, _ in rows])
    height = np.array([bound for _, bound in rows])
    found = match(np.zeros((0, 4)), np.column_stack([axis, height]))
    names = [f"layer {rows[k][0].name}" for k in found.fresh]
    if found.near:
        row, number, gap = found.near[0]
        raise coinciding(f"layer {rows[row][0].name}", names[number], gap)
    return circles(axis[found.fresh], height[found.fresh]), names


def _paint(body: Body, known: Circles, names: list[str]) -> tuple[Circles, list[str], Cover]:
    """Return circles and words with those of the body's edges, and the arcs that edges are."""
    corners = body.points / np.linalg.norm(body.points, axis=1)[:, None]
    edges = np.array(body.edges())
    axis = np.cross(corners[edges[:, 0]], corners[edges[:, 1]])
    sine = np.linalg.norm(axis, axis=1)
    axis /= sine[:, None]
    length = np.arctan2(sine, np.einsum("ij,ij->i", corners[edges[:, 0]], corners[edges[:, 1]]))
    found = match(known.keys(), np.column_stack([axis, np.zeros(len(axis))]))
    # One circle may hold several edges, and where it nearly meets another is not known here.
    more = [
        f"edge {' or '.join(_edge(body, edges[k]) for k in own)} of the body"
        for own in (np.flatnonzero(found.number == found.number[k]) for k in found.fresh)
    ]
    if found.near:
        row, number, gap = found.near[0]
        raise coinciding(f"edge {_edge(body, edges[row])} of the body", (names + more)[number], gap)
    known = known.plus(axis[found.fresh], np.zeros(len(found.fresh)))
    begin = np.where(found.flipped, edges[:, 1], edges[:, 0])
    angle = known.angles(found.number, corners[begin])
    painted = Cover()
    for number, start, long in zip(found.number, angle, length, strict=True):
        painted.add(int(number), float(start), float(long), 1e-9)
    return known, names + more, painted


def _edge(body: Body, corners: Numbers) -> str:
    both = set(corners.tolist())
    return "".join(face.name for face in body.faces if both <= set(face.corners))


def _no_slivers(arrangement: Arrangement, names: list[str]) -> None:
    """Raise PuzzleFileError for a patch that is too small to be real."""
    worst = int(arrangement.area.argmin())
    area = float(arrangement.area[worst])
    if area >= SMALLEST_AREA:
        return
    walk = arrangement.walk[arrangement.first[worst] : arrangement.first[worst + 1]]
    around = sorted(set(arrangement.net.circle[walk // 2].tolist()))
    raise nearly(
        [names[k] for k in around if k < len(names)], f"leaving a sliver of area {area:.0e}"
    )


def _cells(
    body: Body, layers: tuple[Layer, ...], arrangement: Arrangement, paint: bool
) -> BallCells:
    """Put cells and patches together from the faces of the arrangement."""
    cells = arrangement.merged(CUT)
    count = int(cells.max()) + 1
    areas = np.asarray(np.bincount(cells, arrangement.area, count), dtype=np.float64)
    vectors = np.zeros((count, 3))
    np.add.at(vectors, cells, arrangement.vector)
    some = np.zeros(count, dtype=np.int64)
    some[cells] = np.arange(len(cells))
    uncut = arrangement.merged(OWN)[some]
    inside = np.ones((len(layers), count), dtype=np.bool_)
    for number, layer in enumerate(layers):
        axis = np.array(layer.axis)
        for height, side in ((layer.low, True), (layer.high, False)):
            if -1 < height < 1:
                inside[number] &= arrangement.above(axis, height)[some] == side
            else:
                inside[number] &= (height < 0) == side
    centroids = arrangement.vector / arrangement.area[:, None]
    faces = np.full(len(cells), -1)
    if paint:
        normals = np.array([face.normal / face.distance for face in body.faces])
        faces = (centroids @ normals.T).argmax(axis=1)
    patches = tuple(
        Patch(int(face), outline, centroid, float(area), int(piece))
        for face, outline, centroid, area, piece in zip(
            faces, arrangement.outlines(), centroids, arrangement.area, cells, strict=True
        )
    )
    return BallCells(
        areas,
        vectors,
        inside,
        patches,
        np.unique(uncut, return_inverse=True)[1].astype(np.int64),
        arrangement,
        cells,
    )
