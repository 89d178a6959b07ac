"""The page that reads a sequence: what it does, on a picture and as cycles, and how it is made."""

from __future__ import annotations

import json
from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from service.api.context import service
from service.api.problems import ProblemError
from service.api.puzzles import Name, of_sequence, short
from service.pages.frame import page

router = APIRouter(include_in_schema=False)

#: The longest sequence of which a picture can be asked for, in characters.
DRAWN = 1_000
#: The most cycles that are shown.
MOST_CYCLES = 200


@router.get("/puzzles/{puzzle}/read")
async def read(request: Request, puzzle: Name, sequence: Annotated[str, Query()] = "") -> Response:
    """Return the page that reads a sequence; without one it asks for one."""
    own = service(request)
    told = await short(own, puzzle)
    text = sequence.strip()
    data = {
        "puzzle": puzzle,
        "place": "read",
        "told": told,
        "sequence": sequence,
        "drawn": len(text) <= DRAWN,
        "most": MOST_CYCLES,
        "effect": None,
        "wrong": None,
    }
    if not text:
        return await page("read.html", data)
    try:
        reply = await of_sequence(own, "reading", puzzle, text)
    except ProblemError as error:
        return await page("read.html", {**data, "wrong": error.detail}, error.status)
    return await page("read.html", {**data, "effect": json.loads(reply.body)})
