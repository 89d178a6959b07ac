"""A whole solve: a scramble or a state is entered, and the steps stand in sections on the page."""

from __future__ import annotations

import re
from typing import Any

import pytest

from puzzles import load
from puzzles.notation import parse
from tests.pages.everybody import for_everybody
from tests.pages.test_last_pieces import opened, says
from tests.pages.test_pages import MARKUP
from tests.pages.test_reading_pages import MOST_BYTES, visiting
from tests.plain import named, plain
from tests.service.api.harness import Served

PAGE = "/puzzles/3x3x3/solve"
SCRAMBLE = "R U2 F' L D B2 R' F2 U L' D2 B R2 F U' L2 D F'"
SOLVED = f"{PAGE}?scramble={SCRAMBLE.replace(' ', '+').replace(chr(39), '%27')}"
#: Milliseconds in which a solve of the 3x3x3 is over, on a slow machine.
PATIENCE = 60_000


@pytest.fixture(scope="module")
def warm(site: Served) -> Served:
    """Return a service that has solved what the tests ask for."""
    told = {"state": "waiting"}
    while told["state"] in ("waiting", "running"):
        told = site.client.get(f"/api{SOLVED}", headers={"Prefer": "wait=5"}).json()["search"]
    assert told["state"] == "done"
    return site


def test_every_step_is_there_and_the_plain_simulator_ends_solved(warm: Served) -> None:
    page = warm.client.get(SOLVED)
    assert page.status_code == 200
    report = warm.client.get(f"/api{SOLVED}").json()["search"]["answer"]
    text = page.text.replace("&#39;", "'")
    puzzle = load("3x3x3")
    solid = plain(puzzle)
    points = solid.do(named(puzzle, parse(puzzle, SCRAMBLE).word))
    for step in report["steps"]:
        assert step["notation"] in text
        assert step["reason"] in text
        points = solid.do(named(puzzle, parse(puzzle, step["sequence"]).word), points)
    assert (solid._face_at(points) == solid.face).all()
    # The picture of the state shows what the scramble leaves.
    there = puzzle.effect(parse(puzzle, SCRAMBLE).word)
    assert (puzzle.effect(parse(puzzle, report["before"]).word) == there).all()
    assert text.count("data-section=") > 1
    assert "style=" not in page.text


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ({"pieces": "UFR=UBL"}, "UFR is missing"),
        ({"pieces": "UFR=UBL UFL=UBL"}, "the piece UBL was entered twice"),
        ({"scramble": f"R {MARKUP}"}, ""),
        ({"stickers": "UFR=RFU"}, "mirror image"),
        ({"scramble": "", "learned": "R U R' U'"}, "nothing is entered yet"),
        ({"cycles": "(UFR UBL DFR)", "scramble": "R"}, "one of scramble, cycles, pieces and"),
    ],
)
def test_nonsense_is_said(warm: Served, query: dict[str, str], said: str) -> None:
    page = warm.client.get(PAGE, params=query)
    assert page.status_code == 422
    assert said.lower() in page.text.lower()
    assert "<b onclick" not in page.text
    assert 'id="entry"' in page.text
    told = warm.client.get(f"/api{PAGE}", params=query)
    assert told.status_code == 422


def test_a_blocked_turn_and_an_impossible_state_are_said(warm: Served) -> None:
    page = warm.client.get("/puzzles/ball-sixths-whole/solve?scramble=U+UFR+U+UFR")
    assert page.status_code == 422
    page = warm.client.get(f"{PAGE}?pieces=UF%3DFU")
    assert page.status_code == 200
    assert "one edge alone can&#39;t be flipped" in page.text
    assert 'data-slots="UF"' in page.text


def test_the_pages_are_for_everybody(chrome: Any, warm: Served) -> None:
    with visiting(chrome, warm) as visit:
        addresses = {"enter": PAGE, "steps": SOLVED, "impossible": f"{PAGE}?pieces=UF%3DFU"}
        for name, address in addresses.items():
            visit.open(address)
            visit.page.wait_for_load_state("networkidle")
            for_everybody(visit.page, f"solve-{name}")


def test_the_page_is_light(chrome: Any, warm: Served) -> None:
    with visiting(chrome, warm) as visit:
        visit.open(SOLVED)
        visit.page.wait_for_load_state("networkidle")
        assert visit.weight() < MOST_BYTES


def test_a_scramble_is_typed_and_the_whole_is_stepped_through(chrome: Any, warm: Served) -> None:
    with visiting(chrome, warm, reduced_motion="reduce") as visit:
        page = opened(visit, PAGE)
        page.get_by_role("button", name="By turns").click()
        page.locator("#sequence").fill(SCRAMBLE)
        says(page, "This can be put right")
        assert "scramble=" in page.url
        page.get_by_role("button", name="Show the steps").click()
        page.locator(".laststeps").wait_for(timeout=PATIENCE)
        page.get_by_role("button", name=re.compile("Step through all of it")).click()
        page.locator(".strip").wait_for(timeout=PATIENCE)
        labels = [b.get_attribute("aria-label") for b in page.locator(".strip .part").all()]
        puzzle = load("3x3x3")
        turns = " ".join(label.partition(", ")[2].partition(":")[0] for label in labels)
        whole = (*parse(puzzle, SCRAMBLE).word, *parse(puzzle, turns).word)
        assert (puzzle.effect(whole) == puzzle.effect(())).all()
        # One step alone begins where those before it end.
        last = page.locator("details.section").last
        if last.get_attribute("open") is None:
            last.locator("summary").click()
        last.get_by_role("button", name="Step through it").last.click()
        page.locator("details.section .strip").wait_for(timeout=PATIENCE)
        slider = page.locator("#stepping input[type=range]")
        total = slider.get_attribute("max")
        slider.fill(total)
        assert page.locator("#stepping output").inner_text().startswith(f"{total} of {total}")
