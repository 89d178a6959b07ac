"""A ball in one view of a picture: a dark disc with what is seen of its stickers, and letters."""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from puzzles.bodies import Vectors
from puzzles.horizon import boundary, seen
from puzzles.paint import BODY, GREY, UNPAINTED, face_paint, ink, pale
from puzzles.puzzle import Puzzle
from puzzles.shapes import best_spot, room_at, simple
from puzzles.svg import INK, PAPER, number, pair, text
from puzzles.svg import loops as path
from puzzles.views import MIRROR, SMALLEST_LETTERS, BallView, Spot, ball_views, letter_size

#: The dark gap between pieces: bounds in units of the picture, and as a share of small pieces.
_NARROWEST, _WIDEST, _SHARE = 0.6, 1.8, 0.4
#: How far a letter may be from where its axis comes out, as a share of the ball's radius.
_FAR = 0.45
#: What is seen of an outlined slot beyond the horizon, if less than this, is not outlined.
_SMALLEST_OUTLINED = 0.6
#: A thin outline and the light line around it.
_FINE = 1.0, 2.6
#: How much of the height the words below the second view take.
_CAPTION = 16.0
#: The least room for a core on a sticker, in units of the picture.
_SMALLEST_CORE = 4.0


@dataclass(frozen=True, eq=False)
class _Loops:
    """Loops on the sphere around each sticker, each slot, and the slots that are one piece.

    ``pieces`` are the slots of each piece: one, or several that are fastened together.
    """

    stickers: list[list[Vectors]]
    slots: list[list[Vectors]]
    pieces: list[tuple[int, ...]]
    around: list[list[Vectors]]


@lru_cache(maxsize=8)
def _loops(puzzle: Puzzle) -> _Loops:
    stickers = [boundary([sticker.outline]) for sticker in puzzle.stickers]
    own: list[list[int]] = [[] for _ in range(puzzle.slot_count)]
    for k, sticker in enumerate(puzzle.stickers):
        own[sticker.slot].append(k)

    def around(some: list[int]) -> list[Vectors]:
        if len(some) == 1:
            return stickers[some[0]]
        return boundary([puzzle.stickers[k].outline for k in some])

    slots = [around(some) for some in own]
    fastened = {slot for group in puzzle.bonds for slot in group}
    pieces: list[tuple[int, ...]] = [
        (slot,) for slot in range(puzzle.slot_count) if slot not in fastened
    ]
    pieces += [tuple(group) for group in puzzle.bonds]
    outer = [
        slots[piece[0]] if len(piece) == 1 else around([k for slot in piece for k in own[slot]])
        for piece in pieces
    ]
    return _Loops(stickers, slots, pieces, outer)


class BallScene:
    """What a ball is drawn from in one view: what is seen of each sticker, slot and piece."""

    def __init__(self, puzzle: Puzzle, view: BallView, limits: Vectors) -> None:
        self.puzzle = puzzle
        self.view = view
        self.limits = limits
        self.frame = view.middle + view.rim * unit_circle(48)
        self.middle = view.middle
        loops = _loops(puzzle)
        self.shapes = self._seen(loops.stickers)
        self.slots = self._seen(loops.slots)
        self.pieces = loops.pieces
        paint = face_paint(puzzle.body)
        self.paint = {-1: (UNPAINTED, ""), **dict(enumerate(paint))}
        self.around = self._seen(loops.around)
        self.seen = {k: self._spot(k) for k in self.shapes}
        self.spots = dict(self.seen)

    def _seen(self, loops: list[list[Vectors]]) -> dict[int, list[Vectors]]:
        """Return the shapes on the paper of those that are seen at all, by their numbers.

        They part the whole sphere: where the line around one is seen, no other fills the view.
        """
        toward, level = self.view.toward, self.view.level
        near = [k for k, own in enumerate(loops) if any((p @ toward).max() > level for p in own)]
        result = {}
        for k in near or range(len(loops)):
            there = seen(loops[k], toward, level)
            shapes = [simple(self.view.paper(loop)) for loop in there]
            shapes = [shape for shape in shapes if len(shape) > 2]
            if shapes:
                result[k] = shapes
        return result

    def _spot(self, sticker: int, busy: Vectors | None = None) -> Spot:
        outline = self.puzzle.stickers[sticker].outline
        return best_spot(self.shapes[sticker], self.view.paper(_middle(outline)), busy)

    def stickers(
        self, outlined: set[int], faded: bool, plain: set[int], finely: Collection[int] = ()
    ) -> list[str]:
        """Draw the ball's disc and what is seen of its pieces, small ones over the rims of large.

        Outlined slots come last, those in ``finely`` with a thinner line. The stickers in ``plain``
        bear a letter or a number, and no core beneath it. Between stickers of one piece there is no
        gap, between fastened slots a line.
        """
        own: dict[int, list[int]] = {}
        for k in self.shapes:
            own.setdefault(self.puzzle.stickers[k].slot, []).append(k)
        space = {slot: max(self.seen[k].space for k in some) for slot, some in own.items()}
        strong = [slot for slot in own if slot in outlined and space[slot] > _SMALLEST_OUTLINED]
        x, y = self.middle
        result = [
            f'<circle cx="{number(x)}" cy="{number(y)}" r="{number(self.view.rim + 1.5)}" '
            f'fill="{BODY}"/>'
        ]
        largest = {k: max(space.get(slot, 0.0) for slot in self.pieces[k]) for k in self.around}
        for k in sorted(self.around, key=lambda k: (-round(largest[k], 3), k)):
            there = [slot for slot in self.pieces[k] if slot in own]
            gap = min(_WIDEST, max(_NARROWEST, largest[k] * _SHARE))
            wide = gap if len(self.pieces[k]) == 1 else _NARROWEST
            for slot in there:
                if slot not in strong:
                    result.extend(self._slot(slot, own[slot], (BODY, wide), faded, plain))
            if len(self.pieces[k]) > 1:
                result.append(stroked(self.around[k], BODY, gap))
        for slot in strong:
            result.append(stroked(self.slots[slot], PAPER, _FINE[1] if slot in finely else 5.0))
        for slot in strong:
            edge = INK, _FINE[0] if slot in finely else 2.2
            result.extend(self._slot(slot, own[slot], edge, False, plain))
        return result

    def _slot(
        self, slot: int, own: list[int], edge: tuple[str, float], faded: bool, plain: set[int]
    ) -> list[str]:
        """Draw the stickers of a slot with one line, of a colour and width, around all of them."""
        result = []
        for k in own:
            colour, core = self.paint[self.puzzle.stickers[k].face]
            if faded:
                colour, core = pale(colour), core and pale(core)
            # Stickers of one piece overlap a little, to hide the seam.
            line, wide = edge if len(own) == 1 else (colour, 0.6)
            result.append(
                f'<path d="{path(self.shapes[k])}" fill="{colour}" stroke="{line}" '
                f'stroke-width="{number(wide)}" stroke-linejoin="round" data-sticker="{k}"/>'
            )
            if core and k not in plain and self.seen[k].space > _SMALLEST_CORE:
                (cx, cy), radius = self.seen[k].place, self.seen[k].space * 0.4
                result.append(
                    f'<circle cx="{number(cx)}" cy="{number(cy)}" r="{number(radius)}" '
                    f'fill="{core}"/>'
                )
        if len(own) > 1:
            result.append(stroked(self.slots[slot], *edge))
        return result

    def letters(self, outlined: set[int], faded: bool, busy: Vectors) -> tuple[list[str], set[int]]:
        """Write each face's letter where its axis comes out, or near there, or beside the ball.

        ``busy`` are points (…, 2) of arrows to keep clear of. Returns the stickers written on, too.
        """
        result = []
        used = set()
        for face_number, face in enumerate(self.puzzle.body.faces):
            if face.normal @ self.view.toward <= 0:
                continue
            goal = self.view.paper(face.normal)
            found = self._letter_spot(face_number, goal, busy)
            if found is None:
                result.extend(self._beside(face.name, goal, busy))
                continue
            k, spot = found
            used.add(k)
            sticker = self.puzzle.stickers[k]
            colour = self.paint[sticker.face][0]
            colour = pale(colour) if faded and sticker.slot not in outlined else colour
            size = letter_size(spot)
            x, y = spot.place
            result.append(text(x, y + size * 0.36, size, face.name, ink(colour)))
        return result, used

    def _letter_spot(self, face: int, goal: Vectors, busy: Vectors) -> tuple[int, Spot] | None:
        """Return the sticker with room for a letter that is nearest to where a face's axis is."""
        for k, shape in self.shapes.items():
            own = room_at(shape, goal, busy)
            if own * 1.1 >= SMALLEST_LETTERS:
                return k, Spot(goal, own)
        near = {
            k: float(np.linalg.norm(spot.place - goal))
            for k, spot in self.seen.items()
            if self.puzzle.stickers[k].face in (face, -1) and spot.space * 1.1 >= SMALLEST_LETTERS
        }
        for k in sorted(near, key=lambda k: (round(near[k], 3), k)):
            spot = self._spot(k, busy) if len(busy) else self.seen[k]
            away = float(np.linalg.norm(spot.place - goal))
            if spot.space * 1.1 >= SMALLEST_LETTERS and away < _FAR * self.view.scale:
                return k, spot
        return None

    def _beside(self, name: str, goal: Vectors, busy: Vectors) -> list[str]:
        """Write a letter outside, in the direction of its axis or where there is room near it."""
        x, y = goal - self.middle
        ahead = math.atan2(y, x)
        low, high = self.limits[0] + 5.5, self.limits[1] - 5.5
        best, chosen = -math.inf, ahead
        for aside in sorted(np.linspace(-1.2, 1.2, 25), key=abs):
            place = self._at(ahead + aside, 8.5)
            clear = float(np.linalg.norm(busy - place, axis=1).min(initial=12.0))
            beyond = float(np.maximum(np.maximum(low - place, place - high), 0.0).sum())
            value = min(clear, 12.0) / 12 - abs(aside) / 2 - beyond
            if value > best + 1e-9:
                best, chosen = value, ahead + aside
        rim, beyond_rim = self._at(chosen, -3.0), self._at(chosen, 3.0)
        x, y = self._at(chosen, 8.5)
        return [
            f'<path d="M{pair(rim)}L{pair(beyond_rim)}" fill="none" stroke="{GREY}" '
            'stroke-width="0.8"/>',
            text(x, y + 3.6, 10.0, name, GREY),
        ]

    def _at(self, angle: float, beyond: float) -> Vectors:
        """Return a point (2,) in a direction from the middle, so far outside the rim."""
        way = np.array([math.cos(angle), math.sin(angle)])
        place: Vectors = self.middle + way * (self.view.scale + beyond)
        return place


@lru_cache(maxsize=8)
def ball_scenes(
    puzzle: Puzzle, width: int, hidden: bool, holding: int = 0
) -> tuple[tuple[BallScene, ...], float]:
    """Return the scenes of a picture's views, and its height.

    A sticker across the horizon stands in the view where more of it is seen.
    """
    every, height = ball_views(puzzle, width, hidden, holding)
    count, size = len(every), (float(width), height)
    first = every[0]
    parting = size[0]
    if len(every) == 1:
        every.append(replace(first, toward=-first.toward, across=first.across * MIRROR))
    else:
        right, left = first.middle[0] + first.scale, every[1].middle[0] - every[1].scale
        parting = (right + left) / 2
    low = size[1] - _CAPTION
    limits = np.array([[(0.0, 0.0), (parting, size[1])], [(parting, 0.0), (size[0], low)]])
    scenes = [BallScene(puzzle, *own) for own in zip(every, limits, strict=True)]
    for k in set(scenes[0].seen) & set(scenes[1].seen):
        here, there = (scene.seen[k].space / scene.view.scale for scene in scenes)
        del scenes[1 if here > 0.9 * there else 0].spots[k]
    return tuple(scenes[:count]), height


def unit_circle(count: int) -> Vectors:
    """Return so many points (…, 2) of a circle about 0."""
    angles = np.linspace(0.0, 2 * math.pi, count, endpoint=False)[:, None]
    return np.hstack([np.cos(angles), np.sin(angles)])


def stroked(shape: list[Vectors], colour: str, wide: float) -> str:
    """Return closed lines (…, 2) as a path of a colour and width, with nothing inside."""
    return (
        f'<path d="{path(shape)}" fill="none" stroke="{colour}" '
        f'stroke-width="{number(wide)}" stroke-linejoin="round"/>'
    )


def _middle(outline: Vectors) -> Vectors:
    """Return the direction (3,) of the middle of a patch, by its vector area."""
    total: Vectors = np.cross(outline, np.roll(outline, -1, axis=0)).sum(axis=0)
    length = float(np.linalg.norm(total))
    return total / length if length > 1e-9 else outline[0]
