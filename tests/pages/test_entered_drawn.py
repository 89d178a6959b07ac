"""What is entered is drawn as the simulator shows it, however it is said, and nothing is lost."""

from __future__ import annotations

import json
from collections import Counter
from typing import Any

import numpy as np

from puzzles import load
from puzzles.effects import cycle_text, cycles, effect_of
from puzzles.names import placement_names, sticker_name
from puzzles.notation import parse
from puzzles.paint import face_paint
from puzzles.states import from_cycles, from_word
from tests.pages.everybody import WIDE
from tests.pages.test_last_pieces import click, opened, says
from tests.pages.test_reading_pages import visiting
from tests.plain import named, plain
from tests.service.api.harness import Served

PAGE = "/puzzles/2x2x2/finish"
WORD = "R U F2"
#: What is drawn where nothing is known.
GREY = "#8c8c8c"

SEEN = """async () => {
  const own = document.querySelector('script[src*="/entering.js"]').src;
  const { Drawing } = await import(own.replace("entering.js", "drawing.js"));
  const stage = document.querySelector("#stage");
  const data = await (await fetch(stage.dataset.drawing)).json();
  const canvas = stage.querySelector("canvas");
  const twin = canvas.cloneNode();
  canvas.replaceWith(twin);
  const drawing = new Drawing(twin, data);
  const where = data.stickers.name.map((name, k) => [name, drawing.whereIs(k)]);
  const size = twin.getBoundingClientRect();
  drawing.destroy();
  twin.replaceWith(canvas);
  const ratio = canvas.width / size.width;
  const ctx = canvas.getContext("2d");
  const hex = (x, y) => {
    const [r, g, b] = ctx.getImageData(Math.round(x * ratio), Math.round(y * ratio), 1, 1).data;
    return "#" + [r, g, b].map((v) => v.toString(16).padStart(2, "0")).join("");
  };
  const steps = [-9, -6, -3, 0, 3, 6, 9];
  const around = ({ x, y }) => steps.flatMap((dx) => steps.map((dy) => hex(x + dx, y + dy)));
  return where.filter(([, own]) => own.seen).map(([name, own]) => [name, around(own)]);
}"""


def colours(page: Any) -> dict[str, str]:
    """Return the colour that most of the middle of each seen sticker has, by its name."""
    page.wait_for_timeout(150)
    found = page.evaluate(SEEN)
    return {name: Counter(own).most_common(1)[0][0] for name, own in found}


def test_every_way_draws_what_the_simulator_shows(chrome: Any, site: Served) -> None:
    puzzle = load("2x2x2")
    word = parse(puzzle, WORD).word
    effect = plain(puzzle).sticker_effect(named(puzzle, word)).tolist()
    face = {sticker_name(puzzle, place): puzzle.stickers[k].face for k, place in enumerate(effect)}
    paint = [colour.lower() for colour, _ in face_paint(puzzle.body)]
    expected = {name: paint[own] for name, own in face.items()}
    rows = cycles(puzzle, effect_of(puzzle, word))
    texts = {
        "By turns": ("#sequence", WORD),
        "By pieces": ("#pieces", from_word(puzzle, word).text()),
        "As cycles": ("#cycles", "".join(cycle_text(puzzle, own) for own in rows)),
        "By colours": (
            "#stickers",
            " ".join(f"{name}={puzzle.body.faces[own].name}" for name, own in face.items()),
        ),
    }
    with visiting(chrome, site, viewport=WIDE, reduced_motion="reduce") as visit:
        page = opened(visit, PAGE)
        solved = colours(page)
        assert len(solved) == 12, "three faces are seen"
        for way, (field, text) in texts.items():
            page.get_by_role("button", name=way).click()
            page.locator(field).fill(text)
            says(page, "This can be put right")
            assert colours(page) == {name: expected[name] for name in solved}, way
            page.locator(field).fill("")
            page.locator("#said", has_text="pieces are").wait_for(state="hidden")
            assert colours(page) == solved, way
        # A piece that is nowhere yet is grey, in the slot that is left.
        page.get_by_role("button", name="By pieces").click()
        page.locator("#pieces").fill("UFR=UFL")
        says(page, "UFR is nowhere yet")
        grey = [name for name, own in colours(page).items() if own == GREY]
        assert sorted(grey) == sorted(n for n in solved if sorted(n) == sorted("UFL"))
        # One that is not painted yet, too, and no other.
        page.get_by_role("button", name="By colours").click()
        page.locator("#stickers").fill("UFR=R")
        says(page, "fit")
        drawn = colours(page)
        grey = [name for name, own in drawn.items() if own == GREY]
        assert sorted(grey) == ["FUR", "RUF"]
        assert drawn["UFR"] == solved["RUB"]
        # Pixels are read often here; pages do not.
        visit.complaints = [one for one in visit.complaints if "willReadFrequently" not in one]


def test_examples_are_of_the_puzzle_itself(site: Served) -> None:
    text = site.client.get("/puzzles/three-wheels/finish").text
    assert "1=2 says that the piece of 2 is at 1 now" in text
    assert "UFR" not in text
    corner = site.client.get(PAGE).text
    assert "UFR=BUL says" in corner
    draft = [
        "description = 'A ring.'",
        "shape = 'written'",
        "places = 4",
        "[[turns]]",
        "name = 'A'",
        "cycles = '(1 2 3 4)'",
    ]
    told = site.client.get("/puzzles/new", params={"file": "\n".join(draft)}).text
    assert "4 pieces" in told
    assert "4 pieces: " not in told


def test_an_answer_that_comes_late_says_nothing_any_more(chrome: Any, site: Served) -> None:
    """The first question is held back until the second has been answered."""
    with visiting(chrome, site, viewport=WIDE, reduced_motion="reduce") as visit:
        page = opened(visit, PAGE)
        held: list[Any] = []

        def hold(route: Any) -> None:
            if "UBL" in json.loads(route.request.post_data)["pieces"] and not held:
                held.append(route)
            else:
                route.continue_()

        page.route("**/finish/entry", hold)
        page.locator("#pieces").fill("UFR=UBL")
        page.wait_for_function("() => /UBL/.test(location.search)")
        page.locator("#pieces").fill("UFR=UFL")
        says(page, "Say what sits at UFL")
        assert held
        with page.expect_response("**/finish/entry"):
            held[0].continue_()
        page.wait_for_timeout(200)
        assert "UFL" in page.inner_text("#said")
        assert "UBL" not in page.inner_text("#said")
        assert page.locator("#place option:checked").inner_text() == "UFL"


def test_what_is_typed_just_before_a_click_is_kept(chrome: Any, site: Served) -> None:
    """The pause after a key never ends here, so that only leaving the field takes up the text."""
    with visiting(chrome, site, viewport=WIDE, reduced_motion="reduce") as visit:
        page = opened(visit, PAGE)
        field = page.locator("#pieces")
        page.evaluate("() => { window.setTimeout = () => 1; }")
        field.focus()
        page.keyboard.type("UFR=UFL")
        page.locator("#place").focus()
        page.locator("#place").select_option(label="UFL")
        page.get_by_role("button", name="Put it there").click()
        assert "UFR=UFL" in field.input_value()
        assert "UFL=UFR" in field.input_value()
        page.get_by_role("button", name="By colours").click()
        assert page.locator("#stickers").input_value() != "", "it is carried over"
        page.locator("#stickers").fill("")
        page.keyboard.type("UFR=R")
        click(page, "FUR")
        assert page.locator("#stickers").input_value() == "UFR=R FUR=U"


def test_typed_colours_are_drawn_and_named(chrome: Any, site: Served) -> None:
    """Whole slots, names in any order and own names: what the service reads is what is drawn."""
    puzzle = load("2x2x2")
    paint = [colour.lower() for colour, _ in face_paint(puzzle.body)]
    face = {own.name: paint[k] for k, own in enumerate(puzzle.body.faces)}
    twisted = {"UFR": face["R"], "FUR": face["U"], "RUF": face["F"]}
    with visiting(chrome, site, viewport=WIDE, reduced_motion="reduce") as visit:
        page = opened(visit, PAGE)
        solved = colours(page)
        page.get_by_role("button", name="By colours").click()
        field, names = page.locator("#stickers"), page.locator("#colours")
        for text, called in (
            ("UFR=RUF", ""),
            ("URF=RFU", ""),
            ("UFR=red,white,green", "U=white F=green R=red"),
        ):
            field.fill(text)
            names.fill(called)
            says(page, "one corner alone can't be twisted")
            # What is said does not change from one to the next, so that only the drawing can tell.
            for _ in range(100):
                if colours(page) == solved | twisted:
                    break
                page.wait_for_timeout(100)
            assert colours(page) == solved | twisted, text
        assert page.get_by_role("radio", name="white (U)").count() == 1
        # What could be read is written anew where a colour is called otherwise.
        names.fill("U=white F=green R=orange")
        says(page, "one corner alone can't be twisted")
        assert field.input_value() == "UFR=orange FUR=white RUF=green"
        visit.complaints = [one for one in visit.complaints if "willReadFrequently" not in one]


def test_one_state_is_looked_at_in_four_ways(chrome: Any, site: Served) -> None:
    """Whatever it was entered as, every other way draws it, says it, and comes back to it."""
    puzzle = load("2x2x2")
    word = parse(puzzle, WORD).word
    pieces = from_word(puzzle, word).text()
    rows = "".join(cycle_text(puzzle, own) for own in cycles(puzzle, effect_of(puzzle, word)))
    ways = {"By turns": "sequence", "By pieces": "pieces", "As cycles": "cycles"}
    with visiting(chrome, site, viewport=WIDE, reduced_motion="reduce") as visit:
        page = opened(visit, PAGE)

        def choose(way: str) -> None:
            page.get_by_role("button", name=way).click()
            says(page, "This can be put right")

        field = {way: page.locator(f"#{own}") for way, own in ways.items()}
        page.get_by_role("button", name="By turns").click()
        field["By turns"].fill(WORD)
        says(page, "This can be put right")
        drawn = colours(page)
        for first in ("By pieces", "By colours", "As cycles"):
            choose(first)
            assert colours(page) == drawn
            choose("By pieces")
            assert (colours(page), field["By pieces"].input_value()) == (drawn, pieces)
            choose("As cycles")
            text = field["As cycles"].input_value()
            table = from_cycles(puzzle, text).table
            assert (table == from_cycles(puzzle, rows).table).all()
            choose("By turns")
            assert (colours(page), field["By turns"].input_value()) == (drawn, WORD)
        # Entered otherwise, the turns are not known: it is drawn, said and sent all the same.
        choose("By pieces")
        field["By pieces"].fill("UFR=UFL UFL=UFR")
        page.locator("#said", has_text="2 pieces are not solved").wait_for()
        drawn = colours(page)
        choose("By colours")
        assert colours(page) == drawn
        choose("By turns")
        assert (colours(page), field["By turns"].input_value()) == (drawn, "")
        says(page, "which turns lead there is not known")
        assert "UFL" in page.url
        sent = page.evaluate("() => Object.fromEntries(new FormData(document.forms.entry))")
        assert sent["stickers"]
        assert "sequence" not in sent
        # What is not whole is no cycle, and is not lost by that.
        choose("By pieces")
        field["By pieces"].fill("UFR=UFL")
        says(page, "UFR is nowhere yet")
        drawn = colours(page)
        page.get_by_role("button", name="As cycles").click()
        says(page, "not every piece has its place yet")
        assert colours(page) == drawn
        page.get_by_role("button", name="By pieces").click()
        says(page, "UFR is nowhere yet. Click")
        assert field["By pieces"].input_value() == "UFR=UFL"
        # An empty field is a solved puzzle in every way.
        field["By pieces"].fill("")
        says(page, "Click a place")
        page.get_by_role("button", name="By colours").click()
        says(page, "Choose a colour")
        assert page.locator("#stickers").input_value() == ""
        visit.complaints = [one for one in visit.complaints if "willReadFrequently" not in one]


def test_clicked_cycles_are_drawn_before_the_service_answers(chrome: Any, site: Served) -> None:
    puzzle = load("2x2x2")
    names, back = placement_names(puzzle), np.argsort(from_cycles(puzzle, "(UFR RUB FUL)").table)
    # On a cube's corners a placement is named as its sticker, whose face comes first.
    paint = {
        face.name: colour.lower()
        for face, (colour, _) in zip(puzzle.body.faces, face_paint(puzzle.body), strict=True)
    }
    expected = {name: paint[names[int(back[k])][0]] for k, name in enumerate(names)}
    with visiting(chrome, site, viewport=WIDE, reduced_motion="reduce") as visit:
        page = opened(visit, PAGE)
        held: list[Any] = []
        page.route("**/finish/entry", lambda route: held.append(route))
        page.get_by_role("button", name="As cycles").click()
        for name in ("UFR", "RUB", "FUL"):
            click(page, name)
        page.get_by_role("button", name="Close the cycle").click()
        says(page, "The cycle is closed")
        drawn = colours(page)
        assert drawn == {name: expected[name] for name in drawn}
        held[0].continue_()
        says(page, "This can be put right")
        visit.complaints = [one for one in visit.complaints if "willReadFrequently" not in one]
