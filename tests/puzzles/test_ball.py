"""Balls cut by circles: cells, areas, closed cuts, paint, and what is refused."""

from __future__ import annotations

import math
from collections.abc import Sequence

import networkx as nx
import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from puzzles import ball, overlap
from puzzles.bodies import BODIES, Body
from puzzles.errors import LimitError, PuzzleFileError
from puzzles.orbits import rotation
from puzzles.turns import Layer

Points = NDArray[np.float64]

CUBE = BODIES["cube"]()
#: From a face's axis of the cube to a corner's.
TO_CORNER = math.acos(1 / math.sqrt(3))
#: What an edge that joins parts of a net is marked with, after the kinds of `puzzles.ball`.
BRIDGE = 8


def layers(
    kind: str, degrees: float, steps: int, inner: float | None = None, body: Body = CUBE
) -> list[Layer]:
    """Caps of an angle round all axes of a kind, or rings from an inner angle on."""
    high = math.inf if inner is None else math.cos(math.radians(inner))
    return [
        Layer(name, (float(x), float(y), float(z)), math.cos(math.radians(degrees)), high, steps)
        for name, (x, y, z) in body.axes(kind)
    ]


def layer(name: str, axis: Sequence[float], low: float, high: float = math.inf) -> Layer:
    """A layer that turns by thirds, between two heights on an axis of any length."""
    x, y, z = (float(c) for c in np.array(axis) / np.linalg.norm(axis))
    return Layer(name, (x, y, z), low, high, 3)


def sampled(count: int, seed: int = 1) -> Points:
    """Points spread evenly over the sphere at random."""
    points = np.random.default_rng(seed).normal(size=(count, 3))
    unit: Points = points / np.linalg.norm(points, axis=1)[:, None]
    return unit


def members(made: Sequence[Layer], points: Points) -> NDArray[np.bool_]:
    """Which points lie in which layers, by their heights alone; (points, layers)."""
    heights = points @ np.array([x.axis for x in made]).T
    return (heights > [x.low for x in made]) & (heights < [x.high for x in made])


def sixths(beyond: float, corner: float) -> list[Layer]:
    return layers("faces", math.degrees(TO_CORNER) + beyond, 4) + layers("corners", corner, 6)


def filled(made: Sequence[Layer], rows: int = 160) -> int:
    """Count cells by flooding a grid of latitudes and longitudes with networkx.

    Neighbours are linked where no circle passes between them. Areas of less than a few dots are
    left out, so the cells must be wide.
    """
    columns = 2 * rows
    height = np.cos(math.pi * (np.arange(rows) + 0.5) / rows)
    turn = 2 * math.pi * (np.arange(columns) + 0.5) / columns
    radius = np.sqrt(1 - height**2)
    points = np.stack(
        [
            radius[:, None] * np.cos(turn),
            radius[:, None] * np.sin(turn),
            np.repeat(height[:, None], columns, axis=1),
        ],
        axis=2,
    )
    sides = members(made, points.reshape(-1, 3)).reshape(rows, columns, -1)
    number = np.arange(rows * columns).reshape(rows, columns)
    graph = nx.Graph()
    graph.add_nodes_from(range(rows * columns))
    for step in ((0, 1), (1, 0), (1, 1), (1, -1)):
        low = slice(0, rows - step[0])
        other = np.roll(sides, -step[1], axis=1)[step[0] :]
        same = np.all(sides[low] == other, axis=2)
        there = np.roll(number, -step[1], axis=1)[step[0] :]
        graph.add_edges_from(zip(number[low][same].tolist(), there[same].tolist(), strict=True))
    return sum(len(part) > 6 for part in nx.connected_components(graph))


def check(cells: ball.BallCells, made: Sequence[Layer]) -> None:
    """Check what holds for every ball: sums, Euler's formula, membership, areas by sampling."""
    assert cells.areas.sum() == pytest.approx(4 * math.pi, abs=1e-9)
    assert np.abs(cells.vectors.sum(axis=0)).max() < 1e-9
    assert sum(patch.area for patch in cells.patches) == pytest.approx(4 * math.pi, abs=1e-9)
    # Euler's formula without the bridges, parts counted by networkx.
    net = cells.arrangement.net
    graph = nx.MultiGraph()
    graph.add_nodes_from(np.unique(net.ends).tolist())
    graph.add_edges_from(net.ends[net.kind < BRIDGE].tolist())
    parts = nx.number_connected_components(graph)
    euler = graph.number_of_nodes() - graph.number_of_edges() + len(cells.arrangement.area)
    assert euler == 1 + parts
    # Layers are known by heights alone, and so are the areas of what lies in the same layers.
    points = sampled(4000)
    where = members(made, points)
    found = cells.locate(points)
    assert found.min() >= 0
    assert np.array_equal(cells.in_layer[:, found].T, where)
    for row in {bytes(row): row for row in where}.values():
        place = np.array(row)
        share = np.all(where == place, axis=1).mean()
        alike = np.all(cells.in_layer == place[:, None], axis=0)
        area = cells.areas[alike].sum() / (4 * math.pi)
        assert abs(area - share) < 6 * math.sqrt(area * (1 - area) / len(points)) + 1e-3


@pytest.mark.parametrize(
    ("made", "pieces", "patches"),
    [
        # As many as a plane-cut cube has: 26 pieces with 54 stickers.
        (layers("faces", 50, 4), 26, 54),
        (layers("corners", 40, 3), 26, 54),
        # Prototypes of these balls had 170, 114 and 218 pieces.
        (sixths(9, 34), 170, None),
        (sixths(0, 30), 114, None),
        (sixths(2, 30), 218, None),
    ],
)
def test_known_counts(made: list[Layer], pieces: int, patches: int | None) -> None:
    cells = ball.cut(CUBE, tuple(made))
    assert len(cells.areas) == pieces
    assert patches is None or len(cells.patches) == patches
    check(cells, made)


@pytest.mark.parametrize("beyond", [8.4, 8.6, 8.8, 9.2, 9.4, 9.6, 9.8, 10.0])
def test_neighbouring_depths_give_as_many_pieces(beyond: float) -> None:
    assert len(ball.cut(CUBE, tuple(sixths(beyond, 34))).areas) == 170


@pytest.mark.parametrize(
    "made",
    [
        layers("corners", 40, 3),
        layers("faces", 50, 4),
        layers("edges", 40, 2),
        layers("faces", 70, 4) + layers("corners", 30, 3),
        layers("faces", 30, 4, inner=15),
        layers("faces", 45, 5, body=BODIES["dodecahedron"]()),
    ],
)
def test_cells_are_the_regions_that_a_flood_fills(made: list[Layer]) -> None:
    cells = ball.cut(CUBE, tuple(made), paint=False, closed=False)
    assert len(cells.areas) == filled(made)


def test_cells_are_more_than_the_sides_that_they_lie_on() -> None:
    made = layers("corners", 40, 3)
    cells = ball.cut(CUBE, tuple(made))
    assert len(np.unique(members(made, sampled(20_000)), axis=0)) == 21
    assert len(np.unique(cells.in_layer.T, axis=0)) == 21


@given(
    caps=st.lists(
        st.tuples(
            st.tuples(*[st.floats(-1, 1) for _ in range(3)]),
            st.floats(-0.95, 0.95),
            st.floats(0.1, 2),
            st.booleans(),
        ),
        min_size=1,
        max_size=7,
    ),
    paint=st.booleans(),
)
@settings(max_examples=40, deadline=None)
def test_any_caps_and_rings(
    caps: list[tuple[tuple[float, float, float], float, float, bool]], paint: bool
) -> None:
    made = []
    for name, (axis, low, width, ring) in zip("ABCDEFG", caps, strict=False):
        assume(np.linalg.norm(axis) > 0.1)
        high = low + width if ring and low + width < 0.98 else math.inf
        made.append(layer(name, axis, low, high))
    try:
        cells = ball.cut(CUBE, tuple(made), paint=paint, closed=False)
    except PuzzleFileError as error:
        refused = str(error)
    else:
        check(cells, made)
        assert np.array_equal(cells.whole, np.arange(len(cells.areas)))
        return
    assert "nearly" in refused


def test_closed_forms_of_a_cap_and_a_ring() -> None:
    made = (layer("A", (1, 2, 3), 0.4, 0.7),)
    cells = ball.cut(CUBE, made, paint=False)
    # Archimedes: a zone is as large as its height says; pi r^2 is the flat disc under a cap.
    order = np.argsort(cells.areas)
    assert cells.areas[order] == pytest.approx(2 * math.pi * np.array([0.3, 0.3, 1.4]))
    axis = np.array(made[0].axis)
    along = sorted(cells.vectors @ axis)
    assert along == pytest.approx([-math.pi * 0.84, math.pi * 0.33, math.pi * 0.51])
    assert cells.vectors == pytest.approx(np.outer(cells.vectors @ axis, axis))
    assert cells.in_layer.sum() == 1


def test_octants() -> None:
    cells = ball.cut(CUBE, tuple(layers("faces", 90, 4)), paint=False)
    assert cells.areas == pytest.approx(np.full(8, math.pi / 2))
    assert np.abs(cells.vectors) == pytest.approx(np.full((8, 3), math.pi / 4))
    # Opposite layers meet in one circle, seen from either side.
    assert len(np.unique(cells.arrangement.net.circle)) == 3


def test_two_opposite_caps_leave_a_band_that_points_nowhere() -> None:
    made = layers("faces", 50, 4)[:2]
    cells = ball.cut(CUBE, tuple(made), paint=False)
    check(cells, made)
    band = int(np.flatnonzero(~cells.in_layer.any(axis=0))[0])
    assert cells.areas[band] == pytest.approx(4 * math.pi * math.cos(math.radians(50)))
    assert np.abs(cells.vectors[band]).max() < 1e-12
    # Its outline is one line, with a seam that is walked twice.
    outline = cells.patches[band].outline
    assert np.cross(outline, np.roll(outline, -1, axis=0)).sum(axis=0) == pytest.approx(0, abs=1e-3)


@pytest.mark.parametrize("paint", [False, True])
def test_circles_that_touch(paint: bool) -> None:
    made = layers("faces", 45, 4)
    cells = ball.cut(CUBE, tuple(made), paint=paint)
    # Each cap touches four others, and, painted, the face's four edges: six caps, eight triangles.
    assert len(cells.areas) == 14
    assert len(cells.patches) == (6 + 8 * 3 if paint else 14)
    check(cells, made)
    inside = [
        layer("A", (0, 0, 1), math.cos(0.9)),
        layer("B", (math.sin(0.5), 0, math.cos(0.5)), math.cos(0.4)),
        layer("C", (math.sin(0.7), 0, math.cos(0.7)), math.cos(0.2)),
        layer("D", (math.sin(1.4), 0, math.cos(1.4)), math.cos(0.5)),
    ]
    # Three circles touch one from inside and one from outside, all in one point.
    cells = ball.cut(CUBE, tuple(inside), paint=False, closed=False)
    assert len(cells.areas) == 5
    assert sorted(cells.in_layer.sum(axis=0).tolist()) == [0, 1, 1, 2, 3]
    check(cells, inside)


def test_circles_round_one_axis() -> None:
    made = [
        layer("A", (0, 0, 1), 0.8),
        layer("B", (0, 0, 1), 0.5, 0.8),
        layer("C", (0, 0, -1), 0.2),
        layer("D", (0, 12, 10), 0.999),
    ]
    cells = ball.cut(CUBE, tuple(made), paint=False)
    check(cells, made)
    # The small cap lies in the ring of B, whose thirds it is carried to.
    assert len(cells.areas) == 4 + 3
    assert len(np.unique(cells.whole)) == 5


@pytest.mark.parametrize(
    "made",
    [
        sixths(9, 34),
        sixths(0, 30),
        sixths(2, 30),
        layers("faces", 40, 4, inner=20),
        layers("faces", 75, 4) + layers("faces", 75, 4, inner=30),
        layers("corners", 70, 3),
        layers("faces", 70, 5, body=BODIES["dodecahedron"]()),
    ],
)
def test_turns_carry_cells_of_closed_cuts_onto_cells(made: list[Layer]) -> None:
    """Points carried by rotations alone: those of a cell in a layer all come to one cell."""
    cells = ball.cut(CUBE, tuple(made), paint=False)
    points = sampled(5000, seed=3)
    here = cells.locate(points)
    for number in (0, len(made) - 1):
        step = rotation(np.array(made[number].axis), -2 * math.pi / made[number].steps)
        inside = members(made, points)[:, number]
        there = cells.locate(points[inside] @ step.T)
        pairs = np.unique(np.column_stack([here[inside], there]), axis=0)
        assert len(np.unique(pairs[:, 0])) == len(pairs) == len(np.unique(pairs[:, 1]))
        assert cells.areas[pairs[:, 0]] == pytest.approx(cells.areas[pairs[:, 1]], abs=1e-12)
        assert cells.vectors[pairs[:, 0]] @ step.T == pytest.approx(
            cells.vectors[pairs[:, 1]], abs=1e-12
        )


def test_arcs_turned_onto_circles_seen_from_the_other_side() -> None:
    """A hemisphere turns by eighths, one beside it by halves: sectors, as one counts by hand.

    The upper half gets eight; the half turn carries the four on the right down; the rest is one.
    """
    made = [Layer("U", (0, 0, 1.0), 0.0, math.inf, 8), Layer("R", (1.0, 0, 0), 0.0, math.inf, 2)]
    cells = ball.cut(CUBE, tuple(made), paint=False)
    assert sorted(cells.areas) == pytest.approx([math.pi / 4] * 12 + [math.pi])
    check(cells, made)


@pytest.mark.parametrize("name", sorted(BODIES))
@pytest.mark.parametrize("kind", ["faces", "corners", "edges"])
def test_touching_caps_gain_no_cuts(name: str, kind: str) -> None:
    body = BODIES[name]()
    axes = np.array([axis for _, axis in body.axes(kind)])
    nearest = np.sort(axes @ axes.T, axis=1)[:, -2].max()
    made = layers(kind, math.degrees(math.acos(nearest)) / 2, 5, body=body)
    cells = ball.cut(body, tuple(made), paint=False)
    assert len(cells.areas) == len(ball.cut(body, tuple(made), paint=False, closed=False).areas)
    assert np.array_equal(cells.in_layer.sum(axis=1), np.ones(len(made)))
    # Every two that touch join parts of the net, or close a ring that parts the rest once more.
    graph = nx.Graph()
    graph.add_nodes_from(range(len(axes)))
    touching = np.abs(axes @ axes.T - nearest) < 1e-9
    graph.add_edges_from(np.argwhere(np.triu(touching, 1)).tolist())
    rings = len(graph.edges) - len(graph) + nx.number_connected_components(graph)
    assert len(cells.areas) == len(axes) + 1 + rings


def test_many_parts_that_do_not_touch() -> None:
    turn = np.arange(62) * math.pi * (3 - math.sqrt(5))
    height = 1 - (2 * np.arange(62) + 1) / 62
    radius = np.sqrt(1 - height**2)
    axes = np.column_stack([radius * np.cos(turn), radius * np.sin(turn), height])
    made = [layer(f"L{k}", axis, math.cos(math.radians(8))) for k, axis in enumerate(axes)]
    cells = ball.cut(CUBE, tuple(made), paint=False)
    assert len(cells.areas) == 63
    check(cells, made)


def test_cuts_that_are_not_closed_keep_pieces_whole() -> None:
    made = tuple(sixths(9, 34))
    closed, still = ball.cut(CUBE, made), ball.cut(CUBE, made, closed=False)
    assert len(still.areas) == filled(made)
    points = sampled(5000, seed=4)
    pairs = np.column_stack([closed.whole[closed.locate(points)], still.locate(points)])
    assert len(np.unique(pairs, axis=0)) == len(still.areas) == closed.whole.max() + 1
    areas = np.bincount(closed.whole, closed.areas)
    assert sorted(areas) == pytest.approx(sorted(still.areas))
    # Ordinary puzzles gain nothing.
    plain = tuple(layers("corners", 80, 3))
    assert len(ball.cut(CUBE, plain).areas) == len(ball.cut(CUBE, plain, closed=False).areas)


def test_paint_is_the_body_seen_from_the_centre() -> None:
    made = tuple(sixths(9, 34))
    cells = ball.cut(CUBE, made)
    bare = ball.cut(CUBE, made, paint=False)
    assert sorted(cells.areas) == pytest.approx(sorted(bare.areas))
    assert {patch.face for patch in bare.patches} == {-1}
    assert len(bare.patches) == len(bare.areas)
    for face in range(6):
        # Each face of a cube covers a sixth of the sphere.
        area = sum(patch.area for patch in cells.patches if patch.face == face)
        assert area == pytest.approx(4 * math.pi / 6)
    by_piece = np.zeros(len(cells.areas))
    for patch in cells.patches:
        by_piece[patch.piece] += patch.area
        assert CUBE.faces[patch.face].normal @ patch.centroid >= np.abs(patch.centroid).max() - 1e-9
    assert by_piece == pytest.approx(cells.areas)


@pytest.mark.parametrize("made", [sixths(9, 34), layers("faces", 20, 4, inner=10)])
def test_outlines_run_round_their_patches(made: list[Layer]) -> None:
    cells = ball.cut(CUBE, tuple(made))
    for patch in cells.patches:
        outline = patch.outline
        following = np.roll(outline, -1, axis=0)
        assert np.linalg.norm(outline, axis=1) == pytest.approx(1)
        assert np.linalg.norm(outline - following, axis=1).max() <= math.radians(3) + 1e-9
        assert np.linalg.norm(outline - following, axis=1).min() > 1e-6
        # Half the sum of r x dr along chords comes near the vector area, sign and all.
        vector = np.cross(outline, following).sum(axis=0) / 2
        assert np.abs(vector - patch.area * patch.centroid).max() < 0.02 * patch.area + 1e-3


def test_points_on_cuts_are_in_no_cell_and_those_on_paint_are() -> None:
    made = tuple(layers("faces", 50, 4))
    cells = ball.cut(CUBE, made)
    turn = np.linspace(0, 6, 40)
    circle = np.column_stack([np.cos(turn), np.sin(turn), np.full(40, 1 / math.tan(0.8726646259))])
    circle /= np.linalg.norm(circle, axis=1)[:, None]
    circle[:, 2] = math.cos(math.radians(50))
    circle[:, :2] *= math.sin(math.radians(50)) / np.linalg.norm(circle[:, :2], axis=1)[:, None]
    assert np.all(cells.locate(circle) == -1)
    corners = CUBE.points / math.sqrt(3)
    middles = np.array([axis for _, axis in CUBE.axes("edges")])
    found = cells.locate(np.vstack([corners, middles]))
    assert len(np.unique(found)) == 20
    assert found.min() >= 0


def test_turned_pieces_cover_slots_exactly_where_cuts_are_closed() -> None:
    made = sixths(9, 34)
    cells = ball.cut(CUBE, tuple(made))
    for number in (0, 13):
        step = rotation(np.array(made[number].axis), -2 * math.pi / made[number].steps)
        holds = cells.in_layer[number]
        over = overlap.covering(cells, made[number], holds, step)
        slot = over.argmax(axis=1)
        areas = cells.areas[holds]
        assert over[np.arange(len(over)), slot] == pytest.approx(areas, abs=1e-9)
        assert len(np.unique(slot)) == len(slot)
        which = np.flatnonzero(holds)
        for k in (0, len(which) - 1):
            assert overlap.gap(cells, which[k], which[slot[k]], step) < 1e-6


def test_overlap_of_sectors() -> None:
    made = [
        Layer("U", (0, 0, 1.0), 0.0, math.inf, 5),
        Layer("R", (1.0, 0, 0), 0.0, math.inf, 2),
    ]
    cells = ball.cut(CUBE, tuple(made), paint=False, closed=False)
    step = rotation(np.array([0, 0, 1.0]), -2 * math.pi / 5)
    over = overlap.covering(cells, made[0], cells.in_layer[0], step)
    # Half a hemisphere has the area pi; turned by a fifth it is off by an angle of 72 degrees.
    shift = 2 * math.pi / 5
    assert over == pytest.approx(np.array([[math.pi - shift, shift], [shift, math.pi - shift]]))
    one = int(np.flatnonzero(cells.in_layer[0])[0])
    assert overlap.gap(cells, one, one, step) == pytest.approx(72, abs=0.01)


def test_overlap_agrees_with_sampled_points() -> None:
    made = layers("faces", 60, 5)
    cells = ball.cut(CUBE, tuple(made), closed=False)
    step = rotation(np.array(made[0].axis), -2 * math.pi / 5)
    holds = np.flatnonzero(cells.in_layer[0])
    over = overlap.covering(cells, made[0], cells.in_layer[0], step)
    points = sampled(8000, seed=5)
    points = points[points[:, 2] > 0.5]
    counted = np.zeros((len(cells.areas), len(cells.areas)))
    np.add.at(counted, (cells.locate(points), cells.locate(points @ step.T)), math.pi / len(points))
    assert np.abs(counted[np.ix_(holds, holds)] - over).max() < 0.06
    assert over.sum(axis=0) == pytest.approx(cells.areas[holds])


@pytest.mark.parametrize(
    ("made", "said"),
    [
        # Beyond the corner by a millionth: nearly meeting in one point there.
        (sixths(math.degrees(1e-6), 30), "layer D, layer F and layer L nearly meet, 0.0002 degr"),
        (layers("faces", 45.0001, 4), "layer U and layer F nearly meet, 0.0002 degrees apart"),
        (layers("faces", 44.9999, 4), "layer U and layer F nearly meet, 0.0002 degrees apart"),
        (
            layers("faces", 45.01, 4),
            "edge UL or DR of the body nearly meet, leaving a sliver of area",
        ),
        (layers("faces", 89.999, 4), "layer D and layer U are nearly the same circle"),
        (
            [layer("A", (0, 0, 1), 0.5), layer("B", (0, 0, 1), 0.50001)],
            "layer B and layer A are nearly the same circle, 0.0006 degrees apart",
        ),
        (layers("faces", 0.05, 4), "layer U: its circle is only 0.05 degrees wide"),
        ([layer("A", (0, 0, 1), 1.5)], "no layer cuts the ball"),
        (
            [layer("A", (1, 0, 0), 0), layer("B", (0, 1, 0), 0), layer("C", (1, 1, 0), 0.002)],
            "layer A, layer B and layer C nearly meet, leaving a sliver of area 4e-06",
        ),
    ],
)
def test_cuts_that_nearly_meet_are_refused(made: list[Layer], said: str) -> None:
    with pytest.raises(PuzzleFileError, match=said):
        ball.cut(CUBE, tuple(made), closed=False)


@pytest.mark.parametrize(
    ("made", "said"),
    [
        (layers("faces", 60, 5), "the cuts never close: turns of layer [UDFBLR] still make new"),
        (layers("edges", 50, 5), "the cuts never close: turns of layer [UDFBLR]{2} still make"),
        (
            [
                Layer("A", (0, 0, 1.0), -0.9, math.inf, 24),
                *(layer(x, (1, 0, k * 0.15), 0.999) for k, x in enumerate("BCDEFGHIJKLMN", -6)),
            ],
            "the cuts fall into 265 parts that do not touch; at most 250 are allowed",
        ),
    ],
)
def test_limits(made: list[Layer], said: str) -> None:
    with pytest.raises(LimitError, match=said):
        ball.cut(CUBE, tuple(made), paint=False)


def test_a_circle_of_the_closing_that_nearly_meets_says_whose_it_is() -> None:
    with pytest.raises(PuzzleFileError, match=r"layer \w+ as turned by layer \w+"):
        ball.cut(CUBE, tuple(sixths(math.degrees(1e-4), 30)))
