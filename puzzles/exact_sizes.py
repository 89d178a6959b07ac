"""Formulas for critical sizes: fractions, roots, and angles to directions of the body."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from functools import lru_cache

import numpy as np

from puzzles.bodies import SAME, Vectors
from puzzles.symmetry import matrices
from puzzles.unknowns import OpenPuzzle, Unknown

#: A formula must give a size as exactly as this: chance hits less than one of a million.
_HIT = 3e-11
_ROOTS = (2, 3, 5, 6, 7, 10, 11, 13, 14, 15)
_MOST, _MOST_DIVISOR = 9, 24
#: Towards the eye of somebody who holds the puzzle.
_SEEN = np.array([0.5, -0.7, 1.0])


#: A formula, and the angle or number that it has.
Named = tuple[str, float]


def formula(
    puzzle: OpenPuzzle, unknown: Unknown, bound: float, known: Sequence[Named] = ()
) -> str | None:
    """Return a formula, as in a puzzle file, for the size that sets a bound; None if none fits.

    ``known`` are other angles, which may be added or taken away. The formula is the whole entry of
    the file, in place of the one with the ``?``.
    """
    if not unknown.ball:
        return size_formula(bound)
    if not unknown.angle:
        return size_formula(math.cos(bound))
    return angle_formula(bound, _directions(puzzle, unknown), known)


def decimal(unknown: Unknown, bound: float, digits: int = 12) -> str:
    """Return the size in place of the ``?`` as a decimal number, an angle in degrees."""
    text = f"{round(unknown.written(bound), digits):.{digits}f}".rstrip("0").rstrip(".")
    return f"{text or '0'}deg" if unknown.angle else (text if text not in ("", "-0") else "0")


def size_formula(value: float) -> str | None:
    """Return a formula of whole numbers and one square root that has a value, None for none."""
    if abs(value) < _HIT:
        return "0"
    for divisor in range(1, _MOST_DIVISOR + 1):
        top = round(value * divisor)
        if abs(value - top / divisor) < _HIT:
            return str(top) if divisor == 1 else f"{top}/{divisor}"
    for root in _ROOTS:
        share = value / math.sqrt(root)
        for divisor in range(1, _MOST_DIVISOR + 1):
            top = round(share * divisor)
            if top and abs(share - top / divisor) < _HIT and abs(top) <= _MOST_DIVISOR:
                return _root_text(0, top, root, divisor)
    numbers, texts = _with_roots()
    at = int(np.searchsorted(numbers, value - _HIT))
    return texts[at] if at < len(numbers) and numbers[at] < value + _HIT else None


@lru_cache(maxsize=1)
def _with_roots() -> tuple[Vectors, list[str]]:
    """Return the numbers (a + b sqrt(r)) / c that are looked for, in order, the simplest first."""
    found: list[tuple[float, int, str]] = []
    for root, b, c in itertools.product(_ROOTS, range(1, _MOST + 1), range(1, 16)):
        for a in range(-_MOST, _MOST + 1):
            if math.gcd(a, b, c) > 1:
                continue
            for sign in (1, -1):
                value = (a + sign * b * math.sqrt(root)) / c
                if abs(value) <= 5:
                    # Of two ways to write a number the one with few signs.
                    size = abs(a) + b + c + root + (a < 0) + (sign < 0)
                    found.append((value, size, _root_text(a, sign * b, root, c)))
    found.sort(key=lambda entry: (round(entry[0], 10), entry[1]))
    return np.array([entry[0] for entry in found]), [entry[2] for entry in found]


def _root_text(a: int, b: int, root: int, c: int) -> str:
    part = f"sqrt({root})" if abs(b) == 1 else f"{abs(b)}*sqrt({root})"
    if a == 0:
        text = part if b > 0 else f"-{part}"
    elif b > 0 and a < 0:
        text = f"{part} - {-a}"
    else:
        text = f"{a} {'+' if b > 0 else '-'} {part}"
    if c == 1:
        return text
    return f"{text}/{c}" if a == 0 else f"({text})/{c}"


def _directions(puzzle: OpenPuzzle, unknown: Unknown) -> list[Named]:
    """Return ``to(...)`` for directions of the body with its angle, the plainest names first.

    What it gives must be the same for all axes of the unknown.
    """
    body = puzzle.body
    symmetries = matrices(body.points)
    axes = np.array([puzzle.example[k].axis for k in unknown.layers])
    result: list[Named] = []
    seen: list[float] = []
    for kind in ("faces", "corners", "edges"):
        # Of like directions the one that is seen best: on top, in front, on the right.
        for letters, direction in sorted(body.axes(kind), key=lambda x: -float(x[1] @ _SEEN)):
            images = np.array([matrix @ direction for matrix in symmetries])
            angles = np.arccos(np.clip((axes @ images.T).max(axis=1), -1, 1))
            same = float(angles.max() - angles.min()) < SAME
            # A name of many letters is none that anybody would write.
            if not same or angles[0] < SAME or any(abs(x - angles[0]) < SAME for x in seen):
                continue
            if len(letters) <= 4:
                seen.append(float(angles[0]))
                result.append((f"to({letters})", float(angles[0])))
    return result


def angle_formula(
    angle: float, directions: Sequence[Named], known: Sequence[Named] = ()
) -> str | None:
    """Return a formula for an angle in radians, None for none.

    ``directions`` are named angles, ``known`` others that may be added or taken away.
    """
    for text, value in directions:
        if abs(angle - value) < _HIT:
            return text
    quarter = angle * 720 / math.pi
    if abs(quarter - round(quarter)) < 720 / math.pi * _HIT:
        return f"{round(quarter) / 4:g}deg"
    for text, value in _named(directions):
        if abs(angle - value) < _HIT:
            return text
    for part, other in known:
        own = part if part.replace(".", "").isalnum() else f"({part})"
        straight = [("0deg", 0.0), ("90deg", math.pi / 2), ("180deg", math.pi)]
        for text, value in [*straight, *_named(directions)]:
            for sign, sense in (("-", -1), ("+", 1)):
                if abs(angle - value - sense * other) < _HIT:
                    return own if text == "0deg" and sense > 0 else f"{text} {sign} {own}"
            if abs(angle + value - other) < _HIT:
                return f"{own} - {text}" if " " not in text else f"{own} - ({text})"
    texts = []
    for name, value in (("acos", math.cos(angle)), ("atan", _tangent(angle))):
        found = size_formula(value) if abs(value) < 5 else None
        if found is not None and len(found) <= 12:
            texts.append(f"{name}({found})")
    return min(texts, key=len, default=None)


def _tangent(angle: float) -> float:
    return math.tan(angle) if angle < math.pi / 2 - 0.1 else 10.0


def _named(directions: Sequence[Named]) -> Iterator[Named]:
    """Give the angles that follow from directions, the plainest first."""
    yield from directions
    for text, value in directions:
        yield f"{text}/2", value / 2
        yield f"90deg - {text}", math.pi / 2 - value
        yield f"180deg - {text}", math.pi - value
        yield f"90deg - {text}/2", math.pi / 2 - value / 2
        yield f"180deg - 2*{text}", math.pi - 2 * value
        yield f"2*{text}", 2 * value
        yield f"90deg + {text}", math.pi / 2 + value
    for (text, value), (other, more) in itertools.permutations(directions, 2):
        yield f"{text} - {other}", value - more
        yield f"{text} + {other}", value + more
        yield f"({text} + {other})/2", (value + more) / 2
