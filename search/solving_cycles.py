"""Putting the pieces of one type right by three-cycles: few turns in all, by a beam search.

A three-cycle is worth what it costs against how many more slots look right after it. Of all states
that several three-cycles lead to, the best few are gone on with; where at most five slots are left
wrong, pairs of three-cycles are looked at one by one, since two twisted pieces, or two swaps, have
to get worse before they get better.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from search.atlas_entries import cycles_of
from search.solving_looks import Contents, Looks
from search.tools import UNKNOWN, Tools, possible

#: How many states are gone on with at once, and how many three-cycles are tried from each.
WIDTH, TRIED = 6, 24
#: With so many slots left wrong, pairs of three-cycles are looked at, so many first ones at most.
FEW_WRONG, PAIRS = 5, 400
#: How many slots a three-cycle puts right on the whole, for an estimate of what is still to come.
PUT_RIGHT = 2.2

Numbers = NDArray[np.int64]
Triple = tuple[int, int, int]


@dataclass(frozen=True)
class _State:
    """What is in each slot of the type, how it is twisted, what it cost and what led here."""

    piece: tuple[int, ...]
    twist: tuple[int, ...]
    cost: int
    wrong: int
    done: tuple[Triple, ...]


class Splitter:
    """Splits the contents of one type's slots into three-cycles of a table."""

    def __init__(self, tools: Tools, looks: Looks) -> None:
        self.tools, self.looks = tools, looks
        kind = tools.kind
        self._first, self._n, self._t = kind.first_slot, kind.count, kind.twists
        self._home = tools.puzzle.home[list(kind.slots)].astype(np.int64)
        triples = cycles_of(tools.puzzle, kind)
        cost = tools.cost(triples) if len(triples) else np.zeros(0, dtype=np.int64)
        known = cost < UNKNOWN
        order = np.argsort(cost[known], kind="stable")
        #: All three-cycles with a word, cheapest first, as placements (n, 3), and their costs.
        self.triples: Numbers = triples[known][order]
        self.cost: Numbers = cost[known][order]
        slots = tools.puzzle.slot_of[self.triples].astype(np.int64).reshape(-1, 3) - self._first
        twists = tools.puzzle.twist_of[self.triples].astype(np.int64).reshape(-1, 3)
        shown = self._shown
        after = np.roll(np.arange(3), -1)
        offsets = (twists[:, after] - twists) % self._t % shown
        self._slots = slots
        #: Places in a table of (from, to, twist) of what each of the three pieces does.
        self._moves = (slots * self._n + slots[:, after]) * shown + offsets

    @property
    def _shown(self) -> int:
        return int(self.looks.shown[self._first])

    @cached_property
    def per_piece(self) -> float:
        """About how many turns it takes to put one piece right."""
        return float(self.cost.mean()) / PUT_RIGHT if len(self.cost) else float(UNKNOWN)

    def fills(self, slots: tuple[int, ...]) -> bool:
        """Return whether there are words for all three-cycles of some slots that can be done.

        False where none can be done.
        """
        own, shelves = self.tools.scope, self.tools.shelves
        can_be_done = possible(own, tuple(shelves.first.tolist()))
        if (shelves.turns[can_be_done] >= UNKNOWN).any():
            return False
        inside = np.isin(self._slots + self._first, slots).all(axis=1)
        return bool(inside.any())

    def split(self, contents: Contents) -> tuple[list[Triple], bool]:
        """Return three-cycles that put a type right, in order, and whether they do so wholly."""
        own = slice(self._first, self._first + self._n)
        start = self._state(
            tuple(contents.piece[own].tolist()), tuple(contents.twist[own].tolist()), 0, ()
        )
        best: _State | None = start if not start.wrong else None
        nearest, beam, seen = start, [start], {(start.piece, start.twist): 0}
        for _ in range(2 * self._n + 8):
            if not len(self.cost):
                break
            children: list[_State] = []
            for state in beam:
                gains = self._gains(state)
                ended = self._by_two(state, gains)
                if ended is not None and (best is None or ended.cost < best.cost):
                    best = ended
                children += self._children(state, gains)
            least = float(self.cost[0])
            fresh: list[_State] = []
            for child in sorted(children, key=self._estimate):
                if best is not None and child.cost + least * (child.wrong > 0) >= best.cost:
                    continue
                key = (child.piece, child.twist)
                if seen.get(key, UNKNOWN) <= child.cost:
                    continue
                seen[key] = child.cost
                if not child.wrong:
                    best = child
                    continue
                if child.wrong < nearest.wrong:
                    nearest = child
                fresh.append(child)
                if len(fresh) >= WIDTH:
                    break
            beam = fresh
            if not beam:
                break
        end = best or nearest
        return list(end.done), end.wrong == 0

    def _estimate(self, state: _State) -> tuple[float, tuple[int, ...]]:
        return state.cost + self.per_piece * state.wrong, state.piece

    def _state(
        self, piece: tuple[int, ...], twist: tuple[int, ...], cost: int, done: tuple[Triple, ...]
    ) -> _State:
        every = np.arange(self._n)
        wanted = self._wanted(piece, twist, every, every)
        return _State(piece, twist, cost, int((wanted != 0).sum()), done)

    def _wanted(
        self, piece: tuple[int, ...], twist: tuple[int, ...], here: Numbers, there: Numbers
    ) -> Numbers:
        looks, first = self.looks, self._first
        own = np.array(piece)[here]
        turned = looks.shift[there + first] - looks.shift[own] - np.array(twist)[here]
        return np.where(looks.kind[own] == looks.kind[there + first], turned % self._shown, -1)

    def _fits(self, state: _State) -> NDArray[np.int8]:
        """Return for (from, to, twist) whether what is there then looks right; shape (n, n, t)."""
        every = np.arange(self._n)
        wanted = self._wanted(state.piece, state.twist, every[:, None], every[None, :])
        result: NDArray[np.int8] = (wanted[:, :, None] == np.arange(self._shown)).astype(np.int8)
        return result

    def _gains(self, state: _State) -> NDArray[np.int8]:
        """Return how many more slots are right after each three-cycle."""
        fits = self._fits(state)
        right = np.ascontiguousarray(fits[np.arange(self._n), np.arange(self._n), 0])
        flat = fits.reshape(-1)
        gains = np.zeros(len(self.cost), dtype=np.int8)
        for k in range(3):
            gains += flat[self._moves[:, k]]
            gains -= right[self._slots[:, k]]
        return gains

    def _children(self, state: _State, gains: NDArray[np.int8]) -> list[_State]:
        value = self.cost - self.per_piece * gains
        count = min(TRIED, len(value))
        best = np.argpartition(value, count - 1)[:count]
        return [self._after(state, int(k), int(gains[k])) for k in np.sort(best)]

    def _after(self, state: _State, number: int, gain: int) -> _State:
        """Return the state after a three-cycle of the table."""
        a, b, c = self.triples[number].tolist()
        return self._moved(state, (a, b, c), int(self.cost[number]), gain)

    def _moved(self, state: _State, triple: Triple, cost: int, gain: int) -> _State:
        piece, twist = list(state.piece), list(state.twist)
        puzzle, t = self.tools.puzzle, self._t
        for start, end in zip(triple, triple[1:] + triple[:1], strict=True):
            here = int(puzzle.slot_of[start]) - self._first
            there = int(puzzle.slot_of[end]) - self._first
            piece[there] = state.piece[here]
            offset = int(puzzle.twist_of[end]) - int(puzzle.twist_of[start])
            twist[there] = (state.twist[here] + offset) % t
        total = state.cost + cost
        done = (*state.done, triple)
        return _State(tuple(piece), tuple(twist), total, state.wrong - gain, done)

    def _by_two(self, state: _State, gains: NDArray[np.int8]) -> _State | None:
        """Return what the cheapest pair of three-cycles makes right, None for no such pair."""
        if not 0 < state.wrong <= FEW_WRONG:
            return None
        best: _State | None = None
        for k in np.flatnonzero(gains == state.wrong - 3)[:PAIRS].tolist():
            if best is not None and state.cost + self.cost[k] + self.cost[0] >= best.cost:
                break
            between = self._after(state, k, state.wrong - 3)
            last = self._last(between)
            if last is None:
                continue
            cost = int(self.tools.cost(np.array(last)))
            if cost < UNKNOWN and (best is None or between.cost + cost < best.cost):
                best = self._moved(between, last, cost, 3)
        return best

    def _last(self, state: _State) -> Triple | None:
        """Return the three-cycle that puts the last three slots right, if one does."""
        every = np.arange(self._n)
        slots = np.flatnonzero(self._wanted(state.piece, state.twist, every, every))
        a, b, c = slots.tolist()
        for x, y, z in ((a, b, c), (a, c, b)):
            here, there = np.array([x, y, z]), np.array([y, z, x])
            ab, bc, ca = self._wanted(state.piece, state.twist, here, there).tolist()
            if min(ab, bc, ca) >= 0 and (ab + bc + ca) % self._shown == 0:
                home = self._home
                return (
                    int(home[x]),
                    int(home[y]) + ab,
                    int(home[z]) + (ab + bc) % self._t,
                )
        return None
