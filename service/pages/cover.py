"""The page of a favourite: what it reaches, on a grid, and how it does the case that is chosen."""

from __future__ import annotations

import json
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from search.request import MOST_HALF_LENGTH
from service.api import covers
from service.api.context import Service, service
from service.api.problems import ProblemError
from service.api.puzzles import Name, short
from service.limits import LONGEST_IN_ADDRESS
from service.pages.frame import page, puzzle_href

router = APIRouter(include_in_schema=False)

#: What is said where the form was sent with nothing in it.
NOTHING = "nothing is entered yet; write a sequence that you like"
#: The most entries that are shown where there is no grid, and the most cases of one reason.
MOST_SHOWN, MOST_LEFT = 200, 40


@router.get("/puzzles/{puzzle}/cover")
async def cover(
    request: Request,
    puzzle: Name,
    sequence: Annotated[str, Query()] = "",
    setup: Annotated[str, Query()] = "",
    free: Annotated[list[str] | None, Query()] = None,
    first: Annotated[str, Query()] = "",
    case: Annotated[str, Query()] = "",
) -> Response:
    """Return the page of a favourite; without one it asks for one."""
    own = service(request)
    told = await short(own, puzzle)
    text = sequence.strip()
    released = [name for one in free or () for name in one.split(",") if name]
    wrong: list[str] = []
    turns = _turns(setup, wrong)
    if not text and "sequence" in request.query_params:
        wrong.append(NOTHING)
    data = {
        "puzzle": puzzle,
        "place": "cover",
        "told": told,
        "sequence": sequence,
        "setup": turns,
        "most_setup": MOST_HALF_LENGTH,
        "free": released,
        "report": None,
        "shown": MOST_SHOWN,
        "left": MOST_LEFT,
        "query": _query(text, turns, released),
    }
    status = 422 if wrong else 200
    if text:
        asked = {
            "sequence": text,
            "setup": turns,
            "layers": None,
            "keep": None,
            "free": released or None,
            "case": [name.strip() for name in case.split(",")] if case.strip() else None,
            "first": first.strip(),
            "second": True,
            "listing": False,
        }
        report, found = await _report(own, puzzle, asked, wrong)
        data["report"] = report
        status = found if status == 200 else status
    data["wrong"] = "; ".join(wrong) or None
    data["data_href"] = _json(puzzle, data) if data["report"] else None
    return await page("cover.html", data, status)


async def _report(
    own: Service, puzzle: str, asked: dict[str, Any], wrong: list[str]
) -> tuple[dict[str, Any] | None, int]:
    """Return what a favourite reaches and a status; what is wrong is added to some sentences.

    Where the case or the first piece is wrong, the rest is shown without it.
    """
    status = 200
    if len(asked["sequence"]) > LONGEST_IN_ADDRESS:
        length = f"{len(asked['sequence']):,}"
        wrong.append(
            f"the sequence has {length} characters; at most {LONGEST_IN_ADDRESS:,} fit an address"
        )
        return None, 422
    while True:
        try:
            reply = await covers.of_favourite(own, puzzle, asked)
        except ProblemError as error:
            wrong.append(error.detail)
            status = error.status
            named = [one.get("parameter") for one in error.errors]
            field = next((name for name in ("case", "first") if name in named), None)
            if field is None or not asked[field]:
                return None, status
            asked[field] = None if field == "case" else ""
            continue
        report: dict[str, Any] = json.loads(reply.body)
        return report, status


def _turns(text: str, wrong: list[str]) -> int:
    """Return the turns of setup that an address asks for; what is wrong is added to sentences."""
    if not text.strip():
        return covers.USUAL
    given = text.strip()
    if given.isascii() and given.isdigit() and len(given) < 4 and int(given) <= MOST_HALF_LENGTH:
        return int(given)
    wrong.append(f"setup {given[:20]}: a number from 0 to {MOST_HALF_LENGTH} was expected")
    return covers.USUAL


def _query(sequence: str, setup: int, free: list[str]) -> dict[str, str]:
    """Return what all addresses of a cover have in common."""
    own = {"sequence": sequence, "setup": str(setup)}
    return {**own, "free": ",".join(free)} if free else own


def _json(puzzle: str, data: dict[str, Any]) -> str:
    """Return the address of what the page shows, as JSON."""
    report = data["report"]
    first = report["grid"]["first"] if report["grid"] else ""
    more = {"first": first, "case": ",".join(report["case"] or ())}
    query = {**data["query"], **{name: text for name, text in more.items() if text}}
    return f"/api{puzzle_href(puzzle, 'cover', query)}"
