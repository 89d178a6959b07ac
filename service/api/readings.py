"""Readings at addresses of their own, so that they can be linked to as pages are."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from service.api.models import ReadingReport
from service.api.puzzles import Name, post_reading
from service.limits import LONGEST_IN_ADDRESS
from service.questions import ReadingQuestion

router = APIRouter(prefix="/api", tags=["puzzles"])


@router.get(
    "/puzzles/{puzzle}/read",
    operation_id="getReading",
    response_model=ReadingReport,
    responses={404: {}},
)
async def get_reading(
    request: Request,
    puzzle: Name,
    sequence: Annotated[str, Query(max_length=LONGEST_IN_ADDRESS, examples=["R U R' U'"])],
) -> Response:
    """Say how a sequence is made, as posting it to `readings` does."""
    return await post_reading(request, puzzle, ReadingQuestion(sequence=sequence))
