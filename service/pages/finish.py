"""The page of the last pieces: they are entered by clicking or as text, then put right by steps."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from service.api.context import service
from service.api.finish_asking import MEASURES, asked
from service.api.puzzles import Name
from service.pages.frame import page, puzzle_href

router = APIRouter(include_in_schema=False)

#: The field with which an address that says a state shows where it is entered, to be changed.
CHANGE = "change"


@router.get("/puzzles/{puzzle}/finish")
async def finish(request: Request, puzzle: Name) -> Response:
    """Return the page; with a state that was entered its steps stand in it."""
    own = service(request)
    found = await asked(own, request, puzzle, begin=not request.query_params.get(CHANGE))
    search, entry = found.search, found.entry
    data: dict[str, Any] = {
        "puzzle": puzzle,
        "place": "finish",
        "told": found.told,
        "entry": entry,
        "texts": entry.texts,
        "measures": MEASURES,
        "search": search,
        "report": search["answer"] if search else None,
        "again": puzzle_href(puzzle, "finish", entry.query),
        "change": puzzle_href(puzzle, "finish", entry.query | {CHANGE: "1"}),
        "wrong": "; ".join(found.wrong) or None,
    }
    return await page("finishing.html" if search else "entering.html", data, found.status)
