"""Finishing: every step applied by a plain simulator, products against sympy, and what is said."""

from __future__ import annotations

import random
import time
from functools import lru_cache

import numpy as np
import pytest
from sympy.combinatorics import Permutation

from puzzles import load
from puzzles.effects import cycles, effect_of, effect_of_cycles
from puzzles.errors import RequestError
from puzzles.notation import parse
from puzzles.puzzle import Puzzle, Word
from puzzles.scrambles import scrambles
from puzzles.states import State, from_cycles, from_word, shown
from puzzles.words import normal
from search.finishing import Finisher, finish
from search.finishing_plans import AT_ONCE, AtOnce, Finish
from search.finishing_proofs import compared
from search.finishing_tables import Tables
from search.impossible import ImpossibleError
from search.solving_steps import BALANCE, CYCLE, FREE
from search.splits import MEASURES, MEMORY, SEQUENCES, TURNS, best_split
from tests.brute import words_by_length
from tests.plain import assert_three_cycle, named, plain, plain_ball

#: Puzzles whose tables take next to no time, one of each shape and with each difficulty.
NAMES = [
    "2x2x2",
    "3x3x3",
    "3x3x3-halves",
    "4x4x4",
    "ball-corners",
    "cube-corners",
    "cube-edges",
    "tetrahedron-corners",
    "three-wheels",
]


@lru_cache(maxsize=16)
def tables_of(name: str, apart: bool = False) -> Tables:
    return Tables(load(name), apart)


def solved_in_space(puzzle: Puzzle, word: Word) -> bool:
    """Return whether sampled points show every sticker's place in the colour of its face."""
    turns = named(puzzle, word)
    shown = plain_ball(puzzle) if puzzle.shape == "ball" else plain(puzzle)
    effect = shown.sticker_effect(turns)
    faces = np.array([sticker.face for sticker in puzzle.stickers])
    return bool(np.array_equal(faces[effect], faces))


def check(found: Finish) -> None:
    """Apply every step, and compare what is written with what is done."""
    puzzle, table = found.state.puzzle, found.state.table
    for step, said in zip(found.solution.steps, found.said, strict=True):
        assert normal(puzzle, parse(puzzle, said.sequence).word) == step.word
        assert normal(puzzle, step.word) == step.word
        assert normal(puzzle, parse(puzzle, said.notation).word) == step.word
        assert len(step.word) == said.turns
        table = puzzle.effect(step.word)[table]
        if step.kind == CYCLE:
            assert np.array_equal(
                puzzle.effect(step.word)[puzzle.home],
                np.array(effect_of_cycles(puzzle, [step.cycle]).table)[puzzle.home],
            )
            if puzzle.shape == "solid":
                assert_three_cycle(puzzle, step.word, step.cycle)
    assert State(puzzle, table, found.state.apart).is_solved
    assert found.state.after(puzzle.effect(found.word)).is_solved


@pytest.mark.parametrize("name", NAMES)
def test_scrambles_are_finished(name: str) -> None:
    """A scramble and the steps after it leave every sticker on its face, as points show it."""
    puzzle = load(name)
    for scramble in scrambles(puzzle, 1, 21):
        found = finish(tables_of(name), from_word(puzzle, scramble))
        check(found)
        if puzzle.shape != "written":
            assert solved_in_space(puzzle, scramble + found.word)


@pytest.mark.parametrize("name", ["2x2x2", "3x3x3", "cube-corners", "tetrahedron-corners"])
def test_the_product_of_the_steps_is_the_inverse(name: str) -> None:
    """By sympy's permutations, with all pieces told apart."""
    puzzle = load(name)
    turns = [Permutation(row.tolist()) for row in puzzle.moves]
    for scramble in scrambles(puzzle, 1, 22):
        state = from_word(puzzle, scramble, True)
        found = finish(tables_of(name, True), state)
        product = Permutation(state.table.tolist())
        for step in found.solution.steps:
            for turn in step.word:
                product = product * turns[turn]
        assert product.is_Identity


def things(found: Finish) -> int:
    """Return what there is to remember: what is done twice counts once."""
    steps = zip(found.solution.steps, found.said, strict=True)
    first = sum(said.things for step, said in steps if step.kind != CYCLE)
    return first + sum(part.split.things for part in found.parts)


LAST = [
    "(UFR UBL DFL)",
    "(UFR UBL DFL)(UF UB UR)",
    "(UFR RUF FRU)(UBL BLU LUB)",
    "(UF FU)(UB BU)",
    "(UFR UBL)(UFL UBR)",
    "(UF UB)(UL UR)(UFR UBR)(DFR DFL)",
]


@pytest.mark.parametrize("text", LAST)
def test_last_pieces_by_three_cycles(text: str) -> None:
    puzzle = load("3x3x3")
    state = from_cycles(puzzle, text)
    found = {by: finish(tables_of("3x3x3"), state, by) for by in MEASURES}
    for one in found.values():
        check(one)
        # A short word may go before them where that takes fewer turns in all.
        assert all(step.kind == CYCLE for step in one.solution.steps[1:])
        assert one.solution.steps[0].kind in (CYCLE, FREE)
        assert all(part.split.proven for part in one.parts)
    assert len(found[TURNS].word) <= min(len(one.word) for one in found.values())
    assert found[SEQUENCES].sequences <= min(one.sequences for one in found.values())
    fewest = {by: things(one) for by, one in found.items()}
    assert fewest[MEMORY] == min(fewest.values())


def test_what_is_proven_is_of_the_words_of_the_table() -> None:
    """A three-cycle may have fewer turns than its shortest commutator form: no claim says more.

    The eight turns are the fewest of any form, by all 3,674,160 states of the 2x2x2.
    """
    puzzle = load("2x2x2")
    shorter = parse(puzzle, "U' R2 U F2 U' F2 U F2").word
    state = from_word(puzzle, shorter)
    (cycle,) = cycles(puzzle, effect_of(puzzle, shorter))
    tools = tables_of("2x2x2").tools(puzzle.types[0])
    assert tools is not None
    assert int(tools.cost(np.array(cycle))) > len(shorter)
    split = best_split(tools, state)
    assert split is not None
    assert "each in commutator form, has fewer than" in compared(tools, split, TURNS)
    # On edges of the 3x3x3 not every word of the table is proven to be the shortest such form.
    edges = tables_of("3x3x3").tools(load("3x3x3").types[1])
    assert edges is not None
    two = from_cycles(load("3x3x3"), "(UF FU)(UB BU)")
    for by in MEASURES:
        split = best_split(edges, two, by)
        assert split is not None
        text = compared(edges, split, by)
        assert text.startswith("proven best in the table: no product")
        assert "sequence that the table has for it" in text


def test_few_pieces_are_looked_at_for_one_sequence() -> None:
    """Two flipped edges take 14 turns at once, as `find` says; two three-cycles take 17."""
    state = from_cycles(load("3x3x3"), "(UF FU)(UB BU)")
    found = Finisher(tables_of("3x3x3"), TURNS, AtOnce(600.0)).finish(state)
    check(found)
    assert len(found.word) == 14
    assert found.further


def test_two_swaps_begin_with_an_odd_turn() -> None:
    """Two corners and two edges swapped are odd in both; three-cycles are even (Joyner, 2008)."""
    puzzle = load("3x3x3")
    found = finish(tables_of("3x3x3"), from_cycles(puzzle, "(UFR UBR)(UF UR)"))
    check(found)
    kinds = [step.kind for step in found.solution.steps]
    assert kinds[0] == BALANCE
    assert set(kinds[1:]) <= {CYCLE}


def test_two_swaps_at_once() -> None:
    """One sequence is taken if it is found in time and has fewer turns than the steps."""
    puzzle = load("3x3x3")
    state = from_cycles(puzzle, "(UFR UBR)(UF UR)")
    steps = finish(tables_of("3x3x3"), state)
    found = Finisher(tables_of("3x3x3"), TURNS, AtOnce(30.0)).finish(state)
    check(found)
    assert len(found.word) <= len(steps.word)
    if len(found.solution.steps) == 1:
        assert found.solution.steps[0].kind == AT_ONCE
        assert found.note
    stopped = Finisher(tables_of("3x3x3"), TURNS, AtOnce(30.0), lambda: True).finish(state)
    check(stopped)


def test_a_slow_machine_finds_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is looked at is counted: with a clock that runs ten times as fast nothing is missed."""
    puzzle = load("3x3x3")
    state = from_cycles(puzzle, "(UFR UBR)(UF UB UR UL)")
    finisher = Finisher(tables_of("3x3x3"), TURNS, AtOnce(600.0, 0.1))
    found = finisher.finish(state)
    assert "no sequence of any form has up to 10 turns" in found.note
    clock = time.monotonic
    monkeypatch.setattr(time, "monotonic", lambda: 10 * clock())
    again = finisher.finish(state)
    assert (again.word, again.note) == (found.word, found.note)
    short = Finisher(tables_of("3x3x3"), TURNS, AtOnce(1e-6, 0.1)).finish(state)
    check(short)
    assert "time was over" in short.note


DIRECT = "it undoes the state directly; no sequence of any form has fewer turns"


@pytest.mark.parametrize("name", ["2x2x2", "3x3x3", "4x4x4", "cube-corners"])
def test_what_a_short_word_undoes_takes_no_more_turns(name: str) -> None:
    """After random words of 1 to 6 turns, as sampled points show it."""
    puzzle, chosen = load(name), random.Random(name)
    for turns in range(1, 7):
        word = tuple(chosen.randrange(len(puzzle.turns)) for _ in range(turns))
        found = finish(tables_of(name), from_word(puzzle, word))
        check(found)
        assert len(found.word) <= len(normal(puzzle, word))
        assert solved_in_space(puzzle, word + found.word)
        assert found.note.endswith("no sequence of any form has fewer turns") or not found.word


@pytest.mark.parametrize("apart", [False, True])
def test_the_fewest_turns_of_any_form(apart: bool) -> None:
    """Against all words of up to four turns, one after the other, by what each slot shows."""
    puzzle = load("3x3x3-halves")
    levels = words_by_length(puzzle, 4, range(len(puzzle.layers)))
    least: dict[bytes, int] = {}
    for turns, words in enumerate(levels):
        for word in words:
            least.setdefault(shown(from_word(puzzle, word, apart)).tobytes(), turns)
    for word in random.Random(5).sample(levels[4], 20):
        state = from_word(puzzle, word, apart)
        found = finish(tables_of("3x3x3-halves", apart), state)
        check(found)
        # Told apart, what undoes a state takes as many turns as what leads there.
        assert len(found.word) <= least[shown(state).tobytes()]
        assert len(found.word) == least[shown(state).tobytes()] or not apart


def test_what_is_said_of_a_word_that_undoes_all() -> None:
    puzzle = load("3x3x3")
    for by in MEASURES:
        state = from_word(puzzle, parse(puzzle, "U F U' F'").word)
        found = finish(tables_of("3x3x3"), state, by)
        check(found)
        assert [step.kind for step in found.solution.steps] == [AT_ONCE]
        assert [said.notation for said in found.said] == ["[F, U]"]
        assert found.note == DIRECT
    found = finish(tables_of("3x3x3"), from_cycles(puzzle, LAST[0]))
    assert found.note == "no sequence of any form has up to 8 turns"


def test_a_short_word_before_a_three_cycle() -> None:
    """Seven turns and a three-cycle of eight, which no eight turns undo: not more than 15."""
    puzzle = load("3x3x3")
    mess = parse(puzzle, "[R U R', D] B L' F2 D R2 U' L").word
    found = finish(tables_of("3x3x3"), from_word(puzzle, mess))
    check(found)
    assert len(found.word) <= len(mess)


def test_a_solved_state_needs_no_steps() -> None:
    puzzle = load("3x3x3")
    found = finish(tables_of("3x3x3"), from_word(puzzle, ()))
    assert found.solution.steps == ()
    assert found.word == ()
    assert effect_of(puzzle, found.word).is_identity


def test_impossible_states_are_named() -> None:
    puzzle = load("3x3x3")
    with pytest.raises(ImpossibleError, match="one corner alone can't be twisted"):
        finish(tables_of("3x3x3"), from_cycles(puzzle, "(UFR RUF FRU)"))
    with pytest.raises(RequestError, match="turns or sequences or memory"):
        Finisher(tables_of("3x3x3"), "beauty")
