"""Three-cycles from commutators of loops, where pairs of short walks make none.

All [A, B] of short loops are looked at; those that move few units are taken as A again. Where two
elements move only one slot in common, their commutator is a three-cycle (a standard lemma; e.g.
Dixon and Mortimer, Permutation Groups, 1996, section 3.3).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from puzzles.puzzle import Word
from puzzles.stopping import look
from search.solving_blocked_near import Elements, Near

#: Loops that are taken as A and as B in the first round, and as B in the later ones.
FIRST_A = 20_000
FIRST_B = 60
LATER_B = 400
#: How many commutators are taken on as A, those that move the fewest units first, and how many
#: units they may move.
TAKEN = 800
MOST_MOVED = 12
#: Commutators of a round that are looked at closely, those that move the fewest units first.
MOST_NOTED = 20_000
#: Rounds after which no more is looked for.
ROUNDS = 3
#: Pairs that are looked at together, to bound memory.
BATCH = 20_000


@dataclass
class Gathered:
    """Three-cycles by kind and by which other kinds they move: points of the kind, and their words.

    ``words[kind, others][triple]`` is the shortest word met; ``others`` is sorted.
    """

    words: dict[tuple[int, tuple[int, ...]], dict[tuple[int, int, int], Word]] = field(
        default_factory=dict
    )

    def three_cycles(self, kind: int, kept: frozenset[int]) -> dict[tuple[int, int, int], Word]:
        """Return the three-cycles of a kind that leave the kept kinds alone, with their words."""
        result: dict[tuple[int, int, int], Word] = {}
        for (own, others), found in self.words.items():
            if own == kind and not kept & set(others):
                for triple, word in found.items():
                    if triple not in result or len(word) < len(result[triple]):
                        result[triple] = word
        return result


@dataclass(frozen=True, eq=False)
class _Pool:
    """Elements of H as permutations of all points (n, points), with their words."""

    there: Elements
    back: Elements
    words: tuple[Word, ...]
    turns: NDArray[np.int64]


class Commutators:
    """Rounds of commutators; each adds to ``gathered`` what it met."""

    def __init__(self, near: Near) -> None:
        self.near = near
        self.gathered = Gathered()
        kinds = near.shapes.kinds
        self._kind = np.empty(len(near.shapes.reps), dtype=np.int64)
        for number, kind in enumerate(kinds):
            self._kind[list(kind.units)] = number
        self._first: _Pool | None = None

    def round(self) -> bool:
        """Do the next round; return whether it had anything to begin with."""
        if self._first is None:
            loops = self.near.loops
            one, two = self._loops(loops[:FIRST_A]), self._loops(loops[:FIRST_B])
        else:
            one, two = self._first, self._loops(self.near.loops[:LATER_B])
        if not len(one.words) or not len(two.words):
            return False
        self._first = self._commuted(one, two)
        return True

    def _loops(self, states: NDArray[np.int64]) -> _Pool:
        near = self.near
        there = np.concatenate(
            [near.actions(states, kind) + kind.first for kind in near.shapes.kinds], axis=1
        ).astype(np.int16)
        words = tuple(near.word(int(state)) for state in states)
        return _pool(there, words)

    def _commuted(self, one: _Pool, two: _Pool) -> _Pool:
        """Look at all commutators of two pools; return those that move few units."""
        puzzle, start = self.near.shapes.puzzle, self.near.shapes.point_of
        rows: list[Elements] = []
        heads: list[NDArray[np.int64]] = []
        for k in range(len(two.words)):
            for part in range(0, len(one.words), BATCH):
                look()
                a, a_back = one.there[part : part + BATCH], one.back[part : part + BATCH]
                goes = two.there[k][a[:, start]]
                goes = two.back[k][np.take_along_axis(a_back, goes.astype(np.int64), 1)]
                moved = (goes != start).sum(axis=1)
                few = np.flatnonzero((moved > 0) & (moved <= MOST_MOVED))
                turns = 2 * (one.turns[part + few] + two.turns[k])
                heads.append(np.stack([moved[few], turns, part + few, np.full(len(few), k)], 1))
                rows.append(goes[few])
        head, goes = np.concatenate(heads), np.concatenate(rows)
        order = np.lexsort(head.T[::-1])
        look()
        _, first = np.unique(self.near.keys_of(goes[order]), return_index=True)
        chosen = order[np.sort(first)][:MOST_NOTED]
        taken: list[Elements] = []
        words: list[Word] = []
        for number, row in zip(chosen.tolist(), goes[chosen], strict=True):
            look()
            x, y = one.words[int(head[number, 2])], two.words[int(head[number, 3])]
            word = (*x, *y, *puzzle.inverse(x), *puzzle.inverse(y))
            self._note(row, word)
            if len(taken) < TAKEN:
                taken.append(self._full(row))
                words.append(word)
        points = self.near.shapes.points
        return _pool(np.array(taken, dtype=np.int16).reshape(-1, points), tuple(words))

    def _full(self, goes: Elements) -> Elements:
        """Return an element, given by where its units go, as a permutation of all points."""
        shapes = self.near.shapes
        result = np.empty(shapes.points, dtype=np.int16)
        for kind in shapes.kinds:
            own = goes[list(kind.units)] - kind.first
            for x in range(kind.twists):
                at = kind.first + np.arange(kind.count) * kind.twists + x
                result[at] = kind.first + own - own % kind.twists + (own + x) % kind.twists
        return result

    def _note(self, goes: Elements, word: Word) -> None:
        """Keep a commutator for every kind of which it cycles three units."""
        shapes = self.near.shapes
        moved = np.flatnonzero(goes != shapes.point_of)
        own = self._kind[moved]
        involved = sorted(set(own.tolist()))
        undone = shapes.puzzle.inverse(word)
        for number in involved:
            units = moved[own == number]
            if len(units) != 3:
                continue
            kind = shapes.kinds[number]
            triple = _triple(goes, int(units[0]), shapes.point_of, kind.first, kind.twists)
            if triple is None:
                continue
            others = tuple(k for k in involved if k != number)
            table = self.gathered.words.setdefault((number, others), {})
            p, q, r = triple
            for way, turns in ((triple, word), ((p, r, q), undone)):
                if way not in table or len(turns) < len(table[way]):
                    table[way] = turns


def _pool(there: Elements, words: tuple[Word, ...]) -> _Pool:
    back = np.argsort(there, axis=1).astype(np.int16)
    return _Pool(there, back, words, np.array([len(word) for word in words], dtype=np.int64))


def _triple(
    goes: Elements, unit: int, point_of: NDArray[np.int16], first: int, twists: int
) -> tuple[int, int, int] | None:
    """Return the cycle of three that a unit begins, as points of its kind; None if it is none."""
    slots = {int(p - first) // twists: u for u, p in enumerate(point_of.tolist()) if p >= first}
    p = int(point_of[unit]) - first
    q = int(goes[unit]) - first
    second = slots[q // twists]
    r = int(goes[second]) - first
    r = r - r % twists + (r + q) % twists
    third = slots[r // twists]
    back = int(goes[third]) - first
    back = back - back % twists + (back + r) % twists
    if back != p or len({p // twists, q // twists, r // twists}) < 3:
        return None
    return p, q, r


def rounds(near: Near) -> Iterator[Gathered]:
    """Yield what was met after each round of commutators."""
    own = Commutators(near)
    for _ in range(ROUNDS):
        if not own.round():
            return
        yield own.gathered
