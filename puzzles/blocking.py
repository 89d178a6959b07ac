"""Turns that are not always possible: pieces fastened together, and layers that stop at few angles.

Where the stopping angles of a layer are a subgroup of its steps, as in "half turns only", the other
turns are left out of the puzzle. Else what is possible depends on how the layer stands, which the
piece on its axis tells by its twist.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from puzzles import file
from puzzles.bodies import Body
from puzzles.errors import NameNotFoundError, PuzzleFileError
from puzzles.expressions import angle
from puzzles.laws import joined
from puzzles.names import read_placement, slot_names
from puzzles.numbering import commuting
from puzzles.puzzle import Puzzle, Symmetry, Table
from puzzles.turns import Layer

#: How far an angle may be from a whole number of steps, in steps.
SAME_STEP = 1e-6


def finished(puzzle: Puzzle, model: file.Model, body: Body) -> Puzzle:
    """Return a compiled puzzle with the bonds and stops of its file; raises PuzzleFileError.

    Symmetries are then those that keep what is fastened together and what is forbidden.
    """
    if isinstance(model, file.PuzzleModel):
        stops = stops_of(model, puzzle.layers, body)
        if any(own is not None for own in stops):
            puzzle = with_stops(puzzle, stops)
    if model.bonds:
        puzzle = replace(puzzle, bonds=(*puzzle.bonds, *bonds(puzzle, model.bonds)))
    if puzzle.can_block:
        kept = tuple(s for s in puzzle.symmetries if _keeps_blocks(puzzle, s))
        puzzle = replace(puzzle, symmetries=kept)
    return puzzle


def _keeps_blocks(puzzle: Puzzle, symmetry: Symmetry) -> bool:
    """Return whether a symmetry carries bodies to bodies, and what is forbidden to that.

    Where bodies are, layers must also hold the images of what they hold, moved or not: a turn that
    is written down may name places that it leaves as they are.
    """
    image = puzzle.slot_of[symmetry.placements[puzzle.home]]
    bodies = {frozenset(own) for own in puzzle.bonds}
    held = puzzle.in_layer[symmetry.layers][:, image]
    if bodies and not np.array_equal(held, puzzle.in_layer):
        return False
    if {frozenset(int(image[slot]) for slot in own) for own in bodies} != bodies:
        return False
    if puzzle.blocked is None:
        return True
    moved = np.zeros_like(puzzle.blocked)
    moved[np.ix_(symmetry.turns, symmetry.placements)] = puzzle.blocked
    return np.array_equal(moved, puzzle.blocked)


# --- fastened pieces ----------------------------------------------------------------------------


def bonds(puzzle: Puzzle, names: Sequence[Sequence[str | int]]) -> tuple[tuple[int, ...], ...]:
    """Return the slots that are fastened together, from names; raises PuzzleFileError.

    Refused are unknown names, a slot in two bonds, and pieces that no turn carries together.
    """
    found: list[tuple[int, ...]] = []
    where: dict[int, int] = {slot: 0 for own in puzzle.bonds for slot in own}
    for number, own in enumerate(names, 1):
        slots = []
        for name in own:
            try:
                slot = read_placement(puzzle, str(name)).slot
            except NameNotFoundError as error:
                raise PuzzleFileError(f"bonds: {error}") from None
            if slot in where:
                again = "the same bond" if where[slot] == number else "two bonds"
                raise PuzzleFileError(
                    f"bonds: {slot_names(puzzle)[slot]} is in {again}; give all that is fastened "
                    "together as one list, each piece once"
                )
            where[slot] = number
            slots.append(slot)
        if len(slots) < 2:
            raise PuzzleFileError(f"bonds: {own[0]!r} alone is fastened to nothing")
        _carried(puzzle, slots)
        found.append(tuple(slots))
    return tuple(found)


def _carried(puzzle: Puzzle, slots: list[int]) -> None:
    """Refuse pieces that no layer holds together while layers hold some of them."""
    held = puzzle.in_layer[:, slots]
    if held.all(axis=1).any() or not held.any():
        return
    names = [slot_names(puzzle)[slot] for slot in slots]
    cuts = []
    for layer in np.flatnonzero(held.any(axis=1)):
        inside = [name for name, is_in in zip(names, held[layer], strict=True) if is_in]
        outside = [name for name in names if name not in inside]
        cuts.append(f"{puzzle.layers[layer].name} takes {joined(inside)} without {joined(outside)}")
    verb = "has" if len(cuts) == 1 else "have"
    few = cuts if len(cuts) <= 4 else [*cuts[:4], f"{len(cuts) - 4} more {verb} the same fault"]
    raise PuzzleFileError(
        f"bonds: no turn can carry {joined(names)} together: {'; '.join(few)}; fasten pieces that "
        "some layer holds together"
    )


# --- stopping angles ----------------------------------------------------------------------------


def stops_of(
    model: file.PuzzleModel, layers: Sequence[Layer], body: Body
) -> list[tuple[int, ...] | None]:
    """Return for each layer the steps at which it may stop, 0 first; None for at every step."""
    result: list[tuple[int, ...] | None] = []
    for number, group in enumerate(model.layers, 1):
        count = len(body.axes(group.axes) if isinstance(group.axes, str) else group.axes)
        own = layers[len(result) : len(result) + count]
        if group.stops is None:
            result += [None] * count
            continue
        where = f"layers {number}: stops"
        angles = [angle(text, where) for text in group.stops]
        result += [steps_at(layer, angles, where) for layer in own]
    return result


def steps_at(layer: Layer, angles: Sequence[float], where: str) -> tuple[int, ...]:
    """Return the steps of a layer that angles, clockwise in radians, stand for; 0 is always one.

    Raises PuzzleFileError for an angle that is not a whole number of steps.
    """
    found = {0}
    for given in angles:
        steps = given * layer.steps / (2 * math.pi)
        if abs(steps - round(steps)) > SAME_STEP:
            raise PuzzleFileError(
                f"{where}: {math.degrees(given):.6g} degrees is not a whole number of steps of "
                f"{layer.name}, which are {360 / layer.steps:.6g} degrees each"
                f"{_finer(layer, given)}"
            )
        found.add(round(steps) % layer.steps)
    return tuple(sorted(found))


def _finer(layer: Layer, given: float) -> str:
    """Return which finer steps of a layer have that angle among them, if at most 24 do."""
    for steps in range(2 * layer.steps, 25, layer.steps):
        share = given * steps / (2 * math.pi)
        if abs(share - round(share)) <= SAME_STEP:
            return f"; steps = {steps} would have it among them"
    return ""


def allowed_amounts(layer: Layer, stops: Sequence[int]) -> tuple[int, ...] | None:
    """Return the amounts that a layer may always turn by, None if that depends on how it stands.

    It does not where the stopping steps are a subgroup of all steps.
    """
    step = math.gcd(layer.steps, *stops)
    if len(stops) * step != layer.steps:
        return None
    return tuple(range(step, layer.steps, step))


def with_stops(puzzle: Puzzle, stops: Sequence[tuple[int, ...] | None]) -> Puzzle:
    """Return a puzzle whose layers stop only at some steps, each layer's 0 first, None for all.

    Raises PuzzleFileError where nothing tells how a layer stands.
    """
    kept = np.ones(len(puzzle.turns), dtype=np.bool_)
    forbidden = np.zeros((len(puzzle.turns), puzzle.placement_count), dtype=np.bool_)
    for number, own in enumerate(stops):
        if own is None:
            continue
        layer = puzzle.layers[number]
        amounts = allowed_amounts(layer, own)
        if amounts is None:
            forbidden |= blocked(puzzle, number, own)
            continue
        if not amounts:
            raise PuzzleFileError(
                f"stops: {layer.name} would stop nowhere but where it is, so it never turns; give "
                "an angle that differs from 0"
            )
        for turn in np.flatnonzero(puzzle.turn_layer == number):
            kept[turn] = puzzle.turns[turn].amount in amounts
    if not kept.all():
        puzzle = without(puzzle, kept)
        forbidden = forbidden[kept]
    if forbidden.any():
        forbidden.setflags(write=False)
        puzzle = replace(puzzle, blocked=forbidden)
    return puzzle


def blocked(puzzle: Puzzle, layer: int, stops: Sequence[int]) -> NDArray[np.bool_]:
    """Return which turns of a layer pieces forbid, by where they stand; (turns, placements).

    The piece on the layer's axis tells how it stands; after a turn that must be at a stopping step.
    """
    step = puzzle.turn(layer, 1)
    assert step is not None
    row = _on_axis(puzzle, layer, step)
    result = np.zeros((len(puzzle.turns), puzzle.placement_count), dtype=np.bool_)
    for turn in np.flatnonzero(puzzle.turn_layer == layer):
        amount = puzzle.turns[turn].amount
        for standing, placement in enumerate(row):
            result[turn, placement] = (standing + amount) % len(row) not in stops
    return result


def _on_axis(puzzle: Puzzle, layer: int, step: int) -> list[int]:
    """Return the placements of the piece on a layer's axis as the layer goes round, home first."""
    own = puzzle.layers[layer]
    others = np.flatnonzero(puzzle.turn_layer != layer)
    hidden = ""
    for slot in np.flatnonzero(puzzle.in_layer[layer]):
        home = int(puzzle.home[slot])
        kind = puzzle.types[int(puzzle.type_of[slot])]
        if int(puzzle.slot_of[puzzle.moves[step, home]]) != slot:
            continue
        if (puzzle.slot_of[puzzle.moves[others, home]] != slot).any():
            continue
        row = [home]
        for _ in range(own.steps - 1):
            row.append(int(puzzle.moves[step, row[-1]]))
        if len(set(row)) == own.steps and (puzzle.moves[others, home] == home).all():
            return row
        hidden = kind.name
    if hidden:
        raise PuzzleFileError(
            f"stops: {own.name} stops at unequal angles, so the twist of the piece on its axis "
            f'must be told: keep_twists = ["{hidden}"] was expected'
        )
    raise PuzzleFileError(
        f"stops: {own.name} stops at unequal angles, and no piece stays on its axis to tell how it "
        "stands; angles at equal distances, such as half turns only, need none"
    )


def without(puzzle: Puzzle, kept: NDArray[np.bool_]) -> Puzzle:
    """Return a puzzle without some of its turns."""
    numbers = np.full(len(kept), -1, dtype=np.int32)
    numbers[kept] = np.arange(int(kept.sum()))
    moves, turn_layer = puzzle.moves[kept], puzzle.turn_layer[kept]
    symmetries = []
    for symmetry in puzzle.symmetries:
        images = numbers[symmetry.turns[kept]]
        if (images >= 0).all():
            symmetries.append(_renumbered(symmetry, images))
    result = replace(
        puzzle,
        turns=tuple(turn for turn, is_kept in zip(puzzle.turns, kept, strict=True) if is_kept),
        moves=moves,
        turn_layer=turn_layer,
        commutes=commuting(len(puzzle.layers), turn_layer, moves),
        symmetries=tuple(symmetries),
    )
    for array in (result.moves, result.turn_layer, result.commutes):
        array.setflags(write=False)
    return result


def _renumbered(symmetry: Symmetry, images: Table) -> Symmetry:
    return replace(symmetry, turns=images.astype(np.int32))


# --- in words -----------------------------------------------------------------------------------


def stopping(puzzle: Puzzle, number: int) -> str:
    """Return at which angles a layer stops, empty if at every step."""
    layer = puzzle.layers[number]
    own = np.flatnonzero(puzzle.turn_layer == number)
    if puzzle.blocked is not None:
        own = own[~puzzle.blocked[own][:, puzzle.home].any(axis=1)]
    amounts = [puzzle.turns[turn].amount for turn in own]
    if len(amounts) == layer.steps - 1:
        return ""
    if amounts == [layer.steps // 2] and layer.steps % 2 == 0:
        return "half turns only"
    angles = [f"{360 * amount / layer.steps:.4g}" for amount in (0, *amounts)]
    return f"stops at {joined(angles)} degrees"


def why_blocked(puzzle: Puzzle, word: Sequence[int]) -> str | None:
    """Return in a sentence which turn of a word cannot be done, and why; None if all can."""
    found = puzzle.first_blocked(word)
    if found is None:
        return None
    from puzzles.notation import write

    names = slot_names(puzzle)
    turn = write(puzzle, (found.turn,))
    start = f"turn {found.at + 1} ({turn}) is blocked"
    own = [names[slot] for slot in found.slots]
    effect = puzzle.effect(word[: found.at])
    if len(own) == 1:
        return f"{start}: {_missed(puzzle, found.turn, int(effect[puzzle.home[found.slots[0]]]))}"
    at = puzzle.slot_of[effect[puzzle.home[list(found.slots)]]]
    inside = puzzle.in_layer[puzzle.turn_layer[found.turn], at]
    taken = [name for name, is_in in zip(own, inside, strict=True) if is_in]
    layer_name = puzzle.layers[int(puzzle.turn_layer[found.turn])].name
    few = own if len(own) <= 6 else [*own[:6], f"{len(own) - 6} more"]
    took = taken if len(taken) <= 6 else [*taken[:6], f"{len(taken) - 6} more"]
    return (
        f"{start}: the pieces {joined(few)} are fastened together and {layer_name} would take only "
        f"{joined(took)}"
    )


def _missed(puzzle: Puzzle, turn: int, placement: int) -> str:
    """Return where a turn would leave its layer, whose piece on the axis is at a placement."""
    number = int(puzzle.turn_layer[turn])
    layer = puzzle.layers[number]
    step = puzzle.turn(number, 1)
    at, standing = int(puzzle.home[puzzle.slot_of[placement]]), 0
    while step is not None and at != placement and standing < layer.steps:
        at, standing = int(puzzle.moves[step, at]), standing + 1
    there = (standing + puzzle.turns[turn].amount) % layer.steps
    text = stopping(puzzle, number)
    return f"{layer.name} would stand at {360 * there / layer.steps:.4g} degrees, and it {text}"
