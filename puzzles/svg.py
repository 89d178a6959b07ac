"""The few pieces of SVG text that pictures are made of: numbers, points, writing."""

from __future__ import annotations

from collections.abc import Sequence
from xml.sax.saxutils import escape

import numpy as np

from puzzles.bodies import Vectors

INK, PAPER = "#000000", "#FFFFFF"


def number(value: float) -> str:
    """Write a number with at most one decimal."""
    return f"{value:.1f}".removesuffix(".0")


def pair(point: Vectors) -> str:
    """Write a point (2,) as a path has it."""
    return f"{number(point[0])} {number(point[1])}"


def points(shape: Vectors) -> str:
    """Write points (…, 2) as a polygon has them."""
    return " ".join(f"{number(x)},{number(y)}" for x, y in shape)


def text(x: float, y: float, size: float, words: str, fill: str) -> str:
    """Return writing of a size in units of the picture, its middle over a point of its baseline."""
    return (
        f'<text x="{number(x)}" y="{number(y)}" font-size="{number(size)}" text-anchor="middle" '
        f'font-family="sans-serif" fill="{fill}">{escape(words)}</text>'
    )


def loops(shape: Sequence[Vectors]) -> str:
    """Write closed lines (…, 2) as a path has them: an absolute start, then steps to and fro."""
    parts = []
    for line in shape:
        tenths = np.round(np.asarray(line) * 10).astype(int)
        steps = np.diff(tenths, axis=0)
        steps = steps[np.any(steps != 0, axis=1)]
        if not len(steps):
            continue  # It is smaller than a tenth of a unit.
        written = " ".join(f"{number(x / 10)} {number(y / 10)}" for x, y in steps)
        parts.append(f"M{pair(tenths[0] / 10)}l{written}z")
    return "".join(parts)
