"""From a puzzle file to the frozen tables: layers, matching of patches, orbits, twists, paint."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from puzzles import bodies, file, orbits, solid, symmetry, tables
from puzzles.bodies import SAME, Body
from puzzles.errors import PuzzleFileError
from puzzles.expressions import size
from puzzles.puzzle import Puzzle, Table
from puzzles.turns import Layer, Turn

#: The most layers; kernels keep sets of layers in the bits of one 64-bit number.
MOST_LAYERS = 62


@lru_cache(maxsize=32)
def load(name: str) -> Puzzle:
    """Return the compiled puzzle with a catalogue name, or from the puzzle file at a path.

    Raises NameNotFoundError or PuzzleFileError with one sentence that says what is wrong.
    """
    title, model = file.read(name)
    try:
        return compiled(title, model)
    except PuzzleFileError as error:
        raise PuzzleFileError(f"{name}: {error}") from None


def _body(model: file.PuzzleModel) -> Body:
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


def _layers(model: file.PuzzleModel, body: Body) -> tuple[Layer, ...]:
    held = []
    for key, letters in (("up", model.up), ("front", model.front)):
        direction = body.axis(letters)
        if direction is None:
            raise PuzzleFileError(f"{key}: {letters!r} names no direction; {_letters(body)}")
        held.append(direction)
    if float(np.linalg.norm(np.cross(held[0], held[1]))) < SAME:
        raise PuzzleFileError("front: must differ from up and its opposite")
    result: list[Layer] = []
    for number, group in enumerate(model.layers, 1):
        where = f"layers {number}"
        if isinstance(group.axes, str):
            axes = body.axes(group.axes)
        else:
            axes = []
            for letters in group.axes:
                axis = body.axis(letters)
                if axis is None:
                    raise PuzzleFileError(
                        f"{where}: axis {letters!r} names no direction; {_letters(body)}"
                    )
                axes.append((letters, axis))
        if group.above is not None:
            low, high = size(group.above, f"{where}: above"), math.inf
        else:
            assert group.between is not None
            low, high = (size(x, f"{where}: between") for x in group.between)
        if low >= high:
            raise PuzzleFileError(f"{where}: `between` gives the smaller depth first")
        if isinstance(group.names, list) and len(group.names) != len(axes):
            raise PuzzleFileError(
                f"{where}: {len(group.names)} names are given for {len(axes)} axes"
            )
        for k, (letters, axis) in enumerate(axes):
            if isinstance(group.names, list):
                name = group.names[k]
            else:
                name = (group.names or "{axis}").replace("{axis}", letters)
            result.append(
                Layer(
                    name, (float(axis[0]), float(axis[1]), float(axis[2])), low, high, group.steps
                )
            )
    names = [layer.name for layer in result]
    for name in names:
        if names.count(name) > 1:
            raise PuzzleFileError(f"two layers are named {name!r}; each needs a name of its own")
        if not name.lstrip("0123456789").isalpha() or len(name) > 12:
            raise PuzzleFileError(
                f"layer name {name!r}: letters were expected, with a number before them at most"
            )
    if len(result) > MOST_LAYERS:
        raise PuzzleFileError(f"{len(result)} layers are given; at most {MOST_LAYERS} are allowed")
    return tuple(result)


def _letters(body: Body) -> str:
    return "the faces are " + " ".join(face.name for face in body.faces)


def _types(model: file.PuzzleModel, faces: list[int]) -> list[str]:
    """Name the types: corner, edge or centre by their faces, numbered from the outside in."""
    words = [{1: "centre", 2: "edge"}.get(count, "corner") for count in faces]
    names = [
        word if words.count(word) == 1 else f"{word}{words[: k + 1].count(word)}"
        for k, word in enumerate(words)
    ]
    for name in model.types:
        if name not in names:
            raise PuzzleFileError(
                f"types: there is no type {name!r} to rename; the types are {', '.join(names)}"
            )
    names = [model.types.get(name, name) for name in names]
    for name in names:
        if not name.replace("-", "").isalnum() or len(name) > 30:
            raise PuzzleFileError(f"types: {name!r}: up to 30 letters, digits and - were expected")
        if names.count(name) > 1:
            raise PuzzleFileError(f"types: two types are named {name!r}; each needs its own name")
    return names


def compiled(name: str, model: file.PuzzleModel) -> Puzzle:
    """Return the puzzle that a model describes; raises PuzzleFileError or LimitError."""
    body = _body(model)
    layers = _layers(model, body)
    cells = solid.cut(body, layers)
    steps = [
        orbits.step_of(layer, holds, cells, body)
        for layer, holds in zip(layers, cells.in_layer, strict=True)
    ]
    patches = cells.patches
    painted = tables.grouped(
        [tables.painted(orbit, patches) for orbit in orbits.orbits(steps, body, cells)]
    )
    names = _types(model, [orbit.patches.shape[2] for orbit in painted])
    types = tables.number_types(painted, names)
    stickers = tables.sticker_table(painted, types, patches)
    turns, turn_layer, moves = _turns(layers, tables.step_tables(painted, types, steps))
    directions, depths = orbits.centres(cells)
    slots = [piece for orbit in painted for piece in orbit.pieces]
    alike, alike_twist = tables.alike_pieces(painted, types, patches)
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
        directions=directions[slots],
        depths=depths[slots],
        in_layer=cells.in_layer[:, slots],
        commutes=_commuting(layers, turn_layer, moves),
        alike=alike,
        alike_twist=alike_twist,
        symmetries=symmetry.symmetries(
            body, layers, turns, painted, types, stickers, directions[slots] * depths[slots, None]
        ),
        frames=np.concatenate([orbit.frames.reshape(-1, 3, 3) for orbit in painted]),
    )
    for value in vars(result).values():
        if isinstance(value, np.ndarray):
            value.setflags(write=False)
    return result


def _turns(layers: tuple[Layer, ...], steps: list[Table]) -> tuple[tuple[Turn, ...], Table, Table]:
    """Return all turns, the layer of each, and what each does to placements."""
    turns: list[Turn] = []
    numbers: list[int] = []
    rows: list[Table] = []
    for number, (layer, step) in enumerate(zip(layers, steps, strict=True)):
        row = step
        for amount in range(1, layer.steps):
            turns.append(Turn(layer.name, amount))
            numbers.append(number)
            rows.append(row)
            row = step[row]
        if not np.array_equal(row, np.arange(len(row))):
            raise PuzzleFileError(f"layer {layer.name}: {layer.steps} steps are not a full turn")
    return tuple(turns), np.array(numbers, dtype=np.int32), np.array(rows, dtype=np.int32)


def _commuting(layers: tuple[Layer, ...], turn_layer: Table, moves: Table) -> NDArray[np.bool_]:
    """Return which layers commute, read off the permutations of single steps; (layers, layers)."""
    first = [int(np.flatnonzero(turn_layer == k)[0]) for k in range(len(layers))]
    steps = moves[first]
    return np.array([[np.array_equal(a[b], b[a]) for b in steps] for a in steps])
