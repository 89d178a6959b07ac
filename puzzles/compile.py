"""From a puzzle file to the frozen tables: layers, matching of patches, orbits, twists, paint."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from puzzles import blocking, bodies, file, orbits, solid, symmetry, tables
from puzzles.bodies import SAME, Body, Vectors
from puzzles.errors import LimitError, PuzzleFileError
from puzzles.expressions import size
from puzzles.layering import layers_of
from puzzles.numbering import commuting, turn_tables, type_names
from puzzles.orbits import Step
from puzzles.puzzle import Puzzle
from puzzles.solid import Patch
from puzzles.turns import Layer

#: How near the middle of a piece must be to the body's for the piece to reach around it.
MIDDLE = 1e-6

#: The most pieces and types of piece; the largest of the catalogue are 218 and 7. Beyond, compiling
#: and what `parts` says take long.
MOST_PIECES = 800
MOST_TYPES = 60


def load(name: str) -> Puzzle:
    """Return the compiled puzzle with a catalogue name, or from the puzzle file at a path.

    Raises NameNotFoundError, PuzzleFileError or LimitError; one sentence says what is wrong.
    """
    title, text = file.found(name)
    return from_text(title, text, name)


@lru_cache(maxsize=32)
def from_text(title: str, text: str, where: str) -> Puzzle:
    """Return the compiled puzzle with a title from the text of a puzzle file.

    Kept by the text, so that a file that was edited is compiled anew. Raises PuzzleFileError or
    LimitError, which begin with ``where``.
    """
    model = file.parse(text, where)
    try:
        return compiled(title, model)
    except (PuzzleFileError, LimitError) as error:
        raise type(error)(f"{where}: {error}") from None


def body_of(model: file.PuzzleModel) -> Body:
    """Return the body of a model; raises PuzzleFileError."""
    if isinstance(model.body, str):
        return bodies.BODIES[model.body.replace(" ", "-")]()
    points = np.array([[size(x, "body.points") for x in p] for p in model.body.points])
    letters = None
    if model.body.faces is not None:
        letters = {
            letter: np.array([size(x, f"body.faces.{letter}") for x in direction])
            for letter, direction in model.body.faces.items()
        }
        for letter, direction in letters.items():
            if float(np.linalg.norm(direction)) < SAME:
                raise PuzzleFileError(f"body.faces.{letter}: a direction other than (0, 0, 0)")
    return bodies.hull(points, letters)


@dataclass(frozen=True, eq=False)
class _Cut:
    """A body that was cut: pieces with their directions and depths, stickers, and what steps do.

    ``faces`` counts for each piece the faces that it is named after. ``whole`` numbers the bodies
    that pieces are parts of, None where every piece is one; ``exact``: all pieces fit their slots.
    """

    patches: tuple[Patch, ...]
    in_layer: NDArray[np.bool_]
    directions: Vectors
    depths: Vectors
    faces: list[int]
    steps: list[Step]
    whole: NDArray[np.int64] | None = None
    exact: bool = True


def _cut_solid(body: Body, layers: tuple[Layer, ...]) -> _Cut:
    cells = solid.cut(body, layers)
    _not_too_many(cells.in_layer.shape[1])
    steps = [
        orbits.step_of(layer, holds, cells, body, layers)
        for layer, holds in zip(layers, cells.in_layer, strict=True)
    ]
    directions, depths = orbits.centres(cells, layers)
    faces = orbits.painted_faces(cells.patches, len(depths))
    return _Cut(cells.patches, cells.in_layer, directions, depths, faces, steps)


def _cut_ball(model: file.PuzzleModel, body: Body, layers: tuple[Layer, ...]) -> _Cut:
    from puzzles import ball, carried

    wanted = carried.accepted(model)
    # Pieces that stay whole are told apart by the cuts that would part them, and fastened together.
    exact = wanted.share is None and wanted.gap is None
    closed = model.closed if "closed" in model.model_fields_set else exact
    cells = ball.cut(body, layers, model.paint, closed or exact)
    _not_too_many(cells.in_layer.shape[1])
    steps = [
        carried.step_of(number, layer, cells, body, wanted) for number, layer in enumerate(layers)
    ]
    whole = None if closed or not exact else cells.whole
    directions, depths = carried.centres(cells, layers)
    faces = carried.named_faces(cells, body, directions, orbits.groups(steps))
    return _Cut(cells.patches, cells.in_layer, directions, depths, faces, steps, whole, exact)


def compiled(name: str, model: file.Model) -> Puzzle:
    """Return the puzzle that a model describes; raises PuzzleFileError or LimitError."""
    if isinstance(model, file.WrittenModel):
        from puzzles import written

        own_turns = written.compiled(name, model)
        return blocking.finished(own_turns, model, own_turns.body)
    body = body_of(model)
    layers = layers_of(model, body)
    own = _cut_ball(model, body, layers) if model.shape == "ball" else _cut_solid(body, layers)
    _all_different(layers, own.in_layer)
    found = orbits.in_order(own.steps, body, own.directions, own.depths, own.faces)
    names = _kept_names(model)
    told = names is None or bool(names)
    painted = tables.grouped(
        [tables.painted(orbit, own.patches) for orbit in found], own.exact, told
    )
    if len(painted) > MOST_TYPES:
        raise LimitError(
            f"the cuts make {len(painted):,} types of piece; at most {MOST_TYPES} are allowed"
        )
    words = type_names([own.faces[orbit.pieces[0]] for orbit in painted], model.types)
    if told:
        unknown = sorted(set(names or ()) - set(words))
        if unknown:
            raise PuzzleFileError(
                f"keep_twists: there is no type {unknown[0]!r}; the types are {', '.join(words)}"
            )
        kept = [
            piece
            for word, orbit in zip(words, painted, strict=True)
            if names is None or word in names
            for piece in orbit.pieces
        ]
        painted = tables.grouped(
            [tables.painted(orbit, own.patches, orbit.pieces[0] in kept) for orbit in found],
            own.exact,
            told,
        )
    _one_axis(layers, own, painted)
    types = tables.number_types(painted, words)
    if not any(kind.moves for kind in types):
        raise PuzzleFileError(
            "no turn moves a piece or shows a twist: layers hold only pieces on their axes; cut "
            "deeper, so that layers share pieces, or tell hidden twists apart with keep_twists"
        )
    stickers = tables.sticker_table(painted, types, own.patches)
    turns, turn_layer, moves = turn_tables(layers, tables.step_tables(painted, types, own.steps))
    slots = [piece for orbit in painted for piece in orbit.pieces]
    directions, depths = own.directions[slots], own.depths[slots]
    alike, alike_twist = tables.alike_pieces(painted, types, own.patches)
    placements = [(t, k, x) for t in types for k in t.slots for x in range(t.twists)]
    result = Puzzle(
        name=name,
        description=model.description,
        note=model.note,
        body=body,
        up=model.up,
        front=model.front,
        layers=layers,
        turns=turns,
        types=types,
        stickers=stickers,
        moves=moves,
        turn_layer=turn_layer,
        slot_of=np.array([slot for _, slot, _ in placements], dtype=np.int32),
        twist_of=np.array([twist for _, _, twist in placements], dtype=np.int32),
        type_of=np.array([t.number for t in types for _ in t.slots], dtype=np.int32),
        home=np.array(
            [t.first_placement + k * t.twists for t in types for k in range(t.count)],
            dtype=np.int32,
        ),
        directions=directions,
        depths=depths,
        in_layer=own.in_layer[:, slots],
        commutes=commuting(len(layers), turn_layer, moves),
        alike=alike,
        alike_twist=alike_twist,
        symmetries=symmetry.symmetries(
            body,
            layers,
            turns,
            painted,
            types,
            stickers,
            np.array([patch.centroid for patch in own.patches]),
            directions * depths[:, None],
        ),
        frames=np.concatenate([orbit.frames.reshape(-1, 3, 3) for orbit in painted]),
        shape=model.shape,
        bonds=_bodies(own.whole, slots),
    )
    for value in vars(result).values():
        if isinstance(value, np.ndarray):
            value.setflags(write=False)
    return blocking.finished(result, model, body)


def _not_too_many(pieces: int) -> None:
    """Refuse too many pieces, before what takes long."""
    if pieces > MOST_PIECES:
        raise LimitError(f"the cuts make {pieces:,} pieces; at most {MOST_PIECES:,} are allowed")


def _all_different(layers: tuple[Layer, ...], in_layer: NDArray[np.bool_]) -> None:
    """Refuse a layer that turns the same pieces about the same axis as another does."""
    for number, layer in enumerate(layers):
        for first, other in enumerate(layers[:number]):
            along = abs(float(np.dot(layer.axis, other.axis)))
            if along > 1 - SAME and np.array_equal(in_layer[number], in_layer[first]):
                fewer = (
                    f"leave {layer.name} out"
                    if other.steps % layer.steps == 0
                    else f"give one layer, with {math.lcm(layer.steps, other.steps)} steps"
                )
                raise PuzzleFileError(
                    f"layers {other.name} and {layer.name} turn the same pieces about the same "
                    f"axis; {fewer}"
                )


def _one_axis(layers: tuple[Layer, ...], own: _Cut, painted: list[tables.Painted]) -> None:
    """Refuse a piece around the middle that layers twist about different axes.

    All other pieces have a middle that stays on the axis of their twists.
    """
    for orbit in painted:
        piece = orbit.pieces[0]
        if orbit.twists == 1 or own.depths[piece] > MIDDLE:
            continue
        first, *others = (layers[k] for k in np.flatnonzero(own.in_layer[:, piece]))
        for other in others:
            if abs(float(np.dot(first.axis, other.axis))) < 1 - SAME:
                raise PuzzleFileError(
                    f"layers {first.name} and {other.name} turn the piece in the middle about "
                    "different axes; layers that leave it alone, such as those on the other side "
                    "of the same cuts, do as much"
                )


def _bodies(whole: NDArray[np.int64] | None, slots: list[int]) -> tuple[tuple[int, ...], ...]:
    """Return the slots of pieces that are parts of one body, for all bodies of several parts."""
    found: dict[int, list[int]] = {}
    for slot, piece in enumerate(slots if whole is not None else ()):
        assert whole is not None
        found.setdefault(int(whole[piece]), []).append(slot)
    return tuple(tuple(group) for group in found.values() if len(group) > 1)


def _kept_names(model: file.PuzzleModel) -> list[str] | None:
    """Return the types whose hidden twists are told apart, None for all."""
    if isinstance(model.keep_twists, bool):
        return None if model.keep_twists else []
    return model.keep_twists
