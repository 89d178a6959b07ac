"""The catalogue of a scope: shelves filled from rings level by level, and settled with setups."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from search import frames
from search.encoding import Scope
from search.kernels import shelving
from search.kernels import triples as kernels
from search.kernels.arrays import NONE, Triples
from search.shelves import Shelves, empty_shelf

#: Words this much longer, or with this many more things to remember, than the best known are kept.
SLACK_TURNS = 2
SLACK_THINGS = 1


@lru_cache(maxsize=16)
def triples(scope: Scope) -> Triples:
    """Return the numbering of a scope's three-cycles and their orbits."""
    enc = scope.arrays
    base = frames.bases(scope)
    places = frames.places(scope)
    total = int(base[-1])
    orbit = np.full(total, -1, dtype=np.int32)
    symmetry = np.zeros(total, dtype=np.int16)
    turned = np.zeros(total, dtype=np.bool_)
    first = np.zeros((total, 3), dtype=np.int64)
    wanted = np.unique(enc.wanted)
    count = kernels.number_orbits(enc, wanted, base, places, orbit, symmetry, turned, first)
    return Triples(base[:-1].copy(), orbit, symmetry, turned, first[:count].copy(), places)


def empty(scope: Scope) -> Shelves:
    """Return shelves on which nothing stands yet."""
    first = triples(scope).first
    nothing = np.full(len(first), NONE, dtype=np.int64)
    numbers = frames.numbers(scope, first) if len(first) else np.zeros(0, dtype=np.int64)
    return Shelves(
        0, numbers, empty_shelf(len(first)), empty_shelf(len(first)), nothing, nothing.copy()
    )


def with_rings(
    scope: Scope, found: Shelves, records: NDArray[np.uint8], half_length: int
) -> Shelves:
    """Return new shelves with rings put on, as far as they are of use, and setups settled."""
    enc, numbered = scope.arrays, triples(scope)
    shortest, easiest = found.shortest.copied(), found.easiest.copied()
    count = shelving.gather(
        enc,
        numbered,
        shortest,
        easiest,
        found.turns + SLACK_TURNS,
        found.things + SLACK_THINGS,
        records,
        0,
        len(records),
    )
    setup = np.zeros(len(found.turns), dtype=np.int64)
    turns = np.minimum(shortest.cost[:, 0].astype(np.int64), found.turns)
    kernels.settle(enc, numbered, turns, 2, setup)
    things = np.minimum(easiest.cost[:, 0].astype(np.int64), found.things)
    kernels.settle(enc, numbered, things, 1, setup)
    return replace(
        found,
        half_length=half_length,
        shortest=shortest,
        easiest=easiest,
        turns=turns,
        things=things,
        rings=found.rings + int(count),
    )
