"""Sequences read: their structure as nested brackets, whoever made them and whatever has cancelled.

A word is a commutator S [A, B] S' if its ring can be cut, also inside a turn, into P Q with Q
conjugate to P'; ``search.brackets`` and ``search.reading_cuts`` find the cuts. Their parts are read
in the same way, so that a bracket is found within a bracket although turns have merged where the
two meet. What is said is true of the sequence as it stands: no relation of the puzzle is used but
that layers commute and that turns of one layer add up, and what is found is multiplied out again.
"""

from __future__ import annotations

import heapq
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import pairwise

from puzzles import brackets
from puzzles.brackets import Commutator, Conjugate, Repeat, Sequence, Tree, sequence
from puzzles.notation import plain
from puzzles.puzzle import Puzzle, Word
from search.arcs import Budget
from search.brackets import Reading as Triple
from search.brackets import readings, shortest_form
from search.brackets import tree as tree_of
from search.fastened import possible
from search.nesting import nesting
from search.reading_cuts import MOST_PAIRS, cut_open
from search.reading_moves import neighbours, root
from search.traces import alphabet

#: The longest sequence, in executed turns, of which the structure is looked for.
LONGEST = 100
#: The longest of which it is looked for whether it only repeats a shorter one.
LONGEST_REPEATED = 1_000
#: The longest part whose shortest form as it stands is looked for (time grows with the cube).
LONGEST_NESTED = 48
#: Readings of one ring whose parts are read in turn: those with the fewest turns as they stand.
MOST_CANDIDATES, PART_CANDIDATES = 16, 4
#: How often one goes on from a reading to those one move away (search.reading_moves), for a whole
#: sequence and for a part of it, and how much longer a reading may get by a move.
STEPS, PART_STEPS, MOST_LONGER = 16, 2, 4
#: The longest sequence that is cut open in search of parts that repeat something, in any case.
MOST_CUT_OPEN = 40
#: Halves (search.arcs) of a ring that are looked at for a whole sequence, times the turns that it
#: has, for their time grows with these; halves for one part, and for all parts.
WORK, PART_HALVES, INSIDE_HALVES = 60_000, 500, 4_000

#: Whether a sequence is a commutator, up to a setup: shown, proven that it is none, or not found.
FOUND, NEVER, NOT_FOUND = "found", "never", "not found"


@dataclass(frozen=True)
class Reading:
    """What a word was read as.

    ``word`` is what is left of it after cancelling, ``tree`` its brackets, which multiply out to
    it; ``commutator`` is FOUND, NEVER or NOT_FOUND. ``totals`` are the layers whose turns do not
    sum to nothing, by number, with the amount left; a commutator has none. ``parts_only`` is true
    where the word is too long, or has too many ways to be cut, for all of it to be looked at.
    """

    puzzle: Puzzle
    word: Word
    tree: Tree
    commutator: str
    totals: dict[int, int]
    parts_only: bool

    @property
    def things(self) -> int:
        """The turns of the brackets: what must be remembered."""
        return leaves(self.tree)


def read(puzzle: Puzzle, word: Word) -> Reading:
    """Return the structure of a word: commutators and conjugates, nested, with the fewest turns.

    A commutator is shown as one if it is found to be one; else a word whose ends undo each other,
    or merge, as a conjugate; else what it repeats; else its parts in a row. Work is bounded by
    counts, not by time.
    """
    letters = alphabet(puzzle)
    done = letters.normal(word)
    own = totals(puzzle, done)
    reader = _Reader(puzzle)
    found, commutator = reader.whole(done)
    found = _doable(puzzle, done, found)
    if written_out(puzzle, found) != done:
        raise RuntimeError(f"{brackets.text(found)} does not multiply out to what was read")
    state = FOUND if commutator else NEVER if own else NOT_FOUND
    return Reading(puzzle, done, found, state, own, reader.short and not commutator)


def totals(puzzle: Puzzle, word: Word) -> dict[int, int]:
    """Return by layer the sum of its turns in steps, for those layers where it is not nothing.

    These sums are a homomorphism to an abelian group, so that they vanish for every commutator.
    """
    sums: Counter[int] = Counter()
    for turn in word:
        sums[int(puzzle.turn_layer[turn])] += puzzle.turns[turn].amount
    left = {layer: total % puzzle.layers[layer].steps for layer, total in sorted(sums.items())}
    return {layer: total for layer, total in left.items() if total}


def leaves(tree: Tree) -> int:
    """Return how many turns stand in a tree as it is written: undoing and repeating are free."""
    match tree:
        case brackets.Written():
            return 1
        case Sequence(parts):
            return sum(leaves(part) for part in parts)
        case Repeat(part, _) | brackets.Inverse(part):
            return leaves(part)
        case Commutator(a, b) | Conjugate(a, b):
            return leaves(a) + leaves(b)


def turns_of(puzzle: Puzzle, tree: Tree) -> Word:
    """Return the turns of a tree written out, nothing cancelled."""
    found = []
    for step in brackets.expand(tree):
        turn = puzzle.turn(puzzle.layer_numbers[step.name], step.amount)
        if turn is not None:
            found.append(turn)
    return tuple(found)


def written_out(puzzle: Puzzle, tree: Tree) -> Word:
    """Return what a tree multiplies out to, cancelled."""
    return alphabet(puzzle).normal(turns_of(puzzle, tree))


def inverted(tree: Tree) -> Tree:
    """Return the tree that undoes another, with the same brackets: [A, B]' is [B, A]."""
    match tree:
        case brackets.Written():
            return tree.inverse()
        case Sequence(parts):
            return Sequence(tuple(inverted(part) for part in reversed(parts)))
        case Repeat(part, times):
            return Repeat(inverted(part), times)
        case brackets.Inverse(part):
            return part
        case Commutator(a, b):
            return Commutator(b, a)
        case Conjugate(setup, part):
            return Conjugate(setup, inverted(part))


def _doable(puzzle: Puzzle, word: Word, tree: Tree) -> Tree:
    """Return the tree, or one that can be done as it is written where turns may be blocked.

    Turns that cancel are not executed, but somebody who goes by the brackets does them.
    """
    if not puzzle.can_block or possible(puzzle, turns_of(puzzle, tree)):
        return tree
    form = shortest_form(puzzle, word)
    return plain(puzzle, word) if form is None else tree_of(puzzle, form)


class _Reader:
    """Reads one word: remembers the best tree of every part of it, and how much was looked at."""

    def __init__(self, puzzle: Puzzle) -> None:
        self.puzzle = puzzle
        self.letters = alphabet(puzzle)
        self.nesting = nesting(puzzle)
        self.left = INSIDE_HALVES
        self.short = False
        self._known: dict[Word, Tree] = {}

    def whole(self, word: Word) -> tuple[Tree, bool]:
        """Return the tree of all of a word, and whether it is a commutator, up to a setup."""
        if len(word) > LONGEST:
            return self._long(word), False
        around, part, times = self._peeled(word)
        if not part:
            return Sequence(()), False
        budget = Budget(WORK // len(word))
        found = self._commutator(word, 1, budget, STEPS) if self._even(word) else None
        self.short |= budget.short
        repeated = (
            self._repeated(around, part, times, Budget(WORK // len(word))) if times > 1 else None
        )
        trees = [tree for tree in (found, repeated) if tree is not None]
        if trees:
            return min(trees, key=leaves), found is not None
        if around or times > 1:
            return self._framed(self.best(around, word), self.best(part, word), times), False
        return min([self._as_it_stands(word), *self._row(word)], key=leaves), False

    def _repeated(self, around: Word, part: Word, times: int, budget: Budget) -> Tree | None:
        """Return the tree of p v^n p' where p v p' is a commutator, up to a setup, else None."""
        one = self.letters.normal((*around, *part, *self.letters.undone(around)))
        if len(one) > LONGEST or not self._even(one):
            return None
        return self._commutator(one, times, budget)

    def _long(self, word: Word) -> Tree:
        """Return the tree of a word that is too long, unless it repeats a shorter one."""
        if len(word) <= LONGEST_REPEATED:
            around, part, times = self._peeled(word)
            if times > 1 and len(around) + len(part) <= LONGEST:
                found = self._repeated(around, part, times, Budget(WORK // len(word)))
                parts = self.best(around, word), self.best(part, word)
                return found or self._framed(*parts, times)
        self.short = True
        return plain(self.puzzle, word)

    def _peeled(self, word: Word) -> tuple[Word, Word, int]:
        """Return (p, v, n) with the word equal to p v^n p' and nothing left to cancel around v."""
        around, ring = self.letters.peeled(word)
        part, times = root(self.letters, ring)
        return around, part, times

    def _even(self, word: Word) -> bool:
        """Whether the turns of every layer sum to nothing, as they must in a commutator."""
        return len(word) > 3 and not totals(self.puzzle, word)

    def _commutator(
        self, word: Word, times: int, budget: Budget, steps: int = PART_STEPS
    ) -> Tree | None:
        """Return the best S [A, B]n S' for a word S [A, B] S', None if it is not found to be so."""
        whole = steps == STEPS
        most = MOST_CANDIDATES if whole else PART_CANDIDATES
        pairs = Budget(MOST_PAIRS if whole else min(MOST_PAIRS, budget.halves))
        found = readings(self.letters, word, budget)
        if not found:
            found = cut_open(self.puzzle, word, pairs, padded=whole)
            budget.short = pairs.short
        elif whole and len(word) <= MOST_CUT_OPEN:
            found += cut_open(self.puzzle, word, pairs, powers=True)
        if not found:
            return None
        read = {triple: self._read(triple, word, times) for triple in self._candidates(found, most)}
        # Best first, on to what is one move away: brackets within brackets may show only there.
        waiting = sorted(read.values())
        least = len({self.letters.layer[turn] for turn in self.letters.peeled(word)[1]})
        for _ in range(steps):
            # No brackets have fewer turns than there are layers in the ring.
            if not waiting or waiting[0][0][0] <= least:
                break
            triple = heapq.heappop(waiting)[1]
            for other in neighbours(self.letters, triple):
                if other in read or not (other[1] and other[2]):
                    continue
                if sum(map(len, other)) <= sum(map(len, triple)) + MOST_LONGER:
                    read[other] = self._read(other, word, times)
                    heapq.heappush(waiting, read[other])
        best = min(read.values())
        return self._tree(best[1], word, times)

    def _read(self, triple: Triple, word: Word, times: int) -> tuple[tuple[int, ...], Triple]:
        """Return how good a reading is, less is better, and the reading."""
        s, a, b = triple
        return (leaves(self._tree(triple, word, times)), len(s), len(a) + len(b)), triple

    def _tree(self, triple: Triple, word: Word, times: int) -> Tree:
        s, a, b = triple
        inside = Commutator(self.best(a, word), self.best(b, word))
        return self._framed(self.best(s, word), inside, times)

    def _candidates(self, found: list[Triple], most: int) -> list[Triple]:
        """Return the readings whose parts are worth reading, best first as they stand."""

        def cost(triple: Triple) -> tuple[int, int, int, Triple]:
            s, a, b = triple
            return sum(map(self._things, triple)), len(s), len(a) + len(b), triple

        def size(triple: Triple) -> tuple[int, Triple]:
            return sum(map(len, triple)), triple

        ordered = sorted(found, key=size)[: 4 * most]
        chosen = dict.fromkeys(sorted(ordered, key=cost)[:most])
        chosen.update(dict.fromkeys(ordered[:most]))
        return list(chosen)

    def _things(self, word: Word) -> int:
        return self.nesting.things(word) if len(word) <= LONGEST_NESTED // 2 else len(word)

    def _framed(self, setup: Tree, part: Tree, times: int) -> Tree:
        if times > 1:
            part = Repeat(part, times)
        return part if setup == Sequence(()) else Conjugate(setup, part)

    def best(self, word: Word, inside: Word | None = None) -> Tree:
        """Return the tree of a part with the fewest turns; ties: as it stands.

        Parts that are no shorter than what they are ``inside`` of are taken as they stand.
        """
        if inside is not None and len(word) >= len(inside):
            return self._as_it_stands(word)
        known = self._known.get(word)
        if known is None:
            known = self._found(word)
            self._known[word] = known
        return known

    def _as_it_stands(self, word: Word) -> Tree:
        if len(word) > LONGEST_NESTED:
            return plain(self.puzzle, word)
        return self.nesting.tree(word)

    def _found(self, word: Word) -> Tree:
        best = self._as_it_stands(word)
        for tree in self._others(word):
            if leaves(tree) < leaves(best):
                best = tree
        return best

    def _others(self, word: Word) -> Iterator[Tree]:
        """Yield other trees of a part: turns have merged in them, or parts are read separately."""
        if len(word) < 4:
            return
        around, part, times = self._peeled(word)
        found = None
        if self._even(word):
            with self._share() as budget:
                found = self._commutator(word, 1, budget)
        repeated = None
        if times > 1:
            with self._share() as budget:
                repeated = self._repeated(around, part, times, budget)
        yield from (tree for tree in (found, repeated) if tree is not None)
        if found is None and repeated is None:
            if around or times > 1:
                yield self._framed(self.best(around, word), self.best(part, word), times)
            yield from self._row(word)

    @contextmanager
    def _share(self) -> Iterator[Budget]:
        """Give out one part's share of the work inside parts; what it leaves is taken back."""
        budget = Budget(min(PART_HALVES, self.left))
        self.left -= budget.halves
        yield budget
        self.left += budget.halves

    def _row(self, word: Word) -> Iterator[Tree]:
        """Yield the word cut into parts of which some are commutators, if any may be."""
        size = len(word)
        sums = [tuple(totals(self.puzzle, word[:j]).items()) for j in range(size + 1)]
        even = {
            (i, j)
            for i in range(size)
            for j in range(i + 4, size + 1)
            if j - i < size and sums[i] == sums[j]
        }
        if not even:
            return
        #: The fewest turns of the first j, and where the last part of them begins.
        costs: list[tuple[int, int]] = [(0, 0)]
        for j in range(1, size + 1):
            options = [
                (costs[i][0] + leaves(self.best(word[i:j])), i) for i in range(j) if (i, j) in even
            ]
            costs.append(min([(costs[j - 1][0] + 1, j - 1), *options]))
        ends = [size]
        while ends[-1]:
            ends.append(costs[ends[-1]][1])
        ends.reverse()
        yield self._joined(word, ends, even)

    def _joined(self, word: Word, ends: list[int], even: set[tuple[int, int]]) -> Tree:
        """Return the parts in a row, single turns between two of them as they stand together."""
        parts: list[Tree] = []
        loose: Word = ()
        for i, j in pairwise(ends):
            if (i, j) not in even:
                loose += word[i:j]
                continue
            parts += _opened(self._as_it_stands(loose)) if loose else ()
            loose = ()
            parts += _opened(self.best(word[i:j]))
        parts += _opened(self._as_it_stands(loose)) if loose else ()
        return sequence(parts)


def _opened(tree: Tree) -> tuple[Tree, ...]:
    return tree.parts if isinstance(tree, Sequence) else (tree,)
