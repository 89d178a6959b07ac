"""Why a wanted cycle cannot be done by any sequence of the allowed layers, in words."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterable, Sequence

import numpy as np

from puzzles.errors import RequestError
from puzzles.laws import joined, plural
from puzzles.layer_group import LayerGroup, layer_group
from puzzles.names import Placed, placement_name, slot_names, sticker_name
from puzzles.puzzle import PieceType, Puzzle, Table

#: The most ways to fill in twists that were not told; a cycle of three has 144 with 12 twists.
MOST_FILLINGS = 5_000


class ImpossibleError(Exception):
    """A wanted cycle that no sequence does; the text is the reason in one sentence."""


def wanted_effect(puzzle: Puzzle, placements: Sequence[int]) -> Table:
    """Return the effect that cycles placements and does nothing else; shape (placements,).

    The piece at the first placement goes to the second, and so on, and the last to the first; at
    their other twists the pieces go along. The placements are of one type, in different slots, or
    all twists of one slot in an even stride: then that piece is twisted. Raises RequestError.
    """
    effect = np.arange(puzzle.placement_count, dtype=np.int32)
    row = list(placements)
    types = {int(puzzle.type_of[puzzle.slot_of[p]]) for p in row}
    if len(row) < 2 or len(types) != 1:
        raise RequestError("a cycle names two or more pieces of one type")
    twists = puzzle.types[types.pop()].twists
    for here, there in itertools.pairwise([*row, row[0]]):
        for x in range(twists):
            start = _twisted(puzzle, here, x, twists)
            goal = _twisted(puzzle, there, x, twists)
            if effect[start] not in (start, goal):
                raise RequestError("a cycle visits each piece once")
            effect[start] = goal
    if len(np.unique(effect)) != len(effect):
        raise RequestError("a cycle visits each piece once")
    return effect


def _twisted(puzzle: Puzzle, placement: int, by: int, twists: int) -> int:
    home = int(puzzle.home[puzzle.slot_of[placement]])
    return home + (placement - home + by) % twists


def reason(
    puzzle: Puzzle,
    cycle: Sequence[Placed | int],
    layers: Iterable[int] | None = None,
    alike: bool = True,
    any_twist: bool = False,
    free: Iterable[int] = (),
) -> str | None:
    """Return in one sentence why a cycle cannot be done, or None if nothing forbids it.

    ``cycle`` has two or more places in different slots, the first goes to the second; as plain
    numbers they are placements. ``layers`` are the numbers of those that may turn (None: all),
    ``free`` the numbers of types that may end up anywhere. With ``alike``, like pieces may change
    places; with ``any_twist``, so may the twists of the named pieces, if three times over (for
    three) it still does nothing. A sentence is returned only for what is proven impossible.
    """
    slots = [int(puzzle.slot_of[c]) if isinstance(c, int | np.integer) else c.slot for c in cycle]
    kept = sorted(set(range(len(puzzle.types))) - set(free))
    allowed = sorted(set(range(len(puzzle.layers)) if layers is None else layers))
    if not allowed:
        return "No layer may turn."
    text = plainly(puzzle, slots) or _stickers(puzzle, cycle, any_twist)
    if text is not None:
        return text
    fillings = _fillings(puzzle, cycle, slots, any_twist)
    if not fillings:
        return None
    effects = [wanted_effect(puzzle, filling) for filling in fillings]
    every = layer_group(puzzle, None, kept)
    text = _forbidden(every, fillings, effects, alike)
    if text is not None or len(allowed) == len(puzzle.layers):
        return None if text is None else sentence(text)
    text = _forbidden(layer_group(puzzle, allowed, kept), fillings, effects, alike)
    if text is None:
        return None
    names = joined([puzzle.layers[k].name for k in allowed])
    return f"With only {names} turning, {text}."


def plainly(puzzle: Puzzle, slots: list[int]) -> str | None:
    """Say whether pieces never leave their slots or are of different types."""
    names = slot_names(puzzle)
    kinds = [puzzle.types[int(puzzle.type_of[slot])] for slot in slots]
    if len(set(slots)) == 1:
        return None
    held = {part.slots[0] for part in layer_group(puzzle).parts if part.single}
    for slot, kind in zip(slots, kinds, strict=True):
        if slot in held:
            twisting = "may be twisted, but " if kind.twists > 1 and kind.moves else ""
            one = kind.count == 1
            which = "it" if one else f"the {plural(kind.name)}"
            leave = "never leaves its slot" if one else "never leave their slots"
            return f"{names[slot]} is {_a(kind)}: {which} {twisting}{leave}{_noted(puzzle, slot)}."
    for slot, kind in zip(slots, kinds, strict=True):
        if kind is not kinds[0]:
            return (
                f"{names[slots[0]]} is {_a(kinds[0])} and {names[slot]} is {_a(kind)}: no turn "
                "carries one into the other's slot."
            )
    return None


def _noted(puzzle: Puzzle, slot: int) -> str:
    """Return the puzzle's note in brackets if it names the piece of a slot, else nothing."""
    if not re.search(rf"(?<!\w){re.escape(slot_names(puzzle)[slot])}(?!\w)", puzzle.note):
        return ""
    note = puzzle.note.removesuffix(".")
    return f" ({note[0].lower()}{note[1:]})" if note[1:2].islower() else f" ({note})"


def _stickers(puzzle: Puzzle, cycle: Sequence[Placed | int], any_twist: bool) -> str | None:
    """Say whether one sticker can never come to where another is, and which would fit."""
    if any_twist or any(not isinstance(c, Placed) for c in cycle):
        return None
    places = [c for c in cycle if isinstance(c, Placed)]
    first = places[0]
    for place in places[1:]:
        if place.kind != first.kind and min(place.kind, first.kind) >= 0:
            fit = [
                sticker_name(puzzle, number)
                for number, sticker in enumerate(puzzle.stickers)
                if sticker.slot == place.slot and sticker.kind == first.kind
            ]
            return (
                f"The sticker {_shown(puzzle, first)} can never come to {_shown(puzzle, place)}; "
                f"in that slot it comes to {' or '.join(fit)}."
                if fit
                else f"The sticker {_shown(puzzle, first)} never comes to {_shown(puzzle, place)}."
            )
    return None


def stickers_apart(puzzle: Puzzle, cycle: Sequence[Placed]) -> None:
    """Raise ImpossibleError if a sticker of a cycle can never come to where another one is."""
    text = _stickers(puzzle, cycle, any_twist=False)
    if text is not None:
        raise ImpossibleError(text)


def _shown(puzzle: Puzzle, place: Placed) -> str:
    return place.text if place.sticker is None else sticker_name(puzzle, place.sticker)


def _fillings(
    puzzle: Puzzle, cycle: Sequence[Placed | int], slots: list[int], any_twist: bool
) -> list[tuple[int, ...]]:
    """Return all ways to give every place a placement; turning all of them along is one way."""
    options: list[list[int]] = []
    for place, slot in zip(cycle, slots, strict=True):
        placement = place.placement if isinstance(place, Placed) else int(place)
        home, twists = int(puzzle.home[slot]), puzzle.types[int(puzzle.type_of[slot])].twists
        options.append([*range(home, home + twists)])
        if placement is not None and not any_twist:
            options[-1] = [placement]
    if all(len(option) > 1 for option in options):
        options[0] = options[0][:1]
    if math.prod(len(option) for option in options) > MOST_FILLINGS:
        return []
    return list(itertools.product(*options))


def _possible(own: LayerGroup, effect: Table, alike: bool) -> bool:
    return own.contains_alike(effect) if alike else own.contains(effect)[0]


def _forbidden(
    own: LayerGroup, fillings: list[tuple[int, ...]], effects: list[Table], alike: bool
) -> str | None:
    """Return why none of the effects lies in a group, None if one does or may."""
    if any(_possible(own, effect, alike) for effect in effects):
        return None
    filling = fillings[0]
    return (
        _unreached(own, filling, effects[0], alike, told=len(fillings) == 1)
        or _against_law(own, filling, effects, alike)
        or _counted(own, filling, effects, alike)
    )


def _unreached(
    own: LayerGroup, filling: tuple[int, ...], effect: Table, alike: bool, told: bool
) -> str | None:
    """Say which piece cannot get to where it is wanted, or not with that twist."""
    puzzle = own.puzzle
    names = slot_names(puzzle)
    looks = puzzle.alike.tolist()
    if alike and any(looks.count(looks[puzzle.slot_of[p]]) > 1 for p in filling):
        return None
    for here, there in itertools.pairwise([*filling, filling[0]]):
        slot, goal = int(puzzle.slot_of[here]), int(puzzle.slot_of[there])
        reached = reach(own, here)
        if not any(puzzle.slot_of[p] == goal for p in reached):
            return f"{names[slot]} cannot get to {names[goal]}"
        if told and there not in reached:
            fit = [placement_name(puzzle, p) for p in sorted(reached) if puzzle.slot_of[p] == goal]
            return (
                f"{placement_name(puzzle, here)} cannot get to {placement_name(puzzle, there)}, "
                f"in that slot only to {' or '.join(fit)}"
            )
    return None


def reach(own: LayerGroup, placement: int) -> set[int]:
    """Return the placements to which a group carries one."""
    found, row = {placement}, [placement]
    for here in row:
        for there in own.steps[:, here].tolist():
            if there not in found:
                found.add(there)
                row.append(there)
    return found


def _against_law(
    own: LayerGroup, filling: tuple[int, ...], effects: list[Table], alike: bool
) -> str | None:
    """Name the law of parity or twist that all of the effects break."""
    vectors = []
    for effect in effects:
        kept = own.brought_home(effect) if alike else effect
        if kept is None or not own.keeps_parts(kept):
            return None
        vectors.append(own.sums.vector(kept))
    for law in own.laws_alike if alike else own.laws:
        if all(own.sums.broken(law, vector) for vector in vectors):
            says = law.text[0].lower() + law.text[1:-1].partition(":")[0]
            return f"{_what(own.puzzle, filling, law.kind)}, but {says}"
    return None


def _what(puzzle: Puzzle, filling: tuple[int, ...], kind: str) -> str:
    """Say what a cycle would be: an odd rearrangement, or a twist."""
    slots = list(dict.fromkeys(int(puzzle.slot_of[p]) for p in filling))
    names = joined([slot_names(puzzle)[slot] for slot in slots])
    word = plural(puzzle.types[int(puzzle.type_of[slots[0]])].name)
    if len(slots) == 1:
        return f"{names} would be twisted alone"
    if kind == "parity" and len(slots) == 2:
        return f"{names} swapped alone would be an odd rearrangement of the {word}"
    if kind == "parity":
        return f"a cycle of {names} alone would be an odd rearrangement of the {word}"
    return f"{names} would move alone"


def _counted(own: LayerGroup, filling: tuple[int, ...], effects: list[Table], alike: bool) -> str:
    """Say with which other types these pieces are tied, as few as explain it."""
    puzzle = own.puzzle
    wanted = int(puzzle.type_of[puzzle.slot_of[filling[0]]])
    types = list(own.types)
    for other in own.types:
        fewer = [t for t in types if t != other]
        smaller = layer_group(puzzle, own.layers, fewer)
        if other != wanted and not any(_possible(smaller, e, alike) for e in effects):
            types = fewer
    slots = list(dict.fromkeys(int(puzzle.slot_of[p]) for p in filling))
    names = joined([slot_names(puzzle)[slot] for slot in slots])
    word = plural(puzzle.types[wanted].name)
    others = [plural(puzzle.types[t].name) for t in types if t != wanted]
    if others:
        verb = {1: "twists", 2: "swaps"}.get(len(slots), "cycles")
        changes = "visibly changing" if alike and own.alike else "changing"
        return f"no sequence {verb} {names} without {changes} the {joined(others)}"
    what = {1: f"a twist of {names}", 2: f"a swap of {names}"}
    order = layer_group(puzzle, own.layers, types).order
    return (
        f"the {word} make only {order:,} arrangements, all of them counted, and "
        f"{what.get(len(slots), f'a cycle of {names}')} alone is not one of them"
    )


def _a(kind: PieceType) -> str:
    return f"{'an' if kind.name[0] in 'aeiou' else 'a'} {kind.name}"


def sentence(text: str) -> str:
    """Return a sentence that begins with a capital, unless it begins with a name."""
    return text[0].upper() + text[1:] + "."


def check(
    puzzle: Puzzle,
    cycle: Sequence[Placed | int],
    layers: Iterable[int] | None = None,
    alike: bool = True,
    any_twist: bool = False,
    free: Iterable[int] = (),
) -> None:
    """Raise ImpossibleError with the reason if no sequence does a cycle."""
    text = reason(puzzle, cycle, layers, alike, any_twist, free)
    if text is not None:
        raise ImpossibleError(text)
