"""Finding as a library: every answer does what was asked, and what is claimed about it is true."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest

from puzzles import load
from puzzles.errors import NameNotFoundError, RequestError
from puzzles.names import placement_name
from puzzles.notation import parse
from puzzles.words import normal
from search import find, plan
from search.answers import Found, found
from search.deepening import deepen
from search.encoding import Scope
from search.goals import Goal
from search.impossible import ImpossibleError, reason
from search.kernels.arrays import NONE
from search.request import request
from search.shelves import Shelves
from tests.plain import assert_three_cycle, of_shape

#: A half-length at which every catalogue puzzle has some answer within seconds.
SHALLOW = {
    "cube-corners": 6,
    "octahedron-faces": 6,
    "hexagonal-prism": 5,
    "5x5x5": 4,
    "ball-sixths": 6,
    "ball-sixths-218": 6,
    "ball-two-axes": 6,
}


def first_possible(name: str, kind: int) -> list[str] | None:
    """Return the names of the first three-cycle of a type that nothing forbids."""
    puzzle = load(name)
    slots = puzzle.types[kind].slots
    if len(slots) < 3:
        return None
    for third in list(slots)[2:]:
        places = [int(puzzle.home[s]) for s in (slots[0], slots[1], third)]
        if reason(puzzle, places) is None:
            return [placement_name(puzzle, p) for p in places]
    return None


def check(found: Found) -> None:
    puzzle = found.request.puzzle
    cycles = found.request.triples()
    for answer in found.answers:
        word = parse(puzzle, answer.sequence).word
        assert word == answer.word == normal(puzzle, word)
        assert len(word) == answer.turns
        assert normal(puzzle, parse(puzzle, answer.notation).word) == word
        bracket = f"[{answer.setup}: [{answer.a}, {answer.b}]]"
        if not answer.setup:
            bracket = f"[{answer.a}, {answer.b}]"
        assert normal(puzzle, parse(puzzle, bracket).word) == word
        effect = puzzle.effect(word)
        cycle = next(c for c in cycles if effect[list(c)].tolist() == [c[1], c[2], c[0]])
        assert_three_cycle(puzzle, word, cycle)
        # Three times over it is the identity (common practice).
        assert np.array_equal(puzzle.effect(word * 3), np.arange(puzzle.placement_count))
        assert len(answer.motions) == len(word)
        assert answer.why


#: Puzzles on which no turn is ever blocked; the others have tests of their own.
UNBLOCKED = [n for n in (*of_shape("solid"), *of_shape("ball")) if not load(n).can_block]


@pytest.mark.parametrize("name", UNBLOCKED)
def test_every_type_of_every_puzzle(name: str) -> None:
    """Found sequences do exactly what was asked, as the plain simulator sees it."""
    puzzle = load(name)
    met = 0
    for kind in puzzle.types:
        cycle = first_possible(name, kind.number)
        if cycle is None:
            continue
        found = find(puzzle, cycle, half_length=SHALLOW.get(name, 5), most=5)
        check(found)
        met += len(found.answers)
    assert met


def test_the_lengths_of_the_3x3x3() -> None:
    """A corner cycle that is proven shortest at 12 turns, and one that everybody knows, at 8."""
    puzzle = load("3x3x3")
    far = find(puzzle, "UFR UBL DFL", half_length=8)
    assert far.answers[0].turns == 12
    assert far.searched.complete == 13
    # `[R U R' U', L']` is UFL to RBU to BLU (common practice): ten turns; eight do it too.
    near = find(puzzle, "UFL RBU BLU", half_length=6)
    assert near.answers[0].turns == 8
    known = normal(puzzle, parse(puzzle, "[R U R' U', L']").word)
    effect = puzzle.effect(known)
    assert effect[near.request.triples()[0][0]] == near.request.triples()[0][1]


def test_slices_make_an_edge_cycle_in_four_turns() -> None:
    """`M' U2 M U2` cycles three edges in four turns with slices (common practice)."""
    puzzle = load("3x3x3-slices")
    effect = puzzle.effect(parse(puzzle, "M' U2 M U2").word)
    start = next(p for p in puzzle.types[1].placements if effect[p] != p)
    cycle = [start, int(effect[start]), int(effect[effect[start]])]
    found = find(puzzle, [placement_name(puzzle, p) for p in cycle], half_length=4)
    assert found.answers[0].turns == 4
    assert found.searched.complete is not None
    assert found.searched.complete >= 4


def test_the_other_way_is_another_cycle() -> None:
    """Turning the inserted layer another way gives a three-cycle that shares two slots (common
    practice), wherever A and B share one slot and B is one turn."""
    puzzle = load("3x3x3")
    tried = 0
    for answer in find(puzzle, "UFL RBU BLU", half_length=6).answers:
        parts = [parse(puzzle, text).word for text in (answer.setup, answer.a, answer.b)]
        setup, a, b = parts
        if len(b) != 1:
            continue
        moved = set(np.flatnonzero(puzzle.effect(answer.word) != np.arange(54)).tolist())
        for other in range(3):
            turn = int(b[0]) // 3 * 3 + other
            word = (*setup, *a, turn, *puzzle.inverse(a), int(puzzle.inverses[turn]))
            effect = puzzle.effect((*word, *puzzle.inverse(setup)))
            now = set(np.flatnonzero(effect != np.arange(54)).tolist())
            slots = {int(puzzle.slot_of[p]) for p in now}
            assert len(slots) == 3
            shared = slots & {int(puzzle.slot_of[p]) for p in moved}
            assert len(shared) == (3 if turn == b[0] else 2)
            tried += 1
    assert tried >= 3


def test_free_types_make_shorter_sequences() -> None:
    puzzle = load("3x3x3")
    kept = find(puzzle, "UF UR UB", half_length=5)
    free = find(puzzle, "UF UR UB", keep="edge", half_length=5)
    assert free.answers[0].turns < kept.answers[0].turns
    for answer in free.answers:
        assert_three_cycle(puzzle, answer.word, free.request.triples()[0], free=("corner",))


def test_only_allowed_layers_turn() -> None:
    puzzle = load("3x3x3")
    found = find(puzzle, "UFR UFL UBR", layers="R U F", half_length=6)
    assert found.answers
    for answer in found.answers:
        assert set(answer.layers) <= {"R", "U", "F"}
    check(found)


def test_any_twist_is_never_longer() -> None:
    puzzle = load("3x3x3")
    exact = find(puzzle, "UFR UBL DFL", half_length=6)
    loose = find(puzzle, "UFR UBL DFL", any_twist=True, half_length=6)
    assert loose.answers[0].turns <= exact.answers[0].turns
    check(loose)


def test_like_pieces_may_take_part() -> None:
    """Two centres of one face and one of another: by looks a swap; any like piece can help."""
    puzzle = load("4x4x4")
    centres = puzzle.types[2]
    face = [s for s in centres.slots if puzzle.alike[s] == puzzle.alike[centres.first_slot]]
    other = next(s for s in centres.slots if s not in face)
    names = [placement_name(puzzle, int(puzzle.home[s])) for s in (face[0], face[1], other)]
    alike = find(puzzle, names, half_length=4)
    apart = find(puzzle, names, half_length=4, alike=False)
    assert len(alike.request.triples()) > len(apart.request.triples()) == 1
    assert alike.answers
    assert alike.answers[0].turns <= min((a.turns for a in apart.answers), default=99)
    check(alike)


def test_one_thread_and_two_find_the_same() -> None:
    puzzle = load("3x3x3")
    one = find(puzzle, "UF DR BL", half_length=6)
    two = find(puzzle, "UF DR BL", half_length=6, threads=2)
    assert [a.sequence for a in one.answers] == [a.sequence for a in two.answers]


def test_bad_requests() -> None:
    puzzle = load("3x3x3")
    with pytest.raises(RequestError, match="three pieces, but the number given is 2"):
        find(puzzle, "UFR UBL")
    with pytest.raises(RequestError, match="UFR is named twice"):
        find(puzzle, "UFR RUF UBL")
    with pytest.raises(ImpossibleError, match="corner"):
        find(puzzle, "UFR UBL UF")
    with pytest.raises(ImpossibleError, match="never leave"):
        find(puzzle, "U F R")
    with pytest.raises(NameNotFoundError, match="UFX"):
        find(puzzle, "UFX UBL DFL")
    with pytest.raises(NameNotFoundError, match="has the layers U"):
        find(puzzle, "UFR UBL DFL", layers="U Q")
    with pytest.raises(RequestError, match="not both"):
        find(puzzle, "UFR UBL DFL", keep="corner", free="edge")
    with pytest.raises(RequestError, match="must be among"):
        find(puzzle, "UFR UBL DFL", keep="edge")
    with pytest.raises(RequestError, match="half-length 99"):
        find(puzzle, "UFR UBL DFL", half_length=99)


def test_values_show_themselves() -> None:
    puzzle = load("3x3x3")
    found = find(puzzle, "UFL RBU BLU", half_length=5)
    assert "UFL -> RUB -> BUL on 3x3x3" in repr(found)
    assert repr(puzzle) == "load('3x3x3')"
    for value in (found, puzzle):
        ElementTree.fromstring(value._repr_svg_())


def test_no_setup_is_shown_where_none_is_allowed() -> None:
    puzzle = load("3x3x3")
    found = find(puzzle, "UFR UBL DFL", setup=0, half_length=6)
    assert found.answers
    assert all(answer.setup == "" for answer in found.answers)
    check(found)


class Known(Goal):
    """The goal of some answer, however long."""

    def reached(self, scope: Scope, found: Shelves) -> bool:
        return bool((found.turns < NONE).any())


def test_long_arms_answer_requests_and_say_what_was_covered(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Blades of the 170-piece ball, for which no level that is soon done knows anything."""
    monkeypatch.setattr(plan, "PATIENCE", 1_000_000)
    wanted = request(load("ball-sixths"), "U.F.L U.F.R U.B.L")
    *_, last = deepen(wanted.scope(), Known(None, None, None))
    answered = found(wanted, wanted.scope(), last.shelves, None, 3)
    check(answered)
    assert answered.answers
    assert answered.searched.complete is None
    assert "all rings up to half-length 5 with all pieces told apart, and rings of two conju" in (
        answered.searched.text
    )
    assert "of a single turn (" in answered.searched.text
