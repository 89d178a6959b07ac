"""Open sizes of a puzzle found from counted pieces: ranges that give the counts, and examples."""

from __future__ import annotations

import contextlib
import math
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from puzzles import file, wanted_counts
from puzzles.exact_sizes import Named, decimal, formula
from puzzles.range_tests import one_range, together, two_ranges
from puzzles.seen_runs import Run, fitting, rank, runs
from puzzles.surveying import EndedError, Seen, Survey, plain
from puzzles.unknowns import OpenPuzzle
from puzzles.wanted_counts import Fit

#: Which share of the time is spent on looking for puzzles; the rest goes into their ranges.
_SURVEY = 0.65
#: How many of the nearest counts are named where none are right.
_NEAREST = 3

#: Told the share of the work that is done, and how many fitting puzzles were met.
Progress = Callable[[float, int], None]


@dataclass(frozen=True)
class Size:
    """What a proposal says about one open size, in degrees or as the plain number it is.

    ``exact`` if only this very size gives the puzzle; else it is an ``example`` out of the range
    from ``low`` to ``high``, which holds for the other sizes as in their examples. ``entry`` stands
    in the file. The formulas are None where none is known.
    """

    words: str
    key: str
    angle: bool
    exact: bool
    example: float
    entry: str
    low: float
    high: float
    low_formula: str | None
    high_formula: str | None


@dataclass(frozen=True, eq=False)
class Proposal:
    """Sizes that give the counts, the puzzle's model with them, and how the counts fit.

    ``together`` are the ranges in which all sizes may be chosen freely, as far as was tested; None
    where that was not tested. ``checked`` says whether the ranges were tested at all.
    """

    counts: tuple[int, ...]
    fit: Fit
    sizes: tuple[Size, ...]
    model: file.PuzzleModel
    together: tuple[tuple[float, float], ...] | None
    checked: bool

    @property
    def pieces(self) -> int:
        return sum(self.counts)


@dataclass(frozen=True, eq=False)
class Nearest:
    """Counts that are not those that were wanted, and entries of a file that give them."""

    counts: tuple[int, ...]
    entries: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Found:
    """What was found: the likeliest first; ``left_out`` proposals more would be there.

    ``complete`` says whether all was looked at; ``looks`` counts how often pieces were counted,
    ``met`` the different counts that were met, ``endless`` the looks at which cuts never closed.
    """

    proposals: tuple[Proposal, ...]
    left_out: int
    nearest: tuple[Nearest, ...]
    complete: bool
    looks: int
    met: int
    endless: int


class _Clock:
    """Counts looks, and ends the work when it is time."""

    def __init__(
        self, seconds: float | None, most: int | None, stop: Callable[[], bool] | None
    ) -> None:
        self.looks = 0
        self._end = math.inf if seconds is None else time.monotonic() + seconds
        self._survey = math.inf if seconds is None else self._end - (1 - _SURVEY) * seconds
        self._most = math.inf if most is None else most
        self._stop = stop
        self.surveying = True

    def __call__(self) -> None:
        now = time.monotonic()
        if (
            (self._stop is not None and self._stop())
            or (self.surveying and (now > self._survey or self.looks >= self._most))
            or now > self._end
        ):
            raise EndedError
        self.looks += 1


def find(
    puzzle: OpenPuzzle,
    wanted: Sequence[int],
    seconds: float | None = None,
    looks: int | None = None,
    most: int = 6,
    stop: Callable[[], bool] | None = None,
    progress: Progress | None = None,
) -> Found:
    """Return proposals for the open sizes of a puzzle that has the wanted numbers of pieces.

    It ends after some seconds, some looks, when ``stop`` says so, or when all is looked at: with
    one open size that is soon, with two after very long. At most ``most`` proposals are made.
    """
    clock = _Clock(seconds, looks, stop)
    survey = Survey(puzzle, clock, lambda share: None)

    def told(share: float) -> None:
        if progress is not None:
            progress(share, len(fitting(survey.seen(), wanted)))

    survey.progress = told
    with contextlib.suppress(EndedError):
        survey.run()
    clock.surveying = False
    seen = survey.seen()
    found = sorted(runs(puzzle, fitting(seen, wanted)), key=lambda run: rank(run, wanted))
    return Found(
        tuple(_proposal(puzzle, run, wanted, clock) for run in found[:most]),
        max(0, len(found) - most),
        () if found else tuple(_nearest(puzzle, seen, wanted)),
        survey.complete,
        clock.looks,
        len({own.found.counts for own in seen}),
        survey.endless(),
    )


def _proposal(puzzle: OpenPuzzle, run: Run, wanted: Sequence[int], clock: _Clock) -> Proposal:
    """Return a proposal with ranges as closely as time allows."""
    own = run.best
    ranges: list[tuple[float, float]] = [(x, x) for x in own.bounds]
    ranges[own.moving] = (own.low, own.high)
    checked = False
    bounds = own.bounds
    if not own.special[own.moving]:
        bounds = (*own.bounds[:-1], plain(puzzle, own.moving, own.low, own.high))
    box = None
    try:
        if len(ranges) == 1:
            bounds, ranges = one_range(puzzle, own, clock)
        else:
            bounds, ranges = two_ranges(puzzle, run, clock)
        checked = True
        if len(ranges) == 2 and not any(own.special):
            box = together(puzzle, bounds, own.found, ranges, clock)
    except EndedError:
        # What the survey has seen is right, too; only the ranges may be wider.
        pass
    fit = wanted_counts.fit(wanted, own.found.counts)
    assert fit is not None
    sizes = tuple(
        _size(puzzle, n, bounds, own.special[n], ranges[n]) for n in range(len(puzzle.unknowns))
    )
    free = None
    if box is not None:
        free = tuple(
            (min(ends), max(ends))
            for ends in (
                (u.written(low), u.written(high))
                for u, (low, high) in zip(puzzle.unknowns, box, strict=True)
            )
        )
    model = puzzle.filled([size.entry for size in sizes])
    return Proposal(own.found.counts, fit, sizes, model, free, checked)


def _size(
    puzzle: OpenPuzzle,
    number: int,
    bounds: Sequence[float],
    exact: bool,
    range_: tuple[float, float],
) -> Size:
    """Return what is said about one unknown."""
    unknown = puzzle.unknowns[number]
    known = _known(puzzle, number, bounds)
    bound = bounds[number]
    entry = formula(puzzle, unknown, bound, known) if exact else None
    ends = sorted(range_, key=unknown.written)
    formulas = [None if exact else formula(puzzle, unknown, end, known) for end in ends]
    return Size(
        words=unknown.words,
        key=unknown.key,
        angle=unknown.angle,
        exact=exact,
        example=unknown.written(bound),
        entry=entry or unknown.filled(decimal(unknown, bound)),
        low=unknown.written(ends[0]),
        high=unknown.written(ends[1]),
        low_formula=formulas[0],
        high_formula=formulas[1],
    )


def _known(puzzle: OpenPuzzle, number: int, bounds: Sequence[float]) -> list[Named]:
    """Return angles of other layers with what they are called: the plain ones."""
    if puzzle.model.shape != "ball":
        return []
    result: list[Named] = []
    for n, (unknown, bound) in enumerate(zip(puzzle.unknowns, bounds, strict=True)):
        if n != number and unknown.angle:
            text = decimal(unknown, bound, 4)
            if abs(math.radians(float(text.removesuffix("deg"))) - bound) < 1e-12:
                result.append((text, bound))
    for layer in puzzle.example:
        for height in (layer.low, layer.high):
            if not -1 < height < 1:
                continue
            degrees = math.degrees(math.acos(height))
            text = f"{round(degrees, 4):g}deg"
            if abs(degrees - round(degrees, 4)) < 1e-10 and all(text != x for x, _ in result):
                result.append((text, math.radians(round(degrees, 4))))
    return result


def _nearest(puzzle: OpenPuzzle, seen: Sequence[Seen], wanted: Sequence[int]) -> list[Nearest]:
    """Return the counts that come nearest to the wanted ones."""
    result: dict[tuple[int, ...], Seen] = {}
    for own in sorted(seen, key=lambda x: -(x.high - x.low)):
        result.setdefault(own.found.counts, own)
    order = sorted(result, key=lambda counts: wanted_counts.distance(wanted, counts))
    found = []
    for counts in order[:_NEAREST]:
        own = result[counts]
        bounds = list(own.bounds)
        if not own.special[own.moving]:
            bounds[own.moving] = plain(puzzle, own.moving, own.low, own.high)
        sizes = [_size(puzzle, n, bounds, own.special[n], (x, x)) for n, x in enumerate(bounds)]
        found.append(Nearest(counts, tuple(size.entry for size in sizes)))
    return found
