"""Anatomy against sympy's groups, published figures, plain counts, and what geometry tells."""

from __future__ import annotations

import dataclasses
import itertools
import math
import random
from pathlib import Path

import numpy as np
import pytest
from sympy.combinatorics import Permutation, PermutationGroup

from puzzles import Puzzle, kinship, known, least_effects, load
from puzzles.anatomy import anatomy
from puzzles.compile import compiled
from puzzles.file import catalogue, parse
from puzzles.kinship import LayersLike, types_like
from puzzles.layer_group import layer_group
from puzzles.layer_kinds import layer_kinds
from puzzles.least_effects import CYCLE, SWAP, SWAPS, TWIST, TWISTS, candidates, kind_of, moved
from puzzles.names import slot_names
from puzzles.reaching import reached

NAMES = catalogue()
#: Puzzles whose groups sympy finishes in about a second.
SMALL = [name for name in NAMES if load(name).placement_count < 60]


def sympy_group(puzzle: Puzzle) -> PermutationGroup:
    return PermutationGroup([Permutation(row.tolist()) for row in puzzle.moves])


def slot(puzzle: Puzzle, name: str) -> int:
    return slot_names(puzzle).index(name)


def number(puzzle: Puzzle, name: str) -> int:
    kind = puzzle.type_named(name)
    assert kind is not None
    return kind.number


@pytest.mark.parametrize("name", SMALL)
def test_least_effects_are_in_sympys_group_and_refused_ones_are_not(name: str) -> None:
    puzzle = load(name)
    theirs = sympy_group(puzzle)
    source = random.Random(1)
    held = {slot for group in puzzle.bonds for slot in group}
    for least in anatomy(puzzle).least:
        for effect in least.found:
            assert theirs.contains(Permutation(effect.table.tolist()))
            assert kind_of(puzzle, effect.table) == (least.type, effect.kind)
        kind = puzzle.types[least.type]
        refused = [kind_name for kind_name, _ in least.refused]
        for _ in range(12 if refused else 0):
            # Any slots and twists, not only those of the first slot that stands for all.
            effect = _any(puzzle, source.choice(refused), list(kind.slots), kind.twists, source)
            if effect is not None and not held & set(
                np.flatnonzero(effect != np.arange(len(effect)))
            ):
                assert not theirs.contains(Permutation(effect.tolist()))


def _any(
    puzzle: Puzzle, kind: str, slots: list[int], twists: int, source: random.Random
) -> np.ndarray | None:
    still = np.arange(puzzle.placement_count, dtype=np.int32)
    x, y = source.randrange(twists), source.randrange(twists)
    if len(slots) < {TWIST: 1, TWISTS: 2, SWAP: 2, CYCLE: 3}.get(kind, 99):
        return None
    a, b, c = (source.sample(slots, min(3, len(slots))) * 3)[:3]
    moves = {
        TWIST: [(a, a, x or 1)],
        TWISTS: [(a, a, x or 1), (b, b, y or 1)],
        SWAP: [(a, b, x), (b, a, y)],
        CYCLE: [(a, b, x), (b, c, y), (c, a, -x - y)],
    }[kind]
    return moved(puzzle, still, moves)


def test_least_effects_of_the_3x3x3_are_those_of_the_textbook() -> None:
    """Joyner, Adventures in Group Theory, 2008: no swap, no single twist or flip; all else goes."""
    own = anatomy(load("3x3x3"))
    assert [[effect.kind for effect in least.found] for least in own.least] == [[TWISTS, CYCLE]] * 2
    assert all({kind for kind, _ in least.refused} == {SWAP, TWIST} for least in own.least)
    assert all(law is not None for least in own.least for _, law in least.refused)


def test_like_centres_let_two_corners_of_the_4x4x4_change_places() -> None:
    """Common practice: the last two corners of a 4x4x4 can be swapped, those of a 3x3x3 cannot."""
    corners = anatomy(load("4x4x4")).least[0]
    assert [effect.kind for effect in corners.looking] == [SWAP]
    assert SWAP not in [effect.kind for effect in corners.found]
    assert not anatomy(load("3x3x3")).least[0].looking
    edges = anatomy(load("4x4x4")).least[1]
    assert [effect.kind for effect in edges.found] == [SWAP, CYCLE]


def test_one_loose_end_of_the_tetrahedron_can_be_twisted_alone() -> None:
    """Common practice: tips turn alone, and so, in effect, do the corners under them."""
    own = anatomy(load("tetrahedron-corners"))
    assert [effect.kind for effect in own.least[0].found] == [TWIST]
    assert [effect.kind for effect in own.least[1].found] == [TWIST]


def blocks(count: int) -> Puzzle:
    """Return threes of places of far numbers; A cycles the first, B and C carry threes along."""
    last = 3 * count
    threes = [(k, last - 2 * k + 1, last - 2 * k + 2) for k in range(1, count + 1)]

    def along(first: int) -> str:
        runs = [threes[k : k + 5] for k in range(first, count, 5)]
        return " ".join(
            "(" + " ".join(map(str, places)) + ")"
            for run in runs
            for places in zip(*run, strict=True)
            if len(places) > 1
        )

    turns = {"A": f"({' '.join(map(str, threes[0]))})", "B": along(0), "C": along(2)}
    head = f'description = "x"\nshape = "written"\nplaces = {last}\n'
    text = head + "".join(f'[[turns]]\nname = "{k}"\ncycles = "{v}"\n' for k, v in turns.items())
    return compiled("blocks", parse(text, "blocks"))


def test_a_three_cycle_of_far_numbers_is_found() -> None:
    """A turn that is a three-cycle itself, beside 7,832 others of one place that are none."""
    (own,) = least_effects.least_effects(blocks(30))
    assert [effect.kind for effect in own.found] == [CYCLE]
    assert [kind for kind, _ in own.refused] == [SWAP]


def test_what_was_not_looked_at_to_the_end_is_not_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(least_effects, "MOST", 20)
    (own,) = least_effects.least_effects(blocks(30))
    assert not own.found
    assert not {CYCLE, SWAPS} & {kind for kind, _ in own.refused}


def test_candidates_are_of_their_kind_and_different() -> None:
    puzzle = load("octahedron-faces")
    own = layer_group(puzzle)
    for part, kind in itertools.product(own.parts, (TWIST, SWAP, TWISTS, CYCLE)):
        rows = list(itertools.islice(candidates(puzzle, [part], kind), 500))
        assert len({row.tobytes() for row in rows}) == len(rows)
        assert all(kind_of(puzzle, row) == (part.type, kind) for row in rows)


@pytest.mark.parametrize("name", NAMES)
def test_the_order_is_that_of_its_parts_divided_by_the_laws(name: str) -> None:
    own = anatomy(load(name))
    assert own.group.proven
    free = math.prod(part.count for part in own.arranged)
    assert free == own.group.order * math.prod(law.factor for law in own.group.laws)


@pytest.mark.parametrize("name", NAMES)
def test_types_that_are_said_to_be_alike_are_moved_alike(name: str) -> None:
    """Slot by slot, each step of a layer does to the one what the named layer does to the other."""
    puzzle = load(name)
    for like in anatomy(puzzle).alike:
        one, other = (puzzle.types[k] for k in like.types)
        goes = dict(zip(one.slots, like.slots, strict=True))
        assert sorted(like.slots) == list(other.slots)
        for layer, renamed, unit in like.layers:
            first = puzzle.turn(layer, 1)
            second = puzzle.turn(renamed, unit)
            assert first is not None
            assert second is not None
            for here, there in goes.items():
                end = int(puzzle.slot_of[puzzle.moves[first, puzzle.home[here]]])
                goal = int(puzzle.slot_of[puzzle.moves[second, puzzle.home[there]]])
                assert goes[end] == goal


def test_the_4x4x4s_centres_are_its_edges_with_outer_and_inner_exchanged() -> None:
    """An edge at (3, 3, 1) and a centre at (1, 1, 3): exchange 3 and 1, and U becomes 2U."""
    puzzle = load("4x4x4")
    [like] = anatomy(puzzle).alike
    assert {puzzle.types[k].name for k in like.types} == {"edge", "centre"}
    renamed = {
        puzzle.layers[one].name: (puzzle.layers[other].name, unit)
        for one, other, unit in like.layers
    }
    assert all(renamed[face] == (f"2{face}", 1) for face in "UDFBLR")
    assert all(renamed[f"2{face}"] == (face, 1) for face in "UDFBLR")
    assert not like.same_turns


IN_STEP = """
description = "Two rows of five, each the other's shadow, and a ring that goes with the first turn."
shape = "written"
places = 13

[[turns]]
name = "A"
cycles = "(1 2 3) (6 7 8) (11 12 13)"

[[turns]]
name = "B"
cycles = "(3 4 5) (8 9 10)"
"""


def test_pieces_that_go_in_step_are_found(tmp_path: Path) -> None:
    path = tmp_path / "shadow.toml"
    path.write_text(IN_STEP, encoding="utf-8")
    own = anatomy(load(str(path)))
    [like] = own.alike
    assert like.same_turns
    assert own.likeness_classes == (like.types,)
    slots = [own.puzzle.types[k].slots for k in like.types]
    assert like.slots == tuple(slots[1])
    # Nothing of either can move while the other stays.
    both = [least for least in own.least if least.type in like.types]
    assert [(least.found, least.alone) for least in both] == [((), 1)] * 2
    # The group: even arrangements of five, and with A the ring of three, which they do not need.
    assert own.group.order == 60 * 3 == sympy_group(own.puzzle).order()


def layers_like(name: str, kinds: tuple[str, ...], other: str) -> LayersLike:
    own = anatomy(load(name))
    [found] = [
        like
        for like in own.layers_like
        if like.puzzle == other and tuple(own.kinds[k].words for k in like.kinds) == kinds
    ]
    return found


def made_of(name: str, like: LayersLike) -> dict[str, dict[str, int]]:
    types = load(name).types
    return {
        known_type: {types[k].name: count for k, count in pieces}
        for known_type, pieces in like.made_of
    }


def test_big_cubes_are_a_3x3x3_by_their_faces_alone() -> None:
    """Common practice: with edges paired and centres made, a big cube is a 3x3x3."""
    four = layers_like("4x4x4", ("faces",), "3x3x3")
    assert made_of("4x4x4", four) == {"corner": {"corner": 1}, "edge": {"edge": 2}}
    five = layers_like("5x5x5", ("faces",), "3x3x3")
    assert made_of("5x5x5", five)["edge"] == {"edge1": 2, "edge2": 1}
    assert not four.more
    assert not five.more
    assert layers_like("3x3x3-slices", ("faces",), "3x3x3").riding == ()


def test_a_ball_whose_corners_stay_is_a_3x3x3() -> None:
    """Its 170 pieces are 8 corners, 12 edges and 6 centres of a 3x3x3 cut into smaller pieces.

    Six pieces ring each corner's tip, and what the corner's circles cut is shared out evenly.
    """
    like = layers_like("ball-sixths", ("faces",), "3x3x3")
    made = made_of("ball-sixths", like)
    assert made["corner"]["tip"] == 1
    assert made["edge"]["edge"] == 1
    types = load("ball-sixths").types
    every = {kind.name: kind.count for kind in types}
    for name, count in every.items():
        inside = 8 * made["corner"].get(name, 0) + 12 * made["edge"].get(name, 0)
        riding = name in [types[k].name for k in like.riding]
        assert inside == count or riding


def test_with_a_corner_held_the_3x3x3s_corners_are_a_2x2x2() -> None:
    """Common practice: whoever can put a 2x2x2 right can do the corners of a 3x3x3."""
    [held] = [like for like in anatomy(load("3x3x3")).layers_like if like.held is not None]
    assert held.puzzle == "2x2x2"
    assert made_of("3x3x3", held) == {"corner": {"corner": 1}}
    assert [load("3x3x3").types[k].name for k in held.more] == ["edge"]


def test_types_carry_over_from_the_catalogue() -> None:
    own = anatomy(load("cube-faces-corners"))
    edge2 = number(own.puzzle, "edge2")
    assert ("3x3x3", "edge") in [
        (like.puzzle, like.known_type) for like in own.types_like if like.type == edge2
    ]
    three = anatomy(load("3x3x3"))
    assert all(like.puzzle != "3x3x3" for like in three.types_like)
    assert not any(like.puzzle == "2x2x2" for like in three.types_like)


def test_the_catalogues_actions_are_kept_as_they_are() -> None:
    """After a change, ``python -m puzzles.known`` writes them anew."""
    path = known.resources.files("puzzles") / "catalogue" / known.FILE
    assert path.read_text(encoding="utf-8") == known.text(load(name) for name in NAMES)


def test_unseen_twists_do_not_count_in_what_looks_different() -> None:
    """The published order of the 3x3x3 (OEIS A075152), whose centres show no twist."""
    report = anatomy(load("3x3x3-stops")).group
    assert report.order_alike == 43_252_003_274_489_856_000
    # A centre is turned by quarters, and all of them together with the edges' parity.
    assert report.order == report.order_alike * 4**6 // 2


def test_unseen_twists_of_roaming_pieces_do_not_count_either() -> None:
    """Without any twist to see, a 3x3x3 has 8! 12! / 2 positions that look different."""
    puzzle = load("3x3x3")
    blank = dataclasses.replace(
        puzzle, types=tuple(dataclasses.replace(kind, seen=1) for kind in puzzle.types)
    )
    own = layer_group(blank)
    assert own.order_alike == math.factorial(8) * math.factorial(12) // 2
    # A flip that does not show may stand beside anything.
    flip = next(candidates(blank, [part for part in own.parts if len(part.slots) == 12], TWIST))
    assert own.contains_alike(flip)
    assert not own.contains(flip)[0]


def bonded(*groups: tuple[str, ...]) -> Puzzle:
    puzzle = load("2x2x2")
    return dataclasses.replace(
        puzzle, bonds=tuple(tuple(slot(puzzle, name) for name in group) for group in groups)
    )


def counted(puzzle: Puzzle) -> int:
    """Count states turn by turn with nothing but ``first_blocked``."""
    start = np.arange(puzzle.placement_count, dtype=np.int32)
    seen, row = {start.tobytes()}, [start]
    for state in row:
        for turn in range(len(puzzle.turns)):
            after = puzzle.moves[turn][state]
            if puzzle.first_blocked([turn], state) is None and after.tobytes() not in seen:
                seen.add(after.tobytes())
                row.append(after)
    return len(seen)


@pytest.mark.parametrize(
    ("groups", "states"),
    [
        ((("UFL", "UBL"), ("DFR", "DBR")), 84),
        ((("UFL", "UBL"), ("DFR", "UFR")), 84),
        ((("UBL", "UBR"), ("DFL", "DFR"), ("DBR", "UFR")), 1),
    ],
)
def test_states_where_turns_are_blocked_are_counted_one_by_one(
    groups: tuple[tuple[str, ...], ...], states: int
) -> None:
    puzzle = bonded(*groups)
    found = reached(puzzle)
    assert found.complete
    assert found.states == counted(puzzle) == states


def test_two_fastened_pieces_leave_as_many_states_as_two_faces_make() -> None:
    """Two faces of a 2x2x2 make 29,160 positions (from memory): those of the six that move."""
    found = reached(bonded(("UFL", "DFL")))
    assert (found.states, found.complete) == (29_160, True)
    free = load("2x2x2")
    faces = [free.layer_numbers[name] for name in "UR"]
    assert layer_group(free, faces).order == found.states


def test_states_are_counted_up_to_a_limit() -> None:
    """Without a blocked turn the count is the order of the group; OEIS A079761 up to 4 turns."""
    free = dataclasses.replace(load("2x2x2"), bonds=(("x",),))  # type: ignore[arg-type]
    free = dataclasses.replace(free, bonds=())
    assert reached(free, 1_000) == dataclasses.replace(
        reached(free, 1_000), states=1_000, complete=False
    )
    halves = [k for k, turn in enumerate(free.turns) if turn.amount == 2]
    only = dataclasses.replace(
        free,
        turns=tuple(free.turns[k] for k in halves),
        moves=free.moves[halves],
        turn_layer=free.turn_layer[halves],
    )
    found = reached(only)
    theirs = sympy_group(only)
    assert found.complete
    assert found.states == theirs.order()


@pytest.mark.parametrize("name", [n for n in NAMES if load(n).can_block])
def test_blocked_puzzles_are_said_to_reach_less(name: str) -> None:
    own = anatomy(load(name))
    assert own.reached is not None
    assert own.reached.states <= own.group.order
    assert any(own.reached.stuck)


@pytest.mark.parametrize("name", NAMES)
def test_layers_that_move_a_piece_are_counted_from_single_turns(name: str) -> None:
    puzzle, own = load(name), anatomy(load(name))
    for kind in puzzle.types:
        counts = set()
        for piece in kind.slots:
            home = puzzle.home[piece]
            moving = {
                int(puzzle.turn_layer[t])
                for t in range(len(puzzle.turns))
                if puzzle.moves[t, home] != home
            }
            counts.add(len(moving))
        assert own.layers_of(kind) == tuple(sorted(counts))


def test_a_puzzle_that_equals_one_of_the_catalogue_is_told_so(tmp_path: Path) -> None:
    """Six face caps on a ball are a 3x3x3 (common practice)."""
    text = (
        'description = "Caps."\nshape = "ball"\nbody = "cube"\nup = "U"\nfront = "F"\n'
        '[[layers]]\naxes = "faces"\nsteps = 4\nwithin = "60deg"\n'
    )
    own = compiled("caps", parse(text, "caps"))
    assert {like.puzzle for like in kinship.layers_like(own, layer_kinds(own))} >= {
        "3x3x3",
        "ball-uneven",
    }
    corners = [like.puzzle for like in types_like(own) if own.types[like.type].name == "corner"]
    assert corners[0] == "3x3x3"
    bare = compiled("bare", parse(text.replace("[[", "paint = false\n[[", 1), "bare"))
    assert ("3x3x3", False) in {(like.puzzle, like.with_twist) for like in types_like(bare)}
