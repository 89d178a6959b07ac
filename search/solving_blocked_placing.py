"""Putting the units of one kind right by three-cycles, for few turns: greedy, with some chance.

A cycle is worth what it puts right less what it spoils; of all cycles the one with the fewest turns
for each unit is done next. Which is best in the long run is not known, so it is done several times
with costs that are shaken a little, and the cheapest row of cycles is taken.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from puzzles.stopping import look
from search.solving_blocked_cycles import UNKNOWN, Cycles, Numbers

#: How often a kind is put right, and how far costs are shaken, as a share.
TRIES = 12
SHAKEN = 0.35
#: Costs are divided by the gain to this power, to prefer cycles that put more than one unit right.
GAIN = 1.15


@dataclass(frozen=True)
class Row:
    """Numbers of three-cycles that put a kind right, done in order, and their turns together."""

    cycles: tuple[int, ...]
    turns: int


class Placing:
    """Puts the units of a kind right with the three-cycles of a table."""

    def __init__(self, cycles: Cycles) -> None:
        self.cycles, self.kind = cycles, cycles.kind
        known = cycles.numbering.valid() & (cycles.cost < UNKNOWN)
        self.numbers = np.flatnonzero(known)
        self._cost = cycles.cost[self.numbers].astype(np.float64)
        t = self.kind.twists
        triples = cycles.numbering.triples()[self.numbers]
        a, b, c = (triples // t).T
        y, z = triples[:, 1] % t, triples[:, 2] % t
        # Entries of a table (from slot, to slot, twist): what becomes of the three.
        self._hops = tuple(
            self._entry(start, end, twist % t)
            for start, end, twist in ((a, b, y), (b, c, z - y), (c, a, -z))
        )
        self._slots = (a, b, c)
        self.looks = np.array(self.kind.looks)

    def _entry(self, start: Numbers, end: Numbers, twist: Numbers) -> Numbers:
        n, t = self.kind.count, self.kind.twists
        result: Numbers = (start * n + end) * t + twist
        return result

    def right(self, content: NDArray[np.int64], twist: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Return in which slots what is there looks right."""
        return np.asarray((self.looks[content] == self.looks) & (twist == 0))

    def row(self, points: NDArray[np.integer], random: np.random.Generator) -> Row | None:
        """Return three-cycles that put the kind right, None if they cannot.

        ``points`` (units of the kind,): where each stands, counted from the kind's first point.
        """
        t = self.kind.twists
        content = np.empty(self.kind.count, dtype=np.int64)
        twist = np.empty(self.kind.count, dtype=np.int64)
        content[points // t] = np.arange(self.kind.count)
        twist[points // t] = points % t
        best: Row | None = None
        for k in range(TRIES):
            shaken = self._cost
            if k:
                shaken = shaken * (1 + SHAKEN * random.random(len(shaken)))
            found = self._tried(content.copy(), twist.copy(), shaken)
            if found is not None and (best is None or found.turns < best.turns):
                best = found
            if best is not None and not best.cycles:
                break
        return best

    def _tried(
        self, content: NDArray[np.int64], twist: NDArray[np.int64], cost: NDArray[np.float64]
    ) -> Row | None:
        done: list[int] = []
        turns = 0
        while True:
            look()
            right = self.right(content, twist)
            if right.all():
                return Row(tuple(done), turns)
            if not len(self.numbers):
                return None
            gain = self._gains(content, twist, right)
            useful = np.flatnonzero(gain > 0)
            if len(useful):
                worth = cost[useful] / gain[useful].astype(np.float64) ** GAIN
                chosen = [int(useful[worth.argmin()])]
            else:
                chosen = self._twisted(content, twist, cost)
                if not chosen:
                    return None
            for k in chosen:
                self._do(content, twist, k)
                done.append(int(self.numbers[k]))
                turns += int(self._cost[k])

    def _gains(
        self, content: NDArray[np.int64], twist: NDArray[np.int64], right: NDArray[np.bool_]
    ) -> NDArray[np.int64]:
        """Return how many more units are right after each of the cycles."""
        t = self.kind.twists
        fits = self.looks[content][:, None] == self.looks[None, :]
        turned = (twist[:, None] + np.arange(t)[None, :]) % t == 0
        table = (fits[:, :, None] & turned[:, None, :]).reshape(-1)
        a, b, c = self._slots
        before = right.astype(np.int64)
        result: NDArray[np.int64] = -(before[a] + before[b] + before[c])
        for hop in self._hops:
            result += table[hop]
        return result

    def _do(self, content: NDArray[np.int64], twist: NDArray[np.int64], k: int) -> None:
        t = self.kind.twists
        a, b, c = (int(slots[k]) for slots in self._slots)
        hops = [int(hop[k]) % t for hop in self._hops]
        was = content[[a, b, c]].copy(), twist[[a, b, c]].copy()
        for slot, start, hop in ((b, 0, 0), (c, 1, 1), (a, 2, 2)):
            content[slot] = was[0][start]
            twist[slot] = (was[1][start] + hops[hop]) % t

    def _twisted(
        self, content: NDArray[np.int64], twist: NDArray[np.int64], cost: NDArray[np.float64]
    ) -> list[int]:
        """Return two three-cycles that together untwist one unit, in the place of another.

        All units that are wrong are in their slots, twisted; where an odd rearrangement is left,
        no three-cycles mend it, and nothing is returned.
        """
        t = self.kind.twists
        wrong = np.flatnonzero(~self.right(content, twist))
        if (self.looks[content[wrong]] != self.looks[wrong]).any() or len(wrong) < 2:
            return []
        u = int(wrong[0])
        d = int(-twist[u]) % t
        every = np.full(self.cycles.numbering.size, np.inf)
        every[self.numbers] = cost
        best: tuple[float, int, int] = (np.inf, -1, -1)
        y, z = (g.reshape(-1) for g in np.meshgrid(np.arange(t), np.arange(t), indexing="ij"))
        home = np.full(t * t, u * t)
        for v in wrong[1:].tolist():
            for w in set(range(self.kind.count)) - {u, v}:
                # The first takes P to Q to R; the second undoes it and twists u by d, v by -d.
                at_v, at_w = v * t + y, w * t + z
                for first, second in (
                    ((home, at_v, at_w), (at_v, home + d, w * t + (z + d) % t)),
                    ((home, at_w, at_v), (at_w, home + d, at_v)),
                ):
                    one, two = (
                        self.cycles.numbering.number(np.stack(way, axis=1))
                        for way in (first, second)
                    )
                    sums = every[one] + every[two]
                    k = int(sums.argmin())
                    if sums[k] < best[0]:
                        best = (float(sums[k]), int(one[k]), int(two[k]))
        if not np.isfinite(best[0]):
            return []
        return [int(np.searchsorted(self.numbers, number)) for number in best[1:]]
