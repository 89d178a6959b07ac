"""Pictures of puzzles whose turns are written down: places as discs, turns as lines, a cycle.

Where the file gives positions, grey lines show which way each turn carries the pieces; where it
gives none, the places of each type stand on circles.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from xml.sax.saxutils import escape

import numpy as np

from puzzles.arrows import bent_arrow, disc, spin
from puzzles.bodies import Vectors
from puzzles.paint import GREY, PALETTE, ink, pale
from puzzles.puzzle import Puzzle, Word
from puzzles.svg import INK, pair, points, text
from puzzles.svg import number as n

#: Radius of the discs as a share of the least distance between places, and its bounds.
SHARE, LARGEST, SMALLEST = 0.36, 15.0, 1.5
#: How much higher than wide the part with the places may be.
TALLEST = 2.5
#: About how many places stand on the outermost circle before another is begun inside.
ON_A_CIRCLE = 20
#: The smallest letters, the room for a line of the legend, around the places and for letters.
SMALLEST_LETTERS, LINE, MARGIN, LETTER = 4.5, 17.0, 30.0, 13.0
#: How far arrows bend outwards, as a share of their length, in the order in which it is tried: less
#: than between stickers, for they would leave the picture, and past more discs.
BENDS = (0.22, 0.15, 0.3, 0.4, 0.08, 0.5, -0.1, -0.2, -0.3)


@dataclass(frozen=True, eq=False)
class _Layout:
    """Places on the paper (slots, 2), the radius of their discs, the height that they take."""

    places: Vectors
    radius: float
    height: float


def draw(
    puzzle: Puzzle,
    cycles: Sequence[Sequence[int]],
    outlined: set[int],
    width: int,
    title: str,
    description: str,
    faded: bool,
) -> str:
    """Return the solved puzzle as the text of an SVG picture.

    ``cycles`` are placements that arrows join, ``outlined`` slots, those of the cycles among them;
    if ``faded``, all others step back. Round a piece that is twisted in place an arrow goes.
    """
    layout = laid_out(puzzle, width)
    legend = _legend(puzzle, width, layout.height)
    height = layout.height + (LINE * len(legend) + 6 if legend else 0)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {n(height)}" '
        f'width="{width}" height="{n(height)}" role="img">',
        f"<title>{escape(title)}</title>",
        f"<desc>{escape(description)}</desc>",
    ]
    if puzzle.places is not None and puzzle.places.points is not None:
        parts.extend(_turns(puzzle, layout, width))
    said: dict[int, int] = {}
    for place in (p for cycle in cycles for p in cycle):
        said.setdefault(int(puzzle.slot_of[place]), int(place))
    # Outlined discs come last, on top of their neighbours.
    for slot in sorted(range(puzzle.slot_count), key=lambda k: k in outlined):
        parts.extend(_disc(puzzle, layout, slot, slot in outlined, faded, said.get(slot)))
    parts.extend(_arrows(puzzle, layout, cycles))
    parts.extend(part for line in legend for part in line)
    parts.append("</svg>")
    return "\n".join(parts)


def draw_places(puzzle: Puzzle, word: Word, cycle: Sequence[int], width: int, title: str) -> str:
    """Return a small picture of the state after a word: each place as the piece that is there.

    What is at home steps back; the pieces at the placements ``cycle`` of the solved puzzle are
    numbered.
    """
    layout = laid_out(puzzle, width)
    there = puzzle.slot_of[puzzle.effect(word)[puzzle.home]].tolist()
    away = puzzle.effect(word)[puzzle.home] != puzzle.home
    steps = {int(puzzle.slot_of[p]): k for k, p in enumerate(cycle)}
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {n(layout.height)}" '
        f'width="{width}" height="{n(layout.height)}" role="img">',
        f"<title>{escape(title)}</title>",
    ]
    for piece in sorted(range(puzzle.slot_count), key=lambda k: bool(away[k])):
        (x, y), strong = layout.places[there[piece]], bool(away[piece])
        fill = colour(puzzle, piece) if strong else pale(colour(puzzle, piece))
        edge = (INK, "2") if strong else (GREY, "0.8")
        parts.append(
            f'<circle cx="{n(x)}" cy="{n(y)}" r="{n(layout.radius)}" fill="{fill}" '
            f'stroke="{edge[0]}" stroke-width="{edge[1]}" data-piece="{piece}" '
            f'data-place="{there[piece]}"/>'
        )
        if piece not in steps:
            parts.append(_name(puzzle, (x, y), layout.radius, piece, fill))
    radius = min(9.0, max(6.0, layout.radius))
    for slot, k in steps.items():
        parts.append(disc(layout.places[there[slot]], radius, k + 1, seen=True))
    parts.append("</svg>")
    return "".join(parts)


def _name(puzzle: Puzzle, place: tuple[float, float], radius: float, piece: int, fill: str) -> str:
    """Write the name of a piece on its disc, if there is room."""
    from puzzles.names import slot_names

    name = slot_names(puzzle)[piece]
    size = min(radius * 1.05, 1.5 * radius / (0.55 * len(name)))
    if size < SMALLEST_LETTERS:
        return ""
    return text(place[0], place[1] + size * 0.36, size, name, ink(fill))


@lru_cache(maxsize=16)
def laid_out(puzzle: Puzzle, width: int) -> _Layout:
    """Return where the places of a puzzle are drawn in a picture of a width."""
    flat = positions(puzzle)
    low, high = flat.min(axis=0), flat.max(axis=0)
    spans = np.maximum(high - low, 1e-12)
    room = max(width - 2 * MARGIN, width * 0.5)
    scale = min(room / spans[0], (width * TALLEST - 2 * MARGIN) / spans[1])
    least = _least_distance(flat) * scale
    radius = min(LARGEST, max(SMALLEST, least * SHARE))
    height = spans[1] * scale + 2 * MARGIN
    middle = (low + high) / 2
    places = (flat - middle) * (scale, -scale) + (width / 2, height / 2)
    return _Layout(places, radius, float(height))


def positions(puzzle: Puzzle) -> Vectors:
    """Return where places are drawn, across and up (slots, 2), in a unit of their own."""
    own = puzzle.places
    return own.points if own is not None and own.points is not None else _circles(puzzle)


def _least_distance(flat: Vectors) -> float:
    """Return the least distance between any two of some points; they are at most 1,000."""
    least = math.inf
    for k in range(1, len(flat)):
        least = min(least, float(np.linalg.norm(flat[:k] - flat[k], axis=1).min()))
    return least


def _circles(puzzle: Puzzle) -> Vectors:
    """Return points (slots, 2) with each type on circles of its own, types side by side."""
    result = np.zeros((puzzle.slot_count, 2))
    across = math.ceil(math.sqrt(len(puzzle.types)))
    for kind in puzzle.types:
        row, column = divmod(kind.number, across)
        rings = max(1, round(math.sqrt(kind.count / ON_A_CIRCLE)))
        # Rings of radius 1, (m - 1) / m … 1 / m hold numbers of places in the same proportion.
        bounds = [
            kind.count * r * (2 * rings - r + 1) / (rings * (rings + 1)) for r in range(rings)
        ]
        starts = [round(bound) for bound in bounds] + [kind.count]
        for r in range(rings):
            size = starts[r + 1] - starts[r]
            radius = 0.0 if kind.count == 1 else 1 - r / rings
            for k in range(size):
                angle = math.pi / 2 - 2 * math.pi * k / size
                middle = np.array([2.6 * column, -2.6 * row])
                slot = kind.first_slot + starts[r] + k
                result[slot] = middle + radius * np.array([math.cos(angle), math.sin(angle)])
    return result


def colour(puzzle: Puzzle, slot: int) -> str:
    """Return the colour that the file gives a place, else one for its type."""
    own = puzzle.places.colours[slot] if puzzle.places is not None else ""
    return own or PALETTE[int(puzzle.type_of[slot]) % len(PALETTE)]


def _disc(
    puzzle: Puzzle, layout: _Layout, slot: int, strong: bool, faded: bool, placement: int | None
) -> list[str]:
    """Draw a place with its name; that of a placement of the cycle, where there is one."""
    from puzzles.names import placement_name, slot_names

    name = slot_names(puzzle)[slot] if placement is None else placement_name(puzzle, placement)
    (x, y), radius = layout.places[slot], layout.radius
    fill = colour(puzzle, slot)
    if faded and not strong:
        fill = pale(fill)
    edge = f'stroke="{INK}" stroke-width="2.2"' if strong else f'stroke="{GREY}" stroke-width="0.8"'
    result = [
        f'<circle cx="{n(x)}" cy="{n(y)}" r="{n(radius)}" fill="{fill}" {edge} '
        f'data-place="{escape(name)}"/>'
    ]
    # A letter is about 0.55 of its size wide, in common sans-serif type.
    size = min(radius * 1.05, 1.5 * radius / (0.55 * len(name)))
    if size >= SMALLEST_LETTERS:
        result.append(text(x, y + size * 0.36, size, name, ink(fill)))
    return result


def _arrows(puzzle: Puzzle, layout: _Layout, cycles: Sequence[Sequence[int]]) -> list[str]:
    """Draw an arrow from each place of a cycle to the next, past all others, bent outwards."""
    drawn = []
    for cycle in cycles:
        slots = list(dict.fromkeys(int(puzzle.slot_of[p]) for p in cycle))
        pairs = list(zip(slots, slots[1:] + slots[:1], strict=True))
        area = sum(_cross(layout.places[a], layout.places[b]) for a, b in pairs)
        bends = BENDS if area <= 0 else tuple(-share for share in BENDS)
        for start, end in pairs:
            if start == end:
                drawn.append(spin(layout.places[start], layout.radius)[0])
                continue
            others = [p for k, p in enumerate(layout.places) if k not in (start, end)]
            ends = layout.places[start], layout.places[end]
            drawn.append(bent_arrow(*ends, layout.radius + 1.0, others, bends)[0])
    # What clears the ground for an arrow must not cover the head of another.
    return [one[0] for one in drawn] + [part for one in drawn for part in one[1:]]


def _cross(first: Vectors, second: Vectors) -> float:
    return float(first[0] * second[1] - first[1] * second[0])


def _turns(puzzle: Puzzle, layout: _Layout, width: int) -> list[str]:
    """Draw the cycles of every turn as lines with heads, and its name where there is room."""
    result: list[str] = []
    busy = layout.places
    for layer in puzzle.layers:
        turn = puzzle.turn(puzzle.layer_numbers[layer.name], 1)
        if turn is None:
            continue
        image = puzzle.slot_of[puzzle.moves[turn][puzzle.home]].tolist()
        cycles = _cycles(image)
        for cycle in cycles:
            for start, end in zip(cycle, cycle[1:] + cycle[:1], strict=True):
                result.extend(_step(layout, start, end))
        if not cycles:
            continue
        spot = _room(layout, max(cycles, key=len), busy, width)
        busy = np.concatenate([busy, spot[None]])
        result.append(text(spot[0], spot[1] + LETTER * 0.36, LETTER, layer.name, GREY))
    return result


def _cycles(image: Sequence[int]) -> list[list[int]]:
    """Return the cycles of slots that a permutation of slots has, but for those that stay."""
    result: list[list[int]] = []
    seen: set[int] = set()
    for start in range(len(image)):
        cycle: list[int] = []
        slot = start
        while slot not in seen:
            seen.add(slot)
            cycle.append(slot)
            slot = image[slot]
        if len(cycle) > 1:
            result.append(cycle)
    return result


def _step(layout: _Layout, start: int, end: int) -> list[str]:
    """Draw the way from one place to the next, with a head in its middle if there is room."""
    first, last = layout.places[start], layout.places[end]
    result = [
        f'<path d="M{pair(first)}L{pair(last)}" fill="none" stroke="{GREY}" stroke-width="1.2"/>'
    ]
    length = float(np.linalg.norm(last - first))
    if length - 2 * layout.radius > 7.0:
        way = (last - first) / length
        tip, side = (first + last) / 2 + way * 3.0, np.array([-way[1], way[0]]) * 2.6
        head = np.array([tip, tip - way * 6.0 + side, tip - way * 6.0 - side])
        result.append(f'<polygon points="{points(head)}" fill="{GREY}"/>')
    return result


def _room(layout: _Layout, cycle: Sequence[int], busy: Vectors, width: int) -> Vectors:
    """Return where the name of a turn has most room: in the middle of a cycle, or beside it."""
    ring = layout.places[list(cycle)]
    middle: Vectors = ring.mean(axis=0)
    options = [middle]
    for place in ring:
        way = place - middle
        length = float(np.linalg.norm(way))
        if length > 1e-6:
            options.append(place + way / length * (layout.radius + LETTER * 0.75))
    best, chosen = -math.inf, middle
    for option in options:
        clear = float(np.linalg.norm(busy - option, axis=1).min())
        beyond = float(np.maximum(LETTER * 0.6 - option, 0.0).sum())
        size = np.array([width, layout.height])
        beyond += float(np.maximum(option + LETTER * 0.6 - size, 0.0).sum())
        value = min(clear, layout.radius + LETTER) - 5 * beyond
        if value > best + 1e-9:
            best, chosen = value, option
    return chosen


def _legend(puzzle: Puzzle, width: int, top: float) -> list[list[str]]:
    """Return lines that say which colour is which type; none where the file gives colours."""
    if len(puzzle.types) < 2 or (puzzle.places is not None and any(puzzle.places.colours)):
        return []
    lines: list[list[str]] = [[]]
    x = 12.0
    for kind in puzzle.types:
        size = 11.0
        wide = 16.0 + len(kind.name) * size * 0.6
        if x + wide > width and lines[-1]:
            lines.append([])
            x = 12.0
        y = top + LINE * (len(lines) - 0.5)
        lines[-1].append(
            f'<circle cx="{n(x)}" cy="{n(y)}" r="5" fill="{colour(puzzle, kind.first_slot)}" '
            f'stroke="{GREY}" stroke-width="0.8"/>'
        )
        middle = x + 9.0 + len(kind.name) * size * 0.275
        lines[-1].append(text(middle, y + size * 0.36, size, kind.name, GREY))
        x += wide + 8.0
    return lines
