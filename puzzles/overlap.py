"""How far turned pieces of a ball cover the slots they come to, exact in area."""

from __future__ import annotations

import numpy as np

from puzzles.arrangement import Arrangement, Net, arrange
from puzzles.ball import CUT, BallCells
from puzzles.bodies import SAME, Vectors
from puzzles.circles import Circles, Cover, Flags, Numbers, match
from puzzles.errors import PuzzleFileError
from puzzles.joining import joined
from puzzles.locating import locate
from puzzles.meeting import meetings
from puzzles.turns import Layer

#: Kinds of edges of the common refinement: outlines of slots, and of turned pieces.
_SLOT, _TURNED = 1, 2
#: A point inside a region is sought this far from its edges, as a share of the root of its area.
_DEPTHS = (0.2, 0.1, 0.03, 0.01, 0.003, 1e-3, 1e-4, 1e-5)
#: Outlines are compared at points this far apart at most, in radians (half a degree).
_FINE = 0.0088


def covering(cells: BallCells, layer: Layer, holds: Flags, matrix: Vectors) -> Vectors:
    """Return the areas (k, k) in which turned cell i of a layer lies over slot j.

    ``holds`` (n,) says which cells are in the layer, ``matrix`` (3, 3) is the turn; rows and
    columns are the layer's cells in the order of their numbers. Rows sum to the areas of cells.
    """
    net = cells.arrangement.net
    slots = _edges_in(net, layer)
    circles, turned = _turned(net, slots, matrix)
    kinds = [_cover(circles, *slots).arcs(), _cover(circles, *turned).arcs()]
    both = _cover(circles, *(np.concatenate(x) for x in zip(slots, turned, strict=True)))
    fine = arrange(joined(circles, kinds, meetings(circles, both.arcs(), None)))
    members = np.flatnonzero(holds)
    place = np.full(len(cells.areas) + 1, -1)
    place[members] = np.arange(len(members))
    slot = place[_regions(fine, _SLOT, cells, np.eye(3))]
    piece = place[_regions(fine, _TURNED, cells, matrix)]
    inside = (slot >= 0) & (piece >= 0)
    result = np.zeros((len(members), len(members)))
    np.add.at(result, (piece[inside], slot[inside]), fine.area[inside])
    if not np.allclose(result.sum(axis=1), cells.areas[members], atol=1e-6):
        raise PuzzleFileError(
            f"layer {layer.name}: turned pieces and slots meet so delicately that their overlap "
            "cannot be told; move the circles apart, or give angles as formulas, such as to(UFR)"
        )
    return result


def _edges_in(net: Net, layer: Layer) -> tuple[Numbers, Vectors, Vectors]:
    """Return circles, starts and lengths of the cuts inside a layer and around it."""
    height = net.circles.points(net.circle, net.start + net.length / 2) @ np.array(layer.axis)
    kept = (height > layer.low - SAME) & (height < layer.high + SAME) & (net.kind & CUT != 0)
    return net.circle[kept], net.start[kept], net.length[kept]


def _turned(
    net: Net, edges: tuple[Numbers, Vectors, Vectors], matrix: Vectors
) -> tuple[Circles, tuple[Numbers, Vectors, Vectors]]:
    """Return the net's circles and those of turned edges, and the turned edges."""
    circle, start, length = edges
    used, which = np.unique(circle, return_inverse=True)
    axis = net.circles.axis[used] @ matrix.T
    found = match(net.circles.keys(), np.column_stack([axis, net.circles.height[used]]))
    circles = net.circles.plus(axis[found.fresh], net.circles.height[used[found.fresh]])
    number, flipped = found.number[which], found.flipped[which]
    begin = net.circles.points(circle, np.where(flipped, start + length, start)) @ matrix.T
    return circles, (number, circles.angles(number, begin), length)


def _cover(circles: Circles, circle: Numbers, start: Vectors, length: Vectors) -> Cover:
    cover = Cover()
    slack = SAME / circles.radius[circle]
    for row in zip(*(x.tolist() for x in (circle, start, length, slack)), strict=True):
        cover.add(*row)
    return cover


def _regions(fine: Arrangement, kind: int, cells: BallCells, matrix: Vectors) -> Numbers:
    """Return for each face the cell whose outline, turned by a matrix, holds it; -1 for none.

    Each region between edges of the kind is one turned cell, or all that is outside the layer. It
    is looked up by a point well inside its largest face.
    """
    region = fine.merged(kind)
    order = np.lexsort((-fine.area, region))
    largest = order[np.flatnonzero(np.diff(region[order], prepend=-1))]
    net = fine.net
    long = np.repeat(net.length * net.circles.radius[net.circle], 2)
    order = np.lexsort((-long, fine.face))
    first = order[np.flatnonzero(np.diff(fine.face[order], prepend=-1))]
    half = first[largest]
    edge = half // 2
    angle = net.start[edge] + net.length[edge] / 2
    middle = net.circles.points(net.circle[edge], angle)
    left = np.cross(middle, net.circles.tangents(net.circle[edge], angle))
    left *= np.where(half % 2 == 0, 1.0, -1.0)[:, None]
    found = np.full(len(largest), -1)
    waiting = np.arange(len(largest))
    for depth in _DEPTHS:
        far = depth * np.sqrt(fine.area[largest[waiting]])[:, None]
        points = np.cos(far) * middle[waiting] + np.sin(far) * left[waiting]
        good = locate(fine, points, -1) == largest[waiting]
        found[waiting[good]] = cells.locate(points[good] @ matrix)
        waiting = waiting[~good]
        if not len(waiting):
            break
    return found[region]


def gap(cells: BallCells, piece: int, slot: int, matrix: Vectors) -> float:
    """Return how far, in degrees, the outlines of a turned cell and of a slot are apart at most.

    That is the largest way from a point of either outline to the nearest of the other, taken at
    the corners and every half degree.
    """
    own, other = _outline(cells, piece), _outline(cells, slot)
    circles = cells.arrangement.net.circles
    ways = (
        _farthest(circles, _along(circles, own) @ matrix.T, other),
        _farthest(circles, _along(circles, other) @ matrix, own),
    )
    return float(np.degrees(max(ways)))


def _outline(cells: BallCells, cell: int) -> tuple[Numbers, Vectors, Vectors]:
    """Return circles, starts and lengths of the cuts around a cell."""
    net, face = cells.arrangement.net, cells.arrangement.face
    sides = cells.cells[face.reshape(-1, 2)] == cell
    kept = sides[:, 0] != sides[:, 1]
    return net.circle[kept], net.start[kept], net.length[kept]


def _along(circles: Circles, edges: tuple[Numbers, Vectors, Vectors]) -> Vectors:
    """Return points along edges, both ends included."""
    circle, start, length = edges
    count = np.ceil(length * circles.radius[circle] / _FINE).astype(np.int64) + 1
    row = np.repeat(np.arange(len(circle)), count + 1)
    step = np.arange(len(row)) - np.repeat(np.cumsum(count + 1) - count - 1, count + 1)
    return circles.points(circle[row], start[row] + length[row] * step / count[row])


def _farthest(circles: Circles, points: Vectors, edges: tuple[Numbers, Vectors, Vectors]) -> float:
    """Return the largest way from one of some points to the nearest point of edges, in radians."""
    circle, start, length = edges
    row = np.repeat(np.arange(len(points)), len(circle))
    column = np.tile(np.arange(len(circle)), len(points))
    along = (circles.angles(circle[column], points[row]) - start[column]) % (2 * np.pi)
    long = length[column]
    # Beyond its ends the nearest point of an edge is the nearer end.
    past = np.where(along - long < 2 * np.pi - along, long, 0.0)
    nearest = circles.points(circle[column], start[column] + np.where(along > long, past, along))
    ways = np.linalg.norm(nearest - points[row], axis=1).reshape(len(points), -1).min(axis=1)
    return float(2 * np.arcsin(np.clip(ways.max() / 2, 0.0, 1.0)))
