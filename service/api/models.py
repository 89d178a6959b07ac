"""What the API sends, as models from which the OpenAPI document is made.

Reports come from readers as finished JSON and are sent on as they are; the models say what is in
them. More fields may come with later versions.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, Field

from search.request import MOST_MEMBERS
from service.api.finish_models import FinishReport
from service.api.method_models import MethodReport
from service.api.solve_models import SolveReport

Digest = Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
Id = Annotated[str, Field(pattern="^[0-9a-f]{32}$")]
Href = Annotated[str, Field(description="an address of this service")]
StateWord = Literal["waiting", "running", "stopping", "done", "stopped", "failed"]
StoppedBy = Literal["person", "time"]


class Index(BaseModel):
    """The addresses of this service, some as templates (RFC 6570)."""

    puzzles: Href
    new: Href
    drafts: Href
    ranges: Href
    depths: Href
    puzzle: Href
    parts: Href
    method: Href
    picture: Href
    drawing: Href
    effects: Href
    readings: Href
    covers: Href
    finish: Href
    last: Href
    solve: Href
    whole: Href
    ask: Href
    bench: Href
    pairs: Href
    searches: Href
    atlases: Href
    search: Href
    events: Href
    result: Href
    step: Href
    clubs: Href
    openapi: Href


class TypeCount(BaseModel):
    """A type of piece, and how many pieces it has."""

    name: str
    count: int


class PuzzleLink(BaseModel):
    """A puzzle of the catalogue."""

    name: str
    description: str
    href: Href
    types: list[TypeCount]


class PuzzleList(BaseModel):
    """The catalogue. Posted puzzles are known to those who have their addresses."""

    puzzles: list[PuzzleLink]


class Puzzle(BaseModel):
    """A puzzle in short."""

    name: str
    description: str


class PuzzleFile(BaseModel):
    """A puzzle file to be compiled."""

    model_config = {"extra": "forbid"}

    file: Annotated[str, Field(min_length=1, description="the text of a puzzle file, in TOML")]


class PartsReport(BaseModel):
    """What a puzzle consists of, as `trefoil parts --json` prints it."""

    puzzle: str
    types: list[dict[str, Any]] = Field(description="the piece types")
    layers: list[dict[str, Any]]
    order: str | None = Field(description="how many positions there are, all pieces told apart")
    order_alike: str | None = Field(description="the same, like pieces not told apart")


class EffectReport(BaseModel):
    """What a sequence does, as `trefoil try --json` prints it."""

    puzzle: str
    written: str
    sequence: str = Field(description="what is left after cancelling")
    turns: int
    cycles: list[list[str]]
    order: int
    repeats: int | None = Field(description="how often it can be done in a row; null: any number")
    pieces_moved: int
    looks_moved: int = Field(description="slots that look otherwise; like pieces look the same")
    left_over: str = Field(description="the rotation of the whole puzzle that is left over")


class Shared(BaseModel):
    """The one slot that A and B both move: whose piece waits there after A, whose B slips in."""

    slot: str
    waits: str
    slips: str


class Level(BaseModel):
    """One bracket of a sequence, what it does by itself, and the levels inside it."""

    role: Literal["whole", "setup", "A", "B", "part"]
    kind: Literal["commutator", "conjugate", "repeat", "row", "turns", "nothing"]
    notation: str
    sequence: str
    turns: int
    things: int = Field(description="turns to remember: undoing and repeating are free")
    times: int
    cycles: list[list[str]]
    order: int
    pieces_moved: int
    does: Literal["three-cycle", "twists", "nothing", "more"] | None
    shared: Shared | None
    why: str
    parts: list[Level]


class Undoing(BaseModel):
    """What undoes a sequence; ``blocked`` says why it cannot be done on the solved puzzle."""

    sequence: str
    notation: str
    blocked: str | None


class Image(BaseModel):
    """A sequence in the letters of another holding, or of the mirror image in one."""

    up: str
    front: str
    sequence: str
    notation: str


class ReadingReport(EffectReport):
    """How a sequence is made, as `trefoil read --json` prints it."""

    kind: Literal["commutator", "conjugate", "repeat", "row", "turns", "nothing"]
    notation: str
    things: int
    commutator: bool | None = Field(description="false: proven that it is none; null: none found")
    unbalanced: list[str] = Field(description="layers whose turns do not sum to nothing")
    parts_only: bool = Field(description="whether there was too much for all to be looked at")
    text: str
    tree: Level
    inverse: Undoing
    mirrors: list[Image]
    holdings: list[Image]


class Searched(BaseModel):
    """How far a search went; ``complete`` are the executed turns up to which it is proven."""

    half_length: int | None = Field(
        description="null for an effect that no commutator has, or that both ends have met"
    )
    setup: int | None
    complete: int | None
    any_form: int | None = Field(
        default=None,
        description="for an effect: no sequence of any form has up to so many turns, or fewer than "
        "the shortest answer",
    )
    text: str


class Hold(BaseModel):
    """Which faces are up and in front."""

    up: str
    front: str


class Member(BaseModel):
    """A sequence of an answer's family; ``setup``, ``a`` and ``b`` are those of ``notation``."""

    cycle: list[str]
    sequence: str
    turns: int
    notation: str
    setup: str
    a: str
    b: str
    things: int


class Answer(Member):
    """One sequence that does what was asked for."""

    layers: list[str]
    complexity: int
    hold: Hold
    held_sequence: str
    motions: list[str]
    undone_same: list[str]
    why: str
    leads: list[str]
    folded: int = Field(description="how many others are of its family")
    members: list[Member] = Field(
        description=f"those of them that come first, {MOST_MEMBERS} at most"
    )


class FindReport(BaseModel):
    """Ranked answers, as `trefoil find --json` prints them: for a cycle, or for an effect."""

    puzzle: str
    cycle: list[str] | None = Field(default=None, description="the three places of a cycle")
    effect: list[str] | None = Field(
        default=None, description="the cycles of an effect; those of an answer are its `cycle`"
    )
    answers: list[Answer]
    left_out: int | None = None
    searched: Searched | None = None
    stopped: bool | None = None
    stopped_by: StoppedBy | None = None
    unseen: bool | None = Field(
        default=None, description="whether the three pieces look the same in each other's place"
    )
    reason: str | None = None
    impossible: bool | None = None
    result: Digest | None = None


class AtlasReport(BaseModel):
    """The best sequence for every three-cycle, as `trefoil atlas --json` prints it."""

    puzzle: str
    searched: Searched | None = None
    types: list[dict[str, Any]] | None = None
    missing: int | None = None
    entries: list[dict[str, Any]]
    stopped: bool | None = None
    stopped_by: StoppedBy | None = None
    reason: str | None = None
    impossible: bool | None = None
    result: Digest | None = None


class Progress(BaseModel):
    """How a search stands, as its workers said last."""

    step: str | None = Field(description="what is being done, in words")
    working: int | None = Field(description="the half-length that is being looked at")
    half_length: int | None = Field(description="the half-length that is complete")
    complete: int | None = Field(description="the executed turns that are proven")
    share: float | None = Field(description="how much of the step is done, 0 to 1")
    best: int | None = Field(description="executed turns of the best so far")
    left: float | None = Field(description="about how many seconds are left, if that is known")


class Search(BaseModel):
    """A search: what was asked, how it stands, and what it gave.

    While it runs, ``answer`` is the best so far; null for nothing yet.
    """

    id: Id
    href: Href
    question: dict[str, Any] = Field(description="what was asked, usual values left out")
    state: StateWord
    askers: int = Field(description="how many want it")
    progress: Progress | None
    impossible: bool | None = Field(description="whether it is proven that there is no answer")
    reason: str | None = Field(description="why there is no answer, or why it failed")
    result: Href | None = Field(description="where the result stays, whatever becomes of this")
    page: Href | None = Field(description="the result as a page to be read")
    events: Href = Field(description="server-sent events of what changes")
    answer: (
        FindReport | AtlasReport | PartsReport | FinishReport | SolveReport | MethodReport | None
    )


class Readiness(BaseModel):
    """Whether the service is ready."""

    ready: Literal[True]


class Alive(BaseModel):
    """Whether the service is there."""

    alive: Literal[True]
