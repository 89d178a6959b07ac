"""A request's representative: the least of its images under symmetry and inversion.

Askers whose requests are images of each other share one search and one choice of words, which are
carried to each one's frame. What the best words are does not depend on the frame; which of several
as good ones are kept may, so that they are always chosen for the representative.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from puzzles.puzzle import Word
from search import frames
from search.brackets import Form
from search.candidates import words_for
from search.encoding import Scope
from search.frames import Numbers
from search.ranking import Read
from search.shelves import Shelves
from search.traces import alphabet

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
        letters, turns = alphabet(self.scope.puzzle), self._turns
        own = letters.undone(word) if self.turned else word
        return letters.normal([turns[turn] for turn in own])

    def read(self, known: Read) -> Read:
        """Return what such a word is read as, turn by turn what the representative's is."""
        form, turns = known.form, self._turns
        if form is None:
            return known
        setup, a, b = (
            tuple([turns[turn] for turn in part]) for part in (form.setup, form.a, form.b)
        )
        # What [A, B] does is undone by [B, A].
        first, second = (b, a) if self.turned else (a, b)
        return replace(known, form=Form(setup, first, second, form.things))

    @cached_property
    def _turns(self) -> list[int]:
        turns: list[int] = self.scope.symmetries[self.symmetry].turns.tolist()
        return turns


def represented(scope: Scope, triples: Sequence[Triple], any_twist: bool = False) -> Represented:
    """Return the representative of some three-cycles, any of which will do.

    The first one is the one that was asked for, and the representative's first one stands for it;
    with ``any_twist`` its twists do not matter.
    """
    place = np.full(scope.puzzle.placement_count, -1, dtype=np.int64)
    place[scope.placements] = np.arange(len(scope.placements))
    own = place[np.array(triples, dtype=np.int64)]
    # The first way to write a cycle names it: those that are read round differently are one.
    named: dict[int, Triple] = {}
    for number, triple in zip(frames.numbers(scope, own).tolist(), triples, strict=True):
        named.setdefault(number, triple)
    own = place[np.array(list(named.values()), dtype=np.int64)]
    least = min(_rows(scope, own, any_twist))
    chosen = np.array([frames.triple(scope, number) for number in least], dtype=np.int64)
    plain = _plain(scope, own[:1], any_twist)[0]
    asked = sorted(named)
    for k, image in enumerate(frames.places(scope)):
        for turned in (False, True):
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


def _rows(scope: Scope, own: Numbers, any_twist: bool) -> list[tuple[int, ...]]:
    """Return the numbers of the triples' images, the first one's first, the others ascending."""
    images = frames.places(scope)[:, own]
    both = np.concatenate([images, images[..., ::-1]])
    first = _plain(scope, both[:, 0], any_twist)
    numbers = frames.numbers(scope, both)
    candidates = np.flatnonzero(first == first.min())
    rows = []
    for k in candidates.tolist():
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
