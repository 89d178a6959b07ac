"""Other wanted effects, against brute force, a plain simulator, and facts of the trade."""

from __future__ import annotations

import itertools
import random
import re
from functools import lru_cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sympy.combinatorics import Permutation, PermutationGroup

from puzzles import load
from puzzles.effects import Effect, cycle_text, cycles, effect_of
from puzzles.errors import NameNotFoundError, RequestError
from puzzles.notation import parse
from puzzles.puzzle import Puzzle
from puzzles.words import normal
from search import claims, rings
from search.any_form import does
from search.conjugates import Conjugates
from search.effect_rings import Gathering
from search.effects_wanted import EffectFound, effect_request, find_effect
from search.encoding import effect_scope
from search.impossible import ImpossibleError
from search.impossible_effects import effect_reason, no_commutator
from search.wanted import read_effect
from tests.brute import Brute
from tests.plain import PlainPuzzle

TWISTS = "(UFR RUF FUR)(UFL LUF FUL)"
FLIPS = "(UF FU)(UR RU)"


def shortest_by_brute_force(
    puzzle: Puzzle, layers: str | None, moved: dict[int, int], half_length: int, turns: int
) -> dict[tuple[int, ...], int]:
    """Return the least executed length of S [A, B] S' for every effect that has one up to turns.

    Walks from what all rings reduce to, conjugating turn by turn through words of at most ``turns``
    turns (see ``tests.brute.Brute.shortest``).
    """
    own = None if layers is None else [puzzle.layer_numbers[x] for x in layers.split()]
    allowed = set(layers.split()) if layers else {x.name for x in puzzle.layers}
    letters = [t for t, turn in enumerate(puzzle.turns) if turn.layer in allowed]
    best: dict[tuple[int, ...], int] = {}
    for least in Brute(puzzle, own, moved=moved).rings(half_length):
        walked, todo = {least}, [least] if len(least) <= turns else []
        while todo:
            word = todo.pop()
            effect = effect_of(puzzle, word).table
            best[effect] = min(len(word), best.get(effect, turns))
            for t in letters:
                fresh = normal(puzzle, (int(puzzle.inverses[t]), *word, t))
                if len(fresh) <= turns and fresh not in walked:
                    walked.add(fresh)
                    todo.append(fresh)
    return best


@pytest.mark.parametrize(
    ("name", "shape", "layers", "half_length"),
    [
        ("2x2x2", {"corner": 4}, None, 4),
        ("2x2x2", {"corner": 5}, None, 4),
        ("tetrahedron-corners", {"edge": 2}, None, 5),
        ("tetrahedron-corners", {"edge": 5}, None, 4),
        ("3x3x3", {"corner": 3, "edge": 3}, "U R F", 5),
        ("3x3x3", {"corner": 4, "edge": 3}, "U R F", 4),
        ("3x3x3", {"corner": 4, "edge": 5}, "U R F", 4),
    ],
)
def test_rings_give_the_shortest_commutator_form_of_brute_force(
    name: str, shape: dict[str, int], layers: str | None, half_length: int
) -> None:
    """As ``search.claims`` says, for effects of any kind: none shorter, none missing."""
    puzzle = load(name)
    kinds = {kind.name: kind.number for kind in puzzle.types}
    moved = {kinds[word]: count for word, count in shape.items()}
    numbers = (
        None if layers is None else tuple(sorted(puzzle.layer_numbers[x] for x in layers.split()))
    )
    scope = effect_scope(puzzle, numbers, None, tuple(sorted(moved.items())))
    complete = claims.complete(scope, half_length)
    assert complete is not None
    best = shortest_by_brute_force(puzzle, layers, moved, half_length, complete)
    assert best
    slots = np.flatnonzero(np.isin(puzzle.type_of, scope.kept))
    by_length: dict[int, list[tuple[int, ...]]] = {}
    for effect, turns in sorted(best.items()):
        by_length.setdefault(turns, []).append(effect)
    draw = random.Random(1)
    for turns, effects in by_length.items():
        for effect in draw.sample(effects, min(3, len(effects))):
            table = np.array(effect, dtype=np.int32)
            places = Conjugates(puzzle, [table], slots, scope.turns.tolist(), scope.symmetries)
            while places.depth < 4 and places.grow():
                pass
            gathering = Gathering(scope, places, [table], None)
            for level in range(1, half_length + 1):
                for part in rings.level(scope, level):
                    for _ in gathering.put(part.records):
                        pass
            assert gathering.best == turns
            for word in gathering.words:
                assert does(puzzle, word, table, slots)


def checked(puzzle: Puzzle, found: EffectFound, wanted: str) -> None:
    """Assert that every answer does exactly the effect, by points that are turned, and its form."""
    plain = PlainPuzzle(puzzle)
    expected = Effect(tuple(found.request.effect.tolist()))
    slots = {int(puzzle.slot_of[p]) for cycle in found.request.cycles for p in cycle}
    assert "".join(found.cycles) == wanted or read_effect(puzzle, wanted)
    for answer in found.answers:
        assert effect_of(puzzle, answer.word) == expected
        assert len(answer.word) == answer.turns
        assert normal(puzzle, parse(puzzle, answer.notation).word) == answer.word
        turns = [(puzzle.turns[t].layer, puzzle.turns[t].amount) for t in answer.word]
        assert len(plain.moved(plain.do(turns))) == len(slots)


@lru_cache(maxsize=8)
def searched(effect: str) -> EffectFound:
    return find_effect(load("3x3x3"), effect, half_length=8, most=40)


@pytest.mark.parametrize(
    ("effect", "most"),
    [
        # A pair of twists: 16 turns as it is commonly done, [(R' D' R D)2, U].
        (TWISTS, 16),
        # A pair of flips, 14 turns as it is commonly done.
        (FLIPS, 14),
        # Two pairs of edges across: M2 U2 M2 D2 is that for two others, common practice.
        ("(UF DF)(UB DB)", 8),
        # A corner and its edge, three times over.
        ("(UFR UFL UBL)(UF UL UB)", 12),
    ],
)
def test_effects_that_are_commonly_known(effect: str, most: int) -> None:
    puzzle = load("3x3x3")
    found = searched(effect)
    checked(puzzle, found, effect)
    assert min(answer.turns for answer in found.answers) <= most
    assert found.searched.any_form == 10


def test_a_pair_of_twists_is_found_as_the_trade_does_it() -> None:
    """[(R' D' R D)2, U] twists two corners in 16 turns; the shortest commutator form has 13."""
    found = searched(TWISTS)
    assert found.searched.complete == 13
    by_turns = {answer.turns for answer in found.answers}
    assert min(by_turns) == 13
    easiest = next(answer for answer in found.answers if "easiest" in answer.leads)
    assert easiest.things == 3
    assert easiest.turns == 16
    assert easiest.notation.count("]2") == 1


def test_what_no_commutator_does_is_searched_for_in_any_form() -> None:
    """A swap of two corners and of two edges is odd in both (parity; Joyner, 2008)."""
    puzzle = load("3x3x3")
    for effect in ("(UFR UFL)(UF UR)", "(UFR UFL)(UF UB)"):
        assert no_commutator(effect_request(puzzle, effect))
    found = find_effect(puzzle, "(UFL UFR)(UF UR)", turns=10)
    checked(puzzle, found, "(UFL UFR)(UF UR)")
    assert found.searched.half_length is None
    assert min(answer.turns for answer in found.answers) == 10
    assert "proven shortest among sequences of any form" in found.searched.text
    assert "no commutator has this effect" in found.searched.text
    # Nothing is shorter: there is none of up to 9 turns.
    assert not find_effect(puzzle, "(UFL UFR)(UF UR)", turns=9).answers


def test_single_twists_that_no_commutator_does() -> None:
    puzzle = load("tetrahedron-corners")
    for effect, turns in (
        ("(tip:FRL tip:LFR tip:RFL)", 1),
        ("(corner:FRL corner:LFR corner:RFL)", 9),
    ):
        found = find_effect(puzzle, effect)
        checked(puzzle, found, effect)
        assert min(answer.turns for answer in found.answers) == turns
        assert "proven shortest" in found.searched.text


@pytest.mark.parametrize("name", ["2x2x2", "3x3x3", "tetrahedron-corners", "cube-corners"])
@settings(max_examples=15, deadline=None)
@given(data=st.data())
def test_what_try_prints_is_read_back(name: str, data: st.DataObject) -> None:
    puzzle = load(name)
    turn = st.integers(0, len(puzzle.turns) - 1)
    word = data.draw(st.lists(turn, min_size=1, max_size=6))
    effect = effect_of(puzzle, word)
    own = cycles(puzzle, effect)
    text = "".join(cycle_text(puzzle, cycle) for cycle in own)
    if own:
        assert read_effect(puzzle, text) == own
        assert read_effect(puzzle, text.replace(")(", ") ( ").replace(" ", "  ")) == own


@pytest.mark.parametrize("name", ["2x2x2", "3x3x3", "tetrahedron-corners", "cube-corners"])
@settings(max_examples=12, deadline=None)
@given(data=st.data())
def test_impossible_effects_are_those_outside_the_group(name: str, data: st.DataObject) -> None:
    """sympy's PermutationGroup says which effects any sequence has."""
    puzzle = load(name)
    own = group_of(name)
    kinds = [kind for kind in puzzle.types if kind.moves and kind.count > 1]
    chosen: list[tuple[int, ...]] = []
    for kind in data.draw(st.lists(st.sampled_from(kinds), min_size=1, max_size=2, unique=True)):
        size = data.draw(st.integers(1, min(4, kind.count)))
        slots = data.draw(st.permutations(list(kind.slots)))[:size]
        row = [int(puzzle.home[s]) + data.draw(st.integers(0, kind.twists - 1)) for s in slots]
        if size == 1:
            if kind.twists == 1:
                continue
            by = data.draw(st.sampled_from([1, kind.twists - 1]))
            home = int(puzzle.home[slots[0]])
            row = [home + by * k % kind.twists for k in range(kind.twists)]
        chosen.append(tuple(row))
    if not chosen:
        return
    wanted = effect_request(puzzle, chosen, alike=False)
    possible = own.contains(Permutation(wanted.effect.tolist()))
    assert (effect_reason(wanted) is None) == possible


@lru_cache(maxsize=8)
def group_of(name: str) -> PermutationGroup:
    puzzle = load(name)
    return PermutationGroup([Permutation(row.tolist()) for row in puzzle.moves])


@pytest.mark.parametrize(
    ("effect", "says"),
    [
        ("(UFR RUF FUR)", "UFR would be twisted alone, but"),
        ("(UFR UFL)", "swapped alone would be an odd rearrangement of the corners"),
        ("(UFR RUF FUR)(UFL LUF FUL)(UF UB)", "odd rearrangement of the edges alone"),
        ("(UFR UFL)(UF FU)", "twists of the edges would not add up to nothing"),
        ("(UF UFL)", "The sticker UF never comes to UFL"),
        ("(U R)", "the centres never leave their slots"),
    ],
)
def test_impossible_effects_are_said_why(effect: str, says: str) -> None:
    with pytest.raises(ImpossibleError, match=re.escape(says)):
        find_effect(load("3x3x3"), effect)


def test_few_layers_make_fewer_effects() -> None:
    puzzle = load("3x3x3")
    with pytest.raises(ImpossibleError, match="With only U and R turning"):
        find_effect(puzzle, "(UFR UFL)(UF UB)", layers="U R")
    found = find_effect(puzzle, TWISTS, layers="U F", half_length=8)
    assert found.answers
    assert {layer for answer in found.answers for layer in answer.layers} == {"U", "F"}
    checked(puzzle, found, TWISTS)


def test_free_types_may_end_up_anywhere() -> None:
    """Two corners swapped: with the edges free one need not mind their parity."""
    puzzle = load("3x3x3")
    found = find_effect(puzzle, "(UFR UFL)", free="edge", turns=10)
    kept = [s for s in range(puzzle.slot_count) if puzzle.types[puzzle.type_of[s]].name == "corner"]
    assert found.answers
    for answer in found.answers:
        assert does(puzzle, answer.word, found.request.effect, np.array(kept))
    with pytest.raises(RequestError, match="must be among those that are kept"):
        find_effect(puzzle, "(UFR UFL)(UF UB)", free="edge")


@pytest.mark.parametrize(
    ("effect", "says"),
    [
        ("", "the effect is empty"),
        ("(UFR", "cycles in brackets were expected"),
        ("(UFR UFL))", "cycles in brackets were expected"),
        ("(UFR)", "names two places or more"),
        ("(UFR UFL)(UFR UBL)", "is in two cycles"),
        ("(UFR RUF)", "comes back to a piece too soon"),
        ("(UFR UFL UFR)", "comes back to a piece too soon"),
        ("(UFR XYZ)", "'X' is no face"),
        ("(UFR UFR)", "moves nothing"),
        ("(UF UB)" * 400, "2,800 characters long"),
    ],
)
def test_bad_effects_get_one_sentence(effect: str, says: str) -> None:
    with pytest.raises((RequestError, NameNotFoundError), match=re.escape(says)):
        find_effect(load("3x3x3"), effect)


def test_effects_that_move_too_much_are_refused() -> None:
    puzzle = load("3x3x3")
    own = cycles(puzzle, effect_of(puzzle, parse(puzzle, "R U F L D B").word))
    with pytest.raises(RequestError, match="at most 16"):
        find_effect(puzzle, own)


def test_a_search_can_be_stopped_and_keeps_what_it_has() -> None:
    puzzle = load("3x3x3")
    calls = itertools.count()
    found = find_effect(puzzle, TWISTS, stop=lambda: next(calls) > 60)
    assert next(calls) < 400
    for answer in found.answers:
        assert does(puzzle, answer.word, found.request.effect, np.arange(puzzle.slot_count))


def test_bounds_are_kept() -> None:
    puzzle = load("3x3x3")
    found = find_effect(puzzle, TWISTS, layers="U R F", turns=16, most=100)
    assert {answer.turns for answer in found.answers} == {16}
    assert found.searched.complete is not None
    without = find_effect(puzzle, TWISTS, layers="U R F", half_length=5, setup=0, most=100)
    assert without.answers
    assert without.searched.complete is None
    assert not any(answer.setup for answer in without.answers)


def test_like_pieces_may_stand_in_for_each_other() -> None:
    """Two of the four like centres of a face cannot be told apart, so a swap may take another."""
    puzzle = load("4x4x4")
    looks = puzzle.alike
    kind = next(k for k in puzzle.types if (looks[list(k.slots)] == looks[k.first_slot]).sum() > 1)
    same = [s for s in kind.slots if looks[s] == looks[kind.first_slot]]
    others = [s for s in kind.slots if looks[s] != looks[kind.first_slot]]
    cycle = tuple(int(puzzle.home[s]) for s in (same[0], others[0], others[1]))
    wanted = effect_request(puzzle, [cycle])
    options = wanted.looking_alike()
    assert len(options) > 1
    assert len(effect_request(puzzle, [cycle], alike=False).looking_alike()) == 1
    for effect in options:
        there = puzzle.slot_of[effect[puzzle.home]]
        plain = puzzle.slot_of[options[0][puzzle.home]]
        seen, asked = np.empty_like(looks), np.empty_like(looks)
        seen[there], asked[plain] = looks, looks
        assert (seen == asked).all()
