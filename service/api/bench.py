"""The bench: what turns disturb, which layers hold one piece of it, and what inserts give."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Query, Request
from pydantic import BaseModel, ConfigDict, Field
from starlette.responses import Response

from service.api.caching import tagged
from service.api.context import Service, service
from service.api.problems import ProblemError
from service.api.puzzles import AGAIN, JSON, Name
from service.reading import Reply

router = APIRouter(prefix="/api", tags=["puzzles"])

Gives = Literal["three-cycle", "pair of twists", "nothing", "other", "blocked"]


class Built(BaseModel):
    """What somebody has built: the turns of A, and the turn that is slipped in."""

    model_config = ConfigDict(extra="forbid")

    turns: str = Field(
        default="", max_length=15_000, description="turns from solved", examples=["R U R' U'"]
    )
    insert: str = Field(
        default="", max_length=100, description="the turn that is slipped in", examples=["L'"]
    )


class BenchSlot(BaseModel):
    """A slot that holds another piece, or its own, twisted."""

    slot: str
    type: str
    twisted: bool


class BenchType(BaseModel):
    """How many slots of a type hold another piece, and how many their own, twisted."""

    type: str
    displaced: int
    twisted: int


class BenchInsert(BaseModel):
    """What slipping in a turn gives; ``sequence`` is the notation written out and cancelled."""

    turn: str
    gives: Gives
    cycles: list[list[str]]
    more: int = Field(description="how many cycles are left out")
    notation: str
    sequence: str
    turns: int


class BenchLayer(BaseModel):
    """A layer that moves exactly one disturbed slot, and what each of its turns would give."""

    layer: str
    slot: str
    type: str
    twisted: bool
    inserts: list[BenchInsert]


class BenchReport(BaseModel):
    """What turns disturb, and what can be made of it."""

    puzzle: str
    turns: list[str]
    sequence: str
    executed: int = Field(description="turns that are left after cancelling")
    left_over: str
    disturbed: list[BenchSlot]
    types: list[BenchType]
    layers: list[BenchLayer]
    completed: BenchInsert | None = Field(description="what came of the turn that is slipped in")


class PairOffer(BaseModel):
    """What a turn of a layer gives."""

    turn: str
    gives: Gives


class PairLayer(BaseModel):
    """A layer that moves exactly one disturbed slot."""

    layer: str
    slot: str
    twisted: bool
    offers: list[PairOffer]


class Pair(BaseModel):
    """Two turns X and Y as X Y X' Y': what that disturbs, and what it offers."""

    pair: list[str]
    sequence: str
    stands_for: int = Field(description="how many pairs are this one up to symmetry and order")
    types: list[BenchType]
    layers: list[PairLayer]
    offers: dict[str, int]


class PairsReport(BaseModel):
    """All pairs of turns that disturb anything, one for all that are alike."""

    puzzle: str
    pairs: list[Pair]


@router.get(
    "/puzzles/{puzzle}/bench",
    operation_id="getBench",
    response_model=BenchReport,
    responses={304: {"description": "not changed"}, 404: {}},
)
async def get_bench(request: Request, puzzle: Name, built: Annotated[Built, Query()]) -> Response:
    """Say what turns disturb, and what slipping in a turn and undoing them would give."""
    return tagged(request, (await report(service(request), puzzle, built)).body, JSON, AGAIN)


@router.get(
    "/puzzles/{puzzle}/bench/pairs",
    operation_id="getPairs",
    response_model=PairsReport,
    responses={304: {"description": "not changed"}, 404: {}},
)
async def get_pairs(request: Request, puzzle: Name) -> Response:
    """Return all pairs of turns up to symmetry: what each disturbs, and which inserts it offers."""
    return tagged(request, (await pairs(service(request), puzzle)).body, JSON, AGAIN)


async def report(own: Service, puzzle: str, built: Built) -> Reply:
    """Return what is built; raises ProblemError."""
    most = own.limits.sequence
    if len(built.turns) > most:
        text = f"the turns have {len(built.turns):,} characters; at most {most:,} are read"
        raise ProblemError(422, text, parameter="turns")
    message = {"do": "bench", "puzzle": puzzle, "turns": built.turns, "insert": built.insert}
    return await own.read(message, "query")


async def pairs(own: Service, puzzle: str) -> Reply:
    """Return the table of pairs, which is kept; raises ProblemError."""
    return await own.rendered({"do": "pairs", "puzzle": puzzle}, "query")
