"""What happens in an awkward order: late answers, lost focus, links of elsewhere, wrong fields."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest

from service.pages.wording import linked
from tests.pages.everybody import WIDE, axe
from tests.pages.test_pages import MARKUP
from tests.pages.test_reading_pages import Visit, visiting
from tests.service.api.harness import Served, serving

PATIENCE = 20_000
READ = "/puzzles/3x3x3/read?sequence=[R,U]"
COVER = "/puzzles/3x3x3/cover?sequence=[R+U+R%27+U%27,+L]&setup=2&first=UFR&case=UFR,UBL,DFR"
CALM = {"viewport": WIDE, "reduced_motion": "reduce"}


def bench(visit: Visit, query: str = "") -> Any:
    visit.open(f"/puzzles/3x3x3/bench{query}")
    visit.page.wait_for_selector("#bench[data-ready]")
    return visit.page


def ask(visit: Visit, query: str = "") -> Any:
    visit.open(f"/puzzles/2x2x2/ask{query}")
    visit.page.wait_for_selector("#ask[data-ready]")
    return visit.page


def held(page: Any) -> str:
    """Return what has the focus, by its text or name."""
    script = "(document.activeElement.textContent || document.activeElement.tagName).trim()"
    return str(page.evaluate(script))


def built(visit: Visit) -> Any:
    """Return a bench on which something was built that can be kept."""
    page = bench(visit, "?turns=" + quote("R U R' U'") + "&insert=" + quote("L'"))
    page.get_by_text("or put it on a club's shelf").click()
    return page


# --- The bench --------------------------------------------------------------------------------


@pytest.mark.parametrize("typed", ["(R U)2", "R Q"])
def test_what_is_done_meanwhile_is_newer_than_an_answer(
    chrome: Any, site: Served, typed: str
) -> None:
    with visiting(chrome, site, **CALM) as visit:
        page = bench(visit)
        late: list[Any] = []
        page.route("**/api/puzzles/3x3x3/bench?*", lambda one: late.append(one))
        page.fill("#turns", typed)
        page.get_by_role("button", name="Do these").click()
        page.wait_for_function("() => true")
        page.locator("#layers").get_by_role("button", name="F", exact=True).click()
        assert page.input_value("#turns") == "F"
        assert len(late) == 1
        with page.expect_response("**/api/puzzles/3x3x3/bench?*"):
            late[0].continue_()
        page.wait_for_timeout(200)
        assert page.input_value("#turns") == "F"
        assert page.locator("#wrong").count() == 0
        visit.complaints.clear()


def test_of_two_texts_the_newer_is_done(chrome: Any, site: Served) -> None:
    with visiting(chrome, site, **CALM) as visit:
        page = bench(visit)
        late: list[Any] = []
        page.route("**/api/puzzles/3x3x3/bench?*", lambda one: late.append(one), times=1)
        for typed in ("(R U)2", "(F D)2"):
            page.fill("#turns", typed)
            page.get_by_role("button", name="Do these").click()
        page.locator("#said", has_text="F D F D").wait_for()
        with page.expect_response("**/api/puzzles/3x3x3/bench?*"):
            late[0].continue_()
        page.wait_for_timeout(200)
        assert page.input_value("#turns") == "F D F D"


def test_a_complaint_of_the_service_goes_when_the_next_is_right(chrome: Any, site: Served) -> None:
    with visiting(chrome, site, **CALM) as visit:
        page = bench(visit, "?turns=R+Q")
        assert page.locator(".wrong").count() == page.locator("#wrong").count() == 1
        assert page.locator("p p").count() == 0
        assert page.get_attribute("#turns", "aria-describedby") == "wrong"
        page.fill("#turns", "R U")
        page.get_by_role("button", name="Do these").click()
        page.locator("#said", has_text="R U: ").wait_for()
        assert page.locator(".wrong").count() == 0
        assert page.get_attribute("#turns", "aria-describedby") is None
        assert page.get_attribute("#turns", "aria-invalid") is None
        visit.complaints.clear()


def test_opened_with_a_turn_slipped_in_it_says_what_came_of_it(chrome: Any, site: Served) -> None:
    """Common practice: [R U R' U', L'] is a three-cycle of corners."""
    with visiting(chrome, site, **CALM) as visit:
        page = built(visit)
        said = page.locator("#said").inner_text()
        assert said == "[R U R' U', L']: a three-cycle. UFL → RUB → BUL"


def test_the_focus_goes_on_where_one_builds(chrome: Any, site: Served) -> None:
    with visiting(chrome, site, **CALM) as visit:
        page = bench(visit, "?turns=" + quote("R U R' U'"))
        page.get_by_role("button", name="slip in L'").focus()
        page.keyboard.press("Enter")
        assert held(page) == "Now undo"
        page.keyboard.press("Enter")
        page.locator("#said", has_text="a three-cycle").wait_for()
        assert held(page) == "Show it again"
        undo = page.get_by_role("button", name="Undo", exact=True)
        undo.focus()
        for _ in range(5):
            page.keyboard.press("Enter")
        assert page.input_value("#turns") == ""
        assert held(page) == "Undo"
        assert undo.get_attribute("aria-disabled") == "true"
        page.keyboard.press("Enter")
        page.locator("#said", has_text="nothing to undo").wait_for()


def test_the_focus_stays_at_the_end_of_a_sequence(chrome: Any, site: Served) -> None:
    with visiting(chrome, site, **CALM) as visit:
        page = visit.page
        visit.open(READ)
        page.get_by_role("button", name="Step through it").click()
        page.locator(".strip").wait_for(timeout=PATIENCE)
        following = page.get_by_role("button", name="Next turn")
        following.focus()
        for _ in range(6):
            page.keyboard.press("Enter")
        assert page.locator("#stepping output").inner_text().startswith("4 of 4")
        assert held(page) == "Next turn"
        assert following.get_attribute("aria-disabled") == "true"


def test_the_focus_goes_on_where_something_kept_is_removed(chrome: Any, site: Served) -> None:
    with visiting(chrome, site, **CALM) as visit:
        page = built(visit)
        for name in ("One", "Two"):
            page.get_by_label("Its name").fill(name)
            page.get_by_role("button", name="Keep it in this browser").click()
        page.get_by_role("button", name="Start anew").click()
        page.get_by_role("button", name="remove Two").click()
        assert page.evaluate("document.activeElement.ariaLabel") == "open One"
        page.get_by_role("button", name="remove One").click()
        assert page.evaluate("document.activeElement.id") == "turns"
        assert page.locator("#said").inner_text() == "One is removed."


# --- A club's shelf -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("link", "said"),
    [
        ("https://elsewhere.example/clubs/KEY", "is of elsewhere.example, another service"),
        ("//elsewhere.example/clubs/KEY", "is of elsewhere.example, another service"),
        ("mailto:somebody@elsewhere.example", "is none of this service"),
        ("elsewhere.example/clubs/KEY", "The link of a club's shelf was expected"),
        ("HERE/results/clubs/KEY", "The link of a club's shelf was expected"),
        ("HERE/clubs/%E0%A4%A", "The link of a club's shelf was expected"),
        ("https://[", "The link of a club's shelf was expected"),
        (MARKUP, "The link of a club's shelf was expected"),
        ("", "The link of a club's shelf was expected"),
    ],
)
def test_a_key_of_elsewhere_is_sent_nowhere(
    chrome: Any, site: Served, link: str, said: str
) -> None:
    with visiting(chrome, site, **CALM) as visit:
        page = built(visit)
        sent: list[str] = []
        page.on("request", lambda one: sent.append(one.url))
        page.get_by_label("The club's link").fill(link.replace("HERE", visit.host))
        page.get_by_role("button", name="Put it on the shelf").click()
        status = page.locator("#kept [role=status]", has_text=said)
        status.wait_for()
        assert "nothing was sent" in status.inner_text()
        assert sent == []
        assert page.evaluate("document.activeElement.id") == "club"


def test_what_is_on_the_shelf_can_be_opened_and_found(chrome: Any, site: Served) -> None:
    club = site.client.post("/api/clubs", json={"name": "Wednesday"}).json()
    add = str(club["links"][1]["href"])
    with visiting(chrome, site, **CALM) as visit:
        page = built(visit)
        # As browsers show it, without what it begins with.
        page.get_by_label("The club's link").fill(
            visit.host.removeprefix("http://") + add.replace("/api", "")
        )
        page.get_by_role("button", name="Put it on the shelf").click()
        page.locator("#kept [role=status]", has_text="is on the shelf.").wait_for()
        assert page.locator(".keepings li").count() == 0, "the shelf has it, not the browser"
        visit.open(add.replace("/api", "") + "?type=corner")
        page.locator(".items .text a").click()
        page.wait_for_selector("#bench[data-ready]")
        assert page.get_by_role("heading", name="[R U R' U', L']").is_visible()


HERE = "https://here.example"


@pytest.mark.parametrize(
    ("text", "address"),
    [
        (f"see {HERE}/puzzles/3x3x3/bench?turns=R+U.", "/puzzles/3x3x3/bench?turns=R+U"),
        (f"({HERE}/results/1)", "/results/1"),
        (f"{HERE}//elsewhere.example/x", "//elsewhere.example/x"),
        ("https://elsewhere.example/puzzles", None),
        (f"{HERE}.elsewhere.example/puzzles", None),
        (f"{HERE}@elsewhere.example/puzzles", None),
        (f"https://elsewhere.example/?{HERE}/x", None),
        (f"javascript:{HERE}/x", None),
        (MARKUP, None),
    ],
)
def test_addresses_of_this_service_alone_are_links(text: str, address: str | None) -> None:
    html = linked(text, HERE)
    assert "<b onclick" not in html
    if address is None:
        assert "<a " not in html
    else:
        assert html.count("<a ") == 1
        assert f'<a href="{HERE}{address}">' in html


# --- Asking -------------------------------------------------------------------------------------


def test_nothing_is_asked_where_nothing_is_typed(chrome: Any, site: Served) -> None:
    with visiting(chrome, site, **CALM) as visit:
        page = ask(visit)
        page.fill("#cycle", "UFR UBL")
        page.keyboard.press("Enter")
        page.locator("#wrong").wait_for()
        assert page.get_attribute("#cycle", "aria-invalid") == "true"
        assert page.get_attribute("#cycle", "aria-describedby") == "wrong"
        page.fill("#cycle", " ")
        page.keyboard.press("Enter")
        page.locator("#said", has_text="three stickers").wait_for()
        page.wait_for_timeout(300)
        assert "three stickers" in page.locator("#said").inner_text()
        assert page.locator("#wrong").count() == 0
        assert page.get_attribute("#cycle", "aria-describedby") is None
        visit.complaints.clear()


def test_a_place_in_the_page_changes_no_question(chrome: Any, site: Served) -> None:
    """A search is looked at and not begun anew, also after the skip link was used."""
    with visiting(chrome, site, **CALM) as visit:
        page = ask(visit)
        asked: list[str] = []
        page.evaluate("location.hash = 'main'")
        page.on("request", lambda one: asked.append(one.url))
        page.fill("#cycle", "UFR UBL DFR")
        page.evaluate("history.replaceState(null, '', '?cycle=UFR,UBL,DFR#main')")
        page.evaluate("""() => {
          const own = history.replaceState.bind(history);
          history.replaceState = (state, title, href) => own(state, title, `${href}#main`);
        }""")
        page.keyboard.press("Enter")
        page.locator("#answers[data-state=done] li[data-a]").first.wait_for(timeout=60_000)
        looked = [url for url in asked if "/ask?" in url][1:]
        assert all("look=1" in url.partition("#")[0] for url in looked)


def test_what_the_service_says_is_not_taken_for_a_lost_connection(
    chrome: Any, site: Served
) -> None:
    with visiting(chrome, site, **CALM) as visit:
        page = ask(visit)
        busy = "<!doctype html><main><p class='wrong'>There is much to do; come back.</p></main>"
        page.route(
            "**/ask?*",
            lambda one: one.fulfill(status=503, body=busy, content_type="text/html"),
            times=1,
        )
        page.fill("#cycle", "UFR UBL DFR")
        page.keyboard.press("Enter")
        page.locator("#said", has_text="There is much to do").wait_for()
        page.locator("#answers[data-state=done] li[data-a]").first.wait_for(timeout=60_000)
        visit.complaints.clear()


def test_what_was_not_stopped_can_be_stopped(chrome: Any, tmp_path: Path) -> None:
    """There is no worker, so that all is as it is while one waits."""
    with serving(tmp_path) as idle, visiting(chrome, idle, **CALM) as visit:
        page = ask(visit, "?cycle=UFR,UBL,DFR")
        stop = page.get_by_role("button", name="Stop")
        stop.wait_for()
        page.route(
            "**/api/searches/*",
            lambda one: one.fulfill(status=503, json={"detail": "not now"}),
            times=1,
        )
        stop.click()
        page.locator("#said", has_text="was not stopped").wait_for()
        stop.click()
        page.locator("#answers[data-state=stopped]").wait_for()
        assert page.evaluate("document.activeElement.id") == "answers", "where the button was"
        visit.complaints.clear()


# --- Drawings -----------------------------------------------------------------------------------


def test_the_keys_are_seen_by_everybody(chrome: Any, site: Served) -> None:
    for opened, turns in (("/puzzles/3x3x3/bench", True), ("/puzzles/three-wheels/bench", False)):
        with visiting(chrome, site, **CALM) as visit:
            page = visit.page
            visit.open(opened)
            page.wait_for_selector("#bench[data-ready]")
            summary = page.locator(".drawing-keys summary")
            assert summary.is_visible()
            assert ("drag it" in summary.inner_text()) is turns
            page.locator("canvas.drawing").focus()
            page.keyboard.press("?")
            row = page.locator(".drawing-keys div", has_text="letters, signs of piece types")
            assert row.is_visible()
            assert (page.locator(".drawing-keys div", has_text="arrow keys").count() == 1) is turns
            assert ("arrow keys" in page.locator(".drawing-says").inner_text()) is turns
            assert axe(page) == []
            page.keyboard.press("?")
            assert not row.is_visible()


def test_names_on_stickers_are_those_that_one_types(chrome: Any, site: Served) -> None:
    """Common practice: a sticker is named by its own face first."""
    with visiting(chrome, site, **CALM) as visit:
        page = bench(visit)
        page.evaluate(
            """() => {
              const { fillText } = CanvasRenderingContext2D.prototype;
              window.written = [];
              CanvasRenderingContext2D.prototype.fillText = function (text, ...more) {
                window.written.push(text);
                fillText.call(this, text, ...more);
              };
            }"""
        )
        page.locator("canvas.drawing").focus()
        for _ in range(2):
            page.keyboard.press("l")
        page.locator(".drawing-says", has_text="names of stickers").wait_for()
        page.wait_for_function("() => window.written.length > 0")
        written = set(page.evaluate("window.written"))
        # The 27 stickers of the three faces in front, and each by its own face.
        corners, edges = ["UFR", "FUR", "RUF", "UFL", "FUL"], ["UF", "FU", "UR", "RU", "FR", "RF"]
        assert {*corners, *edges, "U", "F", "R"} <= written
        assert len(written) == 27


def test_a_drawing_that_leaves_the_page_listens_no_more(chrome: Any, site: Served) -> None:
    with visiting(chrome, site, **CALM) as visit:
        page = visit.page
        visit.open(READ)
        page.get_by_role("button", name="Take it in hand").click()
        page.locator("canvas.drawing").wait_for()
        page.evaluate(
            """async () => {
              const own = document.querySelector('script[src*="/read.js"]').src;
              const { Drawing } = await import(own.replace("read.js", "drawing.js"));
              const { destroy } = Drawing.prototype;
              window.gone = 0;
              Drawing.prototype.destroy = function () { window.gone++; destroy.call(this); };
            }"""
        )
        page.fill("#sequence", "R U F")
        page.get_by_role("button", name="Read it").click()
        page.wait_for_url("**sequence=R+U+F")
        page.wait_for_function("() => window.gone === 1")


def test_what_cannot_be_stepped_through_says_so(chrome: Any, site: Served) -> None:
    with visiting(chrome, site, **CALM) as visit:
        page = visit.page
        visit.open(COVER)
        button = page.get_by_role("button", name="Step through it")
        button.wait_for()
        page.route("**/drawing", lambda one: one.fulfill(status=404, json={"detail": "not here"}))
        button.click()
        page.get_by_text("This cannot be stepped through: Not here.").wait_for()
        assert button.is_enabled()
        assert page.evaluate("document.activeElement.classList.contains('step')")
        visit.complaints.clear()


# --- Reading and a favourite ------------------------------------------------------------------


def test_a_place_in_the_page_is_no_other_sequence(chrome: Any, site: Served) -> None:
    with visiting(chrome, site, **CALM) as visit:
        page = visit.page
        visit.open(READ)
        page.fill("#sequence", "typed meanwhile")
        page.get_by_role("button", name="Step through it").click()
        page.locator(".strip").wait_for(timeout=PATIENCE)
        asked: list[str] = []
        page.on("request", lambda one: asked.append(one.url))
        page.locator(".skip").focus()
        page.keyboard.press("Enter")
        page.wait_for_url("**#main")
        page.go_back()
        page.wait_for_timeout(300)
        assert not [url for url in asked if "/read" in url]
        assert page.locator(".strip").count() == 1
        assert page.input_value("#sequence") == "typed meanwhile"


def test_other_sequences_come_back(chrome: Any, site: Served) -> None:
    with visiting(chrome, site, **CALM) as visit:
        page = visit.page
        visit.open(READ)
        page.fill("#sequence", "R U F")
        page.get_by_role("button", name="Read it").click()
        page.get_by_role("heading", name="What it does").wait_for()
        page.wait_for_url("**sequence=R+U+F")
        page.go_back()
        page.wait_for_function("() => document.querySelector('#sequence').value === '[R,U]'")


def test_a_place_in_the_page_is_no_other_case(chrome: Any, site: Served) -> None:
    with visiting(chrome, site, **CALM) as visit:
        page = visit.page
        visit.open(COVER)
        page.get_by_role("button", name="Step through it").click()
        page.locator(".strip").wait_for(timeout=PATIENCE)
        asked: list[str] = []
        page.on("request", lambda one: asked.append(one.url))
        page.evaluate("location.hash = 'case'")
        page.go_back()
        page.wait_for_timeout(300)
        assert not [url for url in asked if "/cover" in url]
        assert page.locator(".strip").count() == 1


@pytest.mark.parametrize("length", [20_000, 90_000])
def test_what_is_too_long_for_an_address_stays(chrome: Any, site: Served, length: int) -> None:
    with visiting(chrome, site, **CALM) as visit:
        page = visit.page
        visit.open(READ)
        text = "R U " * (length // 4)
        page.fill("#sequence", text)
        page.get_by_role("button", name="Read it").click()
        page.locator("#wrong").wait_for()
        assert "address" in page.locator("#wrong").inner_text()
        assert page.input_value("#sequence") == text
        assert page.get_attribute("#sequence", "aria-invalid") == "true"
        assert page.url.endswith(READ)
        page.fill("#sequence", "R U F")
        page.get_by_role("button", name="Read it").click()
        page.wait_for_url("**sequence=R+U+F")
        assert page.locator("#wrong").count() == 0
        visit.complaints.clear()


# --- A new puzzle -----------------------------------------------------------------------------


def test_a_wrong_field_adds_no_other_puzzle(chrome: Any, site: Served) -> None:
    with visiting(chrome, site, **CALM) as visit:
        page = visit.page
        visit.open("/puzzles/new")
        page.wait_for_selector("#making[data-ready]")
        page.fill("#faces_steps", "1")
        page.locator("#problem").wait_for()
        sent: list[str] = []
        page.on("request", lambda one: sent.append(one.method))
        page.get_by_role("button", name="Add the puzzle").click()
        page.locator("#added", has_text="Not added: the steps of the").wait_for()
        assert "POST" not in sent
        assert page.evaluate("document.activeElement.id") == "faces_steps"


def test_a_draft_that_failed_adds_no_other_puzzle(chrome: Any, site: Served) -> None:
    with visiting(chrome, site, **CALM) as visit:
        page = visit.page
        visit.open("/puzzles/new")
        page.wait_for_selector("#making[data-ready]")
        page.route(
            "**/api/puzzles/drafts",
            lambda one: one.fulfill(status=422, json={"detail": "this takes too long"}),
        )
        page.fill("#faces", "0.5")
        page.locator("#problem", has_text="This takes too long").wait_for()
        sent: list[str] = []
        page.on("request", lambda one: sent.append(one.url))
        page.get_by_role("button", name="Add the puzzle").click()
        page.locator("#added", has_text="Not added: This takes too long.").wait_for()
        assert not [url for url in sent if url.endswith("/api/puzzles")]
        # What is right again can be added.
        page.unroute("**/api/puzzles/drafts")
        page.fill("#faces", "0.4")
        page.wait_for_function("() => document.querySelector('#file').value.includes('0.4')")
        page.get_by_role("button", name="Add the puzzle").click()
        page.wait_for_url("**/puzzles/p-*")
        visit.complaints.clear()
