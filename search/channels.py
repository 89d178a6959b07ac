"""What a join adds up: channels of random values, and which of them two conjugates must agree on.

A join finds the pairs of conjugates that agree on the sum of its channels. Where the types that a
wanted effect does not move tell enough apart, there is one join, on all of those. Else the moved
types are cut into *blocks* of slots; an effect that moves m pieces of a type disturbs at most m of
its blocks, and there is one join for every choice of the blocks that are left alone.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from puzzles.puzzle import PieceType, Puzzle

#: Fixed, so that the same search gives the same rings everywhere.
SEED = 20_260_101
#: Where the types that are not moved have fewer arrangements than two to this power, agreeing on
#: them says little, and moved types are joined on blocks of their own slots as well.
ENOUGH_BITS = 24.0
#: The most blocks of a type, and the most joins of one effect. More blocks make more joins with
#: keys that tell more apart.
MOST_BLOCKS, MOST_JOINS = 8, 128


@dataclass(frozen=True, eq=False)
class Channels:
    """Channels and joins, for the kernels (``search.kernels.arrays.Encoded``).

    values (C, rows), types (C,). joins (J, C): which channels each join adds; first, end (J,): the
    types, by their place among the kept ones, that may differ; differing, differing_first (J,):
    in how many pieces of all these types, and in at most how many of the first. three_cycles (J,):
    only three-cycles. ``bits``: about how many bits of what is kept the joins agree on.
    """

    values: NDArray[np.uint64]
    types: NDArray[np.int64]
    joins: NDArray[np.bool_]
    first: NDArray[np.int64]
    end: NDArray[np.int64]
    differing: NDArray[np.int64]
    differing_first: NDArray[np.int64]
    three_cycles: NDArray[np.bool_]
    bits: float


@dataclass(frozen=True)
class _Join:
    members: tuple[int, ...]
    first: int
    end: int
    differing: int
    differing_first: int


class _Making:
    """Channels as they are made: one for each type, then blocks where they are asked for."""

    def __init__(
        self,
        puzzle: Puzzle,
        types: Sequence[PieceType],
        row_slot: NDArray[np.int64],
        row_place: NDArray[np.int64],
    ) -> None:
        random = np.random.default_rng(SEED)
        shape = (puzzle.slot_count, puzzle.placement_count)
        looks = random.integers(0, 2**64, size=shape, dtype=np.uint64)
        self.slots = np.array([s for t in types for s in t.slots])[row_slot]
        places = np.array([p for t in types for p in t.placements])[row_place]
        # The value for "this piece is there" less the one for "at home", so that a piece that
        # stays at home adds nothing.
        self.value = looks[self.slots, places] - looks[self.slots, puzzle.home[self.slots]]
        self.kinds = puzzle.type_of[self.slots]
        self.types = types
        self.channels = [np.where(self.kinds == t.number, self.value, np.uint64(0)) for t in types]
        self.channel_type = list(range(len(types)))

    def blocks(self, local: int, count: int) -> range:
        """Add channels for so many blocks of a type's slots; return their numbers."""
        kind, first = self.types[local], len(self.channels)
        for block in range(count):
            inside = (self.slots - kind.first_slot) % count == block
            own = (self.kinds == kind.number) & inside
            self.channels.append(np.where(own, self.value, np.uint64(0)))
            self.channel_type.append(local)
        return range(first, first + count)

    def made(self, joins: Sequence[_Join], pure: bool, bits: float) -> Channels:
        table = np.zeros((len(joins), len(self.channels)), dtype=np.bool_)
        for k, join in enumerate(joins):
            table[k, list(join.members)] = True

        def column(name: str) -> NDArray[np.int64]:
            return np.array([getattr(join, name) for join in joins], dtype=np.int64)

        return Channels(
            np.array(self.channels),
            np.array(self.channel_type, dtype=np.int64),
            table,
            column("first"),
            column("end"),
            column("differing"),
            column("differing_first"),
            np.full(len(joins), pure),
            bits,
        )


def for_three_cycles(
    puzzle: Puzzle,
    types: Sequence[PieceType],
    wanted: tuple[int, ...],
    row_slot: NDArray[np.int64],
    row_place: NDArray[np.int64],
) -> Channels:
    """Return channels and joins for three-cycles of each of the wanted types, by their numbers."""
    making = _Making(puzzle, types, row_slot, row_place)
    bits = [bits_of(kind) for kind in types]
    joins: list[_Join] = []
    for local, kind in enumerate(types):
        if kind.number not in wanted:
            continue
        others = [k for k in range(len(types)) if k != local]
        blocks = min(MOST_BLOCKS, kind.count)
        if sum(bits[k] for k in others) >= ENOUGH_BITS or blocks <= 3:
            joins.append(_Join(tuple(others), local, local + 1, 3, 3))
            continue
        own = making.blocks(local, blocks)
        joins += [
            _Join((*others, *left_alone), local, local + 1, 3, 3)
            for left_alone in itertools.combinations(own, blocks - 3)
        ]
    return making.made(joins, True, 0.0)


@dataclass(frozen=True)
class Plan:
    """Which types are cut into how many blocks, and the joins: the blocks that each leaves alone.

    ``blocks``: the number of blocks of a type, by its place among the kept ones. ``choices``: for
    each join, pairs of such a type and a block of it; block b has the slots b, b + n, b + 2 n … of
    its type. ``bits``: about how many bits the joins agree on, with all that is not moved.
    """

    blocks: Mapping[int, int]
    choices: tuple[tuple[tuple[int, int], ...], ...]
    bits: float


def plan(types: Sequence[PieceType], moved: Mapping[int, int]) -> Plan:
    """Return how to join for effects that move so many pieces of some types, by their numbers.

    The type that takes the fewest joins to tell enough apart is cut first.
    """
    bits = sum(bits_of(kind) for kind in types if kind.number not in moved)
    choices: list[tuple[tuple[int, int], ...]] = [()]
    blocks: dict[int, int] = {}
    waiting = [local for local, kind in enumerate(types) if kind.number in moved]
    while bits < ENOUGH_BITS and waiting:
        options = [
            (max(ENOUGH_BITS - bits - held, 0.0), math.comb(n, left), local, n, held)
            for local in waiting
            for n, left, held in _cuttings(types[local], moved[types[local].number])
            if math.comb(n, left) * len(choices) <= MOST_JOINS
        ]
        if not options:
            break
        _, _, local, n, held = min(options)
        waiting.remove(local)
        blocks[local] = n
        left = n - moved[types[local].number]
        choices = [
            (*before, *((local, block) for block in left_alone))
            for before in choices
            for left_alone in itertools.combinations(range(n), left)
        ]
        bits += held
    return Plan(blocks, tuple(choices), bits)


def for_effects(
    puzzle: Puzzle,
    types: Sequence[PieceType],
    moved: Mapping[int, int],
    row_slot: NDArray[np.int64],
    row_place: NDArray[np.int64],
) -> Channels:
    """Return channels and joins for effects that move so many pieces of some types.

    ``moved`` gives the number of pieces for the number of a type; these types stand first in
    ``types``.
    """
    making, chosen = _Making(puzzle, types, row_slot, row_place), plan(types, moved)
    count, total = len(moved), sum(moved.values())
    others = tuple(range(count, len(types)))
    channels = {local: making.blocks(local, n) for local, n in chosen.blocks.items()}
    joins = [
        _Join(
            (*others, *(channels[local][block] for local, block in choice)),
            0,
            count,
            total,
            moved[types[0].number],
        )
        for choice in chosen.choices
    ]
    return making.made(joins, False, chosen.bits)


def _cuttings(kind: PieceType, moved: int) -> list[tuple[int, int, float]]:
    """Return the ways to cut a type into blocks: how many, how many are left alone, how many bits.

    The bits are those of the slots in the smallest blocks that may be left alone.
    """
    result = []
    for n in range(moved + 1, min(kind.count, max(MOST_BLOCKS, moved + 2)) + 1):
        sizes = sorted(len(range(block, kind.count, n)) for block in range(n))
        slots = sum(sizes[: n - moved])
        result.append((n, n - moved, bits_of(kind, slots)))
    return result


def bits_of(kind: PieceType, slots: int | None = None) -> float:
    """Return about how many bits tell apart what is in all slots of a type, or in so many."""
    count = kind.count if slots is None else slots
    if kind.count <= 1:
        return count * math.log2(kind.twists)
    ways = math.lgamma(kind.count + 1) - math.lgamma(kind.count - count + 1)
    return ways / math.log(2) + count * math.log2(kind.twists)
