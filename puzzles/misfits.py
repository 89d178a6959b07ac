"""What a file lacks where a turn of a solid carries a patch to where none is like it.

Either the body does not come onto itself by so large a step, or a cut through the layer is carried
to where the body has none.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from puzzles.bodies import Body, Vectors
from puzzles.laws import joined
from puzzles.orbits import rotation
from puzzles.turns import Layer

#: Directions, depths and offsets that differ by less are the same.
NEAR = 1e-6
#: The most smallest steps of a layer.
MOST_STEPS = 24


def advice(layer: Layer, layers: Sequence[Layer], body: Body, points: Vectors) -> str:
    """Return in words what would be right, empty where that is not known.

    ``layers`` are all that cut the body, ``points`` the corners of the patches in ``layer``.
    """
    fits = [n for n in range(2, MOST_STEPS + 1) if _onto_itself(layer, n, body)]
    if layer.steps not in fits:
        if not fits:
            return "the body comes onto itself by no turn about this axis"
        *most, last = map(str, fits)
        steps = f"{', '.join(most)} or {last}" if most else last
        return f"about this axis the body comes onto itself with steps = {steps}"
    for other in layers:
        missing = _missing(layer, other, layers, body, points)
        if missing:
            alone = " ".join(own.name for own in layers)
            several = "layers like it are" if len(missing) > 1 else "a layer like it is"
            return (
                f"the turn carries the cut of {other.name} to {joined(missing)}, where the body "
                f"has no such cut: {several} needed there as well (searches leave the added ones "
                f'alone with --layers "{alone}")'
            )
    return ""


def _onto_itself(layer: Layer, steps: int, body: Body) -> bool:
    """Return whether a share of a full turn carries the body's corners to its corners."""
    turned = body.points @ rotation(np.array(layer.axis), -2 * np.pi / steps).T
    gaps = np.linalg.norm(turned[:, None] - body.points, axis=2)
    return bool(gaps.min(axis=1).max() < NEAR)


def _missing(
    layer: Layer, other: Layer, layers: Sequence[Layer], body: Body, points: Vectors
) -> list[str]:
    """Return the axes, by name, where a layer's turns carry another one's cuts and none is."""
    named = [axis for kind in ("faces", "corners", "edges") for axis in body.axes(kind)]
    axis, result = np.array(other.axis), []
    for depth in (other.low, other.high):
        beyond = points @ axis - depth
        if not np.isfinite(depth) or beyond.min() > -NEAR or beyond.max() < NEAR:
            continue
        for step in range(1, layer.steps):
            there = rotation(np.array(layer.axis), -2 * np.pi * step / layer.steps) @ axis
            if _cut(layers, there, depth):
                continue
            result += [name for name, own in named if np.linalg.norm(own - there) < NEAR]
    return list(dict.fromkeys(result))


def _cut(layers: Sequence[Layer], axis: Vectors, depth: float) -> bool:
    """Return whether some layer begins or ends in a plane."""
    for own in layers:
        for sign in (1, -1):
            same = np.linalg.norm(np.array(own.axis) - sign * axis) < NEAR
            if same and any(abs(end - sign * depth) < NEAR for end in (own.low, own.high)):
                return True
    return False
