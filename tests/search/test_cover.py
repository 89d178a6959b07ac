"""Covers of favourites against plain enumeration, closed forms, points in space and sympy."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sympy.combinatorics import Permutation, PermutationGroup

from puzzles import load
from puzzles.effects import cycles, effect_of, effect_of_cycles
from puzzles.errors import LimitError, RequestError
from puzzles.names import slot_names
from puzzles.notation import parse, write
from puzzles.puzzle import Puzzle, Word
from puzzles.words import normal
from search.cover import Cover, cover
from search.cover_blocked import blocked_cover
from search.cover_rest import IMPOSSIBLE, OTHER, SETUP, every, rest, shapes_of, total
from search.favourite import favourite, shape_of, shape_text
from search.request import kept_types, layer_numbers
from tests.brute import layers_that_matter, rotations, words_by_length
from tests.plain import assert_three_cycle
from tests.rigid import Rigid

NESTED = "[R U R' U', L]"


@cache
def covered(
    name: str, sequence: str, setup: int = 2, layers: str | None = None, free: str | None = None
) -> Cover:
    puzzle = load(name)
    own_layers, kept = layer_numbers(puzzle, layers), kept_types(puzzle, None, free)
    liked = favourite(puzzle, parse(puzzle, sequence), own_layers, kept)
    return blocked_cover(liked, setup) if puzzle.can_block else cover(liked, setup)


def split(puzzle: Puzzle, word: Word) -> Iterator[Word]:
    """Yield a word with a turn of several steps that can stand first cut in two, by its steps."""
    for one in sorted(rotations(puzzle, word)):
        for k, turn in enumerate(one):
            if normal(puzzle, one)[:1] and normal(puzzle, (turn, *one[:k], *one[k + 1 :])) != one:
                continue
            amount, steps = puzzle.turns[turn].amount, puzzle.layer(puzzle.turns[turn].layer).steps
            layer = int(puzzle.turn_layer[turn])
            for first in range(1, steps):
                # Both parts go the shorter way that the turn itself goes.
                forward = 2 * amount <= steps and first < amount
                back = 2 * amount >= steps and first > amount
                if forward or back:
                    start, end = puzzle.turn(layer, first), puzzle.turn(layer, amount - first)
                    assert start is not None
                    assert end is not None
                    yield (end, *one[:k], *one[k + 1 :], start)


def enumerated(puzzle: Puzzle, word: Word, setup: int, kept: list[int]) -> dict[bytes, int]:
    """Return by plain enumeration what a sequence reaches, and with how many turns of setup.

    Every symmetry as it renames turns, both directions, every start, every setup.
    """
    begun = {*rotations(puzzle, word), *split(puzzle, word)}
    first: set[Word] = set()
    for symmetry in puzzle.symmetries:
        for one in begun:
            image = tuple(int(symmetry.turns[t]) for t in one)
            first |= {image, puzzle.inverse(image)}
    effects = {puzzle.effect(one).tobytes() for one in first}
    found: dict[bytes, int] = {}
    layers = layers_that_matter(puzzle)
    for level, setups in enumerate(words_by_length(puzzle, setup, layers)):
        for before in setups:
            there, back = puzzle.effect(before), puzzle.effect(puzzle.inverse(before))
            for raw in effects:
                whole = back[np.frombuffer(raw, dtype=np.int32)[there]]
                found.setdefault(whole[kept].tobytes(), level)
    return found


@pytest.mark.parametrize(
    ("name", "sequence", "setup", "free"),
    [
        ("2x2x2", "[R U' R', F2]", 2, None),
        ("2x2x2", "[[U, R], F]", 2, None),
        ("tetrahedron-corners", "[R, U]", 3, None),
        ("3x3x3", NESTED, 1, None),
        ("3x3x3", "[(R' D' R D)2, U]", 1, None),
        ("3x3x3-slices", "[M', U2]", 1, None),
        ("cube-corners", "[UFR, UBL]", 2, "corner"),
        ("octahedron-faces", "[U, F]", 2, "corner,centre1,centre2"),
        # Fifths of a turn: a turn of two may be begun within one way round only.
        ("dodecahedron-faces", "[U2 R U2', F]", 0, "corner"),
    ],
)
def test_cover_is_what_plain_enumeration_gives(
    name: str, sequence: str, setup: int, free: str | None
) -> None:
    own = covered(name, sequence, setup, None, free)
    puzzle = own.favourite.puzzle
    if free is not None:
        # Only symmetries that keep the free types free are used.
        assert len(own.favourite.scope.symmetries) == len(puzzle.symmetries)
    kept = sorted(own.favourite.scope.placements.tolist())
    wanted = enumerated(puzzle, own.favourite.word, setup, kept)
    # Mirrors may carry a type to another one, which is not listed.
    types = set(own.favourite.types)
    got: dict[bytes, int] = {}
    for entry in own.entries:
        effect = np.array(effect_of_cycles(puzzle, entry.cycles).table, dtype=np.int32)
        got[effect[kept].tobytes()] = len(entry.way.setup)
    slots = puzzle.slot_of[kept]
    mine = {
        raw: level
        for raw, level in wanted.items()
        if set(puzzle.type_of[slots[np.frombuffer(raw, dtype=np.int32) != np.array(kept)]].tolist())
        == types
    }
    assert got == mine
    assert own.reached == len(mine)


@pytest.mark.parametrize(
    ("name", "sequence", "free", "count"),
    [
        # n (n - 1) (n - 2) / 3 choices of a cycle, t * t twists: all pieces told apart.
        ("3x3x3", NESTED, None, 8 * 7 * 6 // 3 * 9),
        ("3x3x3", "M' U2 M U2", None, 12 * 11 * 10 // 3 * 4),
        ("4x4x4", "[2R U 2R', D]", None, 24 * 23 * 22 // 3),
        ("tetrahedron-corners", "[R, U]", None, 6 * 5 * 4 // 3 * 4),
        # Two corners in place, one clockwise and one the other way: ordered pairs.
        ("3x3x3", "[(R' D' R D)2, U]", None, 8 * 7),
        # Two swaps that both come back twisted by a third: pairs of pairs, 3 ways each.
        ("3x3x3", "R U R' U'", "edge", math.comb(8, 2) * math.comb(6, 2) // 2 * 9 * 2),
    ],
)
def test_all_of_a_shape_are_counted(name: str, sequence: str, free: str | None, count: int) -> None:
    own = covered(name, sequence, 1, None, free)
    puzzle = own.favourite.puzzle
    shapes = shapes_of(own)
    listed = [one for shape in shapes for one in every(puzzle, shape)]
    assert len(set(listed)) == len(listed)
    assert {shape_of(puzzle, one) for one in listed} == shapes
    for one in random.Random(1).sample(listed, 20):
        assert cycles(puzzle, effect_of_cycles(puzzle, one)) == one
    if shapes == {own.favourite.shape}:
        assert total(puzzle, shapes) == len(listed) == count
    else:
        assert total(puzzle, shapes) == len(listed)
    # On these puzzles every case is the image of any other: setups come everywhere.
    assert own.closed
    assert sum(own.counts) == total(puzzle, shapes)
    missing = rest(own)
    assert {one.kind for one in missing} <= {SETUP}
    assert sum(one.count for one in missing) + own.reached == total(puzzle, shapes)
    assert [one.turns for one in missing] == list(range(2, len(own.counts)))


@pytest.mark.parametrize(
    ("name", "sequence", "setup", "free"),
    [
        ("3x3x3", NESTED, 2, None),
        ("4x4x4", "[2R U 2L' U', 2R]", 2, None),
        ("dodecahedron-faces", "[U R U' R', F]", 1, "corner"),
        ("tetrahedron-corners", "[R, U]", 2, None),
        ("octahedron-faces", "[U, F]", 1, "corner,centre1,centre2"),
    ],
)
def test_sequences_do_their_cycles_on_points(
    name: str, sequence: str, setup: int, free: str | None
) -> None:
    own = covered(name, sequence, setup, None, free)
    puzzle = own.favourite.puzzle
    some = random.Random(2).sample(own.entries, 6)
    for entry in some:
        if len(entry.cycles) != 1 or len(entry.cycles[0]) != 3:
            continue
        released = () if free is None else tuple(free.split(","))
        assert_three_cycle(puzzle, entry.way.word, entry.cycles[0], free=released)
        # Setup, the favourite turned, setup undone: nothing else is in it.
        way = entry.way
        back = puzzle.inverse(way.setup)
        inner = normal(puzzle, back + way.word + way.setup)
        images = {
            normal(puzzle, tuple(int(s.turns[t]) for t in own.starts[way.start].word))
            for s in puzzle.symmetries
        }
        images |= {normal(puzzle, puzzle.inverse(one)) for one in images}
        assert inner in images


def group(puzzle: Puzzle, layers: tuple[int, ...], kept: list[int]) -> PermutationGroup:
    """Return the group of some layers on kept placements, by sympy."""
    place = {p: k for k, p in enumerate(kept)}
    turns = [t for t in range(len(puzzle.turns)) if int(puzzle.turn_layer[t]) in layers]
    return PermutationGroup(
        [Permutation([place[int(puzzle.moves[t][p])] for p in kept]) for t in turns]
    )


@pytest.mark.parametrize(
    ("name", "sequence", "layers", "free"),
    [
        ("3x3x3", "(R2 U2)3", "U R", "corner"),
        ("3x3x3", "[R U R' U' R, F2]", "U R F", "edge"),
        ("2x2x2", "[R U' R', F2]", None, None),
    ],
)
def test_impossible_is_what_sympy_says(
    name: str, sequence: str, layers: str | None, free: str | None
) -> None:
    own = covered(name, sequence, 1, layers, free)
    puzzle, liked = own.favourite.puzzle, own.favourite
    kept = sorted(liked.scope.placements.tolist())
    turning = liked.layers or tuple(range(len(puzzle.layers)))
    reachable = group(puzzle, turning, kept)
    place = {p: k for k, p in enumerate(kept)}
    for one in rest(own):
        for example in random.Random(3).sample(one.cycles, min(4, len(one.cycles))):
            table = effect_of_cycles(puzzle, example).table
            there = reachable.contains(Permutation([place[table[p]] for p in kept]))
            assert there == (one.kind != IMPOSSIBLE)


def test_what_is_never_reached_and_why() -> None:
    """With U and R alone turning, seven edges of the 3x3x3 move, and none of them flips."""
    own = covered("3x3x3", "R U R' U'", 2, "U R", "corner")
    kinds = {one.kind: one for one in rest(own)}
    reached = sum(own.counts)
    every_case = total(own.favourite.puzzle, shapes_of(own))
    assert reached + sum(one.count for one in rest(own) if one.kind in (IMPOSSIBLE, OTHER)) == (
        every_case
    )
    assert IMPOSSIBLE in kinds
    assert reached == 7 * 6 * 5 // 3
    assert "With only U and R turning" in kinds[IMPOSSIBLE].reason


@pytest.mark.parametrize("name", ["3x3x3-bandaged", "3x3x3-stops"])
def test_blocked_covers_can_be_done(name: str) -> None:
    own = covered(name, NESTED, 2)
    puzzle = own.favourite.puzzle
    assert own.reached
    assert len(own.entries) == own.reached
    for entry in own.entries:
        assert puzzle.first_blocked(entry.way.word) is None
        assert effect_of(puzzle, entry.way.word) == effect_of_cycles(puzzle, entry.cycles)
    if puzzle.bonds:
        names = [[slot_names(puzzle)[slot] for slot in bond] for bond in puzzle.bonds]
        rigid = Rigid(puzzle, names)
        for entry in own.entries[:10]:
            state = rigid.start
            for turn in entry.way.word:
                assert rigid.possible(state, turn)
                state = rigid.after(state, turn)


@pytest.mark.parametrize(("name", "setup"), [("3x3x3-bandaged", 2), ("3x3x3-stops", 1)])
def test_blocked_cover_is_what_plain_enumeration_gives(name: str, setup: int) -> None:
    """Every setup that can be done, every start, both directions."""
    own = covered(name, NESTED, setup)
    puzzle = own.favourite.puzzle
    word = own.favourite.word
    begun = {*rotations(puzzle, word), *split(puzzle, word)}
    begun |= {puzzle.inverse(one) for one in begun}
    found: dict[bytes, int] = {}
    for level, setups in enumerate(words_by_length(puzzle, setup, range(6))):
        for before in setups:
            for one in begun:
                for symmetry in puzzle.symmetries:
                    whole = tuple(
                        int(symmetry.turns[t]) for t in (*before, *one, *puzzle.inverse(before))
                    )
                    if puzzle.first_blocked(whole) is None:
                        found.setdefault(puzzle.effect(whole).tobytes(), level)
    got = {
        np.array(effect_of_cycles(puzzle, e.cycles).table, dtype=np.int32).tobytes(): len(
            e.way.setup
        )
        for e in own.entries
    }
    assert got == found


@pytest.mark.parametrize(
    ("sequence", "says"),
    [
        ("", "the sequence is empty"),
        ("R R'", "all turns of the sequence cancel"),
        ("(R U R' U')6", "no piece is moved"),
        ("R U", "it moves 13 pieces that are to stay (6 corners and 7 edges)"),
        ("R U R' U'", "with corner free it would be a three-cycle, (UB FR UR)"),
        ("(R U)31", "62 turns"),
    ],
)
def test_what_is_no_favourite(sequence: str, says: str) -> None:
    puzzle = load("3x3x3")
    if sequence == "(R U)31":
        sequence, says = "(R U F)70", "a favourite has at most 200"
    with pytest.raises(RequestError) as error:
        favourite(puzzle, parse(puzzle, sequence))
    assert says in str(error.value)


def test_too_many_kinds_within_the_bound_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("search.cases.MOST_CLASSES", 200)
    puzzle = load("dodecahedron-faces")
    liked = favourite(puzzle, parse(puzzle, "[[U, R], F]"))
    assert shape_text(puzzle, liked.shape) == "a three-cycle of corners and a three-cycle of edges"
    with pytest.raises(LimitError, match="fewer turns of setup"):
        cover(liked, 2)
    # Beyond the bound the walk ends there, and nothing is said of what it did not come to.
    assert not cover(liked, 1).closed


@settings(max_examples=20)
@given(st.data())
def test_more_setup_reaches_no_less(data: st.DataObject) -> None:
    """Whatever the commutator: levels are nested, and every entry has its setup's length."""
    puzzle = load("2x2x2")
    turn = st.integers(0, len(puzzle.turns) - 1)
    a = tuple(data.draw(st.lists(turn, min_size=1, max_size=3)))
    b = tuple(data.draw(st.lists(turn, min_size=1, max_size=2)))
    word = normal(puzzle, a + b + puzzle.inverse(a) + puzzle.inverse(b))
    try:
        liked = favourite(puzzle, parse(puzzle, write(puzzle, word)))
        less, more = cover(liked, 0), cover(liked, 1)
    except RequestError:
        return
    assert {e.cycles for e in less.entries} <= {e.cycles for e in more.entries}
    assert more.counts[: less.setup + 1] == less.counts[:1]
    for entry in more.entries:
        assert len(entry.way.setup) <= 1
        assert cycles(puzzle, effect_of(puzzle, entry.way.word)) == entry.cycles
