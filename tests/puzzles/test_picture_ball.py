"""Pictures of balls: sampled points lie in the shapes that are drawn, cycles can be followed."""

from __future__ import annotations

import math
import re
from functools import lru_cache
from itertools import combinations
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from numpy.typing import NDArray

from puzzles import Puzzle, load
from puzzles.file import catalogue
from puzzles.paint import BODY, UNPAINTED, face_paint
from puzzles.picture import draw
from puzzles.puzzle import Sticker
from puzzles.views import AWAY, View, views
from service.cli import run
from tests.puzzles.test_picture import ALLOWED, SVG, after, cycles, discs, heads, pointed, read
from tests.puzzles.test_picture_horizon import Points, frame, inside

NAMES = [name for name in catalogue() if load(name).shape == "ball"]
PATH = ALLOWED["path"] | {"stroke-linejoin", "data-sticker"}
WIDTHS = [320, 480]

HEADER = 'description = "A ball."\nshape = "ball"\nbody = "cube"\nup = "U"\nfront = "F"\n'


def layer(axes: str, within: str, steps: int) -> str:
    return f'[[layers]]\naxes = {axes}\nsteps = {steps}\nwithin = "{within}"\n'


#: Puzzles of this file: a band, a cap in a ball that has just one, pieces without paint.
OWN = {
    "band": HEADER + "paint = false\nkeep_twists = true\n" + layer('["U", "D"]', "70deg", 4),
    "cap": HEADER + layer('["UFR"]', "25deg", 3),
    "unpainted": HEADER + "paint = false\n" + layer('"corners"', "40deg", 3),
    "twelve": HEADER.replace("cube", "dodecahedron")
    + "keep_twists = true\n"
    + layer('"faces"', "30deg", 5),
}


@pytest.fixture(scope="session", params=[*NAMES, *OWN])
def puzzle(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Puzzle:
    name = str(request.param)
    if name in NAMES:
        return load(name)
    path = tmp_path_factory.mktemp("balls") / f"{name}.toml"
    path.write_text(OWN[name], encoding="utf-8")
    return load(str(path))


@lru_cache(maxsize=200)
def picture(
    puzzle: Puzzle, cycle: tuple[int, ...] | None = None, width: int = 480
) -> ElementTree.Element:
    return read(draw(puzzle, cycle, width=width))


def numbered(root: ElementTree.Element) -> list[ElementTree.Element]:
    """The views of a picture, and details with arrows; those of one piece repeat its number."""
    return [
        view
        for view in root.findall(f"{SVG}g")
        if heads(view) or not any(text.text == "enlarged" for text in view.iter(f"{SVG}text"))
    ]


def lines(path: str) -> list[Points]:
    """The closed lines of a path: M and a place, l and steps from there, z."""
    found = []
    for x, y, steps in re.findall(r"M([\d.]+) ([\d.]+)l([-\d. ]*)z", path):
        numbers = np.array([float(v) for v in steps.split()]).reshape(-1, 2)
        found.append(
            np.vstack([np.zeros(2), numbers]).cumsum(axis=0) + np.array([float(x), float(y)])
        )
    assert path.count("M") == len(found)
    return found


def shapes(view: ElementTree.Element) -> dict[int, list[Points]]:
    """The closed lines of the stickers in a view by the stickers' numbers."""
    return {
        int(path.attrib["data-sticker"]): lines(path.attrib["d"])
        for path in view.iter(f"{SVG}path")
        if "data-sticker" in path.attrib
    }


def holds(outline: Points, points: Points) -> NDArray[np.bool_]:
    """Which points of the sphere lie on the left of a closed line.

    Seen from each point, the line goes round it once; the other points of the sphere are seen in
    stereographic projection, in which the point across is infinitely far away.
    """
    ways = np.array([frame(point) for point in points]) @ outline.T
    flat = (ways[:, 0] + 1j * ways[:, 1]) / np.maximum(1 + ways[:, 2], 1e-12)
    following = np.roll(flat, -1, axis=1)
    rounds = np.round(np.angle(following / flat).sum(axis=1) / (2 * math.pi))
    area = (flat.conj() * following).imag.sum(axis=1)
    result: NDArray[np.bool_] = rounds == np.where(area > 0, 1, 0)
    return result


def drawn_at(there: dict[int, list[Points]], places: Points) -> list[list[int]]:
    """The stickers in whose shapes each of some places lies."""
    found: list[list[int]] = [[] for _ in places]
    for k, shape in there.items():
        every = np.concatenate(shape)
        near = np.all((places > every.min(axis=0)) & (places < every.max(axis=0)), axis=1)
        for n in np.flatnonzero(near).tolist():
            if inside(shape, places[n]):
                found[n].append(k)
    return found


def sampled(puzzle: Puzzle, count: int) -> tuple[Points, list[int]]:
    """Points of the sphere that are clear of all rims, and the sticker that each lies in."""
    points = np.random.default_rng(7).normal(size=(count, 3))
    points /= np.linalg.norm(points, axis=1)[:, None]
    rims = np.concatenate([_dense(sticker.outline) for sticker in puzzle.stickers])
    points = points[np.abs(points @ rims.T).max(axis=1) < math.cos(0.03)]
    inside = np.array([holds(sticker.outline, points) for sticker in puzzle.stickers])
    assert np.all(inside.sum(axis=0) == 1)
    return points, inside.argmax(axis=0).tolist()


def _dense(outline: Points) -> Points:
    """Points of a closed line and three more on each side, on the sphere."""
    share = np.linspace(0, 1, 4, endpoint=False)[:, None, None]
    points = ((1 - share) * outline + share * np.roll(outline, -1, axis=0)).reshape(-1, 3)
    result: Points = points / np.linalg.norm(points, axis=1)[:, None]
    return result


def test_sampled_points_are_drawn_in_their_own_sticker_and_in_no_other(puzzle: Puzzle) -> None:
    points, owners = sampled(puzzle, 150)
    assert len(points) > 20
    both, _ = views(puzzle, 480, hidden=True)
    for view, drawn in zip(both, picture(puzzle).findall(f"{SVG}g"), strict=True):
        ahead = np.flatnonzero(points @ view.toward > 0.06)
        found = drawn_at(shapes(drawn), view.paper(points[ahead]))
        assert found == [[owners[k]] for k in ahead]


def test_a_place_on_the_paper_is_in_line_with_its_point_and_the_middle_of_projection() -> None:
    for view in views(load("ball-corners"), 480, hidden=True)[0]:
        assert isinstance(view, View)
        points = np.random.default_rng(3).normal(size=(50, 3))
        points /= np.linalg.norm(points, axis=1)[:, None]
        flat = (view.paper(points) - view.middle) / (view.scale, -view.scale)
        lifted = flat @ view.across - points
        beyond = -AWAY * view.toward - points
        assert np.allclose(np.cross(lifted, beyond), 0)
        assert np.allclose(view.paper(view.across[0]), view.middle + np.array([view.scale, 0]))


def test_every_piece_is_seen_and_every_sticker_lies_in_its_disc(puzzle: Puzzle) -> None:
    root = picture(puzzle)
    width, height = float(root.attrib["width"]), float(root.attrib["height"])
    seen: set[int] = set()
    both, _ = views(puzzle, 480, hidden=True)
    for view, drawn in zip(both, root.findall(f"{SVG}g"), strict=True):
        assert np.all(view.middle >= view.scale)
        assert np.all(view.middle + view.scale <= (width, height))
        for number, loops in shapes(drawn).items():
            seen.add(number)
            for loop in loops:
                assert np.linalg.norm(loop - view.middle, axis=1).max() < view.scale + 0.2
    assert seen == set(range(len(puzzle.stickers)))


def test_only_allowed_elements_and_attributes_and_nothing_outside(puzzle: Puzzle) -> None:
    for cycle in (None, *cycles(puzzle)):
        text = draw(puzzle, cycle, marked=range(min(3, puzzle.slot_count)))
        assert len(text.encode()) < 120_000
        assert "url(" not in text
        assert "href" not in text
        for element in read(text).iter():
            tag = element.tag.removeprefix(SVG)
            assert set(element.attrib) <= (PATH if tag == "path" else ALLOWED[tag]), tag


def test_stickers_have_their_face_s_colour_and_grey_without_paint(puzzle: Puzzle) -> None:
    paint = {-1: UNPAINTED, **{k: c for k, (c, _) in enumerate(face_paint(puzzle.body))}}
    for path in picture(puzzle).iter(f"{SVG}path"):
        if "data-sticker" in path.attrib:
            sticker = puzzle.stickers[int(path.attrib["data-sticker"])]
            assert path.attrib["fill"] == paint[sticker.face]


def test_gaps_go_round_pieces_and_not_between_stickers_of_one(puzzle: Puzzle) -> None:
    for view in picture(puzzle).findall(f"{SVG}g"):
        paths = [path for path in view.iter(f"{SVG}path") if "data-sticker" in path.attrib]
        slots = [puzzle.stickers[int(path.attrib["data-sticker"])].slot for path in paths]
        for path, slot in zip(paths, slots, strict=True):
            alone = slots.count(slot) == 1
            assert path.attrib["stroke"] == (BODY if alone else path.attrib["fill"])
        around = [
            path
            for path in view.iter(f"{SVG}path")
            if path.attrib["fill"] == "none" and path.attrib["stroke"] == BODY
        ]
        several = sum(slots.count(slot) > 1 for slot in set(slots))
        fastened = sum(bool(set(group) & set(slots)) for group in puzzle.bonds)
        assert len(around) == several + fastened


def test_every_face_has_its_letter_once_and_clear_of_numbers(puzzle: Puzzle) -> None:
    for width in WIDTHS:
        for cycle in (None, *cycles(puzzle)):
            root = picture(puzzle, cycle, width)
            texts = [element.text for element in root.iter(f"{SVG}text")]
            for face in puzzle.body.faces:
                assert texts.count(face.name) == 1
            for view in root.findall(f"{SVG}g"):
                every = [*discs(view), *discs(view, "#FFFFFF")]
                for text in view.iter(f"{SVG}text"):
                    if len(text.text or "") == 1 and (text.text or "").isalpha():
                        size = float(text.attrib["font-size"])
                        place = np.array([float(text.attrib["x"]), float(text.attrib["y"])])
                        place[1] -= size * 0.36
                        assert np.all(place > 0)
                        assert place[0] < width
                        for _, at, radius in every:
                            assert np.linalg.norm(place - at) > radius + size * 0.3


def test_letters_stand_where_the_axes_of_faces_come_out() -> None:
    for name in ("ball-corners", "ball-two-axes", "ball-sixths"):
        puzzle = load(name)
        both, _ = views(puzzle, 480, hidden=True)
        for view, drawn in zip(both, picture(puzzle).findall(f"{SVG}g"), strict=True):
            for text in drawn.iter(f"{SVG}text"):
                face = puzzle.body.face(text.text or "")
                if face is not None:
                    place = np.array([float(text.attrib["x"]), float(text.attrib["y"])])
                    place[1] -= float(text.attrib["font-size"]) * 0.36
                    assert np.linalg.norm(place - view.paper(face.normal)) < 0.2


@pytest.mark.parametrize("width", WIDTHS)
def test_a_cycle_is_numbered_on_its_pieces_and_joined_by_arrows(puzzle: Puzzle, width: int) -> None:
    """From each disc an arrow goes to the next number, black in this view or white for the other;
    each head's tip is close to one disc and in none, and discs do not overlap.
    """
    for cycle in cycles(puzzle):
        root = picture(puzzle, cycle, width)
        places: dict[str, Sticker] = {}
        steps = set()
        for view in numbered(root):
            every = [*discs(view), *discs(view, "#FFFFFF")]
            for (_, first, radius), (_, second, _) in combinations(every, 2):
                assert np.linalg.norm(first - second) >= 2 * radius
            own = [text for text, *_ in discs(view)]
            assert not set(own) & set(places)
            stand = [pointed(view, at, radius) for _, at, radius in discs(view)]
            if own:
                for text, numbers in zip(own, drawn_at(shapes(view), np.array(stand)), strict=True):
                    (number,) = numbers
                    places[text] = puzzle.stickers[number]
            reached = []
            for head in heads(view):
                gaps = [np.linalg.norm(head[0] - at) - radius for _, at, radius in every]
                ahead = int(np.argmin(gaps))
                assert 0.5 < gaps[ahead] < 4
                for point in head:
                    assert all(np.linalg.norm(point - at) > radius for _, at, radius in every)
                reached.append(every[ahead][0])
            assert sorted(reached) == sorted(after(x) for x in "123" if {x, after(x)} & set(own))
            steps.update(reached)
            for _, at, radius in every:
                assert np.all(at >= radius)
                assert at[0] <= width - radius
                assert at[1] <= float(root.attrib["height"]) - radius
        assert steps == {"1", "2", "3"}
        slots = [places[number].slot for number in "123"]
        assert slots == [int(puzzle.slot_of[p]) for p in cycle]
        if puzzle.types[int(puzzle.type_of[slots[0]])].stickered:
            assert len({sticker.kind for sticker in places.values()}) == 1
            assert [places[x].placement for x in "123"] in ([-1] * 3, list(cycle))


def test_pieces_of_a_cycle_and_marked_ones_are_outlined() -> None:
    puzzle = load("ball-corners")

    def outlined(text: str) -> set[tuple[float, float]]:
        paths = read(text).iter(f"{SVG}path")
        return {
            tuple(lines(path.attrib["d"])[0].mean(axis=0).round(1).tolist())
            for path in paths
            if path.attrib.get("stroke-width") == "2.2"
        }

    assert outlined(draw(puzzle)) == set()
    for slot in range(puzzle.slot_count):
        assert 1 <= len(outlined(draw(puzzle, marked=[slot]))) <= 2
    assert outlined(draw(puzzle, marked=[3])) < outlined(draw(puzzle, marked=[3, 20]))


def test_without_the_hidden_side_there_is_one_view() -> None:
    puzzle = load("ball-corners")
    for width in (120, 300):
        root = read(draw(puzzle, cycles(puzzle)[0], hidden=False, width=width))
        assert len(root.findall(f"{SVG}g")) == 1
        assert root.attrib["width"] == str(width)
        assert 0 < len(shapes(root)) < len(puzzle.stickers)


def test_the_command_line_draws_balls(tmp_path: Path) -> None:
    for words in (["parts", "ball-corners"], ["try", "ball-corners", "UFR UFL UFR'"]):
        path = tmp_path / f"{words[0]}.svg"
        assert run([*words, "--picture", str(path)]) == 0
        assert shapes(ElementTree.parse(path).getroot())
