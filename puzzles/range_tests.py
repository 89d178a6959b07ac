"""The ranges of a proposal, tested: how far each size may go, and both together."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from puzzles.counting import Counted, Refused, count
from puzzles.seen_runs import Run
from puzzles.surveying import Seen, plain
from puzzles.sweeping import Range, Sweep
from puzzles.unknowns import OpenPuzzle

#: A range is tested at points this share of it inside its ends.
_INSIDE = 0.03
#: How often a range or a box that does not hold what it should is made smaller.
_SHRUNK, _SMALLER = 6, 0.6

#: Bounds of all unknowns, and their ranges.
Bounds = tuple[float, ...]
Ranges = list[tuple[float, float]]


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


def one_range(puzzle: OpenPuzzle, own: Seen, clock: Callable[[], None]) -> tuple[Bounds, Ranges]:
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


def two_ranges(puzzle: OpenPuzzle, run: Run, clock: Callable[[], None]) -> tuple[Bounds, Ranges]:
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
    puzzle: OpenPuzzle,
    bounds: tuple[float, ...],
    moving: int,
    found: Counted,
    clock: Callable[[], None],
) -> Range | None:
    sweep = Sweep(puzzle, bounds, moving, clock)
    own = sweep.around(bounds[moving])
    return own if own is not None and own.found.key == found.key else None


def together(
    puzzle: OpenPuzzle,
    bounds: Sequence[float],
    found: Counted,
    ranges: Sequence[tuple[float, float]],
    clock: Callable[[], None],
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
