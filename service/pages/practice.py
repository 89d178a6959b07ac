"""The page on which cases are practised; who knew what stays in the browser."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from service.api.context import service
from service.api.practice import of_address
from service.api.puzzles import Name
from service.pages.frame import page, puzzle_href

router = APIRouter(include_in_schema=False)

#: How wide and high the picture of a case is in the list.
PICTURE = 160


@router.get("/puzzles/{puzzle}/practice")
async def practice(request: Request, puzzle: Name) -> Response:
    """Return the page; what its address asks for and cannot be read is said above it."""
    found = await of_address(service(request), request, puzzle)
    query = found.asked.query
    data = {
        "puzzle": puzzle,
        "place": "practice",
        "told": found.told,
        "cases": found.cases,
        "own": found.asked.own,
        "chosen": bool(found.asked.results) or not found.asked.own,
        "with_own": puzzle_href(puzzle, "practice", {**query, "own": "1"}),
        "side": PICTURE,
        # Pictures of balls are heavy: they come when somebody wants them.
        "folded": found.told["shape"] == "ball",
        "wrong": "; ".join(found.wrong) or None,
        "data_href": f"/api{puzzle_href(puzzle, 'practice', query)}",
    }
    return await page("practice.html", data, found.status)
