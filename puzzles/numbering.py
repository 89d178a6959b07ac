"""What every way to a puzzle shares: names of piece types, turns by number, layers that commute."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from puzzles.errors import PuzzleFileError
from puzzles.puzzle import Table
from puzzles.turns import Layer, Turn


def type_names(faces: Sequence[int], own: Mapping[str, str]) -> list[str]:
    """Name types corner, edge or centre by how many faces they have, numbered from the outside in.

    Pieces that are named after no face count none. ``own`` are a file's words by those names.
    Raises PuzzleFileError.
    """
    words = [{0: "piece", 1: "centre", 2: "edge"}.get(count, "corner") for count in faces]
    names = [
        word if words.count(word) == 1 else f"{word}{words[: k + 1].count(word)}"
        for k, word in enumerate(words)
    ]
    for name in own:
        if name not in names:
            raise PuzzleFileError(
                f"types: there is no type {name!r} to rename; the types are {', '.join(names)}"
            )
    names = [own.get(name, name) for name in names]
    for name in names:
        if not name.replace("-", "").isalnum() or len(name) > 30:
            raise PuzzleFileError(f"types: {name!r}: up to 30 letters, digits and - were expected")
        if names.count(name) > 1:
            raise PuzzleFileError(f"types: two types are named {name!r}; each needs its own name")
    return names


def turn_tables(
    layers: Sequence[Layer], steps: Sequence[Table]
) -> tuple[tuple[Turn, ...], Table, Table]:
    """Return all turns, the layer of each (turns,), and what each does, (turns, placements).

    ``steps`` are what one step of each layer does. Raises PuzzleFileError where all steps of a
    layer together are no full turn.
    """
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


def commuting(layers: int, turn_layer: Table, moves: Table) -> NDArray[np.bool_]:
    """Return which layers commute in all their turns, (layers, layers).

    The first turn of a layer, its smallest, is one of which all others are powers. A layer without
    turns commutes with all others.
    """
    still = np.arange(moves.shape[1])
    own_turns = [np.flatnonzero(turn_layer == k) for k in range(layers)]
    first = [moves[own[0]] if len(own) else still for own in own_turns]
    result = np.ones((layers, layers), dtype=np.bool_)
    for k, own in enumerate(first):
        for other in range(k):
            same = np.array_equal(own[first[other]], first[other][own])
            result[k, other] = result[other, k] = same
    return result
