"""The few pieces of SVG text that pictures are made of: numbers, points, writing."""

from __future__ import annotations

from xml.sax.saxutils import escape

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
