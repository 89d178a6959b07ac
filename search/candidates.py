"""Words for one three-cycle, from the shelves: every setup that pays, before every kept word."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from puzzles.puzzle import Word
from puzzles.words import normal
from search import frames
from search.encoding import Scope
from search.frames import Numbers
from search.kernels.arrays import NONE, Shelf
from search.setups import within
from search.shelves import Shelves

#: Words that are this much longer than the best, or have this many more things, are looked at too.
SPREAD_TURNS = 2
SPREAD_THINGS = 1
#: The most words that are handed to ranking for one request, of the shortest and easiest each.
MOST_WORDS = 60
#: The most setups that are followed for one request.
MOST_SETUPS = 60_000


def _longer(
    scope: Scope, words: NDArray[np.int64], there: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return setups (n, k + 1) and the triples (n, 3) they make, from those of one turn less."""
    enc = scope.arrays
    turns = np.arange(len(enc.turn_layer))
    longer = np.concatenate(
        [np.repeat(words, len(turns), axis=0), np.tile(turns, len(words))[:, None]], axis=1
    )
    after = enc.moves[longer[:, -1][:, None], np.repeat(there, len(turns), axis=0)]
    if words.shape[1]:
        before, last = enc.turn_layer[longer[:, -2]], enc.turn_layer[longer[:, -1]]
        passing = (enc.passes[before] >> last.astype(np.uint64)) & np.uint64(1)
        useful = (before != last) & ~((passing == 1) & (last < before))
        longer, after = longer[useful], after[useful]
    return longer, after


def words_for(
    scope: Scope,
    found: Shelves,
    triple: Iterable[int],
    setup: int | None = None,
    most: int = MOST_WORDS,
) -> list[Word]:
    """Return words, as the puzzle's turn numbers, that do a cycle of three placements.

    ``triple`` are the puzzle's placements; ``setup`` bounds the turns before a kept word. The words
    are in normal form, each once, the shortest ones and the easiest ones that the shelves give.
    """
    place = {int(p): k for k, p in enumerate(scope.placements)}
    start = np.array([place[int(p)] for p in triple], dtype=np.int64)
    result: dict[Word, None] = {}
    for shelf, best, weight, spread in (
        (found.shortest, found.turns, 2, SPREAD_TURNS),
        (found.easiest, found.things, 1, SPREAD_THINGS),
    ):
        if setup is not None:
            own = shelf.cost[:, 0].astype(np.int64)
            best = within(scope, found.first, own, weight, setup)
        for word in _from_shelf(
            scope, found.first, shelf, best, weight, spread, start, setup, most
        ):
            result.setdefault(word)
    return list(result)


def _from_shelf(
    scope: Scope,
    first: NDArray[np.int64],
    shelf: Shelf,
    best: NDArray[np.int64],
    weight: int,
    spread: int,
    start: NDArray[np.int64],
    setup: int | None,
    most: int,
) -> list[Word]:
    """Return words from one shelf, by its measure plus ``weight`` for every turn of setup.

    ``best`` (orbits,) are the least measures with as many turns of setup as are allowed.
    """
    table = frames.frames(scope, tuple(first.tolist()))
    target = int(best[table.orbit[frames.numbers(scope, start)]])
    if target >= NONE:
        return []
    found: list[tuple[tuple[int, int, int], Numbers, Numbers, int]] = []
    words, there = np.zeros((1, 0), dtype=np.int64), start[None, :]
    while len(words) and (setup is None or words.shape[1] <= setup):
        named = frames.numbers(scope, there)
        orbits = table.orbit[named]
        spent = weight * words.shape[1]
        costs = shelf.cost[orbits].astype(np.int64) + spent
        for n, k in np.argwhere(costs <= target + spread).tolist():
            orbit = int(orbits[n])
            kept = shelf.words[orbit, k, : shelf.length[orbit, k]].astype(np.int64)
            measures = (int(costs[n, k]), int(shelf.other[orbit, k]), words.shape[1])
            found.append((measures, kept, words[n], int(named[n])))
        # What no further setup can bring within the spread is not followed.
        hopeful = best[orbits] + spent <= target + spread
        words, there = _longer(scope, words[hopeful], there[hopeful])
        if len(words) > MOST_SETUPS:
            break
    found.sort(key=lambda item: item[0])
    result: dict[Word, None] = {}
    for _, kept, setup_word, number in found:
        inner = _carried(scope, kept, int(table.symmetry[number]), bool(table.turned[number]))
        whole = [*setup_word, *inner, *scope.arrays.inverse[setup_word[::-1]]]
        result.setdefault(normal(scope.puzzle, scope.turns[whole].tolist()))
        if len(result) >= most:
            break
    return list(result)


def _carried(
    scope: Scope, word: NDArray[np.int64], symmetry: int, turned: bool
) -> NDArray[np.int64]:
    """Return a representative's word, inverted if ``turned``, carried by a symmetry."""
    if turned:
        word = scope.arrays.inverse[word[::-1]]
    result: NDArray[np.int64] = scope.arrays.symmetry[symmetry][word]
    return result
