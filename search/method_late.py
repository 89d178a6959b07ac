"""Sequences for what three-cycles leave alone: two pieces swapped, one twisted, two twisted.

Which pieces these are is left open, since setups carry them anywhere, and pieces of other types
that look the same may change places. Words U and V of a few turns lead to looks that differ in
nothing but one or two slots: then U V' does it (``Joining``). What makes a rearrangement odd is a
turn of certain layers; of these in all amounts and a few other layers by half turns, words go much
deeper than of all turns (``families``). Then come powers of short words and their commutators,
which are easier to remember (``search.forms``). All bounds are counts, so that what is found does
not depend on the machine.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from puzzles.least_effects import SWAP, TWIST, TWISTS
from puzzles.puzzle import Puzzle, Symmetry, Word
from puzzles.words import normal
from search.forms import FormSearch
from search.hands import comfort
from search.method_looks import Seen, seen, sights
from search.nearby import acting, nearby
from search.nesting import things
from search.solving_looks import Contents, Looks

#: Looks of one family of turns; families with other layers beside those that make odd, at most.
MOST_SEEN, MOST_FAMILIES = 150_000, 24
#: Once something is found, so many more families are looked at.
MORE_FAMILIES = 6
#: Other layers of a family.
MOST_OTHERS = 3
#: Blocks of slots, of which all but two agree; pairs of looks that are compared in one family.
BLOCKS, MOST_PAIRS, BATCH = 4, 1_000_000, 100_000
#: Of the pairs of a batch so many with the fewest turns are written out.
FEW = 64
#: Words that are kept are at most so many turns longer than the shortest; those that are measured.
LONGER, MEASURED = 2, 24
#: Effects around that powers and commutators are made of, and how much of these is looked at:
#: rows times slots, and what a word costs of which all kept pieces are looked at.
MOST_NEAR, MOST_LOOKED, WORD_LOOKED = 20_000, 80_000_000, 20_000
#: No sequence is longer.
LONGEST = 48


@dataclass(frozen=True)
class Late:
    """A word that does an effect of a kind (``puzzles.least_effects``) with pieces of one type.

    ``things`` is how many turns there are to remember.
    """

    kind: str
    word: Word
    things: int


class Joining:
    """Pairs of looks that differ in one or two slots among some, ``places`` in the sights."""

    def __init__(self, places: NDArray[np.integer]) -> None:
        self.places = places
        #: The fewest turns of both words for each kind, and the pairs with about as few.
        self.least: dict[str, int] = {}
        self.found: dict[str, set[tuple[int, Word]]] = {}

    def look(self, own: Seen, kinds: Iterable[str], puzzle: Puzzle) -> None:
        """Take up the words that pairs of looks give, of the kinds that are asked for."""
        count = min(BLOCKS, len(self.places))
        others = np.setdiff1d(np.arange(len(own.sights.slots)), self.places)
        left = MOST_PAIRS
        wanted = set(kinds)
        for alone in itertools.combinations(range(count), max(count - 2, 0)):
            inside = [p for k, p in enumerate(self.places.tolist()) if k % count in alone]
            agree = np.concatenate([others, np.array(inside, dtype=np.int64)])
            keys = own.sights.keys(own.codes, agree)
            # Those with fewer turns come first among those that agree.
            order = np.argsort(keys, kind="stable")
            ordered = keys[order]
            for step in range(1, len(order)):
                same = np.flatnonzero(ordered[step:] == ordered[:-step])
                if not len(same) or left <= 0:
                    break
                left -= len(same)
                for begin in range(0, len(same), BATCH):
                    part = same[begin : begin + BATCH]
                    self._compare(own, order[part], order[part + step], wanted, puzzle)

    def _compare(
        self,
        own: Seen,
        first: NDArray[np.int64],
        second: NDArray[np.int64],
        wanted: set[str],
        puzzle: Puzzle,
    ) -> None:
        turns = own.depths(first) + own.depths(second)
        most = max(self.least.get(kind, LONGEST) for kind in wanted) + LONGER
        near = np.flatnonzero(turns <= most)
        first, second, turns = first[near], second[near], turns[near]
        differ = own.codes[first] != own.codes[second]
        count = differ.sum(axis=1)
        rows = np.flatnonzero((count == 1) | (count == 2))
        for k in rows[np.argsort(turns[rows], kind="stable")[:FEW]].tolist():
            at = np.flatnonzero(differ[k])
            shown = own.sights.twists[at]
            here, there = own.codes[first[k], at] // shown, own.codes[second[k], at] // shown
            kind = SWAP if (here != there).any() else TWIST if len(at) == 1 else TWISTS
            if kind not in wanted or turns[k] > self.least.get(kind, LONGEST) + LONGER:
                continue
            self.least[kind] = min(int(turns[k]), self.least.get(kind, LONGEST))
            back = puzzle.inverse(own.word(int(second[k])))
            word = normal(puzzle, (*own.word(int(first[k])), *back))
            self.found.setdefault(kind, set()).add((len(word), word))


class _Forms(FormSearch):
    """Powers and commutators of powers that do an effect of a wanted kind."""

    def __init__(self, asked: _Asked) -> None:
        puzzle = asked.puzzle
        slots = np.flatnonzero(np.isin(puzzle.type_of, asked.kept))
        every = range(len(puzzle.turns))
        super().__init__(puzzle, every, slots, asked.symmetries)
        self.asked, self.looked = asked, 0
        self.found: dict[str, set[tuple[int, Word]]] = {}

    def promising(self, changed: NDArray[np.bool_]) -> NDArray[np.bool_]:
        self.looked += changed.size
        total = changed.sum(axis=1)
        rows: NDArray[np.bool_] = (total > 0) & (total <= 2)
        return rows

    def keep(self, word: Word, text: str | None) -> None:
        self.looked += WORD_LOOKED
        word = normal(self.puzzle, word)
        if len(word) > LONGEST or self.puzzle.first_blocked(word) is not None:
            return
        kind = self.asked.kind_of(word)
        if kind in self.asked.kinds:
            self.found.setdefault(kind, set()).add((len(word), word))


@dataclass(frozen=True, eq=False)
class _Asked:
    """What is looked for: kinds of effects on some slots of a type while the types ``kept`` stay.

    ``odd`` are the layers of which single turns make a rearrangement or a sum of twists odd, by
    number; empty for effects that commutators can have.
    """

    looks: Looks
    slots: tuple[int, ...]
    kept: tuple[int, ...]
    kinds: tuple[str, ...]
    odd: tuple[int, ...]

    @property
    def puzzle(self) -> Puzzle:
        return self.looks.puzzle

    @cached_property
    def symmetries(self) -> list[Symmetry]:
        """The symmetries that carry the slots and the kept types to themselves."""
        return stabilising(self.puzzle, self.slots, self.kept)

    def kind_of(self, word: Word) -> str | None:
        """Return the kind of a word's effect by looking, None where it disturbs something else."""
        contents = Contents.of(self.looks, self.puzzle.effect(word))
        kept = np.flatnonzero(np.isin(self.puzzle.type_of, self.kept))
        wrong = kept[~contents.right[kept]]
        if len(wrong) not in (1, 2) or not set(wrong.tolist()) <= set(self.slots):
            return None
        kinds = self.looks.kind
        if (kinds[contents.piece[wrong]] == kinds[wrong]).all():
            return TWIST if len(wrong) == 1 else TWISTS
        return SWAP


def stabilising(puzzle: Puzzle, slots: Sequence[int], kept: Sequence[int]) -> list[Symmetry]:
    """Return the symmetries that carry some slots to these, and those of the types ``kept``."""
    own = set(slots)
    every = np.flatnonzero(np.isin(puzzle.type_of, kept))
    result = []
    for symmetry in puzzle.symmetries:
        there = puzzle.slot_of[symmetry.placements[puzzle.home]]
        if set(there[list(slots)].tolist()) == own and np.array_equal(np.sort(there[every]), every):
            result.append(symmetry)
    return result


def late(
    looks: Looks,
    slots: Sequence[int],
    kept: Sequence[int],
    kinds: Sequence[str],
    odd: Sequence[int] = (),
    stop: Callable[[], bool] = lambda: False,
) -> dict[str, Late]:
    """Return for each kind of effect the word with the least to remember, where one was found.

    ``slots`` are where the pieces may be, of one type, ``kept`` the types that stay, by number, it
    among them; ``odd`` the layers of which single turns make the rearrangement odd.
    """
    asked = _Asked(looks, tuple(slots), tuple(sorted(kept)), tuple(kinds), tuple(odd))
    found = _joined(asked, stop)
    if not stop():
        for kind, rows in _of_forms(asked, stop).items():
            found.setdefault(kind, set()).update(rows)
    result = {}
    for kind, rows in found.items():
        best = _best(asked, rows)
        if best is not None:
            result[kind] = Late(kind, best, things(looks.puzzle, best))
    return result


def _best(asked: _Asked, rows: set[tuple[int, Word]]) -> Word | None:
    """Return of some words the one with the least to remember, as it is most comfortable."""
    puzzle = asked.puzzle
    images = [symmetry.turns for symmetry in asked.symmetries]
    measured: dict[Word, tuple[int, int]] = {}
    seen_before: set[Word] = set()
    for _, word in sorted(rows):
        if word in seen_before:
            continue
        every = {normal(puzzle, [int(image[t]) for t in word]) for image in images} or {word}
        seen_before |= every
        seen_before |= {normal(puzzle, puzzle.inverse(one)) for one in every}
        if asked.kind_of(word) is None:
            raise RuntimeError("a word was found that does not do what it was found for")
        measured[min((comfort(puzzle, one), one) for one in every)[1]] = (
            things(puzzle, word),
            len(word),
        )
        if len(measured) == MEASURED:
            break
    return min(measured, key=lambda w: (measured[w], w), default=None)


def _joined(asked: _Asked, stop: Callable[[], bool]) -> dict[str, set[tuple[int, Word]]]:
    """Return words of any form, from both ends, of all turns and of each family of turns."""
    own = sights(asked.looks, asked.kept)
    joining = Joining(np.flatnonzero(np.isin(own.slots, asked.slots)))
    more = MORE_FAMILIES
    for number, turns in enumerate(itertools.islice(families(asked), MOST_FAMILIES)):
        if stop():
            break
        near = seen(own, turns, MOST_SEEN, stop)
        joining.look(near, asked.kinds, asked.puzzle)
        whole = all(kind in joining.least for kind in asked.kinds)
        if whole and number == 0:
            # Nothing of any form is shorter.
            break
        more -= whole
        if not more:
            break
    return joining.found


def families(asked: _Asked) -> Iterator[tuple[int, ...]]:
    """Yield turns, by number: all, then those of a few layers of which words go deeper."""
    puzzle = asked.puzzle
    count = len(puzzle.layers)
    turns = [tuple(np.flatnonzero(puzzle.turn_layer == k).tolist()) for k in range(count)]
    yield tuple(t for own in turns for t in own)
    images = [
        tuple(int(puzzle.turn_layer[int(symmetry.turns[own[0]])]) for own in turns)
        for symmetry in asked.symmetries
    ] or [tuple(range(count))]
    halves = [_halves(puzzle, own) for own in turns]
    for first in asked.odd:
        own = _beside(asked, first, images)
        keeping = [im for im in images if {im[k] for k in own} == set(own)]
        others = [k for k in range(count) if k not in own and not puzzle.commutes[k, first]]
        seen_before: set[tuple[int, ...]] = set()
        for size in range(1, MOST_OTHERS + 1):
            for chosen in itertools.combinations(others, size):
                least = min(tuple(sorted(im[k] for k in chosen)) for im in keeping)
                if least in seen_before:
                    continue
                seen_before.add(least)
                yield (
                    *(t for k in own for t in turns[k]),
                    *(t for k in chosen for t in halves[k]),
                )


def _halves(puzzle: Puzzle, turns: Sequence[int]) -> tuple[int, ...]:
    """Return the half turn of a layer's turns, all where it has none."""
    half = tuple(t for t in turns if puzzle.inverses[t] == t)
    return half or tuple(turns)


def _beside(asked: _Asked, first: int, images: list[tuple[int, ...]]) -> tuple[int, ...]:
    """Return a layer and those like it on its axis that make odd as well."""
    puzzle = asked.puzzle
    like = {image[first] for image in images}
    if puzzle.shape == "written":
        return (first,)
    axis = puzzle.layers[first].axis
    return tuple(
        k
        for k in asked.odd
        if k == first or (k in like and abs(float(np.dot(puzzle.layers[k].axis, axis))) > 1 - 1e-6)
    )


def _of_forms(asked: _Asked, stop: Callable[[], bool]) -> dict[str, set[tuple[int, Word]]]:
    """Return words that are powers of short ones or commutators of these."""
    forms = _Forms(asked)
    near = nearby(acting(asked.puzzle, None, asked.kept), MOST_NEAR, stop)
    for _, steps in forms.stages(near):
        for _ in steps:
            if stop() or forms.looked > MOST_LOOKED:
                return forms.found
    return forms.found
