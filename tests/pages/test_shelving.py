"""A result is put on a club's shelf from its own page."""

from __future__ import annotations

from typing import Any

from tests.pages.test_pages import MARKUP
from tests.pages.test_reading_pages import PHONE, axe, visiting
from tests.service.api.harness import Served


def test_a_result_is_put_on_a_shelf(chrome: Any, site: Served, found: str) -> None:
    """By the club's link, which stays in this browser where somebody wants that."""
    club = site.client.post("/api/clubs", json={"name": "Wednesday"}).json()
    reads, adds = (str(link["href"]) for link in club["links"][:2])
    host = str(site.client.base_url).rstrip("/")
    with visiting(chrome, site, viewport=PHONE, reduced_motion="reduce") as visit:
        page = visit.page
        visit.open(found)
        page.get_by_text("put it on a club's shelf").click()
        says = page.locator("#shelving [role=status]")
        put = page.get_by_role("button", name="Put it on the shelf")
        link = page.get_by_label("The club's link")
        for wrong, said in (
            ("https://elsewhere.example" + adds, "is of elsewhere.example, another service"),
            ("mailto:somebody", "is none of this service"),
            (found, "one that allows to add; nothing was sent"),
        ):
            link.fill(wrong)
            put.click()
            assert said in says.inner_text()
            assert link.get_attribute("aria-invalid") == "true"
        link.fill(host + reads.replace("/api", ""))
        put.click()
        page.get_by_text("Not put on the shelf: This link allows to read").wait_for()
        assert site.client.get(adds).json()["items"] == []
        visit.complaints.clear()
        link.fill(host.partition("//")[2] + adds.replace("/api", ""))
        page.get_by_label("What you say of it").fill(MARKUP)
        page.get_by_label("From whom").fill("Ann")
        page.get_by_label("keep the link and the name").check()
        put.click()
        page.get_by_text("UFR → UBL → DFR is on the shelf.").wait_for()
        (item,) = site.client.get(adds).json()["items"]
        assert (item["kind"], item["by"], item["text"]) == ("result", "Ann", MARKUP)
        assert item["link"] == f"/api{found}"
        assert axe(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
        page.reload()
        page.get_by_text("put it on a club's shelf").click()
        assert link.input_value() == host + adds.replace("/api", "")
        assert page.get_by_label("From whom").input_value() == "Ann"
        page.get_by_label("keep the link and the name").uncheck()
        page.reload()
        page.get_by_text("put it on a club's shelf").click()
        assert link.input_value() == ""
        link.fill(adds.replace("/api", ""))
        put.click()
        page.get_by_role("link", name="See the shelf").click()
        page.get_by_role("heading", name="Wednesday").wait_for()
        assert page.locator(".items > li").count() == 2
    assert "put the link above on its shelf" in site.client.get(found).text
