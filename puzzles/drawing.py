"""What a page needs to draw a puzzle and to turn it: patches, cuts, turns, names; plain JSON.

A page keeps a state, one placement for each piece, and draws every piece as its stickers at home,
carried by the rotation of its placement. While a layer turns, the body is in up to three parts:
what is below the layer's lower cut, the layer, what is above its upper one. All are convex where
the body is, and planes part them, so that drawing the parts in their order along the axis (what is
behind first) and of each part the faces that are turned to the viewer is exact. A ball stays a ball
while it turns; there, only the horizon hides anything.

Written-down puzzles have no body: their places are discs in a plane that go from place to place.

Lengths and rotations are whole numbers, ``UNIT`` to one.
"""

from __future__ import annotations

import itertools
import json
import math
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from functools import lru_cache

import numpy as np

from puzzles.bodies import Body, Vectors
from puzzles.names import placement_names, slot_names, sticker_name
from puzzles.notation import turn_text
from puzzles.paint import UNPAINTED, face_paint, ink
from puzzles.puzzle import Puzzle
from puzzles.views import directions

#: How many units make the length 1: a tenth of a pixel where the body is 1,000 pixels high.
UNIT = 10_000
#: Corners of stickers closer than this are the same.
CLOSE = 1e-6

Numbers = tuple[int, ...]


@dataclass(frozen=True)
class DrawnFace:
    """A face: its letter, outward normal, distance, colour, core ("" for none), colour of ink."""

    name: str
    normal: Numbers
    distance: int
    colour: str
    core: str
    ink: str


@dataclass(frozen=True)
class DrawnLayer:
    """A layer: its axis, the heights at which it is cut off, its steps to a full turn, its slots.

    ``cuts`` are the body's sections at ``low`` and ``high``, as corners in a row, x y z x y z …;
    a height where nothing is cut off is None, and its section is empty. On a ball no section shows.
    """

    name: str
    axis: Numbers
    low: int | None
    high: int | None
    steps: int
    slots: Numbers
    cuts: tuple[Numbers, Numbers]


@dataclass(frozen=True)
class DrawnTurn:
    """A turn: how it is written, its layer, amount, and the turn that undoes it.

    It moves placements by ``cycles``, or, where those are None, as turn ``of`` done ``times``
    times. ``forbidden`` are placements at which a piece forbids it.
    """

    name: str
    layer: int
    amount: int
    inverse: int
    cycles: tuple[Numbers, ...] | None
    of: int
    times: int
    forbidden: Numbers


@dataclass(frozen=True)
class DrawnType:
    """A piece type; see `puzzle.PieceType`."""

    name: str
    first_slot: int
    count: int
    twists: int
    moves: bool
    stickered: bool


@dataclass(frozen=True)
class DrawnSticker:
    """A sticker at home: its name, slot, face (-1 for none), class, placement, outline.

    Class and placement as in `puzzle.Sticker`; the outline are corners in a row, counter-clockwise
    as seen from outside.
    """

    name: str
    slot: int
    face: int
    kind: int
    placement: int
    outline: Numbers


@dataclass(frozen=True)
class DrawnPlace:
    """A place of a written-down puzzle: across and up, and its colour."""

    x: int
    y: int
    colour: str
    ink: str


@dataclass(frozen=True)
class Drawing:
    """Everything that a page needs of a puzzle; slots, placements, turns, layers by number.

    ``toward`` is the direction to the viewer of the first view, ``right`` and ``upward`` are the
    paper's axes. ``rotations`` has a quaternion (w x y z) for each placement, that of
    `Puzzle.frames`. ``bars`` join stickers of pieces that are fastened together: slot, then both
    ends of a line.
    """

    puzzle: str
    description: str
    digest: str
    shape: str
    unit: int
    up: str
    front: str
    toward: Numbers
    right: Numbers
    upward: Numbers
    radius: int
    unpainted: str
    faces: tuple[DrawnFace, ...]
    layers: tuple[DrawnLayer, ...]
    turns: tuple[DrawnTurn, ...]
    types: tuple[DrawnType, ...]
    slots: tuple[str, ...]
    placements: tuple[str, ...]
    rotations: tuple[Numbers, ...]
    stickers: tuple[DrawnSticker, ...]
    bonds: tuple[Numbers, ...]
    bars: tuple[Numbers, ...]
    places: tuple[DrawnPlace, ...]

    def text(self) -> str:
        """Return the drawing as JSON; lists of things of one kind are tables, to be short.

        A table is an object with a list for each field.
        """
        result: dict[str, object] = {}
        for name, value in asdict(self).items():
            rows = isinstance(value, tuple) and value and isinstance(value[0], dict)
            result[name] = {k: [row[k] for row in value] for k in value[0]} if rows else value
        for name in ("faces", "stickers", "places"):
            result[name] = result[name] or None
        return json.dumps(result, separators=(",", ":"))


@lru_cache(maxsize=8)
def drawing(puzzle: Puzzle) -> Drawing:
    """Return what a page needs to draw a puzzle and to turn it."""
    written = puzzle.shape == "written"
    toward, across = (np.zeros(3), np.zeros((2, 3))) if written else directions(puzzle)
    ball = puzzle.shape == "ball"
    reach = 1.0 if ball or written else float(np.linalg.norm(puzzle.body.points, axis=1).max())
    places = _places(puzzle) if written else ()
    if places:
        reach = max(math.hypot(place.x, place.y) for place in places) / UNIT
    return Drawing(
        puzzle=puzzle.name,
        description=puzzle.description,
        digest=puzzle.digest,
        shape=puzzle.shape,
        unit=UNIT,
        up=puzzle.up,
        front=puzzle.front,
        toward=_whole(toward),
        right=_whole(across[0]),
        upward=_whole(across[1]),
        radius=round(reach * UNIT),
        unpainted=UNPAINTED,
        faces=() if written else _faces(puzzle.body),
        layers=tuple(_layer(puzzle, number) for number in range(len(puzzle.layers))),
        turns=_turns(puzzle),
        types=tuple(
            DrawnType(t.name, t.first_slot, t.count, t.twists, t.moves, t.stickered)
            for t in puzzle.types
        ),
        slots=slot_names(puzzle),
        placements=placement_names(puzzle),
        rotations=() if written else tuple(_whole(_quaternion(m)) for m in puzzle.frames),
        stickers=tuple(
            DrawnSticker(
                sticker_name(puzzle, k), s.slot, s.face, s.kind, s.placement, _whole(s.outline)
            )
            for k, s in enumerate(puzzle.stickers)
        ),
        bonds=tuple(tuple(int(slot) for slot in own) for own in puzzle.bonds),
        bars=bars(puzzle),
        places=places,
    )


def _whole(values: Vectors) -> Numbers:
    """Return numbers of any shape in a row, as whole multiples of the unit."""
    numbers: list[int] = np.rint(np.asarray(values) * UNIT).astype(np.int64).reshape(-1).tolist()
    return tuple(numbers)


def _faces(body: Body) -> tuple[DrawnFace, ...]:
    paint = face_paint(body)
    return tuple(
        DrawnFace(
            face.name, _whole(face.normal), round(face.distance * UNIT), colour, core, ink(colour)
        )
        for face, (colour, core) in zip(body.faces, paint, strict=True)
    )


def _layer(puzzle: Puzzle, number: int) -> DrawnLayer:
    own = puzzle.layers[number]
    slots = tuple(int(slot) for slot in np.flatnonzero(puzzle.in_layer[number]))
    if puzzle.shape == "written":
        return DrawnLayer(own.name, (), None, None, own.steps, slots, ((), ()))
    axis = np.array(own.axis)
    low, first = _cut(puzzle, axis, own.low)
    high, second = _cut(puzzle, axis, own.high)
    return DrawnLayer(own.name, _whole(axis), low, high, own.steps, slots, (first, second))


def _cut(puzzle: Puzzle, axis: Vectors, height: float) -> tuple[int | None, Numbers]:
    """Return the height of a cut, None where it cuts nothing off, and its corners."""
    if puzzle.shape == "ball":
        return (round(height * UNIT) if -1 < height < 1 else None), ()
    section = section_of(puzzle.body, axis, height)
    return (round(height * UNIT) if len(section) else None), _whole(section)


def section_of(body: Body, axis: Vectors, height: float) -> Vectors:
    """Return the corners (k, 3) of the section of a body by a plane, counter-clockwise about axis.

    ``axis`` is a unit vector (3,), ``height`` the plane's distance along it. Where the plane misses
    the body or only touches it, there are none.
    """
    if not math.isfinite(height):
        return np.zeros((0, 3))
    above = body.points @ axis - height
    found = [point for point, over in zip(body.points, above, strict=True) if abs(over) < CLOSE]
    for first, second in body.edges():
        here, there = above[first], above[second]
        if min(here, there) < -CLOSE and max(here, there) > CLOSE:
            share = here / (here - there)
            found.append(body.points[first] + share * (body.points[second] - body.points[first]))
    if len(found) < 3 or above.min() > -CLOSE or above.max() < CLOSE:
        return np.zeros((0, 3))
    corners = np.array(found)
    east = np.cross(axis, np.eye(3)[int(np.abs(axis).argmin())])
    north = np.cross(axis, east)
    away = corners - corners.mean(axis=0)
    result: Vectors = corners[np.argsort(np.arctan2(away @ north, away @ east))]
    return result


def _turns(puzzle: Puzzle) -> tuple[DrawnTurn, ...]:
    """Return all turns, those of a layer by powers of its first where they are such."""
    first: dict[int, int] = {}
    result = []
    for number, turn in enumerate(puzzle.turns):
        layer = int(puzzle.turn_layer[number])
        start = first.setdefault(layer, number)
        by, steps = puzzle.turns[start].amount, puzzle.layers[layer].steps
        powers = (k for k in range(2, steps) if k * by % steps == turn.amount)
        times = 1 if number == start else next(powers, 0)
        own = (
            tuple(_cycles(puzzle.moves[number].tolist())) if number == start or not times else None
        )
        forbidden: Iterable[int] = ()
        if puzzle.blocked is not None:
            forbidden = np.flatnonzero(puzzle.blocked[number]).tolist()
        result.append(
            DrawnTurn(
                turn_text(puzzle, number),
                layer,
                turn.amount,
                int(puzzle.inverses[number]),
                own,
                start if own is None else number,
                times if own is None else 1,
                tuple(int(p) for p in forbidden),
            )
        )
    return tuple(result)


def _cycles(table: Sequence[int]) -> list[Numbers]:
    """Return the cycles of a permutation that are longer than one."""
    result = []
    seen: set[int] = set()
    for start in range(len(table)):
        cycle = []
        place = start
        while place not in seen:
            seen.add(place)
            cycle.append(place)
            place = table[place]
        if len(cycle) > 1:
            result.append(tuple(cycle))
    return result


def _quaternion(matrix: Vectors) -> Vectors:
    """Return the unit quaternion (w, x, y, z), w not negative, of a rotation matrix (3, 3).

    The largest component is found first, as in K. Shoemake, Animating rotation with quaternion
    curves, 1985: it is at least 1/2.
    """
    m = matrix
    squares = 1 + np.array(
        [
            m[0, 0] + m[1, 1] + m[2, 2],
            m[0, 0] - m[1, 1] - m[2, 2],
            m[1, 1] - m[0, 0] - m[2, 2],
            m[2, 2] - m[0, 0] - m[1, 1],
        ]
    )
    # Four times the product of the largest component with each of the four.
    rows = np.array(
        [
            [squares[0], m[2, 1] - m[1, 2], m[0, 2] - m[2, 0], m[1, 0] - m[0, 1]],
            [m[2, 1] - m[1, 2], squares[1], m[0, 1] + m[1, 0], m[0, 2] + m[2, 0]],
            [m[0, 2] - m[2, 0], m[0, 1] + m[1, 0], squares[2], m[1, 2] + m[2, 1]],
            [m[1, 0] - m[0, 1], m[0, 2] + m[2, 0], m[1, 2] + m[2, 1], squares[3]],
        ]
    )
    row = rows[int(squares.argmax())]
    result: Vectors = row / np.linalg.norm(row)
    return -result if result[0] < 0 else result


def bars(puzzle: Puzzle) -> tuple[Numbers, ...]:
    """Return lines across the gaps between stickers of pieces that are fastened together.

    Only on flat faces: on a ball the gap between such pieces is drawn narrower.
    """
    if puzzle.shape != "solid" or not puzzle.bonds:
        return ()
    body_of = {slot: k for k, own in enumerate(puzzle.bonds) for slot in own}
    held = [s for s in puzzle.stickers if s.slot in body_of]
    result = []
    for one, other in itertools.combinations(held, 2):
        together = one.slot != other.slot and body_of[one.slot] == body_of[other.slot]
        if not together or one.face != other.face:
            continue
        away = np.linalg.norm(one.outline[:, None] - other.outline, axis=2).min(axis=1)
        shared = one.outline[away < CLOSE]
        if len(shared) == 2:
            middle = shared.mean(axis=0)
            ends = [middle + (s.outline.mean(axis=0) - middle) * 0.45 for s in (one, other)]
            result.append((one.slot, *_whole(np.array(ends))))
    return tuple(result)


def _places(puzzle: Puzzle) -> tuple[DrawnPlace, ...]:
    """Return where places are drawn, about 0 and within 1 of it."""
    from puzzles import written_picture

    flat = written_picture.positions(puzzle)
    flat = flat - (flat.min(axis=0) + flat.max(axis=0)) / 2
    flat = flat / max(float(np.linalg.norm(flat, axis=1).max()), 1e-12)
    colours = [written_picture.colour(puzzle, slot) for slot in range(puzzle.slot_count)]
    return tuple(
        DrawnPlace(round(point[0] * UNIT), round(point[1] * UNIT), colour, ink(colour))
        for point, colour in zip(flat, colours, strict=True)
    )
