"""Open sizes of a puzzle found from counted pieces: ranges that give the counts, and examples."""

from __future__ import annotations

import contextlib
import math
import time
from collections import defaultdict
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass

from puzzles import file, wanted_counts
from puzzles.counting import Counted, Refused, count
from puzzles.exact_sizes import Named, decimal, formula
from puzzles.surveying import EndedError, Seen, Survey, plain
from puzzles.sweeping import Range, Sweep
from puzzles.unknowns import OpenPuzzle
from puzzles.wanted_counts import Fit

#: Which share of the time is spent on looking for puzzles; the rest goes into their ranges.
_SURVEY = 0.65
#: A range is tested at points this share of it inside its ends.
_INSIDE = 0.03
#: How often a range or a box that does not hold what it should is made smaller.
_SHRUNK, _SMALLER = 6, 0.6
#: Critical bounds closer than this are one.
_AGREE = 1e-7
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
            progress(share, len(_fitting(survey.seen(), wanted)))

    survey.progress = told
    with contextlib.suppress(EndedError):
        survey.run()
    clock.surveying = False
    seen = survey.seen()
    runs = _runs(puzzle, _fitting(seen, wanted))
    runs.sort(key=lambda run: _rank(run, wanted))
    return Found(
        tuple(_proposal(puzzle, run, wanted, clock) for run in runs[:most]),
        max(0, len(runs) - most),
        () if runs else tuple(_nearest(puzzle, seen, wanted)),
        survey.complete,
        clock.looks,
        len({own.found.counts for own in seen}),
        survey.endless(),
    )


def _fitting(seen: Sequence[Seen], wanted: Sequence[int]) -> list[Seen]:
    """Return what has the wanted counts; only if nothing has, what has them as sums."""
    fits = {own.found.counts: wanted_counts.fit(wanted, own.found.counts) for own in seen}
    direct = [own for own in seen if (fit := fits[own.found.counts]) and not fit.summed]
    return direct or [own for own in seen if fits[own.found.counts] is not None]


@dataclass(frozen=True, eq=False)
class _Run:
    """Sizes in a row of the first unknown that give the same puzzle; ``best`` is one of them.

    ``fixed`` says whether the last unknown, if critical, is so whatever the first one is.
    """

    best: Seen
    size: float
    fixed: bool


def _runs(puzzle: OpenPuzzle, seen: Sequence[Seen]) -> list[_Run]:
    """Join what differs in nothing but the chosen size of the first unknown."""
    if len(puzzle.unknowns) == 1:
        return [_Run(own, own.high - own.low, False) for own in seen]
    groups: dict[Hashable, list[Seen]] = defaultdict(list)
    for own in seen:
        first = round(own.bounds[0], 7) if own.special[0] else None
        groups[own.found.counts, own.found.key, own.special, first].append(own)
    result = []
    for group in groups.values():
        group.sort(key=lambda x: x.bounds[0])
        for part in _specials(group) if group[0].special[1] else _ranges(group):
            best = max(part, key=lambda x: x.high - x.low)
            if best.special[1]:
                best = part[len(part) // 2]
            same = abs(part[0].bounds[1] - part[-1].bounds[1]) < _AGREE
            fixed = best.special[0] or (same and len(part) > 1)
            result.append(_Run(best, sum(x.high - x.low for x in part), fixed))
    return result


def _ranges(group: Sequence[Seen]) -> list[list[Seen]]:
    """Part what stands in a row where the ranges of the last unknown do not overlap."""
    parts: list[list[Seen]] = []
    for own in group:
        last = parts[-1][-1] if parts else None
        if last is not None and own.low <= last.high and last.low <= own.high:
            parts[-1].append(own)
        else:
            parts.append([own])
    return parts


def _specials(group: Sequence[Seen]) -> list[list[Seen]]:
    """Join those for which the last unknown is critical at one size, and all others together.

    For the others the critical size depends on the first unknown, where that is not critical.
    """
    parts: list[list[Seen]] = []
    for own in sorted(group, key=lambda x: x.bounds[1]):
        if parts and own.bounds[1] - parts[-1][0].bounds[1] < _AGREE:
            parts[-1].append(own)
        else:
            parts.append([own])
    if group[0].special[0]:
        return parts
    alone = [part[0] for part in parts if len(part) == 1]
    found = [part for part in parts if len(part) > 1]
    if alone:
        found.append(sorted(alone, key=lambda x: x.bounds[0]))
    return found


def _rank(run: _Run, wanted: Sequence[int]) -> tuple[object, ...]:
    """Sort key: fewest kinds that were not counted, ranges before exact sizes, the widest first."""
    fit = wanted_counts.fit(wanted, run.best.found.counts)
    assert fit is not None
    # What is exact only together with the other size, hardly anybody builds.
    both = len(run.best.special) > 1 and run.best.special[1] and not run.fixed
    return bool(fit.left), both, len(fit.left), fit.summed, sum(run.best.special), -run.size


def _proposal(puzzle: OpenPuzzle, run: _Run, wanted: Sequence[int], clock: _Clock) -> Proposal:
    """Return a proposal with ranges as closely as time allows."""
    own = run.best
    ranges: list[tuple[float, float]] = [(x, x) for x in own.bounds]
    ranges[own.moving] = (own.low, own.high)
    bounds, checked = own.bounds, False
    together = None
    try:
        if len(ranges) == 1:
            bounds, ranges = _one(puzzle, own, clock)
        else:
            bounds, ranges = _two(puzzle, run, clock)
            if not any(own.special):
                together = _together(puzzle, bounds, own.found, ranges, clock)
        checked = True
    except EndedError:
        # What the survey has seen is right, too; only the ranges may be wider.
        pass
    fit = wanted_counts.fit(wanted, own.found.counts)
    assert fit is not None
    sizes = tuple(
        _size(puzzle, n, bounds, own.special[n], ranges[n]) for n in range(len(puzzle.unknowns))
    )
    box = None
    if together is not None:
        pairs = [
            sorted((u.written(low), u.written(high)))
            for u, (low, high) in zip(puzzle.unknowns, together, strict=True)
        ]
        box = tuple((low, high) for low, high in pairs)
    model = puzzle.filled([size.entry for size in sizes])
    return Proposal(own.found.counts, fit, sizes, model, box, checked)


def _alike(
    puzzle: OpenPuzzle,
    bounds: Sequence[float],
    found: Counted,
    clock: Callable[[], None],
    delicate: bool = False,
) -> bool:
    """Return whether bounds give the same puzzle, as far as counting tells.

    With ``delicate``, cuts may lie too close to each other for a puzzle there.
    """
    clock()
    there = count(puzzle, bounds)
    if isinstance(there, Refused):
        return delicate and not there.endless
    return there.key == found.key


def _one(
    puzzle: OpenPuzzle, own: Seen, clock: _Clock
) -> tuple[tuple[float, ...], list[tuple[float, float]]]:
    """Test the range of a single unknown; choose a plain size in it."""
    if own.special[0]:
        return own.bounds, [(own.low, own.high)]
    low, high = own.low, own.high
    (at,) = own.bounds
    ends = []
    delicate = puzzle.model.accept is None and puzzle.model.accept_gap is None
    for end in (low, high):
        # Where pieces fit only roughly, they may cease to fit within a range.
        for _ in range(_SHRUNK):
            if _alike(puzzle, (end + _INSIDE * (at - end),), own.found, clock, delicate):
                break
            end += (1 - _SMALLER) * (at - end)
        ends.append(end)
    chosen = plain(puzzle, 0, ends[0], ends[1])
    if not _alike(puzzle, (chosen,), own.found, clock):
        chosen = at
    return (chosen,), [(ends[0], ends[1])]


def _two(
    puzzle: OpenPuzzle, run: _Run, clock: _Clock
) -> tuple[tuple[float, ...], list[tuple[float, float]]]:
    """Find the range of each of two unknowns where the other is as in an example."""
    own = run.best
    first, last = own.bounds
    if not own.special[1]:
        chosen = plain(puzzle, 1, own.low, own.high)
        last = chosen if _alike(puzzle, (first, chosen), own.found, clock) else last
    ranges = [(first, first), (own.low, own.high)]
    # A size that is critical only together with the other stays one as the other moves along.
    if not own.special[0] and (run.fixed or not own.special[1]):
        across = _around(puzzle, (first, last), 0, own.found, clock)
        if across is not None:
            ranges[0] = (across.low, across.high)
            chosen = plain(puzzle, 0, across.low, across.high)
            if _alike(puzzle, (chosen, last), own.found, clock):
                first = chosen
    if not own.special[1]:
        along = _around(puzzle, (first, last), 1, own.found, clock)
        if along is not None:
            ranges[1] = (along.low, along.high)
    return (first, last), ranges


def _around(
    puzzle: OpenPuzzle, bounds: tuple[float, ...], moving: int, found: Counted, clock: _Clock
) -> Range | None:
    sweep = Sweep(puzzle, bounds, moving, clock)
    own = sweep.around(bounds[moving])
    return own if own is not None and own.found.key == found.key else None


def _together(
    puzzle: OpenPuzzle,
    bounds: Sequence[float],
    found: Counted,
    ranges: Sequence[tuple[float, float]],
    clock: _Clock,
) -> tuple[tuple[float, float], ...] | None:
    """Return ranges of two unknowns whose corners, and the middles between, are all alike."""
    share = 1.0
    for _ in range(_SHRUNK):
        box = [
            (at + share * (low - at), at + share * (high - at))
            for at, (low, high) in zip(bounds, ranges, strict=True)
        ]
        inner = [
            (low + _INSIDE * (high - low), at, high - _INSIDE * (high - low))
            for at, (low, high) in zip(bounds, box, strict=True)
        ]
        points = [(x, y) for x in inner[0] for y in inner[1] if (x, y) != tuple(bounds)]
        if all(_alike(puzzle, point, found, clock) for point in points):
            return tuple(box)
        share *= _SMALLER
    return None


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
