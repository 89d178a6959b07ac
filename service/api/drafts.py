"""Drafts of puzzles: what may be chosen, what comes of it, and which sizes give counted pieces.

Nothing of a draft is kept. Posting its file to `/api/puzzles` adds it.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Annotated, Any, Literal, get_args

from fastapi import APIRouter, Query, Request
from pydantic import BaseModel, ConfigDict, Field
from starlette.responses import Response

from puzzles.wanted_counts import LARGEST, MOST_KINDS
from service.api.caching import tagged
from service.api.context import Service, service
from service.api.problems import ProblemError
from service.api.puzzles import AGAIN, JSON, PICTURE_POLICY, SVG
from service.choice import SIZES, BodyName, Choice, completed
from service.reading import Reply

router = APIRouter(prefix="/api", tags=["puzzles"])

#: The most proposals that are made.
MOST_PROPOSALS = 12
#: The longest query, in characters, with which a draft's picture and page have an address.
MOST_QUERY = 12_000
UNKEPT = {"Cache-Control": "no-store"}

Shape = Literal["solid", "ball"]
SizeName = Literal[
    "faces",
    "faces_inner",
    "corners",
    "corners_inner",
    "others",
    "others_inner",
    "edges",
    "edges_inner",
]
assert set(get_args(SizeName)) == set(SIZES)
File = Annotated[str, Field(description="the text of a puzzle file, in TOML")]


class Sizes(BaseModel):
    """How deep layers can be cut: depths, or on a ball degrees; and a size to begin with."""

    from_: float = Field(alias="from")
    to: float
    step: float = Field(description="how far a slider moves at once")
    usual: str


class AxisKind(BaseModel):
    """Axes of one kind, and the steps that carry the body to itself."""

    name: str
    words: str
    axes: list[str]
    steps: int
    solid: Sizes
    ball: Sizes


class AbleBody(BaseModel):
    """A body that may be chosen, and how it is held."""

    name: BodyName
    faces: list[str]
    up: str
    front: str
    kinds: list[AxisKind]


class DraftLimits(BaseModel):
    """What a puzzle may have at most."""

    pieces: int
    types: int
    layers: int
    file_bytes: int
    open_sizes: int
    counts: int


class DraftProblem(BaseModel):
    """What is wrong with a file, and where, from 1; null where that is no single line."""

    detail: str
    line: int | None
    column: int | None
    size: SizeName | None = Field(description="the size of a choice that it is about")


class DraftType(BaseModel):
    """A type of piece."""

    name: str
    count: int
    twists: int
    moves: bool


class DraftHeld(BaseModel):
    """Which faces are up and in front."""

    up: str
    front: str


class DraftPuzzle(BaseModel):
    """What comes of a draft."""

    description: str
    pieces: int
    types: list[DraftType]
    layers: list[str]
    held: DraftHeld
    can_block: bool


class DraftReport(BaseModel):
    """A draft: its file, the choice that it says, and what comes of it or what is wrong."""

    file: str
    choice: dict[str, str] | None = Field(description="null: the file says more than is chosen")
    sizes: dict[str, float] = Field(description="the sizes of the choice as numbers")
    problem: DraftProblem | None
    puzzle: DraftPuzzle | None
    drawing: dict[str, Any] | None = Field(description="as `/api/puzzles/{puzzle}/drawing` has it")


class SizeRange(BaseModel):
    """A range of sizes in which nothing changes, and one out of it."""

    from_: float = Field(alias="from")
    to: float
    entry: str
    pieces: int
    counts: list[int]


class ExactSize(BaseModel):
    """A size that gives something else than those beside it."""

    at: float
    entry: str = Field(description="the size as a file has it, a formula where one is known")
    pieces: int
    counts: list[int]


class RangesReport(BaseModel):
    """Which sizes of layers of a kind give which pieces."""

    size: SizeName
    unit: Literal["degrees"] | None
    complete: bool = Field(description="whether all sizes were looked at")
    ranges: list[SizeRange]
    exact: list[ExactSize]
    reason: str | None = Field(description="why there are none")


class ProposedSize(BaseModel):
    """What a proposal says of one size; ``exact`` if only this very size gives the puzzle."""

    layers: str
    key: str
    unit: Literal["degrees"] | None
    exact: bool
    example: float
    entry: str
    from_: float = Field(alias="from")
    to: float
    from_formula: str | None
    to_formula: str | None


class Proposal(BaseModel):
    """Sizes that give the counted pieces, and the puzzle file with them."""

    pieces: int
    counts: list[int]
    counted_as: list[list[int]]
    not_counted: list[int]
    sizes: list[ProposedSize]
    together: list[list[float]] | None
    checked: bool
    toml: str
    choice: dict[str, str] | None


class Nearest(BaseModel):
    """Counts that are not those that were wanted, and entries of a file that give them."""

    counts: list[int]
    entries: list[str]


class LookedAt(BaseModel):
    """How far it was looked."""

    complete: bool
    looks: int
    counts_met: int
    never_close: int
    text: str


class DepthsReport(BaseModel):
    """Proposals for open sizes, the likeliest first."""

    wanted: list[int]
    proposals: list[Proposal]
    left_out: int
    nearest: list[Nearest]
    searched: LookedAt
    reason: str | None = Field(description="why there are none")


class NewReport(BaseModel):
    """What may be chosen for a new puzzle, and what comes of what is chosen."""

    bodies: list[AbleBody]
    first: dict[str, str]
    limits: DraftLimits
    draft: DraftReport
    depths: DepthsReport | None


class Chosen(Choice):
    """What the address of the page holds: a choice, or a file, which then says all."""

    file: str = Field(default="", max_length=10_000, description="the text of a puzzle file")
    counts: str = Field(
        default="", max_length=200, description="counted pieces", examples=["48 12"]
    )
    open: str = Field(
        default="", max_length=200, description="sizes to be found from them, with commas between"
    )

    @property
    def choice(self) -> Choice:
        """The choice, completed so that something turns."""
        return completed(Choice.model_construct(**self.model_dump(include={*Choice.model_fields})))


class DraftFile(BaseModel):
    """A draft to be looked at: a choice, or the text of a file."""

    model_config = ConfigDict(extra="forbid")

    choice: Choice | None = None
    file: File | None = None
    drawn: bool = Field(default=True, description="whether its drawing is wanted, too")


class RangesQuestion(BaseModel):
    """Which sizes of one kind of layer give which pieces?"""

    model_config = ConfigDict(extra="forbid")

    choice: Choice
    size: SizeName


class DepthsQuestion(BaseModel):
    """Which sizes give these pieces? Those open in a choice, or in a file those with a ?."""

    model_config = ConfigDict(extra="forbid")

    choice: Choice | None = None
    file: File | None = None
    open: Annotated[list[SizeName], Field(max_length=len(SIZES))] = Field(default_factory=list)
    counts: Annotated[
        list[Annotated[int, Field(ge=1, le=LARGEST)]], Field(min_length=1, max_length=MOST_KINDS)
    ]
    most: Annotated[int, Field(ge=1, le=MOST_PROPOSALS)] = 6


@router.get(
    "/puzzles/new",
    operation_id="getNew",
    response_model=NewReport,
    responses={304: {"description": "not changed"}},
)
async def get_new(request: Request, chosen: Annotated[Chosen, Query()]) -> Response:
    """Return what may be chosen for a new puzzle, and what comes of a choice."""
    report = await about(service(request), chosen)
    return tagged(request, json.dumps(report).encode(), JSON, AGAIN)


@router.get(
    "/puzzles/new/picture.svg",
    operation_id="getNewPicture",
    response_class=Response,
    responses={
        200: {"description": "the picture", "content": {SVG: {"schema": {"type": "string"}}}},
        304: {"description": "not changed"},
    },
)
async def get_picture(request: Request, chosen: Annotated[Chosen, Query()]) -> Response:
    """Return a picture of a draft."""
    own = service(request)
    message = {"do": "draft-picture", **_given(own, chosen.choice, chosen.file or None)}
    reply = await own.drafts.reply(message, own.address, "query")
    response = tagged(request, reply.body, SVG, AGAIN)
    response.headers["Content-Security-Policy"] = PICTURE_POLICY
    return response


@router.post("/puzzles/drafts", operation_id="postDraft", response_model=DraftReport)
async def post_draft(request: Request, asked: DraftFile) -> Response:
    """Look at a draft: the pieces and the drawing, or what is wrong and where. Nothing is kept."""
    own = service(request)
    _one(asked.choice, asked.file)
    message = {"do": "draft", "drawn": asked.drawn, **_given(own, asked.choice, asked.file)}
    return _unkept(await own.drafts.reply(message, own.address))


@router.post("/puzzles/drafts/ranges", operation_id="postRanges", response_model=RangesReport)
async def post_ranges(request: Request, asked: RangesQuestion) -> Response:
    """Say which sizes of one kind of layer give which pieces, the others being as they are."""
    own = service(request)
    message = {"do": "ranges", "size": asked.size, **_given(own, asked.choice, None)}
    return _unkept(await own.drafts.look(message, own.address))


@router.post("/puzzles/depths", operation_id="postDepths", response_model=DepthsReport)
async def post_depths(request: Request, asked: DepthsQuestion) -> Response:
    """Propose sizes from counted pieces, as `trefoil depths` does, within a few seconds."""
    own = service(request)
    _one(asked.choice, asked.file)
    counts = " ".join(map(str, asked.counts))
    message = _depths(own, asked.choice, asked.file, asked.open, counts, asked.most)
    return _unkept(await own.drafts.look(message, own.address))


async def about(own: Service, chosen: Chosen) -> dict[str, Any]:
    """Return what the page of a new puzzle shows; raises ProblemError and StoreError."""
    choice, text = chosen.choice, chosen.file or None
    able = json.loads((await own.rendered({"do": "able"}, "query", store=False)).body)
    message = {"do": "draft", "drawn": False, **_given(own, choice, text)}
    draft = json.loads((await own.drafts.reply(message, own.address, "query")).body)
    depths = None
    if chosen.counts.strip():
        names = names_of(chosen.open)
        sought = _depths(own, choice, text, names, chosen.counts, 6)
        depths = json.loads((await own.drafts.look(sought, own.address, "query")).body)
    return {**able, "draft": draft, "depths": depths}


def names_of(text: str) -> list[str]:
    """Return the names of sizes in a list with commas; raises ProblemError for others."""
    names = [name.strip() for name in text.split(",") if name.strip()]
    for name in names:
        if name not in SIZES:
            said = f"open: the names of sizes were expected, such as {SIZES[0]}, not {name[:20]!r}"
            raise ProblemError(422, said, parameter="open")
    return names


def _depths(
    own: Service,
    choice: Choice | None,
    text: str | None,
    names: Sequence[str],
    counts: str,
    most: int,
) -> dict[str, Any]:
    sought = {"open": list(names), "counts": counts, "most": most}
    return {"do": "depths", **sought, **_given(own, choice, text)}


def _given(own: Service, choice: Choice | None, text: str | None) -> Mapping[str, Any]:
    """Return what a message says of a draft; raises ProblemError for a file that is too large."""
    if text is None:
        return {"choice": (choice or Choice()).model_dump(exclude_defaults=True)}
    size = len(text.encode(errors="replace"))
    if size > own.limits.puzzle:
        said = f"the file has {size:,} bytes; at most {own.limits.puzzle:,} are taken"
        raise ProblemError(413, said, pointer="#/file")
    return {"file": text}


def _one(choice: Choice | None, text: str | None) -> None:
    if (choice is None) == (text is None):
        said = "give either a choice or a file" + ("" if choice is None else ", and not both")
        raise ProblemError(422, said, pointer="#/file")


def _unkept(reply: Reply) -> Response:
    return Response(reply.body, headers=UNKEPT, media_type=JSON)
