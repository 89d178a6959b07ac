"""A solved puzzle as an SVG picture, seen from in front and from behind, with a cycle's arrows.

Every sticker is seen in exactly one of the views. Only attributes are used, no styles, scripts or
references, so that the text can stand in any page.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from xml.sax.saxutils import escape

import numpy as np

from puzzles.arrows import arrows, disc_radius
from puzzles.bodies import Body, Vectors
from puzzles.names import placement_name, slot_names
from puzzles.puzzle import Puzzle
from puzzles.svg import INK, PAPER, pair, points, text
from puzzles.svg import number as number_text
from puzzles.views import View, inset, outside, room, views

#: Colours that can be told apart (Okabe and Ito, Color Universal Design, 2008), then two greys.
PALETTE = (
    "#56B4E9",
    "#D55E00",
    "#F0E442",
    "#0072B2",
    "#009E73",
    "#CC79A7",
    "#E69F00",
    "#EEEEEE",
    "#9A9A9A",
)
#: Where there are more faces than colours, a core of one of these in every sticker of a face.
CORES = ("", "#000000", "#FFFFFF", "#555555", "#E69F00", "#56B4E9")
BODY = "#2B2B2B"
#: A grey that can be read on white and on black paper (contrast above 4.5 on both, WCAG 2).
GREY = "#767676"
#: The smallest letters, in units of the picture.
SMALLEST_LETTERS = 8.0
CAPTION = "seen from behind, below"
#: How wide pictures may be, in units of the picture.
WIDTHS = range(120, 2001)


def face_paint(body: Body) -> tuple[tuple[str, str], ...]:
    """Return colour and core ("" for none) of every face; no two faces are painted alike."""
    paints: list[tuple[str, str]] = []
    touching = [
        {k for k, f in enumerate(body.faces) if _edge(face.corners, f.corners)}
        for face in body.faces
    ]
    for number in range(len(body.faces)):
        core = CORES[number // len(PALETTE) % len(CORES)]
        near = {paints[k][0] for k in touching[number] if k < number}
        left = [c for c in PALETTE if (c, core) not in paints and c != core]
        paints.append((next((c for c in left if c not in near), left[0]), core))
    return tuple(paints)


def _edge(first: Sequence[int], second: Sequence[int]) -> bool:
    return len(set(first) & set(second)) == 2


def draw(
    puzzle: Puzzle,
    cycle: Sequence[int] | None = None,
    marked: Iterable[int] = (),
    width: int = 480,
    hidden: bool = True,
) -> str:
    """Return the solved puzzle as the text of an SVG picture.

    ``cycle`` is a tuple of placements: their pieces are outlined, their stickers numbered in order
    and joined by arrows; a step to the other view is a dashed stub with the other's number.
    ``marked`` are slots to outline. Without ``hidden`` the second view, from behind and below, is
    left out. ``width`` is in pixels.
    Raises ValueError for a width out of bounds and for a cycle of several types.
    """
    if width not in WIDTHS:
        raise ValueError(f"width {width}: {WIDTHS.start} to {WIDTHS.stop - 1} were expected")
    places = tuple(int(p) for p in cycle or ())
    if len({int(puzzle.type_of[puzzle.slot_of[p]]) for p in places}) > 1:
        raise ValueError("cycle: placements of one type were expected")
    outlined = {int(slot) for slot in marked} | {int(puzzle.slot_of[p]) for p in places}
    both, height = views(puzzle, width, hidden)
    shown = _cycle_stickers(puzzle, places, both[0])
    radius = disc_radius(puzzle, both, shown)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {number_text(height)}" '
        f'width="{width}" height="{number_text(height)}" role="img">',
        f"<title>{escape(_title(puzzle, places))}</title>",
        f"<desc>{escape(_description(puzzle, places, outlined))}</desc>",
    ]
    for number, view in enumerate(both):
        parts.append("<g>")
        if number == 1:
            x, y = view.paper(puzzle.body.points).mean(axis=0)[0], height - 7
            size = min(11.0, width / len(CAPTION) * 1.6)
            # A letter is about 0.55 of its size wide, in common sans-serif type.
            x = min(x, width - len(CAPTION) * size * 0.55 / 2 - 2)
            parts.append(text(x, y, size, CAPTION, GREY))
        drawn, busy = arrows(puzzle, view, shown, radius, (width, height))
        letters, plain = _letters(puzzle, view, outlined, bool(places), busy)
        parts.extend(_stickers(puzzle, view, outlined, bool(places), plain | set(shown)))
        parts.extend(letters)
        parts.extend(drawn)
        parts.append("</g>")
    parts.append("</svg>")
    return "\n".join(parts)


def _title(puzzle: Puzzle, places: tuple[int, ...]) -> str:
    names = " to ".join(placement_name(puzzle, p) for p in places)
    return f"{puzzle.name}: {names}" if places else puzzle.name


def _description(puzzle: Puzzle, places: tuple[int, ...], outlined: set[int]) -> str:
    sentences = [puzzle.description]
    if places:
        names = [placement_name(puzzle, p) for p in (*places, places[0])]
        sentences.append("The pieces go in a cycle: " + " to ".join(names) + ".")
    rest = sorted(outlined - {int(puzzle.slot_of[p]) for p in places})
    if rest:
        sentences.append("Outlined: " + ", ".join(slot_names(puzzle)[slot] for slot in rest) + ".")
    return " ".join(sentences)


def _cycle_stickers(puzzle: Puzzle, places: tuple[int, ...], view: View) -> list[int]:
    """Return the sticker that stands for each placement, all of one class, most of them seen."""
    best: tuple[int, ...] = ()
    most = -1
    first = [k for k, s in enumerate(puzzle.stickers) if places and _shows(puzzle, k, places[0])]
    for start in first:
        kind = puzzle.stickers[start].kind
        chosen = [
            next(
                k
                for k, s in enumerate(puzzle.stickers)
                if s.kind == kind and _shows(puzzle, k, place)
            )
            for place in places
        ]
        seen = sum(view.sees(puzzle.body, puzzle.stickers[k].face) for k in chosen)
        if seen > most:
            best, most = tuple(chosen), seen
    return list(best)


def _shows(puzzle: Puzzle, sticker: int, place: int) -> bool:
    """Whether a sticker stands for a placement: by its twist, or by its slot if it shows none."""
    own = puzzle.stickers[sticker]
    return own.placement == place or (own.placement < 0 and own.slot == puzzle.slot_of[place])


def _stickers(
    puzzle: Puzzle, view: View, outlined: set[int], faded: bool, plain: set[int]
) -> list[str]:
    """Draw the body's faces and their stickers; those of outlined slots come last, on top.

    The stickers in ``plain`` bear a letter or a number, and no core beneath it.
    """
    body, stickers = puzzle.body, puzzle.stickers
    result = []
    for number, face in enumerate(body.faces):
        if view.sees(body, number):
            corners = view.paper(body.points[list(face.corners)])
            result.append(
                f'<polygon points="{points(corners)}" fill="{BODY}" stroke="{BODY}" '
                'stroke-width="2" stroke-linejoin="round"/>'
            )
    paint = face_paint(body)
    seen = [k for k, sticker in enumerate(stickers) if view.sees(body, sticker.face)]
    strong = [k for k in seen if stickers[k].slot in outlined]
    rims = [
        f'<polygon points="{points(view.paper(stickers[k].outline))}" fill="none" '
        f'stroke="{PAPER}" stroke-width="4.5" stroke-linejoin="round"/>'
        for k in strong
    ]
    for number in [k for k in seen if k not in strong] + strong:
        sticker = stickers[number]
        normal = body.faces[sticker.face].normal
        colour, core = paint[sticker.face]
        edge = f' stroke="{INK}" stroke-width="2.2" stroke-linejoin="round"'
        if number not in strong:
            edge = ""
            if faded:
                colour, core = _pale(colour), core and _pale(core)
        elif rims:
            result.extend(rims)
            rims = []
        shape = view.paper(inset(sticker.outline, normal, 0.12, 1.6 / view.scale))
        result.append(
            f'<polygon points="{points(shape)}" fill="{colour}"{edge} data-sticker="{number}"/>'
        )
        if core and number not in plain:
            inner = view.paper(inset(sticker.outline, normal, 0.6, math.inf))
            result.append(f'<polygon points="{points(inner)}" fill="{core}"/>')
    return result


def _pale(colour: str) -> str:
    """Return a colour mixed with white, to step back behind the pieces of a cycle."""
    parts = [int(colour[k : k + 2], 16) for k in (1, 3, 5)]
    return "#" + "".join(f"{round(x + (255 - x) * 0.55):02X}" for x in parts)


def _letters(
    puzzle: Puzzle, view: View, outlined: set[int], faded: bool, busy: Vectors
) -> tuple[list[str], set[int]]:
    """Write each face's letter on the sticker nearest its middle with room for it, or outside.

    ``busy`` are points (…, 2) of arrows to keep clear of. Returns the stickers written on, too.
    """
    result = []
    used = set()
    body = puzzle.body
    paint = face_paint(body)
    for number, face in enumerate(body.faces):
        if not view.sees(body, number):
            continue
        shape = view.paper(body.points[list(face.corners)])
        best: tuple[float, Vectors, float, int] | None = None
        for own, sticker in enumerate(puzzle.stickers):
            if sticker.face != number or sticker.slot in outlined:
                continue
            place, space = room(view.paper(sticker.outline))
            away = float(np.linalg.norm(place - shape.mean(axis=0)))
            clear = float(np.linalg.norm(busy - place, axis=1).min(initial=math.inf))
            if space * 1.1 < SMALLEST_LETTERS or clear < min(17.0, space * 1.1) * 0.7:
                continue
            if best is None or away < best[0] - 1e-6:
                best = away, place, space, own
        if best is not None:
            _, place, space, own = best
            used.add(own)
            colour = _pale(paint[number][0]) if faded else paint[number][0]
            size = min(17.0, space * 1.1)
            result.append(text(place[0], place[1] + size * 0.36, size, face.name, _ink(colour)))
            continue
        rim, beyond = outside(view.paper(body.points), shape, view.paper(np.zeros(3)))
        result.append(
            f'<path d="M{pair(rim)}L{pair(beyond)}" '
            f'fill="none" stroke="{GREY}" stroke-width="0.8"/>'
        )
        x, y = beyond + (beyond - rim) / np.linalg.norm(beyond - rim) * 7.5
        result.append(text(x, y + 4, 12.0, face.name, GREY))
    return result, used


def _ink(colour: str) -> str:
    """Return black or white, whichever stands out more (relative luminance of WCAG 2)."""
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [x / 12.92 if x <= 0.04045 else ((x + 0.055) / 1.055) ** 2.4 for x in parts]
    light = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    return INK if light > 0.179 else PAPER
