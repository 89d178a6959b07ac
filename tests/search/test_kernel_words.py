"""The kernels' words against ``puzzles.words`` and plain enumeration."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from puzzles import load
from puzzles.puzzle import Word
from puzzles.words import firsts, lasts, normal
from search import rings
from search.encoding import Scope, scope
from search.kernels import words as kernels
from tests.brute import carried, core, rotations, words_by_length

NAMES = ["2x2x2", "3x3x3", "3x3x3-slices", "4x4x4", "dodecahedron-faces", "cube-edges"]
NOTHING = np.uint64(0)


@lru_cache
def some(name: str) -> Scope:
    return scope(load(name))


def padded(word: Word) -> np.ndarray:
    letters = np.zeros(kernels.LONGEST, dtype=np.int64)
    letters[: len(word)] = word
    return letters


def listed(one: Scope, length: int, state: np.uint64) -> tuple[list[Word], np.ndarray]:
    enc = one.arrays
    count = int(kernels.count_words(length, state, enc.turn_layer, enc.passes))
    found = np.zeros((count + 1, kernels.LONGEST), dtype=np.int64)
    states = np.zeros(count + 1, dtype=np.uint64)
    assert kernels.list_words(length, state, enc.turn_layer, enc.passes, found, states) == count
    return [tuple(row[:length]) for row in found[:count].tolist()], states[:count]


def numbered(one: Scope, word: Word) -> Word:
    """Return a kernels' word in the puzzle's numbers of turns."""
    return tuple(int(one.turns[t]) for t in word)


def layer_set(one: Scope, word: Word, places: list[int]) -> int:
    return sum({1 << int(one.arrays.turn_layer[word[k]]) for k in places})


def random_words(longest: int) -> st.SearchStrategy[tuple[str, list[float]]]:
    parts = st.lists(st.floats(0, 0.999), min_size=1, max_size=longest)
    return st.tuples(st.sampled_from(NAMES), parts)


def reduced(one: Scope, parts: list[float]) -> Word:
    """Return the normal form of the word with turns at these shares of all turns."""
    count = len(one.turns)
    local = {int(t): k for k, t in enumerate(one.turns)}
    word = normal(one.puzzle, numbered(one, tuple(int(part * count) for part in parts)))
    return tuple(local[t] for t in word)


@pytest.mark.parametrize("name", NAMES)
def test_words_are_all_normal_forms(name: str) -> None:
    one = some(name)
    longest = 3 if len(one.turns) < 40 else 2
    plain = words_by_length(one.puzzle, longest, one.layers)
    for length in range(longest + 1):
        found, _ = listed(one, length, NOTHING)
        assert [numbered(one, word) for word in found] == sorted(plain[length])


def test_counts_of_the_3x3x3() -> None:
    """18, 243, 3,240, 43,254: the recurrence a(n) = 12 a(n-1) + 18 a(n-2) for face turns.

    Common practice; the first three are OEIS A080601 too, where no two words agree yet.
    """
    enc = some("3x3x3").arrays
    counts = [kernels.count_words(n, NOTHING, enc.turn_layer, enc.passes) for n in range(1, 6)]
    assert counts[:3] == [18, 243, 3240]
    assert all(
        c == 12 * b + 18 * a for a, b, c in zip(counts, counts[1:], counts[2:], strict=False)
    )


@pytest.mark.parametrize("name", NAMES)
def test_a_state_shuts_its_layers_even_after_moving_turns(name: str) -> None:
    one = some(name)
    for state in (1, 0b110, (1 << len(one.layers)) - 2):
        found, _ = listed(one, 2, np.uint64(state))
        every, _ = listed(one, 2, NOTHING)
        expected = [w for w in every if not layer_set(one, w, firsts_of(one, w)) & state]
        assert found == expected


def firsts_of(one: Scope, word: Word) -> list[int]:
    return firsts(one.puzzle, numbered(one, word))


@pytest.mark.parametrize("name", NAMES)
def test_the_state_after_a_word_tells_what_may_follow(name: str) -> None:
    one = some(name)
    words, states = listed(one, 2, NOTHING)
    longer = set(listed(one, 3, NOTHING)[0])
    for word, state in list(zip(words, states.tolist(), strict=True))[::7]:
        for t in range(len(one.turns)):
            open_ = not state >> int(one.arrays.turn_layer[t]) & 1
            assert open_ == ((*word, t) in longer)


@given(random_words(7))
def test_layers_at_the_ends(drawn: tuple[str, list[float]]) -> None:
    one = some(drawn[0])
    word, enc = reduced(one, drawn[1]), some(drawn[0]).arrays
    plain = numbered(one, word)
    front = kernels.first_layers(padded(word), len(word), enc.turn_layer, enc.passes)
    back = kernels.last_layers(padded(word), len(word), enc.turn_layer, enc.passes)
    assert int(front) == layer_set(one, word, firsts(one.puzzle, plain))
    assert int(back) == layer_set(one, word, lasts(one.puzzle, plain))


@given(random_words(8), st.randoms(use_true_random=False))
def test_sorting_a_reduced_word(drawn: tuple[str, list[float]], random: object) -> None:
    one = some(drawn[0])
    word = list(reduced(one, drawn[1]))
    enc = one.arrays
    for _ in range(30):
        if len(word) < 2:
            break
        k = random.randrange(len(word) - 1)  # type: ignore[attr-defined]
        own, other = (int(enc.turn_layer[t]) for t in word[k : k + 2])
        if int(enc.passes[own]) >> other & 1:
            word[k], word[k + 1] = word[k + 1], word[k]
    letters = padded(tuple(word))
    kernels.normalise(letters, len(word), enc.turn_layer, enc.passes)
    assert tuple(letters[: len(word)].tolist()) == reduced(one, drawn[1])


@given(random_words(8))
def test_cyclically_reduced_means_no_shorter_conjugate(drawn: tuple[str, list[float]]) -> None:
    one = some(drawn[0])
    word, enc = reduced(one, drawn[1]), one.arrays
    said = kernels.is_cyclically_reduced(padded(word), len(word), enc.turn_layer, enc.passes)
    assert bool(said) == (len(core(one.puzzle, numbered(one, word))) == len(word))


@given(random_words(8))
def test_cuts_of_a_cyclic_word(drawn: tuple[str, list[float]]) -> None:
    one = some(drawn[0])
    least = core(one.puzzle, numbered(one, reduced(one, drawn[1])))
    if not least:
        return
    local = {int(t): k for k, t in enumerate(one.turns)}
    word = tuple(local[t] for t in least)
    enc = one.arrays
    cuts = np.zeros((kernels.MOST_CUTS, kernels.LONGEST), dtype=np.int64)
    origin = np.zeros((kernels.MOST_CUTS, 2), dtype=np.int64)
    count = kernels.list_cuts(padded(word), len(word), enc.turn_layer, enc.passes, cuts, origin)
    found = [numbered(one, tuple(row[: len(word)])) for row in cuts[:count].tolist()]
    assert len(found) == len(set(found))
    assert set(found) == rotations(one.puzzle, least)
    for k in range(1, count):
        parent = found[int(origin[k, 0])]
        turn = int(one.turns[int(origin[k, 1])])
        rest = list(parent)
        rest.remove(turn)
        assert normal(one.puzzle, (*rest, turn)) == found[k]


@pytest.mark.parametrize("name", ["2x2x2", "3x3x3", "3x3x3-slices", "cube-edges", "cube-corners"])
def test_every_cyclic_word_has_its_class(name: str) -> None:
    one = some(name)
    for length in (1, 2, 3):
        every = words_by_length(one.puzzle, length, one.layers)[length]
        cyclic = {w for w in every if len(core(one.puzzle, w)) == length}
        met = set()
        for row in rings.classes(one, length, True).tolist():
            for image in carried(one.puzzle, numbered(one, tuple(row))):
                met |= rotations(one.puzzle, image)
        assert met == cyclic


@pytest.mark.parametrize("name", ["2x2x2", "3x3x3", "3x3x3-slices", "cube-edges", "cube-corners"])
def test_every_linear_word_has_its_class(name: str) -> None:
    one = some(name)
    puzzle = one.puzzle
    for length in (2, 3):
        every = words_by_length(puzzle, length, one.layers)[length]
        linear = {w for w in every if len(core(puzzle, w)) < length}
        met = set()
        for row in rings.classes(one, length, False).tolist():
            word = numbered(one, tuple(row))
            for symmetry in one.symmetries:
                image = tuple(int(symmetry.turns[t]) for t in word)
                met |= {normal(puzzle, image), normal(puzzle, puzzle.inverse(image))}
        assert met == linear
