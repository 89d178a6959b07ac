"""The page of a new puzzle: without the script and with it, by mouse, keyboard and touch."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, quote, urlsplit

import pytest

from puzzles import load
from service.choice import FIRST, text_of
from tests.pages.everybody import PHONE, WIDE, for_everybody, unfolded
from tests.pages.test_pages import MARKUP, seen
from tests.pages.test_reading_pages import MOST_BYTES, Visit, visiting
from tests.service.api.harness import Served

#: Counted by hand: 8 corners, 12 edges and 6 centres.
FIRST_SEEN = "26 pieces: 8 corners, 12 edges, 6 centres"
#: Formed by the same hand: a cube through whose middle all cuts go has its 8 corners alone.
HALVES = "8 pieces: 8 corners"


def opened(visit: Visit, address: str = "/puzzles/new") -> Any:
    """Open the page, wait until the script has drawn something, and return it."""
    visit.open(address)
    visit.page.wait_for_selector("#making[data-ready]")
    return visit.page


def tally(page: Any, text: str) -> None:
    """Wait until these pieces are counted."""
    page.wait_for_function(
        "text => document.querySelector('#tally').textContent === text", arg=text, timeout=15_000
    )


# --- Without the script ----------------------------------------------------------------------


def test_the_catalogue_leads_to_it(site: Served) -> None:
    assert "/puzzles/new" in seen(site.client.get("/")).addresses()


def test_a_choice_is_drawn_and_written(site: Served) -> None:
    page = seen(site.client.get("/puzzles/new"))
    assert FIRST_SEEN in page.text
    assert text_of(FIRST) in page.texts[-1] or text_of(FIRST) in "".join(page.texts)
    picture = next(
        own["src"] or "" for tag, own in page.tags if tag == "img" and own["width"] == "480"
    )
    answer = site.client.get(picture)
    assert answer.headers["Content-Type"] == "image/svg+xml"
    assert "<svg" in answer.text
    # DESIGN's figure for the catalogue's ball-sixths, from an independent program: 170 pieces.
    query = {"shape": "ball", "faces": "to(UFR) + 9deg", "corners": "34", "corners_steps": "6"}
    ball = seen(site.client.get("/puzzles/new", params=query))
    assert f"{load('ball-sixths').slot_count} pieces" in ball.text
    assert "170 pieces" in ball.text
    fields = {
        own["name"]: own.get("value") for tag, own in ball.tags if tag == "input" and "name" in own
    }
    assert (fields["faces"], fields["corners_steps"]) == ("to(UFR) + 9deg", "6")


def test_sizes_are_offered_for_counts(site: Served) -> None:
    """Of a cube's corner cuts only those through the middle leave 14 pieces: 8 are not corners."""
    query = {"body": "cube", "corners": "0.8", "counts": "6 4 4", "open": "corners"}
    page = seen(site.client.get("/puzzles/new", params=query))
    assert "14 pieces" in page.text
    links = [one for one in page.addresses() if one.startswith("/puzzles/new?")]
    used = next(one for one in links if parse_qs(urlsplit(one).query).get("corners") == ["0"])
    assert "14 pieces: " in seen(site.client.get(used)).text


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ({"body": "egg", "faces": "0.5"}, "body: "),
        ({"faces": "0.5", "shape": "flat"}, "shape: "),
        ({"faces": "0.5", "faces_steps": "99"}, "faces_steps: at most 24 was expected"),
        ({"faces": "0.5", "faces_steps": "four"}, "faces_steps: "),
        ({"faces": "0.5", "others": "1"}, "others: there is no such kind on the cube"),
        ({"faces": "0.5", "corners_inner": "1"}, "an inner layer needs an outer one"),
        ({"faces": "0.5", "nonsense": "1"}, "nonsense is not known"),
        ({"faces": "0.5", "counts": MARKUP}, "numbers of pieces from 1 to 5,000 were expected"),
        ({"faces": "0.5", "counts": "8", "open": "hats"}, "the names of sizes were expected"),
        ({"faces": "0.5", "counts": "8", "open": "edges"}, "edges does not turn"),
        ({"faces": "0.5", "description": MARKUP * 20}, "description: a text of at most 500"),
    ],
)
def test_nonsense_opens_the_page_and_the_rest_is_kept(
    site: Served, query: dict[str, str], said: str
) -> None:
    answer = site.client.get("/puzzles/new", params=query)
    page = seen(answer, 422)
    assert said.lower() in page.text.lower()
    assert FIRST_SEEN in page.text, "what is right is drawn"
    assert "<b onclick" not in answer.text
    fields = {
        own["name"]: own.get("value") for tag, own in page.tags if tag == "input" and "name" in own
    }
    assert fields["faces"] == "0.5"
    assert site.client.get("/api/puzzles/new", params=query).status_code == 422


def test_a_size_that_cannot_be_is_said_at_its_line(site: Served) -> None:
    page = seen(site.client.get("/puzzles/new", params={"faces": "1/0"}))
    assert "Layers 1: above: '1/0' at character 2" in page.text
    (pointed,) = [text for text in page.texts if '9 | above = "1/0"' in text]
    assert pointed.split("\n")[1] == "  | ^"
    field = next(own for tag, own in page.tags if own.get("id") == "faces")
    assert field["aria-invalid"] == "true"


def test_a_file_is_looked_at_and_added_by_a_form(site: Served) -> None:
    own = {"Origin": str(site.client.base_url).rstrip("/")}
    text = text_of(FIRST).replace("A cube", "Our cube")
    looked = site.client.post("/puzzles/new", data={"file": text, "do": "look"}, headers=own)
    assert FIRST_SEEN in seen(looked).text
    wrong = site.client.post(
        "/puzzles/new", data={"file": text.replace('"1/3"', '"1/3'), "do": "add"}, headers=own
    )
    page = seen(wrong, 422)
    assert "Not well-formed TOML at line 9" in page.text
    # A browser sends a text with both ends of lines.
    sent = {"file": text.replace("\n", "\r\n"), "do": "add"}
    added = site.client.post("/puzzles/new", data=sent, headers=own)
    assert added.status_code == 303
    address = added.headers["Location"]
    assert re.fullmatch(r"/puzzles/p-[0-9a-f]{16}", address)
    assert "Our cube" in seen(site.client.get(address)).text
    again = site.client.post("/api/puzzles", json={"file": text})
    assert again.status_code == 200, "the same file has the same address"
    assert again.headers["Content-Location"] == f"/api{address}"


def test_forms_of_other_sites_are_refused(site: Served) -> None:
    for headers in ({"Origin": "https://example.org"}, {"Sec-Fetch-Site": "cross-site"}, {}):
        answer = site.client.post("/puzzles/new", data={"file": "x"}, headers=headers)
        assert answer.status_code == 403


@pytest.mark.parametrize("text", ["", MARKUP, "[" * 5_000, "\x00", "a = 1\n" * 3, "x" * 100_001])
def test_nonsense_in_a_file_is_said(site: Served, text: str) -> None:
    own = {"Origin": str(site.client.base_url).rstrip("/")}
    for do in ("look", "add"):
        answer = site.client.post("/puzzles/new", data={"file": text, "do": do}, headers=own)
        assert answer.status_code in (413, 422), answer.text[:300]
        page = seen(answer, answer.status_code)
        assert [tag for _, tag in page.tags if tag.get("role") == "alert"]
        assert "<b onclick" not in answer.text


# --- With it ---------------------------------------------------------------------------------


def test_by_mouse(chrome: Any, site: Served) -> None:
    with visiting(chrome, site, viewport=WIDE, reduced_motion="reduce") as visit:
        page = opened(visit)
        tally(page, FIRST_SEEN)
        assert page.locator("#stage canvas").count() == 1
        here = page.locator("#faces-ruler .here")
        here.filter(has_text="Here there are 26 pieces of 3 kinds: 12, 8 and 6.").wait_for()
        # The ruler says which sizes give what, and its buttons set them.
        page.get_by_role("button", name=re.compile(r"^8 at 0 \(")).click()
        tally(page, HALVES)
        assert "above = 0.0" in page.input_value("#file")
        box = page.locator("#faces-slider").bounding_box()
        page.mouse.move(box["x"] + 9, box["y"] + box["height"] / 2)
        page.mouse.down()
        for share in (0.2, 0.4, 0.6):
            page.mouse.move(box["x"] + box["width"] * share, box["y"] + box["height"] / 2)
        tally(page, FIRST_SEEN)
        page.mouse.up()
        size = float(page.input_value("#faces"))
        assert 0.5 < size < 0.7
        page.wait_for_function(
            "() => document.querySelector('#file').value.includes('above = 0.6')"
        )
        page.wait_for_url(re.compile(r"faces=0\.6"))
        # What can be seen on the canvas of what was cut is drawn: its middle is no paper.
        inside = page.evaluate(
            """() => { const c = document.querySelector("#stage canvas");
              return c.getContext("2d").getImageData(c.width / 2, c.height / 2, 1, 1).data[3]; }"""
        )
        assert inside == 255
        # A size that cannot be: the sentence, the line, and the last good picture.
        page.fill("#faces", "1.2")
        page.locator("#problem", has_text="its cut lies outside the body").wait_for()
        assert page.locator("#place pre").inner_text().startswith("9 | above = 1.2\n")
        assert page.get_attribute("#faces", "aria-invalid") == "true"
        assert page.locator("#numbers .bad").inner_text() == "9"
        assert "last sizes that were right" in page.inner_text("#doing")
        page.fill("#faces", "0.5")
        tally(page, FIRST_SEEN)
        assert page.locator("#problem").count() == 0
        # Other layers beside them: 50 pieces, as the catalogue's own file has it.
        page.fill("#faces", "0.6")
        page.get_by_label("8 corners").check()
        page.fill("#corners", "2.2/sqrt(3)")
        page.wait_for_function(
            "() => document.querySelector('#tally').textContent.startsWith('50 ')"
        )
        assert load("cube-faces-corners").slot_count == 50
        page.wait_for_url(re.compile("corners=2.2"))
        page.reload()
        page.wait_for_selector("#making[data-ready]")
        assert page.input_value("#corners") == "2.2/sqrt(3)"
        assert float(page.input_value("#corners-slider")) == pytest.approx(1.27, abs=0.01)


def test_another_body_begins_with_what_is_usual_there(chrome: Any, site: Served) -> None:
    """A dodecahedron has 20 corners, 30 edges and 12 faces (Euclid, Elements, XIII, 17)."""
    with visiting(chrome, site, reduced_motion="reduce") as visit:
        page = opened(visit)
        page.select_option("#body", "dodecahedron")
        tally(page, "62 pieces: 20 corners, 30 edges, 12 centres")
        page.select_option("#shape", "ball")
        page.wait_for_function(
            """() => document.querySelector("#file").value.includes('within = "36deg"')"""
        )
        tally(page, "62 pieces: 20 corners, 30 edges, 12 centres")
        page.select_option("#body", "rhombic-dodecahedron")
        assert page.locator("#kind-others").is_visible()
        assert page.locator("#kind-edges").is_hidden()
        page.get_by_label("12 faces").uncheck()
        page.locator("#problem", has_text="Nothing turns").wait_for()
        page.get_by_label("8 corners of 3 faces").check()
        page.wait_for_function(
            "() => /^26 pieces/.test(document.querySelector('#tally').textContent)"
        )


def test_counts_set_the_sizes(chrome: Any, site: Served) -> None:
    """A 4x4x4 has 56 pieces, its outer layers and an inner one each (the catalogue's own file)."""
    with visiting(chrome, site, reduced_motion="reduce") as visit:
        page = opened(visit)
        page.fill("#counts", "eight")
        page.click("#find")
        assert "counted pieces were expected" in page.inner_text("#sought").lower()
        page.fill("#counts", "8")
        page.keyboard.press("Enter")
        page.locator("#offers li").first.wait_for()
        offers = page.locator("#offers li").all_inner_texts()
        assert any(one.startswith("8 pieces of 1 kind: 8") for one in offers)
        name = re.compile("^Use these sizes ?: 8 pieces, faces exactly 0$")
        page.get_by_role("button", name=name).click()
        tally(page, HALVES)
        assert page.input_value("#faces") == "0"
        page.get_by_text("an inner layer of the 6 faces").or_(
            page.locator("#kind-faces summary")
        ).first.click()
        page.fill("#faces", "1/2")
        page.fill("#faces_inner", "0")
        page.wait_for_function(
            "() => /^56 pieces/.test(document.querySelector('#tally').textContent)"
        )
        assert load("4x4x4").slot_count == 56


def test_the_text_is_the_truth_when_it_is_edited(chrome: Any, site: Served) -> None:
    with visiting(chrome, site, reduced_motion="reduce") as visit:
        page = opened(visit)
        page.locator("#file").fill(text_of(FIRST).replace("1/3", "0"))
        tally(page, HALVES)
        assert page.input_value("#faces") == "0", "the sliders follow where they can"
        catalogue = Path(__file__).parents[2] / "puzzles" / "catalogue" / "cube-corners.toml"
        page.locator("#file").fill(catalogue.read_text())
        page.wait_for_function(
            "() => /^14 pieces/.test(document.querySelector('#tally').textContent)"
        )
        assert page.locator("#choice").is_hidden()
        assert page.locator("#by-hand").is_visible()
        page.wait_for_url(re.compile("file="))
        page.reload()
        page.wait_for_selector("#making[data-ready]")
        assert page.input_value("#file") == catalogue.read_text()
        assert page.inner_text("#tally").startswith("14 pieces")
        page.locator("#file").fill(catalogue.read_text() + "steps = 4\n")
        page.locator("#problem", has_text="a key is given twice").wait_for()
        lines = catalogue.read_text().count("\n") + 1
        assert page.locator("#numbers .bad").inner_text() == str(lines)
        page.get_by_role("button", name="Add the puzzle").click()
        page.locator("#added", has_text="Not added").wait_for()
        chosen = page.evaluate(
            """() => { const { value, selectionStart, selectionEnd } = document.activeElement;
              return value.slice(selectionStart, selectionEnd); }"""
        )
        assert chosen == "steps = 4"
        page.get_by_role("link", name="Choose anew").click()
        tally(page, FIRST_SEEN)
        page.locator("#file").fill(
            f"description = '''{MARKUP}'''\n" + text_of(FIRST).split("\n", 1)[1]
        )
        page.wait_for_timeout(600)
        tally(page, FIRST_SEEN)
        page.get_by_role("button", name="Add the puzzle").click()
        page.wait_for_url(re.compile(r"/puzzles/p-[0-9a-f]{16}$"))
        assert page.locator(".lead").first.inner_text() == MARKUP


def test_the_latest_wins_and_what_takes_long_is_said(chrome: Any, site: Served) -> None:
    with visiting(chrome, site, reduced_motion="reduce") as visit:
        page = opened(visit)
        held: list[Any] = []
        page.route("**/api/puzzles/drafts", lambda one: held.append(one), times=1)
        page.fill("#faces", "0")
        page.locator("#doing", has_text="Working").wait_for()
        page.fill("#faces", "0.4")
        page.fill("#faces", "0.7")
        assert len(held) == 1, "one question at a time is on its way"
        held[0].continue_()
        page.wait_for_function(
            """() => document.querySelector("#file").value.includes("above = 0.7")"""
        )
        tally(page, FIRST_SEEN)
        assert page.inner_text("#doing") == ""
        # From the fields to the file: what comes late for the fields does not touch the text.
        held.clear()
        page.route("**/api/puzzles/drafts", lambda one: held.append(one), times=1)
        page.fill("#faces", "0")
        page.wait_for_timeout(200)
        text = text_of(FIRST).replace("1/3", "0.9")
        page.locator("#file").fill(text)
        held[0].continue_()
        page.wait_for_function("""() => document.querySelector("#faces").value === "0.9" """)
        assert page.input_value("#file") == text
        tally(page, FIRST_SEEN)


def test_a_lost_connection_is_said_and_it_goes_on(chrome: Any, site: Served) -> None:
    with visiting(chrome, site, reduced_motion="reduce") as visit:
        page = opened(visit)
        page.context.set_offline(True)
        page.fill("#faces", "0")
        page.locator("#doing", has_text="The connection is lost").wait_for()
        page.context.set_offline(False)
        tally(page, HALVES)
        # The browser itself notes that it could not ask.
        assert all("ERR_INTERNET_DISCONNECTED" in one for one in visit.complaints)
        visit.complaints.clear()


def test_by_keyboard_alone(chrome: Any, site: Served) -> None:
    with visiting(chrome, site, reduced_motion="reduce") as visit:
        page, keys = visit.page, visit.page.keyboard
        opened(visit)

        def go(name: str) -> None:
            for _ in range(60):
                keys.press("Tab")
                if page.evaluate("document.activeElement.id") == name:
                    return
            raise AssertionError(f"{name} cannot be reached")

        go("faces-slider")
        for _ in range(10):
            keys.press("ArrowLeft")
        assert float(page.input_value("#faces")) < 0.33
        keys.press("Home")
        tally(page, HALVES)
        go("corners-turn")
        keys.press("Space")
        go("corners")
        keys.press("Control+A")
        keys.type("0")
        page.locator("#problem").or_(page.locator("#tally", has_text="pieces")).first.wait_for()
        keys.press("Control+A")
        keys.type("1")
        page.wait_for_function(
            """() => !document.querySelector("#problem")
              && document.querySelector("#file").value.includes("1.0")"""
        )
        go("file")
        keys.press("Control+A")
        keys.insert_text(text_of(FIRST))
        tally(page, FIRST_SEEN)
        go("add")
        keys.press("Enter")
        page.wait_for_url(re.compile(r"/puzzles/p-[0-9a-f]{16}$"))


def test_by_touch_on_a_phone(chrome: Any, site: Served) -> None:
    options = {"viewport": PHONE, "has_touch": True, "is_mobile": True, "reduced_motion": "reduce"}
    with visiting(chrome, site, **options) as visit:
        page = opened(visit)
        page.get_by_role("button", name=re.compile(r"^8 at 0 \(")).tap()
        tally(page, HALVES)
        slider = page.locator("#faces-slider")
        slider.scroll_into_view_if_needed()
        box, stage = slider.bounding_box(), page.locator("#stage").bounding_box()
        assert box["y"] >= stage["y"] + stage["height"] - 1, "the drawing does not cover it"
        page.touchscreen.tap(box["x"] + box["width"] * 0.7, box["y"] + box["height"] / 2)
        tally(page, FIRST_SEEN)
        assert page.locator("#stage canvas").bounding_box()["y"] >= 0, "it stays in sight"
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
        small = page.eval_on_selector_all(
            "#making button, #making input:not([hidden])",
            """all => all.filter((one) => one.offsetWidth)
              .map((one) => Math.min(one.offsetWidth, one.offsetHeight))""",
        )
        assert min(small) >= 19, "WCAG 2.2, 2.5.8, with the labels of ticks around them"


BALL = "shape=ball&faces=to(UFR)&corners=30&corners_steps=6"


@pytest.mark.parametrize(
    ("name", "query"),
    [
        ("first", ""),
        ("ball", BALL),
        ("wrong", "faces=1.2&counts=8&open=faces"),
        (
            "by-hand",
            "file=" + quote("description = 'x'\n# ours\n" + text_of(FIRST).split("\n", 1)[1]),
        ),
    ],
)
def test_it_is_for_everybody(chrome: Any, site: Served, name: str, query: str) -> None:
    with visiting(chrome, site, reduced_motion="reduce") as visit:
        page = opened(visit, f"/puzzles/new?{query}")
        assert visit.weight() < MOST_BYTES
        if name in ("first", "ball"):
            page.locator("#faces-ruler .chips").wait_for(timeout=20_000)
        unfolded(page)
        for_everybody(page, f"new-{name}")
