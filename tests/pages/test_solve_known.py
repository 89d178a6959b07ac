"""A whole solve with only what somebody knows: the list is typed, kept in the address, and used."""

from __future__ import annotations

import re
from html import unescape
from typing import Any

from puzzles import load
from search.solving_learned import learned_in
from tests.pages.everybody import for_everybody
from tests.pages.test_last_pieces import opened, says
from tests.pages.test_reading_pages import visiting
from tests.service.api.harness import Served

KNOWN = "R U R' U'  # the trigger\nR U R' U R U2 R'"
#: Milliseconds in which a solve of the 2x2x2 is over, on a slow machine.
PATIENCE = 60_000


def test_a_list_is_typed_and_the_steps_say_what_is_used(chrome: Any, site: Served) -> None:
    with visiting(chrome, site, reduced_motion="reduce") as visit:
        page = opened(visit, "/puzzles/2x2x2/solve")
        page.get_by_role("button", name="By turns").click()
        page.locator("#sequence").fill("R U F2 R' U2 F R")
        says(page, "This can be put right")
        page.get_by_text("only with what I know").click()
        page.get_by_label("Sequences that you know").fill(KNOWN)
        page.wait_for_url("**learned=**")
        # Whoever comes back to this address finds the list, and the way that was chosen.
        page.reload()
        assert page.get_by_label("Sequences that you know").input_value() == KNOWN
        for_everybody(page, "solve-known-enter")
        page.get_by_role("button", name="Show the steps").click()
        page.locator(".laststeps").wait_for(timeout=PATIENCE)
        page.get_by_text("only 2 sequences").click()
        used = page.locator(
            ".how",
            has_text=re.compile(r"It is (the trigger \(R U R' U'\)|R U R' U R U2 R'), \w up"),
        )
        assert used.count() >= 1
        for_everybody(page, "solve-known-steps")


def test_what_is_practised_is_handed_over(site: Served) -> None:
    page = site.client.get("/puzzles/3x3x3/practice").text
    (link,) = re.findall(r'href="(/puzzles/3x3x3/solve\?learned=[^"]*)"', page)
    told = site.client.get("/api/puzzles/3x3x3/practice").json()
    solving = unescape(site.client.get(unescape(link)).text)
    written = solving.split('id="learned"')[1].split(">", 1)[1].split("</textarea>")[0]
    assert written.split("\n") == [one["notation"] for one in told["cases"]]
    learned_in(load("3x3x3"), written.split("\n"))
