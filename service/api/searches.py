"""Searches: post what is wanted, see how it stands, stop it, follow it as events."""

from __future__ import annotations

from functools import partial
from typing import Annotated, Any

from fastapi import APIRouter, Header, Path, Request
from starlette.responses import Response

from service.api import events
from service.api.askers import CLUB
from service.api.context import service
from service.api.models import Search
from service.api.searching import Searches, Seen
from service.api.waiting import applied, preferred
from service.questions import AtlasQuestion, FindQuestion

router = APIRouter(prefix="/api", tags=["searches"])

JSON = "application/json"
#: Seconds after which it is worth looking again at a search that goes on.
LOOK_AGAIN = 1

Prefer = Annotated[
    str | None, Header(description="wait=N waits up to N s for the end, 20 at most (RFC 7240)")
]
Club = Annotated[
    str | None,
    Header(alias=CLUB, description="the key of a club's link: the club asks, not the address"),
]
Number = Annotated[str, Path(pattern="^[0-9a-f]{32}$", description="what names the search")]

ACCEPTED: dict[str, Any] = {
    "model": Search,
    "description": "Accepted: the search goes on at its address",
    "headers": {
        "Location": {"description": "the search's address", "schema": {"type": "string"}},
        "Retry-After": {
            "description": "seconds until it is worth looking again",
            "schema": {"type": "integer"},
        },
    },
}
#: What may come of posting a question, beside its search.
POSTED: dict[int | str, dict[str, Any]] = {202: ACCEPTED, 403: {}, 410: {}, 429: {}}


@router.post("/searches", operation_id="postSearch", response_model=Search, responses=POSTED)
async def post_search(
    request: Request, question: FindQuestion, prefer: Prefer = None, club: Club = None
) -> Response:
    """Ask for sequences that cycle three pieces; a known answer comes at once."""
    return await _post(request, question)


@router.post("/atlases", operation_id="postAtlas", response_model=Search, responses=POSTED)
async def post_atlas(
    request: Request, question: AtlasQuestion, prefer: Prefer = None, club: Club = None
) -> Response:
    """Ask for the best sequence for every three-cycle of a piece type."""
    return await _post(request, question)


async def _post(request: Request, question: FindQuestion | AtlasQuestion) -> Response:
    own = service(request)
    await own.check_club(request)
    wait = preferred(request.headers.getlist("prefer"))
    waited(request, wait)
    seen = await Searches(own).ask(question, partial(own.asker, request), wait)
    return posted(seen, wait)


@router.get(
    "/searches/{search}",
    operation_id="getSearch",
    response_model=Search,
    responses={404: {}, 410: {}},
)
async def get_search(request: Request, search: Number) -> Response:
    """Return a search as it stands, with the best so far."""
    return shown(await Searches(service(request)).get(search))


@router.delete(
    "/searches/{search}",
    operation_id="stopSearch",
    response_model=Search,
    responses={403: {}, 404: {}, 409: {}, 410: {}},
)
async def stop_search(request: Request, search: Number, club: Club = None) -> Response:
    """Want a search no longer; when nobody does, it ends and keeps what it has found."""
    own = service(request)
    return shown(await Searches(own).stop(search, partial(own.asker, request)))


@router.get(
    "/searches/{search}/events",
    operation_id="followSearch",
    response_class=Response,
    responses={
        200: {
            "description": "an event `search` with the search as JSON, each time it has changed",
            # OpenAPI 3.1 has no schema for what stands in an event.
            "content": {"text/event-stream": {}},
        },
        204: {"description": "nothing new will come after the last event"},
        403: {},
        404: {},
        410: {},
        429: {},
    },
)
async def follow_search(
    request: Request,
    search: Number,
    last_event_id: Annotated[
        str | None, Header(description="the number of the last event that has arrived")
    ] = None,
    club: Club = None,
) -> Response:
    """Follow a search by server-sent events until it is over; resumes after the last event."""
    own = service(request)
    await own.check_club(request)
    seen = await Searches(own).get(search)
    if events.finished(seen, last_event_id):
        return Response(status_code=204, headers={"Cache-Control": "no-store"})
    if request.scope.get("trefoil.head"):
        return Response(headers=events.HEADERS, media_type="text/event-stream")
    return events.Events(own, seen, last_event_id, own.address)


def posted(seen: Seen, wait: int | None) -> Response:
    """Return what a post is answered with: the answer, or where it will be."""
    headers = {"Cache-Control": "no-store", **applied(wait if seen.waited else None)}
    if seen.done:
        headers["Content-Location"] = seen.record.href
        return Response(seen.body, 200, headers, JSON)
    headers |= {"Location": seen.record.href, "Retry-After": str(LOOK_AGAIN)}
    return Response(seen.body, 202, headers, JSON)


def shown(seen: Seen) -> Response:
    """Return a search as it stands."""
    return Response(seen.body, headers={"Cache-Control": "no-store"}, media_type=JSON)


def waited(request: Request, wait: int | None) -> None:
    """Let the measures leave out a request that is kept waiting because it wants to be."""
    if wait:
        request.scope["trefoil.waited"] = True
