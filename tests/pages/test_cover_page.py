"""The page of a favourite: its grid, its cases and stepping through them, as people use it."""

from __future__ import annotations

from typing import Any

import pytest

from puzzles import load
from puzzles.notation import parse
from puzzles.words import normal
from tests.pages.everybody import PHONE, WIDE, for_everybody
from tests.pages.test_reading_pages import MOST_BYTES, visiting
from tests.service.api.harness import Served

COVER = "/puzzles/3x3x3/cover?sequence=[R+U+R%27+U%27,+L]&setup=2"
CASE = f"{COVER}&first=UFR&case=UFR,UBL,DFR"
#: Six edges: two that come back twisted change places with two others.
FEW = "/puzzles/tetrahedron-corners/cover?sequence=[R+U%27+R%27,+L]&setup=2"
PATIENCE = 20_000


def cell(page: Any, row: str, column: str) -> Any:
    return page.locator(f'#grid a[href*="case=UFR,{row},{column}#"]')


def test_the_page_is_for_everybody(chrome: Any, site: Served) -> None:
    """The smaller grid: each of its cells is looked at in each way."""
    with visiting(chrome, site) as visit:
        for name, address in (("cover-empty", COVER.partition("?")[0]), ("cover", FEW)):
            visit.open(address)
            visit.page.wait_for_load_state("networkidle")
            for_everybody(visit.page, name)
        # The last is looked at on a phone: no column of the list is beyond the edge.
        room = visit.page.locator(".wide").evaluate("own => [own.scrollWidth, own.clientWidth]")
        assert room[0] <= room[1]


@pytest.mark.parametrize("name", ["3x3x3", "4x4x4"])
def test_the_page_is_light(chrome: Any, site: Served, name: str) -> None:
    address = CASE if name == "3x3x3" else "/puzzles/4x4x4/cover?sequence=[2R+U+2R%27,+D]"
    with visiting(chrome, site) as visit:
        visit.open(address)
        visit.page.wait_for_load_state("networkidle")
        assert visit.weight() < MOST_BYTES


def test_a_form_that_is_empty_is_said_to_be(site: Served) -> None:
    page = site.client.get("/puzzles/2x2x2/cover?sequence=&setup=2")
    assert page.status_code == 422
    assert "Nothing is entered yet" in page.text
    assert "Nothing is entered yet" not in site.client.get("/puzzles/2x2x2/cover").text


def test_all_of_it_is_there_without_the_script(site: Served) -> None:
    text = site.client.get(CASE).text
    assert "It reaches 992 of 1,008 with up to 2 turns of setup; with 3 it reaches all." in text
    told = site.client.get(f"/api{CASE}").json()
    (entry,) = told["entries"]
    assert entry["notation"].replace("'", "&#39;") in text
    assert text.count("#case") == 7 * 6 * 9
    assert "style=" not in text


def test_a_cell_is_chosen_and_stepped_through(chrome: Any, site: Served) -> None:
    puzzle = load("3x3x3")
    with visiting(chrome, site, viewport=WIDE, reduced_motion="reduce") as visit:
        page = visit.page
        visit.open(COVER + "&first=UFR")
        cell(page, "UBL", "DFR").click()
        page.locator("#case[data-cycle='UFR,UBL,DFR']").wait_for(timeout=PATIENCE)
        assert "case=UFR,UBL,DFR" in page.url
        assert cell(page, "UBL", "DFR").get_attribute("aria-current") == "true"
        (entry,) = site.client.get(f"/api{CASE}").json()["entries"]
        assert entry["notation"] in page.locator("#picked").inner_text()
        page.get_by_role("button", name="Step through it").click()
        strip = page.locator(".strip")
        strip.wait_for(timeout=PATIENCE)
        labels = [b.get_attribute("aria-label") for b in strip.locator("button.part").all()]
        turns = " ".join(label.partition(", ")[2].partition(":")[0] for label in labels)
        assert normal(puzzle, parse(puzzle, turns).word) == parse(puzzle, entry["sequence"]).word
        total = int(page.locator("#stepping output").inner_text().split()[2])
        assert total == len(parse(puzzle, turns).word)
        page.locator("#stepping input[type=range]").fill(str(total))
        assert page.locator("#stepping output").inner_text().startswith(f"{total} of {total}")
        # Another case takes the place of this one, and the drawing stays.
        cell(page, "UBL", "FDR").click()
        page.locator("#case[data-cycle='UFR,UBL,FDR']").wait_for(timeout=PATIENCE)
        assert page.locator("figure.picture canvas").count() == 1
        assert page.locator("#stepping").is_hidden()
        page.go_back()
        page.locator("#case[data-cycle='UFR,UBL,DFR']").wait_for(timeout=PATIENCE)


def test_the_grid_is_walked_by_keys(chrome: Any, site: Served) -> None:
    with visiting(chrome, site) as visit:
        page = visit.page
        visit.open(CASE)
        here = cell(page, "UBL", "DFR")
        here.focus()
        page.keyboard.press("ArrowRight")
        assert "case=UFR,UBL,FDR#" in page.evaluate("document.activeElement.href")
        page.keyboard.press("ArrowDown")
        assert "case=UFR,LUB,FDR#" in page.evaluate("document.activeElement.href")
        # What is no cycle is passed over.
        page.keyboard.press("ArrowLeft")
        page.keyboard.press("ArrowLeft")
        page.keyboard.press("ArrowUp")
        page.keyboard.press("Enter")
        page.locator("#case[data-cycle='UFR,UBL,FDL']").wait_for(timeout=PATIENCE)
        assert page.locator("#grid a[tabindex='0']").count() == 1


def test_a_finger_chooses_on_a_phone(chrome: Any, site: Served) -> None:
    with visiting(chrome, site, viewport=PHONE, has_touch=True, is_mobile=True) as visit:
        page = visit.page
        visit.open(COVER + "&first=UFR")
        own = cell(page, "FUL", "UBL")
        own.tap()
        page.locator("#case[data-cycle='UFR,FUL,UBL']").wait_for(timeout=PATIENCE)
        page.get_by_role("link", name="See it").tap()


@pytest.mark.parametrize(
    ("query", "status", "says"),
    [
        ("sequence=R+U", 422, "13 pieces that are to stay"),
        ("sequence=R+R%27", 422, "cancel"),
        ("sequence=[R+U+R%27+U%27,+L]&setup=77", 422, "a number from 0 to 12 was expected"),
        ("sequence=[R+U+R%27+U%27,+L]&setup=two", 422, "a number from 0 to 12 was expected"),
        ("sequence=[R+U+R%27+U%27,+L]&case=UF,UR,UB", 422, "a three-cycle of corners"),
        ("sequence=[R+U+R%27+U%27,+L]&case=UFR", 422, "names three pieces"),
        ("sequence=[R+U+R%27+U%27,+L]&first=UF", 422, "none of the corners"),
        ("sequence=[R+U+R%27+U%27,+L]&free=nothing", 422, "nothing"),
        ("sequence=" + "R+U+" * 400, 422, "fit an address"),
        ("sequence=%3Cscript%3E", 422, "haracter 1"),
        ("", 200, "See what it reaches"),
    ],
)
def test_what_is_wrong_is_said_and_the_rest_is_kept(
    site: Served, query: str, status: int, says: str
) -> None:
    answer = site.client.get(f"/puzzles/3x3x3/cover?{query}")
    assert answer.status_code == status
    assert says in answer.text
    assert "<script>" not in answer.text
    if "L]" in query and "free" not in query:
        assert "It reaches 992 of 1,008" in answer.text


def test_other_shapes_are_listed(site: Served) -> None:
    text = site.client.get("/puzzles/3x3x3/cover?sequence=[(R%27+D%27+R+D)2,+U]").text
    assert "two twists of corners" in text
    assert text.count('<th scope="row" role="rowheader"><span class="cycles">') == 56
