"""A request's representative: the least of its images under symmetry and inversion.

Askers whose requests are images of each other share one search and one choice of words, which are
carried to each one's frame. What the best words are does not depend on the frame; which of several
as good ones are kept may, so that they are always chosen for the representative.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np

from puzzles.puzzle import Word
from search import frames
from search.candidates import words_for
from search.carrying import Carrying, keeping_looks
from search.encoding import Scope
from search.frames import Numbers
from search.ranking import Read
from search.request import Request
from search.shelves import Shelves

Triple = tuple[int, int, int]


@dataclass(frozen=True, eq=False)
class Represented:
    """Three-cycles of placements, and what they are images of.

    ``triples`` are the representative's, ``images`` what each of them becomes when it is carried by
    ``symmetry`` (a number in ``scope.symmetries``), read backwards if ``turned``.
    """

    scope: Scope
    triples: tuple[Triple, ...]
    images: tuple[Triple, ...]
    symmetry: int
    turned: bool

    def carried(self, word: Iterable[int]) -> Word:
        """Return what a word of the representative becomes, in normal form."""
        return self._way.carried(word)

    def read(self, known: Read) -> Read:
        """Return what such a word is read as, turn by turn what the representative's is."""
        return self._way.read(known)

    @cached_property
    def _way(self) -> Carrying:
        return Carrying(self.scope.puzzle, self.scope.symmetries[self.symmetry], self.turned)


def of_request(request: Request) -> Represented:
    """Return the representative of a request, which is a request as well.

    Where like pieces may change places, only symmetries count that leave like pieces alike, and
    where they do, the cycle is not undone: undoing a cycle of looks takes other cycles of pieces.
    """
    scope, triples = request.scope(), request.triples()
    like = request.alike and any(
        scope.puzzle.alike[s] != s for k in scope.kept for s in scope.puzzle.types[k].slots
    )
    undoing = not like or len(triples) == len(replace(request, alike=False).triples())
    ways = _keeping_looks(scope) if like else tuple(range(len(scope.symmetries)))
    return represented(scope, triples, request.any_twist, undoing, ways)


@lru_cache(maxsize=32)
def _keeping_looks(scope: Scope) -> tuple[int, ...]:
    """Return the places of the scope's symmetries that carry like pieces to like pieces."""
    return keeping_looks(scope.puzzle, scope.kept, scope.symmetries)


def represented(
    scope: Scope,
    triples: Sequence[Triple],
    any_twist: bool = False,
    undoing: bool = True,
    ways: Sequence[int] | None = None,
) -> Represented:
    """Return the representative of some three-cycles, any of which will do.

    The first one is the one that was asked for, and the representative's first one stands for it;
    with ``any_twist`` its twists do not matter. ``ways`` are the places of the symmetries that
    count, None for all; with ``undoing``, cycles that are read backwards count as images, too.
    """
    place = np.full(scope.puzzle.placement_count, -1, dtype=np.int64)
    place[scope.placements] = np.arange(len(scope.placements))
    own = place[np.array(triples, dtype=np.int64)]
    # The first way to write a cycle names it: those that are read round differently are one.
    named: dict[int, Triple] = {}
    for number, triple in zip(frames.numbers(scope, own).tolist(), triples, strict=True):
        named.setdefault(number, triple)
    own = place[np.array(list(named.values()), dtype=np.int64)]
    numbered = range(len(scope.symmetries)) if ways is None else ways
    images = frames.places(scope)[list(numbered)]
    least = min(_rows(scope, images[:, own], any_twist, undoing))
    chosen = np.array([frames.triple(scope, number) for number in least], dtype=np.int64)
    plain = _plain(scope, own[:1], any_twist)[0]
    asked = sorted(named)
    for k, image in zip(numbered, images, strict=True):
        for turned in (False, True) if undoing else (False,):
            there = image[chosen][:, ::-1] if turned else image[chosen]
            numbers = frames.numbers(scope, there)
            same = sorted(numbers.tolist()) == asked
            if same and _plain(scope, there[:1], any_twist)[0] == plain:
                return Represented(
                    scope,
                    tuple((a, b, c) for a, b, c in scope.placements[chosen].tolist()),
                    tuple(named[number] for number in numbers.tolist()),
                    k,
                    turned,
                )
    raise RuntimeError("the symmetries of the puzzle carry no image of a request back to it")


def _rows(scope: Scope, images: Numbers, any_twist: bool, undoing: bool) -> list[tuple[int, ...]]:
    """Return the numbers of images (ways, n, 3) of triples: the first one's, the others ascending.

    Only the images in which the first one has the least number.
    """
    if undoing:
        images = np.concatenate([images, images[..., ::-1]])
    first = _plain(scope, images[:, 0], any_twist)
    numbers = frames.numbers(scope, images)
    rows = []
    for k in np.flatnonzero(first == first.min()).tolist():
        lead = int(first[k])
        rows.append((lead, *sorted(n for n in numbers[k].tolist() if n != lead)))
    return rows


def _plain(scope: Scope, triples: Numbers, any_twist: bool) -> Numbers:
    """Return the numbers of triples (n, 3), without their twists where these do not matter."""
    if any_twist:
        triples = scope.arrays.home[scope.arrays.slot_of[triples]]
    return frames.numbers(scope, triples)


def words_of(
    scope: Scope,
    shelves: Shelves,
    triples: Iterable[Triple],
    setup: int | None = None,
    turns: int | None = None,
) -> dict[Word, int]:
    """Return words from shelves, and which of some three-cycles of placements each of them does.

    ``setup`` bounds the turns of setup, ``turns`` the executed turns.
    """
    result: dict[Word, int] = {}
    for number, triple in enumerate(triples):
        for word in words_for(scope, shelves, triple, setup):
            if turns is None or len(word) <= turns:
                result.setdefault(word, number)
    return result
