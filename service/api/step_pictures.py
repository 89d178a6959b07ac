"""Pictures of the steps of a result, for pages on which steps stand in a list."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request
from starlette.responses import Response

from service.api.caching import tagged
from service.api.context import service
from service.api.puzzles import AGAIN, PICTURE_POLICY, SVG

router = APIRouter(prefix="/api", tags=["results"])

#: The largest number of a step that is looked for.
MOST_STEP = 1_000_000


@router.get(
    "/results/{digest}/steps/{step}.svg",
    operation_id="getStepPicture",
    response_class=Response,
    responses={
        200: {"description": "the picture", "content": {SVG: {"schema": {"type": "string"}}}},
        304: {"description": "not changed"},
        404: {},
        410: {},
    },
)
async def step_picture(
    request: Request,
    digest: Annotated[str, Path(pattern="^[0-9a-f]{64}$", description="the result's digest")],
    step: Annotated[int, Path(ge=1, le=MOST_STEP, description="the number of a step, from 1")],
) -> Response:
    """Return a picture of the state before a step; what a three-cycle carries is numbered in it."""
    message = {"do": "step-picture", "digest": digest, "step": step}
    reply = await service(request).rendered(message, "path", store=False)
    response = tagged(request, reply.body, SVG, AGAIN)
    response.headers["Content-Security-Policy"] = PICTURE_POLICY
    return response
