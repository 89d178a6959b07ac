"""The page of a whole solve: a scramble or a state is entered, then solved in sections of steps."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from service.api.context import service
from service.api.finish_asking import asked
from service.api.puzzles import Name
from service.pages.finish import CHANGE
from service.pages.frame import page, puzzle_href
from service.questions import SolveQuestion

router = APIRouter(include_in_schema=False)


@router.get("/puzzles/{puzzle}/solve")
async def solve(request: Request, puzzle: Name) -> Response:
    """Return the page; with a state that was entered its steps stand in it."""
    own = service(request)
    begin = not request.query_params.get(CHANGE)
    found = await asked(own, request, puzzle, begin, SolveQuestion)
    search, entry = found.search, found.entry
    data: dict[str, Any] = {
        "puzzle": puzzle,
        "place": "solve",
        "told": found.told,
        "entry": entry,
        "texts": {**entry.texts, "sequence": entry.texts["scramble"]},
        "measures": {},
        "search": search,
        "report": search["answer"] if search else None,
        "again": puzzle_href(puzzle, "solve", entry.query),
        "change": puzzle_href(puzzle, "solve", entry.query | {CHANGE: "1"}),
        "wrong": "; ".join(found.wrong) or None,
    }
    return await page("solving.html" if search else "entering.html", data, found.status)
