"""The catalogue of a scope: shelves filled from rings level by level, and settled with setups."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from search import frames
from search.coverage import LongStep
from search.encoding import Scope
from search.kernels import shelving
from search.kernels import triples as kernels
from search.kernels.arrays import NONE, Triples
from search.shelves import Shelves, empty_shelf

#: Words this much longer, or with this many more things to remember, than the best known are kept.
SLACK_TURNS = 1
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


class Filling:
    """Shelves of one level in the making: rings are put on in any number of steps.

    A word is of use for an orbit while it is not much worse than the best that is known with
    setups, or than the best without: a request may bound the setup.
    """

    def __init__(self, scope: Scope, found: Shelves) -> None:
        self.scope, self.found = scope, found
        self.shortest, self.easiest = found.shortest.copied(), found.easiest.copied()
        own_turns, own_things = self.shortest.cost[:, 0], self.easiest.cost[:, 0]
        self._turns = np.maximum(found.turns, own_turns.astype(np.int64)) + SLACK_TURNS
        self._things = np.maximum(found.things, own_things.astype(np.int64)) + SLACK_THINGS
        self._rings = found.rings

    def put(self, records: NDArray[np.uint8]) -> None:
        """Put rings on, records of shape (n, RECORD), as far as they are of use."""
        self._rings += int(
            shelving.gather(
                self.scope.arrays,
                triples(self.scope),
                self.shortest,
                self.easiest,
                self._turns,
                self._things,
                records,
                0,
                len(records),
            )
        )

    def settled(
        self, half_length: int, steps: tuple[LongStep, ...] = (), astray: bool = False
    ) -> Shelves:
        """Return the shelves, with what setups make of them, as those of the steps done."""
        enc, numbered, found = self.scope.arrays, triples(self.scope), self.found
        turns = np.minimum(self.shortest.cost[:, 0].astype(np.int64), found.turns)
        kernels.settle(enc, numbered, turns, 2)
        things = np.minimum(self.easiest.cost[:, 0].astype(np.int64), found.things)
        kernels.settle(enc, numbered, things, 1)
        return replace(
            found,
            half_length=half_length,
            shortest=self.shortest,
            easiest=self.easiest,
            turns=turns,
            things=things,
            rings=self._rings,
            steps=steps,
            astray=astray,
        )


def with_rings(
    scope: Scope, found: Shelves, records: NDArray[np.uint8], half_length: int
) -> Shelves:
    """Return new shelves with rings put on, as far as they are of use, and setups settled."""
    filling = Filling(scope, found)
    filling.put(records)
    return filling.settled(half_length)
