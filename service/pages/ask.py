"""The page on which one asks for a cycle: its address is the question, the answers stand in it."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from service.api.asking import MATTERS, asked
from service.api.context import service
from service.api.puzzles import Name
from service.pages.clubs import page_of
from service.pages.frame import here, page

router = APIRouter(include_in_schema=False)


@router.get("/puzzles/{puzzle}/ask")
async def ask(request: Request, puzzle: Name) -> Response:
    """Return the page; with a cycle the search is begun, and what there is stands in it."""
    own = service(request)
    found = await asked(own, request, puzzle)
    search = found.search
    query = f"?{request.url.query}" if request.url.query else ""
    data = {
        "puzzle": puzzle,
        "place": "ask",
        "told": found.told,
        "wish": found.wish,
        "matters": {name: words for name, (words, _) in MATTERS.items()},
        "search": search,
        "over": search is not None and search["state"] in ("done", "stopped", "failed"),
        "result": page_of(search["result"]) if search and search["result"] else None,
        "here": here(request, own),
        "query": query,
        "wrong": "; ".join(found.wrong) or None,
    }
    return await page("ask.html", data, found.status)
