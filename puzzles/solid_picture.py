"""A flat-cut body in one view of a picture: its faces, stickers and letters."""

from __future__ import annotations

import itertools
import math

import numpy as np

from puzzles.bodies import Vectors
from puzzles.paint import BODY, GREY, face_paint, ink, pale
from puzzles.puzzle import Puzzle
from puzzles.svg import INK, PAPER, pair, points, text
from puzzles.views import SMALLEST_LETTERS, Spot, View, inset, letter_size, outside, room

#: Corners of stickers closer than this are the same.
CLOSE = 1e-6


class SolidScene:
    """What a flat-cut puzzle is drawn from in one view; each sticker is in exactly one view."""

    def __init__(self, puzzle: Puzzle, view: View, size: tuple[float, float]) -> None:
        self.puzzle = puzzle
        self.view = view
        self.frame = view.paper(puzzle.body.points)
        self.middle = view.paper(np.zeros(3))
        self.limits = np.array([(0.0, 0.0), size])
        self.spots: dict[int, Spot] = {}
        for number, sticker in enumerate(puzzle.stickers):
            if view.sees(puzzle.body, sticker.face):
                self.spots[number] = Spot(*room(view.paper(sticker.outline)))

    def stickers(self, outlined: set[int], faded: bool, plain: set[int]) -> list[str]:
        """Draw the body's faces and their stickers; those of outlined slots come last, on top.

        The stickers in ``plain`` bear a letter or a number, and no core beneath it.
        """
        body, stickers, view = self.puzzle.body, self.puzzle.stickers, self.view
        result = []
        for number, face in enumerate(body.faces):
            if view.sees(body, number):
                corners = view.paper(body.points[list(face.corners)])
                result.append(
                    f'<polygon points="{points(corners)}" fill="{BODY}" stroke="{BODY}" '
                    'stroke-width="2" stroke-linejoin="round"/>'
                )
        paint = face_paint(body)
        strong = [k for k in self.spots if stickers[k].slot in outlined]
        rims = [
            f'<polygon points="{points(view.paper(stickers[k].outline))}" fill="none" '
            f'stroke="{PAPER}" stroke-width="4.5" stroke-linejoin="round"/>'
            for k in strong
        ]
        for number in [k for k in self.spots if k not in strong] + strong:
            sticker = stickers[number]
            normal = body.faces[sticker.face].normal
            colour, core = paint[sticker.face]
            edge = f' stroke="{INK}" stroke-width="2.2" stroke-linejoin="round"'
            if number not in strong:
                edge = ""
                if faded:
                    colour, core = pale(colour), core and pale(core)
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
        return result + self._bars()

    def _bars(self) -> list[str]:
        """Draw a bar across the gap between stickers of pieces that are fastened together."""
        body_of = {slot: k for k, own in enumerate(self.puzzle.bonds) for slot in own}
        stickers, view = self.puzzle.stickers, self.view
        held = [k for k in self.spots if stickers[k].slot in body_of]
        result = []
        for one, other in itertools.combinations(held, 2):
            first, second = stickers[one], stickers[other]
            if first.slot == second.slot or body_of[first.slot] != body_of[second.slot]:
                continue
            away = np.linalg.norm(first.outline[:, None] - second.outline, axis=2).min(axis=1)
            shared = view.paper(first.outline[away < CLOSE])
            if first.face != second.face or len(shared) != 2:
                continue
            middle = shared.mean(axis=0)
            ends = [middle + (self.spots[k].place - middle) * 0.45 for k in (one, other)]
            line = f'<path d="M{pair(ends[0])}L{pair(ends[1])}" fill="none" stroke-linecap="round"'
            result.append(f'{line} stroke="{PAPER}" stroke-width="9"/>')
            result.append(f'{line} stroke="{BODY}" stroke-width="6"/>')
        return result

    def letters(self, outlined: set[int], faded: bool, busy: Vectors) -> tuple[list[str], set[int]]:
        """Write each face's letter on the sticker nearest its middle with room, or outside.

        ``busy`` are points (…, 2) of arrows to keep clear of. Returns the stickers written on, too.
        """
        result = []
        used = set()
        body, view = self.puzzle.body, self.view
        paint = face_paint(body)
        for number, face in enumerate(body.faces):
            if not view.sees(body, number):
                continue
            shape = view.paper(body.points[list(face.corners)])
            best: tuple[float, Spot, int] | None = None
            for own, spot in self.spots.items():
                sticker = self.puzzle.stickers[own]
                if sticker.face != number or sticker.slot in outlined:
                    continue
                away = float(np.linalg.norm(spot.place - shape.mean(axis=0)))
                clear = float(np.linalg.norm(busy - spot.place, axis=1).min(initial=math.inf))
                if spot.space * 1.1 < SMALLEST_LETTERS or clear < letter_size(spot) * 0.7:
                    continue
                if best is None or away < best[0] - 1e-6:
                    best = away, spot, own
            if best is not None:
                _, spot, own = best
                used.add(own)
                colour = pale(paint[number][0]) if faded else paint[number][0]
                size = letter_size(spot)
                x, y = spot.place
                result.append(text(x, y + size * 0.36, size, face.name, ink(colour)))
                continue
            rim, beyond = outside(self.frame, shape, self.middle)
            result.append(
                f'<path d="M{pair(rim)}L{pair(beyond)}" '
                f'fill="none" stroke="{GREY}" stroke-width="0.8"/>'
            )
            x, y = beyond + (beyond - rim) / np.linalg.norm(beyond - rim) * 7.5
            result.append(text(x, y + 4, 12.0, face.name, GREY))
        return result, used
