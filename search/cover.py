"""What one favourite sequence reaches: mirrored, held otherwise, undone, begun elsewhere, set up.

All of that but setups makes the *first cases*, which are closed under the symmetries of the scope
and under undoing. A turn of setup t before a sequence that does X, and t' after it, does the effect
that t carries to X. As symmetries carry turns to turns, it is enough to walk from class to class of
``search.cases``: the number of turns of setup is the same for all of a class. The walk goes on
until nothing new is met, so that "never" is proven, and "not within so many turns" as well.

Where turns can be blocked that does not hold: ``search.cover_blocked``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from puzzles.effects import Cycle
from puzzles.errors import LimitError
from puzzles.puzzle import Word
from puzzles.words import normal
from search.cases import UNKNOWN, Cases
from search.favourite import Favourite
from search.frames import Numbers
from search.starts import Start, starts
from search.waymarks import Turned, Turner

#: The most setups of one class that are compared.
COMPARED = 6
#: What no number of setup turns reaches.
NEVER = -1


@dataclass(frozen=True)
class Way:
    """One way to a case: setup, then the favourite from a start, turned, then the setup undone."""

    setup: Word
    start: int
    turned: Turned
    word: Word


@dataclass(frozen=True)
class Entry:
    """A case with the way to it: ``cycles`` of the puzzle's placements."""

    cycles: tuple[Cycle, ...]
    way: Way


@dataclass(frozen=True, eq=False)
class Cover:
    """What a favourite reaches with at most ``setup`` turns of setup.

    ``levels`` (classes,) is the number of setup turns for each class of ``cases``, NEVER for those
    that only other favourites were seen to reach. ``closed``: the walk came to its end, so that
    what is not in ``levels`` is never reached. ``ways``: the best of each class within ``setup``.
    ``tried``, where turns can be blocked: setups of up to so many turns were all tried.
    """

    favourite: Favourite
    setup: int
    cases: Cases
    starts: tuple[Start, ...]
    levels: Numbers
    closed: bool
    ways: dict[int, list[Way]] = field(repr=False)
    tried: int | None = None

    @cached_property
    def counts(self) -> tuple[int, ...]:
        """How many cases need 0, 1, 2 … turns of setup, up to the largest that was met."""
        most = int(self.levels.max(initial=NEVER))
        return tuple(
            sum(self.cases.size(k) for k in np.flatnonzero(self.levels == level).tolist())
            for level in range(most + 1)
        )

    @property
    def reached(self) -> int:
        """How many cases are reached within ``setup`` turns."""
        return sum(self.counts[: self.setup + 1])

    def level(self, rows: Numbers) -> Numbers:
        """Return the setup turns of effects (n, m), NEVER for those that were not met."""
        classes = self.cases.known(rows)
        # What was met later than the walk, and at the end what was not met at all.
        levels = np.full(len(self.cases) + 1, NEVER, dtype=np.int64)
        levels[: len(self.levels)] = self.levels
        result: Numbers = levels[classes]
        return result

    @cached_property
    def entries(self) -> tuple[Entry, ...]:
        """All cases that are reached within ``setup`` turns, in order of their cycles."""
        result = own_entries(self.favourite, self.cases, self.ways)
        check(self.favourite, result)
        return tuple(result)


def own_entries(favourite: Favourite, cases: Cases, ways: dict[int, list[Way]]) -> list[Entry]:
    """Return an entry for each case of some classes, from the ways to one of each class."""
    puzzle, turner = favourite.puzzle, Turner.of(favourite.scope)
    best: dict[int, tuple[tuple[object, ...], Way, Turned, Numbers, Turned]] = {}
    for number, own in ways.items():
        for key, rows, image in cases.members(number):
            there = turner.way(image)
            for way in own:
                turned = turner.then(way.turned, there)
                rank = _preferred(turner, way, turned)
                if key not in best or rank < best[key][0]:
                    best[key] = rank, way, turned, rows, there
    result = []
    for _, way, turned, rows, there in best.values():
        setup = turner.turn(way.setup, there.symmetry)
        word = normal(puzzle, turner.apply(way.word, there))
        result.append(Entry(cases.cycles(rows), Way(setup, way.start, turned, word)))
    result.sort(key=lambda entry: entry.cycles)
    return result


def _preferred(turner: Turner, way: Way, turned: Turned) -> tuple[object, ...]:
    """Return what decides between ways with as much setup: first of all, begun where it is known.

    Then few turns, then nothing that has to be turned over in the mind.
    """
    mirrored = turner.mirrors(turned)
    known = (mirrored, turned.undone, turned.symmetry != 0, way.start, turned.symmetry)
    return (way.start > 0, len(way.word), *known)


def cover(favourite: Favourite, setup: int, stop: Callable[[], bool] = lambda: False) -> Cover:
    """Return what a favourite reaches; raises LimitError for what is too much.

    ``stop()`` ends the walk beyond ``setup`` turns early. Not for puzzles whose turns can be
    blocked.
    """
    cases = Cases(favourite.scope, favourite.types)
    every = tuple(starts(favourite.puzzle, favourite.word))
    first = cases.of_effect(favourite.puzzle.effect(favourite.word))
    rows = np.array([cases.carried(first, one.moved) for one in every], dtype=np.int64)
    bases = cases.classes(rows)
    levels, closed = walk(cases, bases, setup, None, lambda level: level >= setup and stop())
    own = Cover(favourite, setup, cases, every, levels, closed, {})
    own.ways.update(_ways(own, rows, bases))
    return own


def walk(
    cases: Cases,
    bases: Numbers,
    needed: int,
    most: int | None,
    stop: Callable[[int], bool] = lambda level: False,
) -> tuple[Numbers, bool]:
    """Return the setup turns of each class from some, and whether nothing is left beyond.

    ``most`` bounds them; ``stop`` is asked before each number of turns. Raises LimitError where
    there is too much within ``needed`` turns; beyond them the walk ends there.
    """
    found = dict.fromkeys(bases.tolist(), 0)
    row, level = list(found), 0
    while row and level != most and not stop(level):
        try:
            after = cases.after(np.array(row, dtype=np.int64))
        except LimitError:
            if level < needed:
                raise
            break
        level += 1
        row = [k for k in np.unique(after).tolist() if k not in found]
        found.update(dict.fromkeys(row, level))
    levels = np.full(len(cases), NEVER, dtype=np.int64)
    levels[list(found)] = list(found.values())
    return levels, not row


def _ways(own: Cover, rows: Numbers, bases: Numbers) -> dict[int, list[Way]]:
    """Return the best ways to one effect of each class within the bound, the best first."""
    cases, puzzle, scope = own.cases, own.favourite.puzzle, own.favourite.scope
    turner = Turner.of(scope)
    result: dict[int, list[Way]] = {}
    for start, (number, there) in enumerate(zip(bases.tolist(), rows, strict=True)):
        # Back from this effect to that of its class: which image of the start's effect is it?
        images = cases.keys(cases.images[:, there])
        image = int(np.flatnonzero(images == cases.keys(cases.rows_of(number)))[0])
        turned = turner.way(image)
        word = turner.apply(own.starts[start].word, turned)
        result.setdefault(number, []).append(Way((), start, turned, normal(puzzle, word)))
    for number, ways in result.items():
        result[number] = _best(turner, ways)
    for level in range(1, own.setup + 1):
        for number in np.flatnonzero(own.levels == level).tolist():
            result[number] = _best(turner, _through(own, turner, number, level, result))
    return result


def _through(
    own: Cover, turner: Turner, number: int, level: int, before: dict[int, list[Way]]
) -> list[Way]:
    """Return the ways to a class by one turn more of setup."""
    cases, puzzle, scope = own.cases, own.favourite.puzzle, own.favourite.scope
    after, rows, result = cases.before(number), cases.rows_of(number), []
    for turn, other in enumerate(after.tolist()):
        if other == UNKNOWN or own.levels[other] != level - 1:
            continue
        there = turner.way(cases.image_to(other, scope.arrays.conjugate[turn][rows]))
        step = int(scope.turns[turn])
        for way in before[other]:
            setup = normal(puzzle, (step, *turner.turn(way.setup, there.symmetry)))
            word = turner.apply(way.word, there)
            word = normal(puzzle, (step, *word, *puzzle.inverse((step,))))
            result.append(Way(setup, way.start, turner.then(way.turned, there), word))
    return result


def _best(turner: Turner, ways: list[Way]) -> list[Way]:
    """Return the best few of some ways to the same effect, the best first."""
    ordered = sorted(
        set(ways),
        key=lambda w: (*_preferred(turner, w, w.turned), w.setup, w.word),
    )
    return ordered[:COMPARED]


def check(favourite: Favourite, entries: list[Entry]) -> None:
    """Apply every word once more; raises RuntimeError unless it does its cycles and no more."""
    from puzzles.effects import effect_of_cycles

    puzzle, kept = favourite.puzzle, favourite.scope.placements
    still = np.arange(puzzle.placement_count)
    moves = np.concatenate([puzzle.moves, still[None, :]])
    for part in _parts(entries):
        longest = max(len(entry.way.word) for entry in part)
        words = np.array(
            [e.way.word + (len(moves) - 1,) * (longest - len(e.way.word)) for e in part]
        )
        ends = np.tile(kept, (len(part), 1))
        for column in words.T:
            ends = moves[column[:, None], ends]
        wanted = np.array([effect_of_cycles(puzzle, entry.cycles).table for entry in part])
        if not np.array_equal(ends, wanted[:, kept]):
            raise RuntimeError("a sequence of a cover does not do what is said of it")


def _parts(entries: list[Entry], size: int = 512) -> Iterator[list[Entry]]:
    for begin in range(0, len(entries), size):
        yield entries[begin : begin + size]
