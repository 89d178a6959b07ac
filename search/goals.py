"""When a search has gone far enough: the wanted cycles proven, or everything up to a bound."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from search import claims, frames
from search.encoding import Scope
from search.kernels.arrays import NONE
from search.request import MOST_HALF_LENGTH, Bounds, Request
from search.setups import within
from search.shelves import Shelves


@dataclass(frozen=True, eq=False)
class Goal:
    """How far to search: to a half-length, or until the best for some orbits is proven.

    ``orbits`` are the numbers of representatives; None for all that there are. ``setup`` bounds
    the turns before the ring, None for any number.
    """

    half_length: int | None
    orbits: NDArray[np.int64] | None
    seconds: float | None
    setup: int | None = None

    def reached(self, scope: Scope, found: Shelves) -> bool:
        """Return whether nothing more has to be searched."""
        if found.half_length >= MOST_HALF_LENGTH:
            return True
        if self.half_length is not None:
            return found.half_length >= self.half_length
        turns = found.turns
        if self.setup is not None:
            own = found.shortest.cost[:, 0].astype(np.int64)
            turns = within(scope, found.first, own, 2, self.setup)
        if self.orbits is not None:
            turns = turns[np.searchsorted(found.first, self.orbits)]
        best = int(turns.min()) if self.orbits is not None else int(turns.max(initial=0))
        if best >= NONE:
            return False
        proven = claims.complete(scope, found.half_length)
        # Where nothing can be claimed, a ring of a larger half-length could still be shorter only
        # by turns that merge; it is looked for up to half of the best that is known.
        return proven >= best if proven is not None else 2 * found.half_length >= best


def goal_of(request: Request, scope: Scope) -> Goal:
    """Return the goal of a request."""
    return goal_for(request.triples(), request.bounds, scope)


def goal_for(triples: Iterable[tuple[int, int, int]], bounds: Bounds, scope: Scope) -> Goal:
    """Return the goal of having any of some three-cycles of the puzzle's placements."""
    place = {int(p): k for k, p in enumerate(scope.placements)}
    own = np.array([[place[p] for p in t] for t in triples], dtype=np.int64)
    orbits = np.unique(frames.representatives(scope, own))
    return Goal(_half_length(bounds, scope), orbits, bounds.time_limit, bounds.setup)


def goal_for_all(bounds: Bounds, scope: Scope) -> Goal:
    """Return the goal of an atlas: every three-cycle of the scope."""
    return Goal(_half_length(bounds, scope), None, bounds.time_limit, bounds.setup)


def _half_length(bounds: Bounds, scope: Scope) -> int | None:
    """Return the half-length that bounds ask for, the smaller of two, None if they leave it open.

    ``turns`` asks for what proves so many executed turns, or, where nothing is claimed, for rings
    of so many.
    """
    if bounds.turns is None:
        return bounds.half_length
    needed = claims.half_length_for(scope, bounds.turns) or (bounds.turns + 1) // 2
    return needed if bounds.half_length is None else min(needed, bounds.half_length)
