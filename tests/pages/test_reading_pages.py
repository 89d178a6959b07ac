"""The pages in a real browser: for everybody (axe), by keyboard, on a phone, and within a size."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from tests.pages.everybody import PHONE, PICTURES, WIDE, axe, for_everybody, unfolded
from tests.pages.test_pages import MARKUP
from tests.service.api.harness import Served, serving

#: What a page may weigh in all, as it is sent.
MOST_BYTES = 150_000


class Visit:
    """A page and what went wrong while it was looked at."""

    def __init__(self, page: Any, host: str) -> None:
        self.page, self.host = page, host
        self.complaints: list[str] = []
        self.elsewhere: list[str] = []
        self.came: list[Any] = []
        page.on("console", lambda said: self._said(said.type, said.text))
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("request", self._asked)
        page.on("requestfinished", lambda request: self.came.append(request))

    def _said(self, kind: str, text: str) -> None:
        if kind in ("error", "warning"):
            self.complaints.append(text)

    def _asked(self, request: Any) -> None:
        if not request.url.startswith(self.host):
            self.elsewhere.append(request.url)

    def weight(self) -> int:
        """Return how many bytes have come, as they were sent."""
        sizes = [request.sizes() for request in self.came]
        return sum(one["responseBodySize"] + one["responseHeadersSize"] for one in sizes)

    def open(self, address: str) -> None:
        """Open an address of the service and wait until all that is seen of it is there."""
        self.page.goto(self.host + address)


def founded(site: Served) -> str:
    told = site.client.post("/api/clubs", json={"name": MARKUP}).json()
    keep = str(told["links"][2]["href"])
    for shared in (
        {"kind": "puzzle", "puzzle": "2x2x2", "state": "solved", "by": "somebody"},
        {"kind": "note", "text": MARKUP, "puzzle": "2x2x2", "type": "corner"},
    ):
        assert site.client.post(f"{keep}/items", json=shared).status_code == 201
    return keep.removeprefix("/api")


def posted(site: Served, where: str, question: dict[str, Any]) -> str:
    """Return the page of the result of a question."""
    told: dict[str, Any] = {"page": None}
    while not told["page"]:
        reply = site.client.post(f"/api/{where}", json=question, headers={"Prefer": "wait=10"})
        told = reply.json()
        assert told["state"] in ("waiting", "running", "done")
    return str(told["page"])


def parts_page(site: Served, puzzle: str) -> str:
    """Return the page of what a puzzle consists of, as it stays."""
    report = site.client.get(f"/api/puzzles/{puzzle}/parts").json()
    return f"/results/{report['result']}"


@contextmanager
def visiting(chrome: Any, site: Served, **options: Any) -> Iterator[Visit]:
    """Look at pages; there is nothing on the console and no request to anywhere else."""
    context = chrome.new_context(**{"viewport": WIDE, **options})
    visit = Visit(context.new_page(), str(site.client.base_url))
    yield visit
    assert visit.complaints == []
    assert visit.elsewhere == []
    context.close()


@pytest.fixture(scope="module")
def addresses(site: Served, found: str) -> dict[str, str]:
    """Return the pages by name, with what takes long done before."""
    for name in ("2x2x2", "3x3x3"):
        parts, wait = f"/api/puzzles/{name}/parts", {"Prefer": "wait=10"}
        while site.client.get(parts, headers=wait).status_code == 202:
            continue
    keep = founded(site)
    return {
        "catalogue": "/",
        "puzzle": "/puzzles/2x2x2",
        "read": "/puzzles/2x2x2/read?sequence=R+[U,+F'+R+F]+R'",
        "nonsense": "/puzzles/3x3x3/read?sequence=R+Q",
        "result": found,
        "clubs": "/clubs",
        "shelf": f"{keep}?change=2",
        "atlas": posted(site, "atlases", {"puzzle": "2x2x2", "type": "corner", "half_length": 4}),
        "parts": parts_page(site, "2x2x2"),
        "problem": "/puzzles/nix",
    }


PAGES = (
    "catalogue",
    "puzzle",
    "read",
    "nonsense",
    "result",
    "atlas",
    "parts",
    "clubs",
    "shelf",
    "problem",
)


@pytest.mark.parametrize("name", PAGES)
def test_every_page_is_for_everybody(
    chrome: Any, site: Served, addresses: dict[str, str], name: str
) -> None:
    """In light at a desk and in dark on a phone, with all that can be opened open."""
    with visiting(chrome, site) as visit:
        page = visit.page
        visit.open(addresses[name])
        if name in ("nonsense", "problem"):
            # The browser itself notes that a page comes with an error's status.
            page.wait_for_timeout(50)
            (said,) = visit.complaints
            assert "Failed to load resource" in said
            visit.complaints.clear()
        if name == "nonsense":
            # What is wrong says so itself, and nothing else says it again.
            assert page.locator("#said").inner_text() == ""
        assert 0 < visit.weight() < MOST_BYTES
        unfolded(page)
        for_everybody(page, name)


def test_the_largest_puzzle_is_light_enough_and_can_be_stopped(chrome: Any, tmp_path: Path) -> None:
    """There is no worker, so that all is as it is while one waits."""
    with serving(tmp_path) as idle, visiting(chrome, idle) as visit:
        visit.open("/puzzles/ball-sixths-218")
        visit.page.evaluate("window.scrollTo(0, document.body.scrollHeight)")
        visit.page.get_by_text("as soon as a worker is free").wait_for()
        visit.page.wait_for_timeout(300)
        assert MOST_BYTES / 3 < visit.weight() < MOST_BYTES
        visit.page.get_by_role("button", name="Stop").click()
        visit.page.get_by_text("This was stopped").wait_for()


def test_what_is_worked_out_comes_by_itself(chrome: Any, site: Served) -> None:
    with visiting(chrome, site) as visit:
        visit.open("/puzzles/tetrahedron-corners")
        page = visit.page
        page.get_by_role("heading", name="How many positions").wait_for(timeout=20_000)
        assert page.get_by_role("button", name="Copy the turns").first.is_visible()
        assert page.url.endswith("/puzzles/tetrahedron-corners")


def test_a_lost_connection_is_said_and_made_good(chrome: Any, site: Served) -> None:
    with visiting(chrome, site) as visit:
        context = visit.page.context
        visit.page.route("**/api/searches/*/events", lambda route: route.abort())
        visit.open("/puzzles/octahedron-faces")
        visit.page.get_by_text("The connection is lost").wait_for()
        visit.page.unroute("**/api/searches/*/events")
        visit.page.get_by_role("heading", name="How many positions").wait_for(timeout=30_000)
        visit.complaints.clear()
        assert context.pages


def test_by_keyboard_alone(chrome: Any, site: Served, found: str) -> None:
    with visiting(chrome, site) as visit:
        page, keys = visit.page, visit.page.keyboard
        visit.open("/")
        keys.press("Tab")
        assert page.evaluate("document.activeElement.textContent") == "Skip to the contents"
        keys.press("Enter")
        assert page.evaluate("document.activeElement.id") == "main"
        keys.press("Tab")
        assert page.evaluate("document.activeElement.id") == "puzzle"
        outline = page.evaluate("getComputedStyle(document.activeElement).outlineWidth")
        assert outline == "3px", "what has the focus is seen"
        keys.type("2x2x2")
        keys.press("Enter")
        page.wait_for_url("**/puzzles/2x2x2")
        visit.open("/puzzles/3x3x3/read")
        page.get_by_label("Turns, brackets").focus()
        keys.type("R U R' U'")
        keys.press("Tab")
        keys.press("Enter")
        page.get_by_role("heading", name="What it does").wait_for()
        visit.open(found)
        summary = page.locator("summary").nth(1)
        summary.focus()
        keys.press("Enter")
        assert page.locator("details").nth(1).get_attribute("open") is not None


def test_without_the_script_all_can_be_read(
    chrome: Any, site: Served, addresses: dict[str, str]
) -> None:
    with visiting(chrome, site, java_script_enabled=False) as visit:
        for name in ("catalogue", "puzzle", "read", "result", "shelf"):
            visit.open(addresses[name])
            assert visit.page.locator("h1").is_visible()
            assert visit.page.locator("button.copy:visible, button.hold:visible").count() == 0
        visit.open("/puzzles/hexagonal-prism")
        visit.page.get_by_role("link", name="Look again").click()
        assert visit.page.url.endswith("/puzzles/hexagonal-prism")


def test_copying_and_taking_in_hand(chrome: Any, site: Served, found: str) -> None:
    permissions = ["clipboard-read", "clipboard-write"]
    with visiting(chrome, site, permissions=permissions) as visit:
        visit.open(found)
        page = visit.page
        report = site.client.get(f"/api{found}").json()
        button = page.get_by_role("button", name="Copy the turns").first
        button.click()
        page.get_by_text("Copied").first.wait_for()
        told = page.evaluate("navigator.clipboard.readText()")
        assert told == report["answers"][0]["sequence"]
        page.get_by_role("button", name="Take it in hand").click()
        page.locator("canvas.drawing:focus").wait_for()
        assert axe(page) == []
        if PICTURES:
            page.screenshot(path=str(Path(PICTURES) / "result-in-hand.png"), full_page=True)


def test_a_club_by_its_forms(chrome: Any, site: Served) -> None:
    """Markup in names and notes is text: a mark of it would be an element, and would run."""
    with visiting(chrome, site, viewport=PHONE, has_touch=True, is_mobile=True) as visit:
        page = visit.page
        visit.open("/clubs")
        page.get_by_label("What it is called").fill(MARKUP)
        page.get_by_role("button", name="Found it").tap()
        links = page.locator("dd a")
        links.first.wait_for()
        assert links.count() == 3
        keep = links.nth(2).get_attribute("href")
        visit.open(keep)
        assert page.locator("h1").text_content() == MARKUP
        assert page.locator("h1 b").count() == 0
        page.locator("summary", has_text="a puzzle, or how far you are").tap()
        page.get_by_label("its name or address").fill("2x2x2")
        page.locator("form:has(input[value=puzzle]) select[name=state]").select_option("understood")
        page.get_by_role("button", name="Add the puzzle").tap()
        page.get_by_text("understood").first.wait_for()
        assert page.url == visit.host + keep
        page.get_by_role("link", name="change number 1").tap()
        page.locator("form:has(input[value=change]) select").select_option("taught")
        page.get_by_role("button", name="Change it").tap()
        page.locator(".standing", has_text="taught").wait_for()
        assert page.locator(".standing .state").inner_text() == "● taught"


def test_links_are_not_lost_by_loading_their_page_anew(chrome: Any, site: Served) -> None:
    with visiting(chrome, site) as visit:
        page = visit.page
        visit.open("/clubs")
        page.get_by_label("What it is called").fill("Sunday")
        page.get_by_role("button", name="Found it").click()
        keep = page.locator("dd a").nth(2)
        keep.wait_for()
        there = keep.get_attribute("href")
        page.wait_for_url(visit.host + there)
        page.reload()
        page.get_by_text("Your link is to keep house.").wait_for()
        page.locator("summary", has_text="links").click()
        row = page.locator(".items li", has_text="To read and to add")
        row.get_by_role("button", name="Make a new link").click()
        assert page.url == visit.host + there
        assert row.get_by_role("checkbox").first.evaluate("box => box.matches(':invalid')")
        row.get_by_role("checkbox").first.check()
        row.get_by_role("button", name="Make a new link").click()
        page.get_by_text("The one before opens nothing any more.").wait_for()
        assert page.url == visit.host + there
        assert axe(page) == []


def test_how_far_a_club_is_with_each_puzzle(chrome: Any, site: Served) -> None:
    """Who may add says so beside each puzzle; who may read sees it, and finds what it is about."""
    told = site.client.post("/api/clubs", json={"name": "Friday"}).json()
    read, add, _ = (str(link["href"]).removeprefix("/api") for link in told["links"])
    for puzzle, kind in (("2x2x2", "corner"), ("3x3x3", "edge"), ("3x3x3", "corner")):
        note = {"kind": "note", "text": f"about {puzzle} {kind}", "puzzle": puzzle, "type": kind}
        assert site.client.post(f"/api{add}/items", json=note).status_code == 201
    with visiting(chrome, site, viewport=PHONE) as visit:
        page = visit.page
        visit.open(add)
        rows = page.locator(".standing li")
        states = rows.locator(".state")
        assert states.all_inner_texts() == ["○ new", "○ new"]
        for state, seen in (("understood", "◔"), ("solved", "◑"), ("taught", "●"), ("new", "○")):
            page.get_by_label("How far you are with 3x3x3").select_option(state)
            page.get_by_role("button", name="Set it for 3x3x3").focus()
            page.keyboard.press("Enter")
            rows.nth(1).get_by_text(f"{seen} {state}").wait_for()
            assert states.first.inner_text() == "○ new"
        page.get_by_label("How far you are with 2x2x2").select_option("solved")
        page.get_by_role("button", name="Set it for 2x2x2").click()
        page.locator(".state", has_text="◑ solved").first.wait_for()
        assert axe(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
        visit.open(read)
        assert states.all_inner_texts() == ["◑ solved", "○ new"]
        assert page.locator(".setting").count() == 0
        items = page.locator(".items > li")
        everything = items.count()
        page.locator(".filter select[name=puzzle]").select_option("3x3x3")
        page.get_by_role("button", name="Show", exact=True).click()
        page.get_by_role("link", name="Show all").wait_for()
        assert items.count() == 2 + 4
        assert page.locator(".items > li:visible").count() == 2 + 1, "the state that holds"
        page.locator(".filter select[name=type]").select_option("edge")
        page.get_by_role("button", name="Show", exact=True).click()
        page.get_by_text("about 3x3x3 edge").wait_for()
        assert items.count() == 1
        page.locator(".filter select[name=puzzle]").select_option("")
        page.locator(".filter select[name=type]").select_option("corner")
        page.get_by_role("button", name="Show", exact=True).click()
        page.get_by_text("about 2x2x2 corner").wait_for()
        assert items.count() == 2
        page.get_by_role("link", name="Show all").click()
        page.get_by_text("about 3x3x3 edge").wait_for()
        assert items.count() == everything
