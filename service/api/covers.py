"""What a favourite sequence reaches: posted for the whole table, or at the address of its page."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from pydantic import BaseModel, ConfigDict, Field
from starlette.responses import Response

from search.request import MOST_HALF_LENGTH
from service.api.context import Place, Service, service
from service.api.models import Hold
from service.api.problems import ProblemError
from service.api.puzzles import JSON, Name
from service.limits import LONGEST_IN_ADDRESS
from service.questions import Name as Word
from service.questions import Names
from service.reading import Reply
from service.settings import MOST_NAME

router = APIRouter(prefix="/api", tags=["puzzles"])

#: The turns of setup if nobody says how many.
USUAL = 2
Setup = Annotated[int, Field(ge=0, le=MOST_HALF_LENGTH)]
Case = Annotated[list[Word], Field(min_length=3, max_length=3)]


class CoverQuestion(BaseModel):
    """What a favourite reaches; ``puzzle`` stands in the address."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    sequence: Annotated[str, Field(max_length=20_000, examples=["[R U R' U', L]"])]
    setup: Annotated[int, Field(ge=0, le=MOST_HALF_LENGTH, strict=True)] = Field(
        default=USUAL, description="at most so many turns of setup"
    )
    layers: Names | None = Field(default=None, description="the only layers that may turn")
    keep: Names | None = Field(default=None, description="the piece types that must stay")
    free: Names | None = Field(default=None, description="the piece types that may end anywhere")
    case: Case | None = Field(default=None, description="look up this three-cycle alone")
    first: Word | None = Field(default=None, description="a piece from which a grid is made")
    second: Annotated[bool, Field(strict=True)] = Field(
        default=True, description="whether second favourites are compared"
    )


class CoverView(BaseModel):
    """What the page of a favourite shows; lists have commas between their names."""

    model_config = ConfigDict(extra="forbid")

    sequence: str = Field(max_length=LONGEST_IN_ADDRESS, examples=["[R U R' U', L]"])
    setup: Setup = Field(default=USUAL, description="at most so many turns of setup")
    free: str | None = Field(
        default=None, max_length=1_000, description="the piece types that may end anywhere"
    )
    case: str | None = Field(
        default=None, max_length=3 * MOST_NAME + 2, description="look up this three-cycle"
    )
    first: str | None = Field(
        default=None, max_length=MOST_NAME, description="the piece from which the grid is"
    )


class CoverFavourite(BaseModel):
    """The favourite itself; ``blocked`` says why it cannot be done on the solved puzzle."""

    sequence: str
    turns: int
    notation: str
    cycles: list[list[str]]
    left_over: str
    blocked: str | None


class CoverCount(BaseModel):
    """How many cases need so many turns of setup; ``within`` the bound or beyond it."""

    setup: int
    cases: int
    within: bool


class CoverWorst(BaseModel):
    """The most setup turns of what is reached, how many cases need them, and one of these."""

    setup: int
    cases: int
    cycles: list[list[str]]


class CoverLeft(BaseModel):
    """Cases that are out of reach for one reason; of many, not all are listed."""

    kind: str = Field(description='"setup", "impossible", "never" or "not found"')
    cases: int
    setup: int | None = Field(description="turns of setup that would reach them")
    reason: str
    example: list[list[str]]
    cycles: list[list[list[str]]]


class CoverEntry(BaseModel):
    """A case and how the favourite does it."""

    cycle: list[str]
    cycles: list[list[str]]
    setup: str
    setup_turns: int
    sequence: str = Field(description="setup, favourite, setup undone; what cancels is left out")
    turns: int
    notation: str
    hold: Hold = Field(description="how to hold the puzzle to do the favourite in its own letters")
    mirrored: bool
    undone: bool
    favourite: str = Field(description="the favourite in the letters of the case, without setup")
    begun_after: str = Field(description="the turns that are left to the end")


class CoverGrid(BaseModel):
    """The setup turns of all three-cycles from one piece: rows the second, columns the third.

    -1: not reached by any setup that was tried; null: no cycle.
    """

    first: str
    others: list[str]
    by_slots: bool = Field(description="whether twists are left out; the least of them is told")
    firsts: list[str]
    levels: list[list[int | None]]


class CoverSecond(BaseModel):
    """A second favourite: ``covers`` of what the first leaves, ``both`` reach together."""

    sequence: str
    turns: int
    notation: str
    things: int
    covers: int
    both: int
    alone: int
    setups: int = Field(description="the setups of all that both reach, in sum")


class CoverReport(BaseModel):
    """What a favourite reaches, as `trefoil cover --json` prints it."""

    puzzle: str
    favourite: CoverFavourite
    shape: str
    types: list[str]
    kept: list[str]
    setup: int
    starts: int
    all: int = Field(description="all cases of this shape, all pieces told apart")
    reached: int
    by_setup: list[CoverCount]
    largest_setup: int | None = Field(
        description="the most setup turns of all that is ever reached; null: not known"
    )
    worst: CoverWorst | None
    out_of_reach: list[CoverLeft]
    grid: CoverGrid | None
    case: list[str] | None = Field(description="the case that was asked for, as it was")
    listed: bool = Field(description="whether entries has all that is reached")
    entries: list[CoverEntry]
    text: str
    second: list[CoverSecond]
    second_text: str
    stopped_by: str | None


@router.post(
    "/puzzles/{puzzle}/covers",
    operation_id="postCover",
    response_model=CoverReport,
    responses={404: {}},
)
async def post_cover(request: Request, puzzle: Name, question: CoverQuestion) -> Response:
    """Say which cases a favourite reaches, and with which setup each."""
    return await _answer(request, puzzle, question.model_dump() | {"listing": True})


@router.get(
    "/puzzles/{puzzle}/cover",
    operation_id="getCover",
    response_model=CoverReport,
    responses={404: {}},
)
async def get_cover(
    request: Request, puzzle: Name, view: Annotated[CoverView, Query()]
) -> Response:
    """Say what the page of a favourite shows: counts, a grid from one piece, and one case."""
    return await _answer(request, puzzle, asked(view))


def asked(view: CoverView) -> dict[str, Any]:
    """Return what a page's address asks a reader."""
    return {
        "sequence": view.sequence,
        "setup": view.setup,
        "layers": None,
        "keep": None,
        "free": _listed(view.free),
        "case": _listed(view.case),
        "first": view.first or "",
        "second": True,
        "listing": False,
    }


def _listed(text: str | None) -> list[str] | None:
    names = [name.strip() for name in (text or "").split(",")]
    return [name for name in names if name] or None


async def _answer(request: Request, puzzle: str, question: dict[str, Any]) -> Response:
    where: Place = "body" if question["listing"] else "query"
    try:
        reply = await of_favourite(service(request), puzzle, question, where)
    except ProblemError as error:
        if any(one.get("pointer") == "#/puzzle" for one in error.errors):
            raise ProblemError(404, error.detail) from None
        raise
    return Response(reply.body, headers={"Cache-Control": "no-store"}, media_type=JSON)


async def of_favourite(
    own: Service, puzzle: str, question: dict[str, Any], where: Place = "query"
) -> Reply:
    """Return what a reader says of a favourite; raises ProblemError and StoreError."""
    most = own.limits.sequence
    if len(question["sequence"]) > most:
        length = len(question["sequence"])
        text = f"the sequence has {length:,} characters; at most {most:,} are read"
        raise ProblemError(422, text, pointer="#/sequence")
    return await own.read({"do": "cover", "puzzle": puzzle, **question}, where)
