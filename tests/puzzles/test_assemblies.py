"""Which assemblies can be solved, against published counts, sympy, and repairs counted by hand.

Parity, twist and flip of the 3x3x3 and its twelve classes of assemblies: D. Joyner, Adventures in
Group Theory, 2008; D. Singmaster, Notes on Rubik's Magic Cube, 1981.
"""

from __future__ import annotations

import itertools
import math
from functools import lru_cache

import numpy as np
import pytest
from sympy.combinatorics import Permutation, PermutationGroup

from puzzles import load
from puzzles.assemblies import judge
from puzzles.file import catalogue
from puzzles.group import group
from puzzles.layer_group import layer_group
from puzzles.puzzle import Puzzle, Table
from puzzles.scrambles import scrambles
from puzzles.states import State, entries, from_cycles, from_pieces

#: Puzzles whose group sympy finishes in at most some seconds, and the others.
SMALL = [name for name in catalogue() if load(name).placement_count < 75]
LARGE = [name for name in catalogue() if name not in SMALL]


def assembled(puzzle: Puzzle, random: np.random.Generator) -> Table:
    """Return a random assembly: pieces of every type that moves in any slots, with any twists."""
    table = np.arange(puzzle.placement_count, dtype=np.int32)
    for kind in puzzle.types:
        if not kind.moves:
            continue
        order = random.permutation(kind.count)
        twists = random.integers(0, kind.twists, kind.count)
        for k, slot in enumerate(order):
            for x in range(kind.twists):
                start = kind.first_placement + k * kind.twists + x
                end = kind.first_placement + int(slot) * kind.twists
                table[start] = end + (x + int(twists[k])) % kind.twists
    return table


def sums(puzzle: Puzzle, table: Table) -> tuple[int, int, bool]:
    """Return twist of the corners, flip of the edges, and whether the parities differ."""
    corner, edge = puzzle.types[0], puzzle.types[1]
    places = table[puzzle.home]
    twist = int(puzzle.twist_of[places[list(corner.slots)]].sum()) % 3
    flip = int(puzzle.twist_of[places[list(edge.slots)]].sum()) % 2
    odd = [
        Permutation([int(puzzle.slot_of[places[s]]) - kind.first_slot for s in kind.slots]).parity()
        for kind in (corner, edge)
    ]
    return twist, flip, odd[0] != odd[1]


def test_one_assembly_in_twelve_can_be_solved() -> None:
    """Each of the others is named with the laws it breaks and the least pieces to take out.

    With odd parity two pieces are swapped, of the type whose twists do not add up if there is one:
    the swap mends these as well.
    """
    puzzle, random = load("3x3x3"), np.random.default_rng(12)
    trials, solvable = 360, 0
    classes: set[tuple[int, int, bool]] = set()
    for _ in range(trials):
        state = State(puzzle, assembled(puzzle, random))
        twist, flip, odd = sums(puzzle, state.table)
        classes.add((twist, flip, odd))
        verdict = judge(state)
        assert verdict.possible == (not twist and not flip and not odd)
        if verdict.possible:
            solvable += 1
            continue
        kinds = sorted((law.kind, law.types) for law in verdict.broken)
        wanted = [("parity", (0, 1))] * odd + [("twist", (0,))] * (twist > 0)
        assert kinds == sorted(wanted + [("twist", (1,))] * flip)
        repair = verdict.repair
        assert repair is not None
        assert repair.least
        fewest = 2 + (twist > 0 and flip > 0) if odd else (twist > 0) + flip
        assert len(repair.slots) == fewest
        assert judge(state.after(repair.effect)).possible
    assert len(classes) == 12
    # Binomial: a spread of four standard deviations is left by chance once in 16,000 seeds.
    spread = 4 * math.sqrt(trials * (1 / 12) * (11 / 12))
    assert abs(solvable - trials / 12) < spread


@pytest.mark.parametrize("name", SMALL)
def test_sympy_agrees_on_random_states(name: str) -> None:
    """Random assemblies, scrambles, and scrambles with one piece twisted or two swapped."""
    puzzle, random = load(name), np.random.default_rng(3)
    theirs = PermutationGroup([Permutation(row.tolist()) for row in puzzle.moves])
    tables = [assembled(puzzle, random) for _ in range(8)]
    for word in scrambles(puzzle, 4, 9):
        scrambled = puzzle.effect(word)
        tables += [scrambled, *(repair[scrambled] for repair in small_changes(puzzle))]
    for table in tables:
        verdict = judge(State(puzzle, table, True))
        assert verdict.possible == theirs.contains(Permutation(table.tolist()))
        if not verdict.possible:
            repair = verdict.repair
            assert repair is not None
            mended = repair.effect[table]
            assert theirs.contains(Permutation(mended.tolist()))


def abelian(puzzle: Puzzle, orbits: list[list[int]], table: Table) -> Permutation:
    """Return what a rearrangement does to parities and sums of twists, as a permutation.

    Two points for each set of slots, changed by an odd rearrangement, and as many points as there
    are twists, which a twist carries round. That is a homomorphism of the rearrangements that keep
    these sets (of wreath products onto their abelian quotients; Joyner, chapter 9, for the cube).
    """
    places = table[puzzle.home]
    row: list[int] = []
    for orbit in orbits:
        twists = puzzle.types[int(puzzle.type_of[orbit[0]])].twists
        goes = [orbit.index(int(puzzle.slot_of[places[slot]])) for slot in orbit]
        step = int(puzzle.twist_of[places[orbit]].sum()) % twists
        start = len(row)
        row += [start + 1, start] if Permutation(goes).parity() else [start, start + 1]
        row += [start + 2 + (x + step) % twists for x in range(twists)]
    return Permutation(row)


@pytest.mark.parametrize("name", LARGE)
def test_sympy_agrees_on_images_of_large_groups(name: str) -> None:
    """Where sympy's chain takes minutes, an image that lacks a state's shows why it is impossible.

    That is the orbits, the abelian quotient, or what one small type does. What we call possible
    is in all of these; what we call impossible is outside of one.
    """
    puzzle, random = load(name), np.random.default_rng(3)
    turns = [Permutation(row.tolist()) for row in puzzle.moves]
    theirs = PermutationGroup(turns)
    slots = [
        Permutation([int(puzzle.slot_of[row[k]]) for k in puzzle.home]) for row in puzzle.moves
    ]
    orbits = [sorted(own) for own in PermutationGroup(slots).orbits()]
    quotient = PermutationGroup([abelian(puzzle, orbits, row) for row in puzzle.moves])
    tables = [assembled(puzzle, random) for _ in range(3)]
    for word in scrambles(puzzle, 1, 9):
        scrambled = puzzle.effect(word)
        assert judge(State(puzzle, scrambled, True)).possible
        tables += [change[scrambled] for change in small_changes(puzzle)]
    few = [
        number
        for number, kind in enumerate(puzzle.types)
        if kind.moves and kind.count * kind.twists <= 30
    ]
    reach = {p: k for k, orbit in enumerate(theirs.orbits()) for p in orbit}
    for table in tables:
        inside = all(reach.get(p, -1 - p) == reach.get(q, -1 - q) for p, q in enumerate(table))
        within = inside and quotient.contains(abelian(puzzle, orbits, table))
        if within:
            within = all(
                one_type(puzzle, number).contains(part(puzzle, number, table)) for number in few
            )
        assert judge(State(puzzle, table, True)).possible == within


@lru_cache
def one_type(puzzle: Puzzle, number: int) -> PermutationGroup:
    """Return what the turns do to one type."""
    return PermutationGroup([part(puzzle, number, row) for row in puzzle.moves])


def part(puzzle: Puzzle, number: int, table: Table) -> Permutation:
    """Return what a rearrangement does to one type."""
    kind = puzzle.types[number]
    first = kind.first_placement
    own = table[first : first + kind.count * kind.twists] - first
    return Permutation(own.tolist())


def small_changes(puzzle: Puzzle) -> list[Table]:
    """Return for each type that moves a twist of its first piece and a swap of its first two."""
    result = []
    for kind in puzzle.types:
        if not kind.moves:
            continue
        if kind.twists > 1:
            result.append(moved(puzzle, [(kind.first_slot, kind.first_slot, 1)]))
        if kind.count > 1:
            a, b = kind.first_slot, kind.first_slot + 1
            result.append(moved(puzzle, [(a, b, 0), (b, a, 0)]))
    return result


def moved(puzzle: Puzzle, rows: list[tuple[int, int, int]]) -> Table:
    table = np.arange(puzzle.placement_count, dtype=np.int32)
    for here, there, twist in rows:
        twists = puzzle.types[int(puzzle.type_of[here])].twists
        for x in range(twists):
            table[int(puzzle.home[here]) + x] = int(puzzle.home[there]) + (x + twist) % twists
    return table


@pytest.mark.parametrize("name", ["cube-corners", "ball-two-axes", "3x3x3-slices"])
def test_no_smaller_repair_exists(name: str) -> None:
    """All ways to move one and two pieces are tried where a repair of more is called smallest."""
    puzzle, random = load(name), np.random.default_rng(4)
    small = [moved(puzzle, rows) for rows in one_and_two(puzzle)]
    seen = 0
    for _ in range(6):
        state = State(puzzle, assembled(puzzle, random), True)
        verdict = judge(state)
        repair = verdict.repair
        if verdict.possible or repair is None or not repair.least:
            continue
        seen += 1
        fits = [
            effect
            for effect in small
            if int((effect[puzzle.home] != puzzle.home).sum()) < len(repair.slots)
        ]
        after = np.array([effect[state.table] for effect in fits]).reshape(len(fits), -1)
        assert not fits or not any(layer_group(puzzle).contains(after))
    assert seen


def one_and_two(puzzle: Puzzle) -> list[list[tuple[int, int, int]]]:
    """Return all twists of one piece, twists of two, and swaps of two with any twists."""
    types = [puzzle.types[k] for k in puzzle.type_of.tolist()]
    ones = [(s, s, x) for s in range(puzzle.slot_count) for x in range(1, types[s].twists)]
    rows = [[one] for one in ones]
    rows += [[a, b] for a, b in itertools.combinations(ones, 2) if a[0] != b[0]]
    for a, b in itertools.combinations(range(puzzle.slot_count), 2):
        if types[a] is types[b]:
            twists = range(types[a].twists)
            rows += [[(a, b, x), (b, a, y)] for x in twists for y in twists]
    return rows


@pytest.mark.parametrize("name", catalogue())
def test_scrambles_are_possible_and_repairs_mend(name: str) -> None:
    puzzle, random = load(name), np.random.default_rng(1)
    assert group(puzzle).proven
    for word in scrambles(puzzle, 2, 2):
        assert judge(State(puzzle, puzzle.effect(word))).possible
    for apart in (False, True):
        state = State(puzzle, assembled(puzzle, random), apart)
        verdict = judge(state)
        if not verdict.possible:
            assert verdict.repair is not None
            assert verdict.reason
            assert judge(state.after(verdict.repair.effect)).possible


def test_what_is_said() -> None:
    puzzle = load("3x3x3")
    twisted = judge(from_cycles(puzzle, "(UFR RUF FRU)"))
    assert twisted.reason.startswith(
        "one corner alone can't be twisted: a piece was turned in its place"
    )
    assert twisted.repair is not None
    assert twisted.repair.steps == (
        "turn the corner at UFR in its slot so that what is at UFR comes to FUR",
    )
    flipped = judge(from_cycles(puzzle, "(UF FU)"))
    assert "one edge alone can't be flipped" in flipped.reason
    assert flipped.repair is not None
    assert flipped.repair.text == "flip the edge at UF in its slot"
    swapped = judge(from_cycles(puzzle, "(UFR UBL)"))
    assert "two corners alone can't be swapped" in swapped.reason
    centres = judge(from_pieces(puzzle, entries("U=D D=U")).whole(puzzle))
    assert "U sits at D, but centres never leave their slots" in centres.reason


def test_like_pieces_may_be_swapped() -> None:
    """On the 4x4x4 two corners can be swapped, for two like centres may change places unseen."""
    puzzle = load("4x4x4")
    assert judge(from_cycles(puzzle, "(UFR UBL)")).possible
    assert not judge(from_cycles(puzzle, "(UFR UBL)", apart=True)).possible
