"""Hand motions: which layer goes which way, as the person who holds the puzzle sees it.

The person looks at the front from the middle of it. A layer that faces them, or whose back does,
goes clockwise or anticlockwise as seen from there; any other goes the way its near part goes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from puzzles.puzzle import Puzzle

#: A layer counts as facing the person, as behind, or below from this cosine on.
FACING = 0.5
#: A part of a direction smaller than this is not mentioned.
SLIGHT = 0.25


@dataclass(frozen=True)
class Hands:
    """What every turn is to the hands, by turn number, for the puzzle held as its file says.

    ``motion`` is in words; ``awkward`` is 1 behind or below, 2 for both; ``half`` says whether
    the turn is half a round; ``side`` is 1 for the right hand's layers, -1 for the left's, 0 for
    those that fingers turn; ``angle`` is how far the wrist goes, in degrees, upwards positive.
    """

    motion: tuple[str, ...]
    awkward: tuple[int, ...]
    half: tuple[bool, ...]
    side: tuple[int, ...]
    angle: tuple[float, ...]


def seen(puzzle: Puzzle) -> NDArray[np.float64]:
    """Return the matrix to the viewer's coordinates: x to the right, y away, z up; shape (3, 3)."""
    up, front = puzzle.body.axis(puzzle.up), puzzle.body.axis(puzzle.front)
    assert up is not None
    assert front is not None
    away = -(front - (front @ up) * up)
    if float(np.linalg.norm(away)) < 1e-6:
        away = np.cross(up, (1.0, 0.0, 0.0) if abs(up[0]) < 0.9 else (0.0, 1.0, 0.0))
    away = away / np.linalg.norm(away)
    return np.array([np.cross(away, up), away, up])


@lru_cache(maxsize=32)
def hands(puzzle: Puzzle) -> Hands:
    """Return the motions of all turns of a puzzle; none where turns are written down."""
    if puzzle.shape == "written":
        count = len(puzzle.turns)
        return Hands(("",) * count, (0,) * count, (False,) * count, (0,) * count, (0.0,) * count)
    view = seen(puzzle)
    axes = [view @ np.array(layer.axis) for layer in puzzle.layers]
    places = _places(puzzle, axes)
    motion, awkward, half, side, angle = [], [], [], [], []
    for turn, own in zip(puzzle.turns, puzzle.turn_layer.tolist(), strict=True):
        layer, axis = puzzle.layers[own], axes[own]
        back = 2 * turn.amount > layer.steps
        size = layer.steps - turn.amount if back else turn.amount
        is_half = 2 * size == layer.steps
        motion.append(_motion(places[own], axis, -1 if back else 1, size, is_half))
        outward = axis if _middle(layer.low, layer.high) >= 0 else -axis
        central = abs(_middle(layer.low, layer.high)) < 1e-6
        awkward.append(0 if central else int(outward[1] > FACING) + int(outward[2] < -FACING))
        half.append(is_half)
        on_side = abs(axis[0]) > FACING and not central and not awkward[-1]
        side.append(int(math.copysign(1, outward[0])) if on_side else 0)
        angle.append((-1 if back else 1) * size * 360 / layer.steps * float(np.sign(axis[0])))
    return Hands(tuple(motion), tuple(awkward), tuple(half), tuple(side), tuple(angle))


def _middle(low: float, high: float) -> float:
    return math.inf if math.isinf(high) else (low + high) / 2


def _direction(axis: NDArray[np.float64]) -> str:
    """Return a direction in words: one of the six, or the parts that it is made of."""
    names = (("right", "left"), ("behind", "front"), ("top", "bottom"))
    for part, (more, less) in zip(axis, names, strict=True):
        if abs(part) > 0.95:
            return more if part > 0 else less
    words = (("right", "left"), ("far", "near"), ("upper", "lower"))
    said = [
        more if part > 0 else less
        for part, (more, less) in zip(axis, words, strict=True)
        if abs(part) > SLIGHT
    ]
    return " ".join(reversed(said))


def _places(puzzle: Puzzle, axes: list[NDArray[np.float64]]) -> list[str]:
    """Return the place of every layer in words, all different.

    Layers of one direction are counted from the outside; where a deeper cut takes a shallower
    layer with it, the shallower one is the tip.
    """
    result: list[str] = []
    for layer, axis in zip(puzzle.layers, axes, strict=True):
        middle = _middle(layer.low, layer.high)
        if abs(middle) < 1e-6:
            first, second = sorted((_direction(axis), _direction(-axis)), key=_reading_order)
            result.append(f"between {first} and {second}")
            continue
        outward = axis if middle > 0 else -axis
        depths = []
        for other, way in zip(puzzle.layers, axes, strict=True):
            for sign in (1, -1):
                ends = sorted((sign * other.low, sign * other.high))
                if float(way @ outward) * sign > 1 - 1e-6 and sum(ends) > 1e-6:
                    depths.append((ends[0], ends[1]))
        low, high = sorted((layer.low, layer.high) if middle > 0 else (-layer.high, -layer.low))
        name = _direction(outward)
        toward: NDArray[np.float64] = outward @ seen(puzzle)
        noun = {1: " face" * (" " in name), 2: " edge"}.get(
            len(puzzle.body.nearest(toward)[0]), " corner"
        )
        if math.isinf(high):
            inside = sum(math.isinf(end) and start > low for start, end in depths)
            around = sum(math.isinf(end) and start < low for start, end in depths)
            if around:
                name += " tip" if inside == 0 else f"{noun}, block {inside + 1}"
            else:
                name += noun
        else:
            number = 1 + sum(start >= high - 1e-9 for start, _ in depths)
            name = f"{_noun(name)}{noun}" if number > 1 else name + noun
            name = f"{_ordinal(number)} from the {name}" if number > 1 else name
        result.append(name)
    for own, name in enumerate(result):
        same = [k for k, other in enumerate(result) if other == name]
        if len(same) > 1:
            for number, k in enumerate(same, 1):
                result[k] = f"{name} {number}" if k >= own else result[k]
    return result


def _reading_order(name: str) -> int:
    return ("left", "top", "front").index(name) if name in ("left", "top", "front") else 3


def _noun(name: str) -> str:
    return {"behind": "back"}.get(name, name)


def _ordinal(number: int) -> str:
    names = ("first", "second", "third", "fourth", "fifth", "sixth")
    return names[number - 1] if number <= len(names) else f"{number}th"


def _motion(place: str, axis: NDArray[np.float64], sense: int, size: int, half: bool) -> str:
    """Return a motion in words; a half turn has no direction, for it is the same either way."""
    times = {1: "", 2: " twice", 3: " three times"}.get(size, f" {size} times")
    if half:
        return place + (times or " over")
    if abs(axis[1]) >= FACING:
        clockwise = (sense > 0) == (axis[1] < 0)
        return f"{place} {'clockwise' if clockwise else 'anticlockwise'}{times}"
    #: The near part of a layer that turns clockwise about ``axis`` moves along (-z, x) of it.
    across, upwards = -sense * axis[2], sense * axis[0]
    if abs(upwards) >= abs(across) - 1e-9:
        way = "up" if upwards > 0 else "down"
    else:
        way = "right" if across > 0 else "left"
    return f"{place} {way}{times}"
