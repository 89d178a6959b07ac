"""The last pieces of a puzzle: where they are is posted, and the steps come back."""

from __future__ import annotations

from functools import partial

from fastapi import APIRouter, Request
from starlette.responses import Response

from service.api.context import service
from service.api.finish_models import FinishEntryReport
from service.api.models import Search
from service.api.problems import ProblemError
from service.api.puzzles import Name
from service.api.searches import JSON, POSTED, Club, Prefer, posted, waited
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
        raise found(error) from None
    return posted(seen, wait)


@router.post(
    "/puzzles/{puzzle}/finish/entry",
    operation_id="postFinishEntry",
    response_model=FinishEntryReport,
    responses={404: {}},
)
async def post_finish_entry(request: Request, puzzle: Name, entry: FinishEntry) -> Response:
    """Say how far a state is entered, what contradicts itself, and whether it can be solved."""
    said = entry.model_dump(mode="json", exclude_defaults=True)
    message = {"do": "finish-entry", "puzzle": puzzle, "entry": said}
    try:
        reply = await service(request).read(message)
    except ProblemError as error:
        raise found(error) from None
    return Response(reply.body, headers={"Cache-Control": "no-store"}, media_type=JSON)


def found(error: ProblemError) -> ProblemError:
    """Return a problem; that of a puzzle that is not there is one of the address."""
    if error.status == 422 and any(one.get("pointer") == "#/puzzle" for one in error.errors):
        return ProblemError(404, error.detail)
    return error
