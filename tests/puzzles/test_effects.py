"""What sequences do: sequences of common practice, orders by sympy, stickers by plain points."""

from __future__ import annotations

import functools
import operator

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sympy.combinatorics import Permutation
from sympy.combinatorics.generators import rubik as cube_generators

from puzzles import effects, load, names, notation
from puzzles.file import catalogue
from puzzles.puzzle import Puzzle
from tests.plain import named, plain

words = st.lists(st.integers(0, 10_000), max_size=12)
EVERY = pytest.mark.parametrize("name", catalogue())


def word_of(puzzle: Puzzle, numbers: list[int]) -> list[int]:
    return [number % len(puzzle.turns) for number in numbers]


def done(name: str, text: str) -> tuple[Puzzle, effects.Effect]:
    puzzle = load(name)
    return puzzle, effects.effect_of(puzzle, notation.parse(puzzle, text).word)


def test_six_times_over_it_is_the_identity() -> None:
    """Common practice: R U R' U' done six times is the identity; not sooner."""
    _, effect = done("3x3x3", "R U R' U'")
    assert effects.order(effect) == 6
    assert done("3x3x3", "(R U R' U')6")[1].is_identity
    assert not done("3x3x3", "(R U R' U')5")[1].is_identity


def test_three_corners_by_their_stickers() -> None:
    """Common practice: [R U R' U', L'] takes UFL to RBU to BLU, and nothing else moves."""
    puzzle, effect = done("3x3x3", "R U R' U' L' U R U' R' L")
    wanted = [names.read_placement(puzzle, x).placement for x in ("UFL", "RBU", "BLU")]
    assert effects.cycles(puzzle, effect) == (tuple(wanted),)
    assert effects.cycle_text(puzzle, effects.cycles(puzzle, effect)[0]) == "(UFL RUB BUL)"
    assert effects.order(effect) == 3
    assert effects.pieces_moved(puzzle, effect) == 3


def test_three_edges_with_slices_and_with_faces() -> None:
    """Common practice: M' U2 M U2 cycles three edges; in face turns it is L R' F2 L' R U2."""
    puzzle, effect = done("3x3x3-slices", "M' U2 M U2")
    (cycle,) = effects.cycles(puzzle, effect)
    assert len(cycle) == 3
    assert {puzzle.types[int(puzzle.type_of[puzzle.slot_of[p]])].name for p in cycle} == {"edge"}
    assert done("3x3x3", "M' U2 M U2")[1] == done("3x3x3", "L R' F2 L' R U2")[1]


def test_two_corners_are_twisted() -> None:
    """Common practice: [(R' D' R D)2, U] twists two corners; a twist is three placements."""
    puzzle, effect = done("3x3x3", "[(R' D' R D)2, U]")
    cycles = effects.cycles(puzzle, effect)
    assert [len(cycle) for cycle in cycles] == [3, 3]
    assert all(len({int(puzzle.slot_of[p]) for p in cycle}) == 1 for cycle in cycles)
    assert effects.pieces_moved(puzzle, effect) == 2
    assert effects.order(effect) == 3


def test_pieces_that_come_back_twisted_are_one_long_cycle() -> None:
    """R U R' U' swaps two pairs of corners and twists them: order 6, cubed it is only a twist."""
    puzzle, effect = done("3x3x3", "R U R' U'")
    lengths = sorted(len(cycle) for cycle in effects.cycles(puzzle, effect))
    assert lengths == [3, 6, 6]
    cubed = effect.then(effect).then(effect)
    assert not cubed.is_identity
    assert effect.then(effect.inverse()).is_identity


def test_orders_are_those_of_sympy() -> None:
    """Random words in F, S, R, M', D and E: sympy.combinatorics.generators.rubik(3).

    Its permutations say for each place which sticker comes there, so a word is multiplied from
    its end.
    """
    generators = dict(zip(("F", "S", "R", "M'", "D", "E"), cube_generators(3), strict=True))
    texts = ["F S", "F R D", "F R2 D' R", "E F M' D", "R D R' D' F", "S R M' E D F", "F S R F' E R"]
    seen = set()
    for text in texts:
        factors: list[Permutation] = []
        for step in text.split():
            base = next(x for x in generators if step == x or step.rstrip("2'") == x)
            power = 1 if step == base else -1 if step.endswith("'") else 2
            factors.append(generators[base] ** power)
        expected = functools.reduce(operator.mul, reversed(factors)).order()
        assert effects.order(done("3x3x3-slices", text)[1]) == expected, text
        seen.add(expected)
    assert len(seen) > 4


@EVERY
@given(numbers=words)
def test_cycles_say_all_of_an_effect(name: str, numbers: list[int]) -> None:
    puzzle = load(name)
    effect = effects.effect_of(puzzle, word_of(puzzle, numbers))
    cycles = effects.cycles(puzzle, effect)
    assert effects.effect_of_cycles(puzzle, cycles) == effect
    slots = [{int(puzzle.slot_of[p]) for p in cycle} for cycle in cycles]
    assert sum(len(own) for own in slots) == effects.pieces_moved(puzzle, effect)
    assert all(puzzle.twist_of[cycle[0]] == 0 for cycle in cycles)
    assert all(int(puzzle.slot_of[c[0]]) == min(own) for c, own in zip(cycles, slots, strict=True))


@given(first=words, second=words)
def test_one_effect_after_another_is_that_of_the_words_in_a_row(
    first: list[int], second: list[int]
) -> None:
    puzzle = load("octahedron-faces")
    a, b = word_of(puzzle, first), word_of(puzzle, second)
    one, other = effects.effect_of(puzzle, a), effects.effect_of(puzzle, b)
    assert one.then(other) == effects.effect_of(puzzle, a + b)
    assert one.inverse() == effects.effect_of(puzzle, puzzle.inverse(a))


@EVERY
@given(numbers=words)
def test_the_order_is_the_least_power_that_does_nothing(name: str, numbers: list[int]) -> None:
    puzzle = load(name)
    effect = effects.effect_of(puzzle, word_of(puzzle, numbers))
    power = effect
    for _ in range(effects.order(effect) - 1 if effects.order(effect) < 400 else 0):
        assert not power.is_identity
        power = power.then(effect)
    assert power.is_identity or effects.order(effect) >= 400


@pytest.mark.parametrize("name", ["3x3x3", "4x4x4", "tetrahedron-corners", "octahedron-faces"])
@given(numbers=words)
def test_effects_carry_stickers_as_plain_points_go(name: str, numbers: list[int]) -> None:
    puzzle = load(name)
    word = word_of(puzzle, numbers)
    carried = plain(puzzle).sticker_effect(named(puzzle, word))
    table = effects.effect_of(puzzle, word).table
    for number, sticker in enumerate(puzzle.stickers):
        end = puzzle.stickers[int(carried[number])]
        assert end.kind == sticker.kind
        assert table[sticker.placement] == end.placement
