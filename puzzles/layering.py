"""From a puzzle file to the layers that turn: their axes, names, and where they begin and end."""

from __future__ import annotations

import math
from functools import partial

import numpy as np

from puzzles import file
from puzzles.bodies import SAME, Body, Vectors
from puzzles.errors import PuzzleFileError
from puzzles.expressions import angle, either, size
from puzzles.symmetry import matrices
from puzzles.turns import Layer

#: The most layers; kernels keep sets of layers in the bits of one 64-bit number.
MOST_LAYERS = 62


def layers_of(model: file.PuzzleModel, body: Body) -> tuple[Layer, ...]:
    """Return the layers that a model describes; raises PuzzleFileError.

    On a ball their heights are cosines of the angles from the axis.
    """
    _held(model, body)
    result: list[Layer] = []
    for number, group in enumerate(model.layers, 1):
        where = f"layers {number}"
        axes = _axes(group, body, where)
        if isinstance(group.names, list) and len(group.names) != len(axes):
            raise PuzzleFileError(
                f"{where}: {len(group.names)} names are given for {len(axes)} axes"
            )
        for k, (letters, axis) in enumerate(axes):
            if isinstance(group.names, list):
                name = group.names[k]
            else:
                name = (group.names or "{axis}").replace("{axis}", letters)
            low, high = _heights(group, model.shape == "ball", axis, body, where)
            point = (float(axis[0]), float(axis[1]), float(axis[2]))
            result.append(Layer(name, point, low, high, group.steps))
    names = [layer.name for layer in result]
    for name in names:
        if names.count(name) > 1:
            raise PuzzleFileError(f"two layers are named {name!r}; each needs a name of its own")
        if not name.lstrip("0123456789").isalpha() or len(name) > 12:
            raise PuzzleFileError(
                f"layer name {name!r}: letters were expected, with a number before them at most"
            )
    if len(result) > MOST_LAYERS:
        raise PuzzleFileError(f"{len(result)} layers are given; at most {MOST_LAYERS} are allowed")
    return tuple(result)


def _held(model: file.PuzzleModel, body: Body) -> None:
    """Refuse up and front that do not say how the puzzle is held."""
    held = []
    for key, letters in (("up", model.up), ("front", model.front)):
        direction = body.axis(letters)
        if direction is None:
            raise PuzzleFileError(f"{key}: {letters!r} names no direction; {_letters(body)}")
        held.append(direction)
    if float(np.linalg.norm(np.cross(held[0], held[1]))) < SAME:
        raise PuzzleFileError("front: must differ from up and its opposite")


def _axes(group: file.LayersModel, body: Body, where: str) -> list[tuple[str, Vectors]]:
    """Return letters and unit direction of each axis of a group of layers."""
    if isinstance(group.axes, str):
        return body.axes(group.axes)
    axes = []
    for letters in group.axes:
        axis = body.axis(letters)
        if axis is None:
            raise PuzzleFileError(f"{where}: axis {letters!r} names no direction; {_letters(body)}")
        axes.append((letters, axis))
    return axes


def _heights(
    group: file.LayersModel, ball: bool, axis: Vectors, body: Body, where: str
) -> tuple[float, float]:
    """Return where a layer begins and ends along its axis."""
    if not ball:
        if group.above is not None:
            return size(group.above, f"{where}: above"), math.inf
        assert group.between is not None
        low, high = (size(x, f"{where}: between") for x in group.between)
        if low >= high:
            raise PuzzleFileError(f"{where}: `between` gives the smaller depth first")
        return low, high
    to = partial(_angle_to, body, axis, where)
    if group.above is not None:
        height, is_angle = either(group.above, f"{where}: above", to)
        if is_angle:
            raise PuzzleFileError(
                f"{where}: above: {group.above!r} is an angle; `above` takes a height between -1 "
                "and 1, and `within` an angle"
            )
        return _cap(height, f"{where}: above"), math.inf
    if group.within is not None:
        radius = angle(group.within, f"{where}: within", to)
        if not 0 < radius < math.pi:
            raise PuzzleFileError(
                f"{where}: within: {math.degrees(radius):.4g} degrees; an angle between 0 and 180 "
                "degrees was expected"
            )
        return math.cos(radius), math.inf
    assert group.between is not None
    (first, one), (second, two) = (either(x, f"{where}: between", to) for x in group.between)
    if one != two or first >= second:
        raise PuzzleFileError(
            f"{where}: `between` gives two angles or two heights, the smaller one first"
        )
    if one:
        if not 0 < first < second < math.pi:
            raise PuzzleFileError(
                f"{where}: between: angles between 0 and 180 degrees were expected"
            )
        return math.cos(second), math.cos(first)
    return _cap(first, f"{where}: between"), _cap(second, f"{where}: between")


def _cap(height: float, where: str) -> float:
    """Return a height that cuts the unit ball."""
    if not -1 < height < 1:
        raise PuzzleFileError(f"{where}: {height:.4g}: a ball is cut at heights between -1 and 1")
    return height


def _angle_to(body: Body, axis: Vectors, where: str, letters: str) -> float:
    """Return the angle from an axis to the nearest direction like the one that letters name."""
    direction = body.axis(letters)
    if direction is None:
        raise PuzzleFileError(f"{where}: to({letters}) names no direction; {_letters(body)}")
    alike = [float(axis @ (matrix @ direction)) for matrix in matrices(body.points)]
    return math.acos(max(-1.0, min(1.0, max(alike))))


def _letters(body: Body) -> str:
    return "the faces are " + " ".join(face.name for face in body.faces)
