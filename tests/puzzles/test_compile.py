"""Compiled tables against sampled points, counts known in the trade, and point groups."""

from __future__ import annotations

import random

import networkx as nx
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from puzzles import Puzzle, load
from puzzles.compile import compiled
from puzzles.errors import PuzzleFileError
from puzzles.file import catalogue, parse
from puzzles.turns import Turn
from tests.plain import assert_three_cycle, named, of_shape, plain

NAMES = catalogue()
#: What planes cut; balls are held against points of their own in test_ball_compile.
SOLIDS = of_shape("solid")

#: Pieces and stickers as every collector counts them (common practice).
COUNTS = {
    "2x2x2": (8, 24),
    "3x3x3": (26, 54),
    "3x3x3-slices": (26, 54),
    "4x4x4": (56, 96),
    "5x5x5": (98, 150),
    "cube-corners": (14, 30),
    "cube-edges": (32, 48),
    "cube-faces-corners": (50, 102),
    "dodecahedron-faces": (62, 132),
    "octahedron-faces": (42, 72),
    "tetrahedron-corners": (14, 36),
}

#: Orders of the point groups (a fact of geometry): all of the body's symmetries that carry the
#: layers along; C3v of order 6 where one corner is held, Td of order 24 where four corners turn,
#: D4h of order 16 where top and bottom are special, C2v of order 4 where two neighbours are.
SYMMETRIES = {
    "2x2x2": 6,
    "3x3x3": 48,
    "3x3x3-bandaged": 1,
    "3x3x3-halves": 16,
    "3x3x3-slices": 48,
    "3x3x3-stops": 8,
    "4x4x4": 48,
    "5x5x5": 48,
    "ball-corners": 48,
    "ball-sixths": 48,
    "ball-sixths-114": 48,
    "ball-sixths-218": 48,
    "ball-sixths-whole": 48,
    "ball-two-axes": 4,
    "ball-uneven": 1,
    "cube-corners": 24,
    "cube-edges": 48,
    "cube-faces-corners": 48,
    "dodecahedron-faces": 120,
    "hexagonal-prism": 24,
    "octahedron-faces": 48,
    "tetrahedron-corners": 24,
}


def by_tables(puzzle: Puzzle, word: list[int]) -> list[int]:
    """Where each sticker is after a word, as the compiled tables have it."""
    effect = puzzle.effect(word)
    at = {(s.kind, s.slot, s.placement): k for k, s in enumerate(puzzle.stickers)}
    result = []
    for sticker in puzzle.stickers:
        place = int(effect[puzzle.home[sticker.slot]])
        if sticker.placement >= 0:
            shown = int(effect[sticker.placement])
            result.append(at[sticker.kind, int(puzzle.slot_of[shown]), shown])
        else:
            result.append(at[sticker.kind, int(puzzle.slot_of[place]), -1])
    return result


@pytest.fixture(params=NAMES)
def puzzle(request: pytest.FixtureRequest) -> Puzzle:
    return load(request.param)


@pytest.fixture(params=SOLIDS)
def solid(request: pytest.FixtureRequest) -> Puzzle:
    return load(request.param)


def test_single_turns_agree_with_sampled_points(solid: Puzzle) -> None:
    puzzle = solid
    for turn in range(len(puzzle.turns)):
        effect = plain(puzzle).sticker_effect(named(puzzle, [turn]))
        assert effect.tolist() == by_tables(puzzle, [turn]), puzzle.turns[turn]


@given(st.data())
@pytest.mark.parametrize("name", SOLIDS)
def test_words_agree_with_sampled_points(name: str, data: st.DataObject) -> None:
    puzzle = load(name)
    word = data.draw(st.lists(st.integers(0, len(puzzle.turns) - 1), max_size=15))
    effect = plain(puzzle).sticker_effect(named(puzzle, word))
    assert effect.tolist() == by_tables(puzzle, word)


def test_layers_hold_the_pieces_between_their_depths(solid: Puzzle) -> None:
    puzzle, shown = solid, plain(solid)
    slots = np.array([sticker.slot for sticker in puzzle.stickers])
    slot = slots[shown.stickers[shown.patch]]
    for number, layer in enumerate(puzzle.layers):
        depth = shown.home @ np.array(layer.axis)
        held = (depth > layer.low) & (depth < layer.high)
        assert np.array_equal(held, puzzle.in_layer[number, slot]), layer.name


def test_patches_of_a_piece_are_the_stickers_of_a_slot(solid: Puzzle) -> None:
    puzzle, shown = solid, plain(solid)
    slots = np.array([sticker.slot for sticker in puzzle.stickers])
    pairs = set(zip(slots[shown.stickers[shown.patch]].tolist(), shown.piece.tolist(), strict=True))
    assert len(pairs) == puzzle.slot_count == shown.piece_count


@pytest.mark.parametrize("name", COUNTS)
def test_pieces_and_stickers_are_as_collectors_count_them(name: str) -> None:
    puzzle = load(name)
    assert (puzzle.slot_count, len(puzzle.stickers)) == COUNTS[name]
    assert sum(t.count for t in puzzle.types) == puzzle.slot_count


def test_types_of_well_known_puzzles_are_as_collectors_count_them() -> None:
    """Common practice: 8 corners and 12 edges on a 3x3x3, 20 and 30 on a dodecahedron, and so on.

    A wing of a 4x4x4 cannot be flipped in its place; a corner of the octahedron has two twists.
    """
    expected = {
        "3x3x3": {"corner": (8, 3), "edge": (12, 2), "centre": (6, 1)},
        "4x4x4": {"corner": (8, 3), "edge": (24, 1), "centre": (24, 1)},
        "dodecahedron-faces": {"corner": (20, 3), "edge": (30, 2), "centre": (12, 1)},
        "tetrahedron-corners": {"tip": (4, 3), "corner": (4, 3), "edge": (6, 2)},
        "octahedron-faces": {
            "corner": (6, 2),
            "edge": (12, 1),
            "centre1": (12, 1),
            "centre2": (12, 1),
        },
    }
    for name, types in expected.items():
        assert {t.name: (t.count, t.twists) for t in load(name).types} == types


def test_all_steps_of_a_layer_make_a_full_turn(puzzle: Puzzle) -> None:
    everywhere = np.arange(puzzle.placement_count)
    for number, turn in enumerate(puzzle.turns):
        steps = puzzle.layer(turn.layer).steps
        assert np.array_equal(puzzle.effect([number] * steps), everywhere)
        first = puzzle.turn_numbers.get(Turn(turn.layer, 1))
        if first is not None:
            assert np.array_equal(puzzle.effect([first] * turn.amount), puzzle.moves[number])
        assert np.array_equal(puzzle.effect([number, int(puzzle.inverses[number])]), everywhere)


def test_turns_are_permutations_that_respect_twists(puzzle: Puzzle) -> None:
    """A piece with its twist added goes where the piece goes, with that twist added."""
    for row in puzzle.moves:
        assert sorted(row.tolist()) == list(range(puzzle.placement_count))
        for kind in puzzle.types:
            images = row[list(kind.placements)].reshape(kind.count, kind.twists)
            images = images - kind.first_placement
            assert images.min() >= 0
            assert images.max() < kind.count * kind.twists
            for twist in range(kind.twists):
                assert np.array_equal(images[:, twist] // kind.twists, images[:, 0] // kind.twists)
                assert np.all((images[:, twist] - images[:, 0] - twist) % kind.twists == 0)


def test_a_solved_piece_shows_twist_zero_by_its_sticker_on_the_first_face(puzzle: Puzzle) -> None:
    """Some class of a type has, in every slot, its sticker of twist 0 on the lowest face.

    Where all twists show, and all slots are painted alike.
    """
    for kind in puzzle.types:
        if not kind.stickered or kind.twists != kind.seen:
            continue
        own = [s for s in puzzle.stickers if s.slot in kind.slots and s.placement >= 0]
        firsts = set()
        for number in {s.kind for s in own}:
            of_class = [s for s in own if s.kind == number]
            lowest = {slot: min(s.face for s in of_class if s.slot == slot) for slot in kind.slots}
            zero = {s.slot: s.face for s in of_class if s.placement == puzzle.home[s.slot]}
            firsts.add(lowest == zero)
        assert True in firsts, kind.name


def test_types_are_the_orbits_of_slots(puzzle: Puzzle) -> None:
    """networkx finds the same connected components, where pieces move at all.

    Where turns are left out (half turns only), a type is what all turns would make of them.
    """
    graph = nx.Graph()
    graph.add_nodes_from(range(puzzle.slot_count))
    for row in puzzle.moves:
        graph.add_edges_from(
            zip(
                puzzle.slot_of[puzzle.home].tolist(),
                puzzle.slot_of[row[puzzle.home]].tolist(),
                strict=True,
            )
        )
    orbits = {frozenset(part) for part in nx.connected_components(graph)}
    for kind in puzzle.types:
        slots = frozenset(kind.slots)
        whole = all(Turn(layer.name, 1) in puzzle.turn_numbers for layer in puzzle.layers)
        assert slots in orbits or all(frozenset([k]) in orbits for k in slots) or not whole
        assert all(orbit <= slots or not orbit & slots for orbit in orbits)
        away = puzzle.moves[:, list(kind.placements)] != np.array(kind.placements)
        assert kind.moves == bool(away.any())


@pytest.mark.parametrize("name", [*SOLIDS, *of_shape("ball")])
def test_number_of_symmetries_is_the_order_of_the_point_group(name: str) -> None:
    puzzle, expected = load(name), SYMMETRIES[name]
    assert len(puzzle.symmetries) == expected
    # In a mirror, stopping at 90 degrees becomes stopping at 270; rotations are the dihedral group.
    reflections = 0 if name in ("3x3x3-bandaged", "3x3x3-stops") else expected // 2
    assert sum(symmetry.reflects for symmetry in puzzle.symmetries) == reflections
    assert np.allclose(puzzle.symmetries[0].matrix, np.eye(3))


def test_symmetries_carry_turns_to_turns(puzzle: Puzzle) -> None:
    """Doing t and then the symmetry is doing the symmetry and then the image of t."""
    seen = set()
    for symmetry in puzzle.symmetries:
        image = symmetry.placements
        for turn, row in enumerate(puzzle.moves):
            assert np.array_equal(image[row], puzzle.moves[symmetry.turns[turn]][image])
        assert np.array_equal(symmetry.layers[puzzle.turn_layer], puzzle.turn_layer[symmetry.turns])
        seen.add((image.tobytes(), symmetry.turns.tobytes(), symmetry.reflects))
    assert len(seen) == len(puzzle.symmetries)


def test_symmetries_carry_stickers_as_the_matrix_carries_points(solid: Puzzle) -> None:
    puzzle, shown = solid, plain(solid)
    number = shown.stickers[shown.patch]
    for symmetry in puzzle.symmetries:
        assert np.allclose(symmetry.matrix @ symmetry.matrix.T, np.eye(3))
        assert (np.linalg.det(symmetry.matrix) < 0) == symmetry.reflects
        carried = shown.stickers[shown.patches(shown.home @ symmetry.matrix.T)]
        assert np.array_equal(carried, symmetry.stickers[number])


def test_commuting_is_what_the_tables_say(puzzle: Puzzle) -> None:
    assert np.array_equal(puzzle.commutes, puzzle.commutes.T)
    assert puzzle.commutes.diagonal().all()
    for first, one in enumerate(puzzle.moves):
        for second, other in enumerate(puzzle.moves):
            layers = puzzle.turn_layer[first], puzzle.turn_layer[second]
            if puzzle.commutes[layers]:
                assert np.array_equal(one[other], other[one])


def test_faces_that_do_not_touch_commute_on_the_dodecahedron() -> None:
    """Common practice: a face commutes with itself and the six faces it shares no edge with."""
    puzzle = load("dodecahedron-faces")
    for number, row in enumerate(puzzle.commutes):
        own = set(puzzle.body.faces[number].corners)
        apart = [not own & set(face.corners) for face in puzzle.body.faces]
        apart[number] = True
        assert row.tolist() == apart


def test_alike_pieces_show_the_same_colours(puzzle: Puzzle) -> None:
    """Two pieces of a type are alike exactly if, with some twist, all their colours agree."""
    looks: list[dict[tuple[int, int], int]] = [{} for _ in range(puzzle.slot_count)]
    for sticker in puzzle.stickers:
        own = sticker.placement - int(puzzle.home[sticker.slot]) if sticker.placement >= 0 else -1
        looks[sticker.slot][sticker.kind, own] = sticker.face
    for kind in puzzle.types:
        if not kind.stickered:
            continue
        for slot in kind.slots:
            for other in kind.slots:
                shifts = [
                    x
                    for x in range(kind.twists)
                    if look(looks[other], x, kind.twists) == looks[slot]
                ]
                alike = puzzle.alike[slot] == puzzle.alike[other]
                assert bool(shifts) == bool(alike)
            first = int(puzzle.alike[slot])
            shift = int(puzzle.alike_twist[slot])
            assert look(looks[first], shift, kind.twists) == looks[slot]


def look(own: dict[tuple[int, int], int], shift: int, twists: int) -> dict[tuple[int, int], int]:
    return {(k, (y + shift) % twists if y >= 0 else -1): face for (k, y), face in own.items()}


def test_like_centres_of_the_4x4x4_come_in_fours() -> None:
    puzzle = load("4x4x4")
    centres = puzzle.type_named("centre")
    edges = puzzle.type_named("edge")
    assert centres is not None
    assert edges is not None
    assert len(set(puzzle.alike[list(centres.slots)].tolist())) == 6
    assert len(set(puzzle.alike[list(edges.slots)].tolist())) == 24


def test_a_well_known_commutator_is_a_three_cycle() -> None:
    """Common practice: `[R U R' U', L']` on the 3x3x3 is UFL to RBU to BLU."""
    puzzle = load("3x3x3")
    word = [("R", 1), ("U", 1), ("R", 3), ("U", 3), ("L", 3)]
    word += [("U", 1), ("R", 1), ("U", 3), ("R", 3), ("L", 1)]
    stickers = {}
    for sticker in puzzle.stickers:
        own = puzzle.body.faces[sticker.face].name
        faces = [puzzle.body.faces[s.face].name for s in puzzle.stickers if s.slot == sticker.slot]
        stickers[own, "".join(sorted(faces))] = sticker.placement
    cycle = stickers["U", "FLU"], stickers["R", "BRU"], stickers["B", "BLU"]
    assert_three_cycle(puzzle, word, cycle)
    assert_three_cycle(puzzle, word, cycle[1:] + cycle[:1])
    with pytest.raises(AssertionError):
        assert_three_cycle(puzzle, word, cycle[::-1])
    twisted = stickers["F", "FLU"], *cycle[1:]
    with pytest.raises(AssertionError):
        assert_three_cycle(puzzle, word, twisted)
    with pytest.raises(AssertionError):
        assert_three_cycle(puzzle, [*word, ("D", 1)], cycle)


def test_tables_are_frozen(puzzle: Puzzle) -> None:
    with pytest.raises(ValueError, match="read-only"):
        puzzle.moves[0, 0] = 1


HEAD = 'description = "x"\nup = "U"\nfront = "F"\n'
CUBE = HEAD + 'body = "cube"\n'
THIRDS = '[[layers]]\naxes = "faces"\nabove = "1/3"\nsteps = 4\n'


def layers(axes: str, above: str, steps: int = 4, more: str = "") -> str:
    return f'[[layers]]\naxes = {axes}\nabove = "{above}"\nsteps = {steps}\n{more}\n'


#: What is wrong with a file, its text, and what the sentence must say.
BAD = {
    "sliver": (
        CUBE + layers('["U"]', "1/3") + layers('["U"]', "1/3 + 0.000001", more='names = ["V"]'),
        "sliver.*face F",
    ),
    "cuts that nearly meet": (
        CUBE + layers('["U", "D", "F", "B"]', "1/2") + layers('["UF"]', "sqrt(2)/2 + 0.000001", 2),
        "sliver",
    ),
    "a piece fits nowhere": (
        CUBE + layers('["U", "F"]', "1/3"),
        r"layer U by 1 of 4.*around \(0.00, -0.67, 1.00\) fits nowhere.*cut of F to L, B and R, "
        'where the body has no such cut.*--layers "U F"',
    ),
    "thirds on a square": (
        CUBE + layers('"faces"', "1/3", 3),
        "layer U by 1 of 3.*fits nowhere.*itself with steps = 2 or 4",
    ),
    "eighths on a square": (
        CUBE + layers('["U"]', "1/3", 8),
        "layer U by 1 of 8.*fits nowhere.*itself with steps = 2 or 4",
    ),
    "cut outside": (CUBE + layers('"faces"', "2"), "layer U holds no piece"),
    "cut below": (CUBE + layers('"faces"', "-2"), "layer U holds every piece"),
    "unknown axis": (CUBE + layers('["U", "X"]', "1/3"), "axis 'X'.*U D F B L R"),
    "opposite faces": (CUBE + layers('["UD"]', "1/3"), "axis 'UD'"),
    "two of one name": (CUBE + THIRDS + THIRDS, "two layers are named 'U'"),
    "a layer twice": (
        CUBE + THIRDS + layers('["U"]', "1/3", 2, 'names = ["X"]'),
        "layers U and X turn the same pieces about the same axis; leave X out",
    ),
    "a layer from both sides": (
        f'{CUBE}{THIRDS}[[layers]]\naxes = ["L", "R"]\nnames = ["M", "N"]\nsteps = 4\n'
        'between = ["-1/3", "1/3"]\n',
        "layers M and N turn the same pieces",
    ),
    "the middle twisted about several axes": (
        CUBE + layers('["UFR", "UBL", "DFL", "DBR"]', "-0.96", 3),
        "layers UFR and UBL turn the piece in the middle about different axes",
    ),
    "bad layer name": (CUBE + layers('["U"]', "1/3", more='names = ["U-"]'), "layer name 'U-'"),
    "too few names": (CUBE + layers('["U", "D"]', "1/3", more='names = ["U"]'), "1 names.*2 axes"),
    "no layer there": (
        CUBE + '[[layers]]\naxes = ["U"]\nbetween = [1, 0]\nsteps = 4\n',
        "the smaller depth first",
    ),
    "formula": (CUBE + layers('["U"]', "1/"), "character 3: expected a number"),
    "divided by zero": (CUBE + layers('["U"]', "1/0"), "a divisor other than zero"),
    "unknown up": (HEAD.replace('"U"', '"Q"') + 'body = "cube"\n' + THIRDS, "up: 'Q'"),
    "centre outside": (
        HEAD + THIRDS + "[body]\npoints = [[1, 0, 0], [0, 1, 0], [0, 0, 1], [1, 1, 1]]\n",
        "enclose the centre",
    ),
    "flat": (
        HEAD + THIRDS + "[body]\npoints = [[1, 0, 0], [0, 1, 0], [-1, 0, 0], [0, -1, 0]]\n",
        "enclose the centre",
    ),
    "too few letters": (
        HEAD
        + THIRDS
        + "[body]\npoints = [[1, 1, 1], [-1, -1, 1], [-1, 1, -1], [1, -1, -1]]\n"
        + "[body.faces]\nU = [0, 0, 1]\n",
        "1 letters.*4 faces",
    ),
    "unknown type": (CUBE + THIRDS + '[types]\nwing = "x"\n', "no type 'wing'.*corner, edge"),
    "type named twice": (CUBE + THIRDS + '[types]\ncorner = "edge"\n', "two types are named"),
    "too many layers": (
        CUBE + "".join(layers('"edges"', f"{k}/9", 2, f'names = "{k}{{axis}}"') for k in range(6)),
        "72 layers.*at most 62",
    ),
}


@pytest.mark.parametrize("wrong", BAD)
def test_a_file_that_cannot_be_cut_gets_one_clear_sentence(wrong: str) -> None:
    text, sentence = BAD[wrong]
    with pytest.raises(PuzzleFileError, match=sentence) as caught:
        compiled("own", parse(text, "own.toml"))
    assert "\n" not in str(caught.value)


BAND = '[[layers]]\naxes = ["U"]\nsteps = 4\nbetween = ["-1/3", "1/3"]\n'


@pytest.mark.parametrize(
    "text",
    [
        CUBE + BAND,
        'shape = "ball"\n' + CUBE + BAND,
        CUBE + layers('["UFR", "DBL"]', "-1.4", 3),
    ],
)
def test_symmetries_twist_a_piece_around_the_middle_as_they_turn_its_axis(text: str) -> None:
    own = compiled("own", parse(text, "own"))
    # D4h where the band is cut across a fourfold axis, D3d where it is across a threefold one.
    assert len(own.symmetries) == (12 if "UFR" in text else 16)
    for symmetry in own.symmetries:
        for turn, row in enumerate(own.moves):
            after = own.moves[symmetry.turns[turn]][symmetry.placements]
            assert np.array_equal(symmetry.placements[row], after)


def test_types_whose_pieces_turn_by_different_steps_can_have_their_twists_told_apart() -> None:
    """Top and bottom centres turn by quarters, the others by halves, so each a type of its own."""
    bands = layers('["U", "D"]', "1/3") + layers('["L", "R", "F", "B"]', "1/3", 2)
    plain_type = compiled("own", parse(CUBE + bands, "own")).types[-1]
    assert (plain_type.name, plain_type.count, plain_type.twists) == ("centre", 6, 1)
    for keep in ("true", '["centre1", "centre2"]'):
        own = compiled("own", parse(f"keep_twists = {keep}\n" + CUBE + bands, "own"))
        centres = [(kind.count, kind.twists, kind.seen) for kind in own.types[-2:]]
        assert centres == [(2, 4, 1), (4, 2, 1)]


def test_depths_near_a_puzzle_give_its_tables_or_a_refusal() -> None:
    """Neighbouring depths give the same puzzle; a slip of 1e-6 where cuts meet is refused."""
    chosen = random.Random(3)
    for _ in range(5):
        depth = 0.2 + 0.6 * chosen.random()
        near = compiled("near", parse(CUBE + layers('"faces"', f"{depth:.6f}"), "near"))
        assert np.array_equal(near.moves, load("3x3x3").moves)
        assert near.digest == load("3x3x3").digest


def test_boxes_of_other_symmetries_are_told_apart_in_caches() -> None:
    """Cut into the same tables, by half turns; what a search keeps is told up to symmetry."""

    def box(x: float, y: float, z: float) -> Puzzle:
        ways = [(a, b, c) for a in (1, -1) for b in (1, -1) for c in (1, -1)]
        points = ", ".join(f"[{a * x}, {b * y}, {c * z}]" for a, b, c in ways)
        faces = {"U": (0, 0, 1), "D": (0, 0, -1), "F": (0, -1, 0), "B": (0, 1, 0)}
        faces |= {"R": (1, 0, 0), "L": (-1, 0, 0)}
        letters = "\n".join(f"{letter} = {list(way)}" for letter, way in faces.items())
        inner = '[[layers]]\naxes = "faces"\nnames = "{axis}x"\nbetween = [0, 0.5]\nsteps = 2\n'
        body = f"[body]\npoints = [{points}]\n[body.faces]\n{letters}\n"
        return compiled("box", parse(HEAD + layers('"faces"', "0.5", 2) + inner + body, "box"))

    one, two = box(1, 1.01, 1.02), box(1, 1.02, 1.02)
    assert np.array_equal(one.moves, two.moves)
    assert len(one.symmetries) == 8
    assert len(two.symmetries) == 16
    assert one.digest != two.digest
