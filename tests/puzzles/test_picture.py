"""Pictures: well-formed, only attributes that a page lets in, every sticker in one of the views."""

from __future__ import annotations

import re
from itertools import combinations
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

from puzzles import Puzzle, load
from puzzles.bodies import BODIES, Body
from puzzles.compile import compiled
from puzzles.file import catalogue, parse
from puzzles.names import placement_names
from puzzles.picture import CORES, PALETTE, draw, face_paint
from puzzles.views import directions, inset

NAMES = [name for name in catalogue() if load(name).shape == "solid"]
SVG = "{http://www.w3.org/2000/svg}"
ALLOWED = {
    "svg": {"viewBox", "width", "height", "role"},
    "title": set(),
    "desc": set(),
    "g": set(),
    "polygon": {"points", "fill", "stroke", "stroke-width", "stroke-linejoin", "data-sticker"},
    "path": {"d", "fill", "stroke", "stroke-width", "stroke-linecap"},
    "circle": {"cx", "cy", "r", "fill", "stroke", "stroke-width"},
    "text": {"x", "y", "font-size", "text-anchor", "font-family", "fill"},
}
#: The palette as published: Okabe and Ito, Color Universal Design, 2008, without its black.
OKABE_ITO = ["#E69F00", "#56B4E9", "#009E73", "#F0E442", "#0072B2", "#D55E00", "#CC79A7"]


def read(text: str) -> ElementTree.Element:
    return ElementTree.fromstring(text)


def a_cycle(puzzle: Puzzle, kind: int) -> tuple[int, ...]:
    own = puzzle.types[kind]
    return tuple(int(puzzle.home[slot]) for slot in list(own.slots)[:3])


def cycles(puzzle: Puzzle) -> list[tuple[int, ...]]:
    return [a_cycle(puzzle, k) for k, own in enumerate(puzzle.types) if own.count >= 3]


def shapes(view: ElementTree.Element) -> dict[int, np.ndarray]:
    """The polygons of the stickers in a view by the stickers' numbers."""
    found = {}
    for polygon in view.iter(f"{SVG}polygon"):
        if "data-sticker" in polygon.attrib:
            points = [[float(x) for x in p.split(",")] for p in polygon.attrib["points"].split()]
            found[int(polygon.attrib["data-sticker"])] = np.array(points)
    return found


def discs(view: ElementTree.Element, fill: str = "#000000") -> list[tuple[str, np.ndarray, float]]:
    """Number, middle and radius of the discs of a fill; a disc's number is written after it."""
    row = list(view)
    return [
        (row[k + 1].text or "", np.array([float(c.attrib[x]) for x in ("cx", "cy")]), radius)
        for k, c in enumerate(row)
        if c.tag == f"{SVG}circle" and c.attrib["fill"] == fill
        for radius in [float(c.attrib["r"])]
    ]


def heads(view: ElementTree.Element) -> list[np.ndarray]:
    """The arrowheads in a view, the tip first."""
    return [
        np.array([[float(x) for x in pair.split(",")] for pair in p.attrib["points"].split()])
        for p in view.iter(f"{SVG}polygon")
        if p.attrib.get("stroke-width") == "1.2"
    ]


def pointed(view: ElementTree.Element, at: np.ndarray, radius: float) -> np.ndarray:
    """The place that a disc stands for: its middle, or where a thin line from its rim ends."""
    for path in view.iter(f"{SVG}path"):
        if path.attrib["stroke-width"] == "1.2" and path.attrib["stroke"] == "#000000":
            ends = [
                np.array([float(x) for x in end.split()]) for end in path.attrib["d"][1:].split("L")
            ]
            if abs(np.linalg.norm(ends[0] - at) - radius) < 0.2:
                return ends[1]
    return at


def after(number: str) -> str:
    return {"1": "2", "2": "3", "3": "1"}[number]


def area(points: np.ndarray) -> float:
    x, y = points.T
    return abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1))) / 2


@pytest.mark.parametrize("name", NAMES)
def test_only_allowed_elements_and_attributes_and_nothing_outside(name: str) -> None:
    puzzle = load(name)
    for cycle in (None, *cycles(puzzle)):
        text = draw(puzzle, cycle, marked=range(min(3, puzzle.slot_count)))
        assert len(text.encode()) < 60_000
        assert "url(" not in text
        assert "href" not in text
        for element in read(text).iter():
            tag = element.tag.removeprefix(SVG)
            assert set(element.attrib) <= ALLOWED[tag], tag


@pytest.mark.parametrize("name", NAMES)
def test_every_sticker_is_seen_in_exactly_one_view(name: str) -> None:
    puzzle = load(name)
    front, behind = (shapes(view) for view in read(draw(puzzle)).findall(f"{SVG}g"))
    assert set(front) | set(behind) == set(range(len(puzzle.stickers)))
    assert not set(front) & set(behind)
    toward, _ = directions(puzzle)
    for number, sticker in enumerate(puzzle.stickers):
        normal = puzzle.body.faces[sticker.face].normal
        assert (number in front) == (normal @ toward > 0)


@pytest.mark.parametrize("name", NAMES)
def test_stickers_lie_in_the_picture_and_can_be_seen(name: str) -> None:
    root = read(draw(load(name)))
    width, height = float(root.attrib["width"]), float(root.attrib["height"])
    assert root.attrib["viewBox"] == f"0 0 480 {root.attrib['height']}"
    assert width == 480
    for view in root.findall(f"{SVG}g"):
        for points in shapes(view).values():
            assert points.min() >= 0
            assert np.all(points.max(axis=0) <= (width, height))
            assert area(points) > 4


@pytest.mark.parametrize("name", NAMES)
def test_stickers_do_not_overlap(name: str) -> None:
    """A sticker's middle lies in no other sticker: points in polygons, by the sides they are on."""
    for view in read(draw(load(name))).findall(f"{SVG}g"):
        polygons = shapes(view)
        for number, points in polygons.items():
            middle = points.mean(axis=0)
            holding = [k for k, other in polygons.items() if contains(other, middle)]
            assert holding == [number]


def contains(polygon: np.ndarray, point: np.ndarray) -> bool:
    sides = np.roll(polygon, -1, axis=0) - polygon
    to = point - polygon
    turn = sides[:, 0] * to[:, 1] - sides[:, 1] * to[:, 0]
    return bool(np.all(turn > 0) or np.all(turn < 0))


def test_the_viewer_stands_in_front_to_the_right_and_above() -> None:
    for name in NAMES:
        puzzle = load(name)
        toward, across = directions(puzzle)
        assert toward[0] > 0.1
        assert toward[1] < -0.1
        assert toward[2] > 0.1
        assert np.allclose(np.vstack([across, toward]) @ np.vstack([across, toward]).T, np.eye(3))
        assert np.linalg.det(np.vstack([across, toward])) > 0
        assert min(abs(face.normal @ toward) for face in puzzle.body.faces) > 0.1


def test_up_is_at_the_top_front_at_the_left_and_right_at_the_right() -> None:
    puzzle = load("3x3x3")
    front, behind = (shapes(view) for view in read(draw(puzzle)).findall(f"{SVG}g"))
    middles = {}
    for view in (front, behind):
        for face in {puzzle.stickers[k].face for k in view}:
            own = [p.mean(axis=0) for k, p in view.items() if puzzle.stickers[k].face == face]
            middles[puzzle.body.faces[face].name] = np.mean(own, axis=0)
    assert middles["U"][1] < min(middles["F"][1], middles["R"][1])
    assert middles["F"][0] < middles["R"][0]
    assert middles["D"][1] > max(middles["B"][1], middles["L"][1])
    assert middles["B"][0] < middles["L"][0]


@pytest.mark.parametrize("name", NAMES)
def test_every_face_has_its_letter_once(name: str) -> None:
    puzzle = load(name)
    for cycle in (None, *cycles(puzzle)):
        texts = [element.text for element in read(draw(puzzle, cycle)).iter(f"{SVG}text")]
        for face in puzzle.body.faces:
            assert texts.count(face.name) == 1


@pytest.mark.parametrize("name", NAMES)
def test_a_letter_on_a_sticker_leaves_most_of_it_free(name: str) -> None:
    root = read(draw(load(name)))
    for view in root.findall(f"{SVG}g"):
        for text in view.iter(f"{SVG}text"):
            place = np.array([float(text.attrib["x"]), float(text.attrib["y"])])
            size = float(text.attrib["font-size"])
            place[1] -= size * 0.36
            for points in shapes(view).values():
                if contains(points, place):
                    assert size >= 8
                    assert area(points) > 1.4 * size**2


@pytest.mark.parametrize("name", NAMES)
def test_a_cycle_is_numbered_and_joined_by_arrows(name: str) -> None:
    puzzle = load(name)
    for cycle in cycles(puzzle):
        root = read(draw(puzzle, cycle))
        assert sorted(text for view in root for text, *_ in discs(view)) == ["1", "2", "3"]
        for view in root.findall(f"{SVG}g"):
            numbered = {}
            for _, at, radius in discs(view):
                place = pointed(view, at, radius)
                (number,) = (k for k, p in shapes(view).items() if contains(p, place))
                numbered[number] = at
            slots = {puzzle.stickers[number].slot for number in numbered}
            assert len(slots) == len(numbered)
            assert slots <= {int(puzzle.slot_of[p]) for p in cycle}
            assert len({puzzle.stickers[number].kind for number in numbered}) <= 1
            assert len(heads(view)) == {0: 0, 1: 2, 2: 3, 3: 3}[len(numbered)]


def test_cycles_are_numbered_on_and_twists_are_marked() -> None:
    puzzle = load("3x3x3")
    swaps = [read_cycle_of(puzzle, "UFR UFL"), read_cycle_of(puzzle, "UF UR")]
    (front, _) = read(draw(puzzle, cycles=swaps)).findall(f"{SVG}g")
    assert sorted(text for text, *_ in discs(front)) == ["1", "2", "3", "4"]
    assert len(heads(front)) == 4
    twist = read(draw(puzzle, cycles=[read_cycle_of(puzzle, "UFR RUF FUR")]))
    (front, _) = twist.findall(f"{SVG}g")
    assert len(heads(front)) == 3
    # The tips' stickers do not show how they sit: an arrow with two heads goes round each.
    puzzle = load("ball-sixths")
    tip = next(k for k in puzzle.types if k.name == "tip")
    own = [
        tuple(range(int(puzzle.home[s]), int(puzzle.home[s]) + tip.twists)) for s in tip.slots[:2]
    ]
    (front, *_) = read(draw(puzzle, cycles=own)).findall(f"{SVG}g")
    assert sorted(text for text, *_ in discs(front)) == ["1", "2"]
    assert len(heads(front)) == 4


def read_cycle_of(puzzle: Puzzle, names: str) -> tuple[int, ...]:
    return tuple(placement_names(puzzle).index(name) for name in names.split())


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("width", [300, 480, 900])
def test_every_step_of_a_cycle_is_shown_wherever_its_ends_are(name: str, width: int) -> None:
    """From each disc an arrow goes to the next number, black in this view or white for the other;
    each head's tip is close to one disc and in none, and discs do not overlap.
    """
    puzzle = load(name)
    for cycle in cycles(puzzle):
        root = read(draw(puzzle, cycle, width=width))
        steps = set()
        for view in root.findall(f"{SVG}g"):
            every = [*discs(view), *discs(view, "#FFFFFF")]
            for (_, first, radius), (_, second, _) in combinations(every, 2):
                assert np.linalg.norm(first - second) >= 2 * radius
            own = {text for text, *_ in discs(view)}
            reached = []
            for head in heads(view):
                gaps = [np.linalg.norm(head[0] - at) - radius for _, at, radius in every]
                ahead = int(np.argmin(gaps))
                assert 0.5 < gaps[ahead] < 4
                for point in head:
                    assert all(np.linalg.norm(point - at) > radius for _, at, radius in every)
                reached.append(every[ahead][0])
            assert sorted(reached) == sorted(after(x) for x in "123" if {x, after(x)} & own)
            steps.update(reached)
            for text, at, radius in discs(view, "#FFFFFF"):
                assert text not in own
                assert np.all(at >= radius)
                assert at[0] <= width - radius
                assert at[1] <= float(root.attrib["height"]) - radius
        assert steps == {"1", "2", "3"}


def test_discs_are_of_one_size() -> None:
    for name in NAMES:
        puzzle = load(name)
        for cycle in cycles(puzzle):
            sizes = {c.attrib["r"] for c in read(draw(puzzle, cycle)).iter(f"{SVG}circle")}
            assert len(sizes) == 1


def test_arrows_go_the_way_of_the_cycle() -> None:
    """Each arrowhead points at the next number; the reversed cycle points the other way."""
    puzzle = load("3x3x3")
    cycle = a_cycle(puzzle, 0)
    for order in (cycle, cycle[::-1]):
        view = read(draw(puzzle, order)).findall(f"{SVG}g")[0]
        marks = [at for _, at, _ in discs(view)]
        slots = [
            puzzle.stickers[k].slot
            for m in marks
            for k, p in shapes(view).items()
            if contains(p, m)
        ]
        assert slots == [int(puzzle.slot_of[p]) for p in order]
        for number, head in enumerate(heads(view)):
            distances = [float(np.linalg.norm(head[0] - mark)) for mark in marks]
            assert int(np.argmin(distances)) == (number + 1) % 3


def test_pieces_of_a_cycle_and_marked_ones_are_outlined() -> None:
    puzzle = load("3x3x3")

    def outlined(text: str) -> set[int]:
        polygons = read(text).iter(f"{SVG}polygon")
        return {
            puzzle.stickers[int(p.attrib["data-sticker"])].slot
            for p in polygons
            if "data-sticker" in p.attrib and "stroke" in p.attrib
        }

    assert outlined(draw(puzzle)) == set()
    assert outlined(draw(puzzle, marked=(4, 9))) == {4, 9}
    assert outlined(draw(puzzle, a_cycle(puzzle, 1), marked=[0])) == {0, 8, 9, 10}


def test_the_description_says_what_is_to_be_seen() -> None:
    puzzle = load("3x3x3")
    root = read(draw(puzzle, a_cycle(puzzle, 0), marked=[9]))
    assert root[0].tag == f"{SVG}title"
    assert (root[0].text or "").startswith("3x3x3: U")
    assert (root[0].text or "").count(" to ") == 2
    assert puzzle.description in (root[1].text or "")
    assert "Outlined: U" in (root[1].text or "")


def test_without_the_hidden_side_there_is_one_view() -> None:
    puzzle = load("tetrahedron-corners")
    root = read(draw(puzzle, hidden=False, width=300))
    assert len(root.findall(f"{SVG}g")) == 1
    assert root.attrib["width"] == "300"
    assert 0 < len(shapes(root)) < len(puzzle.stickers)
    assert "behind" not in draw(puzzle, hidden=False)


def test_pictures_have_a_width_within_bounds() -> None:
    puzzle = load("2x2x2")
    for width in (120, 2000):
        assert read(draw(puzzle, width=width)).attrib["width"] == str(width)
    for width in (0, -5, 119, 2001, 10**9):
        with pytest.raises(ValueError, match="120 to 2000 were expected"):
            draw(puzzle, width=width)


def test_a_cycle_has_pieces_of_one_type() -> None:
    with pytest.raises(ValueError, match="placements of one type were expected"):
        draw(load("3x3x3"), (0, 3, 24))


def test_text_is_escaped() -> None:
    text = 'description = "<script> & co"\nbody = "cube"\nup = "U"\nfront = "F"\n'
    text += '[[layers]]\naxes = "faces"\nabove = "1/3"\nsteps = 4\n'
    drawn = draw(compiled("a<b>&", parse(text, "own")))
    assert "<script>" not in drawn
    assert read(drawn)[0].text == "a<b>&"
    assert "<script> & co" in (read(drawn)[1].text or "")


@pytest.mark.parametrize("name", BODIES)
def test_faces_are_painted_differently(name: str) -> None:
    body: Body = BODIES[name]()
    paints = face_paint(body)
    assert len(set(paints)) == len(body.faces)
    for first, face in enumerate(body.faces):
        for second, other in enumerate(body.faces):
            if first != second and len(set(face.corners) & set(other.corners)) == 2:
                assert paints[first] != paints[second]
                if len(body.faces) <= 20:
                    assert paints[first][0] != paints[second][0]


def test_colours_are_the_published_ones_and_greys() -> None:
    greys = re.compile("#(..)\\1\\1")
    assert set(OKABE_ITO) <= set(PALETTE)
    for colour in (*PALETTE, *CORES[1:]):
        assert colour in OKABE_ITO or greys.fullmatch(colour)


def test_a_notebook_shows_the_picture() -> None:
    puzzle = load("2x2x2")
    assert puzzle._repr_svg_() == draw(puzzle)


def test_a_body_with_many_faces_is_drawn(tmp_path: Path) -> None:
    path = tmp_path / "twenty.toml"
    path.write_text(
        'description = "An icosahedron."\nbody = "icosahedron"\nup = "A"\nfront = "B"\n'
        '[[layers]]\naxes = "corners"\nabove = "0.9"\nsteps = 5\n',
        encoding="utf-8",
    )
    puzzle = load(str(path))
    front, behind = (shapes(view) for view in read(draw(puzzle)).findall(f"{SVG}g"))
    assert len(front) + len(behind) == len(puzzle.stickers)


@pytest.mark.parametrize("corners", [3, 4, 5, 9])
def test_a_shape_is_moved_inwards_by_the_same_at_every_side(corners: int) -> None:
    """Distances from lines, worked out here apart from the drawing's own arithmetic."""
    chosen = np.random.default_rng(corners)
    angles = (np.arange(corners) + chosen.uniform(0, 0.6, corners)) * 2 * np.pi / corners
    shape = np.column_stack([np.cos(angles), np.sin(angles), np.full(corners, 2.0)])
    moved = inset(shape, np.array([0.0, 0.0, 1.0]), 0.5, 0.02)
    for k in range(corners):
        side = shape[(k + 1) % corners] - shape[k]
        inward = np.array([-side[1], side[0], 0.0]) / np.linalg.norm(side)
        for corner in (moved[k], moved[(k + 1) % corners]):
            assert (corner - shape[k]) @ inward == pytest.approx(0.02)


def test_fastened_pieces_are_joined_by_bars_on_the_faces_they_share() -> None:
    """UFR and UF share U and F, DBL and DB share D and B, UBL and BL share B and L: six bars."""
    bars = [
        element
        for element in read(draw(load("3x3x3-bandaged"))).iter(f"{SVG}path")
        if element.get("stroke-width") == "6"
    ]
    assert len(bars) == 6
    assert "Fastened together: UFR to UF; DBL to DB; UBL to BL." in draw(load("3x3x3-bandaged"))
