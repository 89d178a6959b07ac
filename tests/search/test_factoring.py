"""Words from a stabiliser chain, held against sympy's groups."""

from __future__ import annotations

import time

import numpy as np
import pytest
from sympy.combinatorics import Permutation, PermutationGroup
from sympy.combinatorics.named_groups import SymmetricGroup

from puzzles import load
from puzzles.errors import LimitError
from puzzles.stopping import stoppable
from search.factoring import Factoring


def factoring(generators: list[list[int]]) -> Factoring:
    """Return the words in some permutations and their inverses."""
    rows = [*generators, *(np.argsort(g).tolist() for g in generators)]
    n = len(generators)
    return Factoring(np.array(rows), [*range(n, 2 * n), *range(n)])


def product(own: Factoring, word: tuple[int, ...]) -> list[int]:
    result = np.arange(own.points)
    for k in word:
        result = own.generators[k][result]
    return [int(x) for x in result]


@pytest.mark.parametrize(
    "generators",
    [
        [[1, 2, 3, 4, 5, 6, 0], [1, 0, 2, 3, 4, 5, 6]],
        [[1, 2, 0, 3, 4, 5], [0, 1, 3, 4, 5, 2]],
        # Two circles of twists that go in step.
        [[1, 2, 0, 4, 5, 3, 6, 7], [0, 1, 2, 3, 4, 5, 7, 6]],
    ],
)
def test_every_element_has_a_word_and_nothing_else_has(generators: list[list[int]]) -> None:
    own = factoring(generators)
    group = PermutationGroup([Permutation(g) for g in generators])
    assert own.order == group.order()
    assert own.full
    for element in list(group.generate())[:500]:
        word = own.word(np.array(element.array_form))
        assert word is not None
        assert product(own, word) == element.array_form
    for element in SymmetricGroup(own.points).generate():
        if not group.contains(element):
            assert own.word(np.array(element.array_form)) is None
            break


def test_words_of_the_2x2x2_are_short() -> None:
    """All of 3,674,160 positions (OEIS A075152) have one, and none needs 60 turns."""
    puzzle = load("2x2x2")
    own = Factoring(puzzle.moves, puzzle.inverses.tolist())
    assert own.order == 3_674_160
    draw = np.random.default_rng(1)
    for _ in range(50):
        effect = puzzle.effect(draw.integers(0, len(puzzle.moves), 30).tolist())
        word = own.word(effect)
        assert word is not None
        assert (puzzle.effect(word) == effect).all()
        assert len(word) < 60


def test_what_takes_too_many_steps_is_said_and_can_be_stopped(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    puzzle = load("3x3x3")
    moves, inverses = puzzle.moves, puzzle.inverses.tolist()
    began = time.process_time()
    looks: list[float] = []

    def look() -> None:
        looks.append(time.process_time())
        if len(looks) > 500:
            raise InterruptedError

    with pytest.raises(InterruptedError), stoppable(look):
        Factoring(moves, inverses)
    assert max(np.diff([began, *looks])) < 0.5
    monkeypatch.setattr("search.factoring.MOST_STEPS", 1_000)
    monkeypatch.setattr("search.factoring.SHORT_WORDS", 50)
    with pytest.raises(LimitError, match=r"no words were found .* a group of about 10\^19"):
        Factoring(moves, inverses)


def test_the_group_of_one_element_has_the_empty_word() -> None:
    own = Factoring(np.array([[0, 1, 2]]), [0])
    assert own.order == 1
    assert own.word(np.array([0, 1, 2])) == ()
    assert own.word(np.array([1, 0, 2])) is None
