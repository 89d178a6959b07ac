"""From turns written down as cycles of numbered places to the frozen tables.

There is no geometry: no faces, no directions, no stickers. Places that turns join are one piece
type; a place is a slot, and its number or own name is the slot's name.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence

import numpy as np

from puzzles.automorphisms import automorphisms
from puzzles.bodies import Body
from puzzles.errors import PuzzleFileError
from puzzles.expressions import size
from puzzles.file import Spot, WrittenModel
from puzzles.numbering import commuting, turn_tables, type_names
from puzzles.place_cycles import Carried, few, read_cycles, read_places
from puzzles.puzzle import PieceType, Places, Puzzle, Symmetry, Table
from puzzles.tables import MOST_PLACEMENTS
from puzzles.turns import Layer, Turn

#: The most times a turn is done until nothing has moved; every repeat is a turn of its own.
MOST_STEPS = 60
#: The most piece types; what is known of a puzzle is found out for every two of them.
MOST_TYPES = 30
#: The largest coordinate of a place, and how near two places may lie, in the file's own units.
FARTHEST, NEAREST = 1e6, 1e-9
#: The words for colours in files (Okabe and Ito, Color Universal Design, 2008, and greys).
COLOURS = {
    "sky": "#56B4E9",
    "vermilion": "#D55E00",
    "yellow": "#F0E442",
    "blue": "#0072B2",
    "green": "#009E73",
    "purple": "#CC79A7",
    "orange": "#E69F00",
    "white": "#EEEEEE",
    "grey": "#9A9A9A",
    "black": "#2B2B2B",
}

_NAME = re.compile(r"[^\W_][\w.\-]{0,19}")


def compiled(name: str, model: WrittenModel) -> Puzzle:
    """Return the puzzle that a model describes; raises PuzzleFileError."""
    ways = _by_place(model.twists, "twists", model.places, 1)
    turns = [read_cycles(t.cycles, f"turn {t.name}", ways) for t in model.turns]
    layers = _layers(model, turns, ways)
    groups = _groups(turns, ways)
    words = type_names([0] * len(groups), model.types)
    types = _piece_types(groups, words, turns, ways)
    order = [place for group in groups for place in group]
    slot = {place: number for number, place in enumerate(order)}
    placements = [(t, k, x) for t in types for k in t.slots for x in range(t.twists)]
    home = np.array(
        [t.first_placement + k * t.twists for t in types for k in range(t.count)], dtype=np.int32
    )
    steps = [_table(turn, order, slot, ways, home) for turn in turns]
    numbers, turn_layer, moves = turn_tables(layers, steps)
    _all_different(numbers, moves)
    slot_of = np.array([k for _, k, _ in placements], dtype=np.int32)
    symmetries = automorphisms(layers, numbers, np.array(steps), types, slot_of)
    places = _places(model, order)
    result = Puzzle(
        name=name,
        description=model.description,
        note=" ".join(filter(None, (model.note, _together(symmetries, types, slot_of, places)))),
        body=Body(np.zeros((0, 3)), ()),
        up="",
        front="",
        layers=layers,
        turns=numbers,
        types=types,
        stickers=(),
        moves=moves,
        turn_layer=turn_layer,
        slot_of=slot_of,
        twist_of=np.array([x for _, _, x in placements], dtype=np.int32),
        type_of=np.array([t.number for t in types for _ in t.slots], dtype=np.int32),
        home=home,
        directions=np.zeros((len(order), 3)),
        depths=np.zeros(len(order)),
        in_layer=np.array([[place in turn.inside for place in order] for turn in turns]),
        commutes=commuting(len(layers), turn_layer, moves),
        alike=_alike(model, types, slot),
        alike_twist=np.zeros(len(order), dtype=np.int32),
        symmetries=symmetries,
        frames=np.tile(np.eye(3), (len(placements), 1, 1)),
        shape="written",
        places=places,
    )
    for value in vars(result).values():
        if isinstance(value, np.ndarray):
            value.setflags(write=False)
    return result


def _by_place(given: Mapping[str, int], where: str, count: int, usual: int) -> list[int]:
    """Return a number for every place from a table such as ``{"1-8" = 3}``."""
    result = [usual] * count
    known: set[int] = set()
    for text, value in given.items():
        for place in read_places(text, where, count):
            if place in known:
                raise PuzzleFileError(f"{where}: place {place + 1} is given twice; once is right")
            known.add(place)
            result[place] = value
    if sum(result) > MOST_PLACEMENTS and where == "twists":
        raise PuzzleFileError(
            f"places and twists make {sum(result):,} ways to sit; at most {MOST_PLACEMENTS:,} are"
            " allowed"
        )
    return result


def _layers(
    model: WrittenModel, turns: Sequence[Carried], ways: Sequence[int]
) -> tuple[Layer, ...]:
    """Return what turns, each with its order; there are no axes."""
    result: list[Layer] = []
    for own, turn in zip(model.turns, turns, strict=True):
        if any(layer.name == own.name for layer in result):
            raise PuzzleFileError(f"two turns are named {own.name!r}; each needs a name of its own")
        steps = _order(turn, ways)
        if steps > MOST_STEPS:
            raise PuzzleFileError(
                f"turn {own.name}: only {steps if steps < 10**9 else 'far too many'} times over has"
                f" nothing moved; a turn of at most {MOST_STEPS} is allowed"
            )
        result.append(Layer(own.name, (0.0, 0.0, 0.0), 0.0, 0.0, steps))
    return tuple(result)


def _order(turn: Carried, ways: Sequence[int]) -> int:
    """Return how many times a turn must be done until nothing has moved."""
    result = 1
    seen: set[int] = set()
    for start in turn.inside:
        place, length, twist = start, 0, 0
        while place not in seen:
            seen.add(place)
            length, twist, place = length + 1, twist + turn.twist[place], turn.to[place]
        if length:
            result = math.lcm(result, length * (ways[start] // math.gcd(twist, ways[start])))
    return result


def _groups(turns: Sequence[Carried], ways: Sequence[int]) -> list[list[int]]:
    """Return the places of each type: those that turns join, then places whose piece stays.

    Pieces that only twist where they sit are one type if they can sit in equally many ways, and so
    are all that never move.
    """
    twist: dict[int, int] = {}
    joined: list[list[int]] = []
    alone: dict[int, list[int]] = {}
    for start in range(len(ways)):
        if start in twist:
            continue
        twist[start], common = 0, ways[start]
        group = [start]
        for place in group:
            for turn in turns:
                there, after = turn.to[place], twist[place] + turn.twist[place]
                if there in twist:
                    common = math.gcd(common, after - twist[there])
                else:
                    twist[there] = after
                    group.append(there)
        if common > 1:
            raise PuzzleFileError(_never_twisted(sorted(group), ways[start], common))
        if len(group) > 1:
            joined.append(sorted(group))
        else:
            alone.setdefault(ways[start], []).append(start)
    # One way to sit, and alone: what no turn moves comes last.
    result = joined + [alone[n] for n in sorted(alone, reverse=True)]
    if len(result) > MOST_TYPES:
        raise PuzzleFileError(
            f"the turns make {len(result):,} piece types, places that they join; at most"
            f" {MOST_TYPES} are allowed"
        )
    return result


def _never_twisted(group: Sequence[int], ways: int, common: int) -> str:
    if common == ways:
        return (
            f"twists: no turn brings a piece of {few(group)} back to its place twisted; write where"
            " pieces arrive twisted, such as (1 2+1), or give these places no twists"
        )
    right = ways // common
    return (
        f"twists: {few(group)}: {ways} ways to sit are given, but turns bring a piece back in only"
        f" {right} of them; {right} is right, with +1 for one of those"
    )


def _piece_types(
    groups: Sequence[Sequence[int]],
    words: Sequence[str],
    turns: Sequence[Carried],
    ways: Sequence[int],
) -> tuple[PieceType, ...]:
    result: list[PieceType] = []
    slot = placement = 0
    for number, (group, word) in enumerate(zip(groups, words, strict=True)):
        twists = ways[group[0]]
        moves = any(turn.to[p] != p or turn.twist[p] for turn in turns for p in group)
        result.append(
            PieceType(word, number, slot, len(group), twists, placement, moves, twists, False)
        )
        slot += len(group)
        placement += len(group) * twists
    return tuple(result)


def _table(
    turn: Carried, order: Sequence[int], slot: Mapping[int, int], ways: Sequence[int], home: Table
) -> Table:
    """Return where one step of a turn takes every placement."""
    row: list[int] = []
    for place in order:
        there, n = int(home[slot[turn.to[place]]]), ways[place]
        row.extend(there + (x + turn.twist[place]) % n for x in range(n))
    return np.array(row, dtype=np.int32)


def _all_different(turns: Sequence[Turn], moves: Table) -> None:
    """Refuse a turn that is another one done several times over."""
    known: dict[bytes, Turn] = {}
    for turn, row in zip(turns, moves, strict=True):
        first = known.setdefault(row.tobytes(), turn)
        if first.layer != turn.layer and 1 in (first.amount, turn.amount):
            name, other, times = turn.layer, first.layer, first.amount
            if turn.amount != 1:
                name, other, times = first.layer, turn.layer, turn.amount
            again = f"{other} done {times} times" if times > 1 else other
            raise PuzzleFileError(
                f"turn {name} does the same as {again}; repeats of a turn are there already, so"
                f" leave {name} out"
            )


def _alike(model: WrittenModel, types: Sequence[PieceType], slot: Mapping[int, int]) -> Table:
    """Return for each slot the first slot whose piece looks the same."""
    result = np.arange(len(slot), dtype=np.int32)
    known: set[int] = set()
    for number, text in enumerate(model.alike, 1):
        where = f"alike {number}"
        places = read_places(text, where, model.places)
        slots = sorted(slot[place] for place in places)
        kinds = [next(t for t in types if k in t.slots) for k in slots]
        if len({t.number for t in kinds}) > 1:
            one = next(p for p in places if slot[p] in kinds[0].slots)
            other = next(p for p in places if slot[p] not in kinds[0].slots)
            raise PuzzleFileError(
                f"{where}: places {one + 1} and {other + 1} belong to different types, so their"
                " pieces never change places; places of one type were expected"
            )
        for place in places:
            if place in known:
                raise PuzzleFileError(
                    f"{where}: place {place + 1} is in a list before; each place belongs to one"
                )
        known.update(places)
        result[slots] = slots[0]
    return result


def _together(
    symmetries: Sequence[Symmetry], types: Sequence[PieceType], slot_of: Table, places: Places
) -> str:
    """Return a hint for who has numbered stickers and not pieces, empty if there is none.

    Going round the stickers of every piece is a symmetry that leaves all turns as they are.
    """
    best: list[int] = []
    for symmetry in symmetries:
        if not np.array_equal(symmetry.turns, np.arange(len(symmetry.turns))):
            continue
        for kind in types:
            cycle = [kind.first_slot]
            while kind.moves and kind.twists == 1:
                there = int(
                    slot_of[symmetry.placements[kind.first_placement + cycle[-1] - cycle[0]]]
                )
                if there == cycle[0]:
                    break
                cycle.append(there)
            if max(len(best), 1) < len(cycle) < kind.count:
                best = cycle
    if not best:
        return ""
    named = [places.names[slot] for slot in best]
    return (
        f"What is at {', '.join(named[:-1])} and {named[-1]} always goes together, and so for the"
        " other places of that type: if these are the stickers of one piece, number pieces instead"
        " of stickers, with twists."
    )


def _places(model: WrittenModel, order: Sequence[int]) -> Places:
    names, spots = _names(model), _spots(model)
    colours = [""] * model.places
    for text, colour in model.colours.items():
        if colour not in COLOURS:
            raise PuzzleFileError(
                f"colours: {colour[:20]!r} is no colour here; known are {', '.join(COLOURS)}"
            )
        for place in read_places(text, "colours", model.places):
            colours[place] = COLOURS[colour]
    return Places(
        tuple(names[place] for place in order),
        None if spots is None else np.array([spots[place] for place in order]),
        tuple(colours[place] for place in order),
    )


def _names(model: WrittenModel) -> list[str]:
    names = [str(place + 1) for place in range(model.places)]
    if isinstance(model.names, list):
        if len(model.names) != model.places:
            raise PuzzleFileError(
                f"names: {len(model.names)} names are given for {model.places} places"
            )
        names = list(model.names)
    else:
        for text, own in model.names.items():
            names[_one(text, "names", model.places)] = own
    for place, own in enumerate(names):
        if not _NAME.fullmatch(own) or (own.isdigit() and own != str(place + 1)):
            raise PuzzleFileError(
                f"names: {own[:24]!r} for place {place + 1}: up to 20 letters, digits, - _ and . "
                "were expected, and no other number than its own"
            )
        if names.count(own) > 1:
            raise PuzzleFileError(f"names: two places are named {own!r}; each needs its own name")
    return names


def _one(text: str, where: str, count: int) -> int:
    places = read_places(text, where, count)
    if len(places) > 1:
        raise PuzzleFileError(f"{where}: {text[:24]!r} are several places; one was expected")
    return places[0]


def _spots(model: WrittenModel) -> list[tuple[float, float]] | None:
    """Return where the places are drawn, None where the file does not say it."""
    given: dict[int, Spot] = {}
    if isinstance(model.positions, list):
        given = dict(enumerate(model.positions))
    else:
        for text, spot in model.positions.items():
            given[_one(text, "positions", model.places)] = spot
    if not given:
        return None
    missing = next((p for p in range(model.places) if p not in given), None)
    if missing is not None or len(given) > model.places:
        raise PuzzleFileError(
            f"positions: {len(given)} are given for {model.places} places"
            + (f", none for place {missing + 1}" if missing is not None else "")
            + "; give one for every place, or none at all"
        )
    result = []
    seen: dict[tuple[int, ...], int] = {}
    for place in range(model.places):
        x, y = (size(value, f"positions: place {place + 1}") for value in given[place])
        if max(abs(x), abs(y)) > FARTHEST:
            raise PuzzleFileError(
                f"positions: place {place + 1} lies too far out; at most {FARTHEST:,.0f} is allowed"
            )
        other = seen.setdefault((round(x / NEAREST), round(y / NEAREST)), place)
        if other != place:
            raise PuzzleFileError(f"positions: places {other + 1} and {place + 1} lie on one point")
        result.append((x, y))
    return result
