"""Counted pieces compared with the counts that a puzzle has: which were counted, and together."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from puzzles.errors import RequestError

#: The most kinds of piece that can be given, and the largest count.
MOST_KINDS, LARGEST = 20, 5000
#: Where more ways to put counts together would have to be tried, they do not fit.
_MOST_TRIED = 20_000


@dataclass(frozen=True)
class Fit:
    """How counted pieces fit a puzzle.

    ``parts[k]`` are the counts that make up the counted number k, one unless several kinds were
    counted together; ``left`` are the counts of pieces that were not counted.
    """

    parts: tuple[tuple[int, ...], ...]
    left: tuple[int, ...]

    @property
    def summed(self) -> int:
        """Return how many kinds were counted together with others."""
        return sum(len(part) - 1 for part in self.parts)


def parsed(text: str) -> tuple[int, ...]:
    """Return counts from text such as ``48 48 12`` or ``48,12``; raises RequestError."""
    words = text.replace(",", " ").split()
    if not words:
        raise RequestError('count: counted pieces were expected, such as --count "48 12"')
    if len(words) > MOST_KINDS:
        raise RequestError(f"count: {len(words)} numbers are given, {MOST_KINDS} at most are used")
    for word in words:
        if not re.fullmatch("[0-9]{1,6}", word, re.ASCII) or not 1 <= int(word) <= LARGEST:
            raise RequestError(
                f"count: {word[:20]!r} was given; numbers of pieces from 1 to {LARGEST:,} were "
                'expected, such as --count "48 12"'
            )
    return tuple(sorted((int(word) for word in words), reverse=True))


def fit(wanted: Sequence[int], counts: Sequence[int]) -> Fit | None:
    """Return how counted numbers are made of a puzzle's counts, None if they are not.

    Every wanted number is a count, or the sum of several, none used twice; as few as possible are
    summed.
    """
    tried = 0
    best: Fit | None = None

    def search(k: int, left: list[int], parts: list[tuple[int, ...]], summed: int) -> None:
        nonlocal tried, best
        tried += 1
        if tried > _MOST_TRIED or (best is not None and summed >= best.summed):
            return
        if k == len(wanted):
            best = Fit(tuple(parts), tuple(left))
            return
        for part in _sums(wanted[k], left):
            rest = list(left)
            for x in part:
                rest.remove(x)
            search(k + 1, rest, [*parts, part], summed + len(part) - 1)

    search(0, sorted(counts, reverse=True), [], 0)
    return best


def _sums(total: int, counts: Sequence[int]) -> list[tuple[int, ...]]:
    """Return the different ways to make a total of counts, those of few first."""
    found: set[tuple[int, ...]] = set()
    steps = 0

    def add(at: int, rest: int, chosen: tuple[int, ...]) -> None:
        nonlocal steps
        steps += 1
        if rest == 0:
            found.add(chosen)
            return
        last = None
        for k in range(at, len(counts)):
            if counts[k] > rest or counts[k] == last or steps > _MOST_TRIED:
                continue
            last = counts[k]
            add(k + 1, rest - counts[k], (*chosen, counts[k]))

    add(0, total, ())
    return sorted(found, key=lambda part: (len(part), part))


def distance(wanted: Sequence[int], counts: Sequence[int]) -> int:
    """Return by how much counts miss the wanted ones, each compared with a count of its own."""
    left = sorted(counts, reverse=True)
    total = 0
    for number in sorted(wanted, reverse=True):
        if not left:
            total += number
            continue
        nearest = min(left, key=lambda x: abs(x - number))
        left.remove(nearest)
        total += abs(nearest - number)
    return total
