"""The compact encoding: what a search keeps, and the plain arrays that its kernels work on.

A *row* is a pair "the piece of slot s goes to placement q", for s with twist 0; a piece that sits
there twisted goes to q twisted in the same way. The effect of a sequence is then the list of rows
of the slots that it disturbs, and conjugating by a turn carries row to row.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from puzzles.errors import LimitError, RequestError
from puzzles.puzzle import PieceType, Puzzle, Symmetry
from search.kernels.arrays import Encoded

#: Compiled columns of conjugated keys are made for words of up to two turns while they stay below
#: this many bytes; beyond it, one turn (measured on a machine with 1 MiB of second-level cache).
COLUMN_BYTES = 48_000_000
#: The most turns of one search: records of rings and shelves number them in one byte.
MOST_TURN_NUMBERS = 256
#: Fixed, so that the same search gives the same rings everywhere.
SEED = 20_260_101
#: How many bits of a mark are used; one more would be the mark of an entry without one.
MARK_BITS = 62
#: Where the other kept types have fewer arrangements than two to this power, agreeing on them says
#: little, and the wanted type is joined on blocks of its own slots as well.
ENOUGH_BITS = 24.0
#: A three-cycle disturbs at most three blocks of slots: there is one join for every choice of the
#: blocks that are left alone. More blocks make more joins with keys that tell more apart.
MOST_BLOCKS = 8


@dataclass(frozen=True, eq=False)
class Scope:
    """What one search is about: a puzzle, the layers that may turn, the types that are kept.

    ``wanted`` are the kept types whose three-cycles are looked for. ``turns[t]`` is the puzzle's
    number of the kernels' turn t, ``placements`` likewise.
    """

    puzzle: Puzzle
    layers: tuple[int, ...]
    kept: tuple[int, ...]
    wanted: tuple[int, ...]
    turns: NDArray[np.int64]
    placements: NDArray[np.int64]
    symmetries: tuple[Symmetry, ...]
    arrays: Encoded

    @property
    def key(self) -> str:
        """What names the scope in a cache: tables, layers, kept and wanted types."""
        layers = ",".join(self.puzzle.layers[k].name for k in self.layers)
        kept = ",".join(self.puzzle.types[k].name for k in self.kept)
        wanted = ",".join(self.puzzle.types[k].name for k in self.wanted)
        return f"{self.puzzle.digest}|{layers}|{kept}|{wanted}"


def useful_layers(puzzle: Puzzle, layers: tuple[int, ...]) -> tuple[int, ...]:
    """Leave out layers that commute with all others: in a commutator their turns cancel."""
    return tuple(
        k for k in layers if any(not puzzle.commutes[k, other] for other in layers if other != k)
    )


@lru_cache(maxsize=64)
def scope(
    puzzle: Puzzle,
    layers: tuple[int, ...] | None = None,
    kept: tuple[int, ...] | None = None,
    wanted: tuple[int, ...] | None = None,
) -> Scope:
    """Return the encoded scope; layers and types by number, None for all.

    Raises RequestError if a wanted type is not kept or never leaves its slots, or if nothing that
    is kept moves; LimitError for too many turns.
    """
    every = tuple(range(len(puzzle.layers)))
    layers = useful_layers(puzzle, tuple(sorted(layers)) if layers is not None else every)
    names = {puzzle.layers[k].name for k in layers}
    turns = np.array(
        [number for number, turn in enumerate(puzzle.turns) if turn.layer in names], dtype=np.int64
    )
    if len(turns) > MOST_TURN_NUMBERS:
        raise LimitError(
            f"the layers that may turn have {len(turns)} turns; a search takes at most "
            f"{MOST_TURN_NUMBERS}, so allow fewer layers"
        )
    moving = tuple(
        t.number
        for t in puzzle.types
        if np.any(puzzle.moves[turns][:, list(t.placements)] != np.array(t.placements))
    )
    kept = tuple(k for k in sorted(kept if kept is not None else moving) if k in moving)
    roaming = tuple(k for k in kept if not _stays(puzzle, turns, k))
    wanted = roaming if wanted is None else tuple(sorted(wanted))
    for number in wanted:
        if number not in roaming:
            raise RequestError(
                f"three-cycles of the type {puzzle.types[number].name!r} cannot be looked for: "
                "it is not kept, or its pieces never leave their slots"
            )
    if not kept:
        raise RequestError(
            "there is nothing to search: no kept type is moved by a layer that does not commute "
            "with all other layers that may turn"
        )
    symmetries = tuple(
        s
        for s in puzzle.symmetries
        if {int(s.layers[k]) for k in layers} == set(layers)
        and {_image(puzzle, s, k) for k in kept} == set(kept)
        and {_image(puzzle, s, k) for k in wanted} == set(wanted)
    )
    return _encode(puzzle, layers, turns, kept, wanted, symmetries)


def wanted_with_images(
    puzzle: Puzzle, number: int, layers: tuple[int, ...] | None, kept: tuple[int, ...] | None
) -> tuple[int, ...]:
    """Return a type and those that symmetries of the search carry it to, which it finds as well."""
    every = set(range(len(puzzle.layers)))
    turning = set(layers) if layers is not None else every
    types = set(kept) if kept is not None else {t.number for t in puzzle.types}
    found = {number}
    for symmetry in puzzle.symmetries:
        if {int(symmetry.layers[k]) for k in turning} == turning and {
            _image(puzzle, symmetry, k) for k in types
        } == types:
            found.add(_image(puzzle, symmetry, number))
    return tuple(sorted(found))


def _stays(puzzle: Puzzle, turns: NDArray[np.int64], number: int) -> bool:
    kind = puzzle.types[number]
    homes = puzzle.home[list(kind.slots)]
    return bool(np.all(puzzle.slot_of[puzzle.moves[turns][:, homes]] == np.array(kind.slots)))


def _image(puzzle: Puzzle, symmetry: Symmetry, number: int) -> int:
    """Return the type onto which a symmetry carries a type."""
    image = symmetry.placements[puzzle.types[number].first_placement]
    return int(puzzle.type_of[puzzle.slot_of[image]])


def _encode(
    puzzle: Puzzle,
    layers: tuple[int, ...],
    turns: NDArray[np.int64],
    kept: tuple[int, ...],
    wanted: tuple[int, ...],
    symmetries: tuple[Symmetry, ...],
) -> Scope:
    types = [puzzle.types[k] for k in kept]
    placements = np.array([p for t in types for p in t.placements], dtype=np.int64)
    slots = np.array([s for t in types for s in t.slots], dtype=np.int64)
    place = np.full(puzzle.placement_count, -1)
    place[placements] = np.arange(len(placements))
    number = np.full(puzzle.slot_count, -1)
    number[slots] = np.arange(len(slots))
    local_turn = np.full(len(puzzle.turns), -1)
    local_turn[turns] = np.arange(len(turns))
    local_layer = {layer: k for k, layer in enumerate(layers)}
    turn_layer = np.array([local_layer[int(puzzle.turn_layer[t])] for t in turns], dtype=np.int64)
    first = np.searchsorted(turn_layer, np.arange(len(layers) + 1)).astype(np.int64)
    passes = np.zeros(len(layers), dtype=np.uint64)
    for k, one in enumerate(layers):
        for m, other in enumerate(layers):
            if k != m and puzzle.commutes[one, other]:
                passes[k] |= np.uint64(1 << m)
    home = place[puzzle.home[slots]]
    slot_of = number[puzzle.slot_of[placements]]
    twist_of = puzzle.twist_of[placements]
    moves = place[puzzle.moves[turns][:, placements]]
    counts = np.array([t.count for t in types])
    twists = np.array([t.twists for t in types])
    type_slot = np.concatenate([[0], np.cumsum(counts)])
    type_placement = np.concatenate([[0], np.cumsum(counts * twists)])
    type_row = np.concatenate([[0], np.cumsum(counts * counts * twists)])
    slot_type = np.repeat(np.arange(len(types)), counts)
    row_of = np.array(
        [
            type_row[k] + (s - type_slot[k]) * counts[k] * twists[k]
            for k in range(len(types))
            for s in range(type_slot[k], type_slot[k + 1])
        ],
        dtype=np.int64,
    )
    row_slot = np.concatenate(
        [
            np.repeat(np.arange(type_slot[k], type_slot[k + 1]), counts[k] * twists[k])
            for k in range(len(types))
        ]
    )
    row_place = np.concatenate(
        [
            np.tile(np.arange(type_placement[k], type_placement[k + 1]), counts[k])
            for k in range(len(types))
        ]
    )
    conjugate = np.empty((len(turns), len(row_slot)), dtype=np.int64)
    for t in range(len(turns)):
        start = moves[t][home[row_slot]]
        conjugate[t] = _row(
            start, moves[t][row_place], slot_of, twist_of, slot_type, twists, type_placement, row_of
        )
    values, channel_type, joins, found = _channels(puzzle, types, wanted, row_slot, row_place)
    mark, mark_bits, mark_low = _marks(type_slot, type_placement, row_slot, row_place, home)
    images = np.array([local_turn[s.turns[turns]] for s in symmetries], dtype=np.int64)
    arrays = Encoded(
        turn_layer=turn_layer,
        inverse=local_turn[puzzle.inverses[turns]].astype(np.int64),
        first_turn=first,
        passes=passes,
        moves=np.ascontiguousarray(moves, dtype=np.int64),
        home=home.astype(np.int64),
        slot_of=slot_of.astype(np.int64),
        twist_of=twist_of.astype(np.int64),
        slot_type=slot_type.astype(np.int64),
        type_row=type_row.astype(np.int64),
        type_slot=type_slot.astype(np.int64),
        type_placement=type_placement.astype(np.int64),
        row_of=row_of,
        row_slot=row_slot.astype(np.int64),
        row_place=row_place.astype(np.int64),
        conjugate=conjugate.astype(np.int32),
        symmetry=images,
        symmetry_back=np.argsort(images, axis=1).astype(np.int64),
        values=values,
        channel_type=channel_type,
        joins=joins,
        wanted=found,
        mark=mark,
        mark_bits=mark_bits,
        mark_low=mark_low,
    )
    return Scope(puzzle, layers, kept, wanted, turns, placements, symmetries, arrays)


def _row(
    start: NDArray[np.int64],
    end: NDArray[np.int64],
    slot_of: NDArray[np.int64],
    twist_of: NDArray[np.int32],
    slot_type: NDArray[np.int64],
    twists: NDArray[np.int64],
    type_placement: NDArray[np.int64],
    row_of: NDArray[np.int64],
) -> NDArray[np.int64]:
    """Return the row of "what is at start goes to end", twisted back so that start has twist 0."""
    slot = slot_of[start]
    kind = slot_type[slot]
    twist = (twist_of[end] - twist_of[start]) % twists[kind]
    target: NDArray[np.int64] = end - twist_of[end] + twist
    result: NDArray[np.int64] = row_of[slot] + target - type_placement[kind]
    return result


def _channels(
    puzzle: Puzzle,
    types: list[PieceType],
    wanted: tuple[int, ...],
    row_slot: NDArray[np.int64],
    row_place: NDArray[np.int64],
) -> tuple[NDArray[np.uint64], NDArray[np.int64], NDArray[np.bool_], NDArray[np.int64]]:
    """Return the channels' values and types, and which channels each join adds for which type.

    A row adds a random value for "this piece is there" less the one for "at home", so that a piece
    that stays at home adds nothing.
    """
    random = np.random.default_rng(SEED)
    shape = (puzzle.slot_count, puzzle.placement_count)
    looks = random.integers(0, 2**64, size=shape, dtype=np.uint64)
    slots = np.array([s for t in types for s in t.slots])[row_slot]
    places = np.array([p for t in types for p in t.placements])[row_place]
    value = looks[slots, places] - looks[slots, puzzle.home[slots]]
    kinds = puzzle.type_of[slots]
    bits = {t.number: _bits(t) for t in types}
    channels = [np.where(kinds == t.number, value, np.uint64(0)) for t in types]
    channel_type = list(range(len(types)))
    joins: list[tuple[int, list[int]]] = []
    for local, kind in enumerate(types):
        if kind.number not in wanted:
            continue
        others = [k for k in range(len(types)) if k != local]
        blocks = min(MOST_BLOCKS, kind.count)
        if sum(bits[types[k].number] for k in others) >= ENOUGH_BITS or blocks <= 3:
            joins.append((local, others))
            continue
        first = len(channels)
        for block in range(blocks):
            inside = (slots - kind.first_slot) % blocks == block
            channels.append(np.where((kinds == kind.number) & inside, value, np.uint64(0)))
            channel_type.append(local)
        for left_alone in itertools.combinations(range(first, first + blocks), blocks - 3):
            joins.append((local, [*others, *left_alone]))
    table = np.zeros((len(joins), len(channels)), dtype=np.bool_)
    for k, (_, members) in enumerate(joins):
        table[k, members] = True
    return (
        np.array(channels),
        np.array(channel_type, dtype=np.int64),
        table,
        np.array([local for local, _ in joins], dtype=np.int64),
    )


def _marks(
    type_slot: NDArray[np.int64],
    type_placement: NDArray[np.int64],
    row_slot: NDArray[np.int64],
    row_place: NDArray[np.int64],
    home: NDArray[np.int64],
) -> tuple[NDArray[np.uint64], NDArray[np.int64], NDArray[np.uint64]]:
    """Return the marks of all rows, and for each type the bits of a slot and all lowest bits.

    A placement has a code of a few bits; a row's mark is the code of where it goes, changed by
    that of where it begins, at the place of its slot. Many slots share places.
    """
    random = np.random.default_rng(SEED)
    mark = np.zeros(len(row_slot), dtype=np.uint64)
    bits, low = [], []
    for k in range(len(type_slot) - 1):
        slots = int(type_slot[k + 1] - type_slot[k])
        groups = min(slots, MARK_BITS)
        width = min(8, MARK_BITS // groups)
        codes = np.zeros(int(type_placement[-1]), dtype=np.uint64)
        own = np.arange(type_placement[k], type_placement[k + 1])
        codes[own] = random.permutation(len(own)) % (1 << width)
        inside = (row_slot >= type_slot[k]) & (row_slot < type_slot[k + 1])
        place = ((row_slot - type_slot[k]) % groups * width).astype(np.uint64)
        change = codes[row_place] ^ codes[home[row_slot]]
        mark = np.where(inside, change << place, mark)
        bits.append(width)
        low.append(sum(1 << (g * width) for g in range(groups)))
    return mark, np.array(bits, dtype=np.int64), np.array(low, dtype=np.uint64)


def _bits(kind: PieceType) -> float:
    """Return about how many bits tell the arrangements of a type apart."""
    arrangements = math.lgamma(kind.count + 1) / math.log(2) if kind.count > 1 else 0.0
    return arrangements + kind.count * math.log2(kind.twists)
