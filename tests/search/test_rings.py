"""The join against brute force: all rings, and only real ones."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest

from puzzles import load
from puzzles.errors import LimitError, RequestError
from puzzles.puzzle import Puzzle, Word
from search import encoding, rings
from search.encoding import Scope, scope
from search.kernels.arrays import LONGEST
from search.kernels.records import ring_word
from tests.brute import Brute, carried, core, cycle_of

#: Half-lengths that brute force reaches in a few seconds; commuting is transitive in the upper
#: half of the list alone, but nothing is missed on the others either.
REACHED = [
    ("2x2x2", 5),
    ("3x3x3", 5),
    ("3x3x3-slices", 4),
    ("4x4x4", 3),
    ("tetrahedron-corners", 5),
    ("cube-corners", 6),
    ("octahedron-faces", 5),
    ("cube-edges", 6),
    ("cube-faces-corners", 4),
    ("dodecahedron-faces", 4),
    ("hexagonal-prism", 4),
]


@lru_cache(maxsize=2)
def words(name: str, half_length: int, threads: int = 1) -> list[Word]:
    """Return the rings of all levels as they were put together, in the puzzle's turns."""
    one = scope(load(name))
    found = []
    for level in range(1, half_length + 1):
        for part in rings.level(one, level, threads):
            found += written(one, part.records)
    return found


def written(one: Scope, records: np.ndarray) -> list[Word]:
    letters = np.zeros(LONGEST, dtype=np.int64)
    result = []
    for record in records:
        length = int(ring_word(one.arrays, record, letters))
        result.append(tuple(int(one.turns[t]) for t in letters[:length]))
    return result


def cores(puzzle: Puzzle, every: list[Word]) -> set[Word]:
    """Return what rings reduce to, with all images and inverses."""
    found: set[Word] = set()
    for word in every:
        least = core(puzzle, word)
        if least not in found:
            found |= carried(puzzle, least)
    return found


def test_brute_force_finds_the_published_numbers_of_rings() -> None:
    """504 and 2,784 rings on the 3x3x3 up to half-length 5 and 6, as this project's prototype had.

    What is counted: the cyclically reduced words to which X Y Z X' Y' Z' with |X| + |Y| + |Z| up to
    5 or 6 reduce, if they are pure three-cycles of corners or of edges; two are one if they differ
    by the starting point or by moving turns that commute, a ring and its inverse are two. (21,096
    at 7: see the benchmarks.) 96 of the 2,784 have 10 or 11 turns, as joints merge.
    """
    brute = Brute(load("3x3x3"))
    assert len(brute.rings(5)) == 504
    six = brute.rings(6)
    assert len(six) == 2784
    lengths = [len(word) for word in six]
    assert {n: lengths.count(n) for n in sorted(set(lengths))} == {
        8: 144,
        10: 408,
        11: 48,
        12: 2184,
    }
    assert cores(brute.puzzle, words("3x3x3", 6)) == six


@pytest.mark.parametrize(("name", "half_length"), REACHED)
def test_the_join_has_every_ring_of_brute_force(name: str, half_length: int) -> None:
    puzzle = load(name)
    brute = Brute(puzzle).rings(half_length)
    joined = cores(puzzle, words(name, half_length))
    missing = sorted(brute - joined, key=len)
    assert not missing, [" ".join(str(puzzle.turns[t]) for t in w) for w in missing[:3]]
    # What the join finds beyond X Y Z X' Y' Z' is no longer than its rings of that half-length.
    assert all(len(word) <= 2 * half_length for word in joined)


@pytest.mark.parametrize(("name", "half_length"), REACHED)
def test_every_ring_of_the_join_is_real(name: str, half_length: int) -> None:
    puzzle = load(name)
    kept = [t.number for t in puzzle.types if t.moves]
    for word in words(name, half_length):
        assert cycle_of(puzzle, word, kept) is not None
        half = len(word) // 2
        for layer in {int(puzzle.turn_layer[t]) for t in word}:
            steps = puzzle.layers[layer].steps
            amounts = [puzzle.turns[t].amount for t in word if puzzle.turn_layer[t] == layer]
            assert sum(amounts) % steps == 0
        assert 2 <= half <= half_length


def test_rings_of_some_layers_and_some_kept_types() -> None:
    puzzle = load("3x3x3")
    layers = tuple(puzzle.layer_numbers[name] for name in "URF")
    for kept in ((t.number,) for t in puzzle.types if t.moves):
        one = scope(puzzle, layers, kept)
        brute = Brute(puzzle, layers, kept)
        found: set[Word] = set()
        for half_length in range(1, 6):
            for part in rings.level(one, half_length):
                for word in written(one, part.records):
                    found |= carried(puzzle, core(puzzle, word), one.symmetries)
        assert found == brute.rings(5)
        assert found


@pytest.mark.parametrize("name", ["2x2x2", "3x3x3-slices"])
def test_threads_find_the_same_rings_in_the_same_order(name: str) -> None:
    """In the same order, for shelves keep the first of equally good words."""
    assert words(name, 4) == words(name, 4, 2) == words(name, 4, 3) != []


def test_a_scope_says_what_it_cannot_search(monkeypatch: pytest.MonkeyPatch) -> None:
    puzzle = load("3x3x3")
    right = puzzle.layer_numbers["R"]
    left = puzzle.layer_numbers["L"]
    for layers, kept in [((), None), ((right, left), None), (None, ())]:
        with pytest.raises(RequestError, match="nothing to search"):
            scope(puzzle, layers, kept)
    monkeypatch.setattr(encoding, "MOST_TURN_NUMBERS", 17)
    with pytest.raises(LimitError, match=r"have 18 turns.*at most 17"):
        scope(puzzle, None, (0,))


def test_shares_of_a_level_rise_to_one() -> None:
    shares = [part.share for part in rings.level(scope(load("3x3x3")), 6)]
    assert shares == sorted(shares)
    assert shares[-1] == pytest.approx(1)
