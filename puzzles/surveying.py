"""All that is seen of a puzzle with open sizes: one sweep, or for two sizes many, ever closer."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass, field

from puzzles.counting import Counted
from puzzles.sweeping import Looking, Sweep
from puzzles.unknowns import OpenPuzzle

#: Bounds closer than this are one.
_SAME = 1e-9
#: Of a range, these parts at the ends are avoided where a plain size in it is wanted.
_EDGE = 0.2
#: With two unknowns the first is fixed at sizes this far apart at the last; a solid's are shares
#: of its range.
_FINEST, _FINEST_SHARE = math.radians(0.5), 0.01


class EndedError(Exception):
    """The time is over, or somebody wants the work to end."""


@dataclass(frozen=True, eq=False)
class Seen:
    """A puzzle that was met: bounds of all unknowns, which of them are critical, and its counts.

    ``low`` and ``high`` are the range of the unknown number ``moving``, the others held. ``steady``
    says that its bound, if critical, is so whatever those are.
    """

    bounds: tuple[float, ...]
    special: tuple[bool, ...]
    found: Counted
    moving: int
    low: float
    high: float
    steady: bool = False


@dataclass(eq=False)
class Survey:
    """Sweeps over the last unknown, one for each bound of the first that was chosen.

    ``special`` are those of them that are critical whatever the last unknown is.
    ``progress`` is told the share of the work that is done.
    """

    puzzle: OpenPuzzle
    looking: Looking
    progress: Callable[[float], None]
    sweeps: list[Sweep] = field(default_factory=list)
    alone: list[Sweep] = field(default_factory=list)
    special: list[float] = field(default_factory=list)
    complete: bool = False

    def run(self) -> None:
        """Look until all is known, as closely as it is looked; ``looking`` may raise EndedError."""
        if len(self.puzzle.unknowns) == 1:
            sweep = Sweep(self.puzzle, (math.nan,), 0, self.looking)
            self.sweeps.append(sweep)
            self._finished([sweep], 0.0, 0.0, 1.0)
            self.complete = True
            return
        for number in range(2):
            own = Sweep(self.puzzle.only(number), (math.nan,), 0, self.looking)
            self.alone.append(own)
            self._finished([own], 0.0, 0.0, 0.1)
        self._columns()

    def _finished(self, sweeps: list[Sweep], least: float, done: float, share: float) -> None:
        """Step sweeps until no gap is wider than a bound, the widest gap first.

        The work is done so far already, and this is a share of it.
        """
        left = list(sweeps)
        whole = sum(sweep.most - sweep.least for sweep in left)
        while left:
            widths = [_width(sweep) for sweep in left]
            self.progress(done + share * max(0.0, 1 - sum(widths) / whole))
            sweep = left[widths.index(max(widths))]
            if not sweep.step(least):
                left.remove(sweep)

    def _columns(self) -> None:
        """Fix the first unknown at sizes that are special on its own, and at others in between.

        The sizes, and what is looked at for each, come closer level by level.
        """
        first, last = self.puzzle.unknowns
        whole = first.most - first.least
        own = self.alone[0]
        chosen: list[float] = []
        for low, high in self._live():
            chosen.append(plain(self.puzzle, 0, low, high))
            self._column(chosen[-1])
        self.special = [x.at for x in own.specials if isinstance(x.found, Counted)]
        for bound in self._fixed():
            if all(abs(bound - x) > _SAME for x in self.special):
                self.special.append(bound)
        for bound in self.special:
            self._column(bound)
        ball = self.puzzle.model.shape == "ball"
        finest = _FINEST if ball else _FINEST_SHARE * whole
        levels = math.ceil(math.log2(whole / finest))
        for level in range(2, levels + 1):
            width = whole / 2**level
            # A solid's critical depths are known at once, and there are few.
            least = width * (last.most - last.least) / whole if ball else 0.0
            done, share = level / (levels + 1), 1 / (levels + 1)
            self._finished(self.sweeps, least, done, share)
            gaps = self._between(chosen)
            while gaps and gaps[0][1] - gaps[0][0] > width:
                chosen.append(plain(self.puzzle, 0, *gaps[0]))
                self._finished([self._column(chosen[-1])], least, done, share)
                gaps = self._between(chosen)
        self._finished(self.sweeps, 0.0, 1.0, 0.0)
        self.complete = True

    def _fixed(self) -> list[float]:
        """Return known bounds of other layers, which the first unknown may share."""
        first, last = self.puzzle.unknowns
        found: list[float] = []
        for number in last.layers:
            layer = self.puzzle.example[number]
            height = layer.high if last.side == "low" else layer.low
            inside = -1 < height < 1 if first.ball else math.isfinite(height)
            bound = (math.acos(height) if first.ball else height) if inside else first.least
            if first.least < bound < first.most and all(abs(bound - x) > _SAME for x in found):
                found.append(bound)
        return found

    def _live(self) -> list[tuple[float, float]]:
        """Return the ranges of the first unknown in which it may give a puzzle, the widest first.

        Cuts that never close on their own do not with others either; pieces that do not fit may.
        """
        own = self.alone[0]
        ranges = sorted(((x.low, x.high) for x in own.merged()), key=lambda x: x[0] - x[1])
        hopeless = any(why.endless for _, why in own.refused)
        return ranges or ([] if hopeless else [(own.least, own.most)])

    def _between(self, chosen: list[float]) -> list[tuple[float, float]]:
        """Return the gaps between chosen bounds of the first unknown, the widest first."""
        gaps = []
        for low, high in self._live():
            marks = sorted([low, high, *(x for x in chosen if low < x < high)])
            gaps += list(itertools.pairwise(marks))
        return sorted(gaps, key=lambda x: x[0] - x[1])

    def _column(self, bound: float) -> Sweep:
        """Return a new sweep of the last unknown, which knows what that does on its own."""
        last = self.alone[1]
        sweep = Sweep(
            self.puzzle,
            (bound, math.nan),
            1,
            self.looking,
            refused=[x for x in last.refused if x[1].endless],
            expected=tuple(x.at for x in last.specials if isinstance(x.found, Counted)),
        )
        self.sweeps.append(sweep)
        return sweep

    def seen(self) -> list[Seen]:
        """Return all puzzles that were met."""
        result: list[Seen] = []
        for sweep in self.sweeps:
            fixed = sweep.bounds[:-1]
            flags = tuple(x in self.special for x in fixed)
            for own in sweep.merged():
                bounds = (*fixed, own.at)
                result.append(
                    Seen(bounds, (*flags, False), own.found, sweep.moving, own.low, own.high)
                )
            for there in sweep.own_specials():
                assert isinstance(there.found, Counted)
                result.append(
                    Seen(
                        (*fixed, there.at),
                        (*flags, True),
                        there.found,
                        sweep.moving,
                        there.at,
                        there.at,
                        any(abs(x - there.at) < _SAME for x in sweep.expected),
                    )
                )
        return result

    def endless(self) -> int:
        """Return at how many different sizes cuts never closed, or were too many."""
        sweeps = [*self.alone, *self.sweeps]
        return len({id(why) for sweep in sweeps for _, why in sweep.refused if why.endless})


def _width(sweep: Sweep) -> float:
    gap = sweep.gap()
    return 0.0 if gap is None else gap[1] - gap[0]


def plain(puzzle: OpenPuzzle, number: int, low: float, high: float) -> float:
    """Return a bound well inside a range for which the file has a size of few digits."""
    unknown = puzzle.unknowns[number]
    one, other = sorted((unknown.written(low), unknown.written(high)))
    edge = (other - one) * _EDGE
    middle = (one + other) / 2
    for digits in range(9):
        # A whole number of degrees, or a half, is often critical where several sizes meet.
        size = round(middle, digits)
        if one + edge < size < other - edge:
            return unknown.bound(size)
    return (low + high) / 2
