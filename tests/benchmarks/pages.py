"""What people wait for on the pages: the first picture, the first answer after three clicks."""

from __future__ import annotations

import statistics
from collections.abc import Iterator, Sequence
from typing import Any

import httpx

from tests.benchmarks.serving import service
from tests.benchmarks.tables import Table, against, seconds
from tests.pages.browser import browser
from tests.pages.test_ask import point

#: The first picture, and the first answer, in seconds; what a page may weigh, in bytes.
PICTURE, ANSWER, WEIGHT = 1.0, 0.3, 150_000
PLACES = (
    "/",
    "/puzzles/3x3x3",
    "/puzzles/3x3x3/ask",
    "/puzzles/3x3x3/bench",
    "/puzzles/3x3x3/cover?sequence=[R+U+R'+U',+L]",
    "/puzzles/3x3x3/sheet?sequence=[R+U+R'+U',+L]",
    "/puzzles/new",
    "/puzzles/ball-sixths-218",
    "/puzzles/ball-sixths-218/ask",
)
#: Cycles of corners, each another one under the symmetries of the cube.
CYCLES = (("UFR", "UFL", "UBL"), ("UFR", "UBL", "FDR"), ("UFL", "RUB", "UFR"))

#: Notes when the first picture is there: one that is loaded, or a canvas that was painted on.
FIRST = """
const look = () => {
  const image = [...document.images].some((i) => i.width > 50 && i.complete && i.naturalWidth);
  const drawn = [...document.querySelectorAll("svg")].some((s) => s.clientWidth > 50);
  const stage = document.querySelector("canvas");
  if (image || drawn || stage) window.firstPicture = performance.now();
  else requestAnimationFrame(look);
};
requestAnimationFrame(look);
"""
#: Bytes of the page and of all that came with it, as they were sent.
BYTES = """() => [...performance.getEntriesByType("navigation"),
  ...performance.getEntriesByType("resource")].reduce((sum, e) => sum + e.transferSize, 0)"""


def pages(small: bool = False) -> Iterator[Table]:
    """Open pages of a service on an empty store in chromium, and click three stickers."""
    repeats = 1 if small else 5
    with service() as address, browser() as chrome:
        httpx.get(f"{address}/", timeout=60)
        rows = []
        for place in PLACES[:2] if small else PLACES:
            opened = [_opened(chrome, address + place) for _ in range(repeats)]
            first, median = opened[0][0], statistics.median(one[0] for one in opened)
            weight = opened[0][1]
            verdict = "met" if weight <= WEIGHT else "**missed**"
            row = [place, seconds(first), seconds(median), against(median, PICTURE)]
            rows.append([*row, f"{weight / 1000:.0f} kB", verdict])
        head = [
            "page",
            "first time",
            "median",
            "median within",
            "weight",
            f"below {WEIGHT // 1000} kB",
        ]
        note = f"On loopback, each time with an empty cache; median of {repeats}."
        yield Table("The first picture of a page", head, rows, [note])
        yield Table(
            "The first answer after the third of three clicks",
            ["asked before", "median", "longest", "median within"],
            list(_clicks(chrome, address, CYCLES[:1] if small else CYCLES, repeats)),
            ["3x3x3, corners; with no, the shelves of another search are there, no answer yet."],
        )


def _opened(chrome: Any, address: str) -> tuple[float, int]:
    """Return after how many seconds there was a picture, and what the page weighed in the end."""
    context = chrome.new_context(viewport={"width": 1280, "height": 900})
    try:
        page = context.new_page()
        page.add_init_script(FIRST)
        page.goto(address)
        page.wait_for_function("() => window.firstPicture")
        page.wait_for_load_state("networkidle")
        return page.evaluate("() => window.firstPicture") / 1000, int(page.evaluate(BYTES))
    finally:
        context.close()


def _clicks(
    chrome: Any, address: str, cycles: Sequence[tuple[str, ...]], repeats: int
) -> Iterator[list[str]]:
    """Yield rows of how long the first answer took, for cycles not asked before and for others."""
    question = {"puzzle": "3x3x3", "cycle": ["UFR", "UBL", "DFL"]}
    wait = {"Prefer": "wait=20"}
    httpx.post(f"{address}/api/searches", json=question, headers=wait, timeout=60)
    new = [_clicked(chrome, address, cycle) for cycle in cycles]
    yield _row("no", new)
    known = [_clicked(chrome, address, cycle) for _ in range(repeats) for cycle in cycles]
    yield _row("yes", known)


def _row(asked: str, took: list[float]) -> list[str]:
    median = statistics.median(took)
    return [asked, seconds(median), seconds(max(took)), against(median, ANSWER)]


def _clicked(chrome: Any, address: str, cycle: tuple[str, ...]) -> float:
    """Return how many seconds it took from the third click to an answer in the page."""
    context = chrome.new_context(viewport={"width": 1280, "height": 900})
    try:
        page = context.new_page()
        page.goto(f"{address}/puzzles/3x3x3/ask")
        page.wait_for_selector("#ask[data-ready]")
        places = [point(page, name) for name in cycle]
        page.evaluate(
            """() => {
              const clicked = () => { window.clickedAt = performance.now(); };
              document.addEventListener("pointerup", clicked, { capture: true });
              new MutationObserver(() => {
                if (!document.querySelector("ol.answers li")) return;
                window.answeredAt ??= performance.now();
              }).observe(document.body, { childList: true, subtree: true });
            }"""
        )
        for x, y in places:
            page.mouse.click(x, y)
        page.wait_for_selector("ol.answers li", state="attached")
        return float(page.evaluate("() => window.answeredAt - window.clickedAt")) / 1000
    finally:
        context.close()
