"""The sequences of a step: the few three-cycles that, with setups, reach all that a type needs.

Every word that a search found for a type is a candidate: with setups that any turn may be part of,
its images under symmetry and its inverse, it reaches more three-cycles. What there is to remember
is weighed against what the reached ones cost on average.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from puzzles.errors import LimitError, RequestError
from puzzles.puzzle import PieceType, Puzzle, Word
from search import frames
from search.goals import Goal
from search.hands import comfort
from search.method_alike import Sharing
from search.nesting import things
from search.shelves import Shelves
from search.solving_learned import only
from search.tools import UNKNOWN, Filled, Search, Tools, possible, tools_for

#: Conjugates that a step of a search may look at: while some three-cycle has no word, once all do.
MOST, ENOUGH = 60_000_000.0, 400_000.0
#: Seconds that the search for the three-cycles of one type may take while some types are kept.
MOST_SECONDS = 60.0
#: Candidates that are tried out: those with the fewest things to remember, and the shortest.
TRIED = 8
#: The most sequences for one type.
MOST_SEQUENCES = 3
#: A further sequence has to make three-cycles shorter by this share.
WORTH_IT = 0.06

Numbers = NDArray[np.int64]


@dataclass(frozen=True)
class Sequences:
    """Words that finish a type while the types ``kept`` (by number, itself among them) stay.

    ``things`` is how many turns there are to remember in all of them; ``mean`` and ``most`` how
    many turns a three-cycle takes on average and at most, setups counted; ``reached`` of
    ``needed`` three-cycles are reached.
    """

    type: int
    kept: tuple[int, ...]
    words: tuple[Word, ...]
    things: int
    mean: float
    most: int
    reached: int
    needed: int

    @property
    def whole(self) -> bool:
        """Whether every three-cycle that can be done is reached."""
        return self.reached == self.needed


class Workshop:
    """Tables of three-cycles of a puzzle by type and kept types, and sequences chosen from them."""

    def __init__(self, puzzle: Puzzle, search: Search) -> None:
        self.puzzle, self.search = puzzle, search
        self._tools: dict[tuple[int, tuple[int, ...]], Tools | None] = {}
        self._chosen: dict[tuple[int, tuple[int, ...]], tuple[Sequences, ...]] = {}
        self._shared: dict[tuple[int, tuple[int, ...]], tuple[Sequences, ...]] = {}

    @cached_property
    def sharing(self) -> Sharing:
        """Which types move alike under other layers."""
        return Sharing(self.puzzle)

    def shared(
        self, kind: PieceType, kept: Iterable[int], full: Mapping[int, Sequence[Sequences]]
    ) -> tuple[Sequences, ...]:
        """Return choices for a type that are those of another type in other layers, if any do.

        ``full`` are the choices of each type while all stay. A word that does alone for the other
        type is tried, the first one.
        """
        key = kind.number, tuple(sorted(kept))
        if key not in self._shared:
            tools = self.tools(kind, key[1])
            found = []
            for other, choices in full.items():
                for own in choices[:1] if tools is not None else ():
                    words = [self.sharing.renamed(w, other, kind.number) for w in own.words]
                    if other != kind.number and None not in words and tools is not None:
                        found.append(_Choosing(tools).tried(tuple(w for w in words if w)))
            self._shared[key] = tuple(own for own in found if own.whole)
        return self._shared[key]

    def tools(self, kind: PieceType, kept: Iterable[int]) -> Tools | None:
        """Return the three-cycles of a type while some types stay, None where there are none."""
        key = kind.number, tuple(sorted(kept))
        if key not in self._tools:
            self._tools[key] = self._made(kind, key[1])
        return self._tools[key]

    def _made(self, kind: PieceType, kept: tuple[int, ...]) -> Tools | None:
        if kind.count < 3:
            return None
        goal = Filled(None, None, MOST_SECONDS, enough=ENOUGH, most=MOST)
        try:
            return tools_for(self.puzzle, kind, kept, search=self.search, goal=goal)
        except (RequestError, LimitError):
            return None

    def made(self, kind: PieceType, kept: Iterable[int]) -> bool:
        """Return whether the sequences for a type were chosen already."""
        return (kind.number, tuple(sorted(kept))) in self._chosen

    def sequences(self, kind: PieceType, kept: Iterable[int]) -> tuple[Sequences, ...]:
        """Return the choices for a type, each with more to remember and shorter than the last.

        Empty where not all of its three-cycles can be had.
        """
        key = kind.number, tuple(sorted(kept))
        if key not in self._chosen:
            tools = self.tools(kind, key[1])
            found = () if tools is None else _Choosing(tools).choices()
            self._chosen[key] = found
        return self._chosen[key]


class _Choosing:
    """Tries out what the shelves of one table offer."""

    def __init__(self, tools: Tools) -> None:
        self.tools, self.scope = tools, tools.scope
        first = tuple(tools.shelves.first.tolist())
        orbit = frames.frames(self.scope, first).orbit
        #: How many three-cycles each orbit has.
        self.sizes: Numbers = np.bincount(orbit[orbit >= 0], minlength=len(first))
        self.needed = possible(self.scope, first)

    @cached_property
    def candidates(self) -> tuple[Word, ...]:
        """The words that are tried, those with the fewest things to remember first."""
        shelves, turns = self.tools.shelves, self.scope.turns
        found: dict[Word, tuple[int, int]] = {}
        for shelf, easy in ((shelves.easiest, True), (shelves.shortest, False)):
            for orbit, place in np.argwhere(shelf.cost < UNKNOWN).tolist():
                own = shelf.words[orbit, place, : shelf.length[orbit, place]]
                one, other = int(shelf.cost[orbit, place]), int(shelf.other[orbit, place])
                word = tuple(turns[own.astype(np.int64)].tolist())
                found[word] = (one, other) if easy else (other, one)
        easiest = sorted(found, key=lambda w: (found[w], w))
        shortest = sorted(found, key=lambda w: (found[w][::-1], w))
        chosen = dict.fromkeys((*self._varied(easiest, found), *self._varied(shortest, found)))
        return tuple(sorted(chosen, key=lambda w: (found[w], w)))

    def _varied(self, words: list[Word], found: dict[Word, tuple[int, int]]) -> list[Word]:
        """Return the first few words; of those alike in measures and layers, one."""
        seen: set[object] = set()
        result = []
        for word in words:
            kind = found[word], tuple(sorted(self.tools.puzzle.turn_layer[list(word)].tolist()))
            if kind not in seen:
                seen.add(kind)
                result.append(word)
            if len(result) == TRIED:
                break
        return result

    def tried(self, words: tuple[Word, ...]) -> Sequences:
        """Return how far some words reach, and at what cost."""
        puzzle, needed = self.tools.puzzle, self.needed
        shelves: Shelves = only(words)(self.scope, Goal(None, None, None))
        reached = needed & (shelves.turns < UNKNOWN)
        sizes = self.sizes[reached]
        count = int(sizes.sum())
        costs = shelves.turns[reached]
        return Sequences(
            self.tools.kind.number,
            self.tools.kept,
            words,
            sum(things(puzzle, word) for word in words),
            float((costs * sizes).sum() / count) if count else float(UNKNOWN),
            int(costs.max(initial=0)),
            count,
            int(self.sizes[needed].sum()),
        )

    def choices(self) -> tuple[Sequences, ...]:
        """Return what is worth choosing, the least to remember first; empty if nothing is whole."""
        if not self.needed.any():
            return ()
        alone = [self.tried((word,)) for word in self.candidates]
        if not alone:
            return ()
        found: list[Sequences] = []
        for start in (_easiest(alone), _cheapest(alone)):
            own = start
            while True:
                if own.whole:
                    found.append(own)
                if len(own.words) == MOST_SEQUENCES:
                    break
                more = [self.tried((*own.words, w)) for w in self.candidates if w not in own.words]
                if not more:
                    break
                better = _easiest(more) if not own.whole else _cheapest(more)
                if own.whole and better.mean > own.mean * (1 - WORTH_IT):
                    break
                if better.reached <= own.reached and not own.whole:
                    break
                own = better
        return tuple(replace(own, words=self._pleasant(own.words)) for own in undominated(found))

    def _pleasant(self, words: tuple[Word, ...]) -> tuple[Word, ...]:
        """Return for each word the image that is most comfortable for the hands.

        Images under the symmetries that keep the scope, and their inverses, reach the same.
        """
        puzzle = self.tools.puzzle
        images = [symmetry.turns for symmetry in self.scope.symmetries]
        result = []
        for word in words:
            every = {tuple(int(image[t]) for t in word) for image in images}
            every |= {puzzle.inverse(one) for one in every}
            result.append(min((comfort(puzzle, one), one) for one in every)[1])
        return tuple(result)


def _easiest(row: list[Sequences]) -> Sequences:
    return min(row, key=lambda own: (-own.reached, own.things, own.mean, own.words))


def _cheapest(row: list[Sequences]) -> Sequences:
    return min(row, key=lambda own: (-own.reached, own.mean, own.things, own.words))


def undominated(row: list[Sequences]) -> list[Sequences]:
    """Return those of which no other has less to remember and is as short, by what they take."""
    result: list[Sequences] = []
    for own in sorted(row, key=lambda own: (own.things, len(own.words), own.mean)):
        if not result or own.mean < result[-1].mean - 1e-9:
            result.append(own)
    return result
