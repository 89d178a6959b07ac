"""Solutions, applied by simulators that know nothing of the tables; their parts against algebra."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sympy.combinatorics import Permutation, PermutationGroup

from puzzles import load
from puzzles.compile import compiled
from puzzles.effects import effect_of_cycles
from puzzles.errors import RequestError
from puzzles.file import catalogue, parse
from puzzles.puzzle import Puzzle, Word
from puzzles.scrambles import scrambles
from puzzles.states import from_cycles
from search.solving import Solver
from search.solving_looks import Contents, Looks
from search.solving_steps import CYCLE, PRODUCT
from search.solving_sums import Balance
from search.solving_told import told
from search.solving_words import short_words
from tests.plain import named, plain, plain_ball

#: Where turns can be blocked, another solver does it; the largest ball has nothing that the second
#: largest lacks.
NAMES = [name for name in catalogue() if not load(name).can_block and name != "ball-sixths-218"]


@cache
def solver(name: str, apart: bool = False) -> Solver:
    return Solver(load(name), apart)


def looks_solved(puzzle: Puzzle, word: Word) -> bool:
    """Return whether every sampled point lies where the solved puzzle has its colour."""
    if puzzle.shape == "solid":
        solid = plain(puzzle)
        return bool((solid._face_at(solid.do(named(puzzle, word))) == solid.face).all())
    if puzzle.shape == "ball":
        ball = plain_ball(puzzle)
        end = ball.do(named(puzzle, word))
        if ball.loose:
            return bool((ball.slots(ball.home) == ball.slots(end)).mean() > 0.9)
        return bool((ball.paint(end) == ball.face).all())
    return bool((puzzle.effect(word) == np.arange(puzzle.placement_count)).all())


@pytest.mark.parametrize("name", NAMES)
def test_random_scrambles_are_solved(name: str) -> None:
    """By points; the steps before what merges between them is cancelled do the same."""
    puzzle = load(name)
    # Points of a ball take long to turn; each is solved from another scramble further down.
    for word in scrambles(puzzle, 1 if puzzle.shape == "ball" else 2, 7):
        found = solver(name).solve(puzzle.effect(word))
        assert found.solved
        steps = [t for step in found.steps for t in step.word]
        assert np.array_equal(puzzle.effect(steps), puzzle.effect(found.word))
        assert looks_solved(puzzle, (*word, *found.word))
        assert len(found.word) <= found.turns


@pytest.mark.parametrize("name", NAMES)
def test_the_product_of_the_steps_is_the_inverse_of_the_state(name: str) -> None:
    """Multiplied out by sympy, up to pieces that look the same and twists that do not show."""
    puzzle = load(name)
    turns = [Permutation(row.tolist()) for row in puzzle.moves]
    (word,) = scrambles(puzzle, 1, 8)
    product = Permutation(puzzle.placement_count - 1)
    for turn in [
        *word,
        *(t for step in solver(name).solve(puzzle.effect(word)).steps for t in step.word),
    ]:
        product = product * turns[turn]
    for slot, home in enumerate(puzzle.home.tolist()):
        there = int(puzzle.slot_of[product(home)])
        kind = puzzle.types[int(puzzle.type_of[slot])]
        added = int(puzzle.alike_twist[there] - puzzle.alike_twist[slot])
        assert puzzle.alike[there] == puzzle.alike[slot]
        assert (int(puzzle.twist_of[product(home)]) - added) % kind.seen == 0


def test_the_plain_simulator_sees_what_is_not_solved() -> None:
    puzzle = load("4x4x4")
    assert not looks_solved(puzzle, (0,))
    assert looks_solved(puzzle, ())


@pytest.mark.parametrize("name", ["3x3x3", "4x4x4", "octahedron-faces", "cube-edges"])
def test_told_apart_the_product_of_the_steps_is_the_inverse_of_the_state(name: str) -> None:
    """Multiplied out by sympy, turn by turn."""
    puzzle = load(name)
    turns = [Permutation(row.tolist()) for row in puzzle.moves]
    (word,) = scrambles(puzzle, 1, 11)
    found = solver(name, True).solve(puzzle.effect(word))
    state = product = Permutation(puzzle.placement_count - 1)
    for turn in word:
        state = state * turns[turn]
    for step in found.steps:
        for turn in step.word:
            product = product * turns[turn]
    assert product == state**-1


@settings(max_examples=15, deadline=None)
@given(st.lists(st.integers(0, 17), max_size=40))
def test_any_word_of_the_3x3x3_is_undone_in_few_turns(word: list[int]) -> None:
    puzzle = load("3x3x3")
    found = solver("3x3x3").solve(puzzle.effect(word))
    assert looks_solved(puzzle, (*word, *found.word))
    assert len(found.word) < 90


def test_what_is_solved_takes_no_step() -> None:
    assert solver("3x3x3").solve(load("3x3x3").effect(())).steps == ()


def test_the_same_state_has_the_same_steps() -> None:
    puzzle = load("3x3x3")
    (word,) = scrambles(puzzle, 1, 5)
    again = Solver(puzzle)
    assert (
        again.solve(puzzle.effect(word)).steps == solver("3x3x3").solve(puzzle.effect(word)).steps
    )


def test_small_puzzles_are_solved_in_the_fewest_turns() -> None:
    """No position of the 2x2x2 needs more than 11 turns (OEIS A079761)."""
    puzzle = load("2x2x2")
    lengths = [
        len(solver("2x2x2").solve(puzzle.effect(word)).word) for word in scrambles(puzzle, 30, 3)
    ]
    assert max(lengths) <= 11
    # More than half of all positions are 9 turns or more away: 870072 + 1887748 + … of 3674160.
    assert sorted(lengths)[15] in (8, 9)


def test_states_that_no_sequence_reaches_are_refused() -> None:
    puzzle = load("3x3x3")
    corner = int(puzzle.home[0])
    twisted = effect_of_cycles(puzzle, [(corner, corner + 1, corner + 2)]).table
    swapped = effect_of_cycles(puzzle, [(corner, int(puzzle.home[1]))]).table
    for table in (twisted, swapped):
        with pytest.raises(RequestError, match="cannot be reached"):
            solver("3x3x3").solve(np.array(table, dtype=np.int32))


def test_pieces_that_never_leave_their_slots_are_looked_at() -> None:
    """No turn moves the places 1 and 3, so that what swaps them is refused as well."""
    text = """
description = "One turn of nine places."
shape = "written"
places = 9
[[turns]]
name = "A"
cycles = "(8 7 2 5 6)"
"""
    puzzle = compiled("own", parse(text, "own.toml"))
    with pytest.raises(RequestError, match="cannot be reached"):
        Solver(puzzle).solve(from_cycles(puzzle, "(1 3)").table)


def test_steps_say_what_they_put_right_and_keep() -> None:
    puzzle = load("3x3x3")
    own = solver("3x3x3")
    (word,) = scrambles(puzzle, 1, 21)
    found = own.solve(puzzle.effect(word))
    tools = {one.kind.number: one for stage in own.stages for one in stage.tools}
    steps = list(told(found, tools, own.balance))
    effect = found.start
    for step in steps:
        before = Contents.of(own.looks, effect).right
        effect = puzzle.effect(step.step.word)[effect]
        after = Contents.of(own.looks, effect).right
        assert len(step.right) == int((after & ~before).sum())
        assert len(step.moved) == int((before & ~after).sum())
        assert len(step.kept) == int((before & after).sum())
        assert step.reason
        if step.step.kind == CYCLE:
            assert step.cycle.startswith("(")
            assert "[" in step.notation
    assert steps[-1].done == ("corner", "edge")


def test_stages_keep_the_types_before() -> None:
    """On the octahedron, edges while the corners and triangles are free, then all else."""
    puzzle = load("octahedron-faces")
    edge = next(t for t in puzzle.types if t.name == "edge")
    staged = Solver(puzzle, order=((edge.number,),))
    assert [stage.types for stage in staged.stages] == [(edge.number,), (0, 2, 3)]
    for word in scrambles(puzzle, 2, 4):
        found = staged.solve(puzzle.effect(word))
        assert looks_solved(puzzle, (*word, *found.word))
        cycles = [step.cycle for step in found.steps if step.cycle]
        kinds = [int(puzzle.type_of[puzzle.slot_of[cycle[0]]]) for cycle in cycles]
        assert kinds == sorted(kinds, key=lambda kind: kind != edge.number)


@pytest.mark.parametrize("name", ["cube-corners", "three-wheels", "hexagonal-prism"])
def test_the_last_resort_solves_alone(name: str) -> None:
    """A stabiliser chain of words, as where a puzzle has no three-cycles at all."""
    puzzle = load(name)
    own = solver(name)
    (word,) = scrambles(puzzle, 1, 2)
    state = puzzle.effect(word)
    undone = own.on_all.word(Contents.of(own.looks, state))
    assert undone is not None
    assert looks_solved(puzzle, (*word, *undone))


def test_types_without_three_cycles_are_done_by_products() -> None:
    """The corners of that ball have no three-cycle; with single turns alone, a chain has to help.

    Their group has 29,160 elements, by sympy, and 6! 3^6 arrangements could be thought of.
    """
    puzzle = load("ball-two-axes")
    own = Solver(puzzle, free_turns=1)
    corner = own.stages[0].hard
    assert [puzzle.types[number].name for number in corner] == ["corner1"]
    places = list(puzzle.types[corner[0]].placements)
    rows = [[places.index(int(q)) for q in row[places]] for row in puzzle.moves]
    assert PermutationGroup([Permutation(row) for row in rows]).order() == 29_160
    for word in scrambles(puzzle, 3, 2):
        found = own.solve(puzzle.effect(word))
        assert found.solved
        assert PRODUCT in {step.kind for step in found.steps}
        assert looks_solved(puzzle, (*word, *found.word))


def test_short_words_are_counted_as_published() -> None:
    """Words of the 3x3x3 with commuting turns in one order: 18, 243, 3240, 43254.

    Up to three turns these are the positions (OEIS A080601: 1, 18, 243, 3240); of four turns
    there are 43,239 positions, for some words do the same.
    """
    begins = np.array(short_words(load("3x3x3")).begins)
    assert np.diff(begins)[:5].tolist() == [1, 18, 243, 3240, 43254]


def test_sums_add_up_along_words() -> None:
    puzzle = load("ball-sixths-114")
    balance = Balance(Looks(puzzle, True))
    for word in scrambles(puzzle, 3, 1, 12):
        total = sum((balance.turns[t] for t in word), np.zeros(len(balance.moduli), dtype=int))
        own = balance.of(Contents.of(balance.looks, puzzle.effect(word)))
        assert (total % balance.moduli == own).all()
        back = balance.word_for(own)
        assert back is not None
        assert not balance.of(Contents.of(balance.looks, puzzle.effect((*word, *back)))).any()
