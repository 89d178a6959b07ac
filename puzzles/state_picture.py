"""Small SVG pictures of a puzzle after some turns, to stand in rows: one picture a turn.

What is at home steps back; pieces that are away are painted strongly, outlined, and bear the letter
of the face that they come from where there is room, so that they can be told without colour. The
pieces of a cycle are numbered and keep their numbers wherever they go. What all pictures of a row
have in common, the *ground*, may stand once beside them.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import lru_cache
from xml.sax.saxutils import escape

import numpy as np

from puzzles.arrows import arrows, disc, disc_radius
from puzzles.bodies import Vectors
from puzzles.horizon import boundary, seen
from puzzles.paint import BODY, UNPAINTED, face_paint, ink, pale
from puzzles.picture import cycle_stickers
from puzzles.puzzle import Puzzle, Word
from puzzles.shapes import best_spot, simple
from puzzles.standing import Patch, patches, rotation
from puzzles.state_views import SHARE, WIDTH, both_views
from puzzles.svg import INK, number, pair, points, text
from puzzles.svg import loops as path
from puzzles.turn_arrows import turn_arrow
from puzzles.views import BallView, Spot, View, inset, room

#: How far a sticker is from the edge of its patch.
_INSET = 0.9
#: The sizes of letters, and of the discs with numbers.
_SMALLEST, _LARGEST = 7.5, 12.0
_DISC = 5.5, 8.0
#: The least room for a core on a sticker.
_CORE = 3.0
#: The least room for a number and arrows on a sticker; smaller ones are shown enlarged elsewhere.
_ROOM = 2.2
#: How wide the lines around what is away are in the view from in front and in that from behind.
_EDGES = 1.5, 1.0


@dataclass(frozen=True, eq=False)
class _Shape:
    """A patch as one view shows it: its loops (…, 2) on the paper, and where it has room."""

    loops: list[Vectors]
    spot: Spot

    @property
    def outline(self) -> str:
        """The beginning of an element with its outline."""
        if len(self.loops) == 1:
            return f'polygon points="{points(self.loops[0])}"'
        return f'path d="{path(self.loops)}"'

    def draw(self, fill: str, more: str = "") -> str:
        """Return it painted."""
        return f'<{self.outline} fill="{fill}"{more}/>'


@dataclass(eq=False)
class _Frame:
    """What arrows need to know of a view; see `views.Scene`."""

    spots: dict[int, Spot]
    frame: Vectors
    middle: Vectors
    limits: Vectors


class Stage:
    """Where pictures of a puzzle's states are drawn: two views of it, held in one way.

    ``holding`` is the number of the symmetry by which it is held otherwise than its file says.
    """

    def __init__(self, puzzle: Puzzle, holding: int = 0) -> None:
        assert puzzle.shape != "written"
        self.puzzle = puzzle
        self.views, self.height = both_views(puzzle, holding)
        self._paint = {-1: (UNPAINTED, ""), **dict(enumerate(face_paint(puzzle.body)))}
        self._homes = [
            [self._shape(view, sticker.outline) for sticker in puzzle.stickers]
            for view in self.views
        ]
        self._letters = [self._face_letters(k) for k in range(len(self.views))]

    def outlines(self) -> tuple[list[tuple[int, str]], float]:
        """Return what is seen of the stickers, as outlines with their slots, and the height."""
        return [
            (self.puzzle.stickers[k].slot, shape.outline)
            for homes in self._homes
            for k, shape in enumerate(homes)
            if shape is not None
        ], self.height

    def ground(self) -> str:
        """Return the solved puzzle, stepped back, with the letters of its faces."""
        parts = []
        for view, homes, letters in zip(self.views, self._homes, self._letters, strict=True):
            parts.extend(self._body(view))
            for k, shape in enumerate(homes):
                if shape is not None:
                    colour, core = self._paint[self.puzzle.stickers[k].face]
                    parts.append(shape.draw(pale(colour), self._seam))
                    if core and shape.spot.space > _CORE and k not in letters:
                        parts.append(_core(shape.spot, pale(core)))
            for k, face in letters.items():
                shape = homes[k]
                assert shape is not None
                colour = pale(self._paint[self.puzzle.stickers[k].face][0])
                parts.append(_letter(shape.spot, self.puzzle.body.faces[face].name, ink(colour)))
        parts.extend(self._bars({}))
        return "".join(parts)

    def draw(
        self,
        word: Sequence[int],
        cycle: Sequence[int] = (),
        turned: int | None = None,
        title: str = "",
        ground: str | None = None,
    ) -> str:
        """Return the state after a word as the text of an SVG picture.

        The pieces at the placements ``cycle`` of the solved puzzle are numbered in their order.
        ``turned`` is a turn whose way is shown by an arrow. ``ground`` is the id of an element
        with the ground in the same page; without one it is drawn here.
        """
        lying = patches(self.puzzle, word)
        parts = [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {number(self.height)}" '
            f'width="{WIDTH}" height="{number(self.height)}" role="img">',
            f"<title>{escape(title or self.puzzle.name)}</title>",
            self.ground() if ground is None else f'<use href="#{ground}"/>',
        ]
        where = {own.sticker: own for own in lying}
        shown = self._numbered(tuple(int(p) for p in cycle))
        for view_number, wide in enumerate(_EDGES):
            shapes = {
                own.sticker: shape
                for own in lying
                if own.away and (shape := self._lying(view_number, own)) is not None
            }
            for k, shape in shapes.items():
                parts.append(self._away(where[k], shape, k in shown, wide))
        parts.extend(self._bars(where))
        if turned is not None:
            for view in self.views:
                parts.extend(turn_arrow(self.puzzle, view, turned))
        for view_number in range(len(self.views)):
            for step, k in enumerate(shown):
                shape = self._lying(view_number, where[k])
                if shape is not None:
                    radius = min(_DISC[1], max(_DISC[0], shape.spot.space * 0.9))
                    parts.append(disc(shape.spot.place, radius, step + 1, seen=True))
        parts.append("</svg>")
        return "".join(parts)

    def wanted(
        self, cycle: Sequence[int], marked: Collection[int], title: str, ground: str | None = None
    ) -> str | None:
        """Return the solved puzzle with ``marked`` slots painted strongly, and a cycle's arrows.

        None where a piece of the cycle is too small for that. ``ground`` is as in `draw`.
        """
        shown = self._numbered(tuple(int(p) for p in cycle))
        following = [(k + 1) % len(shown) for k in range(len(shown))]
        slots = {*marked, *(self.puzzle.stickers[k].slot for k in shown)}
        places = self._places(shown)
        spots = [spot for own in places for spot in own.values()]
        if any(spot.space < _ROOM for spot in spots):
            return None
        parts = [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {number(self.height)}" '
            f'width="{WIDTH}" height="{number(self.height)}" role="img">',
            f"<title>{escape(title)}</title>",
            self.ground() if ground is None else f'<use href="#{ground}"/>',
        ]
        here = {own.sticker: own for own in patches(self.puzzle, ())}
        for homes, wide in zip(self._homes, _EDGES, strict=True):
            for k, shape in enumerate(homes):
                if shape is not None and self.puzzle.stickers[k].slot in slots:
                    parts.append(self._away(here[k], shape, k in shown, wide))
        radius = min(_DISC[1], disc_radius(spots))
        for scene, own in zip(self._scenes(), places, strict=True):
            if shown:
                parts.extend(arrows(scene, own, following, radius)[0])
        parts.append("</svg>")
        return "".join(parts)

    def _places(self, shown: Sequence[int]) -> list[dict[int, Spot]]:
        """Return by view where a cycle's stickers are, each where more of it is seen."""
        result: list[dict[int, Spot]] = [{} for _ in self.views]
        for step, k in enumerate(shown):
            there = [
                (shape.spot.space / view.scale, n, shape.spot)
                for n, (view, homes) in enumerate(zip(self.views, self._homes, strict=True))
                if (shape := homes[k]) is not None
            ]
            _, best, spot = max(there, key=lambda one: (one[0], -one[1]))
            result[best][step] = spot
        return result

    def _scenes(self) -> list[_Frame]:
        """Return what arrows keep within, for each view."""
        parting, result = WIDTH * SHARE, []
        for number_of, view in enumerate(self.views):
            around = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) * view.scale
            middle = view.paper(np.zeros(3))
            frame = middle + around if self._is_ball else view.paper(self.puzzle.body.points)
            left, right = (0.0, parting) if number_of == 0 else (parting, float(WIDTH))
            limits = np.array([(left, 0.0), (right, self.height)])
            result.append(_Frame({}, frame, middle, limits))
        return result

    def _away(self, own: Patch, shape: _Shape, plain: bool, wide: float) -> str:
        """Draw a patch that is away from home, with its letter unless a number stands there."""
        colour, core = self._paint[self.puzzle.stickers[own.sticker].face]
        edge = f' stroke="{INK}" stroke-width="{wide}" stroke-linejoin="round"'
        marks = f' data-sticker="{own.sticker}" data-place="{own.place}"'
        drawn = shape.draw(colour, edge + marks)
        face = self.puzzle.stickers[own.sticker].face
        if plain or face < 0:
            return drawn
        if _letter_size(shape.spot) >= _SMALLEST:
            return drawn + _letter(shape.spot, self.puzzle.body.faces[face].name, ink(colour))
        if core and shape.spot.space > _CORE:
            return drawn + _core(shape.spot, core)
        return drawn

    def _numbered(self, cycle: tuple[int, ...]) -> tuple[int, ...]:
        """Return the stickers that stand for the placements of a cycle."""
        spots = [
            {k: shape.spot for k, shape in enumerate(homes) if shape is not None}
            for homes in self._homes
        ]
        return tuple(cycle_stickers(self.puzzle, cycle, spots)) if cycle else ()

    def _lying(self, view: int, own: Patch) -> _Shape | None:
        if own.place >= 0:
            return self._homes[view][own.place]
        return self._shape(self.views[view], own.outline)

    def _shape(self, view: View, outline: Vectors) -> _Shape | None:
        """Return a patch as a view shows it, None where it does not."""
        if isinstance(view, BallView):
            loops = boundary([outline])
            if not any((loop @ view.toward).max() > 0 for loop in loops):
                return None
            flat = [simple(view.paper(loop), 0.3) for loop in seen(loops, view.toward)]
            flat = [loop for loop in flat if len(loop) > 2]
            if not flat:
                return None
            return _Shape(flat, best_spot(flat, view.paper(_direction(outline))))
        facing = _direction(outline)
        if float(facing @ view.toward) <= 1e-9:
            return None
        shape = view.paper(inset(outline, facing, 0.12, _INSET / view.scale))
        return _Shape([shape], Spot(*room(shape)))

    def _face_letters(self, view_number: int) -> dict[int, int]:
        """Return by sticker the faces whose letters it bears: those nearest their middles."""
        view = self.views[view_number]
        result: dict[int, int] = {}
        for face_number, face in enumerate(self.puzzle.body.faces):
            if float(face.normal @ view.toward) <= 0:
                continue
            goal = view.paper(face.normal * (1.0 if self._is_ball else face.distance))
            near = [
                (round(float(np.linalg.norm(shape.spot.place - goal)), 3), k)
                for k, shape in enumerate(self._homes[view_number])
                if shape is not None
                and self.puzzle.stickers[k].face == face_number
                and _letter_size(shape.spot) >= _SMALLEST
            ]
            if near:
                result[min(near)[1]] = face_number
        return result

    @property
    def _is_ball(self) -> bool:
        return self.puzzle.shape == "ball"

    @property
    def _seam(self) -> str:
        """What parts patches at home: on a ball a line, on a flat face they stand apart."""
        return f' stroke="{BODY}" stroke-width="0.7"' if self._is_ball else ""

    def _body(self, view: View) -> list[str]:
        """Draw what is between the stickers."""
        if isinstance(view, BallView):
            x, y = view.middle
            return [
                f'<circle cx="{number(x)}" cy="{number(y)}" r="{number(view.rim + 1)}" '
                f'fill="{BODY}"/>'
            ]
        body = self.puzzle.body
        return [
            f'<polygon points="{points(view.paper(body.points[list(face.corners)]))}" '
            f'fill="{BODY}" stroke="{BODY}" stroke-width="1" stroke-linejoin="round"/>'
            for k, face in enumerate(body.faces)
            if view.sees(body, k)
        ]

    def _bars(self, where: dict[int, Patch]) -> list[str]:
        """Draw bars between stickers of pieces that are fastened together.

        They are part of the ground where pieces are at home, else of the picture.
        """
        from puzzles.drawing import UNIT, bars

        result = []
        for row in bars(self.puzzle):
            piece, ends = row[0], np.array(row[1:], dtype=float).reshape(2, 3) / UNIT
            face = np.array(ends.sum(axis=0))
            moved = [own for own in where.values() if own.piece == piece and own.away]
            if bool(where) != bool(moved):
                continue
            if moved:
                turned = rotation(self.puzzle, piece, moved[0].placement)
                ends, face = ends @ turned.T, turned @ face
            for view in self.views:
                normals = np.array([f.normal for f in self.puzzle.body.faces])
                facing = normals[int((normals @ face).argmax())]
                if float(facing @ view.toward) > 1e-9:
                    first, last = view.paper(ends)
                    result.append(
                        f'<path d="M{pair(first)}L{pair(last)}" stroke="{BODY}" stroke-width="4" '
                        'stroke-linecap="round"/>'
                    )
        return result


@lru_cache(maxsize=16)
def stage(puzzle: Puzzle, holding: int = 0) -> Stage:
    """Return the stage of a puzzle in a holding, made once; not for one that is written down."""
    return Stage(puzzle, holding)


def ground(puzzle: Puzzle, holding: int = 0) -> str:
    """Return what all pictures of a puzzle's states have in common, as the inside of a group.

    There is none where turns are written down.
    """
    return "" if puzzle.shape == "written" else stage(puzzle, holding).ground()


def draw_state(
    puzzle: Puzzle,
    word: Word,
    cycle: Sequence[int] = (),
    turned: int | None = None,
    holding: int = 0,
    title: str = "",
    ground: str | None = None,
) -> str:
    """Return a picture of the state after a word, as `Stage.draw` does; of any puzzle.

    Where turns are written down a place is painted as the piece that stands there.
    """
    if puzzle.shape == "written":
        from puzzles.written_picture import draw_places

        return draw_places(puzzle, word, cycle, WIDTH, title or puzzle.name)
    return stage(puzzle, holding).draw(word, cycle, turned, title, ground)


def _direction(outline: Vectors) -> Vectors:
    """Return the direction (3,) in which a patch faces, by its vector area."""
    total: Vectors = np.cross(outline, np.roll(outline, -1, axis=0)).sum(axis=0)
    middle = outline.mean(axis=0)
    flat: Vectors = np.cross(outline - middle, np.roll(outline, -1, axis=0) - middle).sum(axis=0)
    own = flat if float(np.linalg.norm(flat)) > 1e-12 else total
    length = float(np.linalg.norm(own))
    return own / length if length > 1e-12 else outline[0]


def _letter_size(spot: Spot) -> float:
    return min(_LARGEST, spot.space * 1.25)


def _letter(spot: Spot, name: str, colour: str) -> str:
    size = _letter_size(spot)
    return text(spot.place[0], spot.place[1] + size * 0.36, size, name, colour)


def _core(spot: Spot, colour: str) -> str:
    (x, y), radius = spot.place, spot.space * 0.4
    return f'<circle cx="{number(x)}" cy="{number(y)}" r="{number(radius)}" fill="{colour}"/>'
