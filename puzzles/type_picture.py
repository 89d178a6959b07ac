"""Pictures of a puzzle in which each type of piece has a pattern of its own, in greys alone.

They say on paper, in black and white, and to those who see colours otherwise, which piece is of
which type.
"""

from __future__ import annotations

from collections.abc import Collection
from functools import lru_cache
from xml.sax.saxutils import escape

from puzzles.paint import GREY
from puzzles.puzzle import Puzzle
from puzzles.state_picture import stage
from puzzles.state_views import WIDTH
from puzzles.svg import INK, PAPER, number

#: The grey behind lines and dots, and the side of the square that is repeated.
_DARK, _LIGHT, _SIDE = "#4A4A4A", "#C4C4C4", 8
#: What is drawn on the repeated square, in order of types: no two look alike in greys.
_DESIGNS = (
    f'<rect width="8" height="8" fill="{_DARK}"/>',
    f'<circle cx="4" cy="4" r="2.1" fill="{INK}"/>',
    f'<path d="M-2 2L2 -2M0 8L8 0M6 10L10 6" stroke="{INK}" stroke-width="1.6"/>',
    f'<path d="M0 4H8" stroke="{INK}" stroke-width="3"/>',
    f'<rect width="8" height="8" fill="{_LIGHT}"/>',
    f'<path d="M0 0L8 8M8 0L0 8" stroke="{INK}" stroke-width="1.3"/>',
    f'<path d="M4 0V8" stroke="{INK}" stroke-width="2"/>',
    f'<rect width="4" height="4" fill="{INK}"/><rect x="4" y="4" width="4" height="4" '
    f'fill="{INK}"/>',
    f'<path d="M-2 6L2 10M0 0L8 8M6 -2L10 2" stroke="{_DARK}" stroke-width="3.4"/>',
    f'<circle cx="4" cy="4" r="2.6" fill="none" stroke="{INK}" stroke-width="1.1"/>',
    f'<rect width="8" height="8" fill="{_LIGHT}"/><path d="M0 4H8M4 0V8" stroke="{INK}" '
    'stroke-width="1.1"/>',
    f'<path d="M0 6L2 2L6 6L8 2" fill="none" stroke="{INK}" stroke-width="1.3"/>',
)


def pattern(kind: int, name: str) -> str:
    """Return the pattern of a type, by its number, as an element with an id.

    Beyond as many types as there are designs they come again, larger.
    """
    times = 1 + kind // len(_DESIGNS)
    scale = f' patternTransform="scale({times})"' if times > 1 else ""
    return (
        f'<pattern id="{name}" width="{_SIDE}" height="{_SIDE}" patternUnits="userSpaceOnUse"'
        f'{scale}><rect width="{_SIDE}" height="{_SIDE}" fill="{PAPER}"/>'
        f"{_DESIGNS[kind % len(_DESIGNS)]}</pattern>"
    )


def swatch(kind: int, name: str, title: str) -> str:
    """Return a small square with a type's pattern, whose id is ``name``."""
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 32 32" width="32" height="32" '
        f'role="img"><title>{escape(title)}</title><defs>{pattern(kind, name)}</defs>'
        f'<rect x="1" y="1" width="30" height="30" fill="url(#{name})" stroke="{INK}"/></svg>'
    )


def plain(puzzle: Puzzle) -> str:
    """Return what all pictures of types have in common: every piece left white."""
    shapes, _ = _shapes(puzzle)
    line = f'fill="{PAPER}" stroke="{GREY}" stroke-width="0.6"'
    return f"<g {line}>" + "".join(f"<{shape}/>" for _, shape in shapes) + "</g>"


def draw_types(
    puzzle: Puzzle, types: Collection[int], name: str, title: str, ground: str | None = None
) -> str:
    """Return the solved puzzle as an SVG picture in which types, by number, have their patterns.

    All others are left white. ``name`` begins the ids in it, so that it may stand beside others.
    ``ground`` is the id of an element in the same page with what `plain` returns.
    """
    shapes, height = _shapes(puzzle)
    chosen = sorted(types)
    defs = "".join(pattern(kind, f"{name}-{kind}") for kind in chosen)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {number(height)}" '
        f'width="{WIDTH}" height="{number(height)}" role="img">',
        f"<title>{escape(title)}</title><defs>{defs}</defs>",
        plain(puzzle) if ground is None else f'<use href="#{ground}"/>',
    ]
    for kind in chosen:
        parts.append(f'<g fill="url(#{name}-{kind})" stroke="{INK}" data-type="{kind}">')
        parts.extend(f"<{shape}/>" for slot, shape in shapes if puzzle.type_of[slot] == kind)
        parts.append("</g>")
    parts.append("</svg>")
    return "".join(parts)


def _shapes(puzzle: Puzzle) -> tuple[list[tuple[int, str]], float]:
    """Return the outlines of all that is seen, with their slots, and the picture's height."""
    return _places(puzzle) if puzzle.shape == "written" else stage(puzzle).outlines()


@lru_cache(maxsize=8)
def _places(puzzle: Puzzle) -> tuple[list[tuple[int, str]], float]:
    """Return the places of a written-down puzzle as shapes of their slots, and the height."""
    from puzzles.written_picture import laid_out

    own = laid_out(puzzle, WIDTH)
    return [
        (slot, f'circle cx="{number(x)}" cy="{number(y)}" r="{number(own.radius)}"')
        for slot, (x, y) in enumerate(own.places)
    ], own.height
