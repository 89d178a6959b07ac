"""A ring cut into P and Q where Q is conjugate to P': the commutators that show no three arcs.

``search.arcs`` wants every turn of a ring paired with one that undoes it. Where turns have merged
at both places at which arcs meet, or a turn and its inverse have cancelled across others that
commute with them, there may be no such pairs to be seen. Here one of the two places is cut open,
inside a turn where need be, and whether Q is conjugate to P' is decided in the group of words: two
words with nothing left to cancel around them are conjugate exactly if moving first turns to the end
carries one to the other. With Q = C P' C' the ring is P C P' C' = [P, C]. Words that are conjugate
leave as many placements of every type alone, which rules out most cuts at once.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from puzzles.puzzle import Puzzle, Word
from search.arcs import Budget, cuts
from search.reading_moves import Triple, root
from search.traces import Alphabet, alphabet

#: The most pairs (P, Q) that are compared for one ring, and ways to cut the ring open.
MOST_PAIRS, MOST_STARTS = 2_000, 300
#: Ways to cut it open where turns are put back, times the turns of the ring.
PADDED_WORK = 1_600
#: Powers of P and Q that are compared by what they leave alone.
POWERS = 4
#: Rings P C P' C' that are collected for one word.
ENOUGH = 24


def cut_open(
    puzzle: Puzzle, word: Word, budget: Budget, powers: bool = False, padded: bool = False
) -> list[Triple]:
    """Return readings (S, P, C) with S [P, C] S' equal to a word; some, not all.

    ``budget.halves`` counts the pairs that may be compared. With ``powers`` only such P are looked
    at as repeat something: three arcs show these in other, longer brackets. With ``padded`` and
    where nothing else is found, a turn and its inverse, which may have cancelled across others, are
    put back at some of the cuts.
    """
    found = _looked_at(puzzle, word, budget, powers, padded=False)
    if not found and padded and not powers and not budget.short:
        found = _looked_at(puzzle, word, budget, powers, padded=True)
    return found


def _looked_at(
    puzzle: Puzzle, word: Word, budget: Budget, powers: bool, padded: bool
) -> list[Triple]:
    """Return what one pass over all cuts finds, with turns put back at the cuts or not."""
    letters = alphabet(puzzle)
    around, ring = letters.peeled(word)
    found: dict[Triple, None] = {}
    most = PADDED_WORK // max(len(ring), 1) if padded else MOST_STARTS
    for number, (setup, line) in enumerate(_starts(letters, word, around, ring)):
        if number == most:
            budget.short |= not padded
            break
        for p, q in _pairs(puzzle, line, padded):
            if budget.halves <= 0:
                budget.short = True
                return list(found)
            budget.halves -= 1
            if powers and root(letters, letters.peeled(p)[1])[1] == 1:
                continue
            c = conjugator(letters, letters.undone(p), q)
            if c is not None:
                found[letters.normal(setup), p, c] = None
        if len(found) >= ENOUGH:
            break
    return list(found)


def conjugator(letters: Alphabet, first: Word, second: Word) -> Word | None:
    """Return C with ``second = C first C'``, None where the words are not conjugate."""
    outer, core = letters.peeled(first)
    other, goal = letters.peeled(second)
    if len(core) != len(goal) or sum(letters.key[t] for t in core) != sum(
        letters.key[t] for t in goal
    ):
        return None
    wanted = letters.ordered(goal)
    for before, turned in cuts(letters, core, len(core) - 1) if core else [((), ())]:
        if turned == wanted:
            # first = outer core outer', core = before turned before', second = other goal other'.
            way = (*other, *letters.undone(before), *letters.undone(outer))
            return letters.normal(way)
    return None


def _starts(letters: Alphabet, word: Word, around: Word, ring: Word) -> Iterator[tuple[Word, Word]]:
    """Yield what stands before a cut, and what follows: the word itself, then its ring."""
    if around:
        # What cancels around the ring may have been a part of P and of Q.
        yield (), word
    for before, line in _turned(letters, ring):
        yield around + before, line


def _extra(letters: Alphabet, line: Word, k: int) -> list[int]:
    """Return the turns of the line's layers that may have cancelled across a turn at a cut."""
    layers = sorted({letters.layer[turn] for turn in line})
    free = [letters.free[line[k - 1]], letters.free[line[k]]]
    every = [turn for layer in layers for turn in letters.turns_of[layer]]
    return [turn for turn in every if free[0][turn] or free[1][turn]]


def _turned(letters: Alphabet, ring: Word) -> Iterator[tuple[Word, Word]]:
    """Yield the cuts of a ring: first those between two turns as they stand, then all others."""
    known: dict[Word, Word] = {}
    for k in range(len(ring)):
        known.setdefault(letters.ordered(ring[k:] + ring[:k]), ring[:k])
    yield from ((before, line) for line, before in known.items())
    waiting = list(known)
    for line in waiting:
        for k in letters.firsts(line):
            moved = letters.ordered((*line[:k], *line[k + 1 :], line[k]))
            if moved not in known:
                known[moved] = (*known[line], line[k])
                waiting.append(moved)
                yield known[moved], moved


def _pairs(puzzle: Puzzle, line: Word, padded: bool) -> Iterator[tuple[Word, Word]]:
    """Yield P and Q with ``line = P Q``, cut between two turns or inside one.

    P and Q leave equally many placements of each type alone, and so do their powers.
    """
    letters, still = alphabet(puzzle), np.arange(puzzle.placement_count)
    ways: list[tuple[Word, Word]] = []
    tables = []
    table = still
    for k, turn in enumerate(line):
        if k:
            ways.append((line[:k], line[k:]))
            tables.append(table)
        for part in letters.turns_of[letters.layer[turn]]:
            rest = letters.sums[letters.inverse[part]][turn]
            if rest >= 0:
                ways.append(((*line[:k], part), (rest, *line[k + 1 :])))
                tables.append(puzzle.moves[part][table])
        for extra in _extra(letters, line, k) if padded and k else ():
            ways.append(((*line[:k], extra), (letters.inverse[extra], *line[k:])))
            tables.append(puzzle.moves[extra][table])
        table = puzzle.moves[turn][table]
    if not ways:
        return
    first, second = np.array(tables), np.empty((len(tables), len(still)), dtype=np.int64)
    # Q carries what P has carried from x to T(x) on to where both together carry x.
    np.put_along_axis(second, first, np.broadcast_to(table, first.shape), axis=1)
    starts = [kind.first_placement for kind in puzzle.types]
    powers, left = [first, second], np.arange(len(ways))
    for _ in range(POWERS):
        alone = [np.add.reduceat((own == still).astype(int), starts, axis=1) for own in powers]
        same = (alone[0] == alone[1]).all(axis=1)
        left, first, second = left[same], first[same], second[same]
        powers = [
            np.take_along_axis(own, power[same], axis=1)
            for own, power in zip((first, second), powers, strict=True)
        ]
    yield from (ways[number] for number in left.tolist())
