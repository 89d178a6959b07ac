"""The page of a puzzle's methods: worked out while one waits, then read and taken along."""

from __future__ import annotations

from typing import Any

from tests.pages.everybody import for_everybody
from tests.pages.test_reading_pages import MOST_BYTES, visiting
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


def test_where_there_is_none_it_is_said(site: Served) -> None:
    page = site.client.get("/puzzles/3x3x3-bandaged/method")
    assert page.status_code == 200
    assert "can be blocked" in page.text
    assert site.client.get("/puzzles/none/method").status_code == 404
