"""The page of a puzzle's methods: worked out while one waits, then read and taken along."""

from __future__ import annotations

from typing import Any

from service.puzzle_shelf import keep
from tests.pages.everybody import for_everybody
from tests.pages.test_reading_pages import MOST_BYTES, visiting
from tests.search.test_method_blocked import wheels_file
from tests.service.api.harness import Served

HREF = "/puzzles/tetrahedron-corners/method"
PATIENCE = 60_000


def test_it_comes_while_one_waits(chrome: Any, site: Served) -> None:
    with visiting(chrome, site) as visit:
        visit.open("/puzzles/cube-corners/method")
        visit.page.locator("#method1").wait_for(timeout=PATIENCE)
        assert "arrangements and lack three-cycles" in visit.page.locator("main").inner_text()
        assert visit.page.locator("#awaited").count() == 0


def test_the_page_is_for_everybody(chrome: Any, site: Served) -> None:
    with visiting(chrome, site) as visit:
        visit.open(HREF)
        visit.page.locator("#method1").wait_for(timeout=PATIENCE)
        visit.open(HREF)
        visit.page.wait_for_load_state("networkidle")
        assert visit.weight() < MOST_BYTES
        assert visit.page.locator("h1").inner_text() == "How to solve the tetrahedron-corners"
        picture = visit.page.locator(".answers .sketch img[src*='effect=']").first
        picture.scroll_into_view_if_needed()
        visit.page.wait_for_load_state("networkidle")
        assert picture.evaluate("one => one.complete && one.naturalWidth > 0")
        for_everybody(visit.page, "method")


def test_all_of_it_is_there_without_the_script(chrome: Any, site: Served) -> None:
    with visiting(chrome, site) as visit:
        visit.open(HREF)
        visit.page.locator("#method1").wait_for(timeout=PATIENCE)
    told = site.client.get(f"/api{HREF}").json()
    text = site.client.get(HREF).text
    for step in told["methods"][0]["steps"]:
        for one in step["sequences"]:
            assert one["notation"].replace("'", "&#39;") in text
    assert "style=" not in text
    kept = site.client.get(f"/results/{told['result']}")
    assert kept.status_code == 200
    assert "Method 1" in kept.text


def test_where_turns_can_be_blocked_the_way_home_comes_first(chrome: Any, site: Served) -> None:
    href = f"/puzzles/{keep(site.store, wheels_file())}/method"
    with visiting(chrome, site) as visit:
        visit.open(href)
        visit.page.locator("#method1").wait_for(timeout=PATIENCE)
        told = visit.page.locator("main")
        assert "It stands in 15 ways" in told.inner_text()
        told.get_by_text("Every way to stand").click()
        assert told.locator("details tbody tr").count() == 14
        for_everybody(visit.page, "method-blocked")
    assert site.client.get("/puzzles/none/method").status_code == 404
