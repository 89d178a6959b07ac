"""Which second favourite goes best beside a first one: of the words that a search has found.

Every word on the shelves is a candidate; of those that reach the same first cases only the one with
the fewest things to remember. Each is walked from as the first favourite was, up to as many turns
of setup; where turns can be blocked, each is tried turn by turn. The best covers most of what is
left; then the one with which the setups of all cases, each by the favourite that needs less, are
fewest in sum; then the one with the fewest things.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from puzzles import brackets
from puzzles.puzzle import Puzzle, Word
from puzzles.words import normal
from search.cover import NEVER, Cover, walk
from search.cover_blocked import blocked_cover
from search.favourite import read_tree
from search.frames import Numbers
from search.kernels.arrays import NONE, Shelf
from search.nesting import things
from search.shelves import Shelves
from search.starts import starts

#: The most candidates that are compared, those with the fewest things first.
MOST_CANDIDATES = 3_000
#: The same where turns can be blocked.
MOST_BLOCKED = 60
#: Words that are looked at together.
AT_ONCE = 256
#: The most second favourites that are returned.
MOST_SECOND = 8


@dataclass(frozen=True)
class Candidate:
    """A word for a second favourite, how many things it is, and the classes of its first cases."""

    word: Word
    things: int
    bases: frozenset[int]


@dataclass(frozen=True)
class Second:
    """A second favourite: ``covers`` cases that the first leaves, ``both`` in all with the first.

    ``setups`` is the sum of the setup turns of the cases that both reach together, each by the one
    that needs less; ``alone`` what it reaches without the first.
    """

    word: Word
    notation: str
    things: int
    covers: int
    both: int
    alone: int
    setups: int


@dataclass(frozen=True)
class Compared:
    """How far the comparing is: candidates done, of how many, and the best so far, best first."""

    done: int
    of: int
    best: tuple[Second, ...]


def candidates(
    own: Cover, found: Shelves, stop: Callable[[], bool] = lambda: False
) -> list[Candidate]:
    """Return the words on shelves, one for all that reach the same first cases, the easiest first.

    Those of the favourite itself are left out. ``stop()`` ends it early.
    """
    puzzle, turns = own.favourite.puzzle, own.favourite.scope.turns
    words: dict[Word, int] = {}
    for word, cost in _words(found.easiest, turns):
        words[word] = min(cost, words.get(word, cost))
    for word, _ in itertools.islice(_words(found.shortest, turns), MOST_CANDIDATES):
        if word not in words:
            # The shelf of the shortest is not in order of what must be remembered.
            words[word] = things(puzzle, word)
    most = MOST_CANDIDATES
    if own.tried is not None:
        # Each is tried turn by turn, which takes longer; and it is to be known by itself.
        words = {word: cost for word, cost in words.items() if not puzzle.first_blocked(word)}
        most = MOST_BLOCKED
    ordered = sorted(words.items(), key=lambda w: (w[1], len(w[0]), w[0]))
    result: list[Candidate] = []
    (seen_first,) = _bases(own, [own.favourite.word])
    seen = {seen_first}
    for begin in range(0, len(ordered), AT_ONCE):
        if len(result) >= most or stop():
            break
        part = ordered[begin : begin + AT_ONCE]
        every = _bases(own, [word for word, _ in part])
        for (word, cost), bases in zip(part, every, strict=True):
            if bases not in seen:
                seen.add(bases)
                result.append(Candidate(word, cost, bases))
    return result[:most]


def _words(shelf: Shelf, turns: Numbers) -> Iterator[tuple[Word, int]]:
    """Yield the words of a shelf as the puzzle's turns, with what they cost, place by place."""
    for place, orbit in np.argwhere(shelf.cost.T < NONE).tolist():
        word = shelf.words[orbit, place, : shelf.length[orbit, place]]
        yield tuple(int(turns[t]) for t in word), int(shelf.cost[orbit, place])


def _bases(own: Cover, words: list[Word]) -> list[frozenset[int]]:
    """Return for each word the classes that it reaches without setup."""
    puzzle, cases = own.favourite.puzzle, own.cases
    rows, ends = [], []
    for word in words:
        first = cases.of_effect(puzzle.effect(word))
        rows += [cases.carried(first, one.moved) for one in starts(puzzle, normal(puzzle, word))]
        ends.append(len(rows))
    classes = cases.classes(np.array(rows, dtype=np.int64)).tolist()
    return [frozenset(classes[begin:end]) for begin, end in itertools.pairwise([0, *ends])]


def second(
    own: Cover, words: Iterable[Candidate], stop: Callable[[], bool] = lambda: False
) -> Iterator[Compared]:
    """Yield how far the comparing is, candidate by candidate; the last one has the best of all.

    Where turns can be blocked, one candidate may take a while, which ``stop()`` ends.
    """
    every = list(words)
    best: list[tuple[tuple[object, ...], Candidate, Second]] = []
    yield Compared(0, len(every), ())
    for done, candidate in enumerate(every, 1):
        levels = _levels(own, candidate, stop)
        if stop():
            return
        told = _second(own, candidate, levels)
        rank = (-told.covers, -told.both, told.setups, candidate.things, len(candidate.word))
        best.append(((*rank, candidate.word), candidate, told))
        best.sort(key=lambda b: b[0])
        del best[MOST_SECOND:]
        yield Compared(done, len(every), tuple(told for _, _, told in best))


def _levels(own: Cover, candidate: Candidate, stop: Callable[[], bool]) -> Numbers:
    """Return the setup turns of all classes for a candidate, within the bound."""
    if own.tried is not None:
        liked = replace(own.favourite, word=candidate.word)
        return blocked_cover(liked, own.setup, stop, own.cases).levels
    bases = np.array(sorted(candidate.bases), dtype=np.int64)
    return walk(own.cases, bases, own.setup, own.setup)[0]


def told(puzzle: Puzzle, best: Iterable[Second]) -> tuple[Second, ...]:
    """Return second favourites with their bracket forms, and things counted by them."""
    return tuple(
        Second(
            one.word,
            brackets.text(read_tree(puzzle, one.word)),
            min(one.things, things(puzzle, one.word)),
            one.covers,
            one.both,
            one.alone,
            one.setups,
        )
        for one in best
    )


def _second(own: Cover, candidate: Candidate, levels: Numbers) -> Second:
    covers = both = alone = setups = 0
    first = np.full(len(own.cases), NEVER, dtype=np.int64)
    first[: len(own.levels)] = own.levels
    for number in range(len(own.cases)):
        mine, other = (
            _within(int(first[number]), own.setup),
            _within(int(levels[number]) if number < len(levels) else NEVER, own.setup),
        )
        reached = [level for level in (mine, other) if level is not None]
        if not reached:
            continue
        size = own.cases.size(number)
        both += size
        setups += size * min(reached)
        if other is not None:
            alone += size
            covers += size if mine is None else 0
    return Second(candidate.word, "", candidate.things, covers, both, alone, setups)


def _within(level: int, setup: int) -> int | None:
    return level if NEVER < level <= setup else None
