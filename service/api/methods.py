"""The methods of a puzzle: worked out by a worker when they are first asked for."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from service.api.method_models import MethodReport
from service.api.puzzles import WORKED_OUT, Name, worked_out
from service.api.searches import Club, Prefer
from service.questions import MethodQuestion

router = APIRouter(prefix="/api", tags=["puzzles"])


@router.get(
    "/puzzles/{puzzle}/method",
    operation_id="getMethod",
    response_model=MethodReport,
    responses=WORKED_OUT,
)
async def get_method(
    request: Request, puzzle: Name, prefer: Prefer = None, club: Club = None
) -> Response:
    """Return in which order a puzzle's types are put right, and the few sequences that it takes."""
    return await worked_out(request, MethodQuestion(puzzle=puzzle))
