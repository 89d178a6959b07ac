"""What is searched after what: levels of half-lengths and, where they find nothing, long arms.

A *level* H joins all words A of up to 2 H / 3 turns; most of its work goes into long A with short
arms. Where puzzles have many layers, levels may take minutes before there is any three-cycle, while
a short A with long arms (``search.nested``) has some at once. A *long step* joins the conjugates
of one family of A by arms of two lengths, r with r or r - 1: those are all rings of such an A with
|Z| = 2 r or 2 r - 1, since Z may be split anywhere.

The next step follows from the shelves alone, so that a stored search can be gone on with and does
not depend on what was asked for. On the 3x3x3 and on other puzzles on which early levels find
something, there are levels and nothing else.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from search import claims, rings
from search.columns import columns
from search.coverage import FAMILIES, Family, LongStep
from search.encoding import Scope
from search.frames import triple
from search.kernels.arms import begin_word
from search.kernels.arrays import NONE
from search.kernels.records import RECORD
from search.nested import words
from search.request import MOST_HALF_LENGTH
from search.rings import (
    Part,
    Slice,
    joined,
    level_cost,
    listing,
    memory,
    parts,
    scratch,
    table_bytes,
    word_counts,
)
from search.shelves import Shelves

#: A level that looks at fewer conjugates than this, some half a minute's work on one core, comes
#: before all long steps. On the puzzles of the catalogue that are cut by planes all types that have
#: rings at all have some by then (the last is on cube-faces-corners, at half-length 8).
PATIENCE = 300_000_000
#: Long steps with more conjugates than this, some hours' work, are not begun.
MOST_CONJUGATES = 100_000_000_000
#: The longest arms of a long step.
MOST_ARM = 6


@dataclass(frozen=True)
class Step:
    """A level, or a long step; ``half_length`` is that of its longest rings.

    ``conjugates``: about how many are looked at. ``cost``: what steps are ordered by.
    """

    half_length: int
    conjugates: float
    cost: float
    long: LongStep | None = None

    @property
    def text(self) -> str:
        """What it is about, for somebody who waits for it."""
        return f"half-length {self.half_length}" if self.long is None else self.long.text

    def listing(self, scope: Scope) -> Iterator[None]:
        """List the words A of the step, which is done once; yield now and then."""
        if self.long is None:
            yield from listing(scope, self.half_length)
        else:
            words(scope, FAMILIES[self.long.family])
            yield

    def parts(self, scope: Scope) -> list[Part]:
        """Return the joins of the step, in order."""
        if self.long is None:
            return parts(scope, self.half_length)
        family, radius1, radius2 = FAMILIES[self.long.family], self.long.radius1, self.long.radius2
        count = len(words(scope, family))
        return [Part(family.length, True, radius1, radius2, radius2, 0, count, family)]

    def joins(self, scope: Scope, threads: int = 1) -> Iterator[Slice]:
        """Do the step in slices, as ``rings.joined`` does."""
        nothing = np.zeros((0, RECORD), dtype=np.uint8)
        for _ in self.listing(scope):
            yield Slice(nothing, 0, 0, 0.0)
        yield from joined(scope, self.parts(scope), threads)


def level_step(scope: Scope, half_length: int) -> Step:
    """Return the step that does all rings of a half-length."""
    conjugates = level_cost(scope, half_length)
    return Step(half_length, conjugates, conjugates)


def next_step(scope: Scope, found: Shelves) -> Step | None:
    """Return what a search without bounds does next; None if nothing is left that fits.

    The next level while it is soon done, and as long as levels prove something and every wanted
    type has a three-cycle; else what costs least among it and the long steps that could shorten
    something.
    """
    following = found.half_length + 1
    fits = following <= MOST_HALF_LENGTH and memory(scope, following) <= rings.MOST_BYTES
    plain = level_step(scope, following) if fits else None
    soon = plain is not None and plain.conjugates < PATIENCE
    if soon or (claims.group_size(scope) is not None and not _missing(scope, found)):
        return plain
    longest = int(found.turns.max(initial=0))
    options = [plain] if plain is not None else []
    options += [
        step
        for step in _long_steps(scope)
        if step.long not in found.steps
        and step.half_length > found.half_length
        and 2 * step.half_length < longest
    ]
    return min(options, key=lambda step: step.cost, default=None)


def _missing(scope: Scope, found: Shelves) -> bool:
    """Return whether there is a wanted type of which no three-cycle is known."""
    enc = scope.arrays
    if not len(found.first):
        return False
    starts = np.array([triple(scope, number)[0] for number in found.first.tolist()])
    kinds = enc.slot_type[enc.slot_of[starts]]
    known = set(kinds[found.turns < NONE].tolist())
    return not set(kinds.tolist()) <= known


@lru_cache(maxsize=16)
def _long_steps(scope: Scope) -> tuple[Step, ...]:
    """Return all long steps that are not too large."""
    return tuple(step for family in FAMILIES.values() for step in _of_family(scope, family))


def _of_family(scope: Scope, family: Family) -> Iterator[Step]:
    """Yield the long steps of a family, by their arms, while their tables fit.

    With n conjugates in the tables and m looked up there are n m pairs for the work of n + m. What
    a step costs is counted as the dearer, the fewer pairs there are for the work: n + m times
    (n + m)^2 / 4 n m; and never as cheaper than a step with shorter arms, which comes before it.
    """
    enc, base, work = scope.arrays, len(columns(scope).start) - 2, scratch(scope)
    # For every cut of every word: whose it is, the layers that arms may not begin with, and the
    # share of first turns that no symmetry makes smaller.
    owner, closed, share = [], [], []
    for number, word in enumerate(words(scope, family)):
        for cut in range(begin_word(enc, work, word, True, True)):
            owner.append(number)
            closed.append(int(work.closed[cut]))
            free = (closed[-1] >> enc.turn_layer & 1 == 0) & ~work.shut[cut]
            share.append(float(work.least[cut][free].sum()) / max(int(free.sum()), 1))
    if not closed:
        return
    known = {state: word_counts(scope, MOST_ARM, state) for state in set(closed)}
    counts = np.array([known[state] for state in closed], dtype=np.float64).T
    cost = 0.0
    for both in range(1, 2 * MOST_ARM + 1):
        radius1, radius2 = (both + 1) // 2, both // 2
        held, looked_up = counts[radius2].sum(), counts[radius1] @ np.array(share)
        conjugates = float(held + looked_up)
        entries = int(np.bincount(owner, counts[radius2]).max())
        blocks = int(np.bincount(owner, counts[max(radius2 - base, 0)]).max())
        needed = table_bytes(entries, blocks, len(enc.wanted))
        if not conjugates or conjugates > MOST_CONJUGATES or needed > rings.MOST_BYTES:
            return
        cost = max(cost, conjugates**3 / max(4.0 * held * looked_up, 1.0))
        long = LongStep(family.name, radius1, radius2)
        yield Step(long.half_length, conjugates, cost, long)
