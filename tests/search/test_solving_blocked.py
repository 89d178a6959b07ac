"""Solving where turns can be blocked, against bodies of sampled points, plain search and sympy."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sympy.combinatorics import Permutation, PermutationGroup  # type: ignore[import-untyped]

from puzzles import load
from puzzles.effects import effect_of_cycles
from puzzles.errors import RequestError
from puzzles.names import read_placement
from puzzles.puzzle import Puzzle, Table, Word
from puzzles.scrambles import scrambles
from search.solving import solver_for
from search.solving_blocked import BlockedSolver, cancelled
from search.solving_blocked_near import Near
from search.solving_blocked_shapes import shapes
from search.solving_looks import Contents, Looks
from search.solving_steps import BALANCE, CYCLE, FREE
from tests.plain import named, plain, plain_ball
from tests.rigid import Rigid

BANDAGED = (("UFR", "UF"), ("DBL", "DB"), ("UBL", "BL"))
STOPS = {"L": (0, 1, 2), "R": (0, 1, 2)}


def bonded(name: str, *bonds: tuple[str, ...]) -> Puzzle:
    puzzle = load(name)
    slots = tuple(tuple(read_placement(puzzle, n).slot for n in bond) for bond in bonds)
    return replace(puzzle, bonds=slots)


@cache
def solver(name: str) -> BlockedSolver:
    """Return what solves a puzzle of the catalogue, by the way in that is the same for all."""
    own = solver_for(load(name))
    assert isinstance(own, BlockedSolver)
    return own


@cache
def rigid(name: str) -> Rigid:
    if name == "3x3x3-stops":
        return Rigid(load("3x3x3"), (), STOPS)
    return Rigid(load("3x3x3"), BANDAGED)


def walk(puzzle: Puzzle, turns: int, seed: int) -> Word:
    """Return possible turns, of a layer drawn from all that can turn."""
    source = random.Random(seed)
    word: Word = ()
    state = puzzle.effect(())
    for _ in range(turns):
        able = [t for t in range(len(puzzle.turns)) if not puzzle.first_blocked((t,), state)]
        layer = source.choice(sorted({int(puzzle.turn_layer[t]) for t in able}))
        turn = source.choice([t for t in able if puzzle.turn_layer[t] == layer])
        word = (*word, turn)
        state = puzzle.moves[turn][state]
    return word


def looks_solved_on_points(puzzle: Puzzle, word: Word) -> bool:
    """Return whether every sampled point lies where the solved puzzle has its colour."""
    if puzzle.shape == "solid":
        solid = plain(puzzle)
        return bool((solid._face_at(solid.do(named(puzzle, word))) == solid.face).all())
    ball = plain_ball(puzzle)
    return bool((ball.paint(ball.do(named(puzzle, word))) == ball.face).all())


def held_fast(word: Word) -> bool:
    """Return whether a word turns a face of the ball while a corner at it stands at an odd sixth.

    Counted turn by turn, from the description of the puzzle alone: a corner that stands so cannot
    be carried away, so that what counts is the place.
    """
    puzzle = load("ball-sixths-whole")
    odd: set[str] = set()
    for turn in word:
        own = puzzle.turns[turn]
        if len(own.layer) == 3:
            if own.amount % 2:
                odd ^= {own.layer}
        elif any(own.layer in corner for corner in odd):
            return True
    return False


@pytest.mark.parametrize("name", ["3x3x3-bandaged", "3x3x3-stops"])
def test_cubes_are_solved_and_bodies_of_points_allow_every_turn(name: str) -> None:
    puzzle = load(name)
    for seed, word in enumerate((*scrambles(puzzle, 1, 11), walk(puzzle, 60, 3))):
        found = solver(name).solve(puzzle.effect(word))
        written = tuple(t for step in found.steps for t in step.word)
        for solution in (written, found.word):
            assert rigid(name).first_blocked((*word, *solution)) is None, seed
        assert np.array_equal(puzzle.effect(written), puzzle.effect(found.word))
        assert looks_solved_on_points(puzzle, (*word, *found.word))
        assert found.solved
        assert len(found.word) <= len(written) <= 160


def test_the_ball_whose_pieces_stay_whole_is_solved() -> None:
    puzzle = load("ball-sixths-whole")
    for word in (*scrambles(puzzle, 1, 11), walk(puzzle, 250, 3)):
        found = solver(puzzle.name).solve(puzzle.effect(word))
        assert not held_fast((*word, *found.word))
        assert looks_solved_on_points(puzzle, (*word, *found.word))
        assert len(found.word) <= 400


def test_a_corner_at_an_odd_sixth_holds_faces_fast() -> None:
    """That the count used above blocks what the tables block."""
    puzzle = load("ball-sixths-whole")
    source = random.Random(5)
    for _ in range(200):
        word = tuple(source.randrange(len(puzzle.turns)) for _ in range(source.randrange(1, 7)))
        assert held_fast(word) == (puzzle.first_blocked(word) is not None)


def test_steps_say_what_they_do() -> None:
    puzzle = load("3x3x3-bandaged")
    word = next(scrambles(puzzle, 1, 2))
    found = solver(puzzle.name).solve(puzzle.effect(word))
    looks, effect = Looks(puzzle), puzzle.effect(word)
    assert {step.kind for step in found.steps} <= {FREE, BALANCE, CYCLE}
    for step in found.steps:
        before = Contents.of(looks, effect).right
        for turn in step.word:
            effect = puzzle.moves[turn][effect]
        after = Contents.of(looks, effect).right
        assert set(step.right) == set(np.flatnonzero(after & ~before))
        assert set(step.kept) == set(np.flatnonzero(after & before))
        if step.kind == CYCLE:
            own = puzzle.effect(step.word)
            assert [int(own[p]) for p in step.cycle] == [*step.cycle[1:], step.cycle[0]]
            assert step.word[: len(step.setup)] == step.setup
            undone = puzzle.inverse(step.setup)
            assert not undone or step.word[-len(undone) :] == undone


# --- what cannot be reached ---------------------------------------------------------------------


def _placement(puzzle: Puzzle, name: str) -> int:
    placement = read_placement(puzzle, name).placement
    assert placement is not None
    return placement


def cycled(puzzle: Puzzle, *cycles: str) -> Table:
    rows = [tuple(_placement(puzzle, name) for name in cycle.split()) for cycle in cycles]
    return np.array(effect_of_cycles(puzzle, rows).table, dtype=np.int32)


@pytest.mark.parametrize(
    ("name", "cycle", "why"),
    [
        ("3x3x3-bandaged", "FR RF", "one edge alone can't be flipped"),
        ("3x3x3-bandaged", "UFL LUF FLU", "one corner alone can't be twisted"),
        ("3x3x3-bandaged", "UF UB UL", "UFR and UF are fastened together, and no turns"),
        ("3x3x3-stops", "FR RF", "one edge alone can't be flipped"),
        ("ball-sixths-whole", "FR RF", "one edge alone can't be flipped"),
    ],
)
def test_what_no_turns_reach_is_refused_with_the_reason(name: str, cycle: str, why: str) -> None:
    puzzle = load(name)
    with pytest.raises(RequestError, match=f"this state cannot be reached: .*{why}"):
        solver(name).solve(cycled(puzzle, cycle))


@cache
def loops_of_the_bandaged_cube() -> PermutationGroup:
    """The group of loops of the home shape, on placements, from 60 of its shortest."""
    puzzle, near = load("3x3x3-bandaged"), solver("3x3x3-bandaged").near
    words = [near.word(int(state)) for state in near.loops[:300]]
    words += [near.word(int(s)) + puzzle.inverse(near.word(int(t))) for s, t in _same_shape(near)]
    picked = random.Random(1).sample(words, 60)
    return PermutationGroup([Permutation(puzzle.effect(word).tolist()) for word in picked])


def _same_shape(near: Near) -> Iterator[tuple[int, int]]:
    """Yield states with the state before that has their shape."""
    last: dict[int, int] = {}
    for state, shape in enumerate(near.shape[:20_000].tolist()):
        if shape in last:
            yield state, last[shape]
        last[shape] = state


def test_the_loops_of_the_bandaged_cube_are_what_is_taken_for_granted() -> None:
    """Its order by sympy: 3! bodies, 5! 3^5 corners, 9! 2^9 edges, divided by the laws that hold.

    Corners and edges keep the sums of twists and flips of the whole cube, and their parities go
    together: the index is 3 * 2 * 2.
    """
    whole = 6 * (120 * 3**5) * (362880 * 2**9)
    index = whole // loops_of_the_bandaged_cube().order()
    ways = solver("3x3x3-bandaged").ways
    assert index == ways.turns.shape[1] // (ways.turns[0] >= 0).sum()


@settings(max_examples=30, deadline=None)
@given(st.randoms(use_true_random=False))
def test_states_with_bodies_at_home_against_membership(source: random.Random) -> None:
    """Loose pieces put together anyhow: solved exactly if sympy says that loops make that."""
    puzzle = load("3x3x3-bandaged")
    bound = {slot for bond in puzzle.bonds for slot in bond}
    effect = puzzle.effect(())
    for kind in puzzle.types[:2]:
        slots = [slot for slot in kind.slots if slot not in bound]
        there = source.sample(slots, len(slots))
        for slot, to in zip(slots, there, strict=True):
            x = source.choice([0, 0, source.randrange(kind.twists)])
            own = np.arange(kind.twists)
            effect[puzzle.home[slot] + own] = puzzle.home[to] + (own + x) % kind.twists
    if loops_of_the_bandaged_cube().contains(Permutation(effect.tolist())):
        found = solver(puzzle.name).solve(effect)
        assert found.solved
        assert puzzle.first_blocked(found.word, effect) is None
    else:
        with pytest.raises(RequestError, match="cannot be reached"):
            solver(puzzle.name).solve(effect)


def test_like_pieces_are_told_apart_as_bodies_need_them() -> None:
    """A state that was painted may name like pieces the other way round; it is solved as well."""
    puzzle = load("ball-sixths-whole")
    word = walk(puzzle, 60, 9)
    effect = puzzle.effect(word)
    bound = {slot for bond in puzzle.bonds for slot in bond}
    blade = next(t for t in puzzle.types if t.name == "blade")
    one = next(slot for slot in blade.slots if slot in bound)
    other = next(s for s in blade.slots if s != one and puzzle.alike[s] == puzzle.alike[one])
    entered = effect.copy()
    entered[puzzle.home[[one, other]]] = effect[puzzle.home[[other, one]]]
    assert puzzle.first_blocked(walk(puzzle, 5, 1), entered) is not None
    found = solver(puzzle.name).solve(entered)
    assert looks_solved_on_points(puzzle, (*word, *found.word))


# --- other bodies -------------------------------------------------------------------------------

#: Bodies on cubes, and the kinds of units that three-cycles do not put right.
BONDED = {
    "two bodies told by nothing but their edges": ("3x3x3", (("UF", "F", "DF"), ("UB", "B")), []),
    "two corners, which may lie either way round": ("2x2x2", (("UFR", "UFL"),), ["corner"]),
    "two slabs": (
        "3x3x3",
        (("UFR", "UF", "UFL"), ("DBL", "DB", "DBR")),
        ["corner", "edge"],
    ),
}


@pytest.mark.parametrize("case", BONDED)
def test_other_bodies_are_solved(case: str) -> None:
    name, bonds, stubborn = BONDED[case]
    puzzle = bonded(name, *bonds)
    own = BlockedSolver(puzzle, most=40_000)
    assert sorted(kind.name for kind in own.products.kinds) == stubborn
    shown = Rigid(load(name), bonds)
    for word in scrambles(puzzle, 3, 4, 40):
        found = own.solve(puzzle.effect(word))
        assert shown.first_blocked((*word, *found.word)) is None
        assert looks_solved_on_points(puzzle, (*word, *found.word))
    if stubborn:
        products_do_what_they_are_for(own, shown)


def products_do_what_they_are_for(own: BlockedSolver, shown: Rigid) -> None:
    """Loops that leave all sums as they are, undone on the stubborn kinds by products."""
    near, puzzle = own.near, own.puzzle
    loops = [s for s in near.loops.tolist() if not near.values[s].any()]
    loops = [s for s in loops if not own.products.right(near.element[s])][:20]
    assert loops
    for state in loops:
        word = own.product(near.element[state])
        assert word
        whole = (*near.word(state), *word)
        assert shown.first_blocked(whole) is None
        element = own.shapes.element(puzzle.effect(whole), 0)
        assert element is not None
        assert own.products.right(element)
        assert not near.invariants.of(element[None]).any()


def test_shapes_and_loops_count_all_states() -> None:
    """A 2x2x2 with two corners fastened: shapes times loops are all states of a plain search."""
    bonds = (("UFR", "UFL"),)
    puzzle = bonded("2x2x2", *bonds)
    own = shapes(puzzle)
    acts = own.acts[own.turn_to >= 0]
    loops = PermutationGroup([Permutation(row) for row in np.unique(acts, axis=0).tolist()])
    shown = Rigid(load("2x2x2"), bonds)
    seen, row = {shown.start}, [shown.start]
    for state in row:
        for turn in range(len(puzzle.turns)):
            if shown.possible(state, turn) and (after := shown.after(state, turn)) not in seen:
                seen.add(after)
                row.append(after)
    assert len(seen) == len(own.turn_to) * loops.order()


def test_what_merges_stays_possible() -> None:
    """Everything that cancels is cancelled, and from where it begins all can be done."""
    puzzle = load("3x3x3-stops")
    names = {str(turn): number for number, turn in enumerate(puzzle.turns)}
    word = tuple(names[n] for n in ("R", "U", "D", "U3", "R", "R3", "R3", "F"))
    start = puzzle.effect(())
    short = cancelled(puzzle, word, start)
    assert [str(puzzle.turns[t]) for t in short] in (["D", "F"], ["R", "D", "R3", "F"])
    assert puzzle.first_blocked(short, start) is None
    assert np.array_equal(puzzle.effect(short), puzzle.effect(word))
