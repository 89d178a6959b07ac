"""Methods where turns can be blocked, against bodies of sampled points and wheels done by hand."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import replace
from functools import cache

import pytest

from puzzles import load
from puzzles.puzzle import Puzzle, Word
from puzzles.scrambles import scrambles
from search.method import (
    CYCLES,
    HOME,
    LOOKED_UP,
    Method,
    Methods,
    MethodStep,
    find_methods,
)
from search.method_blocked import find_blocked_methods
from search.method_blocked_home import Home, Homeward
from search.method_blocked_sequences import BlockedSequences, BlockedWorkshop
from search.method_blocked_solving import BlockedMethodSolver
from search.method_blocked_units import units_of
from search.solving_blocked_near import Near
from search.solving_blocked_shapes import shapes
from search.solving_blocked_ways import WaysHome
from search.solving_steps import CYCLE
from tests.plain import named, plain_ball
from tests.rigid import Rigid, State
from tests.search.test_solving_blocked import BANDAGED, STOPS, bonded, held_fast

#: Three wheels of coins of our own; two coins are glued together.
WHEELS = {
    "A": (1, 2, 3, 4, 5, 6),
    "B": (3, 4, 7, 8, 9),
    "C": (8, 9, 10, 11, 12, 13),
}
GLUED = (1, 2)
#: States near home that are looked at, few, so that tests are short.
MOST = 30_000


def wheels_file() -> str:
    """Return the wheels as a puzzle file."""
    turns = "".join(
        f'[[turns]]\nname = "{name}"\ncycles = "({" ".join(map(str, row))})"\n'
        for name, row in WHEELS.items()
    )
    head = 'description = "Three wheels."\nshape = "written"\nplaces = 13\nbonds = [["1", "2"]]\n'
    return head + turns


@pytest.fixture(scope="module")
def glued(tmp_path_factory: pytest.TempPathFactory) -> tuple[Puzzle, Methods]:
    path = tmp_path_factory.mktemp("wheels") / "wheels.toml"
    path.write_text(wheels_file())
    puzzle = load(str(path))
    return puzzle, find_blocked_methods(puzzle, 45.0, 3, most=MOST)


@cache
def found(name: str) -> Methods:
    return find_blocked_methods(load(name), 45.0, 2, most=MOST)


def rigid(name: str) -> Rigid:
    puzzle = load("3x3x3")
    return Rigid(puzzle, (), STOPS) if name == "3x3x3-stops" else Rigid(puzzle, BANDAGED)


def home_of(own: Method) -> Home:
    home = own.steps[0].home
    assert home is not None
    assert own.steps[0].kind == HOME
    return home


def sequences_of(own: Method) -> list[tuple[MethodStep, BlockedSequences]]:
    return [
        (step, one)
        for step in own.steps
        for one in step.sequences
        if isinstance(one, BlockedSequences)
    ]


@cache
def solver(puzzle: Puzzle, own: Method) -> BlockedMethodSolver:
    """Return what knows the sequences of a method and nothing else."""
    near = Near(shapes(puzzle), MOST)
    workshop = BlockedWorkshop(near)
    return BlockedMethodSolver(
        Homeward(near, WaysHome(near.shapes, near.invariants)),
        None,
        None,
        tuple(workshop.reach(one.unit, one.stays, one.words) for _, one in sequences_of(own)),
    )


# --- wheels, turned by hand ---------------------------------------------------------------------


class ByHand:
    """The coin at each place; knows nothing of tables."""

    def __init__(self) -> None:
        self.coins = {place: place for place in range(1, 14)}

    def do(self, puzzle: Puzzle, word: Word) -> ByHand:
        for turn in word:
            own = puzzle.turns[turn]
            row = WHEELS[own.layer]
            inside = [self.at(coin) in row for coin in GLUED]
            assert inside[0] == inside[1], "glued coins are torn apart"
            amount = own.amount % len(row)
            there = {row[(k + amount) % len(row)]: self.coins[p] for k, p in enumerate(row)}
            self.coins |= there
        return self

    def at(self, coin: int) -> int:
        return next(place for place, own in self.coins.items() if own == coin)

    @property
    def block(self) -> tuple[int, ...]:
        return tuple(self.at(coin) for coin in GLUED)

    @property
    def moved(self) -> set[int]:
        return {coin for place, coin in self.coins.items() if place != coin}


def blocks_by_hand(puzzle: Puzzle) -> dict[frozenset[int], tuple[int, Word]]:
    """Return how far from home the block fills which two places, with a shortest walk there."""
    seen: dict[frozenset[int], tuple[int, Word]] = {frozenset(GLUED): (0, ())}
    row: deque[Word] = deque([()])
    while row:
        word = row.popleft()
        for turn in range(len(puzzle.turns)):
            try:
                there = frozenset(ByHand().do(puzzle, (*word, turn)).block)
            except AssertionError:
                continue
            if there not in seen:
                seen[there] = len(word) + 1, (*word, turn)
                row.append((*word, turn))
    return seen


def test_the_way_home_is_what_is_found_by_hand(glued: tuple[Puzzle, Methods]) -> None:
    puzzle, told = glued
    by_hand = blocks_by_hand(puzzle)
    home = home_of(told.methods[0])
    turns = [depth for depth, _ in by_hand.values() if depth]
    assert (home.shapes, home.most) == (len(by_hand), max(turns))
    assert home.mean == pytest.approx(sum(turns) / len(turns))
    # One block: putting one more right is all there is to do.
    assert (home.rule_mean, home.rule_most) == pytest.approx((home.mean, home.most))
    assert len(home.listed) == len(by_hand) - 1
    for one in home.listed:
        [name] = one.wrong
        places = frozenset(int(part) for part in name.split("+"))
        depth, way = by_hand[places]
        assert len(one.word) == depth
        assert set(ByHand().do(puzzle, (*way, *one.word)).block) == set(GLUED)
    helped = 0
    for depth, way in by_hand.values():
        able = False
        for word in home.rule if depth else ():
            try:
                able |= set(ByHand().do(puzzle, (*way, *word)).block) == set(GLUED)
            except AssertionError:
                continue
        helped += able
    assert home.share == pytest.approx(helped / len(home.listed))


def test_all_states_are_counted(glued: tuple[Puzzle, Methods]) -> None:
    """Wheels of six make odd rearrangements of loose coins: all 11! of them at each shape."""
    told = glued[1]
    whole = math.factorial(11) * home_of(told.methods[0]).shapes
    assert told.start == whole
    assert [step.left for step in told.methods[0].steps] == [math.factorial(11) // 2, 1]


def test_a_sequence_cycles_three_coins_and_a_loop_mends_parity(
    glued: tuple[Puzzle, Methods],
) -> None:
    puzzle, told = glued
    for own in told.methods:
        for _, one in sequences_of(own):
            for k in range(len(one.words)):
                word = one.shown(puzzle, k)
                assert len(ByHand().do(puzzle, word).moved) == 3
                assert len(ByHand().do(puzzle, word * 3).moved) == 0
    [mended] = home_of(told.methods[0]).sums
    coins = ByHand().do(puzzle, mended.word)
    assert coins.block == GLUED
    row = [coins.coins[place] for place in sorted(coins.coins)]
    assert sum(a > b for k, a in enumerate(row) for b in row[k + 1 :]) % 2 == 1


def test_wheels_are_solved_with_the_sequences_alone(glued: tuple[Puzzle, Methods]) -> None:
    puzzle, told = glued
    for own in told.methods:
        for word in scrambles(puzzle, 2, 5):
            done = solved_by(puzzle, own, word)
            assert not ByHand().do(puzzle, (*word, *done)).moved


def solved_by(puzzle: Puzzle, own: Method, word: Word) -> Word:
    """Return what a method does, after each three-cycle is seen to be a sequence in a setup."""
    known = {one for _, row in sequences_of(own) for one in row.words}
    known |= {
        tuple(int(symmetry.turns[t]) for t in one)
        for one in known
        for symmetry in puzzle.symmetries
    }
    known |= {puzzle.inverse(one) for one in known}
    result: list[int] = []
    for step in solver(puzzle, own).solve(puzzle.effect(word)):
        result += step.word
        if step.kind == CYCLE:
            size = len(step.setup)
            assert step.word[size : len(step.word) - size] in known
            assert step.word[len(step.word) - size :] == puzzle.inverse(step.setup)
    return tuple(result)


# --- cubes, on bodies of sampled points ----------------------------------------------------------


def after(shown: Rigid, word: Word) -> State:
    assert shown.first_blocked(word) is None
    state = shown.start
    for turn in word:
        state = shown.after(state, turn)
    return state


def disturbed(puzzle: Puzzle, shown: Rigid, word: Word) -> set[int]:
    """Return the slots of pieces with a sticker that is not where it was."""
    state = after(shown, word)
    return {puzzle.stickers[k].slot for k, there in enumerate(state) if k != there}


@pytest.mark.parametrize("name", ["3x3x3-bandaged", "3x3x3-stops"])
def test_sequences_are_possible_and_do_what_is_said(name: str) -> None:
    puzzle, shown = load(name), rigid(name)
    own = shapes(puzzle)
    holder = {slot: bond for bond in puzzle.bonds for slot in bond}
    for method in found(name).methods:
        kept: set[int] = set()
        for step, one in sequences_of(method):
            kind = own.kinds[one.unit]
            pieces = {s for u in kind.units for s in holder.get(own.reps[u], (own.reps[u],))}
            units = [set(holder.get(own.reps[u], (own.reps[u],))) for u in kind.units]
            for k in range(len(one.words)):
                word = one.shown(puzzle, k)
                moved = disturbed(puzzle, shown, word)
                assert sum(bool(unit & moved) for unit in units) == 3
                assert all(unit <= moved for unit in units if unit & moved)
                assert not moved & kept
                assert not disturbed(puzzle, shown, word * 3) & (kept | pieces)
            assert step.kind == CYCLES
            kept |= pieces


@pytest.mark.parametrize("name", ["3x3x3-bandaged", "3x3x3-stops"])
def test_cubes_are_solved_with_the_sequences_alone(name: str) -> None:
    puzzle, shown = load(name), rigid(name)
    own = found(name).methods[0]
    for word in scrambles(puzzle, 2, 21):
        done = solved_by(puzzle, own, word)
        state = after(shown, (*word, *done))
        faces = [sticker.face for sticker in puzzle.stickers]
        assert [faces[there] for there in state] == faces


def test_ways_home_of_the_bandaged_cube_on_points() -> None:
    """Shapes as sets of stickers that bodies fill, walked from home; turns are counted there."""
    puzzle, shown = load("3x3x3-bandaged"), rigid("3x3x3-bandaged")
    start = frozenset(frozenset(body) for body in shown.bodies)
    seen, row = {start: 0}, deque([start])
    edges: dict[frozenset[frozenset[int]], list[frozenset[frozenset[int]]]] = {}
    while row:
        here = row.popleft()
        edges[here] = []
        for turn in range(len(puzzle.turns)):
            inside = shown.inside[puzzle.turns[turn].layer]
            if any(0 < len(body & inside) < len(body) for body in here):
                continue
            there = frozenset(frozenset(shown.moves[turn][s] for s in body) for body in here)
            edges[here].append(there)
            if there not in seen:
                seen[there] = seen[here] + 1
                row.append(there)
    home = home_of(found("3x3x3-bandaged").methods[0])
    turns = [depth for depth in seen.values() if depth]
    assert (home.shapes, home.most) == (len(seen), max(turns))
    assert home.mean == pytest.approx(sum(turns) / len(turns))
    right = {shape: len(shape & start) for shape in seen}
    for one in home.nearer:
        own = [shape for shape in seen if right[shape] == one.right]
        depths = [_nearer(shape, edges, right) for shape in own]
        assert (one.shapes, one.most) == (len(own), max(depths))
        assert one.mean == pytest.approx(sum(depths) / len(depths))


def _nearer(
    start: frozenset[frozenset[int]],
    edges: dict[frozenset[frozenset[int]], list[frozenset[frozenset[int]]]],
    right: dict[frozenset[frozenset[int]], int],
) -> int:
    seen, level, depth = {start}, [start], 0
    while True:
        depth += 1
        level = [t for here in level for t in edges[here] if t not in seen and not seen.add(t)]  # type: ignore[func-returns-value]
        if any(right[there] > right[start] for there in level):
            return depth


def test_what_is_off_at_home_is_put_right_by_its_loop() -> None:
    """On points: a loop leaves bodies where one stands, and is as odd as it is said to be."""
    puzzle, shown = load("3x3x3-bandaged"), rigid("3x3x3-bandaged")
    own = shapes(puzzle)
    home = home_of(found("3x3x3-bandaged").methods[0])
    assert len(home.sums) == home.values - 1 == 3
    filled = {frozenset(body) for body in shown.bodies}
    for one in home.sums:
        state = after(shown, one.word)
        assert {frozenset(state[s] for s in body) for body in shown.bodies} == filled
        odd = set()
        for number, kind in enumerate(own.kinds):
            slots = [own.reps[u] for u in kind.units]
            first = {puzzle.stickers[k].slot: k for k in range(len(puzzle.stickers))}
            to = [slots.index(puzzle.stickers[state[first[s]]].slot) for s in slots]
            if sum(a > b for k, a in enumerate(to) for b in to[k + 1 :]) % 2:
                odd.add(number)
        assert odd == set(one.odd)


def test_where_layers_stop_all_shapes_are_listed() -> None:
    """Two faces with three stops each: nine ways, of which one turn of each face leads home."""
    home = home_of(found("3x3x3-stops").methods[0])
    assert (home.shapes, home.most, home.share) == (9, 2, 1.0)
    assert sorted(len(one.word) for one in home.listed) == [1, 1, 1, 1, 2, 2, 2, 2]
    assert found("3x3x3-stops").start == 9 * 43_252_003_274_489_856_000


# --- what three-cycles do not finish, and what there is no method for -----------------------------


def test_few_arrangements_are_looked_up() -> None:
    """A 2x2x2 with two corners fastened: 29,160 states, by plain search on bodies of points."""
    bonds = (("UFR", "UFL"),)
    puzzle, shown = bonded("2x2x2", *bonds), Rigid(load("2x2x2"), bonds)
    told = find_blocked_methods(puzzle, 20.0, 2)
    [own] = told.methods
    assert [step.kind for step in own.steps] == [HOME, LOOKED_UP]
    seen, row, depths = {shown.start}, deque([(shown.start, 0)]), []
    filled = [set(body) for body in shown.bodies]
    while row:
        state, depth = row.popleft()
        # Home is where the block fills its places either way round, if that can be told.
        if [{state[s] for s in body} for body in shown.bodies] == filled:
            depths.append(depth)
        for turn in range(len(puzzle.turns)):
            if shown.possible(state, turn) and (there := shown.after(state, turn)) not in seen:
                seen.add(there)
                row.append((there, depth + 1))
    assert told.start == len(seen)
    step = own.steps[1]
    assert step.arrangements <= len(depths)
    assert step.farthest <= max(depths)
    assert own.tried.solved == own.tried.count == 2


def test_the_ball_says_how_its_corners_stand() -> None:
    """Each corner stands at an even or an odd sixth; one turn of it puts that right."""
    puzzle = load("ball-sixths-whole")
    near = Near(shapes(puzzle), 3_000)
    home = Homeward(near, WaysHome(near.shapes, near.invariants)).home()
    assert (home.shapes, home.most, home.share) == (2**8, 8, 1.0)
    assert {len(puzzle.turns[t].layer) for word in home.rule for t in word} == {3}
    assert [one.name for one in units_of(near.shapes)] == [
        "tip-petal block",
        "blade-petal-rim block",
        "edge",
        "loose rim",
    ]
    workshop = BlockedWorkshop(near)
    ball = plain_ball(puzzle)
    edges = set(next(kind for kind in puzzle.types if kind.name == "edge").slots)
    for own in workshop.sequences(2, ()):
        for k in range(len(own.words)):
            word = own.shown(puzzle, k)
            assert not held_fast(word)
            assert len(edges & set(ball.moved(ball.do(named(puzzle, word))))) == 3
            assert not edges & set(ball.moved(ball.do(named(puzzle, word * 3))))


def test_too_many_shapes_are_refused_as_by_solving(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("search.solving_blocked_shapes.MOST_SHAPES", 5)
    told = find_methods(replace(bonded("2x2x2", ("UBR", "DBR")), name="another"))
    assert told.methods == ()
    assert "more than 5 ways" in told.reason


def test_stopping_returns_what_was_tried(glued: tuple[Puzzle, Methods]) -> None:
    calls: list[str] = []
    own = find_blocked_methods(
        glued[0],
        45.0,
        50,
        calls.append,
        lambda: any(text.startswith("solving") for text in calls),
        MOST,
    )
    assert own.methods
    assert all(method.tried.count < 50 for method in own.methods)
    assert find_methods(glued[0], stop=lambda: True).methods == ()
