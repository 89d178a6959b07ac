"""Stepping through what was found and what was read, in a browser, against the compiled puzzle."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pytest

from puzzles import load
from puzzles.notation import parse
from puzzles.puzzle import Puzzle
from tests.pages.everybody import PHONE, WIDE, for_everybody, unfolded
from tests.pages.test_reading_pages import MOST_BYTES, visiting
from tests.service.api.harness import Served

#: Two brackets within a third, and a setup; written out it is 18 turns.
NESTED = "R [[F, U], [D: L]] R'"
READ = "/puzzles/3x3x3/read?sequence="
PATIENCE = 20_000


def address(sequence: str) -> str:
    return READ + sequence.replace(" ", "+").replace("'", "%27")


def begin(page: Any) -> Any:
    """Press the first button that steps, and return the parts."""
    page.get_by_role("button", name="Step through it").first.click()
    strip = page.locator(".strip")
    strip.wait_for(timeout=PATIENCE)
    return strip


def done(page: Any) -> tuple[int, int]:
    """Return how many turns are done, and of how many."""
    words = page.locator("#stepping output").inner_text().split()
    return int(words[0]), int(words[2])


def turns_in(strip: Any, names: Sequence[str]) -> list[str]:
    """Return the turns of all pictures, by what their buttons are called."""
    assert len(names) == strip.locator("button.part").count()
    return [name.partition(", ")[2].partition(":")[0] for name in names]


def labels(strip: Any) -> list[str]:
    return [one.get_attribute("aria-label") or "" for one in strip.locator("button.part").all()]


def effects(puzzle: Puzzle, texts: Sequence[str]) -> Any:
    return puzzle.effect(parse(puzzle, " ".join(texts)).word)


def test_brackets_within_brackets_are_parts(chrome: Any, site: Served) -> None:
    """The pictures in order are the sequence, and each bracket is a part with its own parts."""
    puzzle = load("3x3x3")
    told = site.client.get("/api" + address(NESTED)).json()
    assert told["tree"]["kind"] == "conjugate"
    with visiting(chrome, site, viewport=WIDE, reduced_motion="reduce") as visit:
        page = visit.page
        visit.open(address(NESTED))
        strip = begin(page)
        word = parse(puzzle, told["notation"]).word
        texts = turns_in(strip, labels(strip))
        assert (effects(puzzle, texts) == puzzle.effect(word)).all()
        assert len(parse(puzzle, " ".join(texts)).word) == len(word) == done(page)[1]
        brackets = strip.locator("button.bracket")
        inner = told["tree"]["parts"][1]
        assert brackets.first.get_attribute("aria-label").startswith(f"inside, {inner['notation']}")
        assert brackets.count() >= 3
        # Pointing at a bracket shows the drawing after all of it.
        brackets.first.hover()
        setup = len(parse(puzzle, told["tree"]["parts"][0]["sequence"]).word)
        assert done(page) == (len(word) - setup, len(word))
        strip.locator("button.part").first.hover()
        assert done(page)[0] == setup


@pytest.mark.parametrize(
    ("sequence", "first"),
    [
        ("R U F", ["turn 1", "turn 2", "turn 3"]),
        ("(R U)3", ["part 1", "time 1", "turn 1"]),
        ("F [R, U] L [R, U]", None),
        ("[[R, U], F]'", None),
        (" ".join(["R U F D"] * 20), None),
    ],
)
def test_any_sequence_is_stepped_through(
    chrome: Any, site: Served, sequence: str, first: list[str] | None
) -> None:
    puzzle = load("3x3x3")
    with visiting(chrome, site, reduced_motion="reduce") as visit:
        visit.open(address(sequence))
        strip = begin(visit.page)
        texts = turns_in(strip, labels(strip))
        assert 1 <= len(texts) <= 40
        word = parse(puzzle, sequence).word
        assert (effects(puzzle, texts) == puzzle.effect(word)).all()
        if first is not None:
            assert labels(strip)[0].split(",")[0] in first


def test_lost_in_a_sequence_that_was_read(chrome: Any, site: Served) -> None:
    """After some turns the pieces stand as the compiled puzzle says; from these it is found."""
    puzzle = load("3x3x3")
    with visiting(chrome, site, viewport=WIDE, reduced_motion="reduce") as visit:
        page = visit.page
        visit.open(address(NESTED))
        strip = begin(page)
        word = parse(puzzle, " ".join(turns_in(strip, labels(strip)))).word
        names = page.evaluate(
            "async () => (await (await fetch('/api/puzzles/3x3x3/drawing')).json()).placements"
        )
        lost = strip.locator(".lost")
        lost.locator("summary").click()
        lost.locator("select").wait_for()
        at = 5
        effect = puzzle.effect(word[:at]).tolist()
        for _ in range(10):
            select = lost.locator("select")
            if not select.count():
                break
            slot = int(select.input_value())
            here = effect.index(int(puzzle.home[slot]))
            text = "its own, as it was" if here == int(puzzle.home[slot]) else names[here]
            lost.get_by_role("button", name=text, exact=True).click()
        assert lost.get_by_role("status").inner_text() == f"You are after turn {at}."
        assert done(page)[0] == at


def test_a_result_and_what_is_folded_in_it(chrome: Any, site: Served, found: str) -> None:
    report = site.client.get(f"/api{found}").json()
    with visiting(chrome, site, viewport=WIDE, reduced_motion="reduce") as visit:
        page = visit.page
        visit.open(found)
        strip = begin(page)
        first = report["answers"][0]
        form = [first["setup"], first["a"], first["b"]]
        assert [text for text in turns_in(strip, labels(strip)) if text in form] != []
        page.get_by_role("slider").focus()
        page.keyboard.press("End")
        total = done(page)[1]
        assert done(page) == (total, total)
        # Another one takes its place, also one that is folded.
        answer = page.locator(".answers > li", has=page.locator(".family")).first
        number = [bool(own["folded"]) for own in report["answers"]].index(True)
        own = report["answers"][number]
        family = answer.locator(".family")
        assert f"and {own['folded']} more of its kind" in family.locator("summary").inner_text()
        family.locator("summary").click()
        assert family.locator(".members > li").count() == len(own["members"])
        member = family.locator(".members > li").first
        assert own["members"][0]["notation"] in member.inner_text()
        member.get_by_role("button", name="Step through it").click()
        member.locator(".strip").wait_for()
        assert page.locator(".strip").count() == 1
        puzzle = load("2x2x2")
        texts = turns_in(member, labels(member))
        word = parse(puzzle, own["members"][0]["sequence"]).word
        assert (effects(puzzle, texts) == puzzle.effect(word)).all()


def test_by_keyboard_alone(chrome: Any, site: Served, found: str) -> None:
    for opened in (found, address(NESTED)):
        with visiting(chrome, site, reduced_motion="reduce") as visit:
            page, keys = visit.page, visit.page.keyboard
            visit.open(opened)
            page.get_by_role("button", name="Step through it").first.wait_for()
            for _ in range(60):
                keys.press("Tab")
                if page.evaluate("document.activeElement.classList.contains('step')"):
                    break
            keys.press("Enter")
            page.locator(".strip :focus").wait_for()
            keys.press("Enter")
            assert done(page)[0] > 0
            for _ in range(60):
                keys.press("Shift+Tab")
                if page.evaluate("document.activeElement.id") == "turn-done":
                    break
            keys.press("Home")
            assert done(page)[0] == 0
            keys.press("ArrowRight")
            assert done(page)[0] == 1


def test_by_touch_on_a_phone(chrome: Any, site: Served, found: str) -> None:
    options = {"viewport": PHONE, "has_touch": True, "is_mobile": True, "reduced_motion": "reduce"}
    for opened in (found, address(NESTED)):
        with visiting(chrome, site, **options) as visit:
            page = visit.page
            visit.open(opened)
            page.get_by_role("button", name="Step through it").first.tap()
            page.locator("button.part").nth(1).tap()
            before = done(page)[0]
            page.get_by_role("button", name="Next turn").tap()
            assert done(page)[0] == before + 1
            assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
            stage = page.locator(".bench > .picture").bounding_box()
            assert stage["height"] < PHONE["height"] * 0.6


@pytest.mark.parametrize("name", ["result", "read"])
def test_stepping_is_for_everybody(chrome: Any, site: Served, found: str, name: str) -> None:
    with visiting(chrome, site, reduced_motion="reduce") as visit:
        page = visit.page
        visit.open({"result": found, "read": address(NESTED)}[name])
        begin(page).locator("button.part").nth(1).click()
        unfolded(page)
        assert visit.weight() < MOST_BYTES
        for_everybody(page, f"stepping-{name}")
