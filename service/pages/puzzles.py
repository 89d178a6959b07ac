"""The catalogue, and a puzzle's page: its pieces, what moves without the rest, what cannot be."""

from __future__ import annotations

import json
from functools import partial
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from starlette.responses import RedirectResponse, Response

from service.api import beginning
from service.api.context import Service, service
from service.api.problems import ProblemError, of_store, of_too_many
from service.api.puzzles import Name, short
from service.api.searching import Searches
from service.pages.frame import page, puzzle_href
from service.questions import PartsQuestion
from service.stores.base import StoreError, TooManyError

router = APIRouter(include_in_schema=False)

#: Which effects are shown as impossible, in the order in which people ask.
EFFECTS = {
    "swap": "two of them swapped",
    "twist": "one of them twisted",
    "three-cycle": "three of them cycled",
    "two swaps": "two pairs of them swapped",
    "two twists": "two of them twisted against each other",
}


@router.get("/")
async def catalogue(request: Request) -> Response:
    """Return the page of the catalogue."""
    return await page("catalogue.html", await _catalogue(service(request)))


@router.get("/puzzles")
async def opened(request: Request, puzzle: Annotated[str, Query()] = "") -> Response:
    """Go to the page of a puzzle by its name or address, or say that there is none."""
    name = puzzle.strip()
    if not name:
        return RedirectResponse("/", 303)
    own = service(request)
    try:
        await own.rendered({"do": "puzzle", "puzzle": name}, "query", store=False)
    except ProblemError as error:
        data = await _catalogue(own)
        return await page(
            "catalogue.html", {**data, "asked": name, "wrong": error.detail}, error.status
        )
    return RedirectResponse(puzzle_href(name), 303)


@router.get("/puzzles/{puzzle}")
async def overview(request: Request, puzzle: Name) -> Response:
    """Return the page of a puzzle; what takes long comes when it is there."""
    own = service(request)
    told = await short(own, puzzle)
    data = {"puzzle": puzzle, "place": "", "told": told, "shown": EFFECTS}
    try:
        asked = PartsQuestion(puzzle=puzzle)
        seen = await Searches(own).ask(asked, partial(own.asker, request), None)
    except ProblemError as error:
        beginning.check()
        return await page("puzzle.html", {**data, "search": None, "failed": error.detail})
    except StoreError as error:
        return await page("puzzle.html", {**data, "search": None, "failed": said(error)})
    search = json.loads(seen.body)
    over = search["state"] in ("done", "stopped", "failed")
    failed = search["reason"] or "it was stopped" if over and not search["answer"] else None
    return await page("puzzle.html", {**data, "search": search, "failed": failed})


async def _catalogue(own: Service) -> dict[str, Any]:
    reply = await own.rendered({"do": "catalogue"})
    return {"puzzles": json.loads(reply.body)["puzzles"], "asked": "", "wrong": None}


def said(error: StoreError) -> str:
    """Return what a page says of a store that is away or of too much asked."""
    told = of_too_many(error) if isinstance(error, TooManyError) else of_store(error)
    return told.detail
