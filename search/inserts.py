"""What slipping a turn in between a sequence and its undoing gives: building by hand.

A sequence A disturbs some slots. A layer that moves exactly one of them is turned by Z, A is
undone, the layer is turned back: [A, Z] = A Z A' Z'. With P the shared slot the piece at P goes to
Z'(P), the one there to A'(P), and that one to P: a three-cycle if all three differ (a standard
lemma on the way to Jordan's theorem; e.g. Dixon and Mortimer, Permutation Groups, 1996, section
3.3). Where A or Z only twists the piece at P it is a pair of twists, or nothing; where more slots
are shared it may be anything. What is said here is never taken from the lemma: every [A, Z] is
multiplied out.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from puzzles.effects import Cycle, Effect, cycles
from puzzles.puzzle import Puzzle, Word
from search.reasons import disturbed, single_layers

Gives = Literal["three-cycle", "pair of twists", "nothing", "other", "blocked"]


@dataclass(frozen=True)
class Insert:
    """What [A, Z] gives for a turn Z.

    ``cycles`` are placements, as `puzzles.effects.cycles` has them; none where some turn of
    A Z A' Z' is blocked.
    """

    turn: int
    gives: Gives
    cycles: tuple[Cycle, ...]


@dataclass(frozen=True)
class Single:
    """A layer that moves exactly one disturbed slot, and what each of its turns gives.

    ``twisted``: the slot holds its own piece, twisted; otherwise another one.
    """

    layer: int
    slot: int
    twisted: bool
    inserts: tuple[Insert, ...]


@dataclass(frozen=True)
class Disturbed:
    """The slots of a piece type that hold another piece, and those whose own piece is twisted."""

    type: int
    displaced: tuple[int, ...]
    twisted: tuple[int, ...]


@dataclass(frozen=True)
class Pair:
    """Two turns X and Y, done and undone as A = X Y X' Y': what A disturbs, what it offers.

    ``stands_for`` counts the pairs that are this one seen in a mirror or from another side, or done
    in the other order (which undoes A, and so disturbs the same slots): together with this one.
    """

    first: int
    second: int
    stands_for: int
    disturbs: tuple[Disturbed, ...]
    singles: tuple[Single, ...]

    def word(self, puzzle: Puzzle) -> Word:
        """Return the turns of A."""
        return around(puzzle, (self.first,), (self.second,))

    @property
    def offers(self) -> Counter[Gives]:
        """How many inserts give what."""
        return Counter(insert.gives for single in self.singles for insert in single.inserts)


def around(puzzle: Puzzle, a: Word, b: Word) -> Word:
    """Return the turns of [A, B] = A B A' B', nothing cancelled."""
    return (*a, *b, *puzzle.inverse(a), *puzzle.inverse(b))


def insert(puzzle: Puzzle, word: Word, turn: int) -> Insert:
    """Return what slipping a turn in between a word and its undoing gives, by multiplying out."""
    whole = around(puzzle, word, (turn,))
    if puzzle.first_blocked(whole) is not None:
        return Insert(turn, "blocked", ())
    found = cycles(puzzle, Effect(tuple(puzzle.effect(whole).tolist())))
    return Insert(turn, gives(puzzle, found), found)


def gives(puzzle: Puzzle, found: tuple[Cycle, ...]) -> Gives:
    """Return what an effect is in short, from its cycles."""
    slots = [{int(puzzle.slot_of[p]) for p in cycle} for cycle in found]
    if not found:
        return "nothing"
    if len(found) == 1 and len(slots[0]) == 3 and len(found[0]) == 3:
        return "three-cycle"
    if len(found) == 2 and all(len(own) == 1 for own in slots):
        return "pair of twists"
    return "other"


def singles(puzzle: Puzzle, word: Word) -> tuple[Single, ...]:
    """Return every layer that moves exactly one of the slots that a word disturbs."""
    effect = puzzle.effect(word)
    result = []
    for layer, slot in single_layers(puzzle, word):
        twisted = int(puzzle.slot_of[effect[puzzle.home[slot]]]) == slot
        turns = np.flatnonzero(puzzle.turn_layer == layer).tolist()
        inserts = tuple(insert(puzzle, word, turn) for turn in turns)
        result.append(Single(layer, slot, twisted, inserts))
    return tuple(result)


def disturbs(puzzle: Puzzle, word: Word) -> tuple[Disturbed, ...]:
    """Return what a word disturbs, for each piece type of which it disturbs something."""
    effect = puzzle.effect(word)
    out = disturbed(puzzle, word)
    result = []
    for kind in puzzle.types:
        own = [slot for slot in out if slot in kind.slots]
        twisted = [s for s in own if int(puzzle.slot_of[effect[puzzle.home[s]]]) == s]
        displaced = [slot for slot in own if slot not in set(twisted)]
        if own:
            result.append(Disturbed(kind.number, tuple(displaced), tuple(twisted)))
    return tuple(result)


def pairs(puzzle: Puzzle) -> Iterator[Pair]:
    """Yield one pair of turns of each class that disturbs anything, in order of turn numbers.

    Pairs of layers that commute disturb nothing and are left out; so are those whose turns are
    blocked, where they begin from solved.
    """
    for (x, y), count in _classes(puzzle).items():
        word = around(puzzle, (x,), (y,))
        found = disturbs(puzzle, word)
        if found and puzzle.first_blocked(word) is None:
            yield Pair(x, y, count, found, singles(puzzle, word))


def _classes(puzzle: Puzzle) -> dict[tuple[int, int], int]:
    """Return the least pair of each class of pairs under symmetry and order, and its size."""
    images = np.array([symmetry.turns for symmetry in puzzle.symmetries], dtype=np.int64)
    if not len(images):
        images = np.arange(len(puzzle.turns), dtype=np.int64)[None]
    total = len(puzzle.turns)
    layer, found = puzzle.turn_layer, Counter[tuple[int, int]]()
    for x in range(total):
        for y in range(total):
            if layer[x] == layer[y] or puzzle.commutes[layer[x], layer[y]]:
                continue
            there = images[:, (x, y)]
            both = np.concatenate(
                [there[:, 0] * total + there[:, 1], there[:, 1] * total + there[:, 0]]
            )
            found[divmod(int(both.min()), total)] += 1
    return dict(sorted(found.items()))
