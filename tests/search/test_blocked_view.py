"""The search that knows of no blocked turns, beside the one in the fixed frame; done on points."""

from __future__ import annotations

import random
from dataclasses import replace
from functools import cache
from typing import Any

import pytest

from puzzles import load
from puzzles.names import read_placement
from puzzles.notation import parse
from puzzles.puzzle import Puzzle, Word
from search import find
from search.blocked_finding import blocked_found, choose, problem_of
from search.both_ends import Ends
from search.deepening import deepen
from search.fixed import FixedGoal, Sequences, nothing
from search.goals import Goal
from search.request import Bounds, Request, request
from search.shelves import Shelves
from search.unblocked import Beside, View, blocking_nothing, view_of
from service.engine import Engine
from service.stores.base import NoLevels
from tests.plain import assert_three_cycle, named, plain_ball
from tests.rigid import Rigid

BANDAGED = (("UFR", "UF"), ("DBL", "DB"), ("UBL", "BL"))
#: The faces that stop at unequal angles, and where (the file of 3x3x3-stops).
STOPS = {"L": (0, 1, 2), "R": (0, 1, 2)}


def bonded(*bonds: tuple[str, ...]) -> Puzzle:
    puzzle = load("3x3x3")
    slots = tuple(tuple(read_placement(puzzle, n).slot for n in bond) for bond in bonds)
    return replace(puzzle, bonds=slots)


def viewed(own: Request) -> View:
    view = view_of(own, problem_of(own))
    assert view is not None
    return view


def searched(view: View, goal: Goal) -> Shelves:
    *_, last = deepen(view.scope, goal)
    return last.shelves


def words(own: Request, half_length: int) -> tuple[View, list[Word]]:
    view = viewed(own)
    shelves = searched(view, Goal(half_length, None, None))
    return view, list(view.words(problem_of(own), shelves))


@pytest.mark.parametrize(
    "bonds", [BANDAGED, (("UFR", "UF"),), (("UBL", "UL"), ("DFR", "FR")), (("BL", "L"),)]
)
def test_turns_that_block_nothing_against_bodies_of_points(bonds: tuple[Any, ...]) -> None:
    puzzle, shown = bonded(*bonds), Rigid(load("3x3x3"), bonds)
    every = range(len(puzzle.turns))
    first = [t for t in every if shown.possible(shown.start, t)]
    calm = set(first)
    for t in first:
        after = shown.after(shown.start, t)
        for u in first:
            if puzzle.turns[u].layer != puzzle.turns[t].layer and not shown.possible(after, u):
                calm.discard(t)
    names = {(puzzle.turns[t].layer, puzzle.turns[t].amount) for t in calm}
    # Of a face all three turns, or the half turn alone: two quarters make a half.
    kept = {
        (face, amount)
        for face, amount in names
        if amount == 2 or {(face, k) for k in (1, 2, 3)} <= names
    }
    found = blocking_nothing(puzzle, every)
    assert {(puzzle.turns[t].layer, puzzle.turns[t].amount) for t in found} == kept


def test_a_face_with_unequal_stops_keeps_its_half_turns() -> None:
    puzzle = load("3x3x3-stops")
    found = [puzzle.turns[t] for t in blocking_nothing(puzzle, range(len(puzzle.turns)))]
    assert len(found) == 14
    assert {turn.amount for turn in found if turn.layer in STOPS} == {2}


@pytest.mark.parametrize("cycle", ["UR DL FL", "BR DL FL", "DR DL FL"])
def test_words_on_a_bandaged_cube(cycle: str) -> None:
    """No two turns block nothing there that do not commute: all take part, and words are sieved."""
    puzzle, shown = load("3x3x3-bandaged"), Rigid(load("3x3x3"), BANDAGED)
    own = request(puzzle, cycle)
    view, found = words(own, 5)
    assert not view.calm
    assert found
    for word in found:
        assert shown.first_blocked(word) is None
        assert_three_cycle(load("3x3x3"), word, own.triples()[0])


@pytest.mark.parametrize(("cycle", "calm"), [("UF UR DL", True), ("UR DL FL", False)])
def test_words_on_a_cube_with_stops(cycle: str, calm: bool) -> None:
    """Where half turns of L and R are enough for a cycle, they are all that takes part."""
    puzzle, shown = load("3x3x3-stops"), Rigid(load("3x3x3"), (), STOPS)
    own = request(puzzle, cycle)
    view, found = words(own, 5)
    assert view.calm == calm
    assert len(found) > 20
    for word in found[::5]:
        assert shown.first_blocked(word) is None
        assert_three_cycle(load("3x3x3"), word, own.triples()[0])
        quarters = {t for t in word if puzzle.turns[t].layer in STOPS}
        assert not calm or all(puzzle.turns[t].amount == 2 for t in quarters)


@cache
def edges() -> tuple[Request, View, Shelves]:
    """Return three edges of the ball whose pieces stay whole, with few layers so that it is soon.

    Nothing is found up to half-length 7.
    """
    own = request(load("ball-sixths-whole"), "UF UR UB", layers="B F U UFL UFR")
    view = viewed(own)
    return own, view, searched(view, Goal(8, None, None))


def test_edges_of_the_ball_whose_pieces_stay_whole() -> None:
    own, view, shelves = edges()
    puzzle = own.puzzle
    assert view.calm
    assert {own.puzzle.turns[t].amount for t in view.turns} == {1, 2, 3, 4}
    found = view.words(problem_of(own), shelves)
    assert min(len(word) for word in found) <= 18
    for word in list(found)[::30]:
        assert plain_ball(puzzle).held_up(named(puzzle, word)) is None
        assert_three_cycle(puzzle, word, own.triples()[0])


def test_turns_by_thirds_never_block_another_on_the_ball() -> None:
    """All words of them are possible, as it is on points; a sixth of a corner blocks its faces."""
    puzzle = load("ball-sixths-whole")
    calm = blocking_nothing(puzzle, range(len(puzzle.turns)))
    corners = [puzzle.turns[t] for t in calm if len(puzzle.turns[t].layer) == 3]
    assert (len(calm), {turn.amount for turn in corners}) == (34, {2, 4})
    draw = random.Random(3)
    for _ in range(3):
        word = [draw.choice(calm) for _ in range(25)]
        assert plain_ball(puzzle).held_up(named(puzzle, word)) is None
    assert plain_ball(puzzle).held_up([("UFR", 1), ("U", 1)]) == 1


def test_what_is_said_of_words_of_the_other_search() -> None:
    own, _, shelves = edges()
    wanted = problem_of(own)
    beside = Beside(own, wanted, FixedGoal(None, 20.0), lambda view, goal: shelves)
    beside.now(20.0)
    chosen = choose(own, wanted, nothing(wanted), beside.gathered(nothing(wanted)))
    found = blocked_found(own, wanted, chosen, Ends(None, 5), most=3)
    text = found.searched.text
    assert f"{min(a.turns for a in found.answers)} turns is the shortest found" in text
    # Five layers with 3 and 5 turns; of these 3 and 2 block nothing.
    assert "only the turns that block nothing (13 of 19), which met all rings up to half-" in text
    # What is proven comes from the other search alone.
    assert found.searched.complete is None
    assert "no sequence of any form has up to 5 turns" in text
    for answer in found.answers:
        assert own.puzzle.first_blocked(parse(own.puzzle, answer.notation).word) is None


def test_the_other_search_answers_where_the_fixed_one_finds_nothing() -> None:
    """With five turns in S, A and B there is nothing; rings of as many, with any setups, do it."""
    puzzle, shown = load("3x3x3-bandaged"), Rigid(load("3x3x3"), BANDAGED)
    found = find(puzzle, "UR DL FL", half_length=5)
    assert found.answers[0].turns == 11
    assert "further sequences come from the search that knows of no blocked turns" in (
        found.searched.text
    )
    for answer in found.answers:
        assert shown.first_blocked(answer.word) is None
        assert shown.first_blocked(parse(puzzle, answer.notation).word) is None
    again = find(puzzle, "UR DL FL", half_length=5)
    assert [a.word for a in again.answers] == [a.word for a in found.answers]
    # Where the fixed search has answers within the bound, these are all.
    assert "further" not in find(puzzle, "UR DL FL", half_length=6).searched.text


def test_the_other_search_has_its_turn_once() -> None:
    """Not before a quarter of the time, and not where the first one has come to its goal."""
    own = request(load("3x3x3-stops"), "UF UR DL", bounds=Bounds(seconds=20))
    wanted = problem_of(own)
    asked: list[Goal] = []

    def search(view: View, goal: Goal) -> Shelves:
        asked.append(goal)
        return searched(view, Goal(2, None, None))

    none = nothing(wanted)
    some = Sequences(7, ((tuple(range(12)),),))
    beside = Beside(own, wanted, FixedGoal(None, 20.0), search)
    beside.after(none, 4.9)
    beside.after(some, 6.0)
    assert not asked
    beside.after(none, 6.0)
    beside.after(none, 7.0)
    beside.finish(none)
    assert len(asked) == 1
    assert asked[0].half_length is None
    assert asked[0].seconds is not None
    assert 10 < asked[0].seconds <= 14
    # What the first one comes to later is an answer of its own.
    assert beside.gathered(some) is None


class Kept(NoLevels):
    """A store in memory."""

    def __init__(self) -> None:
        self.kept: dict[tuple[str, int], bytes] = {}

    def numbers(self, key: str) -> list[int]:
        return sorted(n for own, n in self.kept if own == key)

    def get(self, key: str, half_length: int) -> bytes | None:
        return self.kept.get((key, half_length))

    def put(self, key: str, half_length: int, data: bytes) -> None:
        self.kept[key, half_length] = data


def test_what_the_other_search_met_is_kept_under_its_own_tables() -> None:
    puzzle, store = load("3x3x3-bandaged"), Kept()
    own = request(puzzle, "UR DL FL", bounds=Bounds(half_length=5))
    first = Engine(store).find(own).found
    view = viewed(own)
    assert view.scope.puzzle.digest not in (puzzle.digest, load("3x3x3").digest)
    levels = {n for key, n in store.kept if key.startswith(view.scope.key)}
    assert levels == {1, 2, 3, 4, 5}
    before = dict(store.kept)
    again = Engine(store).find(own).found
    assert store.kept == before
    assert [a.word for a in again.answers] == [a.word for a in first.answers]
    assert again.searched == first.searched


def test_a_stop_ends_both_searches() -> None:
    own = request(load("3x3x3-bandaged"), "UR DL FL", bounds=Bounds(half_length=5))
    found = Engine(stop=lambda: True).find(own).found
    assert not found.answers
    assert "further" not in found.searched.text


def test_pieces_that_take_others_along_are_left_to_the_fixed_search() -> None:
    puzzle = bonded(("UBR", "UB"), ("UFL", "FL"), ("DFR", "DR"))
    own = request(puzzle, "UBR FUL RDF")
    assert view_of(own, problem_of(own)) is None


def test_types_that_are_free_but_fastened_are_kept() -> None:
    own = request(load("ball-sixths-whole"), "UF UR UB", keep="edge")
    view = viewed(own)
    fastened = {int(own.puzzle.type_of[s]) for body in own.puzzle.bonds for s in body}
    assert set(view.scope.kept) == fastened | {int(own.puzzle.type_of[own.cycle[0].slot])}
