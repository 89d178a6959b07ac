"""What may be asked of the service, as checked JSON: a three-cycle, an atlas, a puzzle's parts.

The command line asks the same questions with ``--server``.
"""

from __future__ import annotations

import hashlib
import json
from typing import Annotated, ClassVar, Literal, Self

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    StrictBool,
    StrictFloat,
    StrictInt,
    model_validator,
)

from search.request import (
    LONGEST_EFFECT,
    MOST_HALF_LENGTH,
    MOST_SECONDS,
    MOST_TURNS,
    MOST_WEIGHT,
)
from service.settings import MOST_NAME, MOST_SHOWN

Name = Annotated[str, Field(min_length=1, max_length=MOST_NAME)]
Names = Annotated[list[Name], Field(min_length=1, max_length=200)]
#: How much a column matters; beside this much, others would not matter at all.
Weight = Annotated[StrictFloat | StrictInt, Field(ge=0, le=MOST_WEIGHT)]


class _Question(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    puzzle: Name = Field(description="a name of the catalogue, or the address of a posted puzzle")
    layers: Names | None = Field(default=None, description="the only layers that may turn")
    keep: Names | None = Field(default=None, description="the piece types that must stay")
    free: Names | None = Field(default=None, description="the piece types that may end anywhere")
    turns: Annotated[StrictInt, Field(ge=1, le=MOST_TURNS)] | None = Field(
        default=None, description="look for all of up to so many executed turns"
    )
    half_length: Annotated[StrictInt, Field(ge=1, le=MOST_HALF_LENGTH)] | None = Field(
        default=None, description="look at all rings of up to so many turns in X, Y and Z"
    )
    setup: Annotated[StrictInt, Field(ge=0, le=MOST_HALF_LENGTH)] | None = Field(
        default=None, description="allow at most so many turns of setup"
    )
    seconds: Annotated[StrictFloat | StrictInt, Field(gt=0, le=MOST_SECONDS)] | None = Field(
        default=None,
        description="stop after so many seconds of computing, rounded up to whole ones",
    )

    @property
    def digest(self) -> str:
        """What names this question: the same for the same question, however it was written."""
        said = {"kind": type(self).__name__, **self.model_dump(exclude_defaults=True)}
        text = json.dumps(said, sort_keys=True, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()[:32]


class FindQuestion(_Question):
    """A wanted three-cycle: the first goes to where the second is, and so on; or another effect."""

    cycle: Annotated[list[Name], Field(min_length=3, max_length=3)] | None = Field(
        default=None, description="three stickers or pieces", examples=[["UFR", "UBL", "DFL"]]
    )
    effect: Annotated[str, Field(min_length=1, max_length=LONGEST_EFFECT)] | None = Field(
        default=None,
        description="instead of `cycle`: cycles in brackets, as `trefoil try` prints them; one "
        "within a slot twists its piece",
        examples=["(UFR UFL)(UBR UBL)"],
    )
    any_twist: StrictBool = Field(
        default=False, description="what goes to another slot may arrive there twisted in any way"
    )
    apart: StrictBool = Field(
        default=False, description="pieces that look the same may not change places"
    )
    most: Annotated[StrictInt, Field(ge=1, le=MOST_SHOWN)] = Field(
        default=10, description="how many answers are shown"
    )
    left_handed: StrictBool = Field(default=False, description="rank for the left hand")
    weights: dict[Name, Weight] | None = Field(
        default=None, description="what matters how much, as `trefoil find --weights` takes it"
    )

    @model_validator(mode="after")
    def _names_one(self) -> Self:
        if (self.cycle is None) == (self.effect is None):
            raise ValueError("either cycle or effect was expected, and not both")
        return self


class AtlasQuestion(_Question):
    """The best sequence for every three-cycle of a piece type, all pieces told apart."""

    type: Name = Field(description="the piece type")
    alike: StrictBool = Field(
        default=False, description="pieces that look the same may change places"
    )


class PartsQuestion(BaseModel):
    """What a puzzle consists of, and which of its pieces move without the others."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    puzzle: Name

    @property
    def digest(self) -> str:
        """What names this question."""
        return hashlib.sha256(f"parts {self.puzzle}".encode()).hexdigest()[:32]


class MethodQuestion(BaseModel):
    """In which order a puzzle's types are put right, and with which few sequences."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    puzzle: Name

    @property
    def digest(self) -> str:
        """What names this question."""
        return hashlib.sha256(f"method {self.puzzle}".encode()).hexdigest()[:32]


Entry = Annotated[str, Field(min_length=1, max_length=20_000)]


class _Entry(BaseModel):
    """A state that is entered in one of several ways; the last are the colours of stickers."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    #: The fields of which one is given.
    ways: ClassVar[tuple[str, str, str, str]]

    @model_validator(mode="after")
    def _entered_once(self) -> Self:
        own = dict(self)
        if sum(own[way] is not None for way in self.ways) != 1:
            first, last = ", ".join(self.ways[:-1]), self.ways[-1]
            raise ValueError(f"one of {first} and {last} was expected")
        if own["colours"] is not None and own["stickers"] is None:
            raise ValueError("colours are for stickers, which were not given")
        return self


class FinishEntry(_Entry):
    """Where the last pieces are, in one of four ways; only unsolved ones are named."""

    ways = ("sequence", "cycles", "pieces", "stickers")

    sequence: Entry | None = Field(default=None, description="what led from solved to this state")
    cycles: Entry | None = Field(
        default=None,
        description="the piece of the first name is now at the second, and so on",
        examples=["(UFR UBL DFL)(UF UB UR)"],
    )
    pieces: Entry | None = Field(
        default=None, description="UFR=UBL: in the slot UFR sits the piece of UBL"
    )
    stickers: Entry | None = Field(
        default=None,
        description="UFR=RUF: in the slot UFR the sticker on U has the colour of R, F that of U, "
        "R that of F",
    )
    colours: Entry | None = Field(
        default=None, description="what the colours of the stickers are called: U=white F=green"
    )
    apart: StrictBool = Field(default=False, description="tell pieces apart that look the same")
    by: Literal["turns", "sequences", "memory"] = Field(
        default="turns", description="what there is to be least of"
    )


class FinishQuestion(FinishEntry):
    """How to put the last pieces of a puzzle right."""

    puzzle: Name

    @property
    def digest(self) -> str:
        """What names this question."""
        text = json.dumps(self.model_dump(exclude_defaults=True), sort_keys=True)
        return hashlib.sha256(f"finish {text}".encode()).hexdigest()[:32]


class SolveEntry(_Entry):
    """A whole puzzle that is not solved, in one of four ways; only unsolved pieces are named."""

    ways = ("scramble", "cycles", "pieces", "stickers")

    scramble: Entry | None = Field(default=None, description="what led from solved to this state")
    cycles: Entry | None = Field(
        default=None,
        description="the piece of the first name is now at the second, and so on",
        examples=["(UFR UBL DFL)(UF UB UR)"],
    )
    pieces: Entry | None = Field(
        default=None, description="UFR=UBL: in the slot UFR sits the piece of UBL"
    )
    stickers: Entry | None = Field(default=None, description="UFR=RUF: colours by slot")
    colours: Entry | None = Field(
        default=None, description="what the colours of the stickers are called: U=white F=green"
    )
    apart: StrictBool = Field(default=False, description="tell pieces apart that look the same")
    learned: Entry | None = Field(
        default=None,
        description="the only sequences that may be used, one a line, beside short free play; what "
        "follows # is left out",
        examples=["R U R' U R U2 R'\nR U' R U R U R U' R' U' R2  # edges"],
    )


class SolveQuestion(SolveEntry):
    """How to solve a whole puzzle."""

    puzzle: Name

    @property
    def digest(self) -> str:
        """What names this question."""
        text = json.dumps(self.model_dump(exclude_defaults=True), sort_keys=True)
        return hashlib.sha256(f"solve {text}".encode()).hexdigest()[:32]


class EffectQuestion(BaseModel):
    """What a sequence does; ``puzzle`` stands in the address."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    sequence: Annotated[str, Field(max_length=20_000, examples=["R U R' U'"])]


class ReadingQuestion(BaseModel):
    """How a sequence is made; ``puzzle`` stands in the address."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    sequence: Annotated[str, Field(max_length=20_000, examples=["R U R' U' L' U R U' R' L"])]


Question = (
    FindQuestion | AtlasQuestion | PartsQuestion | FinishQuestion | SolveQuestion | MethodQuestion
)
Kind = Literal[
    "find",
    "blocked",
    "effect",
    "atlas",
    "blocked-atlas",
    "parts",
    "finish",
    "solve",
    "method",
    "compile",
]
