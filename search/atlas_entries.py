"""From shelves to an atlas: for every three-cycle of a type its shortest and its easiest sequence.

Words are chosen once for each orbit of three-cycles and carried to the others by symmetry.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from puzzles import brackets
from puzzles.brackets import Commutator, Conjugate, Tree, Written
from puzzles.names import Placed, placement_name
from puzzles.notation import turn_text, write
from puzzles.puzzle import PieceType, Puzzle, Word
from puzzles.words import normal
from search import brackets as forms
from search import frames
from search.encoding import Scope
from search.frames import Framed
from search.kernels.arrays import NONE, Shelf
from search.request import Request
from search.shelves import Shelves

#: Triples whose images are looked at together, so that memory stays small.
CHUNK = 2048
#: Words that are compared for one orbit, of the shortest and of the easiest each.
COMPARED = 8

Numbers = NDArray[np.int64]


@dataclass(frozen=True)
class Said:
    """One sequence of an atlas: plain turns, bracket form, executed turns, things to remember."""

    sequence: str
    notation: str
    turns: int
    things: int


@dataclass(frozen=True)
class Entry:
    """A three-cycle, by placements and by names, with its shortest and its easiest sequence."""

    triple: tuple[int, int, int]
    cycle: tuple[str, str, str]
    shortest: Said
    easiest: Said


@dataclass(frozen=True, eq=False)
class Pattern:
    """A word of a representative: turns, things, and its bracket form and that of its inverse.

    In the forms ``{t}`` stands for the turn with number t.
    """

    word: Word
    things: int
    text: str
    undone: str


def cycles_of(puzzle: Puzzle, kind: PieceType) -> Numbers:
    """Return every three-cycle of a type, both directions and all twists, as placements (n, 3).

    Each begins at its first piece with twist 0.
    """
    slots = np.array(list(kind.slots), dtype=np.int64)
    rows = [
        (a, b, c) for a, b, c in itertools.permutations(range(kind.count), 3) if a < b and a < c
    ]
    if not rows:
        return np.zeros((0, 3), dtype=np.int64)
    homes = puzzle.home[slots].astype(np.int64)[np.array(rows)]
    twists = np.array(
        [(0, x, y) for x in range(kind.twists) for y in range(kind.twists)], dtype=np.int64
    )
    result: Numbers = (homes[:, None, :] + twists[None, :, :]).reshape(-1, 3)
    return result


def placed(scope: Scope, triples: Numbers) -> Numbers:
    """Return the puzzle's placements as the numbers that the kernels have for them."""
    place = np.full(scope.puzzle.placement_count, -1, dtype=np.int64)
    place[scope.placements] = np.arange(len(scope.placements))
    result: Numbers = place[triples]
    return result


def framed(scope: Scope, triples: Numbers) -> Framed:
    """Return the representatives of many triples (n, 3) of the kernels' placements."""
    parts = [
        frames.framed(scope, triples[k : k + CHUNK]) for k in range(0, max(len(triples), 1), CHUNK)
    ]
    return Framed(*(np.concatenate(columns) for columns in zip(*parts, strict=True)))


class Chosen:
    """The best words of every orbit with setups of at most so many turns, None for any."""

    def __init__(self, scope: Scope, found: Shelves, setup: int | None = None) -> None:
        self.scope, self.found, self.setup = scope, found, setup
        self._orbit = {int(number): k for k, number in enumerate(found.first)}
        self._next = _neighbours(scope, found)
        self._costs = {
            weight: self._settled(shelf, weight)
            for shelf, weight in ((found.shortest, 2), (found.easiest, 1))
        }
        self._words: dict[tuple[int, int, int], list[Word]] = {}
        self._patterns: dict[int, tuple[Pattern, Pattern] | None] = {}

    def _settled(self, shelf: Shelf, weight: int) -> list[Numbers]:
        """Return for every number of setup turns the least costs; the last is for any more."""
        costs = [shelf.cost[:, 0].astype(np.int64)]
        orbits = self._next[0]
        while (self.setup is None or len(costs) <= self.setup) and orbits.size:
            through = costs[-1][orbits].min(axis=1) + weight
            better = np.minimum(costs[-1], np.where(through < NONE, through, NONE))
            if np.array_equal(better, costs[-1]):
                break
            costs.append(better)
        return costs

    def turns(self, number: int) -> int:
        """Return the fewest executed turns for an orbit by its representative's number, or NONE."""
        return int(self._costs[2][-1][self._orbit[number]])

    def patterns(self, number: int) -> tuple[Pattern, Pattern] | None:
        """Return the shortest and the easiest word of an orbit, None if nothing was found."""
        orbit = self._orbit[number]
        if orbit not in self._patterns:
            self._patterns[orbit] = self._choose(orbit)
        return self._patterns[orbit]

    def _choose(self, orbit: int) -> tuple[Pattern, Pattern] | None:
        puzzle, turns = self.scope.puzzle, self.scope.turns
        words: dict[Word, None] = {}
        for weight in (2, 1):
            for word in self._best(orbit, weight, len(self._costs[weight]) - 1):
                words.setdefault(normal(puzzle, [int(turns[t]) for t in word]))
        if not words:
            return None
        patterns = [_pattern(puzzle, word) for word in words]
        shortest = min(patterns, key=lambda p: (len(p.word), p.things, p.word))
        easiest = min(patterns, key=lambda p: (p.things, len(p.word), p.word))
        return shortest, easiest

    def _best(self, orbit: int, weight: int, setup: int) -> list[Word]:
        """Return words, as the kernels' turns, of the least cost with so many turns of setup."""
        key = (orbit, weight, setup)
        if key in self._words:
            return self._words[key]
        shelf = self.found.shortest if weight == 2 else self.found.easiest
        costs, enc = self._costs[weight], self.scope.arrays
        least, result = int(costs[setup][orbit]), dict[Word, None]()
        if least < NONE:
            # Of words with as much to remember, or one thing more, some read better than counted.
            slack = 1 if weight == 1 else 0
            for k in np.flatnonzero(shelf.cost[orbit] <= least + slack):
                result.setdefault(tuple(shelf.words[orbit, k, : shelf.length[orbit, k]].tolist()))
        orbits, symmetries, turned = self._next
        for turn in range(orbits.shape[1] if least < NONE and setup else 0):
            other = int(orbits[orbit, turn])
            if len(result) >= 2 * COMPARED or costs[setup - 1][other] + weight != least:
                continue
            for word in self._best(other, weight, setup - 1)[:COMPARED]:
                inner = np.array(word, dtype=np.int64)
                if turned[orbit, turn]:
                    inner = enc.inverse[inner[::-1]]
                inner = enc.symmetry[symmetries[orbit, turn]][inner]
                result.setdefault((turn, *inner.tolist(), int(enc.inverse[turn])))
        self._words[key] = list(result)[: 2 * COMPARED]
        return self._words[key]


def _neighbours(scope: Scope, found: Shelves) -> tuple[Numbers, Numbers, NDArray[np.bool_]]:
    """Return where one turn of setup leads each representative: orbit, symmetry, inverted or not.

    All have the shape (orbits, turns).
    """
    enc = scope.arrays
    shape = (len(found.first), len(enc.turn_layer))
    if not shape[0]:
        nothing = np.zeros(shape, dtype=np.int64)
        return nothing, nothing, nothing.astype(np.bool_)
    there = enc.moves[:, _triples(scope, found.first)].transpose(1, 0, 2).reshape(-1, 3)
    seen = framed(scope, np.ascontiguousarray(there))
    orbits = np.searchsorted(found.first, seen.number).reshape(shape)
    return orbits, seen.symmetry.reshape(shape), seen.turned.reshape(shape)


def _triples(scope: Scope, numbers: Numbers) -> Numbers:
    """Return the triples of the kernels' placements that numbers stand for, first twist 0."""
    enc, base = scope.arrays, frames.bases(scope)
    kind = np.searchsorted(base[1:], numbers, side="right")
    first = enc.type_slot[kind]
    n = enc.type_slot[kind + 1] - first
    t = (enc.type_placement[kind + 1] - enc.type_placement[kind]) // n
    rest, xc = np.divmod(numbers - base[kind], t)
    rest, xb = np.divmod(rest, t)
    rest, c = np.divmod(rest, n)
    a, b = np.divmod(rest, n)
    homes = [enc.home[first + x] for x in (a, b, c)]
    result: Numbers = np.stack([homes[0], homes[1] + xb, homes[2] + xc], axis=-1)
    return result


def triple_of(scope: Scope, number: int) -> tuple[int, int, int]:
    """Return the triple that a number stands for, as the puzzle's placements."""
    a, b, c = scope.placements[_triples(scope, np.array([number], dtype=np.int64))[0]].tolist()
    return a, b, c


def _pattern(puzzle: Puzzle, word: Word) -> Pattern:
    form = forms.shortest_form(puzzle, word)
    if form is None:
        plain, back = ("".join(f"{{{t}}} " for t in w) for w in (word, puzzle.inverse(word)))
        return Pattern(word, forms.things(puzzle, word), plain.strip(), back.strip())
    tree = _numbered(puzzle, forms.tree(puzzle, form))
    return Pattern(word, form.things, brackets.text(tree), brackets.text(_undone(tree)))


def _undone(tree: Tree) -> Tree:
    """Return ``[S: [B, A]]`` for ``[S: [A, B]]``."""
    match tree:
        case Conjugate(setup, part):
            return Conjugate(setup, _undone(part))
        case Commutator(a, b):
            return Commutator(b, a)
        case _:
            raise AssertionError("a form is a commutator with or without setup")


def _numbered(puzzle: Puzzle, tree: Tree) -> Tree:
    """Return a tree in which every turn is written as its number in braces."""
    match tree:
        case Written(name, amount, _):
            number = puzzle.turn(puzzle.layer_numbers[name], amount)
            return Written(f"{{{number}}}", 1, 2)
        case brackets.Sequence(parts):
            return brackets.Sequence(tuple(_numbered(puzzle, part) for part in parts))
        case brackets.Repeat(part, times):
            return brackets.Repeat(_numbered(puzzle, part), times)
        case brackets.Inverse(part):
            return brackets.Inverse(_numbered(puzzle, part))
        case Commutator(a, b):
            return Commutator(_numbered(puzzle, a), _numbered(puzzle, b))
        case Conjugate(setup, part):
            return Conjugate(_numbered(puzzle, setup), _numbered(puzzle, part))


def _teller(scope: Scope) -> Callable[[Pattern, int, bool], Said]:
    """Return what says a representative's pattern in the letters of a symmetric image."""
    puzzle = scope.puzzle
    turns = [symmetry.turns.tolist() for symmetry in scope.symmetries]
    texts = [turn_text(puzzle, t) for t in range(len(puzzle.turns))]
    names = [[texts[t] for t in images] for images in turns]

    @cache
    def said(pattern: Pattern, symmetry: int, turned: bool) -> Said:
        word = puzzle.inverse(pattern.word) if turned else pattern.word
        done = normal(puzzle, [turns[symmetry][t] for t in word])
        text = (pattern.undone if turned else pattern.text).format(*names[symmetry])
        return Said(write(puzzle, done), text, len(done), pattern.things)

    return said


def entries(
    scope: Scope, found: Shelves, triples: Iterable[Iterable[int]], setup: int | None, alike: bool
) -> list[Entry | None]:
    """Return an entry for every three-cycle of placements, None where nothing was found.

    With ``alike`` a cycle may be done by any that looks the same on this puzzle.
    """
    puzzle, chosen, said = scope.puzzle, Chosen(scope, found, setup), _teller(scope)
    rows = [(int(a), int(b), int(c)) for a, b, c in triples]
    groups = [_look_alike(puzzle, row) if alike else [row] for row in rows]
    flat = np.array([t for group in groups for t in group], dtype=np.int64).reshape(-1, 3)
    seen = framed(scope, placed(scope, flat)) if len(flat) else None
    result: list[Entry | None] = []
    at = 0
    for (a, b, c), group in zip(rows, groups, strict=True):
        options = range(at, at + len(group))
        at += len(group)
        assert seen is not None
        known = [k for k in options if chosen.turns(int(seen.number[k])) < NONE]
        if not known:
            result.append(None)
            continue
        told: list[tuple[Said, Said]] = []
        fewest = min(chosen.turns(int(seen.number[k])) for k in known)
        for k in known:
            if chosen.turns(int(seen.number[k])) > fewest + 2:
                continue
            patterns = chosen.patterns(int(seen.number[k]))
            if patterns is not None:
                how = int(seen.symmetry[k]), bool(seen.turned[k])
                told.append((said(patterns[0], *how), said(patterns[1], *how)))
        names = (placement_name(puzzle, a), placement_name(puzzle, b), placement_name(puzzle, c))
        shortest = min((pair[0] for pair in told), key=lambda s: (s.turns, s.things, s.sequence))
        easiest = min((pair[1] for pair in told), key=lambda s: (s.things, s.turns, s.sequence))
        result.append(Entry((a, b, c), names, shortest, easiest))
    return result


def _look_alike(puzzle: Puzzle, triple: tuple[int, int, int]) -> list[tuple[int, int, int]]:
    """Return the cycles that look the same as one, itself first."""
    places = tuple(Placed(int(puzzle.slot_of[p]), p, None, -1, "") for p in triple)
    return Request(puzzle, places).triples()
