"""Solving with what somebody knows, against plain simulators, effects turn by turn and brute force.

The lists are what people learn first (common practice): a trigger of four turns, a sequence that
turns corners and cycles edges, one that swaps two corners and two edges, a single three-cycle.
"""

from __future__ import annotations

import itertools
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from puzzles import brackets, load
from puzzles.compile import compiled
from puzzles.errors import RequestError
from puzzles.file import parse as parse_file
from puzzles.notation import parse, write
from puzzles.puzzle import Puzzle, Table, Word
from puzzles.scrambles import scrambles
from puzzles.words import normal
from search.reading import turns_of
from search.solving_learned import learned_in, solver_with
from search.solving_learned_blocked import LearnedBlockedSolver
from search.solving_learned_lines import begins_of
from search.solving_learned_order import stages_of
from search.solving_learned_pairs import pairs_of
from search.solving_learned_solver import LearnedSolver
from search.solving_learned_sums import Sums
from search.solving_learned_told import PART, form_of, said_of
from search.solving_looks import Contents
from search.solving_steps import CYCLE, FREE, LEARNED, Solution, Step
from tests.plain import named, plain
from tests.rigid import Rigid

TRIGGER, TURNING = "R U R' U'", "R U R' U R U2 R'"
SWAPS = "R U R' U' R' F R2 U' R' U' R U R' F'"
EDGES = "R2 U F B' R2 F' B U R2"


@cache
def solver(name: str, *lines: str) -> LearnedSolver:
    puzzle = load(name)
    own = solver_with(puzzle, learned_in(puzzle, lines))
    assert isinstance(own, LearnedSolver)
    return own


@cache
def blocked(name: str, *lines: str) -> LearnedBlockedSolver:
    puzzle = load(name)
    own = solver_with(puzzle, learned_in(puzzle, lines))
    assert isinstance(own, LearnedBlockedSolver)
    return own


def state_of(name: str, seed: int) -> Table:
    puzzle = load(name)
    (word,) = scrambles(puzzle, 1, seed)
    return puzzle.effect(word)


def assert_only_known(own: LearnedSolver, found: Solution) -> None:
    """Every step is short free play, or an image of what was learned, after a setup, undone."""
    puzzle = own.puzzle
    images = {normal(puzzle, image.word) for image in own.images}
    for step in found.steps:
        if step.kind == FREE:
            assert len(step.word) <= 3
            continue
        assert step.kind in (LEARNED, CYCLE)
        undo = puzzle.inverse(step.setup)
        assert normal(puzzle, (*undo, *step.word, *step.setup)) in images
        assert step.kind == CYCLE or len(step.setup) <= 3
        assert step.said


@pytest.mark.parametrize(
    ("name", "lines"),
    [
        ("3x3x3", (TRIGGER, TURNING, SWAPS)),
        ("3x3x3", (SWAPS,)),
        ("3x3x3", ("[R U R' U', L']", EDGES)),
        ("2x2x2", (TURNING,)),
        ("tetrahedron-corners", ("R U' R' U",)),
    ],
)
def test_a_list_solves(name: str, lines: tuple[str, ...]) -> None:
    own, puzzle = solver(name, *lines), load(name)
    for word in scrambles(puzzle, 3, 11):
        found = own.solve(puzzle.effect(word))
        assert found.solved
        assert own.why_left(found) == ""
        assert_only_known(own, found)
        solid = plain(puzzle)
        end = solid.do(named(puzzle, (*word, *(t for s in found.steps for t in s.word))))
        assert (solid._face_at(end) == solid.face).all()


def test_one_sequence_that_moves_both_types_is_enough() -> None:
    """`R U R' U R U2 R'` always takes corners and edges along; pairs of it do not."""
    own = solver("3x3x3", TURNING)
    found = own.solve(state_of("3x3x3", 7))
    assert found.solved
    assert_only_known(own, found)


def test_what_is_not_known_is_named() -> None:
    own = solver("3x3x3", "[R U R' U', L']")
    found = own.solve(state_of("3x3x3", 7))
    assert not found.solved
    assert "no sequence moves edges" in own.why_left(found)
    own = solver("3x3x3", "[(R' D' R D)2, U]")
    found = own.solve(state_of("3x3x3", 7))
    assert "each only twists corners where they are" in own.why_left(found)
    # All corners right, two edges of the opposite parity: a three-cycle of edges mends no parity.
    puzzle, own = load("3x3x3"), solver("3x3x3", EDGES)
    edges = [s for t in puzzle.types if t.name == "edge" for s in t.slots]
    swapped = np.arange(puzzle.placement_count, dtype=np.int32)
    a, b = (puzzle.home[s] + np.arange(2) for s in edges[:2])
    swapped[a], swapped[b] = b, a
    reason = own.why_left(Solution(own.looks, swapped, ()))
    assert "none changes the edges by an odd number of swaps" in reason


def test_stops_when_it_is_told() -> None:
    puzzle = load("3x3x3")
    own = LearnedSolver(puzzle, learned_in(puzzle, [TURNING]), stop=lambda: True)
    assert not own.solve(state_of("3x3x3", 7)).solved


def test_types_that_are_only_moved_together_are_one_stage() -> None:
    assert stages_of([{1, 2}], range(3)) == ((0,), (1, 2))
    assert stages_of([{1}, {1, 2}], range(3)) == ((0,), (2,), (1,))
    assert stages_of([{0}, {1}, {0, 1, 2}], range(3)) == ((2,), (0, 1))


@pytest.mark.parametrize("name", ["3x3x3", "4x4x4"])
def test_moves_do_what_their_turns_do(name: str) -> None:
    """Of moves drawn by chance: setup, image and undoing, turn by turn."""
    own, puzzle = solver(name, TRIGGER), load(name)
    known = own.knowing(2)
    random = np.random.default_rng(3)
    for row in random.integers(len(known), size=30).tolist():
        setup, image = known.parts(row)
        word = (*setup, *image.word, *puzzle.inverse(setup))
        assert (known.to[row] == puzzle.effect(word)[puzzle.home]).all()
        assert len(normal(puzzle, word)) <= known.cost[row]
        sums = own.balance.of(Contents.of(own.looks, puzzle.effect(word)))
        assert (sums == known.sums[row]).all()


@pytest.mark.parametrize("name", ["3x3x3", "4x4x4"])
def test_a_view_counts_what_looks_right(name: str) -> None:
    """Gains and keys of all moves at once, against applying some of them one by one."""
    own, puzzle = solver(name, TRIGGER), load(name)
    planned = own.stages(own.plans[0])[-1]
    view, stage = planned.stage.beam.view, planned.stage
    every = np.concatenate([stage.learned.to, stage.free.to])
    random = np.random.default_rng(4)
    effect = state_of(name, 5)
    contents = Contents.of(own.looks, effect)
    held = view.held(contents.piece, contents.twist)
    gains, keys = view.gains(held), view.keys(held)
    before = contents.right[stage.own].sum()
    looks: dict[bytes, int] = {}
    for row in random.integers(len(view), size=40).tolist():
        to = every[view.numbers[row]]
        there = effect[puzzle.home]
        turned = puzzle.twist_of[to[puzzle.slot_of[there]]] + puzzle.twist_of[there]
        twists = np.array([puzzle.types[int(t)].twists for t in puzzle.type_of])
        end = puzzle.slot_of[to[puzzle.slot_of[there]]]
        after = effect.copy()
        after[puzzle.home] = puzzle.home[end] + turned % twists
        own_after = Contents.of(own.looks, after)
        assert own_after.right[stage.own].sum() - before == gains[row]
        assert view.key(view.after(held, row)) == keys[row]
        kind = own.looks.kind[own_after.piece[stage.own]]
        twist = own_after.twist[stage.own] % own.looks.shown[stage.own]
        shown = np.concatenate([kind, twist]).tobytes()
        assert looks.setdefault(shown, int(keys[row])) == int(keys[row])
    assert len(set(looks.values())) == len(looks)


def test_pairs_do_what_the_two_do() -> None:
    own, puzzle = solver("3x3x3", TURNING), load("3x3x3")
    stage = own.stages(own.plans[0])[-1].stage
    view = stage.beam.view
    every = np.concatenate([stage.learned.to, stage.free.to])[view.numbers]
    groups = [np.arange(8), np.arange(8, 20)]
    pairs = pairs_of(view, every, stage.beam.cost, groups)
    assert len(pairs.first) > 100
    known = own.knowing(2)
    alone = 0
    for k in range(0, len(pairs.first), max(1, len(pairs.first) // 50)):
        words = []
        for row in (pairs.first[k], pairs.second[k]):
            number = int(view.numbers[row])
            if number >= len(known):
                words.append(own.words.word(number - len(known)))
                continue
            setup, image = known.parts(number)
            words.append((*setup, *image.word, *puzzle.inverse(setup)))
        effect = puzzle.effect((*words[0], *puzzle.inverse(words[1])))
        assert (effect[puzzle.home] == pairs.to[k]).all()
        moved = own.board.moved(pairs.to[k].astype(np.int64)[None])[0]
        alone += len(set(puzzle.type_of[moved].tolist())) == 1
    assert alone


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.integers(2, 4), min_size=1, max_size=4).flatmap(
        lambda moduli: st.tuples(
            st.just(moduli),
            st.lists(st.tuples(*(st.integers(0, m - 1) for m in moduli)), min_size=0, max_size=3),
        )
    )
)
def test_sums_agree_exactly_up_to_what_is_added(
    given_: tuple[list[int], list[tuple[int, ...]]],
) -> None:
    """Against all sums of up to four of each of the added, one by one."""
    moduli, added = given_
    own = Sums(np.array(moduli), [np.array(row) for row in added])
    group = set()
    for times in itertools.product(range(12), repeat=len(added)):
        total = [0] * len(moduli)
        for count, row in zip(times, added, strict=True):
            total = [(a + count * b) % m for a, b, m in zip(total, row, moduli, strict=True)]
        group.add(tuple(total))
    every = list(itertools.product(*(range(m) for m in moduli)))
    codes = own.codes(np.array(every))
    for one, code in zip(every, codes.tolist(), strict=True):
        assert (code == 0) == (one in group)
        first = tuple((a - b) % m for a, b, m in zip(one, every[-1], moduli, strict=True))
        assert (code == codes[-1]) == (first in group)
    for k in range(len(moduli)):
        assert own.fixed[k] == all(row[k] == 0 for row in group)


# --- where turns can be blocked -----------------------------------------------------------------


def rigid(name: str) -> Rigid:
    if name == "3x3x3-stops":
        return Rigid(load("3x3x3"), (), {"L": (0, 1, 2), "R": (0, 1, 2)})
    return Rigid(load("3x3x3"), (("UFR", "UF"), ("DBL", "DB"), ("UBL", "BL")))


@pytest.mark.parametrize("name", ["3x3x3-stops", "3x3x3-bandaged"])
def test_blocked_turns_are_never_done(name: str) -> None:
    """The two sequences that people learn first, with bodies of points that tell what is blocked.

    The solved cube and one that looks so are the same on a 3x3x3 without its centres' twists.
    """
    own, puzzle = blocked(name, TRIGGER, TURNING), load(name)
    for before in scrambles(puzzle, 2, 7):
        found = own.solve(puzzle.effect(before))
        word: Word = tuple(t for step in found.steps for t in step.word)
        assert found.solved, own.why_left(found)
        assert rigid(name).first_blocked((*before, *word)) is None
        assert rigid(name).first_blocked((*before, *found.word)) is None
        solid = plain(load("3x3x3"))
        for row in (word, found.word):
            end = solid.do(named(puzzle, (*before, *row)))
            assert (solid._face_at(end) == solid.face).all()
        for step in found.steps:
            assert step.kind == FREE or step.said


def test_what_cannot_be_done_near_home_is_named() -> None:
    """Without any sequence of edges, and with a setup that no way home undoes."""
    own = blocked("3x3x3-stops", "[F2: [L2, [U: R2]]]")
    found = own.solve(state_of("3x3x3-stops", 7))
    assert not found.solved
    assert "no sequence can be done that moves edges" in own.why_left(found)


# --- what is wrong with a list ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("lines", "says"),
    [
        ([], "has no sequences"),
        (["R U", "# R Q", "R Q"], "line 3: "),
        (["R R'"], "line 1: all its turns cancel"),
        (["R U"] * 4, "has more than 3 sequences"),
    ],
)
def test_a_wrong_list_is_said(lines: list[str], says: str) -> None:
    puzzle: Puzzle = load("3x3x3")
    with pytest.raises(RequestError, match=says):
        learned_in(puzzle, lines, 3)


# --- what is said of a step ---------------------------------------------------------------------


def test_lines_keep_their_words_and_remarks() -> None:
    puzzle = load("3x3x3")
    text = ["M2 U  M U2 M' U M2  # slices", "[[U: L2], R]", "U L2 U' R U L2 U' R'  # again", "R U"]
    own = learned_in(puzzle, text)
    assert [one.said for one in own] == ["slices (M2 U M U2 M' U M2)", "[[U: L2], R]", "R U"]
    assert learned_in(puzzle, [one.text for one in own]) == own
    (long,) = learned_in(puzzle, [f"R U  # \x1b[31m\t{'a b ' * 40}"])
    assert len(long.remark) <= 60
    assert long.remark.isprintable()


def test_a_sequence_is_begun_elsewhere_only_where_nothing_cancels() -> None:
    """`R U R' U R U2 R'` ends with what undoes its beginning; four turns may begin anywhere."""
    puzzle = load("3x3x3")
    first, second = (begins_of(puzzle, one) for one in learned_in(puzzle, [TURNING, TRIGGER]))
    assert [one.after for one in first] == [""]
    assert [one.after for one in second] == ["", "R", "R U", "R U R'"]
    assert [write(puzzle, one.turns) for one in second][1] == "U R' U' R"
    (slices,) = learned_in(puzzle, ["M2 U M U2 M' U M2"])
    for one in begins_of(puzzle, slices):
        assert set(one.after) <= set("MU2' ")
        assert len(one.turns) == len(slices.word)
    (half,) = learned_in(puzzle, ["R2 U F U'"])
    assert "R" in [one.after for one in begins_of(puzzle, half)]


def assert_done_as_said(own: LearnedSolver | LearnedBlockedSolver, step: Step) -> None:
    """The line's turns, held and begun as it is said, are what stands between setup and undoing.

    The puzzle is turned by the matrix of the holding, not by the solver's tables: each letter goes
    to the face in whose direction its axis then points.
    """
    puzzle = own.puzzle
    line = next(one for one in own.learned if step.said.startswith(one.said))
    used = step.said.removeprefix(line.said).split(";")[0].removeprefix(", ")
    word = parse(puzzle, line.line).word
    if "begun after " in used:
        after = parse(puzzle, used.split("begun after ")[1]).word
        word = normal(puzzle, (*puzzle.inverse(after), *word, *after))
    up, front = used.split(" up, ")[0], used.split(" up, ")[1].split(" in front")[0]
    body = puzzle.body
    axes = {name: np.array(body.axis(name)) for name in (puzzle.up, puzzle.front, up, front)}
    side = np.cross(axes[puzzle.up], axes[puzzle.front])
    there = np.cross(axes[up], axes[front]) * (-1 if "mirrored" in used else 1)
    frame = np.array([axes[puzzle.up], axes[puzzle.front], side])
    to = np.linalg.inv(frame) @ np.array([axes[up], axes[front], there])
    held = []
    for turn in word:
        name = puzzle.turns[turn].layer
        (face,) = body.nearest(body.axis(name) @ to)[0]
        layer = puzzle.layer_numbers[body.faces[face].name]
        amount = puzzle.turns[turn].amount * (-1 if "mirrored" in used else 1)
        image = puzzle.turn(layer, amount)
        assert image is not None
        held.append(image)
    inner = puzzle.inverse(held) if "undone" in used else tuple(held)
    assert step.form is not None
    assert turns_of(puzzle, step.form) == step.word
    if step.word[len(step.word) - len(step.setup) :] == puzzle.inverse(step.setup):
        whole = (*step.setup, *inner, *puzzle.inverse(step.setup))
        assert normal(puzzle, step.word) == normal(puzzle, whole), step.said


def test_steps_are_done_as_is_said() -> None:
    own = solver("3x3x3", "[[U: L2], R]", "[U, F']  # short", TURNING, EDGES)
    told = []
    for seed in (7, 8, 9):
        for step in own.solve(state_of("3x3x3", seed)).steps:
            if step.kind != FREE:
                assert_done_as_said(own, step)
                told.append(step.said)
    said = " ".join(told)
    for word in ("mirrored", "undone", "begun after", "short ([U, F'])"):
        assert word in said


def test_steps_where_turns_can_be_blocked_are_done_as_is_said() -> None:
    own = blocked("3x3x3-bandaged", TRIGGER, TURNING)
    for step in own.solve(state_of("3x3x3-bandaged", 7)).steps:
        if step.kind != FREE:
            assert_done_as_said(own, step)


def test_a_part_of_what_is_known_is_called_one() -> None:
    puzzle = load("3x3x3")
    own = solver("3x3x3", TURNING)
    image = own.images[0]
    form = form_of(puzzle, own.learned, image, parse(puzzle, "U' R'").word)
    assert brackets.text(form) == f"[U' R': {TURNING}]"
    said = said_of(puzzle, own.learned, image, turns_of(puzzle, form))
    assert said == f"{TURNING}, U up, F in front; {PART}"
    assert PART not in said_of(puzzle, own.learned, image, image.word)


# --- small puzzles of one's own -----------------------------------------------------------------

FIVE = """description = "Five."
shape = "written"
places = 5
alike = ["4-5"]
[[turns]]
name = "A"
cycles = "(1 2 3 4 5)"
"""
EIGHT = (
    FIVE.replace("places = 5", "places = 8")
    .replace("4-5", "7-8")
    .replace("(1 2 3 4 5)", "(3 6) (1 2 4)")
)


def test_a_puzzle_without_sums_and_one_whose_turn_cycles_three_are_solved() -> None:
    """Two places look alike and hide parity; or the turn itself, doubled, cycles three of eight."""
    five = compiled("own", parse_file(FIVE, "own.toml"))
    own = solver_with(five, learned_in(five, ["A"]))
    assert own.solve(five.effect((0, 0))).solved
    eight = compiled("own", parse_file(EIGHT, "own.toml"))
    own = solver_with(eight, learned_in(eight, ["A2", "A"]))
    assert own.solve(eight.effect((0, 0))).solved
