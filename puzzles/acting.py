"""How layers move points, and the renamings of points and layers that carry one action to another.

Two piece types behave alike if the points of one can be renamed to those of the other so that each
layer becomes a layer, turned by amounts that stay distinct. A renaming is found by naming one
point and then following the layers, each renamed when it is first met: what is left to try is one
point and a few layers, and all else is forced or refuted.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from puzzles.puzzle import Table

#: Points that are renamed before a comparison is given up; the largest that met took 30,000.
MOST_RENAMED = 400_000

#: A layer's new name: the number of the other layer, and how many of its steps make one.
Renamed = tuple[int, int]


@dataclass(frozen=True, eq=False)
class Action:
    """Permutations of points by the steps of some layers; ``steps`` has the shape (layers, points).

    ``names`` are the numbers that layers and points have outside, such as placements.
    """

    steps: Table
    layers: tuple[int, ...]
    points: tuple[int, ...]

    @cached_property
    def cycles(self) -> tuple[tuple[tuple[int, ...], ...], ...]:
        """The cycles of each layer, of two points or more."""
        result = []
        for row in self.steps.tolist():
            seen = [False] * len(row)
            own = []
            for start in range(len(row)):
                cycle = []
                at = start
                while not seen[at]:
                    seen[at] = True
                    cycle.append(at)
                    at = row[at]
                if len(cycle) > 1:
                    own.append(tuple(cycle))
            result.append(tuple(own))
        return tuple(result)

    @cached_property
    def orders(self) -> tuple[int, ...]:
        """The order of each layer's step on these points."""
        return tuple(math.lcm(*(len(c) for c in own)) for own in self.cycles)

    @cached_property
    def powers(self) -> tuple[tuple[list[int], ...], ...]:
        """The images of all points under 0, 1, 2, … steps of each layer, up to its order."""
        result = []
        for row, order in zip(self.steps, self.orders, strict=True):
            own = [np.arange(len(row))]
            for _ in range(order - 1):
                own.append(row[own[-1]])
            result.append(tuple(power.tolist() for power in own))
        return tuple(result)

    @cached_property
    def lengths(self) -> list[list[int]]:
        """How long the cycle of each point is under each layer; (layers, points)."""
        result = []
        for own in self.cycles:
            row = [1] * len(self.points)
            for cycle in own:
                for point in cycle:
                    row[point] = len(cycle)
            result.append(row)
        return result

    @cached_property
    def colours(self) -> list[int]:
        """A number for each point that every renaming keeps, also one to a part of an action.

        It tells the lengths of the cycles of a point, then those of the points in its cycles.
        """
        colours = [
            hash(tuple(sorted(x for x in column if x > 1)))
            for column in zip(*self.lengths, strict=True)
        ] or [0] * len(self.points)
        for _ in range(2):
            around: list[list[tuple[int, ...]]] = [[] for _ in colours]
            for own in self.cycles:
                for cycle in own:
                    colour = tuple(sorted(colours[point] for point in cycle))
                    for point in cycle:
                        around[point].append(colour)
            colours = [hash((c, tuple(sorted(a)))) for c, a in zip(colours, around, strict=True)]
        return colours

    @cached_property
    def signature(self) -> str:
        """What equivalent actions share, in plain text: points, and the cycles of each layer."""
        own = [
            " ".join(f"{n}^{k}" for n, k in sorted(Counter(map(len, cycles)).items()))
            for cycles in self.cycles
        ]
        layers = [f"{k}({text})" for text, k in sorted(Counter(own).items()) if text]
        return f"{len(self.points)}: {' '.join(layers)}"

    def orbits(self) -> list[list[int]]:
        """Return the points that layers join, as numbers here, those that move; largest first."""
        return [o for o in joined_by(self.steps) if len(o) > 1]

    def on(self, points: Iterable[int]) -> Action:
        """Return the action on some points that no layer leads out of, by their numbers here."""
        chosen = sorted(points)
        number = np.full(len(self.points), -1, dtype=np.int32)
        number[chosen] = np.arange(len(chosen))
        return Action(
            number[self.steps[:, chosen]], self.layers, tuple(self.points[p] for p in chosen)
        )

    def distinct(self) -> Action:
        """Return the action with one layer of those that make the same turns, and none still."""
        seen: dict[frozenset[tuple[int, ...]], int] = {}
        for k, powers in enumerate(self.powers):
            if self.orders[k] > 1:
                seen.setdefault(frozenset(map(tuple, powers)), k)
        kept = sorted(seen.values())
        return Action(self.steps[kept], tuple(self.layers[k] for k in kept), self.points)


def joined_by(steps: Table) -> list[list[int]]:
    """Return the sets of points that permutations join, the largest first."""
    label = np.arange(steps.shape[1])
    while True:
        # Labels sink along every layer and against it until nothing changes.
        old = label.copy()
        for row in steps:
            np.minimum.at(label, row, label)
            label = np.minimum(label, label[row])
        if np.array_equal(old, label):
            break
    sets: dict[int, list[int]] = {}
    for point, first in enumerate(label.tolist()):
        sets.setdefault(first, []).append(point)
    return sorted(sets.values(), key=lambda own: (-len(own), own))


@dataclass(frozen=True)
class Renaming:
    """Points and layers of one action as those of another: ``points[p]`` is the new name of p.

    ``layers[l]`` is another layer and how many of its steps make a step of l. Numbers are those
    within the actions.
    """

    points: tuple[int, ...]
    layers: tuple[Renamed, ...]


def renamings(
    one: Action, other: Action, layers: Mapping[int, Renamed] | None = None
) -> Iterator[Renaming]:
    """Yield the renamings of an action that carry it to another, or onto a part of another.

    Every layer of the one becomes a different layer of the other, and every layer of the other is
    met; points of the other may be left over, whole orbits of them. ``layers`` are names that are
    given. Nothing more is yielded when too much was tried.
    """
    if len(one.layers) != len(other.layers) or len(one.points) > len(other.points):
        return
    yield from _Search(one, other, dict(layers or {})).found()


class _Search:
    """One comparison of two actions; what is assigned is undone on the way back."""

    def __init__(self, one: Action, other: Action, given: dict[int, Renamed]) -> None:
        self.one, self.other = one, other
        self.image = [-1] * len(one.points)
        self.taken = [False] * len(other.points)
        self.layer: list[Renamed | None] = [given.get(k) for k in range(len(one.layers))]
        self.used = {m for m, _ in given.values()}
        self.named: list[int] = []
        self.left = MOST_RENAMED
        self.steps: list[list[int]] = one.steps.tolist()
        # Large orbits leave less to try.
        self.order = [p for orbit in joined_by(one.steps) for p in orbit]

    def found(self) -> Iterator[Renaming]:
        layer = self._open_layer()
        if layer is not None:
            yield from self._with_layer(*layer)
            return
        if len(self.named) < len(self.image):
            yield from self._with_point()
            return
        layers = list(self.layer)
        spare = [m for m in range(len(self.other.layers)) if m not in self.used]
        for k, renamed in enumerate(layers):
            if renamed is None:  # It moves nothing that is compared.
                layers[k] = (spare.pop(0), 1)
        yield Renaming(tuple(self.image), tuple(r for r in layers if r is not None))

    def _open_layer(self) -> tuple[int, int] | None:
        """Return a layer without a name that moves a named point, and the point."""
        for point in self.named:
            for k, lengths in enumerate(self.one.lengths):
                if self.layer[k] is None and lengths[point] > 1:
                    return k, point
        return None

    def _with_layer(self, k: int, point: int) -> Iterator[Renaming]:
        image, length = self.image[point], self.one.lengths[k][point]
        order = self.one.orders[k]
        for m, lengths in enumerate(self.other.lengths):
            if m in self.used or lengths[image] != length:
                continue
            for unit in range(1, order):
                if math.gcd(unit, order) == 1 and unit < max(self.other.orders[m], 2):
                    self.layer[k] = (m, unit)
                    self.used.add(m)
                    before = len(self.named)
                    if self._follow(list(self.named), [k]) and self._follow_new(before):
                        yield from self.found()
                    self._undo(before)
                    self.used.discard(m)
                    self.layer[k] = None

    def _with_point(self) -> Iterator[Renaming]:
        point = next(p for p in self.order if self.image[p] < 0)
        colour = self.one.colours[point]
        for image, other in enumerate(self.other.colours):
            if other == colour and not self.taken[image]:
                before = len(self.named)
                self._name(point, image)
                if self._follow_new(before):
                    yield from self.found()
                self._undo(before)

    def _name(self, point: int, image: int) -> None:
        self.image[point] = image
        self.taken[image] = True
        self.named.append(point)

    def _undo(self, before: int) -> None:
        for point in self.named[before:]:
            self.taken[self.image[point]] = False
            self.image[point] = -1
        del self.named[before:]

    def _follow_new(self, begin: int) -> bool:
        """Follow all named layers from the points named since; return whether all fits."""
        layers = [k for k, renamed in enumerate(self.layer) if renamed is not None]
        while begin < len(self.named):
            end = len(self.named)
            if not self._follow(self.named[begin:end], layers):
                return False
            begin = end
        return True

    def _follow(self, points: list[int], layers: list[int]) -> bool:
        """Name what some layers make of some points; return whether all of it fits."""
        colours, others = self.one.colours, self.other.colours
        for k in layers:
            renamed = self.layer[k]
            assert renamed is not None
            m, unit = renamed
            powers = self.other.powers[m]
            there, step = powers[unit % len(powers)], self.steps[k]
            for point in points:
                self.left -= 1
                if self.left < 0:
                    return False
                goal, wanted = step[point], there[self.image[point]]
                if self.image[goal] < 0:
                    if self.taken[wanted] or colours[goal] != others[wanted]:
                        return False
                    self._name(goal, wanted)
                elif self.image[goal] != wanted:
                    return False
        return True
