"""Orders of balls, and of all small catalogue puzzles, against published figures and sympy."""

from __future__ import annotations

import math
import random
from collections.abc import Iterable
from pathlib import Path

import numpy as np
import pytest
from sympy.combinatorics import Permutation, PermutationGroup

from puzzles import Puzzle, load
from puzzles.compile import compiled
from puzzles.file import catalogue, parse
from puzzles.group import contains, group
from puzzles.puzzle import PieceType
from puzzles.turns import Turn
from tests.plain import of_shape

F = math.factorial

#: A ball with some layers of one kind: body, axes, steps, angle of the caps.
ROUND = {
    "3x3x3": ("cube", '"faces"', 4, "60deg"),
    "cube-corners": ("cube", '["UFR", "UBL", "DFL", "DBR"]', 3, "90deg"),
    "dodecahedron-faces": ("dodecahedron", '"faces"', 5, "40deg"),
}


def counted_corners() -> int:
    """Return the sum of OEIS A079745: all positions of the corner-turning cube."""
    text = (Path(__file__).parent.parent / "data" / "counts-cube-corners.txt").read_text("utf-8")
    row = next(line for line in text.splitlines() if not line.startswith("#"))
    return sum(int(count) for count in row.split())


#: Orders of the plane-cut puzzles that these balls are the same as.
PUBLISHED = {
    "3x3x3": 43_252_003_274_489_856_000,  # OEIS A075152, term 3
    "cube-corners": 3_149_280,  # sum of OEIS A079745
    # From memory; sympy finds it too for the plane-cut one (19 to 34 s).
    "dodecahedron-faces": F(20) // 2 * 3**19 * F(30) // 2 * 2**29,
}


@pytest.mark.parametrize("name", ROUND)
def test_a_ball_has_the_published_order_of_what_it_is_painted_like(name: str) -> None:
    body, axes, steps, within = ROUND[name]
    text = (
        f'description = "x"\nshape = "ball"\nbody = "{body}"\nup = "U"\nfront = "F"\n'
        f'[[layers]]\naxes = {axes}\nsteps = {steps}\nwithin = "{within}"\n'
    )
    report = group(compiled("own", parse(text, "own")))
    assert report.lower == report.upper == report.order == PUBLISHED[name]
    assert report.order == group(load(name)).order


def test_the_published_counts_sum_to_the_order_that_is_used() -> None:
    assert counted_corners() == PUBLISHED["cube-corners"]


#: Puzzles with at most 120 placements. Where turns can be blocked, the group is that of the turns
#: as if they were always possible.
SMALL = [name for name in catalogue() if load(name).placement_count <= 120]


def theirs(puzzle: Puzzle) -> PermutationGroup:
    """Return sympy's group of the first turn of each layer."""
    rows = [np.flatnonzero(puzzle.turn_layer == k)[0] for k in range(len(puzzle.layers))]
    return PermutationGroup([Permutation(puzzle.moves[row].tolist()) for row in rows])


@pytest.mark.parametrize("name", SMALL)
def test_order_and_orbits_are_those_that_sympy_finds(name: str) -> None:
    """Types are sympy's orbits of slots, where no turns are left out and pieces move at all."""
    puzzle = load(name)
    own = theirs(puzzle)
    assert group(puzzle).order == own.order()
    orbits = {frozenset(puzzle.slot_of[list(orbit)].tolist()) for orbit in own.orbits()}
    if not all(Turn(layer.name, 1) in puzzle.turn_numbers for layer in puzzle.layers):
        return
    for kind in puzzle.types:
        slots = frozenset(kind.slots)
        alone = all(
            frozenset([slot]) in orbits or not any(slot in orbit for orbit in orbits)
            for slot in slots
        )
        assert slots in orbits or alone, kind.name


BALLS = of_shape("ball")


#: Balls whose pieces can do all that parity and sums of twists allow.
FREE = ["ball-sixths", "ball-sixths-114", "ball-sixths-218"]


@pytest.mark.parametrize("name", FREE)
def test_orders_of_large_balls_are_all_that_parity_and_twists_leave(name: str) -> None:
    """Counted anew: n! t^n for each type, of which only so much that signs and sums allow.

    What turns do to the sign of each type's rearrangement and to each type's sum of twists makes a
    small commutative group; how much of all conceivable values it takes up, so much of all
    arrangements is possible at most. The order, proven from below by a chain, reaches it.
    """
    puzzle = load(name)
    free = conceivable = 1
    for kind in puzzle.types:
        # Pieces that only twist in their slots have no rearrangement, but a sum each.
        free *= kind.twists**kind.count * (1 if stays(puzzle, kind) else F(kind.count))
        conceivable *= kind.twists**kind.count if stays(puzzle, kind) else 2 * kind.twists
    taken = closure(values(puzzle))
    assert free % conceivable == 0
    assert group(puzzle).order == free // conceivable * taken


def stays(puzzle: Puzzle, kind: PieceType) -> bool:
    """Return whether no turn carries a piece of a type to another slot."""
    home = puzzle.home[list(kind.slots)]
    return bool(np.all(puzzle.slot_of[puzzle.moves[:, home]] == np.array(kind.slots)))


def values(puzzle: Puzzle) -> Iterable[tuple[tuple[int, int], ...]]:
    """Yield for each turn (value, modulus): of the sign of each type and of its sum of twists."""
    for row in puzzle.moves:
        result: list[tuple[int, int]] = []
        for kind in puzzle.types:
            home = puzzle.home[list(kind.slots)]
            slots = puzzle.slot_of[row[home]] - kind.first_slot
            twists = puzzle.twist_of[row[home]]
            if stays(puzzle, kind):
                result += [(int(x), kind.twists) for x in twists]
            else:
                result.append((int(Permutation(slots.tolist()).parity()), 2))
                result.append((int(twists.sum()) % kind.twists, kind.twists))
        yield tuple(result)


def closure(found: Iterable[tuple[tuple[int, int], ...]]) -> int:
    """Return how many sums there are of some vectors of numbers modulo numbers."""
    rows = sorted(set(found))
    moduli = np.array([m for _, m in rows[0]])
    radix = np.cumprod([1, *moduli[:-1]])
    seen = np.zeros((1, len(moduli)), dtype=np.int64)
    for row in rows:
        step = np.array([value for value, _ in row])
        multiples = np.arange(math.lcm(*moduli.tolist()))[:, None] * step
        sums = (seen[:, None] + multiples).reshape(-1, len(moduli)) % moduli
        seen = sums[np.unique(sums @ radix, return_index=True)[1]]
    return len(seen)


@pytest.mark.parametrize("name", BALLS)
def test_what_turns_do_is_possible_and_swaps_of_two_pieces_where_sympy_says_so(name: str) -> None:
    """Whether a swap of two pieces alone is possible is asked of sympy, where that is quick."""
    puzzle = load(name)
    source = random.Random(7)
    effects = []
    for _ in range(4):
        word = [source.randrange(len(puzzle.turns)) for _ in range(20)]
        assert contains(puzzle, puzzle.effect(word))
        effects.append(puzzle.effect(word))
    if puzzle.placement_count > 60:
        return
    own = theirs(puzzle)
    for kind in puzzle.types:
        if kind.count < 2:
            continue
        swap = np.arange(puzzle.placement_count, dtype=np.int32)
        first, second = (
            slice(start, start + kind.twists)
            for start in (kind.first_placement, kind.first_placement + kind.twists)
        )
        swap[first], swap[second] = swap[second].copy(), swap[first].copy()
        for effect in effects:
            wanted = swap[effect]
            assert contains(puzzle, wanted) == own.contains(Permutation(wanted.tolist()))
