"""The last pieces of a puzzle: where they are is posted, and the steps come back."""

from __future__ import annotations

from functools import partial

from fastapi import APIRouter, Request
from starlette.responses import Response

from service.api.context import service
from service.api.models import Search
from service.api.problems import ProblemError
from service.api.puzzles import Name
from service.api.searches import POSTED, Club, Prefer, posted, waited
from service.api.searching import Searches
from service.api.waiting import preferred
from service.questions import FinishEntry, FinishQuestion

router = APIRouter(prefix="/api", tags=["puzzles"])


@router.post(
    "/puzzles/{puzzle}/finish",
    operation_id="postFinish",
    response_model=Search,
    responses={**POSTED, 404: {}},
)
async def post_finish(
    request: Request, puzzle: Name, entry: FinishEntry, prefer: Prefer = None, club: Club = None
) -> Response:
    """Say how to put the last pieces right, or why no sequence does and the smallest repair."""
    own = service(request)
    await own.check_club(request)
    wait = preferred(request.headers.getlist("prefer"))
    waited(request, wait)
    question = FinishQuestion(puzzle=puzzle, **entry.model_dump())
    try:
        seen = await Searches(own).ask(question, partial(own.asker, request), wait)
    except ProblemError as error:
        if error.status == 422 and any(one.get("pointer") == "#/puzzle" for one in error.errors):
            raise ProblemError(404, error.detail) from None
        raise
    return posted(seen, wait)
