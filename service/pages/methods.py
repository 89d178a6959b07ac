"""The page of a puzzle's methods: orders of types, what to remember, and how long solves are."""

from __future__ import annotations

import json
from functools import partial

from fastapi import APIRouter, Request
from starlette.responses import Response

from service.api.context import service
from service.api.problems import ProblemError
from service.api.puzzles import Name, short
from service.api.searching import Searches
from service.pages.frame import page
from service.pages.puzzles import said
from service.questions import MethodQuestion
from service.stores.base import StoreError

router = APIRouter(include_in_schema=False)


@router.get("/puzzles/{puzzle}/method")
async def method(request: Request, puzzle: Name) -> Response:
    """Return the page of a puzzle's methods; they come when they are worked out."""
    own = service(request)
    told = await short(own, puzzle)
    data = {"puzzle": puzzle, "place": "method", "told": told, "report": None, "search": None}
    try:
        asked = MethodQuestion(puzzle=puzzle)
        seen = await Searches(own).ask(asked, partial(own.asker, request), None)
    except ProblemError as error:
        return await page("method.html", {**data, "failed": error.detail}, error.status)
    except StoreError as error:
        return await page("method.html", {**data, "failed": said(error)}, 503)
    search = json.loads(seen.body)
    over = search["state"] in ("done", "stopped", "failed")
    failed = search["reason"] or "it was stopped" if over and not search["answer"] else None
    data |= {"report": search["answer"], "search": search, "failed": failed}
    return await page("method.html", data)
