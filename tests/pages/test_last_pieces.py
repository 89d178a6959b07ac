"""The last pieces: entered by clicking, painting and as text, and put right by steps."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

import pytest

from puzzles import load
from puzzles.notation import parse
from puzzles.states import entries, from_cycles, from_pieces, from_word
from tests.pages.everybody import PHONE, WIDE, for_everybody
from tests.pages.test_pages import MARKUP
from tests.pages.test_reading_pages import MOST_BYTES, Visit, visiting
from tests.service.api.harness import Served

PAGE = "/puzzles/2x2x2/finish"
CYCLE = f"{PAGE}?cycles=(UFR+UBL+DFR)"
#: Milliseconds in which a finish of the 2x2x2 is over, on a slow machine.
PATIENCE = 30_000


@pytest.fixture(scope="module")
def warm(site: Served) -> Served:
    """Return a service that has finished what the tests ask for."""
    told = {"state": "waiting"}
    while told["state"] in ("waiting", "running"):
        told = site.client.get(f"/api{CYCLE}", headers={"Prefer": "wait=5"}).json()["search"]
    assert told["state"] == "done"
    return site


def opened(visit: Visit, address: str) -> Any:
    """Open the page on which a state is entered, wait until the script has it, and return it."""
    visit.open(address)
    visit.page.wait_for_selector("#enter[data-ready]")
    return visit.page


def click(page: Any, name: str, tap: bool = False) -> None:
    """Click the place of a sticker."""
    told = page.evaluate(
        """async (name) => {
          const own = document.querySelector('script[src*="/entering.js"]').src;
          const { Drawing } = await import(own.replace("entering.js", "drawing.js"));
          const stage = document.querySelector("#stage");
          const data = await (await fetch(stage.dataset.drawing)).json();
          const canvas = stage.querySelector("canvas");
          const twin = canvas.cloneNode();
          canvas.replaceWith(twin);
          const drawing = new Drawing(twin, data);
          const { x, y, seen } = drawing.whereIs(data.stickers.name.indexOf(name));
          drawing.destroy();
          twin.replaceWith(canvas);
          const box = canvas.getBoundingClientRect();
          return { x: x + box.left, y: y + box.top, seen }; }""",
        name,
    )
    assert told["seen"]
    act = page.touchscreen.tap if tap else page.mouse.click
    act(told["x"], told["y"])


def says(page: Any, text: str) -> None:
    """Wait until something is said."""
    page.locator("#said", has_text=text).wait_for(timeout=PATIENCE)


# --- the address, and what is said without the script -------------------------------------------


def test_steps_stand_in_the_page(warm: Served) -> None:
    page = warm.client.get(CYCLE)
    assert page.status_code == 200
    search = warm.client.get(f"/api{CYCLE}").json()["search"]
    report = search["answer"]
    assert f'href="{search["page"]}"' in page.text
    puzzle = load("2x2x2")
    state = from_cycles(puzzle, "(UFR UBL DFR)")
    for step in report["steps"]:
        assert step["notation"] in page.text.replace("&#39;", "'")
        assert len(step["motions"]) == step["turns"]
        assert step["motions"][0] in page.text
        state = state.after(puzzle.effect(parse(puzzle, step["sequence"]).word))
    assert state.is_solved
    before = from_word(puzzle, parse(puzzle, report["before"]).word)
    assert before.text() == report["pieces"]


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ({"pieces": "UFR=UBL"}, "UFR is missing"),
        ({"pieces": "UFR=UBL UFR=UFL UBL=UFR"}, "the slot UFR was entered twice"),
        ({"pieces": "UFR=UBL UFL=UBL"}, "the piece UBL was entered twice"),
        ({"pieces": f"UFR={MARKUP}"}, "says nothing of a slot"),
        ({"cycles": "(UFR UBL) (UFR DFR)"}, "the piece UFR is in two cycles"),
        ({"pieces": "", "cycles": " "}, "nothing is entered yet"),
        ({"cycles": "()"}, "an empty cycle was given"),
        ({"sequence": MARKUP}, ""),
        ({"stickers": "UFR=RFU"}, "mirror image"),
        ({"cycles": "(UFR UBL DFR)", "sequence": "R"}, "one of sequence, cycles, pieces and"),
        ({"by": MARKUP}, "one of turns, sequences, memory was expected"),
    ],
)
def test_nonsense_is_said_where_it_is_entered(
    warm: Served, query: dict[str, str], said: str
) -> None:
    page = warm.client.get(PAGE, params=query)
    assert page.status_code == 422
    assert said.lower() in page.text.lower()
    assert "<b onclick" not in page.text
    assert 'id="entry"' in page.text
    told = warm.client.get(f"/api{PAGE}", params=query)
    assert told.status_code == 422
    assert said in told.json()["detail"]


def test_blocked_turns_and_unknown_puzzles_are_said(warm: Served) -> None:
    page = warm.client.get("/puzzles/ball-sixths-whole/finish?sequence=U+UFR+U+UFR")
    assert page.status_code == 422
    assert "blocked" in page.text
    assert warm.client.get("/puzzles/none/finish").status_code == 404
    assert warm.client.get("/api/puzzles/none/finish").status_code == 404


def test_what_cannot_be_solved_is_named_with_its_repair(warm: Served) -> None:
    page = warm.client.get(f"{PAGE}?pieces=UFR%3DRUF")
    assert page.status_code == 200
    assert "one corner alone can&#39;t be twisted" in page.text
    assert "Smallest repair" in page.text
    # None is better than another.
    assert "By fewest" not in page.text
    assert 'data-slots="UFR"' in page.text


# --- in a browser -------------------------------------------------------------------------------


def test_the_pages_are_for_everybody(chrome: Any, warm: Served) -> None:
    with visiting(chrome, warm) as visit:
        addresses = {
            "pieces": f"{PAGE}?pieces=UFR%3DUBL&change=1",
            "stickers": f"{PAGE}?stickers=UFR%3DR&change=1",
            "cycles": f"{CYCLE}&change=1",
            "steps": CYCLE,
            "impossible": f"{PAGE}?pieces=UFR%3DRUF",
        }
        for name, address in addresses.items():
            visit.open(address)
            visit.page.wait_for_load_state("networkidle")
            if name == "stickers":
                visit.page.get_by_text("the colours of your own puzzle").click()
            for_everybody(visit.page, f"finish-{name}")


def test_the_page_is_light(chrome: Any, warm: Served) -> None:
    with visiting(chrome, warm) as visit:
        opened(visit, "/puzzles/3x3x3/finish")
        visit.page.wait_for_load_state("networkidle")
        assert visit.weight() < MOST_BYTES


@pytest.mark.parametrize("tap", [False, True])
def test_pieces_are_clicked_and_put_right(chrome: Any, warm: Served, tap: bool) -> None:
    view = PHONE if tap else WIDE
    options = {"viewport": view, "has_touch": tap, "reduced_motion": "reduce"}
    with visiting(chrome, warm, **options) as visit:
        page = opened(visit, PAGE)
        says(page, "Click a place")
        # At U of UFR is now what is at F of UFL when solved, and so on round.
        for place, here in (("UFR", "FUL"), ("FUL", "UBR")):
            click(page, place, tap)
            says(page, "Which piece is at")
            click(page, here, tap)
            says(page, "Say what sits at")
        field = page.locator("#pieces")
        says(page, "UFR is nowhere yet")
        # The list does what the drawing does; what is open and missing stands there first.
        assert page.locator("#place option:checked").inner_text() == "UBR"
        page.get_by_role("button", name="Put it there").click()
        page.wait_for_function(
            "() => document.querySelector('#pieces').value.split(' ').length === 3"
        )
        page.wait_for_function(
            "() => /put right|twisted/.test(document.querySelector('#said').innerText)"
        )
        text = field.input_value()
        assert quote(text, safe="") in page.url.replace("+", "%20")
        # Another twist of the last, until some sequence solves it.
        for twist in range(3):
            if "put right" in page.locator("#said").inner_text():
                break
            page.locator("#place").select_option(label="UBR")
            own = page.locator("#sits optgroup[label=UFR] option").nth(twist)
            page.locator("#sits").select_option(value=own.get_attribute("value"))
            page.get_by_role("button", name="Put it there").click()
            page.wait_for_timeout(900)
        says(page, "This can be put right")
        puzzle, said = load("2x2x2"), entries(field.input_value())
        clicked = [("UFR", "FUL"), ("FUL", "UBR"), ("UBR", dict(said)["UBR"])]
        own, same = from_pieces(puzzle, said), from_pieces(puzzle, clicked)
        assert own.whole(puzzle).text() == same.whole(puzzle).text()
        page.get_by_role("button", name="Show the steps").click()
        page.locator(".laststeps").wait_for(timeout=PATIENCE)
        page.get_by_role("button", name="Step through it").last.click()
        page.locator(".strip").wait_for(timeout=PATIENCE)
        slider = page.locator("#stepping input[type=range]")
        total = slider.get_attribute("max")
        slider.fill(total)
        assert page.locator("#stepping output").inner_text().startswith(f"{total} of {total}")


def test_who_is_drawn_nowhere_is_clicked_at_its_own_place(chrome: Any, warm: Served) -> None:
    """The last of a cycle: another sits where it is drawn when solved, and it is nowhere yet."""
    with visiting(chrome, warm, viewport=WIDE, reduced_motion="reduce") as visit:
        page = opened(visit, PAGE)
        for name in ("UFR", "FUL"):
            click(page, name)
        says(page, "Click UFL, then UFR's own place")
        click(page, "FUL")
        says(page, "For UFR, nowhere yet, click its own place")
        # Nobody knows who is drawn grey; another sticker there is another place.
        click(page, "UFL")
        says(page, "Which piece is at UFL?")
        click(page, "FUR")
        says(page, "This can be put right")
        field = page.locator("#pieces")
        assert dict(entries(field.input_value())) == {"UFR": "FUL", "UFL": "FUR"}
        # The same by a button, and nothing of what was said before is lost.
        page.get_by_role("button", name="take UFL").click()
        says(page, "UFR is nowhere yet")
        offered = page.locator(".nowhere button")
        assert [own.inner_text() for own in offered.all()] == ["UFR", "RUF", "FUR"]
        for_everybody(page, "finish-nowhere")
        offered.nth(2).click()
        says(page, "This can be put right")
        assert dict(entries(field.input_value())) == {"UFR": "FUL", "UFL": "FUR"}
        assert page.locator(".nowhere").is_hidden()


def test_what_is_wrong_is_said_once(chrome: Any, warm: Served) -> None:
    with visiting(chrome, warm, viewport=WIDE) as visit:
        page = opened(visit, f"{PAGE}?cycles=(UFR+XYZ)&change=")
        page.wait_for_load_state("networkidle")
        (said,) = visit.complaints
        assert "Failed to load resource" in said
        visit.complaints.clear()
        page.locator("#cycles[aria-invalid]").wait_for()
        assert "XYZ" in page.locator("#wrong").inner_text()
        assert page.locator("#said").inner_text() == ""
        page.locator("#cycles").fill("(UFR UBL DFR)")
        says(page, "This can be put right")
        assert page.locator("#wrong").count() == 0


def test_the_state_is_solved_when_all_steps_are_done(chrome: Any, warm: Served) -> None:
    with visiting(chrome, warm, reduced_motion="reduce") as visit:
        visit.open(CYCLE)
        page = visit.page
        page.get_by_role("button", name="Step through it").last.click()
        page.locator(".strip").wait_for(timeout=PATIENCE)
        labels = [b.get_attribute("aria-label") for b in page.locator(".strip .part").all()]
        assert all(label for label in labels)
        slider = page.locator("#stepping input[type=range]")
        slider.fill(slider.get_attribute("max"))
        puzzle = load("2x2x2")
        turns = " ".join(label.partition(", ")[2].partition(":")[0] for label in labels)
        state = from_cycles(puzzle, "(UFR UBL DFR)")
        assert state.after(puzzle.effect(parse(puzzle, turns).word)).is_solved


def test_stickers_are_painted_in_own_colours(chrome: Any, warm: Served) -> None:
    with visiting(chrome, warm, viewport=WIDE) as visit:
        page = opened(visit, PAGE)
        page.get_by_role("button", name="By colours").click()
        says(page, "Choose a colour")
        page.get_by_role("radio", name="R", exact=True).check()
        click(page, "UFR")
        says(page, "fit")
        page.get_by_role("radio", name="U", exact=True).check()
        click(page, "FUR")
        says(page, "one corner alone can't be twisted")
        assert page.locator("#stickers").input_value() == "UFR=R FUR=U"
        page.get_by_role("radio", name="as solved").check()
        click(page, "FUR")
        says(page, "Choose a colour")
        page.get_by_text("the colours of your own puzzle").click()
        page.get_by_label("the colour of U").fill("#ff00aa")
        says(page, "kept in this browser")
        page.reload()
        page.wait_for_selector("#enter[data-ready]")
        page.get_by_text("the colours of your own puzzle").click()
        assert page.get_by_label("the colour of U").input_value() == "#ff00aa"
        page.get_by_label("the colour of F").fill("#ff00aa")
        says(page, "have the same colour now")


def test_contradictions_are_said_while_they_enter(chrome: Any, warm: Served) -> None:
    with visiting(chrome, warm, viewport=WIDE) as visit:
        page = opened(visit, PAGE)
        page.locator("#pieces").fill("UFR=UBL UFR=UFL")
        says(page, "The slot UFR was entered twice")
        assert page.locator("#pieces").get_attribute("aria-invalid") is not None
        page.get_by_role("button", name="As cycles").click()
        page.locator("#cycles").fill("(UFR UBL DFR)")
        says(page, "This can be put right")
        assert page.locator("#cycles").get_attribute("aria-invalid") is None
        page.get_by_role("button", name="By turns").click()
        page.locator("#sequence").fill("R Q")
        says(page, "Q")
        page.get_by_role("button", name="By pieces").click()
        says(page, "It is kept by turns")
        page.locator("#pieces").fill("UFR=UBL")
        says(page, "nowhere yet")
        page.locator("#pieces").fill("")
        says(page, "Click a place")


def test_it_is_entered_by_keys_alone(chrome: Any, warm: Served) -> None:
    with visiting(chrome, warm, viewport=WIDE) as visit:
        page = opened(visit, PAGE)
        page.locator("#place").focus()
        page.keyboard.type("UBR")
        page.keyboard.press("Tab")
        page.keyboard.press("ArrowDown")
        page.keyboard.press("Tab")
        page.keyboard.press("Enter")
        page.wait_for_function("() => document.querySelector('#pieces').value !== ''")
        page.get_by_role("button", name="take UBR").focus()
        page.keyboard.press("Enter")
        page.wait_for_function("() => document.querySelector('#pieces').value === ''")
        says(page, "Click a place")


def test_a_board_and_a_shape_shifter_are_entered(chrome: Any, warm: Served) -> None:
    listed = [one["name"] for one in warm.client.get("/api/puzzles").json()["puzzles"]]
    written = next(name for name in listed if load(name).shape == "written")
    with visiting(chrome, warm, viewport=WIDE) as visit:
        page = opened(visit, f"/puzzles/{written}/finish")
        assert page.get_by_role("button", name="By colours").count() == 0
        page = opened(visit, "/puzzles/cube-edges/finish")
        page.locator("#place").select_option(index=1)
        page.get_by_role("button", name="Put it there").click()
        says(page, "Click a place")
