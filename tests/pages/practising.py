"""What tests of practice share: a page at a certain time, answers by keys, and what is kept."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from tests.pages.test_reading_pages import Visit, visiting
from tests.service.api.harness import Served

PRACTICE = "/puzzles/3x3x3/practice"
NAME = "trefoil.practice"
PATIENCE = 20_000
#: Half an hour before midnight there, where a day of 25 hours is on its way.
ZONE, BEGIN = "Europe/Berlin", datetime(2026, 10, 10, 21, 30, tzinfo=UTC)


@contextmanager
def practising(
    chrome: Any, site: Served, address: str = PRACTICE, begin: datetime = BEGIN, **options: Any
) -> Iterator[Visit]:
    """Open a page of practice when it is a certain time."""
    usual = {"reduced_motion": "reduce", "timezone_id": ZONE, "accept_downloads": True}
    with visiting(chrome, site, **{**usual, **options}) as visit:
        visit.page.clock.install(time=begin)
        visit.open(address)
        visit.page.locator("#drill").wait_for(timeout=PATIENCE)
        yield visit


def today(page: Any) -> date:
    """Return the day that it is on the page, by a calendar of its own."""
    moment = datetime.fromtimestamp(page.evaluate("Date.now()") / 1000, ZoneInfo(ZONE))
    return moment.date()


def case(page: Any) -> str:
    """Return the case that is asked, empty where nothing is."""
    return str(page.locator("#drill").get_attribute("data-case"))


def answer(page: Any, knew: bool) -> str:
    """Answer the case that is asked, by keys, and return which it was."""
    own = case(page)
    assert own
    page.locator("#drill").focus()
    page.keyboard.press("r")
    page.locator("#revealed").wait_for(timeout=PATIENCE)
    page.keyboard.press("1" if knew else "2")
    page.locator("#revealed").wait_for(state="detached", timeout=PATIENCE)
    return own


def kept(page: Any) -> dict[str, dict[str, Any]]:
    """Return what the browser keeps of cases."""
    text = page.evaluate(f"localStorage.getItem('{NAME}')")
    if text is None:
        return {}
    told = json.loads(text)
    assert (told["trefoil"], told["version"]) == ("practice", 1)
    found: dict[str, dict[str, Any]] = told["cases"]
    return found
