"""One size moved through its range, the others held: ranges between critical sizes, and these.

A look at one size counts the pieces there and finds the nearest critical sizes on both sides; in
between the counts are known to be the same. So the ranges that are not yet known shrink look by
look, the widest first.
"""

from __future__ import annotations

import bisect
import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from puzzles import critical, critical_planes
from puzzles.bodies import Vectors
from puzzles.counting import Counted, Refused, count
from puzzles.symmetry import matrices
from puzzles.unknowns import OpenPuzzle

#: Critical bounds closer than this are one.
_SAME = 1e-8
#: Between two known ranges narrower gaps are left: nobody builds a puzzle in them. On a ball in
#: radians; on a solid all are looked into.
_NARROWEST = math.radians(0.02)
#: The same beside a size that gave no puzzle, beside one where cuts never close, and between two.
_NARROWEST_REFUSED, _NARROWEST_ENDLESS = math.radians(0.5), math.radians(1.5)
_NARROWEST_HOPELESS = math.radians(9)
#: Which part of a gap a look is taken at: the middle would be a special size too often.
_PART = 0.4817
#: How far beyond a critical size the next look is taken.
_STEP = math.radians(0.23)

#: Told before each look; may raise to end the work.
Looking = Callable[[], None]


@dataclass(frozen=True, eq=False)
class Range:
    """Bounds between two critical ones, where all is the same as in one look at ``at``."""

    low: float
    high: float
    at: float
    found: Counted


@dataclass(frozen=True, eq=False)
class Special:
    """A critical bound and the puzzle that it gives, exactly there."""

    at: float
    found: Counted | Refused


@dataclass(eq=False)
class Sweep:
    """What is known when one unknown moves and the bounds of the others stay.

    ``bounds`` are those of all unknowns, of which number ``moving`` does not matter. ``expected``
    are bounds that are critical for sure, because they are on their own.
    """

    puzzle: OpenPuzzle
    bounds: tuple[float, ...]
    moving: int
    looking: Looking
    ranges: list[Range] = field(default_factory=list)
    specials: list[Special] = field(default_factory=list)
    refused: list[tuple[float, Refused]] = field(default_factory=list)
    expected: tuple[float, ...] = ()

    @property
    def least(self) -> float:
        return self.puzzle.unknowns[self.moving].least

    @property
    def most(self) -> float:
        return self.puzzle.unknowns[self.moving].most

    @cached_property
    def matrices(self) -> list[Vectors]:
        """The rotations and reflections that carry the layers to each other."""
        layers = self.puzzle.layers(self.bounds)
        images = {_mark(np.array(x.axis), x.low, x.high, x.steps) for x in layers}
        return [
            matrix
            for matrix in matrices(self.puzzle.body.points)
            if all(
                _mark(matrix @ np.array(x.axis), x.low, x.high, x.steps) in images for x in layers
            )
        ]

    @cached_property
    def _depths(self) -> list[float]:
        """All critical depths of a solid."""
        unknown = self.puzzle.unknowns[self.moving]
        found = critical_planes.critical(
            self.puzzle.body,
            self.puzzle.layers(self.bounds),
            unknown.layers,
            unknown.side,
            self.matrices,
        )
        inner = [x for x in found if self.least + _SAME < x < self.most - _SAME]
        return [self.least, *inner, self.most]

    def _count(self, bound: float) -> Counted | Refused:
        self.looking()
        bounds = list(self.bounds)
        bounds[self.moving] = bound
        return count(self.puzzle, bounds)

    def _ends(self, bound: float, found: Counted) -> tuple[float, float]:
        if found.net is None:
            at = bisect.bisect(self._depths, bound)
            return self._depths[max(at - 1, 0)], self._depths[min(at, len(self._depths) - 1)]
        return critical.between(found.net, bound, self.least, self.most, self.matrices)

    def look(self, bound: float) -> Range | None:
        """Count the pieces at a bound; return the range that it lies in, None for no puzzle."""
        known = self.range_at(bound)
        if known is not None:
            return known
        found = self._count(bound)
        if isinstance(found, Refused):
            self.refused.append((bound, found))
            return None
        low, high = self._ends(bound, found)
        low = max([low, *(x.high for x in self.ranges if x.high <= bound)])
        high = min([high, *(x.low for x in self.ranges if x.low >= bound)])
        # The net is large, and no longer needed.
        result = Range(low, high, bound, replace(found, net=None))
        bisect.insort(self.ranges, result, key=lambda x: x.at)
        return result

    def special(self, bound: float) -> Special:
        """Return what a critical bound gives."""
        for own in self.specials:
            if abs(own.at - bound) < _SAME:
                return own
        found = self._count(bound)
        if isinstance(found, Counted):
            found = replace(found, net=None)
        result = Special(bound, found)
        bisect.insort(self.specials, result, key=lambda x: x.at)
        return result

    def _pending(self) -> float | None:
        """Return a critical bound, expected or known from both sides, not yet looked at."""
        for bound in self.expected:
            if not any(abs(x.at - bound) < _SAME for x in self.specials):
                return bound
        for own in self.ranges:
            for end, side in ((own.low, -1), (own.high, 1)):
                if any(abs(x.at - end) < _SAME for x in self.specials):
                    continue
                last = abs(end - (self.least if side < 0 else self.most)) < _SAME
                ends = [x.high if side < 0 else x.low for x in self.ranges]
                if last or any(abs(x - end) < _SAME for x in ends):
                    return end
        return None

    def range_at(self, bound: float) -> Range | None:
        """Return the known range that a bound lies in."""
        return next((x for x in self.ranges if x.low < bound < x.high), None)

    def gap(self) -> tuple[float, float] | None:
        """Return the widest gap that is worth a look, as its ends; None if there is none."""
        gaps = [(low, high) for low, high, least in self._gaps() if high - low > least]
        return max(gaps, key=lambda x: x[1] - x[0], default=None)

    def _gaps(self) -> list[tuple[float, float, float]]:
        """Return what is not known: where each gap begins and ends, and how wide it must be."""
        if self.puzzle.model.shape != "ball":
            tried = [x.at for x in self.ranges] + [x for x, _ in self.refused]
            return [
                (low, high, 10 * _SAME)
                for low, high in zip(self._depths, self._depths[1:], strict=False)
                if not any(low < x < high for x in tried)
            ]
        marks = [(x.low, x.high, _NARROWEST) for x in self.ranges]
        for at, why in self.refused:
            marks.append((at, at, _NARROWEST_ENDLESS if why.endless else _NARROWEST_REFUSED))
        marks.sort()
        result = []
        at, least = self.least, _NARROWEST
        for low, high, own in [*marks, (self.most, self.most, least)]:
            hopeless = least == own == _NARROWEST_ENDLESS
            result.append((at, low, _NARROWEST_HOPELESS if hopeless else max(least, own)))
            at, least = max(at, high), own
        return result

    def step(self, least: float = 0.0) -> bool:
        """Look into the widest gap wider than a bound, or at a critical bound that gaps left.

        Returns whether there was anything to look at.
        """
        gap = self.gap()
        if gap is not None and gap[1] - gap[0] > least:
            self.look(gap[0] + _PART * (gap[1] - gap[0]))
            return True
        pending = self._pending()
        if pending is not None:
            self.special(pending)
        return pending is not None

    def merged(self) -> list[Range]:
        """Return the ranges, those joined that differ in nothing, their critical bounds neither."""
        result: list[Range] = []
        for own in self.ranges:
            if result and self._same(result[-1], own):
                last = result[-1]
                wider = own.at if own.high - own.low > last.high - last.low else last.at
                result[-1] = Range(last.low, own.high, wider, last.found)
            else:
                result.append(own)
        return result

    def _same(self, one: Range, other: Range) -> bool:
        if other.low - one.high > _SAME or one.found.key != other.found.key:
            return False
        between = [x.found for x in self.specials if abs(x.at - one.high) < _SAME]
        return any(isinstance(x, Counted) and x.key == one.found.key for x in between)

    def own_specials(self) -> list[Special]:
        """Return the critical bounds that give a puzzle other than those on both sides."""
        result = []
        for own in self.specials:
            if not isinstance(own.found, Counted):
                continue
            beside = [
                x.found.key
                for x in self.ranges
                if abs(x.low - own.at) < _SAME or abs(x.high - own.at) < _SAME
            ]
            if own.found.key not in beside:
                result.append(own)
        return result

    def around(self, bound: float) -> Range | None:
        """Return the whole range about a bound in which nothing changes, looking as needed."""
        if self.look(bound) is None:
            return None
        for side in (-1, 1):
            while True:
                own = next(x for x in self.merged() if x.low < bound < x.high)
                end = own.high if side > 0 else own.low
                if abs(end - (self.most if side > 0 else self.least)) < _SAME:
                    break
                there = self.special(end).found
                if isinstance(there, Refused) or there.key != own.found.key:
                    break
                if not self._beyond(end, side) or not self._passed(bound, end, side):
                    break
        return next(x for x in self.merged() if x.low < bound < x.high)

    def _passed(self, bound: float, end: float, side: int) -> bool:
        """Return whether the merged range about a bound now reaches beyond one of its ends."""
        own = next(x for x in self.merged() if x.low < bound < x.high)
        return (own.high - end > _SAME) if side > 0 else (end - own.low > _SAME)

    def _beyond(self, end: float, side: int) -> bool:
        """Find the range just beyond a critical bound; returns whether it was found."""
        step = _STEP
        while step > _NARROWEST / 4:
            bound = end + side * step
            if self.least < bound < self.most:
                beside = self.look(bound)
                near = None if beside is None else (beside.low if side > 0 else beside.high)
                if near is not None and abs(near - end) < _SAME:
                    return True
            step /= 3
        return False


def _mark(axis: Vectors, low: float, high: float, steps: int) -> tuple[object, ...]:
    return (*(np.round(axis, 6) + 0.0).tolist(), low, high, steps)
