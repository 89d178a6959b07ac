"""Methods: their sequences on sampled points, whole solves, and what is left against sympy."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from sympy.combinatorics import Permutation, PermutationGroup

from puzzles import load
from puzzles.effects import cycles, effect_of
from puzzles.least_effects import SWAP
from puzzles.notation import parse
from puzzles.puzzle import Puzzle, Table, Word
from puzzles.scrambles import scrambles
from search.encoding import Scope
from search.goals import Goal
from search.method import CYCLES, LOOKED_UP, Method, Methods, MethodStep, find_methods, undominated
from search.method_joined import Joined, Shown, joinable
from search.method_joining import joining_solver
from search.method_kinds import least_plan
from search.method_mending import Mend
from search.method_orders import Plan, cycles_three, plans
from search.method_sequences import Sequences, Workshop
from search.method_solving import Lookup, lookup, method_solver
from search.method_trying import Tried, tried
from search.shelves import Shelves
from search.solving_learned import only
from search.solving_looks import Contents, Looks
from search.solving_steps import CYCLE
from search.tools import Filled, search_in_memory
from service.method_mends_report import shown_text
from tests.plain import assert_three_cycle
from tests.search.test_solving import looks_solved

#: With step after step in place, looked up or by three-cycles; a solid, a ball, written turns.
NAMES = ["3x3x3", "tetrahedron-corners", "3x3x3-slices", "cube-corners", "ball-corners"]


def quick(scope: Scope, goal: Goal) -> Shelves:
    """Return shelves of a search that ends early once every three-cycle has a word."""
    if isinstance(goal, Filled):
        goal = replace(goal, enough=20_000.0)
    return search_in_memory(scope, goal)


@cache
def found(name: str) -> Methods:
    return find_methods(load(name), quick, count=3)


@cache
def workshop(name: str) -> Workshop:
    return Workshop(load(name), quick)


def known_of(method: Method) -> Lookup | None:
    types = [step.types for step in method.steps if step.kind == LOOKED_UP]
    return lookup(method.puzzle, types[0]) if types else None


def done_on_points(puzzle: Puzzle, own: Sequences) -> None:
    """Check on sampled points that sequences cycle three pieces of their type and keep the rest."""
    free = [kind.name for kind in puzzle.types if kind.number not in own.kept]
    for word in own.words:
        kept = [
            cycle
            for cycle in cycles(puzzle, effect_of(puzzle, word))
            if int(puzzle.type_of[puzzle.slot_of[cycle[0]]]) in own.kept
        ]
        assert len(kept) == 1
        assert int(puzzle.type_of[puzzle.slot_of[kept[0][0]]]) == own.type
        assert_three_cycle(puzzle, word, kept[0], free=free)


@pytest.mark.parametrize("name", NAMES)
def test_sequences_do_what_is_said_and_keep_what_is_said(name: str) -> None:
    for method in found(name).methods:
        before: tuple[int, ...] = ()
        for step in method.steps:
            for own in step.sequences:
                assert set(before) <= set(own.kept)
                done_on_points(method.puzzle, own)
            before = (*before, *step.types)


@pytest.mark.parametrize("name", NAMES)
def test_scrambles_are_solved_with_the_sequences_of_the_method_alone(name: str) -> None:
    """Every step is free play of few turns, looked up, or a setup around a sequence's image."""
    puzzle = load(name)
    for method in found(name).methods[:2]:
        solver = method_solver(puzzle, method.plan.order, method.words, known_of(method))
        images = {
            tuple(int(symmetry.turns[t]) for t in own)
            for word in method.words
            for own in (word, puzzle.inverse(word))
            for symmetry in puzzle.symmetries
        }
        for word in scrambles(puzzle, 4, 77):
            solution, _ = solver.staged(puzzle.effect(word))
            assert looks_solved(puzzle, (*word, *solution.word))
            for step in solution.steps:
                if step.kind == CYCLE:
                    assert inside(puzzle, step.word, step.setup, images)


def inside(puzzle: Puzzle, word: Word, setup: Word, images: set[Word]) -> bool:
    """Return whether a word does what a setup, an image of a sequence and the setup undone do."""
    effect = puzzle.effect(word)
    return any(
        np.array_equal(puzzle.effect((*setup, *image, *puzzle.inverse(setup))), effect)
        for image in images
    )


@pytest.mark.parametrize("name", ["3x3x3", "tetrahedron-corners", "cube-corners"])
def test_what_is_left_after_a_step_is_the_stabiliser_of_the_earlier_types(name: str) -> None:
    """Orders by sympy, of the group on all placements that can be seen to be right."""
    puzzle = load(name)
    matters = np.flatnonzero(Looks(puzzle).matters).tolist()
    points = [p for k in matters for p in puzzle.types[k].placements]
    number = {p: k for k, p in enumerate(points)}
    group = PermutationGroup(
        [Permutation([number[int(row[p])] for p in points]) for row in puzzle.moves]
    )
    own = found(name)
    assert own.start == group.order()
    fixed: list[int] = []
    for step in own.methods[0].steps:
        fixed += [number[p] for k in step.types for p in puzzle.types[k].placements]
        assert step.left == group.pointwise_stabilizer(fixed).order()
    assert own.methods[0].steps[-1].left == 1


def test_no_method_is_beaten_by_another_in_both_measures() -> None:
    for name in NAMES:
        row = [(own.things, own.tried.median) for own in found(name).methods]
        assert row == sorted(row)
        assert [turns for _, turns in row] == sorted((t for _, t in row), reverse=True)


def test_a_swap_that_mends_parity_swaps_two_and_keeps_what_came_before() -> None:
    """Parities of the 3x3x3's edges and corners are equal (Joyner, Adventures in Group Theory)."""
    own = found("3x3x3").methods[0]
    shows = [mend.shows for step in own.steps for mend in step.mends]
    assert shows == [True, False]
    puzzle = load("3x3x3")
    for step in own.steps:
        for mend in step.mends:
            if not mend.word:
                continue
            moved = cycles(puzzle, effect_of(puzzle, mend.word))
            kinds = {int(puzzle.type_of[puzzle.slot_of[c[0]]]) for c in moved}
            same = [c for c in moved if int(puzzle.type_of[puzzle.slot_of[c[0]]]) == mend.type]
            assert mend.type in kinds
            assert [len({int(puzzle.slot_of[p]) for p in c}) for c in same] == [2]


def test_few_arrangements_are_known_with_a_shortest_word() -> None:
    """The six faces' slices: 24 positions of the centres, with the parity of the edges 48."""
    own = lookup(load("3x3x3-slices"), (2,))
    assert own is not None
    assert len(own.ways) == 48
    assert lookup(load("2x2x2"), (0,)) is None


def test_joined_edges_of_the_4x4x4_are_a_3x3x3_and_show_two_parities() -> None:
    """Common practice: one joined edge flipped is odd, two swapped ones are even in wings."""
    puzzle = load("4x4x4")
    [joined] = joinable(puzzle, (0, 1, 2))
    assert joined.known.name == "3x3x3"
    assert (joined.first, joined.joined) == ((2,), (1,))
    shown = {(one.kind, one.swap): one.odd for one in joined.shown()}
    assert shown == {("edge", False): True, ("edge", True): False}
    for theirs, own in joined.turns.items():
        assert puzzle.turns[own].amount == joined.known.turns[theirs].amount


def test_what_the_known_puzzle_takes_besides_is_its_first_method() -> None:
    own = least_plan(load("3x3x3"), search_in_memory, lambda: False)
    assert own is not None
    first = found("3x3x3").methods[0]
    assert (len(own.words), own.things) == (len(first.words), first.things) == (2, 5)


def test_what_a_joined_puzzle_shows_is_mended_early_and_late() -> None:
    """Common practice: the outer edges of the 4x4x4 are odd, and a slice turn makes them even."""
    puzzle = load("4x4x4")
    [joined] = joinable(puzzle, (0, 1, 2))
    word = parse(puzzle, "(2R U2)2 [F2: 2R] [2L', U2] 2R2").word
    swap = cycles(puzzle, effect_of(puzzle, word))[:1]
    mend = Mend(1, SWAP, (0, 1, 2), True, (6, 7), swap, word)
    plan = Plan(puzzle, (), ())
    method = Method(
        puzzle, (MethodStep(CYCLES, (1,), mends=(mend,)),), plan, Tried(1, 1, (1,), 0, 3, ())
    )
    turned, swapped = (Shown("edge", False, True), Shown("edge", True, False))
    told = shown_text(Methods(puzzle, (method,), None), joined, turned, 2)
    assert "one turn of 2U or 2D before step 1" in told
    assert "noticed late, (2R U2)2 [F2: 2R] [2L', U2] 2R2 swaps (" in told
    assert "keeps it from showing" in shown_text(Methods(puzzle, (), None), joined, turned, 2)
    assert shown_text(Methods(puzzle, (), None), joined, swapped, 2).endswith("as in step 2")


@pytest.mark.parametrize("name", ["4x4x4", "cube-faces-corners"])
def test_joining_ends_in_the_known_puzzle_and_solves(name: str) -> None:
    puzzle = load(name)
    matters = tuple(np.flatnonzero(Looks(puzzle).matters).tolist())
    [joined] = joinable(puzzle, matters)
    made = joining_solver(joined, workshop(name), matters)
    assert made is not None
    solver, _ = made
    for one in solver.plan.steps:
        done_on_points(puzzle, one)
    outer = {puzzle.layer_numbers[own] for _, own in joined.like.layers}
    for word in scrambles(puzzle, 2, 8):
        before, after, _ = solver.solve(puzzle.effect(word))
        assert looks_solved(puzzle, (*word, *before, *after))
        assert {int(puzzle.turn_layer[t]) for t in after} <= outer
        # Joined: the known puzzle's pieces are whole.
        effect = puzzle.effect((*word, *before))
        assert together(joined, effect)
        assert joined.gathered(effect) is not None


def of_turns(name: str, *words: Word) -> Workshop:
    """Return a workshop that finds some words and nothing else."""
    return Workshop(load(name), only(words))


def test_the_most_comfortable_image_does_what_the_word_did() -> None:
    """An inverse is more than a word read backwards, which does something else here."""
    word = (3, 1, 5, 6, 3, 1, 5, 8)
    own = of_turns("2x2x2", word)
    puzzle = own.puzzle
    kind = puzzle.types[0]
    [chosen] = own.sequences(kind, (kind.number,))
    assert chosen.words[0] not in (word, puzzle.inverse(word))
    done_on_points(puzzle, chosen)


def test_sequences_that_leave_three_cycles_out_are_not_chosen() -> None:
    """Edges of `3x3x3-halves` stay among 8 or 4: of n that are not told apart by twists
    n (n - 1) (n - 2) / 3 three-cycles, by sympy's orbits.
    """
    puzzle = load("3x3x3-halves")
    [edge] = [kind for kind in puzzle.types if kind.name == "edge"]
    group = PermutationGroup(
        [Permutation([int(puzzle.slot_of[p]) for p in row[puzzle.home]]) for row in puzzle.moves]
    )
    sizes = [len(own) for own in group.orbits() if own <= set(edge.slots)]
    most = {n: n * (n - 1) * (n - 2) // 3 for n in sizes}
    assert most == {8: 112, 4: 8}
    eight, four = (8, 4, 8, 4), (8, 7, 8, 7)
    for word in (eight, four):
        assert of_turns("3x3x3-halves", word).sequences(edge, (edge.number,)) == ()
    [both] = of_turns("3x3x3-halves", eight, four).sequences(edge, (edge.number,))
    assert len(both.words) == 2
    assert both.reached == both.needed == sum(most.values())
    done_on_points(puzzle, both)


def test_every_plan_keeps_what_comes_before() -> None:
    """[R, U] cycles three edges and swaps corners; the others, common practice, keep all."""
    puzzle = load("3x3x3")
    texts = ("[R, U]", "[R U R', D]", "F2 U L R' F2 L' R U F2")
    words = tuple(parse(puzzle, text).word for text in texts)
    own = of_turns("3x3x3", *words)
    found = plans(own, (0, 1), ())
    assert found
    for plan in found:
        for k, one in enumerate(plan.steps):
            assert {other.type for other in plan.steps[:k]} <= set(one.kept)
            assert all(cycles_three(puzzle, word, one) for word in one.words)
    # Edges first, corners free: four turns that are two to remember.
    best = found[0]
    assert best.order == ((1,), (0,))
    assert best.steps[0].kept == (1,)
    assert best.steps[0].things == 2


def test_what_is_looked_up_puts_the_parity_of_the_others_right_as_well() -> None:
    """Centres of the 3x3x3-slices, and corners that are even then, by sympy."""
    puzzle = load("3x3x3-slices")
    known = lookup(puzzle, (2,))
    assert known is not None
    corners = puzzle.types[0].slots
    number = {slot: k for k, slot in enumerate(corners)}
    for word in (*scrambles(puzzle, 12, 5), (0,)):
        own = known.word(Contents.of(known.looks, puzzle.effect(word)))
        assert own is not None
        effect = puzzle.effect((*word, *own))
        there = puzzle.slot_of[effect[puzzle.home]]
        assert Permutation([number[int(there[slot])] for slot in corners]).is_even
        centres = list(puzzle.types[2].slots)
        assert there[centres].tolist() == centres


def together(joined: Joined, effect: Table) -> bool:
    """Return whether the pieces of every block are in the slots of one block."""
    puzzle, block = joined.puzzle, {s: k for k, own in joined.blocks.items() for s in own}
    there = puzzle.slot_of[effect[puzzle.home]]
    return all(len({block.get(int(there[s])) for s in own}) == 1 for own in joined.blocks.values())


@pytest.mark.parametrize("name", ["4x4x4", "cube-faces-corners"])
def test_blocks_that_are_torn_apart_are_no_known_puzzle(name: str) -> None:
    """The layers of the known puzzle keep blocks whole, inner layers and corner turns tear them."""
    puzzle = load(name)
    [joined] = joinable(puzzle, tuple(range(len(puzzle.types))))
    outer = {puzzle.layer_numbers[own] for _, own in joined.like.layers}
    for turn in range(len(puzzle.turns)):
        effect = puzzle.effect((turn,))
        whole = int(puzzle.turn_layer[turn]) in outer
        assert together(joined, effect) == whole
        assert (joined.gathered(effect) is not None) == whole


def test_three_pieces_of_blocks_that_change_places_tear_them() -> None:
    puzzle = load("cube-faces-corners")
    [joined] = joinable(puzzle, (0, 1, 2, 3))
    word = parse(puzzle, "[U, F UFL F']").word
    assert not together(joined, puzzle.effect(word))
    assert joined.gathered(puzzle.effect(word)) is None


def test_turns_of_a_try_are_those_of_the_solves() -> None:
    puzzle = load("2x2x2")
    solver = method_solver(puzzle, ((0,),), (parse(puzzle, "[U R U', F]").word,), None)
    own = tried(solver, 4, 3, counted=0)
    words = [solver.staged(puzzle.effect(word))[0].word for word in scrambles(puzzle, 4, 3)]
    for before, word in zip(scrambles(puzzle, 4, 3), words, strict=True):
        assert looks_solved(puzzle, (*before, *word))
    assert own.turns == tuple(sorted(len(word) for word in words))
    assert own.count == own.solved == 4


def test_of_methods_those_stay_that_no_other_beats() -> None:
    puzzle = load("2x2x2")
    one = Sequences(0, (0,), ((0, 3, 2, 5),), 2, 9.0, 9, 1, 1)
    other = Sequences(0, (0,), ((0, 3, 6, 5, 2, 8),), 6, 9.0, 9, 1, 1)
    easy, hard = Plan(puzzle, (), (one,)), Plan(puzzle, (), (other,))
    assert easy.things < hard.things

    def turns(*row: int, solved: int = 3) -> Tried:
        return Tried(3, solved, row, 0, 3, ())

    few, many = turns(4, 5, 6), turns(7, 8, 9)
    assert undominated([(hard, many), (easy, few)]) == [(easy, few)]
    assert undominated([(hard, few), (easy, few)]) == [(easy, few)]
    assert undominated([(hard, few), (easy, many)]) == [(easy, many), (hard, few)]
    assert undominated([(hard, many), (easy, turns(4, 5, solved=2))]) == [(hard, many)]


def test_one_sequence_reaches_all_three_cycles_with_setups() -> None:
    """Of n pieces with t twists there are n (n - 1) (n - 2) / 3 t^2 three-cycles."""
    own = workshop("3x3x3").sequences(load("3x3x3").types[0], (0, 1))
    assert own[0].needed == own[0].reached == 8 * 7 * 6 // 3 * 9
    assert len(own[0].words) == 1
    assert all(one.whole for one in own)
    assert [one.mean for one in own] == sorted((one.mean for one in own), reverse=True)


def test_stopping_returns_what_was_tried() -> None:
    calls: list[str] = []
    own = find_methods(
        load("3x3x3"),
        count=50,
        tell=calls.append,
        stop=lambda: any(text.startswith("solving") for text in calls),
    )
    assert own.methods
    assert all(method.tried.count < 50 for method in own.methods)
    assert any(step.kind == CYCLES for step in own.methods[0].steps)
