"""A state is entered as cycles that are clicked, place after place, on both pages."""

from __future__ import annotations

from typing import Any

from puzzles import load
from puzzles.states import from_cycles
from tests.pages.test_last_pieces import click, opened, says
from tests.pages.test_reading_pages import PHONE, WIDE, axe, visiting
from tests.service.api.harness import Served


def entered(page: Any) -> str:
    return str(page.locator("#cycles").input_value())


def test_cycles_are_clicked_closed_and_taken_back(chrome: Any, site: Served) -> None:
    """What is clicked is what is written, and what is drawn is what the cycles say."""
    with visiting(chrome, site, viewport=WIDE, reduced_motion="reduce") as visit:
        page = opened(visit, "/puzzles/3x3x3/finish")
        page.get_by_role("button", name="As cycles").click()
        says(page, "Click the places of a cycle in order")
        close = page.get_by_role("button", name="Close the cycle")
        back = page.get_by_role("button", name="Undo the last click")
        assert close.get_attribute("aria-disabled") == "true"
        click(page, "UFR")
        says(page, "UFR begins a cycle")
        assert entered(page) == ""
        click(page, "RUB")
        says(page, "UFR goes to RUB")
        assert entered(page) == "(UFR RUB)"
        click(page, "FUL")
        assert entered(page) == "(UFR RUB FUL)"
        back.click()
        assert entered(page) == "(UFR RUB)"
        click(page, "FUL")
        close.click()
        says(page, "3 pieces are not solved: UFL, UFR, UBR. This can be put right.")
        assert "cycles=" in page.url
        # Of another type, so that the next cycle begins; its own first place closes it.
        for name in ("UF", "UR", "UF"):
            click(page, name)
        assert entered(page) == "(UFR RUB FUL)(UF UR)"
        says(page, "No sequence solves this")
        back.click()
        says(page, "The last click is undone")
        back.click()
        back.click()
        says(page, "This can be put right")
        puzzle = load("3x3x3")
        state = from_cycles(puzzle, "(UFR RUB FUL)")
        field = page.locator("#pieces")
        page.get_by_role("button", name="By pieces").click()
        assert field.input_value() == state.text()
        page.get_by_role("button", name="As cycles").click()
        assert entered(page) == "(UFR RUB FUL)", "what was clicked is not lost"
        # What only the service can read stays before what is clicked.
        page.locator("#cycles").fill("(URF, UBR, UFL)")
        for name in ("UF", "UR", "FR"):
            click(page, name)
        close.click()
        assert entered(page) == "(URF, UBR, UFL) (UF UR FR)"
        says(page, "6 pieces are not solved")
        page.reload()
        page.wait_for_selector("#enter[data-ready]")
        assert entered(page) == "(URF, UBR, UFL) (UF UR FR)"
        # Two types in one cycle stay as they were typed, and the service says what is wrong.
        page.locator("#cycles").fill("(UFR UF)")
        for name in ("UR", "UB", "FR"):
            click(page, name)
        assert entered(page) == "(UFR UF) (UR UB FR)"
        close.click()
        says(page, "UFR is a corner")


def test_twists_are_clicked_by_touch_on_the_page_of_a_whole_solve(
    chrome: Any, site: Served
) -> None:
    options = {"viewport": PHONE, "has_touch": True, "is_mobile": True, "reduced_motion": "reduce"}
    with visiting(chrome, site, **options) as visit:
        page = opened(visit, "/puzzles/3x3x3/solve?cycles=(UFL+LUF+FUL)&change=1")
        says(page, "No sequence solves this")
        for name in ("UFR", "FUR"):
            click(page, name, True)
        # Two corners twisted the same way: the twists do not add up to a whole turn.
        assert entered(page) == "(UFL LUF FUL)(UFR FUR RUF)"
        says(page, "No sequence solves this")
        for _ in range(2):
            page.get_by_role("button", name="Undo the last click").tap()
        for name in ("UFR", "RUF"):
            click(page, name, True)
        assert entered(page) == "(UFL LUF FUL)(UFR RUF FUR)"
        says(page, "2 pieces are not solved: UFL, UFR. This can be put right.")
        assert axe(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
