"""The drawing of a puzzle in a page, in a real browser, beside the compiled tables and rays."""

from __future__ import annotations

import gzip
import json
import math
import random
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from puzzles import effects, load
from puzzles.drawing import drawing, section_of
from puzzles.file import catalogue
from puzzles.names import placement_names, slot_names, sticker_name
from puzzles.notation import write
from puzzles.paint import UNPAINTED, face_paint
from puzzles.puzzle import Puzzle, Word
from puzzles.views import directions
from tests.pages import rays
from tests.pages.browser import browser, served

NAMES = tuple(catalogue())
WITH_BODY = tuple(name for name in NAMES if name != "three-wheels")


def words(puzzle: Puzzle, count: int, length: int) -> list[Word]:
    """Return random words, the same each time, that can be done where turns may be blocked."""
    own = random.Random(puzzle.name)
    result = []
    for _ in range(count):
        word: list[int] = []
        while len(word) < length:
            turn = own.randrange(len(puzzle.turns))
            if puzzle.first_blocked([*word, turn]) is None:
                word.append(turn)
        result.append(tuple(word))
    return result


# --- the data -----------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_the_data_hold_the_tables(name: str) -> None:
    puzzle = load(name)
    drawn = drawing(puzzle)
    assert len(json.loads(drawn.text())["turns"]["name"]) == len(puzzle.turns)
    # Of the 150 kB that a page may take in all.
    assert len(gzip.compress(drawn.text().encode())) < 25_000
    tables: list[list[int]] = []
    for number, turn in enumerate(drawn.turns):
        table = list(range(puzzle.placement_count))
        for cycle in turn.cycles or ():
            for here, there in zip(cycle, cycle[1:] + cycle[:1], strict=True):
                table[here] = there
        for _ in range(turn.times if turn.cycles is None else 0):
            table = [tables[turn.of][place] for place in table]
        tables.append(table)
        assert table == puzzle.moves[number].tolist()
        assert turn.name == write(puzzle, [number])
        assert turn.inverse == puzzle.inverses[number]
    assert len(drawn.rotations) == (0 if puzzle.shape == "written" else puzzle.placement_count)
    for quaternion, frame in zip(drawn.rotations, puzzle.frames, strict=False):
        w, x, y, z = np.array(quaternion) / np.linalg.norm(quaternion)
        # Rodrigues' formula with the axis and angle that a unit quaternion holds.
        half = math.acos(max(-1.0, min(1.0, w)))
        axis = np.array([x, y, z]) / max(math.sin(half), 1e-9)
        turned = rays.about(axis, 2 * half) if half > 1e-6 else np.eye(3)
        assert np.abs(turned - frame).max() < 3e-4


def test_the_section_through_the_middle_of_a_cube_is_a_regular_hexagon() -> None:
    """Of a cube with half-edge 1 its sides are sqrt(2) long, by Pythagoras."""
    puzzle = load("cube-corners")
    for layer in puzzle.layers:
        corners = section_of(puzzle.body, np.array(layer.axis), layer.low)
        sides = np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1)
        assert sides == pytest.approx([math.sqrt(2)] * 6)
    assert not len(section_of(puzzle.body, np.array([0.0, 0.0, 1.0]), 1.0))
    assert not len(section_of(puzzle.body, np.array([0.0, 0.0, 1.0]), math.inf))


# --- in the browser -----------------------------------------------------------------------------


class Shown:
    """A page with a drawing; what it says on its console and where it asks for things is kept."""

    def __init__(self, page: Any, address: str) -> None:
        self.page = page
        self.complaints: list[str] = []
        self.asked: list[str] = []
        page.on("console", lambda message: self.complaints.append(message.text))
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("request", lambda request: self.asked.append(request.url))
        # Pixels are read often here; that it is faster so is all that this changes.
        page.add_init_script(
            "const own = HTMLCanvasElement.prototype.getContext;"
            "HTMLCanvasElement.prototype.getContext = function (kind) {"
            " return own.call(this, kind, { willReadFrequently: true }); };"
        )
        page.goto(address)
        page.wait_for_selector("html[data-ready]", state="attached")

    def show(self, name: str, **options: object) -> None:
        """Begin a drawing of a puzzle."""
        self.page.evaluate("([name, options]) => show(name, options)", [name, options])

    def run(self, script: str, *given: object) -> Any:
        """Return what a function of the page returns."""
        return self.page.evaluate(script, list(given))

    def pixels(self, points: list[list[float]]) -> list[str]:
        """Return colours "#RRGGBB" at points of the canvas, "" where it is empty."""
        found: list[str] = self.run(
            """([points]) => { drawing.paintNow();
              const { width, height } = drawing.canvas;
              const { data } = drawing.ctx.getImageData(0, 0, width, height);
              return points.map(([x, y]) => {
                const at = 4 * (Math.round(y) * width + Math.round(x));
                if (data[at + 3] < 255) return "";
                const parts = [...data.slice(at, at + 3)];
                const hex = parts.map((v) => v.toString(16).padStart(2, "0")).join("");
                return "#" + hex.toUpperCase();
              }); }""",
            points,
        )
        return found


@pytest.fixture(scope="module")
def chrome() -> Iterator[Any]:
    with browser() as own:
        yield own


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    with served() as own:
        yield own


@pytest.fixture(scope="module")
def still(chrome: Any, address: str) -> Iterator[Shown]:
    """A page for what needs no time; calm, so that turns are done at once."""
    page = chrome.new_page(viewport={"width": 600, "height": 600}, reduced_motion="reduce")
    shown = Shown(page, address)
    yield shown
    assert shown.complaints == []
    assert all(url.startswith((address, "data:")) for url in shown.asked)
    page.close()


@pytest.mark.parametrize("name", NAMES)
def test_words_do_what_the_tables_say(still: Shown, name: str) -> None:
    puzzle = load(name)
    still.show(name)
    own = words(puzzle, 4, 30)
    any_words = [
        [random.Random(k).randrange(len(puzzle.turns)) for _ in range(9)] for k in range(9)
    ]
    told = still.run(
        """([words, others]) => words.map((word) => {
          const { tables } = drawing;
          drawing.set(word);
          const effect = [...drawing.effect];
          return {
            effect, cycles: state.cycles(tables, drawing.effect),
            disturbed: [...state.disturbed(tables, drawing.effect)],
            text: state.write(tables, word), back: state.parse(tables, state.write(tables, word)),
            undone: [...state.effectOf(tables, state.inverse(tables, word), drawing.effect)],
            blocked: others.map((other) => state.firstBlocked(tables, other, drawing.effect)),
          };
        })""",
        own,
        any_words,
    )
    for word, one in zip(own, told, strict=True):
        effect = puzzle.effect(word)
        assert one["effect"] == effect.tolist()
        found = effects.cycles(puzzle, effects.effect_of(puzzle, word))
        assert [tuple(cycle) for cycle in one["cycles"]] == list(found)
        expected = {}
        for piece, home in enumerate(puzzle.home.tolist()):
            if effect[home] != home:
                slot = int(puzzle.slot_of[effect[home]])
                expected[slot] = "twisted" if slot == piece else "moved"
        assert dict(one["disturbed"]) == expected
        assert (one["text"], one["back"]) == (write(puzzle, word), list(word))
        assert one["undone"] == list(range(puzzle.placement_count))
        for other, blocked in zip(any_words, one["blocked"], strict=True):
            wanted = puzzle.first_blocked(other, effect)
            assert (blocked and (blocked["at"], tuple(blocked["slots"]))) == (
                wanted and (wanted.at, wanted.slots)
            )
    assert still.run("() => state.parse(drawing.tables, 'Q no-such')") is None


def test_inserts_do_what_commutators_do(still: Shown) -> None:
    """`[R U R' U', L']` is UFL to RBU to BLU; L, L' and L2 give three cycles (common practice)."""
    puzzle = load("3x3x3")
    still.show("3x3x3")
    told = still.run(
        """() => { const { tables } = drawing;
          const effect = state.effectOf(tables, state.parse(tables, "R U R' U'"));
          const names = (cycles) => cycles.map((c) => c.map((p) => tables.placementNames[p]));
          return [
            state.singles(tables, effect).map(({ layer, slot, kind }) =>
              [tables.layerNames[layer], tables.slotNames[slot], kind]),
            ["L", "L'", "L2", "U"].map((name) => {
              const found = state.insert(tables, effect, tables.turnNumbers.get(name));
              return [found.gives, names(found.cycles)]; }),
            state.insert(tables, state.effectOf(tables, state.parse(tables,
              "R' D' R D R' D' R D")), tables.turnNumbers.get("U")).gives,
            state.insert(tables, effect, tables.turnNumbers.get("B")).gives ] }"""
    )
    singles, inserts, twists, _ = told
    assert [row for row in singles if row[0] in "LD"] == [
        ["D", "DFR", "moved"],
        ["L", "UBL", "moved"],
    ]
    assert [row[0] for row in inserts[:3]] == ["three-cycle"] * 3
    word = [rays.named(puzzle, "L", amount) for amount in (1, 3, 2)]
    a = [rays.named(puzzle, *turn) for turn in (("R", 1), ("U", 1), ("R", 3), ("U", 3))]
    for turn, row in zip(word, inserts[:3], strict=True):
        whole = [*a, turn, *puzzle.inverse(a), int(puzzle.inverses[turn])]
        found = effects.cycles(puzzle, effects.effect_of(puzzle, whole))
        assert row[1] == [[placement_names(puzzle)[p] for p in cycle] for cycle in found]
    names = {
        slot_names(puzzle)[puzzle.slot_of[placement_names(puzzle).index(n)]]
        for n in inserts[1][1][0]
    }
    assert names == {"UFL", "UBR", "UBL"}
    assert twists == "pair of twists"


def carried(puzzle: Puzzle, sticker: int, effect: np.ndarray) -> int:
    """Return the sticker whose place a home sticker is carried to, by classes and placements."""
    own = puzzle.stickers[sticker]
    home = int(puzzle.home[own.slot])
    place = int(effect[own.placement if own.placement >= 0 else home])
    return next(
        k
        for k, other in enumerate(puzzle.stickers)
        if other.kind == own.kind
        and (
            other.placement == place
            or (other.placement < 0 and other.slot == puzzle.slot_of[place])
        )
    )


@pytest.mark.parametrize("name", WITH_BODY)
def test_what_is_painted_and_named_is_what_the_tables_say(still: Shown, name: str) -> None:
    """Pixels in the middle of stickers after a word, on both sides; names at the same points."""
    puzzle = load(name)
    still.show(name, label=False, tips=False)
    (word,) = words(puzzle, 1, 25)
    effect = puzzle.effect(word)
    back = np.argsort(effect)
    paint = {-1: (UNPAINTED, ""), **dict(enumerate(face_paint(puzzle.body)))}
    stickered = {
        k
        for k, s in enumerate(puzzle.stickers)
        if puzzle.types[int(puzzle.type_of[s.slot])].stickered
    }
    here = {carried(puzzle, k, effect): puzzle.stickers[k].face for k in stickered}
    met = set()
    for side in range(2):
        if side:
            still.run("() => drawing.behind({ animate: false })")
        still.run("([word]) => drawing.set(word)", word)
        spots = still.run(
            """() => drawing.body.outlines.map((_, k) => {
              const spot = drawing.whereIs(k);
              const x = Math.round(spot.x), y = Math.round(spot.y);
              return { ...spot, x, y, at: drawing.at(x, y) }; })"""
        )
        clear = [k for k, spot in enumerate(spots) if spot["seen"] and spot["room"] > 3.0]
        colours = still.pixels([[spots[k]["x"], spots[k]["y"]] for k in clear])
        for k, colour in zip(clear, colours, strict=True):
            met.add(k)
            own, found = puzzle.stickers[k], spots[k]["at"]
            assert (found["sticker"], found["stickerName"]) == (k, sticker_name(puzzle, k))
            assert found["slotName"] == slot_names(puzzle)[own.slot]
            placement = own.placement if own.placement >= 0 else int(puzzle.home[own.slot])
            assert found["here"] == back[placement]
            assert found["piece"] == puzzle.slot_of[back[placement]]
            # Where pieces need not fit exactly, they overlap a little.
            if k in here and name != "ball-uneven":
                assert colour in paint[here[k]], sticker_name(puzzle, k)
    # Nothing is hidden on both sides, but for what is too small for a pixel or edge-on.
    assert len(met) > 0.6 * len(puzzle.stickers)


def between(colour: str, paint: str, core: str | None) -> bool:
    """Return whether a colour is a core's, or a mixture of it with what is around it."""
    if core is None or not colour:
        return False
    parts = [[int(one[k : k + 2], 16) for k in (1, 3, 5)] for one in (colour, paint, core)]
    # Mixing rounds.
    return all(min(a, b) - 2 <= own <= max(a, b) + 2 for own, a, b in zip(*parts, strict=True))


@pytest.mark.parametrize(
    ("name", "layer", "amount", "share"),
    [
        ("2x2x2", "R", 1, 0.5),
        ("3x3x3", "U", 1, 0.3),
        ("3x3x3-slices", "M", 1, 0.6),
        ("4x4x4", "2R", 3, 0.45),
        ("cube-corners", "UFR", 1, 0.5),
        ("cube-edges", "UF", 1, 0.35),
        ("cube-faces-corners", "UFR", 2, 0.4),
        ("dodecahedron-faces", "F", 2, 0.25),
        ("hexagonal-prism", "F", 1, 0.3),
        ("octahedron-faces", "U", 1, 0.55),
        ("tetrahedron-corners", "U", 1, 0.5),
    ],
)
def test_a_turn_on_its_way_hides_what_rays_say(
    still: Shown, name: str, layer: str, amount: int, share: float
) -> None:
    """Parts in the order of their cuts beside the nearest polygon that each ray meets."""
    puzzle = load(name)
    still.show(name, label=False, tips=False)
    (word,) = words(puzzle, 1, 12)
    turn = rays.named(puzzle, layer, amount)
    polygons = rays.scene(puzzle, word, turn, share)
    cores = {colour: core for colour, core in face_paint(puzzle.body) if core}
    toward, across = directions(puzzle)
    grid = np.array([[x, y] for x in range(20, 470, 13) for y in range(20, 470, 13)])
    radius = float(np.linalg.norm(puzzle.body.points, axis=1).max())
    scale = (240 - 7) / radius
    flat = (grid - 240) / (scale, -scale)
    kinds = set()
    for side in range(2):
        if side:
            still.run("() => drawing.behind({ animate: false })")
            toward, across = -toward, across * [[-1], [1]]
        still.run(
            "([word, turn, share]) => { drawing.set(word); drawing.hold(turn, share); }",
            word,
            turn,
            share,
        )
        paint, clear = rays.seen(polygons, across, toward, flat, 4.5 / scale)
        # A pixel's colour is that of its middle.
        colours = still.pixels((grid - 0.5).tolist())
        assert clear.sum() > 120
        for k in np.flatnonzero(clear):
            wanted, colour = paint[k], colours[k]
            if wanted == rays.INSIDE:
                assert colour == "#6E6E6E"
            else:
                assert colour == wanted or between(colour, wanted, cores.get(wanted)), grid[k]
            kinds.add(wanted if wanted in (rays.INSIDE, rays.NOTHING) else "sticker")
    # Half-way through, the halves of a cube leave little of their sections to be seen.
    assert kinds >= {rays.NOTHING, "sticker"}
    assert rays.INSIDE in kinds or name == "cube-corners"


@pytest.mark.parametrize(
    ("name", "layer", "amount", "share"),
    [
        ("ball-corners", "UFR", 1, 0.5),
        ("ball-two-axes", "U", 1, 0.4),
        ("ball-sixths", "F", 1, 0.3),
        ("ball-sixths-114", "UFR", 2, 0.7),
        ("ball-sixths-218", "R", 3, 0.6),
        ("ball-sixths-whole", "U", 1, 0.5),
    ],
)
def test_a_turn_of_a_ball_shows_what_points_say(
    still: Shown, name: str, layer: str, amount: int, share: float
) -> None:
    """Pixels of all colours beside points that are carried back turn by turn."""
    puzzle = load(name)
    still.show(name, label=False, tips=False)
    turn = rays.named(puzzle, layer, amount)
    word = next(w for w in words(puzzle, 40, 9) if puzzle.first_blocked([*w, turn]) is None)
    colours = [colour for colour, _ in face_paint(puzzle.body)]
    toward, across = directions(puzzle)
    grid = np.array([[x, y] for x in range(10, 471, 11) for y in range(10, 471, 11)])
    scale = 240.0 - 7
    flat = (grid - 240) / (scale, -scale)
    flat = flat[np.linalg.norm(flat, axis=1) < 0.985]
    for side in range(2):
        if side:
            still.run("() => drawing.behind({ animate: false })")
            toward, across = -toward, across * [[-1], [1]]
        script = "([word, turn, share]) => { drawing.set(word); drawing.hold(turn, share); }"
        still.run(script, word, turn, share)
        around = [
            flat + np.array(way) / scale for way in ((0, 0), (2, 0), (-2, 0), (0, 2), (0, -2))
        ]
        own = [
            rays.ball_paint(puzzle, word, turn, share, rays.ball_points(p, across, toward, 2.2))
            for p in around
        ]
        clear = np.all(np.array(own) == own[0], axis=0)
        points = flat * (scale, -scale) + 240
        seen = still.pixels((points - 0.5).tolist())
        lines = 0
        for k in np.flatnonzero(clear):
            wanted = colours[own[0][k]]
            # Nothing but the lines between pieces may be darker.
            assert seen[k] == wanted or between(seen[k], wanted, "#2B2B2B"), points[k]
            lines += seen[k] != wanted
        assert lines < 0.3 * clear.sum()


TWO_CAPS = """
description = "A ball without paint and two caps that cross."
shape = "ball"
body = "cube"
up = "U"
front = "F"
paint = false
keep_twists = true

[[layers]]
axes = ["U"]
within = "ANGLE"
steps = 4

[[layers]]
axes = ["F"]
within = "ANGLE"
steps = 4
"""


@pytest.mark.parametrize("angle", ["50deg", "75deg", "100deg"])
def test_pieces_larger_than_half_a_ball(still: Shown, tmp_path: Path, angle: str) -> None:
    """What is at a point of the disc is in the layers in whose caps that point of the ball is."""
    path = tmp_path / "caps.toml"
    path.write_text(TWO_CAPS.replace("ANGLE", angle))
    puzzle = load(str(path))
    still.show(str(path), tips=False)
    grid = np.array([[x, y] for x in range(10, 471, 11) for y in range(10, 471, 11)])
    grid = grid[np.linalg.norm(grid - 240, axis=1) < 228]
    heights = np.array([[*layer.axis] for layer in puzzle.layers])
    lows = np.array([layer.low for layer in puzzle.layers])
    views = ["first({})", "behind({ animate: false })"]
    views += [f"look({{ up: '{up}', front: '{front}' }})" for up, front in ("DB", "BU", "RD", "FR")]
    for view in views:
        still.run(f"() => drawing.{view}")
        right, up, toward = np.array(still.run("() => drawing.view.matrix")).reshape(3, 3)
        flat = (grid - 240) / (233, -233)
        points = rays.ball_points(flat, np.array([right, up]), toward, 2.2)
        told = still.run(
            "([points]) => points.map(([x, y]) => drawing.at(x, y)?.slot)", grid.tolist()
        )
        over = points @ heights.T - lows
        for height, slot in zip(over, told, strict=True):
            if np.abs(height).min() > 0.02:
                assert slot is not None
                assert (height > 0).tolist() == puzzle.in_layer[:, slot].tolist()


def test_marks_are_told_apart_without_colour(still: Shown) -> None:
    """Every kind gives a picture of its own, also where only lightness is seen."""
    pictures = set()
    for name, place in (("3x3x3", "s0"), ("ball-sixths", "s12"), ("three-wheels", "s3")):
        still.show(name, tips=False)
        script = """([place, kind]) => { drawing.mark(kind ? { [place]: kind } : {});
          drawing.paintNow(); const { data } = drawing.ctx.getImageData(0, 0, 480, 480);
          let sum = 0; for (let k = 0; k < data.length; k += 4)
            sum = (sum * 31 + Math.round((data[k] * 2 + data[k + 1] * 5 + data[k + 2]) / 64)) % 1e9;
          return sum; }"""
        for kind in ("", "first", "second", "third", "moved", "twisted", "kept"):
            pictures.add((name, still.run(script, place, kind)))
        for label in (False, "types", "names"):
            still.run("([label]) => drawing.label(label)", label)
            pictures.add((name, still.run(script, place, "")))
    # On a board nothing is written but the names of places, and no letters.
    assert len(pictures) == 3 * 10 - 2
    refused = still.run(
        "() => { try { drawing.mark({ s999: 'moved' }) } catch (e) { return e.message } }"
    )
    assert refused == 'place s999: "p" with a placement or "s" with a slot was expected, below 28'


@pytest.mark.parametrize("name", ["5x5x5", "ball-sixths-218"])
def test_marks_change_nothing_but_what_they_mark(still: Shown, name: str) -> None:
    puzzle = load(name)
    still.show(name, label=False, tips=False)
    spots = still.run("() => drawing.body.outlines.map((_, k) => drawing.whereIs(k))")
    clear = [k for k, spot in enumerate(spots) if spot["seen"] and spot["room"] > 3.5]
    points = [[spots[k]["x"], spots[k]["y"]] for k in clear]
    before = still.pixels(points)
    marked = puzzle.stickers[clear[3]].slot
    for kind in ("moved", "twisted", "kept"):
        still.run("([slot, kind]) => drawing.mark({ [`s${slot}`]: kind })", marked, kind)
        for k, old, new in zip(clear, before, still.pixels(points), strict=True):
            assert old == new or puzzle.stickers[k].slot == marked


def test_marks_stay_at_places_or_go_along(still: Shown) -> None:
    puzzle = load("3x3x3")
    still.show("3x3x3", label=False, tips=False)
    turn = rays.named(puzzle, "U", 1)
    before = placement_names(puzzle).index("UFR")
    after = int(puzzle.moves[turn][before])
    for follow in (False, True):
        script = """async ([place, turn, follow]) => { drawing.set([]);
          drawing.mark({ [place]: "first" }, { follow });
          await drawing.turn(turn); drawing.paintNow();
          return drawing.body.ofSlot.map((_, slot) => slot).filter((slot) => {
            const spots = drawing.body.ofSlot[slot].map((k) => drawing.whereIs(k));
            const seen = spots.find((spot) => spot.seen);
            if (!seen) return false;
            const [r, g, b] = drawing.ctx.getImageData(seen.x - 16, seen.y, 1, 1).data;
            return Math.min(r, g, b) < 100; }); }"""
        strong = still.run(script, before, turn, follow)
        assert int(puzzle.slot_of[after if follow else before]) in strong
        assert int(puzzle.slot_of[before if follow else after]) not in strong


def test_the_view_can_be_held_otherwise(still: Shown) -> None:
    """Up and in front are then where U and F were."""
    still.show("3x3x3")
    where = """([face]) => { const { body, view, tables } = drawing;
      return body.letter(view, tables.data.faces.name.indexOf(face)); }"""
    up, front = still.run(where, "U"), still.run(where, "F")
    assert still.run("() => drawing.look({ up: 'L', front: 'D' })")
    for face, place in (("L", up), ("D", front)):
        there = still.run(where, face)
        assert [there["x"], there["y"], there["facing"]] == pytest.approx(
            [place["x"], place["y"], place["facing"]], abs=0.05
        )
    assert not still.run("() => drawing.look({ up: 'Q', front: 'D' })")
    assert not still.run("() => drawing.look({ up: 'U', front: 'D' })")


def test_blocked_turns_are_not_done(still: Shown) -> None:
    puzzle = load("3x3x3-bandaged")
    still.show("3x3x3-bandaged")
    blocked = next(t for t in range(len(puzzle.turns)) if puzzle.first_blocked([t]))
    free = next(t for t in range(len(puzzle.turns)) if not puzzle.first_blocked([t]))
    done = still.run(
        "async ([a, b]) => [await drawing.turn(a), await drawing.turn(b)]", blocked, free
    )
    assert done == [False, True]
    assert still.run("() => [...drawing.effect]") == puzzle.moves[free].tolist()


# --- hands --------------------------------------------------------------------------------------


def picks(shown: Shown) -> list[dict[str, Any]]:
    """Return the stickers that were chosen."""
    events: list[tuple[str, dict[str, Any]]] = shown.run("() => window.events")
    return [detail for type_, detail in events if type_ == "pick"]


def test_by_mouse(still: Shown) -> None:
    still.show("3x3x3")
    spot = still.run("() => drawing.whereIs(drawing.tables.stickerNames.indexOf('UFR'))")
    still.page.mouse.move(spot["x"], spot["y"])
    assert (
        still.run("() => events.filter(([type]) => type === 'point').at(-1)[1].stickerName")
        == "UFR"
    )
    still.page.mouse.click(spot["x"], spot["y"])
    assert [one["stickerName"] for one in picks(still)] == ["UFR"]
    before = still.run("() => drawing.view.matrix")
    still.page.mouse.down()
    still.page.mouse.move(spot["x"] + 60, spot["y"] + 20, steps=4)
    still.page.mouse.up()
    after = still.run("() => drawing.view.matrix")
    assert np.abs(np.array(after) - before).max() > 0.1
    # It is a rotation, and a drag chooses nothing.
    own = np.array(after).reshape(3, 3)
    assert np.abs(own @ own.T - np.eye(3)).max() < 1e-9
    assert len(picks(still)) == 1
    still.page.mouse.click(2, 2)
    assert len(picks(still)) == 1


def test_by_keys_alone(still: Shown) -> None:
    """All that is seen can be reached and chosen, is said aloud, and the other side is, too."""
    still.show("octahedron-faces")
    said = "() => document.querySelector('[role=status]').textContent"
    still.page.keyboard.press("Tab")
    assert still.run("() => document.activeElement === drawing.canvas")
    puzzle = load("octahedron-faces")
    reached = set()
    for side in ("", "End"):
        if side:
            still.page.keyboard.press(side)
        still.page.keyboard.press("n")
        first = still.run(said)
        while True:
            reached.add(still.run(said).split(",")[0])
            still.page.keyboard.press("n")
            if still.run(said) == first:
                break
        still.page.keyboard.press("p")
    assert reached == {sticker_name(puzzle, k) for k in range(len(puzzle.stickers))}
    still.page.keyboard.press("Enter")
    (chosen,) = picks(still)
    assert still.run(said) == f"{chosen['stickerName']} chosen"
    for key in ("ArrowLeft", "ArrowUp", "ArrowRight", "ArrowDown"):
        before = still.run("() => drawing.view.matrix")
        still.page.keyboard.press(key)
        assert np.abs(np.array(still.run("() => drawing.view.matrix")) - before).max() > 0.1
    still.page.keyboard.press("Home")
    first = still.run("() => drawing.view.first")
    assert still.run("() => drawing.view.matrix") == pytest.approx(first)
    still.page.keyboard.press("?")
    assert "arrow keys: turn the view" in still.run(said)
    still.page.keyboard.press("l")
    assert still.run(said) == "signs of piece types"
    still.page.keyboard.press("Tab")
    assert not still.run("() => document.activeElement === drawing.canvas")


def test_by_touch_on_a_phone(chrome: Any, address: str) -> None:
    """A touch on the puzzle chooses and turns; one beside it is left to the page."""
    page = chrome.new_page(
        viewport={"width": 320, "height": 480}, has_touch=True, device_scale_factor=2
    )
    shown = Shown(page, address)
    page.evaluate("() => document.body.classList.add('small')")
    shown.show("ball-corners")
    assert shown.run("() => [drawing.canvas.clientWidth, drawing.canvas.width]") == [320, 640]
    page.touchscreen.tap(160, 160)
    assert len(picks(shown)) == 1
    shown.run(
        "() => { window.kept = []; drawing.canvas.addEventListener('touchstart', (event) =>"
        " setTimeout(() => kept.push(event.defaultPrevented))); }"
    )
    session = page.context.new_cdp_session(page)
    before = shown.run("() => drawing.view.matrix")

    def touch(kind: str, *points: tuple[float, float]) -> None:
        given = [{"x": x, "y": y} for x, y in points]
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": given})

    touch("touchStart", (160, 160))
    for step in range(1, 6):
        touch("touchMove", (160 + 8 * step, 160 + 10 * step))
    touch("touchEnd")
    assert np.abs(np.array(shown.run("() => drawing.view.matrix")) - before).max() > 0.1
    touch("touchStart", (3, 3))
    touch("touchEnd")
    page.wait_for_function("() => kept.length === 2")
    assert shown.run("() => kept") == [True, False]
    assert len(picks(shown)) == 1
    assert shown.complaints == []
    page.close()


def test_turns_take_their_time_and_can_be_cut_short(chrome: Any, address: str) -> None:
    page = chrome.new_page(viewport={"width": 600, "height": 600}, color_scheme="dark")
    shown = Shown(page, address)
    shown.show("3x3x3")
    puzzle = load("3x3x3")
    word = [rays.named(puzzle, *turn) for turn in (("R", 1), ("U", 3), ("F", 2))]
    told = shown.run(
        """async ([word]) => { const shares = [];
          const hold = drawing.hold.bind(drawing);
          drawing.hold = (turn, share) => { shares.push(share); hold(turn, share); };
          const done = await Promise.all(word.map((turn) => drawing.turn(turn, { time: 60 })));
          const effect = [...drawing.effect];
          const late = drawing.turn(word[0], { time: 60000 });
          await new Promise((resolve) => setTimeout(resolve, 40));
          drawing.set([]);
          const cut = await late;
          return { shares, done, effect, cut, after: [...drawing.effect] }; }""",
        word,
    )
    assert told["done"] == [True, True, True]
    assert told["effect"] == puzzle.effect(word).tolist()
    assert any(0 < share < 1 for share in told["shares"])
    assert (told["cut"], told["after"]) == (False, list(range(puzzle.placement_count)))
    left = shown.run(
        """() => { drawing.destroy(); drawing.spin(1, 1); drawing.canvas.focus();
          return [document.querySelectorAll("[role=status]").length, drawing.shown.motion]; }"""
    )
    assert left == [0, None]
    assert shown.complaints == []
    page.close()
