"""Odd rearrangements noticed late, twisted pairs, and types that share a sequence: on points."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from puzzles import load
from puzzles.effects import cycles, effect_of
from puzzles.least_effects import SWAP, TWIST
from puzzles.notation import parse
from puzzles.puzzle import Puzzle, Word
from puzzles.scrambles import scrambles
from puzzles.words import normal
from search.method_looks import seen, sights
from search.method_mending import instead, mends
from search.method_orders import plans
from search.method_sequences import Workshop
from search.method_solving import method_solver
from search.method_twists import pairs, reached, saving
from search.nesting import things
from search.solving_looks import Contents, Looks
from search.tools import search_in_memory
from tests.plain import assert_three_cycle, named, plain


def numbers(puzzle: Puzzle, *names: str) -> tuple[int, ...]:
    return tuple(kind.number for kind in puzzle.types if kind.name in names)


def wrong(puzzle: Puzzle, word: Word) -> Counter[int]:
    """Return how many pieces show a wrong colour on sampled points, by their number of patches."""
    solid = plain(puzzle)
    off = solid._face_at(solid.do(named(puzzle, word))) != solid.face
    patches = {
        piece: len(set(solid.patch[solid.piece == piece].tolist()))
        for piece in set(solid.piece.tolist())
    }
    return Counter(patches[piece] for piece in set(solid.piece[off].tolist()))


@pytest.mark.parametrize(
    ("name", "type_name", "kept", "patches", "most"),
    [
        # From memory: 15 turns of inner slices and half turns swap two wings of a 4x4x4.
        ("4x4x4", "edge", ("corner", "edge", "centre"), 2, 15),
        # Common practice: (U R2)5, with the corners free.
        ("3x3x3", "edge", ("edge",), 2, 10),
        ("cube-edges", "corner", ("corner", "centre1", "centre2", "centre3", "centre4"), 3, 16),
    ],
)
def test_two_pieces_are_swapped_and_all_that_is_kept_looks_right(
    name: str, type_name: str, kept: tuple[str, ...], patches: int, most: int
) -> None:
    puzzle = load(name)
    [number] = numbers(puzzle, type_name)
    [own] = [mend for mend in mends(puzzle, number, numbers(puzzle, *kept)) if mend.shows]
    assert own.kind == SWAP
    assert 0 < len(own.word) <= most
    off = wrong(puzzle, own.word)
    assert off[patches] == 2
    assert len(kept) == 1 or sum(off.values()) == 2
    moved = [
        cycle
        for cycle in cycles(puzzle, effect_of(puzzle, own.word))
        if int(puzzle.type_of[puzzle.slot_of[cycle[0]]]) == number
    ]
    assert moved == list(own.cycles)
    assert [len({int(puzzle.slot_of[p]) for p in cycle}) for cycle in moved] == [2]


def test_a_sum_of_twists_that_turns_change_is_named_with_one_twisted_piece() -> None:
    """A corner turn of this cube twists one corner that stays: corners alone can be twisted."""
    puzzle = load("cube-faces-corners")
    [number] = numbers(puzzle, "corner")
    own = {mend.kind: mend for mend in mends(puzzle, number, (number,))}
    assert own[TWIST].shows
    assert {len(puzzle.layers[k].name) for k in own[TWIST].layers} == {3}
    assert wrong(puzzle, own[TWIST].word)[3] == 1
    [edge] = numbers(puzzle, "edge2")
    assert TWIST not in {mend.kind for mend in mends(puzzle, edge, (edge,), lambda: True)}


def test_without_a_sequence_the_turns_that_it_takes_instead_are_said() -> None:
    puzzle = load("3x3x3")
    corner, edge = numbers(puzzle, "corner", "edge")
    # Common practice: three edges cycled, and three corners, all else kept.
    texts = ("F2 U L R' F2 L' R U F2", "[R U R', D]")
    words = tuple(parse(puzzle, text).word for text in texts)
    solver = method_solver(puzzle, ((edge,), (corner,)), words, None)
    [mend] = mends(puzzle, edge, (edge,), lambda: True)
    assert mend.cycles
    assert not mend.word
    own = instead(solver, mend)
    # An odd turn and at least one three-cycle of the edges.
    assert own.turns > 4
    found = pairs(Looks(puzzle), edge, (edge,))
    # Eight turns of any form flip two edges while corners are free; found from both ends.
    assert [len(pair.word) for pair in found] == [8]
    # What takes longer than three-cycles do is not named, though it does the same.
    setup = parse(puzzle, "R U F L D B R2 U F2 L D2 B").word
    [pair] = found
    long = replace(pair, word=normal(puzzle, (*setup, *pair.word, *puzzle.inverse(setup))))
    assert len(long.word) > 24
    saved = saving(solver, (edge,), (long, pair))
    assert [one.word for one in saved] == [pair.word]
    for one in saved:
        assert wrong(puzzle, one.word)[2] == 2
        assert one.with_it < 0.95 * one.without
        assert one.things == things(puzzle, one.word)


def test_setups_carry_two_twisted_corners_everywhere() -> None:
    """Of 8 corners 28 pairs, each twisted against each other in two ways: the sum of all is zero.

    Twists add up to whole turns on the 3x3x3 (Joyner, Adventures in Group Theory).
    """
    puzzle = load("3x3x3")
    corner, edge = numbers(puzzle, "corner", "edge")
    looks = Looks(puzzle)
    [own] = pairs(looks, corner, (corner, edge))
    assert wrong(puzzle, own.word) == Counter({3: 2})
    ways = reached(looks, own.part.slots, (corner, edge), own.word)
    assert len(ways) == 28 * 2
    for pair, word in ways.items():
        effect = puzzle.effect(word)
        ends = {slot: int(effect[puzzle.home[slot]] - puzzle.home[slot]) for slot, _ in pair}
        assert ends == {slot: 3 - twist for slot, twist in pair}
        assert (effect != np.arange(puzzle.placement_count)).sum() == 6


@settings(max_examples=30, deadline=None)
@given(
    name=st.sampled_from(["4x4x4", "tetrahedron-corners", "cube-corners", "three-wheels"]),
    seed=st.integers(0, 1_000),
)
def test_what_is_seen_after_turns_is_right_where_contents_are(name: str, seed: int) -> None:
    puzzle = load(name)
    looks = Looks(puzzle)
    own = sights(looks, range(len(puzzle.types)))
    codes = own.start[None, :]
    [word] = scrambles(puzzle, 1, seed)
    for turn in (*word[:9], *puzzle.inverse(word[: seed % 10])):
        codes = own.after(codes, turn)
    effect = puzzle.effect((*word[:9], *puzzle.inverse(word[: seed % 10])))
    right = Contents.of(looks, effect).right[own.slots]
    assert np.array_equal(codes[0] == own.start, right)


def test_looks_are_counted_as_published() -> None:
    """OEIS A080601: positions of the 3x3x3 by the turns that they take."""
    puzzle = load("3x3x3")
    own = seen(sights(Looks(puzzle), (0, 1)), range(len(puzzle.turns)), 4_000)
    assert np.diff(own.begins).tolist() == [1, 18, 243, 3240]
    last = own.begins[-1] - 1
    assert len(own.word(last)) == own.depth == 3
    codes = own.sights.start[None, :]
    for turn in own.word(last):
        codes = own.sights.after(codes, turn)
    assert np.array_equal(codes[0], own.codes[last])


def test_the_centres_of_the_4x4x4_share_the_sequence_of_the_edges() -> None:
    """Outer layers do to these centres what inner ones do to the edges: common practice."""
    puzzle = load("4x4x4")
    workshop = Workshop(puzzle, search_in_memory)
    types = numbers(puzzle, "corner", "edge", "centre")
    best = plans(workshop, types, ())[0]
    [(word, same)] = best.same.items()
    assert {puzzle.types[same.type].name} <= {"edge", "centre"}
    assert best.things == sum(things(puzzle, one) for one in best.words) - things(puzzle, word)
    for one, other in same.layers:
        names = puzzle.layers[one].name, puzzle.layers[other].name
        assert names[0].removeprefix("2") == names[1].removeprefix("2")
        assert names[0] != names[1]
    for step in best.steps:
        free = [kind.name for kind in puzzle.types if kind.number not in step.kept]
        for own in step.words:
            kept = [
                cycle
                for cycle in cycles(puzzle, effect_of(puzzle, own))
                if int(puzzle.type_of[puzzle.slot_of[cycle[0]]]) in step.kept
            ]
            assert len(kept) == 1
            assert_three_cycle(puzzle, own, kept[0], free=free)
