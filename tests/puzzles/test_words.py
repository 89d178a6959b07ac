"""Normal forms of words against brute force over all ways to rewrite them."""

from __future__ import annotations

import itertools
import random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from puzzles import Puzzle, load
from puzzles.puzzle import Word
from puzzles.turns import Turn
from puzzles.words import firsts, lasts, length, normal

NAMES = ["2x2x2", "3x3x3", "3x3x3-slices", "4x4x4", "dodecahedron-faces", "cube-edges"]


def rewritten(puzzle: Puzzle, word: Word) -> set[Word]:
    """All words reached by swapping neighbours that commute, merging and cancelling (brute force).

    Whether two layers commute is read off what their steps do here, not off the puzzle's table.
    """
    found = {word}
    queue = [word]
    for one in queue:
        for k in range(len(one) - 1):
            first, second = one[k], one[k + 1]
            own, other = puzzle.turns[first], puzzle.turns[second]
            if own.layer == other.layer:
                amount = (own.amount + other.amount) % puzzle.layer(own.layer).steps
                middle = [
                    t
                    for t, turn in enumerate(puzzle.turns)
                    if turn.layer == own.layer and turn.amount == amount
                ]
                new = one[:k] + tuple(middle) + one[k + 2 :]
            elif commuting(puzzle, first, second):
                new = (*one[:k], second, first, *one[k + 2 :])
            else:
                continue
            if new not in found:
                found.add(new)
                queue.append(new)
    return found


def commuting(puzzle: Puzzle, first: int, second: int) -> bool:
    one, other = (
        next(row for t, row in zip(puzzle.turns, puzzle.moves, strict=True) if t == Turn(name, 1))
        for name in (puzzle.turns[first].layer, puzzle.turns[second].layer)
    )
    return np.array_equal(one[other], other[one])


def words(puzzle: Puzzle, longest: int) -> st.SearchStrategy[Word]:
    return st.lists(st.integers(0, len(puzzle.turns) - 1), max_size=longest).map(tuple)


@given(st.data())
@pytest.mark.parametrize("name", NAMES)
def test_the_normal_form_is_the_least_of_the_shortest_rewritings(
    name: str, data: st.DataObject
) -> None:
    puzzle = load(name)
    word = data.draw(words(puzzle, 6))
    found = rewritten(puzzle, word)
    shortest = min(map(len, found))
    assert normal(puzzle, word) == min(w for w in found if len(w) == shortest)
    assert length(puzzle, word) == shortest


def test_all_words_of_four_turns_in_few_layers() -> None:
    """Exhaustively, where much commutes: U, D and the layer between them, and one across."""
    puzzle = load("3x3x3-slices")
    some = [t for t, turn in enumerate(puzzle.turns) if turn.layer in ("U", "E", "R")]
    assert len(some) == 9
    for word in itertools.product(some, repeat=4):
        found = rewritten(puzzle, word)
        shortest = min(map(len, found))
        assert normal(puzzle, word) == min(w for w in found if len(w) == shortest), word


@given(st.data())
@pytest.mark.parametrize("name", NAMES)
def test_the_normal_form_does_the_same_and_is_its_own(name: str, data: st.DataObject) -> None:
    puzzle = load(name)
    word = data.draw(words(puzzle, 30))
    form = normal(puzzle, word)
    assert np.array_equal(puzzle.effect(form), puzzle.effect(word))
    assert normal(puzzle, form) == form
    assert normal(puzzle, word + puzzle.inverse(word)) == ()
    assert normal(puzzle, puzzle.inverse(form)) == normal(puzzle, puzzle.inverse(word))


@pytest.mark.parametrize("name", NAMES)
def test_swapping_what_commutes_changes_nothing(name: str) -> None:
    puzzle = load(name)
    chosen = random.Random(5)
    for _ in range(200):
        word = [chosen.randrange(len(puzzle.turns)) for _ in range(12)]
        form = normal(puzzle, word)
        for _ in range(30):
            k = chosen.randrange(11)
            if commuting(puzzle, word[k], word[k + 1]):
                word[k], word[k + 1] = word[k + 1], word[k]
        assert normal(puzzle, word) == form


@given(st.data())
@pytest.mark.parametrize("name", NAMES)
def test_what_can_stand_first_and_last(name: str, data: st.DataObject) -> None:
    puzzle = load(name)
    word = normal(puzzle, data.draw(words(puzzle, 6)))
    found = rewritten(puzzle, word)
    assert {word[k] for k in firsts(puzzle, word)} == {w[0] for w in found if w}
    assert {word[k] for k in lasts(puzzle, word)} == {w[-1] for w in found if w}


def test_a_turn_that_merges_with_one_beyond_its_opposite() -> None:
    """Common practice: `R L R` is two turns, `R L R'` one."""
    puzzle = load("3x3x3")
    r, left = puzzle.layer_numbers["R"], puzzle.layer_numbers["L"]
    turns = {(k, n): puzzle.turn(k, n) for k in (r, left) for n in (1, 2, 3)}
    one, other, back = turns[r, 1], turns[left, 1], turns[r, 3]
    assert one is not None
    assert other is not None
    assert back is not None
    assert length(puzzle, (one, other, one)) == 2
    assert normal(puzzle, (one, other, back)) == (other,)
