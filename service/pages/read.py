"""The page that reads a sequence: what it does, on a picture and as cycles, and how it is made."""

from __future__ import annotations

import json
from collections import deque
from collections.abc import Mapping
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from service.api.context import service
from service.api.problems import ProblemError
from service.api.puzzles import Name, of_sequence, short
from service.limits import LONGEST_IN_ADDRESS
from service.pages.frame import page

router = APIRouter(include_in_schema=False)

#: The most cycles that are shown.
MOST_CYCLES = 200
#: The most turns of a sequence that is also shown mirrored and held otherwise.
MOST_HELD = 100
#: The most characters of all levels of the brackets together, each as it stands in the page.
MOST_WRITTEN = 60_000


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
        "drawn": len(text) <= LONGEST_IN_ADDRESS,
        "most": MOST_CYCLES,
        "most_held": MOST_HELD,
        "effect": None,
        "wrong": None,
    }
    if not text:
        return await page("read.html", data)
    try:
        reply = await of_sequence(own, "reading", puzzle, text)
    except ProblemError as error:
        return await page("read.html", {**data, "wrong": error.detail}, error.status)
    effect = json.loads(reply.body)
    effect["tree"] = bounded(effect["tree"], MOST_WRITTEN)
    return await page("read.html", {**data, "effect": effect})


def bounded(tree: Mapping[str, Any], most: int) -> dict[str, Any]:
    """Return the levels of brackets of which all together have no more characters than ``most``.

    The whole always stands, and what is further out before what is further in; ``left_out`` says
    whether a level stands without its parts for that.
    """
    top = dict(tree)
    left, queue = most - _written(top), deque([top])
    while queue:
        own = queue.popleft()
        parts = [dict(part) for part in own["parts"]]
        size = sum(map(_written, parts))
        own["left_out"] = bool(parts) and size > left
        own["parts"] = [] if own["left_out"] else parts
        left -= 0 if own["left_out"] else size
        queue.extend(own["parts"])
    return top


def _written(level: Mapping[str, Any]) -> int:
    """Return how many characters a level takes without its parts, its own markup left out."""
    return 2 * len(level["notation"]) + len(level["sequence"]) + len(level["why"] or "")
