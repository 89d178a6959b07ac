"""The compact encoding: what a search keeps, and the plain arrays that its kernels work on.

A *row* is a pair "the piece of slot s goes to placement q", for s with twist 0; a piece that sits
there twisted goes to q twisted in the same way. The effect of a sequence is then the list of rows
of the slots that it disturbs, and conjugating by a turn carries row to row.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from puzzles.errors import LimitError, RequestError
from puzzles.puzzle import Puzzle, Symmetry
from search.channels import SEED, Channels, for_effects, for_three_cycles
from search.kernels.arrays import Encoded

#: Compiled columns of conjugated keys are made for words of up to two turns while they stay below
#: this many bytes; beyond it, one turn (measured on a machine with 1 MiB of second-level cache).
COLUMN_BYTES = 48_000_000
#: The most turns of one search: records of rings and shelves number them in one byte.
MOST_TURN_NUMBERS = 256
#: How many bits of a mark are used; one more would be the mark of an entry without one.
MARK_BITS = 62


@dataclass(frozen=True, eq=False)
class Scope:
    """What one search is about: a puzzle, the layers that may turn, the types that are kept.

    ``wanted`` are the kept types whose three-cycles are looked for, or those that an effect moves:
    then ``moved`` says how many pieces of each, and they stand first in ``kept``. ``turns[t]`` is
    the puzzle's number of the kernels' turn t, ``placements`` likewise. ``bits``: about how much
    the joins for an effect tell apart.
    """

    puzzle: Puzzle
    layers: tuple[int, ...]
    kept: tuple[int, ...]
    wanted: tuple[int, ...]
    turns: NDArray[np.int64]
    placements: NDArray[np.int64]
    symmetries: tuple[Symmetry, ...]
    arrays: Encoded
    moved: tuple[int, ...] = ()
    bits: float = 0.0

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
    layers, turns, moving = _turning(puzzle, layers)
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
    counts = dict.fromkeys(wanted, 3)
    symmetries = _symmetries(puzzle, layers, kept, counts)
    return _encode(puzzle, layers, turns, kept, wanted, symmetries, {})


@lru_cache(maxsize=64)
def effect_scope(
    puzzle: Puzzle,
    layers: tuple[int, ...] | None,
    kept: tuple[int, ...] | None,
    moved: tuple[tuple[int, int], ...],
) -> Scope:
    """Return the scope of a search for effects that move so many pieces of some kept types.

    ``moved`` are pairs of a type's number and how many pieces of it, in order; layers and types as
    for ``scope``. Raises RequestError if a moved type is not kept or no layer moves it.
    """
    layers, turns, moving = _turning(puzzle, layers)
    counts = dict(moved)
    own = set(kept if kept is not None else moving) & set(moving)
    for number in counts:
        if number not in own:
            raise RequestError(
                f"effects on the type {puzzle.types[number].name!r} cannot be looked for: it is "
                "not kept, or no layer moves it that does not commute with all others that may turn"
            )
    ordered = (*counts, *sorted(own - set(counts)))
    symmetries = _symmetries(puzzle, layers, ordered, counts)
    return _encode(puzzle, layers, turns, ordered, tuple(counts), symmetries, counts)


def _turning(
    puzzle: Puzzle, layers: tuple[int, ...] | None
) -> tuple[tuple[int, ...], NDArray[np.int64], tuple[int, ...]]:
    """Return the useful ones of some layers, their turns, and the types that these move."""
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
    return layers, turns, moving


def _symmetries(
    puzzle: Puzzle, layers: tuple[int, ...], kept: tuple[int, ...], counts: Mapping[int, int]
) -> tuple[Symmetry, ...]:
    """Return the symmetries that carry layers to layers, kept to kept types, and keep counts."""
    return tuple(
        s
        for s in puzzle.symmetries
        if {int(s.layers[k]) for k in layers} == set(layers)
        and {_image(puzzle, s, k) for k in kept} == set(kept)
        and all(counts.get(_image(puzzle, s, k)) == counts[k] for k in counts)
    )


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
    moved: Mapping[int, int],
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
    channels: Channels = (
        for_effects(puzzle, types, moved, row_slot, row_place)
        if moved
        else for_three_cycles(puzzle, types, wanted, row_slot, row_place)
    )
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
        values=channels.values,
        channel_type=channels.types,
        joins=channels.joins,
        wanted=channels.first,
        wanted_end=channels.end,
        differing=channels.differing,
        differing_first=channels.differing_first,
        three_cycles=channels.three_cycles,
        mark=mark,
        mark_bits=mark_bits,
        mark_low=mark_low,
    )
    return Scope(
        puzzle,
        layers,
        kept,
        wanted,
        turns,
        placements,
        symmetries,
        arrays,
        tuple(moved.values()),
        channels.bits,
    )


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
