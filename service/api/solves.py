"""A whole solve: a state is posted or stands in an address, and the steps come back."""

from __future__ import annotations

from functools import partial
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from pydantic import BaseModel, Field
from starlette.responses import JSONResponse, Response

from service.api.context import service
from service.api.finish_asking import asked
from service.api.finishes import found
from service.api.models import Search
from service.api.problems import ProblemError
from service.api.puzzles import Name
from service.api.searches import POSTED, Club, Prefer, posted, waited
from service.api.searching import Searches
from service.api.waiting import preferred
from service.questions import SolveEntry, SolveQuestion

router = APIRouter(prefix="/api", tags=["puzzles"])


@router.post(
    "/puzzles/{puzzle}/solve",
    operation_id="postSolve",
    response_model=Search,
    responses={**POSTED, 404: {}},
)
async def post_solve(
    request: Request, puzzle: Name, entry: SolveEntry, prefer: Prefer = None, club: Club = None
) -> Response:
    """Solve a whole puzzle in steps, or say why no sequence does and the smallest repair."""
    own = service(request)
    await own.check_club(request)
    wait = preferred(request.headers.getlist("prefer"))
    waited(request, wait)
    question = SolveQuestion(puzzle=puzzle, **entry.model_dump())
    try:
        seen = await Searches(own).ask(question, partial(own.asker, request), wait)
    except ProblemError as error:
        raise found(error) from None
    return posted(seen, wait)


class SolvePage(BaseModel):
    """What the page of a whole solve shows; ``question`` is what can be posted there."""

    puzzle: str
    wrong: list[str] = Field(description="what could not be read and was left out")
    question: dict[str, Any] | None
    search: Search | None


@router.get(
    "/puzzles/{puzzle}/solve",
    operation_id="getSolve",
    response_model=SolvePage,
    responses={403: {}, 404: {}, 410: {}, 429: {}},
)
async def get_solve(
    request: Request,
    puzzle: Name,
    scramble: Annotated[str, Query(description="what led from solved to this state")] = "",
    cycles: Annotated[str, Query(description="(UFR UBL DFL)(UF UB UR)")] = "",
    pieces: Annotated[str, Query(description="UFR=UBL: in the slot UFR sits UBL's piece")] = "",
    stickers: Annotated[str, Query(description="UFR=RUF: colours by slot")] = "",
    colours: Annotated[str, Query(description="what colours are called: U=white F=green")] = "",
    apart: Annotated[str, Query(description="1: pieces that look alike are told apart")] = "",
    learned: Annotated[
        str, Query(description="the only sequences that may be used, one a line")
    ] = "",
    look: Annotated[str, Query(description="1: begin nothing anew that was stopped")] = "",
    prefer: Prefer = None,
    club: Club = None,
) -> Response:
    """Return what the address of the page enters, and the search, which is begun if need be."""
    own = service(request)
    await own.check_club(request)
    told = await asked(own, request, puzzle, asks=SolveQuestion)
    return JSONResponse(told.body(puzzle), headers={"Cache-Control": "no-store"})
