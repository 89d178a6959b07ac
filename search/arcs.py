"""Rings read as three arcs: every way to see a loop of turns as X Y Z X' Y' Z'.

In a free group a cyclically reduced word is a commutator exactly if a rotation of it is such a
product (M. J. Wicks, Commutators in free products, J. London Math. Soc. 37, 1962). Here layers may
commute, so pieces of the ring are traces, and turns may have merged where arcs meet: three ends of
arcs meet at each of two places, so three turns p, q, r of one layer with p + q + r = 0 are left
there, and splitting one of them (q into -p and -r) makes the ring a plain product again. Where one
arc lies within commuting layers, a turn and its inverse may have cancelled across another layer;
putting them back is the last resort.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice, product

from puzzles.puzzle import Word
from search.traces import Alphabet

#: The most ways of splitting turns that are tried for one ring.
MOST_SPLITS = 48
#: The most halves that are looked at for one ring, a second's work, and for one way of splitting
#: its turns. On the puzzles of the catalogue that are cut by planes the most was 326 for a ring;
#: where many layers commute, as on balls, long rings have some 8,000 for each way.
MOST_HALVES = 30_000
MOST_FOR_ONE = 1_000
#: The most ways of putting a pair back that are tried for one ring.
MOST_PADDED = 200


@dataclass
class Budget:
    """How many halves of a ring may still be looked at; ``short`` says that it was not enough."""

    halves: int = MOST_HALVES
    short: bool = False


#: The place of a turn in a ring and the two turns it is split into.
Part = tuple[int, tuple[int, int]]


@dataclass(frozen=True)
class Arcs:
    """A ring read as X Y Z X' Y' Z' from the cut after ``start``, which is its first turns."""

    start: Word
    x: Word
    y: Word
    z: Word


def arcs(alphabet: Alphabet, ring: Word, budget: Budget | None = None) -> list[Arcs]:
    """Return the readings of a cyclically reduced ring, one for each triple of arcs.

    Readings that differ only in which of the six arcs comes first are one. Where every turn has its
    inverse, all plain readings are returned, and only if there is none, others: two turns of a
    layer split, or a pair put back. Else those of up to MOST_SPLITS ways to split turns.
    ``budget`` bounds the work, else MOST_HALVES, and is told whether it was cut short.
    """
    left = budget or Budget()
    found = [
        reading for tokens in _split(alphabet, ring) for reading in _plain(alphabet, tokens, left)
    ]
    if not found and _paired(alphabet, ring):
        for tokens in islice(_resplit(alphabet, ring), MOST_SPLITS):
            found += _plain(alphabet, tokens, left)
        for tokens in () if found else islice(_padded(alphabet, ring), MOST_PADDED):
            found = _plain(alphabet, tokens, left)
            if found:
                break
    return found


def cuts(
    alphabet: Alphabet, ring: Word, most: int, enough: int | None = None
) -> list[tuple[Word, Word]]:
    """Return the cuts of a ring with up to ``most`` turns before them, ``enough`` at most.

    Each is the turns before it, and the ring from there in least order.
    """
    start = alphabet.ordered(ring)
    found: dict[Word, Word] = {start: ()}
    level = [start]
    while level:
        following = []
        for word in level:
            if enough is not None and len(found) >= enough:
                return [(before, word) for word, before in found.items()][:enough]
            before = found[word]
            if len(before) == most:
                continue
            for k in alphabet.firsts(word):
                moved = alphabet.ordered((*word[:k], *word[k + 1 :], word[k]))
                if moved not in found:
                    found[moved] = (*before, word[k])
                    following.append(moved)
        level = following
    return [(before, word) for word, before in found.items()]


def _plain(alphabet: Alphabet, ring: Word, left: Budget) -> list[Arcs]:
    """Return the readings of a ring in which every turn is paired with one that undoes it."""
    if not ring or len(ring) % 2 or not _paired(alphabet, ring):
        return []
    share = Budget(min(left.halves, MOST_FOR_ONE))
    if share.halves <= 0:
        left.short = True
        return []
    left.halves -= share.halves
    found: list[Arcs] = []
    seen: set[tuple[Word, Word, Word]] = set()
    #: The arcs are seen from two opposite cuts; one is in the first half.
    for before, word in cuts(alphabet, ring, len(ring) // 2 - 1, share.halves + 1):
        for half, rest in _halves(alphabet, word, share):
            for x, y, z in _solved(alphabet, half, alphabet.undone(rest)):
                if (word, x, y) in seen:
                    continue
                found.append(Arcs(before, x, y, z))
                loop = [arc for arc in (x, y, z) if arc]
                loop += [alphabet.ordered(alphabet.undone(arc)) for arc in loop]
                for k in range(len(loop)):
                    turned = [turn for arc in loop[k:] + loop[:k] for turn in arc]
                    seen.add((alphabet.ordered(turned), loop[k], loop[(k + 1) % len(loop)]))
    left.halves += share.halves
    left.short |= share.short
    return found


def _paired(alphabet: Alphabet, ring: Word) -> bool:
    return not any(_unpaired(alphabet, ring).values())


def _unpaired(alphabet: Alphabet, ring: Word) -> dict[int, int]:
    """Return by kind of turn how many more of it than of its inverse there are; halves modulo 2."""
    left: dict[int, int] = {}
    for turn in ring:
        kind = alphabet.kind[turn]
        if alphabet.inverse[turn] == turn:
            left[kind] = left.get(kind, 0) ^ 1
        else:
            left[kind] = left.get(kind, 0) + (1 if kind == turn else -1)
    return left


def _halves(alphabet: Alphabet, word: Word, left: Budget) -> Iterator[tuple[Word, Word]]:
    """Yield the ways to cut a word in two halves of which the second has the first one's inverses.

    All beginnings with half the turns can be reached by exchanging a last turn of the first half
    for a first turn of the second: they are a level of a distributive lattice.
    """
    size = len(word) // 2
    key, inverse_key, free = alphabet.key, alphabet.inverse_key, alphabet.free
    level = [(word[:size], word[size:])]
    seen = {alphabet.ordered(word[:size])}
    while level:
        following = []
        for half, rest in level:
            if left.halves <= 0:
                left.short = True
                return
            left.halves -= 1
            if sum([key[t] for t in half]) == sum([inverse_key[t] for t in rest]):
                yield half, rest
            if not free[half[-1]][rest[0]] and not _loose(alphabet, half, rest):
                continue
            for i, j in product(alphabet.lasts(half), alphabet.firsts(rest)):
                out, into = half[i], rest[j]
                if not free[out][into]:
                    continue
                changed = alphabet.ordered((*half[:i], *half[i + 1 :], into))
                if changed not in seen:
                    seen.add(changed)
                    following.append((changed, (out, *rest[:j], *rest[j + 1 :])))
        level = following


def _loose(alphabet: Alphabet, half: Word, rest: Word) -> bool:
    """Whether some turn next to the cut commutes with its neighbour on its own side."""
    free = alphabet.free
    inside = len(half) > 1 and (free[half[-1]][half[-2]] or free[rest[0]][rest[1]])
    return bool(inside)


def _solved(alphabet: Alphabet, half: Word, other: Word) -> Iterator[tuple[Word, Word, Word]]:
    """Yield x, y, z with ``half = x y z`` and ``other = z y x``; only z may be empty.

    With one arc empty the ring is X Y X' Y', which has one name only if the empty one comes last.
    """
    for z, rest in alphabet.beginnings(other):
        front = alphabet.without_end(half, z)
        if front is None:
            continue
        for x, y in alphabet.beginnings(front):
            if not x or not y:
                continue
            left = alphabet.without_end(rest, x)
            if left is not None and alphabet.same(left, y):
                yield alphabet.ordered(x), alphabet.ordered(y), alphabet.ordered(z)


def _split(alphabet: Alphabet, ring: Word) -> Iterator[Word]:
    """Yield the ring with turns split in two so that every turn has its inverse."""
    left = _unpaired(alphabet, ring)
    layers = sorted({alphabet.layer[kind] for kind, count in left.items() if count})
    options = [_splits(alphabet, ring, layer) for layer in layers]
    for number, choice in enumerate(product(*options)):
        if number == MOST_SPLITS:
            return
        parts = {place: pair for chosen in choice for place, pair in chosen}
        yield tuple([t for k, turn in enumerate(ring) for t in parts.get(k, (turn,))])


def _splits(alphabet: Alphabet, ring: Word, layer: int) -> list[tuple[Part, ...]]:
    """Return choices of one turn of a layer, else two, and their parts, that leave all paired."""
    places = [k for k, turn in enumerate(ring) if alphabet.layer[turn] == layer]
    parts: list[Part] = [
        (k, (first, second))
        for k in places
        for first in alphabet.turns_of[layer]
        for second in alphabet.turns_of[layer]
        if alphabet.sums[first][second] == ring[k]
    ]
    turns = {k: ring[k] for k in places}

    def paired(chosen: tuple[Part, ...]) -> bool:
        split = dict(chosen)
        word = [t for k, turn in turns.items() for t in split.get(k, (turn,))]
        return _paired(alphabet, tuple(word))

    once: list[tuple[Part, ...]] = [(part,) for part in parts if paired((part,))]
    return once or [
        (first, second)
        for k, first in enumerate(parts)
        for second in parts[k + 1 :]
        if first[0] != second[0] and paired((first, second))
    ]


def _resplit(alphabet: Alphabet, ring: Word) -> Iterator[Word]:
    """Yield a paired ring with two turns of a layer split: two places of merging may hide so."""
    for layer in sorted({alphabet.layer[turn] for turn in ring}):
        if sum(alphabet.layer[turn] == layer for turn in ring) > 2:
            for choice in _splits(alphabet, ring, layer):
                parts = dict(choice)
                yield tuple([t for k, turn in enumerate(ring) for t in parts.get(k, (turn,))])


def _padded(alphabet: Alphabet, ring: Word) -> Iterator[Word]:
    """Yield the ring with a turn and its inverse put around a turn that commutes with them."""
    present = {alphabet.layer[turn] for turn in ring}
    for k, turn in enumerate(ring):
        for layer in sorted(present):
            for extra in alphabet.turns_of[layer]:
                if alphabet.free[extra][turn]:
                    yield (*ring[:k], extra, turn, alphabet.inverse[extra], *ring[k + 1 :])
