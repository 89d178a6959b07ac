"""What was met in a survey, sorted: what fits the counted pieces, and what is one proposal."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Sequence
from dataclasses import dataclass

from puzzles import wanted_counts
from puzzles.surveying import Seen
from puzzles.unknowns import OpenPuzzle


def fitting(seen: Sequence[Seen], wanted: Sequence[int]) -> list[Seen]:
    """Return what has the wanted counts; only if nothing has, what has them as sums."""
    fits = {own.found.counts: wanted_counts.fit(wanted, own.found.counts) for own in seen}
    direct = [own for own in seen if (fit := fits[own.found.counts]) and not fit.summed]
    return direct or [own for own in seen if fits[own.found.counts] is not None]


@dataclass(frozen=True, eq=False)
class Run:
    """Sizes in a row of the first unknown that give the same puzzle; ``best`` is one of them.

    ``fixed`` says whether the last unknown, if critical, is so whatever the first one is.
    """

    best: Seen
    size: float
    fixed: bool


def runs(puzzle: OpenPuzzle, seen: Sequence[Seen]) -> list[Run]:
    """Join what differs in nothing but the chosen size of the first unknown."""
    if len(puzzle.unknowns) == 1:
        return [Run(own, own.high - own.low, False) for own in seen]
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
            fixed = best.special[0] or best.steady
            result.append(Run(best, sum(x.high - x.low for x in part), fixed))
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
    steady: dict[float, list[Seen]] = defaultdict(list)
    others: list[Seen] = []
    for own in group:
        if own.steady or own.special[0]:
            steady[round(own.bounds[1], 7)].append(own)
        else:
            others.append(own)
    return [*steady.values(), *([others] if others else [])]


def rank(run: Run, wanted: Sequence[int]) -> tuple[object, ...]:
    """Sort key: fewest kinds that were not counted, ranges before exact sizes, the widest first."""
    fit = wanted_counts.fit(wanted, run.best.found.counts)
    assert fit is not None
    # What is exact only together with the other size, hardly anybody builds.
    both = len(run.best.special) > 1 and run.best.special[1] and not run.fixed
    return bool(fit.left), both, len(fit.left), fit.summed, sum(run.best.special), -run.size
