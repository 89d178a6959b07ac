"""A service that is stopped and started again while somebody looks at a page: it is said, and the
page goes on by itself."""

from __future__ import annotations

import socket
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

import pytest

from service.works.kinds import work_for
from service.works.loop import run
from tests.pages.test_reading_pages import visiting
from tests.service.api.harness import Served, serving

#: Milliseconds in which a page notices that the service is back, and does its work.
PATIENCE = 60_000
LOST = "The connection is lost"


@pytest.fixture
def port() -> int:
    """Return a port that is free, to come back to."""
    with socket.create_server(("127.0.0.1", 0)) as own:
        return int(own.getsockname()[1])


@contextmanager
def working(folder: Path, port: int) -> Iterator[Served]:
    """Run a service and a worker on what a folder holds."""
    with serving(folder, port=port) as served:
        leaving = threading.Event()
        worker = threading.Thread(
            target=run, args=(served.store, "tester", work_for, leaving.is_set)
        )
        worker.start()
        yield served
        leaving.set()
        worker.join(10)


@contextmanager
def looking(service: Any, chrome: Any, address: str, first: Any = None) -> Iterator[Any]:
    """Open a page of a service that is gone when the block begins; only the browser complains.

    ``first`` waits until the page is as it should be before that.
    """
    with ExitStack() as stack:
        with service as served:
            visit = stack.enter_context(visiting(chrome, served, reduced_motion="reduce"))
            visit.open(address)
            visit.page.wait_for_load_state("networkidle") if first is None else first(visit.page)
        yield visit.page
        visit.page.wait_for_timeout(50)
        assert all("net::" in one or "Failed to load" in one for one in visit.complaints)
        visit.complaints.clear()


def test_asking(chrome: Any, tmp_path: Path, port: int) -> None:
    with looking(working(tmp_path, port), chrome, "/puzzles/2x2x2/ask") as page:
        page.fill("#cycle", "UFR UBL DFR")
        page.keyboard.press("Enter")
        page.locator("#said", has_text=LOST).wait_for()
        assert page.input_value("#cycle") == "UFR UBL DFR"
        with working(tmp_path, port):
            page.locator("#answers[data-state=done] li[data-a]").first.wait_for(timeout=PATIENCE)
            assert LOST not in page.locator("#said").inner_text()


def test_following_a_search(chrome: Any, tmp_path: Path, port: int) -> None:
    """The search waits for a worker when the service goes, and is done when it is back."""

    def waits(page: Any) -> None:
        page.locator("#said", has_text="as soon as a worker is free").wait_for()

    asked = "/puzzles/2x2x2/ask?cycle=UFR,UBL,DFR"
    with looking(serving(tmp_path, port=port), chrome, asked, waits) as page:
        page.locator("#said", has_text=LOST).wait_for(timeout=PATIENCE)
        with working(tmp_path, port):
            page.locator("#answers[data-state=done] li[data-a]").first.wait_for(timeout=PATIENCE)


def test_the_bench(chrome: Any, tmp_path: Path, port: int) -> None:
    """Exact names need no service; brackets do, and are done when it is back."""
    with looking(working(tmp_path, port), chrome, "/puzzles/3x3x3/bench") as page:
        page.fill("#turns", "R U")
        page.keyboard.press("Enter")
        page.locator("#said", has_text="pieces disturbed").wait_for()
        page.fill("#turns", "[R, U]")
        page.keyboard.press("Enter")
        page.locator("#said", has_text=LOST).wait_for()
        with working(tmp_path, port):
            page.locator("#said", has_text="R U R' U'").wait_for(timeout=PATIENCE)
            assert page.input_value("#turns") == "R U R' U'"


def test_reading(chrome: Any, tmp_path: Path, port: int) -> None:
    with looking(working(tmp_path, port), chrome, "/puzzles/3x3x3/read?sequence=[R,U]") as page:
        page.fill("#sequence", "F [R, U] F'")
        page.get_by_role("button", name="Read it").click()
        page.locator("#said", has_text=LOST).wait_for()
        assert page.input_value("#sequence") == "F [R, U] F'"
        with working(tmp_path, port):
            page.locator("#said", has_text="It is read").wait_for(timeout=PATIENCE)
            assert page.input_value("#sequence") == "F [R, U] F'"
            assert page.locator("ul.tree > li").first.inner_text().startswith("[F: [R, U]]")
            assert "sequence=F+%5BR%2C+U%5D+F%27" in page.url
            page.go_back()
            page.locator("#made ~ ul.tree", has_text="[R, U]").wait_for()


def test_stepping_after_the_service_has_gone(chrome: Any, tmp_path: Path, port: int) -> None:
    """The drawing is wanted while the service is away, and comes with it."""
    with looking(working(tmp_path, port), chrome, "/puzzles/3x3x3/read?sequence=[R,U]") as page:
        page.get_by_role("button", name="Step through it").click()
        page.locator("figure [role=status]", has_text=LOST).wait_for()
        with working(tmp_path, port):
            page.locator(".strip button.part").nth(3).wait_for(timeout=PATIENCE)


def test_a_puzzle_that_is_worked_on(chrome: Any, tmp_path: Path, port: int) -> None:
    def waits(page: Any) -> None:
        page.locator("#awaited [role=status]", has_text="as soon as a worker").wait_for()

    with looking(serving(tmp_path, port=port), chrome, "/puzzles/2x2x2", waits) as page:
        page.locator("#awaited [role=status]", has_text=LOST).wait_for(timeout=PATIENCE)
        with working(tmp_path, port):
            page.locator(".effects li").first.wait_for(timeout=PATIENCE)


def test_nonsense_is_said_without_leaving_the_page(chrome: Any, site: Served) -> None:
    with visiting(chrome, site) as visit:
        page = visit.page
        visit.open("/puzzles/3x3x3/read")
        page.fill("#sequence", "R Q")
        page.get_by_role("button", name="Read it").click()
        page.locator("#wrong", has_text="Q").wait_for()
        assert page.evaluate("document.activeElement.id") == "sequence"
        page.fill("#sequence", "R U")
        page.get_by_role("button", name="Read it").click()
        page.locator("#does").wait_for()
        assert page.locator("#wrong").count() == 0
        assert page.get_by_role("link", name="This page as JSON").get_attribute("href") == (
            "/api/puzzles/3x3x3/read?sequence=R+U"
        )
        (said,) = visit.complaints
        assert "422" in said, "the browser itself notes the status"
        visit.complaints.clear()
