"""Reasons: facts of the trade, and the lemma on permutations that share one point."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from puzzles import Puzzle, load
from puzzles.effects import cycles, effect_of
from puzzles.names import slot_names
from puzzles.notation import parse
from puzzles.puzzle import Word
from search.brackets import Form
from search.reasons import disturbed, reason, single_layers, why


def turns(puzzle: Puzzle, written: str) -> Word:
    return parse(puzzle, written).word


def form(puzzle: Puzzle, a: str, b: str, setup: str = "") -> Form:
    return Form(turns(puzzle, setup), turns(puzzle, a), turns(puzzle, b), 0)


def told(puzzle: Puzzle, a: str, b: str, setup: str = "") -> str:
    made = form(puzzle, a, b, setup)
    return why(puzzle, made, made.turns(puzzle))


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        # Common practice: L holds one displaced piece, D one; with slices also M, E and S.
        ("3x3x3", {("L", "UBL"), ("D", "DFR")}),
        (
            "3x3x3-slices",
            {("L", "UBL"), ("D", "DFR"), ("M", "UB"), ("E", "FR"), ("S", "UR")},
        ),
    ],
)
def test_layers_with_one_disturbed_piece(name: str, expected: set[tuple[str, str]]) -> None:
    puzzle = load(name)
    found = single_layers(puzzle, turns(puzzle, "R U R' U'"))
    names = slot_names(puzzle)
    assert {(puzzle.layers[layer].name, names[slot]) for layer, slot in found} == expected


def test_three_cycle_of_common_practice() -> None:
    """Common practice: [R U R' U', L'] is UFL to RBU to BLU (RUB and BUL: the order is free)."""
    puzzle = load("3x3x3")
    assert told(puzzle, "R U R' U'", "L'") == (
        "A = R U R' U', B = L'. After A only UBL of the L layer is out of its slot: the piece of"
        " UBR waits at UBL. B carries it away to DBL and slips in the piece of UFL, which undoing A"
        " takes to UBR; undoing B brings the piece of UBR back to UBL, and the one that came home"
        " there goes on to UFL: a three-cycle, UFL to RUB to BUL."
    )


@pytest.mark.parametrize("amount", ["L", "L'", "L2"])
def test_three_amounts_give_three_cycles_that_share_two_slots(amount: str) -> None:
    """Common practice: L, L' and L2 give three different cycles that share UBL and UBR."""
    puzzle = load("3x3x3")
    slipped = {"L": "DBL", "L'": "UFL", "L2": "DFL"}
    found = reason(puzzle, form(puzzle, "R U R' U'", amount))
    names = slot_names(puzzle)
    assert found.kind == "three-cycle"
    assert [names[slot] for slot in found.shared] == ["UBL"]
    assert (found.waits, found.slips) == (names.index("UBR"), names.index(slipped[amount]))


def test_single_turn_first() -> None:
    puzzle = load("3x3x3")
    said = told(puzzle, "D", "R U R'")
    assert "B disturbs only DFR of the D layer. A brings the piece of DFL to DFR" in said
    assert said.endswith("a three-cycle, UFR to FDL to RDF.")


def test_pair_of_twists() -> None:
    """Common practice: A only twists that piece, so two pieces are twisted."""
    puzzle = load("3x3x3")
    made = form(puzzle, "[R', D']2", "U")
    assert reason(puzzle, made).kind == "twists"
    said = told(puzzle, "[R', D']2", "U")
    assert "only twisted where it sits" in said
    assert said.endswith("a pair of twists, UFR and UBR.")
    assert disturbed(puzzle, made.turns(puzzle)) == [
        slot_names(puzzle).index(name) for name in ("UFR", "UBR")
    ]


def test_turned_on_the_spot() -> None:
    """A tip turns alone: B does nothing to what A brings that A does not take along."""
    puzzle = load("tetrahedron-corners")
    assert reason(puzzle, form(puzzle, "U R U'", "r")).kind == "nothing"
    assert told(puzzle, "U R U'", "r").endswith("nothing moves.")
    cube = load("3x3x3")
    said = told(cube, "F", "[[R', D']2, U]")
    assert "B only turns it on the spot: a pair of twists" in said


def test_nothing_shared() -> None:
    puzzle = load("3x3x3")
    assert reason(puzzle, form(puzzle, "R", "L")).kind == "nothing"
    assert "no slot in common" in told(puzzle, "R", "L")


def test_more_than_one_shared() -> None:
    """R and U share two corners and an edge; more than one shared slot may give a three-cycle."""
    puzzle = load("3x3x3")
    said = told(puzzle, "R", "U")
    assert "A and B share 3 slots: 2 of type corner (UFR and UBR) and 1 of type edge (UR)." in said
    said = told(load("3x3x3-slices"), "M'", "U2")
    assert said.endswith("for the pieces of UF, UB and DF: a three-cycle, UF to DF to UB.")


def test_setup_is_told_and_the_asked_cycle_named() -> None:
    puzzle = load("3x3x3")
    said = told(puzzle, "R'", "F L2 F'", "F")
    assert "The setup F comes first and is undone at the end." in said
    assert said.endswith("Seen from before the setup, that is UFL to UFR to UBL.")


def test_turns_that_commute_are_seen_as_setup() -> None:
    """[U2 A, U] is U2 [A, U] U2': without U2 the parts share one slot."""
    puzzle = load("3x3x3")
    said = told(puzzle, "U2 D' B D2 B'", "U", "F B")
    assert said.startswith("Seen as [F B U2: [A, B]] with A = D' B D2 B', B = U.")
    assert "After A only UBL of the U layer is out of its slot" in said
    made = form(puzzle, "U2 D' B D2 B'", "U", "F B")
    moved = {slot_names(puzzle)[slot] for slot in disturbed(puzzle, made.turns(puzzle))}
    assert said.endswith("Seen from before the setup, that is UFL to BDR to LDB.")
    assert moved == {"UFL", "DBR", "DBL"}


NAMES = (
    "2x2x2",
    "3x3x3",
    "3x3x3-slices",
    "tetrahedron-corners",
    "cube-edges",
    "dodecahedron-faces",
)


@given(st.sampled_from(NAMES), st.data())
def test_one_shared_slot_cycles_three_or_twists(name: str, data: st.DataObject) -> None:
    """Dixon and Mortimer, section 3.3: supports that meet in one point give a three-cycle."""
    puzzle = load(name)
    turn = st.integers(0, len(puzzle.turns) - 1)
    x, y, b = data.draw(turn), data.draw(turn), data.draw(turn)
    a = (
        (x, y, *puzzle.inverse((x, y)))
        if data.draw(st.booleans())
        else (x, y, *puzzle.inverse((x,)))
    )
    made = Form((), a, (b,), 0)
    found = reason(puzzle, made)
    moved = disturbed(puzzle, made.turns(puzzle))
    done = cycles(puzzle, effect_of(puzzle, made.turns(puzzle)))
    assert (found.kind == "nothing") == (not moved)
    if found.kind == "three-cycle":
        assert len(done) == 1
        assert len(done[0]) == 3
        assert {int(puzzle.slot_of[p]) for p in done[0]} == {
            *found.shared,
            found.waits,
            found.slips,
        }
    if found.kind == "twists":
        assert len(moved) == 2
        assert all(len({int(puzzle.slot_of[p]) for p in cycle}) == 1 for cycle in done)
    assert " B = " in why(puzzle, made, made.turns(puzzle))


@given(
    st.lists(st.integers(0, 17), min_size=1, max_size=5),
    st.lists(st.integers(0, 17), min_size=1, max_size=4),
)
def test_what_cancels_is_told_truly(a: list[int], b: list[int]) -> None:
    """A piece said to come home is where it was, and goes to one place in either order."""
    puzzle = load("3x3x3")
    made = Form((), tuple(a), tuple(b), 0)
    said = why(puzzle, made, made.turns(puzzle))
    names = slot_names(puzzle)
    if "so does B then A" in said:
        start, _, rest = said.partition("takes the piece of ")[2].partition(" to ")
        end = rest.partition(",")[0]
        for word in (made.a + made.b, made.b + made.a):
            there = puzzle.effect(word)[puzzle.home[names.index(start)]]
            assert names[int(puzzle.slot_of[there])] == end
        slot, shared = names.index(start), reason(puzzle, made).shared
        ways = [puzzle.effect(word)[puzzle.home[slot]] for word in ((), made.a, made.b)]
        assert {int(puzzle.slot_of[p]) for p in ways} & set(shared)
        assert slot not in disturbed(puzzle, made.turns(puzzle))
