"""The page on which cases are practised; who knew what stays in the browser."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from service.api.context import service
from service.api.practice import of_address
from service.api.puzzles import Name
from service.pages.frame import page, puzzle_href
from service.reports import Report

router = APIRouter(include_in_schema=False)

#: The longest sequence, in turns, that a whole solve may be bound to, and the longest list of such
#: that stands in an address, in letters.
MOST_TURNS, MOST_LETTERS = 48, 4_000
#: How wide and high the picture of a case is in the list.
PICTURE = 160


@router.get("/puzzles/{puzzle}/practice")
async def practice(request: Request, puzzle: Name) -> Response:
    """Return the page; what its address asks for and cannot be read is said above it."""
    own = service(request)
    found = await of_address(own, request, puzzle)
    query = found.asked.query
    data = {
        "puzzle": puzzle,
        "place": "practice",
        "told": found.told,
        "cases": found.cases,
        "own": found.asked.own,
        "chosen": bool(found.asked.results) or not found.asked.own,
        "with_own": puzzle_href(puzzle, "practice", {**query, "own": "1"}),
        "with_these": _solving_href(puzzle, found.cases, own.limits.learned),
        "side": PICTURE,
        # Pictures of balls are heavy: they come when somebody wants them.
        "folded": found.told["shape"] == "ball",
        "wrong": "; ".join(found.wrong) or None,
        "data_href": f"/api{puzzle_href(puzzle, 'practice', query)}",
    }
    return await page("practice.html", data, found.status)


def _solving_href(puzzle: str, cases: list[Report], most: int) -> str | None:
    """Return where the puzzle is solved with the sequences of cases alone, as many as fit."""
    lines: list[str] = []
    room = MOST_LETTERS
    for own in cases[:most]:
        room -= len(own["notation"]) + 1
        if room < 0:
            break
        if own["turns"] <= MOST_TURNS:
            # As it is practised, so that each step can name it so.
            lines.append(own["notation"])
    return puzzle_href(puzzle, "solve", {"learned": "\n".join(lines)}) if lines else None
