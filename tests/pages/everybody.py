"""Looking at a page as everybody may have it: by axe-core, in light and dark, on any screen."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

WIDE, PHONE = {"width": 1280, "height": 900}, {"width": 390, "height": 844}
#: All ways to look at a page; between the first and the last, both colours and room are others.
SEEN = tuple((scheme, view) for scheme in ("light", "dark") for view in (WIDE, PHONE))
#: The levels of WCAG 2.2 that pages keep to.
LEVELS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
#: The rules that depend on the colours and the size of the screen.
LOOKS = ["color-contrast", "target-size"]
#: Where pictures of the pages are put, if anybody wants to look at them.
PICTURES = os.environ.get("TREFOIL_PICTURES")


def axe(page: Any, only: list[str] | None = None) -> list[str]:
    """Return what axe-core finds wrong with a page for those who see, hear or move otherwise.

    ``only`` are rules that are looked at alone.
    """
    from axe_playwright_python.sync_playwright import Axe

    rules = {"type": "rule", "values": only} if only else {"type": "tag", "values": LEVELS}
    found = Axe().run(page, options={"runOnly": rules, "resultTypes": ["violations"]})
    return [
        f"{one['id']}: {one['help']}: {json.dumps([node['html'][:150] for node in one['nodes']])}"
        for one in found.response["violations"]
    ]


def for_everybody(page: Any, name: str) -> None:
    """Look at a page as it stands in every way of SEEN; nothing is wider than the screen.

    Loading it and looking at every rule four times would find the same four times: all rules are
    looked at in light at a desk, and those of LOOKS once more in dark on a phone. ``name`` is what
    pictures are called.
    """
    for scheme, view in SEEN:
        page.emulate_media(color_scheme=scheme)
        page.set_viewport_size(view)
        # What stays in sight while one scrolls would cover what is under it.
        page.evaluate("window.scrollTo(0, 0)")
        width = page.evaluate("document.documentElement.scrollWidth")
        assert width <= view["width"], (name, scheme, "wider than the screen")
        if PICTURES:
            page.eval_on_selector_all("img", "all => all.forEach(one => { one.loading = 'eager' })")
            page.wait_for_load_state("networkidle")
            path = Path(PICTURES) / f"{name}-{view['width']}-{scheme}.png"
            page.screenshot(path=str(path), full_page=True)
        if (scheme, view) in (SEEN[0], SEEN[-1]):
            wrong = axe(page, None if (scheme, view) == SEEN[0] else LOOKS)
            assert wrong == [], (name, scheme, view)


def unfolded(page: Any) -> None:
    """Open all that can be opened."""
    page.eval_on_selector_all("details", "all => all.forEach(one => { one.open = true })")
