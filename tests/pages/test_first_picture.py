"""How soon a page is there: no module waits for another to come, and little comes in all."""

from __future__ import annotations

import re
from typing import Any

import pytest

from service.pages.statics import FOLDER, statics
from tests.pages.test_reading_pages import MOST_BYTES, visiting
from tests.service.api.harness import Served

PAGES = (
    "/",
    "/clubs",
    "/puzzles/3x3x3",
    "/puzzles/3x3x3/ask",
    "/puzzles/3x3x3/bench",
    "/puzzles/3x3x3/read?sequence=[R,U]",
    "/puzzles/new",
    "/puzzles/ball-sixths-218",
    "/puzzles/ball-sixths-218/bench",
    "/puzzles/ball-sixths-218/read?sequence=[U,UFR]",
)


def test_what_modules_need_is_known() -> None:
    """Against a plain reading of the files: every module that is named in quotes after ``from``."""
    own = statics()
    for name in own.files:
        if not name.endswith(".js"):
            continue
        needed = own.needs(name)
        assert needed[0] == name
        assert len(needed) == len(set(needed))
        for one in needed:
            text = (FOLDER / one).read_text()
            code = re.sub(r"/\*.*?\*/", "", text, flags=re.DOTALL)
            assert {*re.findall(r'from\s+"\./([^"]+)"', code)} <= {*needed}


@pytest.mark.parametrize("address", PAGES)
def test_every_module_is_named_in_the_head(chrome: Any, site: Served, address: str) -> None:
    with visiting(chrome, site) as visit:
        visit.open(address)
        visit.page.wait_for_load_state("networkidle")
        text = site.client.get(address).text
        head = text.partition("</head>")[0]
        named = set(re.findall(r"/static/\w+/([\w-]+\.js)", head))
        came = {request.url.rpartition("/")[2] for request in visit.came}
        assert {name for name in came if name.endswith(".js")} <= named
        assert visit.weight() < MOST_BYTES
        # What is seen first does not wait until somebody scrolls.
        first = re.search("<img(?![^>]*mark.svg)[^>]*>", text)
        assert first is None or "lazy" not in first[0]
