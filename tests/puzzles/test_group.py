"""Orders, membership and laws against published figures and sympy's permutation groups."""

from __future__ import annotations

import math
import random
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sympy.combinatorics import Permutation, PermutationGroup

from puzzles import Puzzle, chain, load
from puzzles.chain import Chain
from puzzles.compile import from_text
from puzzles.file import catalogue
from puzzles.group import contains, group
from puzzles.layer_group import layer_group

NAMES = catalogue()

#: OEIS A075152: positions of the cube with n layers each way, for n = 2 to 5; the whole cube may
#: be turned in the hands, and like centres are alike.
A075152 = {
    2: 3_674_160,
    3: 43_252_003_274_489_856_000,
    4: 7_401_196_841_564_901_869_874_093_974_498_574_336_000_000_000,
    5: 282_870_942_277_741_856_536_180_333_107_150_328_293_127_731_985_672_134_721_536
    * 1_000_000_000_000_000,
}

F = math.factorial

#: Orders with all pieces told apart, in space.
ORDERS = {
    "2x2x2": A075152[2],
    "3x3x3": A075152[3],
    # The layers between the faces turn the whole puzzle in space: 24 rotations.
    "3x3x3-slices": 24 * A075152[3],
    # From memory: 933,120 without the tips, which add three positions each.
    "tetrahedron-corners": 933_120 * 81,
    # Sum of OEIS A079745.
    "cube-corners": 3_149_280,
    # From memory.
    "dodecahedron-faces": F(20) // 2 * 3**19 * F(30) // 2 * 2**29,
    # Derived from 31,408,133,379,194,880,000,000 (from memory), see the test of alike pieces.
    "octahedron-faces": F(6) // 2 * 2**5 * (F(12) // 2) ** 3,
    # From memory: 493,694,233,804,800,000 up to the 24 rotations.
    "cube-edges": 24 * 493_694_233_804_800_000,
}

#: Puzzles whose group sympy finishes in about a second.
SMALL = [name for name in NAMES if load(name).placement_count < 60]

#: A puzzle whose pieces twist by quarters, so that parity and a sum of twists are tied.
QUARTERS = """
description = "An octahedron whose six corners turn by quarters, cut at a quarter of the way."
body = "octahedron"
up = "U"
front = "F"

[[layers]]
axes = "corners"
above = "1/4"
steps = 4
"""


@pytest.fixture(scope="module")
def quarters(tmp_path_factory: pytest.TempPathFactory) -> Puzzle:
    path: Path = tmp_path_factory.mktemp("files") / "quarters.toml"
    path.write_text(QUARTERS, encoding="utf-8")
    return load(str(path))


def sympy_group(rows: np.ndarray) -> PermutationGroup:
    return PermutationGroup([Permutation([int(x) for x in row]) for row in rows])


def random_word(puzzle: Puzzle, source: random.Random, length: int = 30) -> tuple[int, ...]:
    return tuple(source.randrange(len(puzzle.turns)) for _ in range(length))


@pytest.mark.parametrize("name", ORDERS)
def test_orders_are_the_published_ones(name: str) -> None:
    report = group(load(name))
    assert report.order == ORDERS[name]
    assert report.proven


@pytest.mark.parametrize("name", NAMES)
def test_every_order_of_the_catalogue_is_proven(name: str) -> None:
    report = group(load(name))
    assert report.proven
    assert report.lower == report.order == report.upper


@pytest.mark.parametrize("layers", [4, 5])
def test_like_centres_not_told_apart_give_the_published_orders(layers: int) -> None:
    """OEIS A075152 counts up to the 24 rotations, which turning all layers of an axis makes."""
    assert group(load(f"{layers}x{layers}x{layers}")).order_alike == 24 * A075152[layers]


def test_like_centres_alone_make_every_pattern() -> None:
    """With all else left aside, 24 centres in six colours show 24!/4!^6 patterns."""
    puzzle = load("4x4x4")
    centre = puzzle.type_named("centre")
    assert centre is not None
    own = layer_group(puzzle, types=[centre.number])
    assert own.order == F(24)
    assert own.order_alike == F(24) // F(4) ** 6


def test_like_triangles_of_the_octahedron_not_told_apart_give_the_known_order() -> None:
    """31,408,133,379,194,880,000,000 from memory, up to the 12 rotations that turns can make."""
    report = group(load("octahedron-faces"))
    assert report.order_alike == 12 * 31_408_133_379_194_880_000_000


@pytest.mark.parametrize("name", ["2x2x2", "3x3x3", "cube-edges", "dodecahedron-faces"])
def test_without_alike_pieces_both_orders_are_the_same(name: str) -> None:
    report = group(load(name))
    assert report.order_alike == report.order


@pytest.mark.parametrize("name", SMALL)
def test_orders_and_membership_agree_with_sympy(name: str) -> None:
    puzzle = load(name)
    theirs = sympy_group(layer_group(puzzle).steps)
    assert group(puzzle).order == theirs.order()
    source = random.Random(1)
    for effect in _near_effects(puzzle, source, 12):
        inside = theirs.contains(Permutation(effect.tolist()))
        assert contains(puzzle, effect) == inside


def _near_effects(puzzle: Puzzle, source: random.Random, count: int) -> list[np.ndarray]:
    """Return effects of words, each with two pieces of a type exchanged or one twisted by hand."""
    result = []
    for k in range(count):
        effect = puzzle.effect(random_word(puzzle, source)).copy()
        kind = source.choice(puzzle.types)
        for _ in range(k % 3):
            a, b = (source.randrange(kind.count) for _ in range(2))
            x = source.randrange(kind.twists)
            swap = np.arange(puzzle.placement_count)
            for y in range(kind.twists):
                start, goal = (kind.first_placement + s * kind.twists for s in (a, b))
                swap[start + y] = goal + (y + x) % kind.twists
                if a != b:
                    swap[goal + (y + x) % kind.twists] = start + y
            effect = swap[effect]
        result.append(effect)
    return result


@pytest.mark.parametrize("name", SMALL)
def test_orders_of_a_few_layers_agree_with_sympy(name: str) -> None:
    puzzle = load(name)
    source = random.Random(2)
    for _ in range(4):
        layers = source.sample(range(len(puzzle.layers)), 2)
        types = source.sample(range(len(puzzle.types)), 2)
        own = layer_group(puzzle, layers, types)
        columns = [p for t in sorted(types) for p in puzzle.types[t].placements]
        place = {p: k for k, p in enumerate(columns)}
        theirs = sympy_group(np.array([[place[int(r[p])] for p in columns] for r in own.steps]))
        assert own.order == theirs.order()
        assert own.proven


@pytest.mark.parametrize("name", NAMES)
def test_effects_of_words_are_members_and_break_no_law(name: str) -> None:
    puzzle = load(name)
    own = layer_group(puzzle)
    source = random.Random(3)
    effects = np.array([puzzle.effect(random_word(puzzle, source)) for _ in range(30)])
    assert all(own.contains(effects))
    assert all(own.broken(effect) is None for effect in effects)


@pytest.mark.parametrize("name", NAMES)
def test_the_laws_explain_the_order(name: str) -> None:
    """All arrangements of all pieces, divided by the factors of the laws, is the order."""
    puzzle = load(name)
    free = 1
    for part in layer_group(puzzle).parts:
        twists = puzzle.types[part.type].twists
        free *= math.factorial(len(part.slots)) * twists ** len(part.slots)
    report = group(puzzle)
    assert free == report.order * math.prod(law.factor for law in report.laws)


def test_the_laws_of_the_3x3x3_are_the_three_of_the_textbook() -> None:
    """Joyner, Adventures in Group Theory, 2008: twelve classes of assemblies, 3 x 2 x 2."""
    laws = group(load("3x3x3")).laws
    assert sorted(law.factor for law in laws) == [2, 2, 3]
    assert [law.text for law in laws] == [
        "The twists of the corners always add up to a whole turn.",
        "An even number of the edges is flipped.",
        "An odd rearrangement of the corners always comes with an odd one of the edges.",
    ]


def test_centres_that_only_rotate_together_are_said_to_do_so() -> None:
    fewer = [law for law in group(load("3x3x3-slices")).laws if law.kind == "fewer"]
    assert len(fewer) == 1
    assert fewer[0].factor == 720 // 24
    assert "only 24 of the 720" in fewer[0].text


def test_corners_that_tie_the_twists_of_others_are_found() -> None:
    """The four loose corners turn as the even arrangements of four, which have a third part."""
    laws = {law.kind: law for law in group(load("cube-corners")).laws}
    assert laws["tied"].factor == 3
    assert "axis-corners" in laws["tied"].text


def test_pieces_in_step_are_found() -> None:
    """With one face turning, edges and corners go round together."""
    from puzzles.group import further_laws

    puzzle = load("3x3x3")
    laws = further_laws(layer_group(puzzle, [puzzle.layer_numbers["U"]]))
    assert any(law.kind == "in step" and law.types == (0, 1) for law in laws)


def test_parity_tied_to_twists_by_quarters(quarters: Puzzle) -> None:
    """Each quarter turn is an odd four-cycle of the triangles and one step of a corner."""
    report = group(quarters)
    assert report.order == sympy_group(layer_group(quarters).steps).order()
    tied = [law for law in report.laws if law.kind == "parity and twist"]
    assert [law.text for law in tied] == [
        "The twists of the corners add up to an odd number of steps exactly when the rearrangement"
        " of the centres is odd."
    ]


def test_membership_tells_types_apart() -> None:
    puzzle = load("3x3x3")
    effect = np.arange(puzzle.placement_count)
    first, second = puzzle.types[0].first_placement, puzzle.types[1].first_placement
    effect[[first, second]] = effect[[second, first]]
    assert not contains(puzzle, effect)


@st.composite
def generators(draw: st.DrawFn) -> tuple[np.ndarray, tuple[int, ...]]:
    """A few permutations of up to three blocks, often with small or imprimitive groups."""
    sizes = draw(st.lists(st.integers(1, 7), min_size=1, max_size=3))
    count = draw(st.integers(1, 3))
    starts = [sum(sizes[:k]) for k in range(len(sizes))]
    rows = []
    for _ in range(count):
        row: list[int] = []
        for start, size in zip(starts, sizes, strict=True):
            if draw(st.booleans()):
                shift = draw(st.integers(0, size - 1))
                row += [start + (k + shift) % size for k in range(size)]
            else:
                row += [start + k for k in draw(st.permutations(range(size)))]
        rows.append(row)
    return np.array(rows, dtype=np.int32), tuple(starts)


@given(generators(), st.booleans())
def test_chains_agree_with_sympy(made: tuple[np.ndarray, tuple[int, ...]], lucky: bool) -> None:
    """Also with no random element at all: then the verification must find everything."""
    rows, blocks = made
    with pytest.MonkeyPatch.context() as patch:
        if not lucky:
            patch.setattr(chain, "PICKED", 0)
            patch.setattr(chain, "IDLE", 0)
        own = Chain(rows, blocks)
    theirs = sympy_group(rows)
    assert own.verified
    assert own.order == theirs.order()
    for k in range(1, len(blocks) + 1):
        end = [*blocks, rows.shape[1]][k]
        assert own.order_on(k) == sympy_group(rows[:, :end]).order()
    source = np.random.default_rng(1)
    for _ in range(5):
        other = np.concatenate(
            [
                start + source.permutation(end - start)
                for start, end in zip(blocks, [*blocks[1:], rows.shape[1]], strict=True)
            ]
        )
        assert own.contains(other)[0] == theirs.contains(Permutation(other.tolist()))


def test_an_unverified_chain_calls_nothing_impossible_that_no_law_forbids(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Two pieces swapped break a law; a three-cycle does not, though nothing was found."""
    monkeypatch.setattr("puzzles.layer_group.MOST_ENTRIES", 0)
    from_text.cache_clear()
    puzzle = load("3x3x3")
    report = group(puzzle)
    assert not report.proven
    assert report.upper == A075152[3]
    swap, three = np.arange(54), np.arange(54)
    swap[[0, 1, 2, 3, 4, 5]] = [3, 4, 5, 0, 1, 2]
    three[:9] = [3, 4, 5, 6, 7, 8, 0, 1, 2]
    assert not contains(puzzle, swap)
    assert contains(puzzle, three)
    from_text.cache_clear()
