"""Carrying cuts on by turns: each layer turns the arcs inside it, until nothing is new."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from puzzles.bodies import SAME, Vectors
from puzzles.circles import ROUND, STRIDE, Arcs, Circles, Cover, Flags, Numbers, match, whole
from puzzles.errors import LimitError
from puzzles.meeting import coinciding
from puzzles.orbits import rotation
from puzzles.turns import Layer

#: The most circles that carry cuts; the ball of 170 pieces, and those of 114 and 218, have 38.
MOST_CIRCLES = 600
#: The most arcs, and the most that are turned, before a file is given up.
MOST_ARCS = 4000
MOST_TURNED = 400_000
#: Arcs are turned by all layers in portions of this size, so that limits are seen in time.
_PORTION = 20_000
#: So many images are first looked up all at once.
_MANY = 60
_TURNED = " as turned by layer "


@dataclass(frozen=True, eq=False)
class Closed:
    """The closed cut set: circles, what each one is, in words, and its arcs."""

    circles: Circles
    names: list[str]
    arcs: Arcs


@dataclass(frozen=True, eq=False)
class _Turner:
    """The layers as arrays: axes (n, 3), lows and highs (n,), matrices of one step (n, 3, 3)."""

    axis: Vectors
    low: Vectors
    high: Vectors
    matrix: Vectors


def close(circles: Circles, names: list[str], layers: tuple[Layer, ...]) -> Closed:
    """Return full circles with all that the layers' turns make of the arcs inside them.

    Each layer turns only the arcs strictly inside it. Ordinary puzzles gain none; others gain
    arcs, until every turn carries cuts onto cuts. Raises LimitError where that does not end, and
    PuzzleFileError where two of the circles nearly coincide.
    """
    cover = Cover()
    for number in range(len(circles)):
        cover.add(number, 0.0, ROUND, 0.0)
    names = list(names)
    turner = _Turner(
        np.array([layer.axis for layer in layers]),
        np.array([layer.low for layer in layers]),
        np.array([layer.high for layer in layers]),
        np.array([rotation(np.array(x.axis), -ROUND / x.steps) for x in layers]),
    )
    size = max(1, _PORTION // len(layers))
    queue = [(whole([k]).circle, np.zeros(1), np.full(1, ROUND)) for k in range(len(circles))]
    waiting = tuple(np.concatenate(x) for x in zip(*queue, strict=True))
    turned = 0
    while len(waiting[0]):
        circle, start, length = (x[:size] for x in waiting)
        rest = tuple(x[size:] for x in waiting)
        layer, source, at, long = _inside(circles, turner, circle, start, length)
        turned += len(layer)
        circles, names, target, begin = _turn(
            circles, names, layers, turner, layer, source, at, long
        )
        slack = SAME / circles.radius
        fresh: list[tuple[int, float, float]] = []
        # Most images are cuts already; only the others are worth the slow way.
        covered = np.zeros(len(target), dtype=np.bool_)
        if len(target) > _MANY:
            covered = _covered(cover.arcs(), target, begin, long, slack[target])
        last = -1
        for k in np.flatnonzero(~covered).tolist():
            number = int(target[k])
            for new in cover.add(number, float(begin[k]), float(long[k]), float(slack[number])):
                fresh.append((number, new[0], new[1]))
                last = k
        count = sum(map(len, cover.parts.values()))
        if max(len(circles) / MOST_CIRCLES, count / MOST_ARCS, turned / MOST_TURNED) > 1:
            name = layers[int(layer[last])].name
            raise LimitError(
                f"the cuts never close: turns of layer {name} still make new ones after "
                f"{len(circles):,} circles and {count:,} arcs ({MOST_CIRCLES:,} and {MOST_ARCS:,} "
                "are the most); give other angles, or take pieces that fit only roughly, such as "
                "with accept = 0.9"
            )
        more = (
            np.array([x[0] for x in fresh], dtype=np.int64),
            np.array([x[1] for x in fresh]),
            np.array([x[2] for x in fresh]),
        )
        waiting = tuple(np.concatenate([a, b]) for a, b in zip(rest, more, strict=True))
    return Closed(circles, names, cover.arcs())


def _covered(
    known: Arcs, circle: Numbers, start: Vectors, length: Vectors, slack: Vectors
) -> Flags:
    """Return which arcs lie in the set, apart from those that pass the angle 0."""
    end = start + length
    inside = known.covers(circle, start, slack) & (end <= ROUND + slack)
    keys = known.circle * STRIDE + known.start
    at = np.maximum(np.searchsorted(keys, circle * STRIDE + start + slack, side="right") - 1, 0)
    result: Flags = inside & (known.circle[at] == circle) & (end <= known.end[at] + slack)
    return result


def _inside(
    circles: Circles, turner: _Turner, circle: Numbers, start: Vectors, length: Vectors
) -> tuple[Numbers, Numbers, Vectors, Vectors]:
    """Return the parts of arcs that lie in layers: layer, circle, start and length of each."""
    axis, u, v = circles.axis[circle], circles.u[circle], circles.v[circle]
    radius, height = circles.radius[circle], circles.height[circle]
    # Along the circle the height over the layer's centre is middle + swing cos(angle - peak).
    middle = turner.axis @ axis.T * height
    along, across = turner.axis @ u.T, turner.axis @ v.T
    swing = np.hypot(along, across) * radius
    peak = np.arctan2(across, along)
    outer = _half(turner.low, middle, swing)
    inner = _half(turner.high, middle, swing)
    found = []
    for sign in (1, -1):
        begin = peak + (inner if sign == 1 else -outer)
        part = outer - inner
        # An arc may meet the part twice: where it begins, and once more a full turn later.
        offset = (begin - start) % ROUND
        for shift in (0.0, -ROUND):
            low = np.maximum(offset + shift, 0.0)
            high = np.minimum(offset + shift + part, length)
            layer, which = np.nonzero(high - low > 2 * SAME / radius)
            long = (high - low)[layer, which]
            found.append((layer, circle[which], start[which] + low[layer, which], long))
    layers, numbers, starts, lengths = (np.concatenate(x) for x in zip(*found, strict=True))
    return layers, numbers, starts, lengths


def _half(bound: Vectors, middle: Vectors, swing: Vectors) -> Vectors:
    """Return how far from the peak a circle stays above a layer's bound: 0 to pi, (layers, arcs).

    Touching from inside or outside counts as not cut.
    """
    bound = bound[:, None]
    slack = SAME * np.sqrt(np.clip(1 - np.minimum(np.abs(bound), 1.0) ** 2, 0.0, None))
    result = np.arccos(np.clip((bound - middle) / np.maximum(swing, SAME), -1.0, 1.0))
    result[bound <= middle - swing + slack] = math.pi
    result[bound >= middle + swing - slack] = 0.0
    return np.asarray(result, dtype=np.float64)


def _turn(
    circles: Circles,
    names: list[str],
    layers: tuple[Layer, ...],
    turner: _Turner,
    layer: Numbers,
    source: Numbers,
    start: Vectors,
    length: Vectors,
) -> tuple[Circles, list[str], Numbers, Vectors]:
    """Turn arcs by one step each; return all circles, their names, and the images' places."""
    pairs, which = np.unique(layer * len(circles) + source, return_inverse=True)
    by, of = pairs // len(circles), pairs % len(circles)
    axis = np.einsum("kij,kj->ki", turner.matrix[by], circles.axis[of])
    wanted = np.column_stack([axis, circles.height[of]])
    matched = match(circles.keys(), wanted)
    fresh = matched.fresh
    more = [_image(names[int(of[k])], layers[int(by[k])]) for k in fresh]
    if matched.near:
        row, number, distance = matched.near[0]
        turned = _image(names[int(of[row])], layers[int(by[row])])
        raise coinciding(turned, (names + more)[number], distance)
    if len(fresh):
        circles = circles.plus(axis[fresh], circles.height[of[fresh]])
    target, flipped = matched.number[which], matched.flipped[which]
    first = np.where(flipped, start + length, start)
    points = np.einsum("kij,kj->ki", turner.matrix[layer], circles.points(source, first))
    return circles, names + more, target, circles.angles(target, points)


def _image(name: str, layer: Layer) -> str:
    """Return words for a circle that a layer has turned, however often it was turned before."""
    return f"{name.split(_TURNED)[0]}{_TURNED}{layer.name}"
