"""Reasons against brute force, sympy's membership, and what the trade knows to be impossible."""

from __future__ import annotations

import itertools
import random

import numpy as np
import pytest
from sympy.combinatorics import Permutation, PermutationGroup

from puzzles import Puzzle, load
from puzzles.errors import RequestError
from puzzles.names import read_cycle, slot_names
from search.impossible import reason, wanted_effect


def why(name: str, *pieces: str, layers: str | None = None, **more: object) -> str | None:
    puzzle = load(name)
    numbers = None if layers is None else [puzzle.layer_numbers[x] for x in layers.split()]
    return reason(puzzle, read_cycle(puzzle, pieces), numbers, **more)  # type: ignore[arg-type]


def says(text: str | None, *words: str) -> None:
    assert text is not None
    assert text.endswith(".")
    assert ". " not in text
    for word in words:
        assert word in text


@pytest.mark.parametrize(
    ("name", "pieces"),
    [
        ("3x3x3", ("UFR", "UBL", "DFL")),
        ("3x3x3", ("UFR", "LUB", "DFL")),
        ("3x3x3", ("UF", "UB", "LU")),
        ("2x2x2", ("UFR", "UBL", "DFL")),
        ("4x4x4", ("U.FL", "U.FR", "F.UL")),
        ("dodecahedron-faces", slot_names(load("dodecahedron-faces"))[:3]),
        ("cube-corners", ("U", "F", "R")),
    ],
)
def test_three_cycles_that_everybody_does_are_not_called_impossible(
    name: str, pieces: tuple[str, ...]
) -> None:
    """Three-cycles of one type (common practice)."""
    assert why(name, *pieces) is None


def test_pieces_of_different_types() -> None:
    says(why("3x3x3", "UFR", "UF", "UB"), "UFR is a corner and UF is an edge")
    says(why("3x3x3", "UF", "UR", "UFR"), "UF is an edge and UFR is a corner")


def test_a_held_piece_is_told_before_the_type_and_with_the_note_that_names_it() -> None:
    for names in itertools.permutations(("DBL", "UFR", "UFL")):
        text = why("2x2x2", *names)
        says(text, "DBL is a held-corner: it never leaves its slot (the corner DBL is held still:")
    text = why("3x3x3", "UFR", "U", "F")
    says(text, "U is a centre: the centres never leave their slots.")
    says(why("tetrahedron-corners", "FR", "tip:FRL", "FL"), "may be twisted, but never leave")


def test_pieces_that_never_leave_their_slots() -> None:
    says(why("3x3x3", "U", "F", "R"), "U is a centre", "never leave")
    says(why("cube-corners", "UFR", "UBL", "DFL"), "axis-corner", "may be twisted", "never leave")


@pytest.mark.parametrize(
    ("pieces", "words"),
    [
        (("UFR", "UBL"), "odd rearrangement of the corners"),
        (("UF", "UB"), "odd rearrangement of the edges"),
        (("UF", "UB", "DF", "DB"), "odd rearrangement of the edges"),
    ],
)
def test_odd_cycles_alone_on_the_3x3x3(pieces: tuple[str, ...], words: str) -> None:
    """Singmaster, Notes on Rubik's Magic Cube, 1981: corners and edges share their parity."""
    says(why("3x3x3", *pieces), words, "comes with an odd one of the edges")


def test_a_free_type_takes_up_the_parity() -> None:
    puzzle = load("3x3x3")
    corner, edge = (puzzle.type_named(name) for name in ("corner", "edge"))
    assert corner is not None
    assert edge is not None
    assert why("3x3x3", "UF", "UB", free=[corner.number]) is None
    assert why("3x3x3", "UFR", "UBL", free=[edge.number]) is None
    assert why("3x3x3", "UFR", "UBL", free=[2]) is not None


def test_one_piece_twisted_alone() -> None:
    """Singmaster 1981: one corner alone cannot be twisted, nor one edge flipped."""
    puzzle = load("3x3x3")
    says(reason(puzzle, (0, 1, 2)), "UFL would be twisted alone", "add up to a whole turn")
    edge = puzzle.type_named("edge")
    assert edge is not None
    first = edge.first_placement
    says(reason(puzzle, (first, first + 1)), "twisted alone", "an even number of the edges")


def test_like_centres_take_up_the_parity_of_the_4x4x4() -> None:
    """Two swapped corners can be solved on a 4x4x4, where like centres may change places."""
    assert why("4x4x4", "UFR", "UBL") is None
    says(why("4x4x4", "UFR", "UBL", alike=False), "odd one of the centres")
    assert why("4x4x4", "U.FL", "F.UL") is None
    says(why("4x4x4", "U.FL", "F.UL", alike=False), "odd rearrangement of the centres")


def test_on_the_5x5x5_like_centres_do_not_help_two_swapped_corners() -> None:
    """The middle edges and corners inside a 5x5x5 are those of a 3x3x3 (common practice)."""
    says(why("5x5x5", "UFR", "UBL"), "odd rearrangement of the corners")


def test_stickers_that_never_come_to_each_other() -> None:
    """The two halves of an edge of the 4x4x4 are never turned over in place (common practice)."""
    text = why("4x4x4", "UF.L", "UF.R", "UB.L")
    says(text, "can never come to UF.R", "it comes to FU.R")
    assert why("4x4x4", "UF.L", "FU.R", "UB.R") is None
    assert why("4x4x4", "UF.L", "UF.R", "UB.L", any_twist=True) is None


def test_layers_that_do_not_reach() -> None:
    says(why("3x3x3", "UFR", "UBL", "DFL", layers="U D"), "With only U and D", "UBL", "DFL")
    text = why("3x3x3", "UF", "UR", "BU", layers="U R")
    says(text, "With only U and R", "BU", "only to UB")
    assert why("3x3x3", "UF", "UR", "UB", layers="U R") is None
    assert why("3x3x3", "UF", "UR", "BU", layers="U R F") is None
    assert why("3x3x3", "UF", "UR", "BU", layers="U R", any_twist=True) is None
    says(why("3x3x3", "UF", "UB", "UL", layers=""), "No layer")


def test_two_layers_that_reach_few_arrangements() -> None:
    """Six corners under two faces make only 120 of their 720 arrangements (Singmaster 1981)."""
    text = why("3x3x3", "UFR", "UBL", "DBR", layers="U R")
    says(text, "With only U and R", "only 29,160 arrangements")  # 120 x 3^5


def test_centres_and_corners_that_are_tied_to_others() -> None:
    text = why("3x3x3-slices", "U", "F", "R")
    says(text, "only 24 arrangements", "a cycle of U, F and R alone is not one of them")
    text = why("cube-corners", "UFL", "UBR", "DFR")
    says(text, "No sequence cycles UFL, UBR and DFR without changing the axis-corners")


def test_pieces_that_look_the_same_and_arrive_in_each_others_parts() -> None:
    """With one layer turning, centres outside it are parts of their own, yet they look alike."""
    names = ("U.FL", "U.BL", "U.BR")
    assert why("4x4x4", *names, layers="2F") is None
    says(why("4x4x4", *names, layers="2F", alike=False), "With only 2F", "cannot get to U.BL")
    says(why("4x4x4", "U.FL", "U.BL", "D.BR", layers="2F"), "With only 2F")


@pytest.mark.parametrize("name", ["2x2x2", "3x3x3", "cube-corners", "octahedron-faces"])
def test_reasons_agree_with_membership_in_sympy(name: str) -> None:
    puzzle = load(name)
    source = random.Random(5)
    types = [kind for kind in puzzle.types if kind.count > 2]
    for layers in (range(len(puzzle.layers)), range(2), range(3)):
        rows = [
            [int(x) for x in puzzle.moves[t]]
            for t in range(len(puzzle.turns))
            if puzzle.turn_layer[t] in layers
        ]
        theirs = PermutationGroup([Permutation(row) for row in rows])
        for _ in range(8):
            kind = source.choice(types)
            slots = source.sample(range(kind.count), source.choice((2, 3)))
            cycle = [
                kind.first_placement + k * kind.twists + source.randrange(kind.twists)
                for k in slots
            ]
            inside = theirs.contains(Permutation(wanted_effect(puzzle, cycle).tolist()))
            assert (reason(puzzle, cycle, layers, alike=False) is None) == inside


def test_untold_twists_are_all_tried() -> None:
    """Against every way to fill them in."""
    puzzle = load("3x3x3")
    layers = [puzzle.layer_numbers[x] for x in ("U", "R")]
    slots = slot_names(puzzle)
    for names in (("UF", "UR", "UB"), ("UF", "DR", "UB"), ("UFR", "UBR", "DBR")):
        homes = [int(puzzle.home[slots.index(x)]) for x in names]
        twists = puzzle.types[int(puzzle.type_of[slots.index(names[0])])].twists
        ways = itertools.product(range(twists), repeat=3)
        one = any(
            reason(puzzle, [h + x for h, x in zip(homes, way, strict=True)], layers) is None
            for way in ways
        )
        assert (reason(puzzle, homes, layers, any_twist=True) is None) == one


@pytest.mark.parametrize(("name", "least"), [("2x2x2", 20), ("3x3x3", 30), ("4x4x4", 10)])
def test_what_a_sequence_does_is_never_called_impossible(name: str, least: int) -> None:
    """All cycles that commutators [x y x', z] of three turns happen to be, with their layers."""
    puzzle = load(name)
    found = 0
    for layers in itertools.islice(itertools.permutations(range(len(puzzle.layers)), 3), 12):
        turns = [[t for t in range(len(puzzle.turns)) if puzzle.turn_layer[t] == k] for k in layers]
        for x, y, z in itertools.product(*turns):
            a, b = (x, y, *puzzle.inverse((x,))), (z,)
            effect = puzzle.effect((*a, *b, *puzzle.inverse(a), *puzzle.inverse(b)))
            cycle = _only_cycle(puzzle, effect)
            if cycle is None:
                continue
            found += 1
            assert np.array_equal(wanted_effect(puzzle, cycle), effect)
            assert reason(puzzle, cycle, layers) is None
            assert reason(puzzle, cycle, layers, alike=False) is None
    assert found >= least


def _only_cycle(puzzle: Puzzle, effect: np.ndarray) -> list[int] | None:
    """Return the cycle of placements that an effect is, None if it is not one of pieces alone."""
    moved = [p for p in range(puzzle.placement_count) if effect[p] != p]
    if not moved:
        return None
    cycle = [moved[0]]
    while effect[cycle[-1]] != cycle[0]:
        cycle.append(int(effect[cycle[-1]]))
    slots = {int(puzzle.slot_of[p]) for p in cycle}
    if len(slots) < len(cycle) or slots != {int(puzzle.slot_of[p]) for p in moved}:
        return None
    return cycle


def test_a_wanted_effect_has_the_order_of_its_cycle() -> None:
    puzzle = load("3x3x3")
    effect = wanted_effect(puzzle, (1, 5, 6))
    assert effect[1] == 5
    assert effect[5] == 6
    assert effect[6] == 1
    assert np.array_equal(effect[effect[effect]], np.arange(54))
    assert int((effect != np.arange(54)).sum()) == 9


@pytest.mark.parametrize("cycle", [(0,), (0, 24), (0, 1), (0, 3, 0, 6), (0, 3, 1)])
def test_cycles_that_are_none_are_refused(cycle: tuple[int, ...]) -> None:
    with pytest.raises(RequestError, match="cycle"):
        wanted_effect(load("3x3x3"), cycle)
