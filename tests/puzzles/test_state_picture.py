"""Pictures of states: the paint at every point is what turning sampled points brings there.

The points are those of the plain simulators, which share no code with the tables or with pictures.
"""

from __future__ import annotations

import random
import re
from typing import Any

import numpy as np
import pytest

from puzzles import load
from puzzles.file import read
from puzzles.names import slot_names
from puzzles.notation import parse
from puzzles.paint import BODY, UNPAINTED, face_paint, pale
from puzzles.picture import draw
from puzzles.puzzle import Puzzle, Word
from puzzles.standing import patches
from puzzles.state_picture import draw_state, ground, stage
from puzzles.turn_arrows import turn_arrow
from puzzles.type_picture import draw_types, pattern, plain, swatch
from puzzles.views import View
from search.hands import held, holdings
from tests.painted_svg import picture
from tests.plain import named, of_shape, plain_ball
from tests.plain import plain as simulator

SOLIDS = of_shape("solid")
#: Balls whose pieces fit exactly; where they need not, points in the gaps may show either piece.
BALLS = ["ball-corners", "ball-sixths-114", "ball-two-axes"]
#: How far around a point all must be the same, in units of the picture.
CLEAR = 1.4
#: About how many points of a view are looked at.
MOST = 120


def some_word(puzzle: Puzzle, turns: int, seed: int) -> Word:
    """Return turns that can be done, none of the layer of the one before."""
    chance, word = random.Random(seed), ()
    while len(word) < turns:
        turn = chance.randrange(len(puzzle.turns))
        if word and puzzle.turn_layer[turn] == puzzle.turn_layer[word[-1]]:
            continue
        if puzzle.first_blocked((*word, turn)) is None:
            word = (*word, turn)
    return word


def points_of(puzzle: Puzzle) -> Any:
    return plain_ball(puzzle) if puzzle.shape == "ball" else simulator(puzzle)


def seen(puzzle: Puzzle, view: View, points: np.ndarray) -> np.ndarray:
    """Return which points of the surface a view shows."""
    if puzzle.shape == "ball":
        return points @ view.toward > 0.1
    normals = np.array([face.normal for face in puzzle.body.faces])
    distances = np.array([face.distance for face in puzzle.body.faces])
    face = (points @ normals.T / distances).argmax(axis=1)
    return normals[face] @ view.toward > 1e-6


def assert_shown(puzzle: Puzzle, word: Word, holding: int = 0, text: str = "") -> None:
    """Check the paint at every sampled point that is seen and not at an edge.

    ``text`` is a picture that somebody else has drawn of that state.
    """
    sampled = points_of(puzzle)
    now = sampled.do(named(puzzle, word))
    drawn = picture(text or draw_state(puzzle, word, holding=holding))
    paint = {-1: (UNPAINTED, ""), **dict(enumerate(face_paint(puzzle.body)))}
    away = np.linalg.norm(now - sampled.home, axis=1) > 1e-6
    slots, effect, looked_at = slots_of(puzzle, sampled), puzzle.effect(word), 0
    for view in stage(puzzle, holding).views:
        places = view.paper(now)
        shown = np.flatnonzero(seen(puzzle, view, now))
        for k in shown[:: max(1, len(shown) // MOST)]:
            found = drawn.clear(*places[k], CLEAR)
            if found is None or found.fill == BODY:
                continue
            colour, core = paint[int(sampled.face[k])]
            # What is turned on its spot and looks the same is at home for the tables.
            home = int(puzzle.home[slots[k]])
            strong = {colour, core}, {pale(colour), core and pale(core)}
            right = strong[int(effect[home] == home)]
            assert found.fill in right, f"{puzzle.name}: {found} at {places[k]}, not {right}"
            assert effect[home] == home or away[k]
            looked_at += 1
    assert looked_at > 30


def slots_of(puzzle: Puzzle, sampled: Any) -> np.ndarray:
    """Return the slot at home of each sampled point."""
    if puzzle.shape == "ball":
        return np.asarray(sampled.piece)
    return np.array([puzzle.stickers[k].slot for k in sampled.stickers[sampled.patch]])


@pytest.mark.parametrize("name", SOLIDS)
def test_every_point_of_a_solid_is_painted_as_where_it_comes_from(name: str) -> None:
    puzzle = load(name)
    for turns in (0, 1, 2, 5):
        assert_shown(puzzle, some_word(puzzle, turns, turns))


@pytest.mark.parametrize("name", BALLS)
def test_every_point_of_a_ball_is_painted_as_where_it_comes_from(name: str) -> None:
    puzzle = load(name)
    for turns in (1, 4):
        assert_shown(puzzle, some_word(puzzle, turns, turns))


@pytest.mark.parametrize("name", ["3x3x3", "octahedron-faces", "ball-sixths-114"])
def test_held_otherwise_the_same_is_seen_from_elsewhere(name: str) -> None:
    puzzle = load(name)
    word = some_word(puzzle, 4, 1)
    for holding in holdings(puzzle)[1::7]:
        assert_shown(puzzle, word, holding)
        up, front = (puzzle.body.axis(letters) for letters in held(puzzle, holding))
        if up is None or front is None:
            continue
        view = stage(puzzle, holding).views[0]
        assert view.across[1] @ up > 0.5, "what is up is up"
        assert view.toward @ front > 0.2, "what is in front is in front"


@pytest.mark.parametrize("name", ["2x2x2", "3x3x3-slices", "4x4x4", "tetrahedron-corners"])
def test_places_are_those_of_the_plain_simulator(name: str) -> None:
    puzzle, word = load(name), some_word(load(name), 7, 5)
    effect = simulator(puzzle).sticker_effect(named(puzzle, word))
    found = {own.sticker: own.place for own in patches(puzzle, word)}
    assert found == dict(enumerate(effect.tolist()))


def test_numbers_go_with_their_pieces() -> None:
    """The discs lie where the simulator has carried the stickers that they were put on."""
    puzzle = load("3x3x3")
    word = parse(puzzle, "R U R' U' L' U R U' L R'").word
    names = ["UFL", "RUB", "BUL"]
    cycle = [puzzle_placement(puzzle, name) for name in names]
    first = discs(draw_state(puzzle, (), cycle))
    last = discs(draw_state(puzzle, word, cycle))
    assert sorted(first) == sorted(last) == ["1", "2", "3"]
    for k in range(3):
        here, there = last[str(k + 1)], first[str((k + 1) % 3 + 1)]
        assert np.allclose(here, there), "each piece of the cycle is where the next one was"
    for done in range(1, len(word)):
        drawn = discs(draw_state(puzzle, word[:done], cycle))
        effect = simulator(puzzle).sticker_effect(named(puzzle, word[:done]))
        at_home = {tuple(middle): k for k, middle in enumerate(middles(puzzle))}
        for number, place in first.items():
            sticker = at_home[nearest(at_home, place)]
            moved = at_home[nearest(at_home, drawn[number])]
            assert moved == effect[sticker]


def puzzle_placement(puzzle: Puzzle, name: str) -> int:
    from puzzles.names import read_placement

    placement = read_placement(puzzle, name).placement
    assert placement is not None
    return placement


def discs(text: str) -> dict[str, tuple[float, float]]:
    found = re.findall(r'<circle cx="([\d.]+)" cy="([\d.]+)" [^>]*/><text [^>]*>(\d)</text>', text)
    return {number: (float(x), float(y)) for x, y, number in found}


def middles(puzzle: Puzzle) -> list[np.ndarray]:
    """Return where the middle of each sticker is, in the view that shows it."""
    result = []
    for sticker in puzzle.stickers:
        normal = puzzle.body.faces[sticker.face].normal
        view = next(own for own in stage(puzzle).views if normal @ own.toward > 0)
        result.append(view.paper(sticker.outline.mean(axis=0)))
    return result


def nearest(places: dict[tuple[float, ...], int], place: tuple[float, float]) -> tuple[float, ...]:
    return min(places, key=lambda own: float(np.hypot(own[0] - place[0], own[1] - place[1])))


def test_on_a_written_puzzle_places_bear_the_pieces_that_its_cycles_bring() -> None:
    """Against the cycles in the file, multiplied out here."""
    puzzle = load("three-wheels")
    model: Any = read("three-wheels")[1]
    names, word = list(slot_names(puzzle)), parse(puzzle, "L R T' L2").word
    where = {name: name for name in names}
    for layer, amount in named(puzzle, word):
        cycles = next(turn for turn in model.turns if turn.name == layer).cycles
        step = {}
        for cycle in re.findall(r"\(([^)]*)\)", cycles):
            bare = [one.partition("+")[0] for one in cycle.split()]
            step.update(zip(bare, bare[1:] + bare[:1], strict=True))
        for _ in range(amount):
            where = {name: step.get(place, place) for name, place in where.items()}
    text = draw_state(puzzle, word, (0, 3, 6))
    found = {int(a): int(b) for a, b in re.findall(r'data-piece="(\d+)" data-place="(\d+)"', text)}
    assert {names[a]: names[b] for a, b in found.items()} == where


def test_the_ground_may_stand_elsewhere() -> None:
    puzzle, word = load("3x3x3"), some_word(load("3x3x3"), 3, 2)
    whole, short = draw_state(puzzle, word), draw_state(puzzle, word, ground="below")
    assert short == whole.replace(ground(puzzle), '<use href="#below"/>')
    assert ground(load("three-wheels")) == ""


@pytest.mark.parametrize("name", ["3x3x3", "dodecahedron-faces", "ball-sixths-114", "cube-edges"])
def test_an_arrow_goes_the_way_that_points_of_its_layer_go(name: str) -> None:
    """From its tail to its tip, as the plain simulator turns what is nearest to the viewer."""
    puzzle = load(name)
    sampled = points_of(puzzle)
    for view in stage(puzzle).views:
        for turn in range(len(puzzle.turns)):
            steps = puzzle.layers[int(puzzle.turn_layer[turn])].steps
            if 2 * puzzle.turns[turn].amount == steps:
                continue  # Half a round is the same either way.
            drawn = turn_arrow(puzzle, view, turn)
            if not drawn:
                continue
            line = [float(one) for one in re.findall(r"-?[\d.]+", drawn[0].split('"')[1])]
            way = np.array(line).reshape(-1, 2)
            now = sampled.do(named(puzzle, (turn,)))
            moved = np.linalg.norm(now - sampled.home, axis=1) > 1e-6
            both = moved & seen(puzzle, view, sampled.home) & seen(puzzle, view, now)
            start, end = view.paper(sampled.home[both]), view.paper(now[both])
            near = np.linalg.norm(start - way.mean(axis=0), axis=1)
            if not len(near) or near.min() > 12:
                continue
            close = near <= near.min() + 4
            went = (end - start)[close].mean(axis=0)
            assert went @ (way[-1] - way[0]) > 0, f"{puzzle.turns[turn]}"


def test_pictures_may_stand_in_any_page() -> None:
    """Attributes alone: no styles, scripts, or references to elsewhere; markup is text."""
    puzzle = load("3x3x3")
    texts = [
        draw_state(puzzle, (0, 3), (0, 3, 6), 3, title="<b>&"),
        draw_types(puzzle, [0, 1], "own", "<i>"),
        swatch(3, "s", "<u>"),
        draw(puzzle, holding=5),
    ]
    for text in texts:
        assert not re.search(r"<style|style=|<script|<b>|<i>|<u>|href=\"[^#]|url\([^#]", text)
        picture(text)


def greys(text: str) -> set[str]:
    return set(re.findall(r"#[0-9A-Fa-f]{6}", text))


@pytest.mark.parametrize("name", ["3x3x3", "ball-sixths-114", "5x5x5", "three-wheels"])
def test_types_are_told_by_patterns_in_greys_alone(name: str) -> None:
    puzzle = load(name)
    kinds = range(len(puzzle.types))
    text = draw_types(puzzle, kinds, "map", puzzle.name)
    assert all(len({own[1:3], own[3:5], own[5:7]}) == 1 for own in greys(text))
    groups = re.findall(r'<g fill="url\(#map-(\d+)\)"[^>]*data-type="(\d+)">(.*?)</g>', text)
    assert [(a, b) for a, b, _ in groups] == [(str(k), str(k)) for k in kinds]
    for kind, _, inside in groups:
        alone = draw_types(puzzle, [int(kind)], "one", "one")
        assert f"{inside}</g></svg>" in alone
        assert plain(puzzle) in alone
        assert draw_types(puzzle, [int(kind)], "one", "one", "ground").count("<use ") == 1


def test_no_two_patterns_are_alike() -> None:
    made = [pattern(kind, "own") for kind in range(30)]
    assert len(set(made)) == 30
