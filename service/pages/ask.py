"""The page on which one asks for a cycle or another effect: its address is the question."""

from __future__ import annotations

import re
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from puzzles.laws import plural
from search.request import SECONDS
from service.api.asking import BETWEEN, MATTERS, Asked, asked
from service.api.context import service
from service.api.puzzles import Name
from service.pages import clubs
from service.pages.clubs import page_of
from service.pages.frame import here, page
from service.pages.wording import lasting

#: How many times as long a search is offered to go on for that found nothing.
LONGER = 6

router = APIRouter(include_in_schema=False)


@router.get("/puzzles/{puzzle}/ask")
async def ask(request: Request, puzzle: Name) -> Response:
    """Return the page; with a cycle the search is begun, and what there is stands in it."""
    own = service(request)
    found = await asked(own, request, puzzle)
    search = found.search
    query = f"?{request.url.query}" if request.url.query else ""
    spent = int(found.question.seconds or SECONDS) if found.question else 0
    data = {
        "puzzle": puzzle,
        "place": "ask",
        "spent": spent,
        "further": _further(found, spent, own.limits.seconds),
        "told": found.told,
        "wish": found.wish,
        "matters": {name: words for name, (words, _) in MATTERS.items()},
        "search": search,
        "over": search is not None and search["state"] in ("done", "stopped", "failed"),
        "result": page_of(search["result"]) if search and search["result"] else None,
        "image": _image(found),
        "here": here(request, own),
        "query": query,
        "wrong": "; ".join(found.wrong) or None,
    }
    return await page("ask.html", data, found.status)


def _image(found: Asked) -> dict[str, str]:
    """Return how sheets and practice name the result of an effect in the asker's letters."""
    result = found.search["result"] if found.search else None
    if not result or not found.wish.effect:
        return {}
    return {"result": f"{clubs.result_of(page_of(result))['result']}:{found.wish.effect}"}


def _further(found: Asked, spent: int, most: int) -> list[tuple[str, dict[str, str]]]:
    """Return what can be asked instead where nothing was found: in words, and as an address."""
    query, ticks = found.wish.query, found.wish.ticks
    longer = min(LONGER * spent, most)
    ways = []
    if longer > spent:
        ways.append((f"search for {lasting(longer)}", {**query, "seconds": str(longer)}))
    kinds = found.told["types"]
    names = re.findall(r"[^\s(),→>-]+", found.wish.text)
    own = [kind for kind in kinds if any(_is_of(name, kind) for name in names)]
    others = [kind["name"] for kind in kinds if kind["moves"] and kind not in own]
    if own and set(others) - set(found.wish.free):
        words = " and ".join(plural(name, 2) for name in others)
        ways.append((f"let {words} end up anywhere", {**query, "free": ",".join(others)}))
    if any(kind["twists"] > 1 for kind in own) and "any_twist" not in ticks:
        which = "what changes places" if found.wish.effect else "the three"
        ways.append((f"let {which} be twisted", {**query, "any_twist": "1"}))
    return ways


def _is_of(name: str, kind: dict[str, Any]) -> bool:
    """Return whether a sticker may be one of a type's, whose slots have names of the same letters.

    Only for what is offered: reading names is a reader's.
    """
    return any(sorted(BETWEEN.split(name.partition("+")[0])[0]) == sorted(s) for s in kind["slots"])
