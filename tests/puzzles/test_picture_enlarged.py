"""Enlarged details of balls: what lies in them, what the whole picture shows instead, and when."""

from __future__ import annotations

import math
from functools import lru_cache
from itertools import combinations
from xml.etree import ElementTree

import numpy as np
import pytest

from puzzles import Puzzle, load
from puzzles.ball_picture import ball_scenes
from puzzles.enlarging import Detail, details
from puzzles.names import read_cycle
from puzzles.picture import draw
from puzzles.views import AWAY, views
from tests.puzzles.test_picture import SVG, discs, heads, pointed, read
from tests.puzzles.test_picture_ball import drawn_at, holds, lines, picture, shapes
from tests.puzzles.test_picture_horizon import Points, inside

WIDTHS = [320, 480]
#: Three small pieces about one corner; the last case has two about one and one about another.
CROWDED = [
    ("ball-sixths", "petal:UF.R petal:UR.F petal:U.FR"),
    ("ball-sixths-218", "bud:U.RF bud:F.UR bud:FR.U"),
    ("ball-sixths-218", "bud:L.BD bud:B.DL bud:U.RF"),
]
#: Pieces of as many corners, too small to be told from those beside them.
SCATTERED = [
    ("ball-sixths-218", "bud:U.RF bud:U.LF bud:D.BL"),
    ("ball-sixths-218", "tip:UFR tip:UFL tip:DBR"),
]


@lru_cache(maxsize=8)
def placements(name: str, words: str) -> tuple[int, ...]:
    puzzle = load(name)
    found = read_cycle(puzzle, words.split())
    return tuple(
        int(puzzle.home[place.slot]) if place.placement is None else place.placement
        for place in found
    )


def grouped(root: ElementTree.Element) -> tuple[list[ElementTree.Element], ...]:
    """The views of the whole ball and the enlarged details of a picture."""
    views_: list[ElementTree.Element] = []
    enlarged: list[ElementTree.Element] = []
    for group in root.findall(f"{SVG}g"):
        texts = [text.text for text in group.iter(f"{SVG}text")]
        (enlarged if "enlarged" in texts else views_).append(group)
    return views_, enlarged


def ring_lines(group: ElementTree.Element) -> list[list[Points]]:
    """The closed lines of each ring in a view; in a detail, of its rim."""
    return [
        lines(path.attrib["d"])
        for path in group.iter(f"{SVG}path")
        if path.attrib["stroke-width"] == "1.5" and path.attrib["stroke"] == "#000000"
    ]


def round_rim(group: ElementTree.Element) -> tuple[Points, float]:
    """Middle and radius of a detail's rim, which is a circle."""
    ((rim,),) = ring_lines(group)
    middle = rim.mean(axis=0)
    away = np.linalg.norm(rim - middle, axis=1)
    assert away.max() - away.min() < 0.3
    return middle, float(away.mean())


def slots_at(puzzle: Puzzle, group: ElementTree.Element) -> dict[str, int]:
    """The slot on which each number of a detail stands, or to which it points."""
    own = discs(group)
    stand = np.array([pointed(group, at, radius) for _, at, radius in own])
    found = drawn_at(shapes(group), stand)
    return {text: puzzle.stickers[k].slot for (text, *_), (k,) in zip(own, found, strict=True)}


def laid_out(puzzle: Puzzle, cycle: tuple[int, ...], width: int) -> list[Detail]:
    """The details of a picture, their stickers being read off it."""
    _, enlarged = grouped(picture(puzzle, cycle, width))
    shown = {}
    for group in enlarged:
        for text, at, radius in discs(group):
            ((k,),) = drawn_at(shapes(group), pointed(group, at, radius)[None])
            shown[int(text) - 1] = k
    scenes, height = ball_scenes(puzzle, width, True)
    whole, _ = details(puzzle, scenes, [shown[k] for k in range(len(cycle))], (width, height))
    return whole


def sampled(outlines: list[Points], middle: Points, angle: float, count: int) -> Points:
    """Points of a cap of the ball that are clear of its rim and of all outlines."""
    chosen = np.random.default_rng(11)
    points = chosen.normal(size=(count, 3)) * angle / 2 + middle
    points /= np.linalg.norm(points, axis=1)[:, None]
    points = points[points @ middle > math.cos(0.95 * angle)]
    share = np.linspace(0, 1, 24, endpoint=False)[:, None, None]
    rims = np.concatenate(
        [
            ((1 - share) * outline + share * np.roll(outline, -1, axis=0)).reshape(-1, 3)
            for outline in outlines
        ]
    )
    rims = rims[rims @ middle > math.cos(1.1 * angle)]
    rims /= np.linalg.norm(rims, axis=1)[:, None]
    result: Points = points[(points @ rims.T).max(axis=1) < math.cos(0.02 * angle)]
    return result


@pytest.mark.parametrize(("name", "words"), CROWDED + SCATTERED)
def test_sampled_points_are_drawn_in_their_own_sticker_and_in_no_other(
    name: str, words: str
) -> None:
    puzzle, cycle = load(name), placements(name, words)
    wanted = {int(puzzle.slot_of[place]) for place in cycle}
    _, enlarged = grouped(picture(puzzle, cycle))
    hit = set()
    for detail, group in zip(laid_out(puzzle, cycle, 480), enlarged, strict=True):
        view = detail.scene.view
        angle = math.acos(view.level)
        outlines = {
            k: sticker.outline
            for k, sticker in enumerate(puzzle.stickers)
            if (sticker.outline @ view.toward).max() > math.cos(1.3 * angle)
        }
        points = sampled([*outlines.values()], view.toward, angle, 300)
        assert len(points) > 60
        owners = np.array([holds(outline, points) for outline in outlines.values()])
        assert np.all(owners.sum(axis=0) == 1)
        found = drawn_at(shapes(group), view.paper(points))
        numbers = [*outlines]
        assert found == [[numbers[k]] for k in owners.argmax(axis=0)]
        hit |= {puzzle.stickers[k].slot for (k,) in found}
    assert wanted <= hit


@pytest.mark.parametrize(("name", "words"), CROWDED + SCATTERED)
def test_a_detail_is_seen_straight_from_outside_and_a_circle_clips_it(
    name: str, words: str
) -> None:
    puzzle, cycle = load(name), placements(name, words)
    _, enlarged = grouped(picture(puzzle, cycle))
    for detail, group in zip(laid_out(puzzle, cycle, 480), enlarged, strict=True):
        view = detail.scene.view
        rows = np.vstack([view.across, view.toward])
        assert np.allclose(rows @ rows.T, np.eye(3))
        assert np.linalg.det(rows) > 0
        middle, radius = round_rim(group)
        assert np.allclose(middle, view.paper(view.toward), atol=0.1)
        points = np.concatenate([sticker.outline for sticker in puzzle.stickers])
        points = points[points @ view.toward > view.level]
        flat = (view.paper(points) - view.middle) / (view.scale, -view.scale)
        # In line with the point and the middle of projection, behind the ball.
        assert np.allclose(np.cross(flat @ view.across - points, AWAY * view.toward + points), 0)
        for loops in shapes(group).values():
            for loop in loops:
                assert np.linalg.norm(loop - middle, axis=1).max() < radius + 0.3


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize(("name", "words"), CROWDED + SCATTERED)
def test_all_of_a_cycle_s_pieces_are_in_a_detail_whole_and_bear_their_numbers(
    name: str, words: str, width: int
) -> None:
    puzzle, cycle = load(name), placements(name, words)
    root = picture(puzzle, cycle, width)
    views_, enlarged = grouped(root)
    numbers: dict[str, int] = {}
    for group in enlarged:
        own = slots_at(puzzle, group)
        middle, radius = round_rim(group)
        for slot in own.values():
            stickers = [k for k, s in enumerate(puzzle.stickers) if s.slot == slot]
            assert set(stickers) <= set(shapes(group))
            for k in stickers:
                for loop in shapes(group)[k]:
                    assert np.linalg.norm(loop - middle, axis=1).max() < radius * 0.95
                # It is a good deal larger than in any view of the whole ball.
                there = [shapes(view)[k] for view in views_ if k in shapes(view)]
                assert _area(shapes(group)[k]) > 3 * max(_area(loops) for loops in there)
        assert not set(own) & set(numbers)
        numbers |= own
    assert numbers == {str(k + 1): int(puzzle.slot_of[p]) for k, p in enumerate(cycle)}


def _area(loops: list[Points]) -> float:
    total = 0.0
    for x, y in (loop.T for loop in loops):
        total += abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1))) / 2
    return total


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize(("name", "words"), CROWDED + SCATTERED)
def test_rings_in_the_whole_picture_are_round_the_pieces(name: str, words: str, width: int) -> None:
    puzzle, cycle = load(name), placements(name, words)
    views_, enlarged = grouped(picture(puzzle, cycle, width))
    both, _ = views(puzzle, width, hidden=True)
    within = set()
    for view, group in zip(both, views_, strict=True):
        for loops in ring_lines(group):
            for place in cycle:
                slot = int(puzzle.slot_of[place])
                own = [s.outline for s in puzzle.stickers if s.slot == slot]
                points = np.concatenate(own)
                if np.all(points @ view.toward > 0.05):
                    held = [inside(loops, point) for point in view.paper(points)]
                    assert all(held) or not any(held)
                    within |= {slot} if all(held) else set()
    assert within == {int(puzzle.slot_of[place]) for place in cycle}
    assert sum(len(ring_lines(group)) for group in views_) >= len(enlarged)


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize(("name", "words"), CROWDED)
def test_pieces_near_each_other_are_numbered_in_the_detail_alone(
    name: str, words: str, width: int
) -> None:
    puzzle, cycle = load(name), placements(name, words)
    views_, enlarged = grouped(picture(puzzle, cycle, width))
    crowd = max(enlarged, key=lambda group: len(discs(group)))
    own = [text for text, *_ in discs(crowd)]
    assert len(own) >= 2
    assert len(heads(crowd)) == 3
    elsewhere = [text for view in views_ for text, *_ in discs(view)]
    assert sorted(own + elsewhere) == ["1", "2", "3"]
    if len(own) == 3:
        assert not any(heads(view) or discs(view, "#FFFFFF") for view in views_)


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize(("name", "words"), SCATTERED)
def test_pieces_far_apart_keep_their_arrows_in_the_whole_picture(
    name: str, words: str, width: int
) -> None:
    """A disc stands outside all rings there; a detail repeats its number, without arrows."""
    puzzle, cycle = load(name), placements(name, words)
    views_, enlarged = grouped(picture(puzzle, cycle, width))
    assert [[text for text, *_ in discs(group)] for group in enlarged] == [["1"], ["2"], ["3"]]
    assert not any(heads(group) or discs(group, "#FFFFFF") for group in enlarged)
    assert sorted(text for view in views_ for text, *_ in discs(view)) == ["1", "2", "3"]
    for view in views_:
        for _, at, radius in discs(view):
            for loops in ring_lines(view):
                assert not inside(loops, at)
                assert np.linalg.norm(np.concatenate(loops) - at, axis=1).min() > radius


@pytest.mark.parametrize("width", [120, *WIDTHS, 900])
@pytest.mark.parametrize(("name", "words"), CROWDED + SCATTERED)
def test_details_stand_apart_in_the_picture(name: str, words: str, width: int) -> None:
    root = picture(load(name), placements(name, words), width)
    size = np.array([float(root.attrib["width"]), float(root.attrib["height"])])
    views_, enlarged = grouped(root)
    assert enlarged or width not in WIDTHS
    rims = [round_rim(group) for group in enlarged]
    rims += [
        (np.array([float(c.attrib["cx"]), float(c.attrib["cy"])]), float(c.attrib["r"]))
        for view in views_
        for c in list(view.iter(f"{SVG}circle"))
        if c.attrib["fill"] == "#2B2B2B" and float(c.attrib["r"]) > 15
    ]
    for middle, radius in rims:
        assert np.all(middle - radius >= 0)
        assert np.all(middle + radius <= size)
    for (first, one), (second, other) in combinations(rims, 2):
        assert np.linalg.norm(first - second) > one + other + 2
    for group in enlarged:
        for _, at, radius in [*discs(group), *discs(group, "#FFFFFF")]:
            assert np.all(at >= radius)
            assert np.all(at <= size - radius)


def test_what_can_be_seen_is_not_enlarged() -> None:
    for name, words in [
        ("ball-sixths", "U F R"),
        ("ball-sixths", "tip:UFR tip:UFL tip:UBL"),
        ("ball-corners", "UFR UFL UBL"),
        ("ball-corners", "UF UR FR"),
        ("ball-two-axes", "edge:UF edge:UB edge:UL"),
        ("3x3x3", "UFR UFL UBL"),
        ("5x5x5", "UFR UFL UBL"),
    ]:
        assert "enlarged" not in draw(load(name), placements(name, words))
    for name, _ in CROWDED + SCATTERED:
        assert "enlarged" not in draw(load(name))
        assert "enlarged" not in draw(load(name), marked=range(4))


def test_the_larger_the_picture_the_less_is_enlarged() -> None:
    puzzle, cycle = load("ball-sixths"), placements(*CROWDED[0])
    found = [bool(grouped(picture(puzzle, cycle, width))[1]) for width in (320, 480, 960, 1900)]
    assert found == sorted(found, reverse=True)
    assert found[0]
    assert not found[-1]


def test_the_description_names_what_is_enlarged() -> None:
    root = picture(load("ball-sixths"), placements(*CROWDED[0]))
    assert "Enlarged: " in (root[1].text or "")
    assert "Enlarged" not in (picture(load("ball-corners"))[1].text or "")


def corners(count: int) -> tuple[int, ...]:
    """Placements of a bud about each of some corners, and of a second about the first two."""
    puzzle = load("ball-sixths-218")
    (buds,) = (kind for kind in puzzle.types if kind.name == "bud")
    (tips,) = (kind for kind in puzzle.types if kind.name == "tip")
    about: list[list[int]] = [[] for _ in tips.slots]
    middles = [_middle(puzzle, slot) for slot in tips.slots]
    for slot in buds.slots:
        away = [float(np.linalg.norm(_middle(puzzle, slot) - middle)) for middle in middles]
        about[int(np.argmin(away))].append(int(puzzle.home[slot]))
    assert all(len(own) == 6 for own in about)
    chosen = [own[0] for own in about[:count]] + [own[3] for own in about[:2]]
    return tuple(chosen)


def _middle(puzzle: Puzzle, slot: int) -> Points:
    middle: Points = np.concatenate(
        [sticker.outline for sticker in puzzle.stickers if sticker.slot == slot]
    ).mean(axis=0)
    return middle


@pytest.mark.parametrize(("count", "expected"), [(2, [2, 2]), (3, [2, 2, 1]), (5, [2, 2])])
def test_of_a_long_cycle_crowds_are_enlarged_first(count: int, expected: list[int]) -> None:
    """With several crowds a white number at each ring, of its first piece, says which is which."""
    puzzle = load("ball-sixths-218")
    views_, enlarged = grouped(picture(puzzle, corners(count)))
    assert [len(discs(group)) for group in enlarged] == expected
    there = [text for view in views_ for text, *_ in discs(view, "#FFFFFF")]
    for group in enlarged:
        own = [text for text, *_ in discs(group)]
        if len(own) > 1:
            assert own[0] in there


def test_too_many_crowds_are_left_as_they_are() -> None:
    puzzle = load("ball-sixths-218")
    assert grouped(picture(puzzle, corners(8)))[1]
    (buds,) = (kind for kind in puzzle.types if kind.name == "bud")
    every = tuple(int(puzzle.home[slot]) for slot in buds.slots)
    assert not grouped(picture(puzzle, every))[1]


def test_without_the_hidden_side_what_is_there_is_not_enlarged() -> None:
    puzzle = load("ball-sixths-218")
    cycle = placements(*CROWDED[2])
    _, enlarged = grouped(read(draw(puzzle, cycle, hidden=False)))
    assert [[text for text, *_ in discs(group)] for group in enlarged] == [["3"]]
