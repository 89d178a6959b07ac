"""The methods of a puzzle: worked out by a worker when they are first asked for."""

from __future__ import annotations

from functools import partial

from fastapi import APIRouter, Request
from starlette.responses import Response

from service.api.caching import tagged
from service.api.context import service
from service.api.method_models import MethodReport
from service.api.problems import ProblemError
from service.api.puzzles import AGAIN, Name
from service.api.searches import ACCEPTED, JSON, Club, Prefer, posted, waited
from service.api.searching import Searches
from service.api.waiting import preferred
from service.questions import MethodQuestion

router = APIRouter(prefix="/api", tags=["puzzles"])


@router.get(
    "/puzzles/{puzzle}/method",
    operation_id="getMethod",
    response_model=MethodReport,
    responses={
        202: {**ACCEPTED, "description": "Accepted: it is being worked out"},
        304: {"description": "not changed"},
        403: {},
        404: {},
        410: {},
        429: {},
    },
)
async def get_method(
    request: Request, puzzle: Name, prefer: Prefer = None, club: Club = None
) -> Response:
    """Return in which order a puzzle's types are put right, and the few sequences that it takes."""
    own = service(request)
    await own.check_club(request)
    wait = preferred(request.headers.getlist("prefer"))
    waited(request, wait)
    question = MethodQuestion(puzzle=puzzle)
    try:
        seen = await Searches(own).ask(question, partial(own.asker, request), wait)
    except ProblemError as error:
        if error.status == 422 and any(one.get("pointer") == "#/puzzle" for one in error.errors):
            raise ProblemError(404, error.detail) from None
        raise
    if seen.answer is None or not seen.done:
        return posted(seen, wait)
    return tagged(request, seen.answer.body, JSON, AGAIN)
