"""Bracket forms: facts of the trade, brute force over short brackets, every form expanded."""

from __future__ import annotations

import itertools
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from puzzles import Puzzle, load
from puzzles.notation import parse, write
from puzzles.puzzle import Word
from puzzles.words import normal
from search.arcs import arcs
from search.brackets import carried, forms, shortest_form, text, things
from search.traces import alphabet

NAMES = ("2x2x2", "3x3x3", "3x3x3-slices", "4x4x4", "dodecahedron-faces", "cube-edges")


def turns(puzzle: Puzzle, written: str) -> Word:
    return parse(puzzle, written).word


def commutator(puzzle: Puzzle, setup: Word, a: Word, b: Word) -> Word:
    undone = puzzle.inverse
    return normal(puzzle, setup + a + b + undone(a) + undone(b) + undone(setup))


@pytest.mark.parametrize(
    ("sequence", "expected", "count"),
    [
        # Common practice: A = R U R' U', then a layer that holds one displaced piece.
        ("R U R' U' L' U R U' R' L", "[[R, U], L']", 3),
        # Common practice: a pair of twists, whose first part is a commutator done twice.
        ("R' D' R D R' D' R D U D' R' D R D' R' D R U'", "[[R', D']2, U]", 3),
        ("R U' F L F' U R' L'", "[R U' F, L]", 4),
        ("R U R' D R U' R' D'", "[[R: U], D]", 3),
        # Merged with the setup: nine turns, the ring is cut inside F2.
        ("F R' F L2 F' R F L2 F2", "[F: [R', [F: L2]]]", 4),
        # No turn is split, but D and its inverse cancelled across U.
        ("R U F D' R' U' F' D", "[R U D, D' F U]", 6),
        # All turns are paired, yet turns of F must be split: F2 + F + F2 - F = 0 around one place.
        ("D F2 L' F D' F2 L F'", "[D F, F L' F2]", 5),
    ],
)
def test_known_forms(sequence: str, expected: str, count: int) -> None:
    puzzle = load("3x3x3")
    form = shortest_form(puzzle, turns(puzzle, sequence))
    assert form is not None
    assert text(puzzle, form) == expected
    assert form.things == count


def test_cut_inside_a_turn_keeps_its_setup() -> None:
    puzzle = load("3x3x3")
    word = turns(puzzle, "F R' F L2 F' R F L2 F2")
    wanted = (turns(puzzle, "F"), turns(puzzle, "R'"), turns(puzzle, "F L2 F'"))
    assert wanted in {(f.setup, f.a, f.b) for f in forms(puzzle, word)}


@pytest.mark.parametrize(
    "sequence", ["R", "R U", "R U R'", "R U R' U", "R U F R' F' U", "R L U R' U'"]
)
def test_words_that_are_no_commutators(sequence: str) -> None:
    """In a commutator the amounts of every layer sum to nothing, or the order is wrong."""
    puzzle = load("3x3x3")
    assert forms(puzzle, turns(puzzle, sequence)) == []
    assert shortest_form(puzzle, turns(puzzle, sequence)) is None


@st.composite
def brackets(draw: st.DrawFn) -> tuple[str, Word, int]:
    """A puzzle's name, an executed random S [A, B] S', and the turns in S, A and B."""
    name = draw(st.sampled_from(NAMES))
    puzzle = load(name)
    turn = st.integers(0, len(puzzle.turns) - 1)
    sizes = ((0, 2), (1, 4), (1, 3))
    s, a, b = (tuple(draw(st.lists(turn, min_size=low, max_size=high))) for low, high in sizes)
    return name, commutator(puzzle, s, a, b), sum(len(normal(puzzle, part)) for part in (s, a, b))


@given(brackets())
def test_every_form_expands_to_the_word(case: tuple[str, Word, int]) -> None:
    puzzle, word = load(case[0]), case[1]
    found = forms(puzzle, word)
    for form in found:
        assert normal(puzzle, form.turns(puzzle)) == word
        assert normal(puzzle, parse(puzzle, text(puzzle, form)).word) == word
        assert (puzzle.effect(form.turns(puzzle)) == puzzle.effect(word)).all()
        parts = [things(puzzle, part) for part in (form.setup, form.a, form.b)]
        assert form.things == sum(parts)
    assert found == sorted(found, key=lambda form: form.order)
    best = shortest_form(puzzle, word)
    assert (best.order if best else None) == (found[0].order if found else None)


@given(brackets())
def test_brackets_are_read_back_with_no_more_things(case: tuple[str, Word, int]) -> None:
    puzzle, word, plain = load(case[0]), case[1], case[2]
    best = shortest_form(puzzle, word)
    if word:
        assert best is not None
        assert best.things <= plain


@pytest.mark.parametrize("name", ["2x2x2", "3x3x3"])
def test_brute_force_over_short_brackets(name: str) -> None:
    """Every word that is [A, B] with up to two turns in each is read, with no more things."""
    puzzle = load(name)
    count = len(puzzle.turns)
    words = [w for k in (1, 2) for w in itertools.product(range(count), repeat=k)]
    words = [w for w in words if normal(puzzle, w) == w]
    cheapest: dict[Word, int] = {}
    pairs = list(itertools.product(words, repeat=2))
    for a, b in pairs if len(pairs) < 5000 else random.Random(3).sample(pairs, 1200):
        word = commutator(puzzle, (), a, b)
        if word:
            cheapest[word] = min(len(a) + len(b), cheapest.get(word, 99))
    assert len(cheapest) > 400
    for word, cost in cheapest.items():
        best = shortest_form(puzzle, word)
        assert best is not None
        assert best.things <= cost


def test_only_commutators_are_read() -> None:
    """All words of six turns in two layers of thirds: the same as brute force over A and B."""
    puzzle = load("cube-corners")
    letters = [puzzle.turn(layer, amount) for layer in (0, 1) for amount in (1, 2)]
    alphabet_of_two = [t for t in letters if t is not None]
    short = [w for k in range(1, 6) for w in itertools.product(alphabet_of_two, repeat=k)]
    reduced = [w for w in short if normal(puzzle, w) == w]
    true = {commutator(puzzle, (), a, b) for a in reduced for b in reduced}
    for size in (4, 6):
        for word in itertools.product(alphabet_of_two, repeat=size):
            if normal(puzzle, word) == word:
                assert bool(forms(puzzle, word)) == (word in true), write(puzzle, word)


@pytest.mark.parametrize(
    ("sequence", "count"),
    [
        ("", 0),
        ("R", 1),
        ("R U R'", 2),
        ("R U R' U'", 2),
        ("R' D' R D R' D' R D", 2),
        ("R U R U R U", 2),
        ("R U R' U' L' U R U' R' L", 3),
        ("R L U R' L'", 3),
        ("F R U R' U' F'", 3),
        ("R U2 F", 3),
    ],
)
def test_things_of_plain_words(sequence: str, count: int) -> None:
    puzzle = load("3x3x3")
    assert things(puzzle, turns(puzzle, sequence)) == count


def test_things_against_all_brackets() -> None:
    """Build every nested form with up to four turns of two layers; none is cheaper than found."""
    puzzle = load("cube-corners")
    undone = puzzle.inverse
    single = [t for layer in (0, 1) for a in (1, 2) if (t := puzzle.turn(layer, a)) is not None]
    cost: dict[Word, int] = {(t,): 1 for t in single}
    for level in range(1, 5):
        for a, b in itertools.product(list(cost), repeat=2):
            if cost[a] + cost[b] == level:
                built = [a + b, a + b + undone(a), a + b + undone(a) + undone(b)]
                for word in built:
                    if len(word) <= 9 and normal(puzzle, word) == word:
                        cost.setdefault(word, level)
        for word in [w for w in cost if cost[w] == level]:
            for times in (2, 3, 4):
                if len(word) * times <= 9 and normal(puzzle, word * times) == word * times:
                    cost.setdefault(word * times, level)
    assert len(cost) > 400
    for word, expected in cost.items():
        assert things(puzzle, word) == expected, write(puzzle, word)
    for size in range(1, 8):
        for word in itertools.product(single, repeat=size):
            if normal(puzzle, word) == word and word not in cost:
                assert things(puzzle, word) > 4


@given(brackets(), st.data())
def test_a_form_is_carried_by_a_symmetry(case: tuple[str, Word, int], data: st.DataObject) -> None:
    puzzle, word = load(case[0]), case[1]
    number = data.draw(st.integers(0, len(puzzle.symmetries) - 1))
    form = shortest_form(puzzle, word)
    if form is not None:
        image = carried(puzzle, form, number)
        turned = puzzle.symmetries[number].turns[list(word)].tolist()
        assert normal(puzzle, image.turns(puzzle)) == normal(puzzle, turned)
        assert sum(things(puzzle, p) for p in (image.setup, image.a, image.b)) == form.things


@given(brackets())
def test_readings_do_not_depend_on_the_start(case: tuple[str, Word, int]) -> None:
    """A ring whose turns are all paired has as many triples of arcs from every start."""
    letters = alphabet(load(case[0]))
    _, ring = letters.peeled(case[1])
    undone = [letters.inverse[turn] for turn in ring]
    if sorted(undone) == sorted(ring):
        counts = {len(arcs(letters, ring[k:] + ring[:k])) for k in range(len(ring))}
        assert len(counts) <= 1


@given(st.sampled_from(NAMES), st.lists(st.integers(0, 11), max_size=14))
def test_fast_normal_form(name: str, word: list[int]) -> None:
    puzzle = load(name)
    word = [t % len(puzzle.turns) for t in word]
    assert alphabet(puzzle).normal(word) == normal(puzzle, word)


@pytest.mark.parametrize(
    "written",
    [
        "[[UFR3: [F: L U' L' U F']], DFL [F2: R2 D2] UFR' U]",
        "[F R UFR' U2 B2 U2 R2 DBR R F', [D: F UFL2 L B']]",
        "[UFR: [UBL3 [U2: [R2: B2] UFR3] F, [U': [L', F]] DFR]]",
        "[U F2 U3 DFL D DFR5, R2 U3 R2 U DFR D3 DFL5 F]",
        # Millions of ways to cut this ring in two.
        "L U UFR UBR2 DFL' L2 UFL2' DFR DBL2 DBR3 D' DFL F' UFL' UFR2' DFR' DBL2 L2 U' UBR2' DFL2' "
        "F UFL3 UFR DFL' DBL' DBR3 D DFL3 DBL3 L'",
    ],
)
def test_long_words_where_many_layers_commute_are_read(written: str) -> None:
    """Commutators of up to 40 turns on the ball of 14 layers, of which the corners all commute."""
    puzzle = load("ball-sixths")
    word = normal(puzzle, parse(puzzle, written).word)
    assert 24 <= len(word) <= 40
    form = shortest_form(puzzle, word)
    assert form is not None
    assert normal(puzzle, form.turns(puzzle)) == word
