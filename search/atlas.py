"""The catalogue of a scope: shelves filled from rings level by level, and settled with setups."""

from __future__ import annotations

from collections.abc import Generator, Iterator
from dataclasses import replace
from functools import lru_cache
from typing import NamedTuple, cast

import numpy as np
from numpy.typing import NDArray

from search import frames
from search.coverage import LongStep
from search.encoding import Scope
from search.kernels import shelving
from search.kernels import triples as kernels
from search.kernels.arrays import LONGEST, NONE, Shelf, Triples
from search.shelves import Shelves, empty_shelf

#: Words this much longer, or with this many more things to remember, than the best known are kept.
SLACK_TURNS = 1
SLACK_THINGS = 1
#: Orbits that are compared with what stood there before at once.
ROWS = 1_000


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


class Words(NamedTuple):
    """Words of many orbits, as ``Shelf`` has them: orbits, costs, others, lengths (n,), words."""

    orbits: NDArray[np.int64]
    costs: NDArray[np.int16]
    others: NDArray[np.int16]
    lengths: NDArray[np.int16]
    words: NDArray[np.uint8]


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
        self.rings = found.rings

    def put(self, records: NDArray[np.uint8]) -> None:
        """Put rings on, records of shape (n, RECORD), as far as they are of use."""
        for _ in self.putting(records):
            pass

    def putting(self, records: NDArray[np.uint8]) -> Iterator[None]:
        """Do what ``put`` does, and yield now and then; what was put stays if nobody goes on."""
        at = 0
        while at < len(records):
            at = self.gather(records, at)
            yield

    def gather(self, records: NDArray[np.uint8], at: int) -> int:
        """Put some rings on, from one on; return which is the next."""
        at, rings = shelving.gather(
            self.scope.arrays,
            triples(self.scope),
            self.shortest,
            self.easiest,
            self._turns,
            self._things,
            records,
            at,
            len(records),
        )
        self.rings += int(rings)
        return at

    def put_words(self, shortest: Words, easiest: Words, rings: int) -> None:
        """Put on what stands on other shelves of the same step, from so many rings of use."""
        shelving.put_all(self.shortest, *shortest)
        shelving.put_all(self.easiest, *easiest)
        self.rings += rings

    def new_words(self) -> tuple[Words, Words]:
        """Return what stands on the shelves and did not before, orbit by orbit, best first."""
        found = self.found
        return _new(self.shortest, found.shortest), _new(self.easiest, found.easiest)

    def settled(
        self, half_length: int, steps: tuple[LongStep, ...] = (), astray: bool = False
    ) -> Shelves:
        """Return the shelves, with what setups make of them, as those of the steps done."""
        return finish(self.settling(half_length, steps, astray))

    def settling(
        self, half_length: int, steps: tuple[LongStep, ...] = (), astray: bool = False
    ) -> Generator[None, None, Shelves]:
        """Do what ``settled`` does, and yield now and then."""
        enc, numbered, found = self.scope.arrays, triples(self.scope), self.found
        turns = np.minimum(self.shortest.cost[:, 0].astype(np.int64), found.turns)
        things = np.minimum(self.easiest.cost[:, 0].astype(np.int64), found.things)
        for best, weight in ((turns, 2), (things, 1)):
            while kernels.settle(enc, numbered, best, weight):
                yield
        return replace(
            found,
            half_length=half_length,
            shortest=self.shortest,
            easiest=self.easiest,
            turns=turns,
            things=things,
            rings=self.rings,
            steps=steps,
            astray=astray,
        )


def no_words() -> Words:
    """Return no words at all."""
    small = np.zeros(0, dtype=np.int16)
    return Words(np.zeros(0, np.int64), small, small, small, np.zeros((0, LONGEST), np.uint8))


def finish(work: Generator[None, None, Shelves]) -> Shelves:
    """Return what a generator returns in the end."""
    while True:
        try:
            next(work)
        except StopIteration as end:
            return cast(Shelves, end.value)


def _new(shelf: Shelf, before: Shelf) -> Words:
    """Return the words of a shelf that did not stand on it before."""
    changed = np.flatnonzero(
        (shelf.cost != before.cost).any(axis=1)
        | (shelf.other != before.other).any(axis=1)
        | (shelf.words != before.words).any(axis=(1, 2))
    )
    orbits, places = [np.zeros(0, dtype=np.int64)], [np.zeros(0, dtype=np.int64)]
    for begin in range(0, len(changed), ROWS):
        rows = changed[begin : begin + ROWS]
        # Every word now against every one before, (rows, now, before).
        same = (shelf.words[rows][:, :, None, :] == before.words[rows][:, None, :, :]).all(axis=3)
        for one, other in ((shelf.cost, before.cost), (shelf.other, before.other)):
            same &= one[rows][:, :, None] == other[rows][:, None, :]
        row, place = np.nonzero(~same.any(axis=2) & (shelf.cost[rows] != NONE))
        orbits.append(rows[row])
        places.append(place)
    own = np.concatenate(orbits), np.concatenate(places)
    return Words(
        own[0].astype(np.int64),
        shelf.cost[own],
        shelf.other[own],
        shelf.length[own],
        shelf.words[own],
    )


def with_rings(
    scope: Scope, found: Shelves, records: NDArray[np.uint8], half_length: int
) -> Shelves:
    """Return new shelves with rings put on, as far as they are of use, and setups settled."""
    filling = Filling(scope, found)
    filling.put(records)
    return filling.settled(half_length)
