"""The plain arrays that describe a search to the kernels."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray


class Encoded(NamedTuple):
    """Plain arrays for the kernels; turns, layers and placements are renumbered from 0.

    turn_layer, inverse (T,). first_turn (L+1,): turns of layer l are first_turn[l] to
    first_turn[l+1], by amount. passes (L,): bit m is set if layer m commutes with l, m != l.
    moves (T, P). home (S,), slot_of (P,), twist_of (P,), slot_type (S,).
    type_row (types+1,): first row of each type; type_slot (types+1,): first slot of each type.
    row_slot, row_place (rows,): slot and placement of a row. row_of (S,): the rows of slot s are
    row_of[s] + placement - first placement of the type. type_placement (types+1,).
    conjugate (T, rows). symmetry, symmetry_back (K, T): images of turns under each symmetry, and
    under its inverse.
    values (C, rows): the random value that a row adds to a channel. channel_type (C,).
    joins (J, C): whether join j adds channel c. What join j looks for: pairs that differ in
    differing (J,) pieces of the types wanted (J,) to wanted_end (J,) - 1, in at most
    differing_first (J,) of the first of these; where three_cycles (J,), only three-cycles.
    mark (rows,): a few bits at the place of the row's slot, see ``pairs.may_be_near``; mark_bits,
    mark_low (types,): how many bits a slot has, and the lowest bit of every slot.
    """

    turn_layer: NDArray[np.int64]
    inverse: NDArray[np.int64]
    first_turn: NDArray[np.int64]
    passes: NDArray[np.uint64]
    moves: NDArray[np.int64]
    home: NDArray[np.int64]
    slot_of: NDArray[np.int64]
    twist_of: NDArray[np.int64]
    slot_type: NDArray[np.int64]
    type_row: NDArray[np.int64]
    type_slot: NDArray[np.int64]
    type_placement: NDArray[np.int64]
    row_of: NDArray[np.int64]
    row_slot: NDArray[np.int64]
    row_place: NDArray[np.int64]
    conjugate: NDArray[np.int32]
    symmetry: NDArray[np.int64]
    symmetry_back: NDArray[np.int64]
    values: NDArray[np.uint64]
    channel_type: NDArray[np.int64]
    joins: NDArray[np.bool_]
    wanted: NDArray[np.int64]
    wanted_end: NDArray[np.int64]
    differing: NDArray[np.int64]
    differing_first: NDArray[np.int64]
    three_cycles: NDArray[np.bool_]
    mark: NDArray[np.uint64]
    mark_bits: NDArray[np.int64]
    mark_low: NDArray[np.uint64]


class Triples(NamedTuple):
    """All three-cycles, numbered: type by type, first slot least, first twist 0.

    base (types,): number of a type's first triple; ``number = base + ((a n + b) n + c) t t +
    xb t + xc``. orbit (N,): the orbit, -1 where a slot repeats. symmetry, turned (N,): the symmetry
    that carries the triple, inverted if ``turned``, to the orbit's first. first (orbits, 3):
    placements. places (K, P): images of placements under the scope's symmetries.
    """

    base: NDArray[np.int64]
    orbit: NDArray[np.int32]
    symmetry: NDArray[np.int16]
    turned: NDArray[np.bool_]
    first: NDArray[np.int64]
    places: NDArray[np.int64]


class Shelf(NamedTuple):
    """The best few words of every orbit, in the frame of its first triple, best first.

    cost (orbits, K): what the words are ordered by, NONE where there is none; other (orbits, K):
    the second measure; length (orbits, K); words (orbits, K, LONGEST).
    """

    cost: NDArray[np.int16]
    other: NDArray[np.int16]
    length: NDArray[np.int16]
    words: NDArray[np.uint8]

    def copied(self) -> Shelf:
        """Return a shelf of its own with the same words."""
        return Shelf(self.cost.copy(), self.other.copy(), self.length.copy(), self.words.copy())


#: The longest word that stands in one row of an array of words.
LONGEST = 48
#: A measure that nothing has.
NONE = 32767
