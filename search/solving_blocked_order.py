"""In which order kinds of units are put right by three-cycles, and which kinds that cannot be.

A kind is put right by three-cycles that leave the kinds before it alone and do anything to those
after it, as long as parities and twist sums stay. The kinds of which not every three-cycle has a
word are *stubborn*: they come first, by products of loops.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import dataclass, field

from search.solving_blocked_cycles import Cycles
from search.solving_blocked_near import Found, Near
from search.solving_blocked_nested import Gathered, rounds

#: Kinds of which all orders are looked at; of more, the cheapest is taken for the end, and so on.
MOST_ORDERED = 4


@dataclass(frozen=True, eq=False)
class Order:
    """The stubborn kinds by number, and the others in order with their tables of three-cycles."""

    stubborn: tuple[int, ...]
    cycles: dict[int, Cycles]


@dataclass(eq=False)
class _Tables:
    """Tables of three-cycles, made when they are needed."""

    near: Near
    gathered: Gathered
    loops: dict[tuple[int, frozenset[int]], Found]
    made: dict[tuple[int, frozenset[int]], Cycles] = field(default_factory=dict)

    def table(self, kind: int, kept: Iterable[int]) -> Cycles:
        """Return the three-cycles of a kind that leave the kept kinds alone."""
        key = kind, frozenset(kept) - {kind}
        if key not in self.made:
            if key not in self.loops:
                self.loops[key] = self.near.three_cycles(*key)
            more = self.gathered.three_cycles(*key)
            self.made[key] = Cycles(self.near, kind, self.loops[key], more)
        return self.made[key]

    def turns(self, kind: int, kept: Iterable[int]) -> float:
        """Return about how many turns a kind takes."""
        return self.table(kind, kept).mean * self.near.shapes.kinds[kind].count

    def cheapest(self, kinds: tuple[int, ...]) -> dict[int, Cycles] | None:
        """Return the cheapest order of all kinds, None if there is none."""
        best: tuple[float, dict[int, Cycles]] | None = None
        for order in itertools.permutations(kinds):
            # From the end: the more is kept, the fewer loops there are and the sooner none do.
            places = reversed([*enumerate(order)])
            if not all(self.table(kind, order[:k]).complete for k, kind in places):
                continue
            turns = sum(self.turns(kind, order[:k]) for k, kind in enumerate(order))
            if best is None or turns < best[0]:
                best = turns, {kind: self.table(kind, order[:k]) for k, kind in enumerate(order)}
        return None if best is None else best[1]

    def from_the_end(self, kinds: tuple[int, ...]) -> Order:
        """Return an order in which the kind that is cheapest with all others kept is the last."""
        left, row = list(kinds), dict[int, Cycles]()
        while True:
            able = [kind for kind in left if self.table(kind, left).complete]
            if not able:
                turned = {kind: row[kind] for kind in reversed(row)}
                return Order(tuple(left), turned)
            kind = min(able, key=lambda one: self.turns(one, left))
            row[kind] = self.table(kind, left)
            left.remove(kind)


def order_of(near: Near) -> Order:
    """Return the order of the kinds of a puzzle; commutators are looked at where loops do not do.

    A kind with one slot is not among them: its twist sum says all about it.
    """
    kinds = tuple(number for number, kind in enumerate(near.shapes.kinds) if kind.count > 1)
    later = rounds(near)
    tables = _Tables(near, Gathered(), {})
    while True:
        # Some kind must come last.
        if any(tables.table(kind, kinds).complete for kind in kinds):
            if len(kinds) <= MOST_ORDERED:
                cheapest = tables.cheapest(kinds)
                if cheapest is not None:
                    return Order((), cheapest)
            else:
                found = tables.from_the_end(kinds)
                if not found.stubborn:
                    return found
        more = next(later, None) if kinds else None
        if more is None:
            return tables.from_the_end(kinds)
        tables = _Tables(near, more, tables.loops)
