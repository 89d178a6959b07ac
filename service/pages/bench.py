"""The bench: turn layers, see what is disturbed, slip a turn in, undo, and keep what came of it."""

from __future__ import annotations

import json
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from service.api import bench as api
from service.api.context import service
from service.api.problems import ProblemError
from service.api.puzzles import Name, short
from service.limits import LONGEST_IN_ADDRESS
from service.pages.frame import page

router = APIRouter(include_in_schema=False)

#: What an insert gives, in words.
GIVES = {
    "three-cycle": "a three-cycle",
    "pair of twists": "a pair of twists",
    "nothing": "nothing at all",
    "other": "more than a three-cycle",
    "blocked": "a turn that is blocked",
}


@router.get("/puzzles/{puzzle}/bench")
async def bench(
    request: Request,
    puzzle: Name,
    turns: Annotated[str, Query()] = "",
    insert: Annotated[str, Query()] = "",
) -> Response:
    """Return the bench with some turns done, and perhaps one that is slipped in."""
    own = service(request)
    told = await short(own, puzzle)
    table: dict[str, Any] = json.loads((await api.pairs(own, puzzle)).body)
    report, wrong, status = None, None, 200
    try:
        built = api.Built.model_construct(turns=turns.strip(), insert=insert.strip())
        report = json.loads((await api.report(own, puzzle, built)).body)
    except ProblemError as error:
        wrong, status = error.detail, error.status
    data = {
        "puzzle": puzzle,
        "place": "bench",
        "told": told,
        "turns_given": turns,
        "insert_given": insert,
        "report": report,
        "marked": _marked(report),
        "pairs": table["pairs"],
        "gives": GIVES,
        "wrong": wrong,
    }
    return await page("bench.html", data, status)


def _marked(report: dict[str, Any] | None) -> dict[str, str]:
    """Return what the picture marks: the three-cycle if there is one, else what is disturbed."""
    if report is None:
        return {}
    whole = report["completed"]
    if whole is not None and whole["gives"] == "three-cycle":
        return {"cycle": ",".join(whole["cycles"][0])}
    sequence = report["sequence"] if whole is None else whole["sequence"]
    return {"sequence": sequence} if sequence and len(sequence) <= LONGEST_IN_ADDRESS else {}
