"""From shelves to an atlas: for every three-cycle of a type its shortest and its easiest sequence.

Words are chosen once for each orbit of three-cycles and carried to the others by symmetry.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cache

import numpy as np

from puzzles import brackets
from puzzles.brackets import Commutator, Conjugate, Tree, Written
from puzzles.names import Placed, placement_name
from puzzles.notation import turn_text, write
from puzzles.puzzle import PieceType, Puzzle, Word
from puzzles.words import normal
from search import brackets as forms
from search import frames
from search.checking import check
from search.encoding import Scope
from search.frames import Frames, Numbers
from search.kernels.arrays import NONE, Shelf
from search.request import Request
from search.setups import within
from search.shelves import Shelves

#: Of cycles that look the same, those with at most so many turns more than the best are compared.
SPREAD = 2
#: Words that are compared for one orbit, of the shortest and of the easiest each.
COMPARED = 8


@dataclass(frozen=True)
class Said:
    """One sequence of an atlas: plain turns, bracket form, executed turns, things to remember."""

    sequence: str
    notation: str
    turns: int
    things: int
    word: Word


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


def representatives(scope: Scope, found: Shelves, triples: Numbers) -> Numbers:
    """Return the number of the representative of each of some triples (n, 3) of placements."""
    orbits = _table(scope, found).orbit[frames.numbers(scope, placed(scope, triples))]
    result: Numbers = found.first[orbits]
    return result


def _table(scope: Scope, found: Shelves) -> Frames:
    return frames.frames(scope, tuple(found.first.tolist()))


class Chosen:
    """The best words of every orbit with setups of at most so many turns, None for any."""

    def __init__(self, scope: Scope, found: Shelves, setup: int | None = None) -> None:
        self.scope, self.found, self.setup = scope, found, setup
        self._costs = {
            weight: _costs(scope, found.first, shelf, weight, setup)
            for shelf, weight in ((found.shortest, 2), (found.easiest, 1))
        }
        starts = [frames.triple(scope, number) for number in found.first.tolist()]
        beyond = scope.arrays.moves[:, np.array(starts, dtype=np.int64).reshape(-1, 3)]
        #: The number of the triple to which each turn of setup leads, (turns, orbits).
        self._beyond = frames.numbers(scope, beyond)
        self._words: dict[tuple[int, int, int], list[Word]] = {}
        self._patterns: dict[int, tuple[Pattern, Pattern]] = {}

    def turns(self, orbit: int) -> int:
        """Return the fewest executed turns for an orbit by its place, NONE if nothing was found."""
        return int(self._costs[2][-1][orbit])

    def patterns(self, orbit: int) -> tuple[Pattern, Pattern]:
        """Return the shortest and the easiest word of an orbit for which something was found."""
        if orbit not in self._patterns:
            self._patterns[orbit] = self._choose(orbit)
        return self._patterns[orbit]

    def _choose(self, orbit: int) -> tuple[Pattern, Pattern]:
        puzzle, turns = self.scope.puzzle, self.scope.turns
        words: dict[Word, None] = {}
        for weight in (2, 1):
            for word in self._best(orbit, weight, len(self._costs[weight]) - 1):
                words.setdefault(normal(puzzle, [int(turns[t]) for t in word]))
        patterns = [pattern(puzzle, word, self.setup) for word in words]
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
        table = _table(self.scope, self.found)
        for turn in range(len(self._beyond) if least < NONE and setup else 0):
            there = self._beyond[turn, orbit]
            other = int(table.orbit[there])
            if len(result) >= 2 * COMPARED or costs[setup - 1][other] + weight != least:
                continue
            for word in self._best(other, weight, setup - 1)[:COMPARED]:
                inner = np.array(word, dtype=np.int64)
                if table.turned[there]:
                    inner = enc.inverse[inner[::-1]]
                inner = enc.symmetry[table.symmetry[there]][inner]
                result.setdefault((turn, *inner.tolist(), int(enc.inverse[turn])))
        self._words[key] = list(result)[: 2 * COMPARED]
        return self._words[key]


def _costs(
    scope: Scope, first: Numbers, shelf: Shelf, weight: int, setup: int | None
) -> list[Numbers]:
    """Return for every number of setup turns the least costs; the last is for any more."""
    costs = [shelf.cost[:, 0].astype(np.int64)]
    while setup is None or len(costs) <= setup:
        lower = within(scope, first, costs[-1], weight, 1)
        if np.array_equal(lower, costs[-1]):
            break
        costs.append(lower)
    return costs


def triple_of(scope: Scope, number: int) -> tuple[int, int, int]:
    """Return the triple that a number stands for, as the puzzle's placements."""
    a, b, c = (int(scope.placements[p]) for p in frames.triple(scope, number))
    return a, b, c


def pattern(puzzle: Puzzle, word: Word, setup: int | None) -> Pattern:
    """Return a word with its bracket form by numbers of turns, with at most so much setup."""
    form = forms.shortest_form(puzzle, word, setup)
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


def teller(scope: Scope) -> Callable[[Pattern, int, bool], Said]:
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
        return Said(write(puzzle, done), text, len(done), pattern.things, done)

    return said


def entries(
    scope: Scope, found: Shelves, triples: Iterable[Iterable[int]], setup: int | None, alike: bool
) -> list[Entry | None]:
    """Return an entry for every three-cycle of placements, None where nothing was found.

    With ``alike`` a cycle may be done by any that looks the same on this puzzle.
    """
    puzzle, chosen, said = scope.puzzle, Chosen(scope, found, setup), teller(scope)
    rows = [(int(a), int(b), int(c)) for a, b, c in triples]
    groups = [_look_alike(puzzle, row) if alike else [row] for row in rows]
    flat = np.array([t for group in groups for t in group], dtype=np.int64).reshape(-1, 3)
    table, numbers = _table(scope, found), frames.numbers(scope, placed(scope, flat))
    orbits = table.orbit[numbers].tolist()
    result: list[Entry | None] = []
    done: list[tuple[int, Word]] = []
    at = 0
    for row, group in zip(rows, groups, strict=True):
        options = range(at, at + len(group))
        at += len(group)
        fewest = min(chosen.turns(orbits[k]) for k in options)
        if fewest >= NONE:
            result.append(None)
            continue
        told: list[tuple[int, Said, Said]] = []
        for k in options:
            if chosen.turns(orbits[k]) <= fewest + SPREAD:
                how = int(table.symmetry[numbers[k]]), bool(table.turned[numbers[k]])
                shortest, easiest = (said(pattern, *how) for pattern in chosen.patterns(orbits[k]))
                told.append((k, shortest, easiest))
        short = min(told, key=lambda t: (t[1].turns, t[1].things, t[1].sequence))
        easy = min(told, key=lambda t: (t[2].things, t[2].turns, t[2].sequence))
        done += [(short[0], short[1].word), (easy[0], easy[2].word)]
        a, b, c = (placement_name(puzzle, p) for p in row)
        result.append(Entry(row, (a, b, c), short[1], easy[2]))
    check(scope, flat[[k for k, _ in done]].tolist(), [word for _, word in done])
    return result


def _look_alike(puzzle: Puzzle, triple: tuple[int, int, int]) -> list[tuple[int, int, int]]:
    """Return the cycles that look the same as one, itself first."""
    places = tuple(Placed(int(puzzle.slot_of[p]), p, None, -1, "") for p in triple)
    return Request(puzzle, places).triples()
