"""Names of turns and rotations as blocks of slabs, and what they are in a puzzle's own layers.

The cuts across an axis make slabs. A block of slabs that is no union of layers may be all but such
a union: then the other slabs are turned the other way and the whole puzzle is turned, which
renames the turns that follow.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

import numpy as np

from puzzles.bodies import Vectors
from puzzles.brackets import Written, amount_text
from puzzles.errors import NotationError
from puzzles.orbits import rotation
from puzzles.puzzle import Puzzle, Word
from puzzles.slabs import line_along, turning_layers
from puzzles.symmetry import CLOSE, matrices

_ROTATIONS = {"x": "R", "y": "U", "z": "F"}
_MIDDLES = {"M": "L", "E": "D", "S": "F"}
_OPPOSITE = {"U": "D", "F": "B", "R": "L"}
_NAME = re.compile(r"([0-9]*)([A-Za-z]+?)(w?)")


@dataclass(frozen=True)
class Block:
    """Everything between two depths on an axis, turned in ``steps`` to a full turn."""

    name: str
    axis: tuple[float, float, float]
    low: float
    high: float
    steps: int


def is_upright(puzzle: Puzzle) -> bool:
    """Whether the body is a block with the six faces U D F B L R, so that x, y and z are known."""
    faces = {face.name: face.normal for face in puzzle.body.faces}
    if sorted(faces) != sorted("UDFBLR"):
        return False
    opposite = all(float(faces[x] @ faces[y]) < CLOSE - 1 for x, y in _OPPOSITE.items())
    square = all(abs(float(faces[x] @ faces[y])) < CLOSE for x, y in ("UF", "UR", "FR"))
    return opposite and square


@lru_cache(maxsize=4096)
def block(puzzle: Puzzle, name: str) -> Block | None:
    """Return what a name turns: a layer, some slabs, the whole puzzle; None if it means nothing."""
    number = puzzle.layer_numbers.get(name)
    if number is None:
        number = _in_other_order(puzzle, name)
    if number is not None:
        layer = puzzle.layers[number]
        return Block(layer.name, layer.axis, layer.low, layer.high, layer.steps)
    if puzzle.shape == "written":
        return None
    upright = is_upright(puzzle)
    if upright and name in _ROTATIONS:
        axis = puzzle.body.axis(_ROTATIONS[name])
        return None if axis is None else Block(name, _tuple(axis), -math.inf, math.inf, 4)
    if upright and name in _MIDDLES:
        return _slab(puzzle, name, _MIDDLES[name], 0, False)
    found = _NAME.fullmatch(name)
    if found is None:
        return None
    digits, letters, wide = found[1], found[2], found[3] == "w"
    if upright and not wide and len(letters) == 1 and letters in "udfblr":
        # The way before the letter w came: a small letter for two layers.
        letters, wide = letters.upper(), True
    if digits.startswith("0") or len(digits) > 3 or (wide and digits == "1"):
        return None
    if wide:
        name = (digits if digits != "2" else "") + letters + "w"
    return _slab(puzzle, name, letters, int(digits or (2 if wide else 1)), wide)


def _tuple(axis: Vectors) -> tuple[float, float, float]:
    return float(axis[0]), float(axis[1]), float(axis[2])


def _in_other_order(puzzle: Puzzle, name: str) -> int | None:
    """Return the one layer whose name has the same letters, all of them faces, or None."""
    letters = name.lstrip("0123456789")
    if len(letters) < 2 or any(puzzle.body.face(letter) is None for letter in letters):
        return None
    fitting = [k for k, x in enumerate(puzzle.layers) if sorted(x.name) == sorted(name)]
    return fitting[0] if len(fitting) == 1 else None


def _slab(puzzle: Puzzle, name: str, letters: str, number: int, wide: bool) -> Block | None:
    """Return a slab counted from outside, all slabs from outside to it, or the middle one (0)."""
    layer = puzzle.layer_numbers.get(letters)
    if layer is None:
        layer = _in_other_order(puzzle, letters)
    axis = puzzle.body.axis(letters) if layer is None else np.array(puzzle.layers[layer].axis)
    if axis is None or len(set(letters)) < len(letters):
        return None
    found = line_along(puzzle, axis)
    if found is None:
        return None
    line, way = found
    bounds = line.bounds if way > 0 else tuple(-x for x in reversed(line.bounds))
    slabs = len(bounds) - 1
    if number == 0:
        if slabs % 2 == 0 or slabs < 3:
            return None
        number = (slabs + 1) // 2
    if number >= slabs if wide else number > (slabs + 1) // 2:
        return None
    low, high = bounds[-1 - number], math.inf if wide else bounds[-number]
    if number == 1 and low < -CLOSE:
        # All but the opposite face's layer is no layer of this face.
        return None
    turning = turning_layers(puzzle, axis, low, high)
    if turning is None:
        return None
    steps = {puzzle.layers[k].steps for k, _ in turning[0]}
    return Block(name, _tuple(axis), low, high, steps.pop()) if len(steps) == 1 else None


@lru_cache(maxsize=64)
def _rotations(puzzle: Puzzle) -> tuple[Vectors, ...]:
    """The rotations that carry the body onto itself, the identity first."""
    return tuple(m for m in matrices(puzzle.body.points) if float(np.linalg.det(m)) > 0)


def _number(puzzle: Puzzle, matrix: Vectors) -> int | None:
    """Return the number of the rotation of the body that a matrix is, or None."""
    for number, other in enumerate(_rotations(puzzle)):
        if float(np.abs(matrix - other).max()) < CLOSE:
            return number
    return None


def rename(puzzle: Puzzle, steps: Iterable[Written]) -> tuple[Word, int]:
    """Return the turns of the puzzle's layers, and how the whole puzzle is held in the end.

    The second is a number for ``describe``, 0 if the puzzle is held as at the start. Raises
    NotationError for a block that is no layer as the puzzle is held when it comes.
    """
    if puzzle.shape == "written":
        numbers = puzzle.layer_numbers
        every = [_turn(puzzle, numbers[step.name], step.amount, step) for step in steps]
        return tuple([turn for turn in every if turn is not None]), 0
    word: list[int] = []
    held = 0
    known: dict[tuple[int, Written], tuple[Word, int]] = {}
    for step in steps:
        if (held, step) not in known:
            known[held, step] = _renamed(puzzle, step, held)
        turns, held = known[held, step]
        word.extend(turns)
    return tuple(word), held


def _renamed(puzzle: Puzzle, step: Written, held: int) -> tuple[Word, int]:
    """Return the turns that one name stands for as the puzzle is held, and how it is held then."""
    found = block(puzzle, step.name)
    assert found is not None
    # A point p of the puzzle is at matrix @ p in the hands.
    matrix, axis = _rotations(puzzle)[held], np.array(found.axis)
    turning = turning_layers(puzzle, matrix.T @ axis, found.low, found.high)
    if turning is None:
        raise NotationError(
            f"character {step.at}: after the rotations before it, {step.name} is no layer of"
            f" {puzzle.name}, which is then held another way ({describe(puzzle, held)})"
        )
    part = Fraction(step.amount, step.steps)
    turns = []
    for number, sense in turning[0]:
        amount = part * sense * puzzle.layers[number].steps
        if amount.denominator != 1:
            raise NotationError(
                f"character {step.at}: {_text(step)} is not a whole number of steps of the layer"
                f" {puzzle.layers[number].name}"
            )
        turn = _turn(puzzle, number, int(amount), step)
        if turn is not None:
            turns.append(turn)
    if turning[1]:
        turned = _number(puzzle, rotation(axis, -2 * math.pi * float(part)) @ matrix)
        if turned is None:
            raise NotationError(
                f"character {step.at}: {_text(step)} would turn the whole puzzle so that its"
                " faces do not lie where faces were"
            )
        held = turned
    return tuple(turns), held


def _turn(puzzle: Puzzle, layer: int, amount: int, step: Written) -> int | None:
    """Return the number of a turn, None for none; raises NotationError for one that is left out."""
    try:
        return puzzle.turn(layer, amount)
    except KeyError:
        from puzzles.blocking import stopping

        raise NotationError(
            f"character {step.at}: {_text(step)} is no turn of {puzzle.name}:"
            f" {puzzle.layers[layer].name}, {stopping(puzzle, layer)}"
        ) from None


def _text(step: Written) -> str:
    return step.name + amount_text(step.amount, step.steps)


def describe(puzzle: Puzzle, held: int) -> str:
    """Return the rotation that leaves the puzzle held so: as x, y, z or as part of a turn."""
    if held == 0:
        return ""
    if is_upright(puzzle):
        single = [(n + amount_text(k, 4), _quarter(puzzle, n, k)) for n in "xyz" for k in (1, 2, 3)]
        for name, matrix in single:
            if _number(puzzle, matrix) == held:
                return name
        for first, before in single:
            for second, after in single:
                if _number(puzzle, after @ before) == held:
                    return f"{first} {second}"
    return _about(puzzle, _rotations(puzzle)[held])


def _quarter(puzzle: Puzzle, name: str, amount: int) -> Vectors:
    axis = puzzle.body.axis(_ROTATIONS[name])
    assert axis is not None
    return rotation(axis, -math.pi / 2 * amount)


def _about(puzzle: Puzzle, matrix: Vectors) -> str:
    """Return a rotation as a part of a turn about a face, a corner or an edge."""
    for kind in ("faces", "corners", "edges"):
        for name, axis in puzzle.body.axes(kind):
            if float(np.abs(matrix @ axis - axis).max()) < CLOSE:
                other = np.cross(axis, np.roll(axis, 1) + np.array([0.5, 0.25, 0.125]))
                turned = matrix @ other
                angle = math.atan2(float(axis @ np.cross(other, turned)), float(other @ turned))
                part = Fraction(-angle / (2 * math.pi) % 1).limit_denominator(60)
                if part <= Fraction(1, 2):
                    return f"{part} of a turn clockwise about {name}"
    return "a rotation"
