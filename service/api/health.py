"""Whether the service is there, is ready, and what it does: for machines that look after it."""

from __future__ import annotations

import re

from fastapi import APIRouter, Request
from prometheus_client import CONTENT_TYPE_LATEST
from starlette.responses import JSONResponse, Response

from service.api.context import service
from service.api.models import Alive, Readiness
from service.api.problems import ProblemError
from service.stores.base import StoreError

router = APIRouter(tags=["health"])

NO_STORE = {"Cache-Control": "no-store"}


@router.get("/livez", operation_id="live", response_model=Alive)
async def live() -> Response:
    """Say that the service is there; touches nothing else."""
    return JSONResponse({"alive": True}, headers=NO_STORE)


@router.get("/readyz", operation_id="ready", response_model=Readiness)
async def ready(request: Request) -> Response:
    """Say whether searches are done and answers rendered, else what is missing for it."""
    own = service(request)
    missing = [_without_place(text) for text in await own.call(own.store.missing)]
    if own.readers.ready == 0:
        missing.append("no reader is ready, which renders answers")
    if own.following.left:
        missing.append("the service is about to leave")
    try:
        figures = await own.call(own.store.jobs.figures)
        if figures.workers == 0:
            missing.append("no worker is there and ready, so searches wait")
    except StoreError as error:
        if not missing:
            missing.append(_without_place(str(error)))
    if missing:
        text = f"the service is not ready: {'; '.join(missing)}"
        raise ProblemError(503, text, retry_after=2, missing=missing)
    return JSONResponse({"ready": True}, headers=NO_STORE)


def _without_place(text: str) -> str:
    """Return what a store lacks without where it is, which is nobody else's business."""
    return _PLACE.sub("the store", text)


#: How stores call themselves: by the path of a file, or a server's address and database.
_PLACE = re.compile(r"^/.*?(?= cannot be used:)|the store at \S+, database \S+,(?= )")


@router.get(
    "/metrics",
    operation_id="metrics",
    response_class=Response,
    responses={200: {"content": {"text/plain": {"schema": {"type": "string"}}}}},
)
async def metrics(request: Request) -> Response:
    """Return what is measured, in the text format of Prometheus."""
    own = service(request)
    own.metrics.readers.set(own.readers.ready)
    try:
        figures = await own.call(own.store.jobs.figures)
        for key in own.measuring.awaited():
            await own.job(key)
    except StoreError:
        figures = None
    text = own.metrics.text(figures)
    return Response(text, headers=NO_STORE, media_type=CONTENT_TYPE_LATEST)
