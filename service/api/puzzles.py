"""Puzzles: the catalogue, posted files, piece types, pictures, and what a sequence does."""

from __future__ import annotations

import json
from functools import partial
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Request
from pydantic import BaseModel, ConfigDict, Field
from starlette.responses import JSONResponse, Response

from search.request import LONGEST_EFFECT
from service import puzzle_shelf
from service.api.caching import tagged
from service.api.context import Service, service
from service.api.models import (
    EffectReport,
    Index,
    PartsReport,
    Puzzle,
    PuzzleFile,
    PuzzleList,
    ReadingReport,
)
from service.api.problems import ProblemError
from service.api.results import cycle_of
from service.api.room import SEARCH
from service.api.searches import ACCEPTED, Club, Prefer, posted, waited
from service.api.searching import Searches, compiling
from service.api.waiting import applied, preferred
from service.counting import count
from service.questions import EffectQuestion, MethodQuestion, PartsQuestion, ReadingQuestion
from service.reading import Message, Reply
from service.settings import MOST_NAME
from service.stores.base import State

router = APIRouter(prefix="/api", tags=["puzzles"])

JSON = "application/json"
SVG = "image/svg+xml"
#: What can change when the service is brought up to date is looked for again each time.
AGAIN = "no-cache"
#: What is said instead of something that a worker finds out about a puzzle.
WORKED_OUT: dict[int | str, dict[str, Any]] = {
    202: {**ACCEPTED, "description": "Accepted: it is being worked out"},
    304: {"description": "not changed"},
    403: {},
    404: {},
    410: {},
    429: {},
}
#: The kind of things that count the files an asker posts, and the seconds in which they count.
FILES, HOUR = "posted", 3_600
#: A picture carries its own style, and nothing in it may run or load.
PICTURE_POLICY = "default-src 'none'; style-src 'unsafe-inline'; sandbox"

Name = Annotated[
    str,
    Path(
        min_length=1,
        max_length=MOST_NAME,
        description="a name of the catalogue, or the address of a posted puzzle",
        examples=["3x3x3"],
    ),
]

INDEX = {
    "puzzles": "/api/puzzles",
    "new": "/api/puzzles/new{?body,shape,faces,corners,others,edges,file,counts,open}",
    "drafts": "/api/puzzles/drafts",
    "ranges": "/api/puzzles/drafts/ranges",
    "depths": "/api/puzzles/depths",
    "puzzle": "/api/puzzles/{puzzle}",
    "parts": "/api/puzzles/{puzzle}/parts",
    "method": "/api/puzzles/{puzzle}/method",
    "picture": "/api/puzzles/{puzzle}/picture.svg{?cycle,effect,sequence,type,behind,after}",
    "drawing": "/api/puzzles/{puzzle}/drawing",
    "effects": "/api/puzzles/{puzzle}/effects",
    "readings": "/api/puzzles/{puzzle}/readings",
    "covers": "/api/puzzles/{puzzle}/covers",
    "finish": "/api/puzzles/{puzzle}/finish",
    "solve": "/api/puzzles/{puzzle}/solve",
    "whole": "/api/puzzles/{puzzle}/solve{?scramble,cycles,pieces,stickers,colours,apart}",
    "last": "/api/puzzles/{puzzle}/finish{?sequence,cycles,pieces,stickers,colours,by,apart}",
    "ask": "/api/puzzles/{puzzle}/ask{?cycle,layers,free,matters,any_twist,apart,left_handed}",
    "bench": "/api/puzzles/{puzzle}/bench{?turns,insert}",
    "pairs": "/api/puzzles/{puzzle}/bench/pairs",
    "searches": "/api/searches",
    "atlases": "/api/atlases",
    "search": "/api/searches/{search}",
    "events": "/api/searches/{search}/events",
    "result": "/api/results/{digest}{?cycle,most,left_handed,weights}",
    "step": "/api/results/{digest}/steps/{step}.svg",
    "clubs": "/api/clubs",
    "openapi": "/api/openapi.json",
}


class PictureView(BaseModel):
    """What is marked in a picture: a cycle, what a sequence moves, or the pieces of a type."""

    model_config = ConfigDict(extra="forbid")

    cycle: str | None = Field(
        default=None,
        max_length=3 * MOST_NAME + 2,
        description="three stickers or pieces with commas between",
        examples=["UFR,UBL,DFL"],
    )
    effect: str | None = Field(
        default=None,
        max_length=LONGEST_EFFECT,
        description="cycles in brackets",
        examples=["(UFR UFL)(UBR UBL)"],
    )
    sequence: str | None = Field(
        default=None, max_length=1_000, description="a sequence", examples=["R U R' U'"]
    )
    type: str | None = Field(default=None, max_length=MOST_NAME, description="a type of piece")
    behind: bool = Field(default=True, description="whether the view from behind is drawn as well")
    after: str | None = Field(
        default=None,
        max_length=1_000,
        description="draw the state after this sequence; the pieces of a cycle are numbered in it",
        examples=["R U R'"],
    )


@router.get("", operation_id="getIndex", response_model=Index)
async def index() -> Response:
    """Return the addresses of this service."""
    return JSONResponse(INDEX, headers={"Cache-Control": AGAIN})


@router.get("/puzzles", operation_id="listPuzzles", response_model=PuzzleList)
async def list_puzzles(request: Request) -> Response:
    """Return the catalogue."""
    return await _read(request, {"do": "catalogue"}, store=True)


@router.post(
    "/puzzles",
    operation_id="postPuzzle",
    response_model=Puzzle,
    responses={
        200: {"description": "This puzzle was posted before", "model": Puzzle},
        201: {
            "description": "The puzzle is compiled and has an address",
            "model": Puzzle,
            "headers": {"Location": {"description": "its address", "schema": {"type": "string"}}},
        },
        202: ACCEPTED,
        403: {},
        429: {},
    },
)
async def post_puzzle(
    request: Request, puzzle: PuzzleFile, prefer: Prefer = None, club: Club = None
) -> Response:
    """Post a puzzle file; a worker compiles it, and then it has an address."""
    own = service(request)
    await own.check_club(request)
    wait = preferred(request.headers.getlist("prefer"))
    waited(request, wait)
    return await post(own, request, puzzle.file, wait)


async def post(own: Service, request: Request, text: str, wait: int | None) -> Response:
    """Return what comes of posting a file, of which is waited for so many seconds.

    Raises ProblemError and StoreError.
    """
    size = len(text.encode())
    if size > own.limits.puzzle:
        said = f"the file has {size:,} bytes; at most {own.limits.puzzle:,} are taken"
        raise ProblemError(413, said, pointer="#/file")
    address = puzzle_shelf.address(text)
    things = own.store.things
    if await own.call(things.get, puzzle_shelf.KIND, address) is not None:
        return await _posted(own, address, 200, wait)
    asker = partial(own.asker, request)
    await _admit(own, address, await own.home(request))
    seen = await Searches(own).compile(text, address, asker, wait)
    if seen.job is not None and seen.job.state is State.FAILED:
        raise ProblemError(422, seen.job.error, pointer="#/file")
    if seen.done:
        # One that was compiled before may have made room since.
        await own.call(puzzle_shelf.keep, own.store, text)
        return await _posted(own, address, 201, wait)
    return posted(seen, wait)


async def _admit(own: Service, address: str, asker: str) -> None:
    """Count a file that nobody has posted yet, and make room for it; raises ProblemError."""
    most, each = own.limits.puzzles, own.limits.puzzles_each
    if await own.call(own.store.things.get, SEARCH, compiling(address)) is None:
        text = f"you have posted {each:,} new puzzle files within this hour, which is the limit"
        await own.call(count, own.store, FILES, asker, each, HOUR, text)
    if not await own.call(puzzle_shelf.let_go, own.store, most):
        text = f"as many posted puzzles are kept as are allowed ({most:,}), all on clubs' shelves"
        raise ProblemError(429, text)


async def _posted(own: Service, address: str, status: int, wait: int | None) -> Response:
    """Return a posted puzzle that has its address."""
    reply = await own.rendered({"do": "puzzle", "puzzle": address}, store=False)
    href = f"/api/puzzles/{address}"
    place = "Location" if status == 201 else "Content-Location"
    headers = {"Cache-Control": AGAIN, place: href, **applied(wait)}
    return Response(reply.body, status, headers, JSON)


@router.get(
    "/puzzles/{puzzle}",
    operation_id="getPuzzle",
    response_model=Puzzle,
    responses={304: {"description": "not changed"}, 404: {}},
)
async def get_puzzle(request: Request, puzzle: Name) -> Response:
    """Return a puzzle in short."""
    return await _read(request, {"do": "puzzle", "puzzle": puzzle})


@router.get(
    "/puzzles/{puzzle}/parts",
    operation_id="getParts",
    response_model=PartsReport,
    responses=WORKED_OUT,
)
async def get_parts(
    request: Request, puzzle: Name, prefer: Prefer = None, club: Club = None
) -> Response:
    """Return what a puzzle consists of, and which of its pieces move without the others."""
    return await worked_out(request, PartsQuestion(puzzle=puzzle))


async def worked_out(request: Request, question: PartsQuestion | MethodQuestion) -> Response:
    """Return what is worked out about a puzzle, or that it is being worked out.

    Raises ProblemError, as 404 where there is no such puzzle.
    """
    own = service(request)
    await own.check_club(request)
    wait = preferred(request.headers.getlist("prefer"))
    waited(request, wait)
    try:
        seen = await Searches(own).ask(question, partial(own.asker, request), wait)
    except ProblemError as error:
        if error.status == 422 and any(one.get("pointer") == "#/puzzle" for one in error.errors):
            raise ProblemError(404, error.detail) from None
        raise
    if seen.answer is None or not seen.done:
        return posted(seen, wait)
    return tagged(request, seen.answer.body, JSON, AGAIN)


@router.get(
    "/puzzles/{puzzle}/picture.svg",
    operation_id="getPicture",
    response_class=Response,
    responses={
        200: {"description": "the picture", "content": {SVG: {"schema": {"type": "string"}}}},
        304: {"description": "not changed"},
        404: {},
    },
)
async def get_picture(
    request: Request, puzzle: Name, view: Annotated[PictureView, Query()]
) -> Response:
    """Return a picture of the solved puzzle, with what is asked for marked in it."""
    markable = ("cycle", "effect", "sequence", "type")
    given = [name for name in markable if getattr(view, name) is not None]
    if len(given) > 1:
        text = f"{given[0]} and {given[1]} were given; one of them can be marked"
        raise ProblemError(422, text, parameter=given[1])
    message = {
        "do": "picture",
        "puzzle": puzzle,
        "cycle": view.cycle if cycle_of(view.cycle) else None,
        "sequence": view.sequence,
        "type": view.type,
        "behind": view.behind,
    }
    if view.effect is not None:
        message["effect"] = view.effect
    if view.after is not None:
        message["after"] = view.after
    policy = {"Content-Security-Policy": PICTURE_POLICY}
    # Compiling takes longer than drawing: what every visitor sees is there after a new start, too.
    plain = view.cycle is view.effect is view.sequence is view.after is None
    return await _read(request, message, SVG, policy, plain)


@router.get(
    "/puzzles/{puzzle}/drawing",
    operation_id="getDrawing",
    response_class=Response,
    responses={
        200: {
            "description": "patches, cuts, turns and names; lengths are whole multiples of a unit",
            "content": {JSON: {"schema": {"type": "object"}}},
        },
        304: {"description": "not changed"},
        404: {},
    },
)
async def get_drawing(request: Request, puzzle: Name) -> Response:
    """Return what a page needs to draw a puzzle and to turn it."""
    return await _read(request, {"do": "drawing", "puzzle": puzzle})


@router.post(
    "/puzzles/{puzzle}/effects",
    operation_id="postEffect",
    response_model=EffectReport,
    responses={404: {}},
)
async def post_effect(request: Request, puzzle: Name, question: EffectQuestion) -> Response:
    """Say what a sequence does: which pieces go where, and how often until nothing has moved."""
    return await _about(request, "effect", puzzle, question.sequence)


@router.post(
    "/puzzles/{puzzle}/readings",
    operation_id="postReading",
    response_model=ReadingReport,
    responses={404: {}},
)
async def post_reading(request: Request, puzzle: Name, question: ReadingQuestion) -> Response:
    """Say how a sequence is made: commutators and conjugates, nested, and why they work."""
    return await _about(request, "reading", puzzle, question.sequence)


async def _about(request: Request, do: str, puzzle: str, sequence: str) -> Response:
    """Return what a reader says about a sequence, not to be kept."""
    try:
        reply = await of_sequence(service(request), do, puzzle, sequence)
    except ProblemError as error:
        if any(one.get("pointer") == "#/puzzle" for one in error.errors):
            raise ProblemError(404, error.detail) from None
        raise
    return Response(reply.body, headers={"Cache-Control": "no-store"}, media_type=JSON)


async def of_sequence(own: Service, do: str, puzzle: str, sequence: str) -> Reply:
    """Return the "effect" or the "reading" of a sequence; raises ProblemError and StoreError."""
    most = own.limits.sequence
    if len(sequence) > most:
        text = f"the sequence has {len(sequence):,} characters; at most {most:,} are read"
        raise ProblemError(422, text, pointer="#/sequence")
    return await own.read({"do": do, "puzzle": puzzle, "sequence": sequence})


async def short(own: Service, puzzle: str) -> dict[str, Any]:
    """Return a puzzle in short; raises ProblemError for one that there is not."""
    reply = await own.rendered({"do": "puzzle", "puzzle": puzzle}, "path", store=False)
    told: dict[str, Any] = json.loads(reply.body)
    return told


async def _read(
    request: Request,
    message: Message,
    media_type: str = JSON,
    more: dict[str, Any] | None = None,
    store: bool = False,
) -> Response:
    """Return what a reader makes of a message that names a puzzle, to be asked for again."""
    own = service(request)
    reply = await own.rendered(message, "query", store)
    response = tagged(request, reply.body, media_type, AGAIN)
    response.headers.update(more or {})
    return response
