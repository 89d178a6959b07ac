"""The sheet: a page about a puzzle to be printed, with sequences turn by turn and cards to cut."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from service.api.context import service
from service.api.puzzles import Name
from service.api.sheet_choice import PARTS, SIZES
from service.api.sheets import WORK, Sheet, sheet
from service.pages.frame import here, page, puzzle_href
from service.pages.results import LONGEST_DRAWN, squares

router = APIRouter(include_in_schema=False)

#: How many columns of the table of cycles stand beside each other on paper.
COLUMNS = 7
#: What a cell of the table says where it has no sequence.
SIGNS = {"impossible": ("x", "cannot be done"), "unknown": ("?", "not known yet")}


@router.get("/puzzles/{puzzle}/sheet")
async def printed(request: Request, puzzle: Name) -> Response:
    """Return the page; what its address asks for and cannot be read is said above it."""
    own = service(request)
    found = await sheet(own, request, puzzle)
    query = found.choice.query
    link = here(request, own) + puzzle_href(puzzle, "sheet", query)
    drawn = len(link) <= LONGEST_DRAWN
    if not drawn:
        link = here(request, own) + puzzle_href(puzzle)
    asked = f"?{request.url.query}" if request.url.query else ""
    data = {
        "puzzle": puzzle,
        "place": "sheet",
        "told": found.told,
        "body": found.body,
        "choice": found.choice,
        "strips": found.strips,
        "waiting": found.waiting,
        "grid": found.grid,
        "blocks": list(_blocks(found.grid["columns"])) if found.grid else [],
        "atlas": found.atlas,
        "awaited": _awaited(found),
        "names": PARTS,
        "sizes": SIZES,
        "signs": SIGNS,
        "link": link,
        "whole": drawn,
        "squares": squares(
            link, f"the link to {'this sheet' if drawn else 'the puzzle'}", size=False
        ),
        "again": puzzle_href(puzzle, "sheet") + asked,
        "work": puzzle_href(puzzle, "sheet", {**query, WORK: "1"}),
        "json_query": query,
        "wrong": "; ".join(found.wrong) or None,
    }
    return await page("sheet.html", data, found.status)


def _blocks(columns: Sequence[str]) -> Iterator[tuple[int, Sequence[str]]]:
    """Yield columns as many as stand beside each other, with the number of the first."""
    count = -(-len(columns) // COLUMNS)
    size = -(-len(columns) // max(count, 1))
    for first in range(0, len(columns), max(size, 1)):
        yield first, columns[first : first + size]


def _awaited(found: Sheet) -> dict[str, Any] | None:
    """Return the search that the sheet waits for, if it waits for one, and in words for what."""
    for own in found.waiting:
        return {"search": own["search"], "what": " → ".join(own["cycle"]), "query": own["query"]}
    if found.atlas and found.grid and found.atlas["state"] in ("waiting", "running"):
        what = f"every cycle of the type {found.grid['type']}"
        return {"search": found.atlas["search"], "what": what, "query": None}
    return None
