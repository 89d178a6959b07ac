"""Other brackets for the same word: the moves that carry one pair (A, B) to another.

All of these leave [A, B] as it is, which is seen by multiplying out: [A, B] = [A B A', A'] =
[B', B A B'] = [A c, B] for any c that commutes with B, such as that of which B is a power; likewise
[A, B d]. A turn of the setup may as well be carried inside, c [A, B] c' = [c A c', c B c'].
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from math import gcd

from puzzles.puzzle import Word
from search.traces import Alphabet

#: A setup and the two parts of the bracket.
Triple = tuple[Word, Word, Word]


def neighbours(letters: Alphabet, triple: Triple) -> Iterator[Triple]:
    """Yield the readings one move away from a reading S [A, B] S'."""
    setup, a, b = triple
    normal, undone = letters.normal, letters.undone
    back, again = undone(a), undone(b)
    c, d = _root(letters, b), _root(letters, a)
    for left, right in (
        ((*a, *c), b),
        ((*a, *undone(c)), b),
        (a, (*b, *d)),
        (a, (*b, *undone(d))),
        ((*a, *b, *back), back),
        (again, (*b, *a, *again)),
    ):
        yield setup, normal(left), normal(right)
    for part, other, first in ((a, b, True), (b, a, False)):
        for turn in _passing(letters, part, other):
            more = normal((*part, turn))
            yield (setup, more, b) if first else (setup, a, more)
    for k in letters.lasts(setup):
        yield _carried(letters, (setup[:k] + setup[k + 1 :], a, b), (setup[k],))
    yield _carried(letters, ((), a, b), setup)
    for turn in _ends(letters, a, b):
        outside = normal((*setup, turn))
        yield _carried(letters, (outside, a, b), (letters.inverse[turn],))


def _root(letters: Alphabet, word: Word) -> Word:
    """Return the shortest word of which a word is a power, setups included."""
    around, ring = letters.peeled(word)
    return around + root(letters, ring)[0] + letters.undone(around)


def root(letters: Alphabet, ring: Word) -> tuple[Word, int]:
    """Return the shortest word of which a ring is a power, up to what commutes, and the power.

    The n-th part of a power has the first n-th of the turns of each kind.
    """
    counts = Counter(ring)
    most = gcd(*counts.values()) if counts else 1
    goal = letters.ordered(ring)
    for times in range(most, 1, -1):
        if most % times:
            continue
        left = {turn: count // times for turn, count in counts.items()}
        part = []
        for turn in ring:
            if left[turn]:
                left[turn] -= 1
                part.append(turn)
        if letters.ordered(part * times) == goal:
            return tuple(part), times
    return ring, 1


def _carried(letters: Alphabet, triple: Triple, around: Word) -> Triple:
    """Return a reading with what stands around the bracket carried into both parts."""
    setup, a, b = triple
    back = letters.undone(around)
    return setup, letters.normal(around + a + back), letters.normal(around + b + back)


def _passing(letters: Alphabet, part: Word, other: Word) -> list[int]:
    """Return the turns of a part's layers that commute with the other part."""
    layers = sorted({letters.layer[turn] for turn in part})
    turns = [turn for layer in layers for turn in letters.turns_of[layer]]
    return [t for t in turns if all(letters.together[t][u] for u in other)]


def _ends(letters: Alphabet, a: Word, b: Word) -> list[int]:
    """Return the turns with which a part begins, or which undo its end."""
    found = {part[k] for part in (a, b) for k in letters.firsts(part)}
    found |= {letters.inverse[part[k]] for part in (a, b) for k in letters.lasts(part)}
    return sorted(found)
