"""The best sequences for every three-cycle of a scope: shelves filled from rings, and setups."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from search.encoding import Scope
from search.kernels import triples as kernels
from search.kernels.triples import NONE, Shelf, Triples
from search.kernels.words import LONGEST

#: How many words are kept for an orbit of three-cycles, of the shortest and of the easiest each.
KEPT = 12
#: Words this much longer, or with this many more things to remember, than the best known are kept.
SLACK_TURNS = 2
SLACK_THINGS = 1


@lru_cache(maxsize=16)
def triples(scope: Scope) -> Triples:
    """Return the numbering of a scope's three-cycles and their orbits."""
    enc = scope.arrays
    counts = enc.type_slot[1:] - enc.type_slot[:-1]
    twists = (enc.type_placement[1:] - enc.type_placement[:-1]) // np.maximum(counts, 1)
    wanted = np.unique(enc.wanted)
    sizes = np.where(np.isin(np.arange(len(counts)), wanted), counts**3 * twists**2, 0)
    base = np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)
    place = np.full(scope.puzzle.placement_count, -1, dtype=np.int64)
    place[scope.placements] = np.arange(len(scope.placements))
    places = np.array([place[s.placements[scope.placements]] for s in scope.symmetries])
    total = int(base[-1])
    orbit = np.full(total, -1, dtype=np.int32)
    symmetry = np.zeros(total, dtype=np.int16)
    turned = np.zeros(total, dtype=np.bool_)
    first = np.zeros((total, 3), dtype=np.int64)
    count = kernels.number_orbits(enc, wanted, base, places, orbit, symmetry, turned, first)
    return Triples(base[:-1].copy(), orbit, symmetry, turned, first[:count].copy(), places)


def empty_shelf(scope: Scope) -> Shelf:
    """Return a shelf without words for every orbit of a scope."""
    shape = (len(triples(scope).first), KEPT)
    return Shelf(
        np.full(shape, NONE, dtype=np.int16),
        np.full(shape, NONE, dtype=np.int16),
        np.zeros(shape, dtype=np.int16),
        np.zeros((*shape, LONGEST), dtype=np.uint8),
    )


@dataclass(eq=False)
class Shelves:
    """What a search has found so far: the shortest and the easiest words of every orbit.

    ``turns`` and ``things`` (orbits,) are the best measures with setups, NONE where there is none.
    """

    scope: Scope
    shortest: Shelf
    easiest: Shelf
    turns: NDArray[np.int64]
    things: NDArray[np.int64]


def shelves(scope: Scope) -> Shelves:
    """Return empty shelves for a scope."""
    count = len(triples(scope).first)
    nothing = np.full(count, NONE, dtype=np.int64)
    return Shelves(scope, empty_shelf(scope), empty_shelf(scope), nothing, nothing.copy())


def add(found: Shelves, records: NDArray[np.uint8]) -> None:
    """Put rings on the shelves, as far as they are of use, and settle the setups."""
    scope = found.scope
    numbered = triples(scope)
    kernels.gather(
        scope.arrays,
        numbered,
        found.shortest,
        found.easiest,
        found.turns + SLACK_TURNS,
        found.things + SLACK_THINGS,
        records,
        0,
        len(records),
    )
    setup = np.zeros(len(found.turns), dtype=np.int64)
    found.turns[:] = found.shortest.cost[:, 0]
    kernels.settle(scope.arrays, numbered, found.turns, 2, setup)
    found.things[:] = found.easiest.cost[:, 0]
    kernels.settle(scope.arrays, numbered, found.things, 1, setup)
