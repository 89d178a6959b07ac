"""Open sizes found from counted pieces, against sampled points, brute force and the catalogue."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from puzzles import depths, exact_sizes, expressions, file, puzzle_text, unknowns, wanted_counts
from puzzles.compile import compiled
from puzzles.counting import Counted, count
from puzzles.errors import PuzzleFileError, RequestError
from puzzles.sweeping import Sweep
from puzzles.unknowns import OpenPuzzle

HEAD = 'description = "A test."\nbody = "cube"\nup = "U"\nfront = "F"\n'


def opened(name: str, tables: Sequence[int]) -> OpenPuzzle:
    """Return a catalogue puzzle with the depths of some tables of layers left open."""
    _, model = file.read(name)
    assert isinstance(model, file.PuzzleModel)
    layers = list(model.layers)
    for k in tables:
        key = "within" if layers[k].within is not None else "above"
        layers[k] = layers[k].model_copy(update={key: "?"})
    return unknowns.opened(name, model.model_copy(update={"layers": layers}))


def swept(puzzle: OpenPuzzle) -> Sweep:
    sweep = Sweep(puzzle, (math.nan,), 0, lambda: None)
    while sweep.step():
        pass
    return sweep


def sampled_pieces(puzzle: OpenPuzzle, bound: float, points: np.ndarray) -> int:
    """Count the pieces of a solid by the sides of its planes on which sampled points lie."""
    planes = [
        (np.array(layer.axis), depth)
        for layer in puzzle.layers([bound])
        for depth in (layer.low, layer.high)
        if math.isfinite(depth)
    ]
    sides = sum((points @ axis > depth) * (1 << k) for k, (axis, depth) in enumerate(planes))
    return len(np.unique(sides))


def surface(puzzle: OpenPuzzle, number: int) -> np.ndarray:
    """Return random points of a body's surface, (number, 3)."""
    directions = np.random.default_rng(5).normal(size=(number, 3))
    normals = np.array([face.normal / face.distance for face in puzzle.body.faces])
    return directions / (directions @ normals.T).max(axis=1)[:, None]


@pytest.mark.parametrize(
    ("name", "table"),
    [
        ("3x3x3", 0),
        ("cube-faces-corners", 0),
        ("cube-faces-corners", 1),
        ("octahedron-faces", 0),
        ("dodecahedron-faces", 0),
        ("tetrahedron-corners", 0),
    ],
)
def test_every_range_of_a_solid_has_the_pieces_that_sampled_points_show(
    name: str, table: int
) -> None:
    """Pieces of a convex body between planes are convex: points with the same sides of all planes
    lie in one piece. Points at random depths tell whether the ranges end where they should."""
    puzzle = opened(name, [table])
    sweep = swept(puzzle)
    points = surface(puzzle, 150_000)
    assert sweep.gap() is None
    ends = [x for own in sweep.merged() for x in (own.low, own.high)]
    assert min(ends) == pytest.approx(sweep.least)
    assert max(ends) == pytest.approx(sweep.most)
    random = np.random.default_rng(7)
    for own in sweep.merged():
        for share in [0.5, *random.uniform(0.4, 0.6, size=1)]:
            bound = own.low + share * (own.high - own.low)
            assert sampled_pieces(puzzle, bound, points) == own.found.pieces
    for special in sweep.own_specials():
        assert isinstance(special.found, Counted)
        assert sampled_pieces(puzzle, special.at, points) == special.found.pieces


@pytest.mark.parametrize(
    ("name", "table"), [("ball-sixths", 0), ("ball-corners", 0), ("ball-two-axes", 0)]
)
def test_nothing_changes_within_a_range_of_a_ball(name: str, table: int) -> None:
    """Brute force: the ball is cut anew at random angles."""
    puzzle = opened(name, [table])
    sweep = swept(puzzle)
    random = np.random.default_rng(3)
    met = 0
    for bound in random.uniform(sweep.least, sweep.most, size=40):
        own = next((x for x in sweep.merged() if x.low < bound < x.high), None)
        there = count(puzzle, [float(bound)])
        if own is not None and isinstance(there, Counted):
            assert there.key == own.found.key
            met += 1
    assert met > 30


def test_caps_touch_and_meet_where_geometry_says() -> None:
    """Caps about the corners of a cube touch at half the angle between neighbours, acos(1/3)/2,
    three meet in a face's middle at acos(1/sqrt(3)), and opposite ones touch those of others at
    acos(1/3); 40 degrees give 26 pieces, as many as a 3x3x3 has (8 + 12 + 6)."""
    sweep = swept(opened("ball-corners", [0]))
    ends = [own.high for own in sweep.merged()]
    expected = [math.acos(1 / 3) / 2, math.acos(1 / math.sqrt(3)), math.acos(1 / 3), math.pi / 2]
    assert ends == pytest.approx(expected, abs=1e-12)
    (own,) = [x for x in sweep.merged() if x.low < math.radians(40) < x.high]
    assert own.found.counts == (12, 8, 6)


#: Catalogue puzzle, the table that is left open, what a person counts, the number of pieces, and
#: whether only the very size does. The counts are those of the bodies: corners, edges and faces.
KNOWN = [
    ("3x3x3", 0, "8 12 6", 26, False),
    ("dodecahedron-faces", 0, "20 30 12", 62, False),
    ("octahedron-faces", 0, "6 12 12 12", 42, True),
    ("cube-edges", 0, "8 6 6 6 6", 32, True),
    ("ball-sixths", 0, "48 48 48 12 8 6", 170, False),
    ("ball-sixths-114", 0, "48 48 12 6", 114, True),
    ("ball-sixths-218", 0, "48 48 48 48 12 8 6", 218, False),
]


@pytest.mark.parametrize(("name", "table", "text", "pieces", "exact"), KNOWN)
def test_known_puzzles_are_found_again(
    name: str, table: int, text: str, pieces: int, exact: bool
) -> None:
    puzzle = opened(name, [table])
    found = depths.find(puzzle, wanted_counts.parsed(text))
    assert found.complete
    _, model = file.read(name)
    assert isinstance(model, file.PuzzleModel)
    from puzzles.layering import layers_of

    layer = layers_of(model, puzzle.body)[puzzle.unknowns[0].layers[0]]
    known = math.degrees(math.acos(layer.low)) if model.shape == "ball" else layer.low
    fitting = [own for own in found.proposals if not own.fit.left]
    sizes = [own.sizes[0] for own in fitting if own.pieces == pieces]
    assert any(
        size.exact == exact and size.low - 1e-9 <= known <= size.high + 1e-9 for size in sizes
    )
    assert all(own.checked for own in found.proposals)
    # The first proposal is a puzzle that can be loaded, with those pieces.
    first = fitting[0]
    loaded = compiled(name, first.model.model_copy(update={"types": {}}))
    assert sorted((t.count for t in loaded.types), reverse=True) == list(first.counts)


@pytest.mark.parametrize(
    ("name", "text", "entry"),
    [
        ("octahedron-faces", "6 12 12 12", "1/3"),
        ("cube-edges", "8 6 6 6 6", "sqrt(2)/2"),
        ("ball-sixths-114", "48 48 12 6", "to(UFR)"),
        ("3x3x3", "8", "0"),
    ],
)
def test_exact_sizes_are_formulas(name: str, text: str, entry: str) -> None:
    found = depths.find(opened(name, [0]), wanted_counts.parsed(text))
    exact = [own for own in found.proposals if own.sizes[0].exact]
    assert exact[0].sizes[0].entry == entry


def test_two_sizes_of_a_solid_are_found_together() -> None:
    """The catalogue's own puzzle is cut at 0.6 and 2.2/sqrt(3): its corners' cuts end where those
    of the faces meet the edges."""
    puzzle = opened("cube-faces-corners", [0, 1])
    found = depths.find(puzzle, (24, 12, 8, 6), looks=60, most=2)
    assert not found.complete
    complete = [own for own in found.proposals if not own.fit.left]
    assert complete
    own = complete[0]
    for size in own.sizes:
        assert size.low <= size.example <= size.high
    loaded = compiled("cube", own.model.model_copy(update={"types": {}}))
    assert sorted(t.count for t in loaded.types) == [6, 8, 12, 24]


def test_two_sizes_of_a_ball_are_found_together() -> None:
    """114 pieces: only with the faces' circles through the corners, 54.7 degrees wide."""
    puzzle = opened("ball-sixths", [0, 1])
    found = depths.find(puzzle, (48, 48, 12, 6), looks=40, most=2)
    own = found.proposals[0]
    assert own.pieces == 114
    faces, corners = own.sizes
    assert (faces.exact, faces.entry) == (True, "to(UFR)")
    assert not corners.exact
    assert corners.low < 30 < corners.high
    assert corners.high_formula == "to(UF)"


def test_one_size_is_exact_whatever_the_other_is() -> None:
    """Neighbouring corner caps touch where each is half of acos(1/3) wide: to(UF)."""
    puzzle = opened("ball-sixths", [0, 1])
    found = depths.find(puzzle, (48, 48, 48, 24, 8, 6), looks=50, most=1)
    (own,) = found.proposals
    faces, corners = own.sizes
    assert (corners.exact, corners.entry) == (True, "to(UF)")
    assert not faces.exact
    random = np.random.default_rng(2)
    for x in random.uniform(faces.low + 0.2, faces.high - 0.2, 3):
        there = count(puzzle, [math.radians(x), math.acos(1 / 3) / 2])
        assert isinstance(there, Counted)
        assert there.counts == own.counts


def test_ranges_of_two_sizes_hold_together() -> None:
    puzzle = opened("ball-sixths", [0, 1])
    found = depths.find(puzzle, (48, 48, 48, 12, 8, 6), looks=40, most=1)
    (own,) = found.proposals
    assert own.together is not None
    (low, high), (least, most) = own.together
    random = np.random.default_rng(1)
    for x, y in zip(random.uniform(low, high, 4), random.uniform(least, most, 4), strict=True):
        there = count(puzzle, [math.radians(x), math.radians(y)])
        assert isinstance(there, Counted)
        assert there.counts == own.counts


def test_kinds_may_be_counted_together() -> None:
    found = depths.find(opened("ball-sixths", [0]), (144, 12, 8, 6))
    own = found.proposals[0]
    assert own.pieces == 170
    assert own.fit.parts[0] == (48, 48, 48)
    assert wanted_counts.fit((170,), own.counts) is not None


def test_other_counts_are_named_where_none_are_right() -> None:
    found = depths.find(opened("3x3x3", [0]), (7,))
    assert not found.proposals
    assert {own.counts for own in found.nearest} == {(12, 8, 6), (8,)}


def test_it_stops_when_it_is_told() -> None:
    found = depths.find(opened("3x3x3", [0]), (8, 12, 6), stop=lambda: True)
    assert (found.looks, found.proposals, found.complete) == (0, (), False)


@given(
    st.lists(st.integers(1, 60), min_size=1, max_size=9),
    st.integers(0, 2**9 - 1),
    st.integers(1, 4),
)
def test_sums_of_counts_are_found(counts: list[int], chosen: int, parts: int) -> None:
    """Numbers that are sums of different counts fit, by construction."""
    own = [x for k, x in enumerate(counts) if chosen >> k & 1]
    wanted = [sum(own[k::parts]) for k in range(parts) if own[k::parts]]
    fit = wanted_counts.fit(wanted, counts)
    assert fit is not None
    assert [sum(part) for part in fit.parts] == wanted
    assert sorted([x for part in fit.parts for x in part] + list(fit.left)) == sorted(counts)


@given(st.integers(-9, 9), st.integers(-9, 9), st.integers(1, 15), st.sampled_from([2, 3, 5, 6]))
@settings(max_examples=60)
def test_formulas_of_roots_are_found_again(a: int, b: int, c: int, root: int) -> None:
    value = (a + b * math.sqrt(root)) / c
    text = exact_sizes.size_formula(value)
    if abs(value) <= 5:
        assert text is not None
    if text is not None:
        assert expressions.size(text, "test") == pytest.approx(value, abs=1e-10)


def test_no_formula_is_made_up() -> None:
    """No number of a thousand random ones is taken for a formula."""
    random = np.random.default_rng(11).uniform(0.05, 1.4, size=1000)
    directions = [("to(UFR)", math.acos(1 / math.sqrt(3))), ("to(UF)", math.pi / 4)]
    assert not [x for x in random if exact_sizes.size_formula(float(x)) is not None]
    assert not [x for x in random if exact_sizes.angle_formula(float(x), directions) is not None]


@pytest.mark.parametrize("name", [x for x in file.catalogue() if x != "three-wheels"])
def test_a_model_written_down_reads_back(name: str) -> None:
    _, model = file.read(name)
    if isinstance(model, file.PuzzleModel):
        assert file.parse(puzzle_text.written(model), name) == model


BAD = [
    ('[[layers]]\naxes = "faces"\nsteps = 4\nabove = "1/3"\n', "no size is left open"),
    ('[[layers]]\naxes = "faces"\nsteps = 4\nbetween = ["?", "?"]\n', r"one \? at most"),
    ('[[layers]]\naxes = "faces"\nsteps = 4\nabove = "? + ?"\n', r"one \? at most"),
    ('[[layers]]\naxes = "faces"\nsteps = 4\nabove = "0*?"\n', "does not depend"),
    ('[[layers]]\naxes = "faces"\nsteps = 4\nabove = "?*?"\n', r"one \? at most"),
    ('[[layers]]\naxes = "faces"\nsteps = 4\nabove = "sqrt(?)"\n', "the same is added"),
    ('[[layers]]\naxes = "faces"\nsteps = 4\nabove = "? + deg"\n', "expected"),
    ('[[layers]]\naxes = "faces"\nsteps = 4\n' * 3, "3 sizes are left open"),
]


@pytest.mark.parametrize(("layers", "said"), BAD)
def test_bad_files_are_said_to_be_so(layers: str, said: str) -> None:
    model = file.parse(HEAD + layers, "test", unknown=True)
    assert isinstance(model, file.PuzzleModel)
    with pytest.raises(PuzzleFileError, match=said):
        unknowns.opened("test", model)


def test_an_open_size_is_no_puzzle() -> None:
    model = file.parse(HEAD + '[[layers]]\naxes = "faces"\nsteps = 4\nabove = "?"\n', "test")
    with pytest.raises(PuzzleFileError, match="trefoil depths"):
        compiled("test", model)


@pytest.mark.parametrize("text", ["", " , ", "0", "-3", "48 x", "9999999", "1.5", "1 " * 30])
def test_bad_counts_are_said_to_be_so(text: str) -> None:
    with pytest.raises(RequestError, match="count"):
        wanted_counts.parsed(text)
