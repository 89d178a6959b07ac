"""A ball in one view of a picture: a dark disc with what is seen of its stickers, and letters."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

import numpy as np

from puzzles.bodies import Vectors
from puzzles.horizon import boundary, seen
from puzzles.paint import BODY, GREY, ink, pale, sticker_paint
from puzzles.puzzle import Puzzle
from puzzles.svg import INK, PAPER, number, pair, text
from puzzles.svg import loops as path
from puzzles.views import MIRROR, SMALLEST_LETTERS, Spot, View, letter_size

#: How far a drawn line may be from the true one, in units of the picture.
_FLAT = 0.12
#: The dark gap between pieces: bounds in units of the picture, and as a share of small pieces.
_NARROWEST, _WIDEST, _SHARE = 0.8, 2.0, 0.45
#: The best spot of a sticker is looked for on a grid of so many points across.
_GRID = 13


@lru_cache(maxsize=8)
def _loops(puzzle: Puzzle) -> tuple[list[list[Vectors]], list[list[Vectors]]]:
    """Return the loops around each sticker and around each slot, on the sphere."""
    stickers = [boundary([sticker.outline]) for sticker in puzzle.stickers]
    own: list[list[int]] = [[] for _ in range(puzzle.slot_count)]
    for k, sticker in enumerate(puzzle.stickers):
        own[sticker.slot].append(k)
    slots = [
        stickers[some[0]]
        if len(some) == 1
        else boundary([puzzle.stickers[k].outline for k in some])
        for some in own
    ]
    return stickers, slots


class BallScene:
    """What a ball is drawn from in one view; ``shapes`` are the loops seen of each sticker."""

    def __init__(self, puzzle: Puzzle, view: View) -> None:
        self.puzzle = puzzle
        self.view = view
        around = np.linspace(0.0, 2 * math.pi, 48, endpoint=False)[:, None]
        self.frame = view.middle + view.scale * np.hstack([np.cos(around), np.sin(around)])
        self.middle = view.middle
        stickers, slots = _loops(puzzle)
        self.shapes = {k: self._paper(own) for k, own in enumerate(stickers)}
        self.shapes = {k: shape for k, shape in self.shapes.items() if shape}
        self.slots = {k: self._paper(own) for k, own in enumerate(slots)}
        self.slots = {k: shape for k, shape in self.slots.items() if shape}
        self.spots: dict[int, Spot] = {}
        for k, shape in self.shapes.items():
            self.spots[k] = _spot(shape, view.paper(_middle(puzzle.stickers[k].outline)))

    def _paper(self, loops: list[Vectors]) -> list[Vectors]:
        shapes = [_simple(self.view.paper(loop)) for loop in seen(loops, self.view.toward)]
        return [shape for shape in shapes if len(shape) > 2]

    def stickers(self, outlined: set[int], faded: bool, plain: set[int]) -> list[str]:
        """Draw the ball's disc and what is seen of its stickers, outlined slots last, on top.

        The stickers in ``plain`` bear a letter or a number, and no core beneath it.
        """
        stickers, body = self.puzzle.stickers, self.puzzle.body
        x, y = self.middle
        result = [
            f'<circle cx="{number(x)}" cy="{number(y)}" r="{number(self.view.scale + 1.5)}" '
            f'fill="{BODY}"/>'
        ]
        own: dict[int, list[int]] = {}
        for k in self.shapes:
            own.setdefault(stickers[k].slot, []).append(k)
        strong = [slot for slot in own if slot in outlined]
        gap = self._gap()
        for slot in strong:
            result.append(_stroked(self.slots[slot], PAPER, 5.0))
        for slot in [k for k in own if k not in outlined] + strong:
            edge, wide = (INK, 2.2) if slot in outlined else (BODY, gap)
            alone = len(own[slot]) == 1
            for k in own[slot]:
                colour, core = sticker_paint(body, stickers[k].face)
                if faded and slot not in outlined:
                    colour, core = pale(colour), core and pale(core)
                # Stickers of one piece meet without a gap, and overlap a little to hide the seam.
                line, thick = (edge, wide) if alone else (colour, 0.6)
                result.append(
                    f'<path d="{path(self.shapes[k])}" fill="{colour}" stroke="{line}" '
                    f'stroke-width="{number(thick)}" stroke-linejoin="round" data-sticker="{k}"/>'
                )
                if core and k not in plain and self.spots[k].space > 3 * gap:
                    (cx, cy), radius = self.spots[k].place, self.spots[k].space * 0.4
                    result.append(
                        f'<circle cx="{number(cx)}" cy="{number(cy)}" r="{number(radius)}" '
                        f'fill="{core}"/>'
                    )
            if not alone:
                result.append(_stroked(self.slots[slot], edge, wide))
        return result

    def _gap(self) -> float:
        """Return the width of the gaps between pieces, narrow where pieces are small."""
        spaces = sorted(spot.space for spot in self.spots.values())
        small = spaces[len(spaces) // 4]
        return min(_WIDEST, max(_NARROWEST, small * _SHARE))

    def letters(self, outlined: set[int], faded: bool, busy: Vectors) -> tuple[list[str], set[int]]:
        """Write each face's letter where its axis comes out, or near there, or beside the ball.

        ``busy`` are points (…, 2) of arrows to keep clear of. Returns the stickers written on, too.
        """
        result = []
        used = set()
        for number_, face in enumerate(self.puzzle.body.faces):
            if face.normal @ self.view.toward <= 0:
                continue
            goal = self.view.paper(face.normal)
            best: tuple[float, Spot, int] | None = None
            for k, spot in self.spots.items():
                sticker = self.puzzle.stickers[k]
                if sticker.face not in (number_, -1) or sticker.slot in outlined:
                    continue
                away = float(np.linalg.norm(spot.place - goal))
                clear = float(np.linalg.norm(busy - spot.place, axis=1).min(initial=math.inf))
                if spot.space * 1.1 < SMALLEST_LETTERS or clear < letter_size(spot) * 0.7:
                    continue
                if best is None or away < best[0] - 1e-6:
                    best = away, spot, k
            if best is not None and best[0] < self.view.scale * 0.4:
                _, spot, k = best
                used.add(k)
                colour = sticker_paint(self.puzzle.body, self.puzzle.stickers[k].face)[0]
                colour = pale(colour) if faded else colour
                size = letter_size(spot)
                x, y = spot.place
                result.append(text(x, y + size * 0.36, size, face.name, ink(colour)))
                continue
            way = goal - self.middle
            way = way / max(float(np.linalg.norm(way)), 1e-9)
            rim, beyond = (
                self.middle + way * (self.view.scale - 4),
                self.middle + way * (self.view.scale + 4),
            )
            result.append(
                f'<path d="M{pair(rim)}L{pair(beyond)}" '
                f'fill="none" stroke="{GREY}" stroke-width="0.8"/>'
            )
            x, y = beyond + way * 7.5
            result.append(text(x, y + 4, 12.0, face.name, GREY))
        return result, used


def ball_scenes(puzzle: Puzzle, views: Sequence[View]) -> list[BallScene]:
    """Return the scenes of views; a sticker across the horizon stands where more of it is seen."""
    scenes = [BallScene(puzzle, view) for view in views]
    first = scenes[0].view
    other = (
        scenes[1]
        if len(scenes) > 1
        else BallScene(puzzle, replace(first, toward=-first.toward, across=first.across * MIRROR))
    )
    for k in set(scenes[0].spots) & set(other.spots):
        here = scenes[0].spots[k].space / first.scale
        there = other.spots[k].space / other.view.scale
        del (other if here > 0.9 * there else scenes[0]).spots[k]
    return scenes


def _stroked(shape: list[Vectors], colour: str, wide: float) -> str:
    return (
        f'<path d="{path(shape)}" fill="none" stroke="{colour}" '
        f'stroke-width="{number(wide)}" stroke-linejoin="round"/>'
    )


def _middle(outline: Vectors) -> Vectors:
    """Return the direction (3,) of the middle of a patch, by its vector area."""
    total: Vectors = np.cross(outline, np.roll(outline, -1, axis=0)).sum(axis=0)
    length = float(np.linalg.norm(total))
    return total / length if length > 1e-9 else outline[0]


def _spot(shape: list[Vectors], middle: Vectors) -> Spot:
    """Return where a shape has most room: its middle if that is nearly as good, else searched."""
    points = np.concatenate(shape)
    sides = np.concatenate([np.roll(loop, -1, axis=0) - loop for loop in shape])
    low, high = points.min(axis=0), points.max(axis=0)
    best, chosen = 0.0, points.mean(axis=0)
    own = float(_depths(points, sides, middle[None])[0])
    for _ in range(3):
        across, up = (np.linspace(low[k], high[k], _GRID) for k in (0, 1))
        grid = np.stack(np.meshgrid(across, up), axis=-1).reshape(-1, 2)
        depths = _depths(points, sides, grid)
        if depths.max() > best:
            best, chosen = float(depths.max()), grid[int(depths.argmax())]
        step = (high - low) / (_GRID - 1)
        low, high = chosen - step, chosen + step
    return Spot(middle, own) if own > 0.85 * best else Spot(chosen, best)


def _depths(points: Vectors, sides: Vectors, places: Vectors) -> Vectors:
    """Return how far inside a shape places (m, 2) are, negative outside; sides (k, 2) of it."""
    to = places[:, None] - points
    length = np.maximum((sides**2).sum(axis=1), 1e-12)
    along = np.clip((to * sides).sum(axis=2) / length, 0.0, 1.0)
    away = np.linalg.norm(to - along[..., None] * sides, axis=2).min(axis=1)
    above = points[:, 1] > places[:, None, 1]
    after = points[:, 1] + sides[:, 1] > places[:, None, 1]
    tall = np.where(sides[:, 1] == 0, 1.0, sides[:, 1])
    crossing = points[:, 0] + sides[:, 0] * -to[..., 1] / -tall
    inside = ((above != after) & (places[:, None, 0] < crossing)).sum(axis=1) % 2 == 1
    return np.asarray(np.where(inside, away, -away))


def _simple(shape: Vectors) -> Vectors:
    """Return a closed line without the points that it does not need (Douglas and Peucker, 1973)."""
    if len(shape) < 4:
        return shape
    far = int(((shape - shape[0]) ** 2).sum(axis=1).argmax())
    kept = {0, far}
    stack = [(0, far), (far, len(shape))]
    while stack:
        first, last = stack.pop()
        if last - first < 2:
            continue
        start, end = shape[first], shape[last % len(shape)]
        way, to = end - start, shape[first + 1 : last] - start
        length = math.hypot(*way)
        if length > 1e-9:
            off = np.abs(to[:, 0] * way[1] - to[:, 1] * way[0]) / length
        else:
            off = np.linalg.norm(to, axis=1)
        worst = int(off.argmax())
        if off[worst] > _FLAT:
            middle = first + 1 + worst
            kept.add(middle)
            stack += [(first, middle), (middle, last)]
    return shape[sorted(kept)]
