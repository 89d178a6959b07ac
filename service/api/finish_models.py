"""What the API says of the last pieces of a puzzle."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, Field


class FinishEntryReport(BaseModel):
    """How far a state is entered: what contradicts itself, what is still to be said."""

    puzzle: str
    hold: str
    complaint: str | None = Field(description="what contradicts itself, in one sentence")
    open: list[str] = Field(description="slots of which something is still to be said")
    missing: list[str] = Field(description="pieces that are nowhere yet, by their own slots")
    unsolved: list[str]
    pieces: str | None
    possible: bool | None = Field(
        description="whether some sequence solves it, once it is whole; null where only steps tell"
    )
    reason: str | None


class FinishStep(BaseModel):
    """One step: its turns, what it is for, which slots it solves and how many are left."""

    kind: Literal["free", "odd turn", "way home", "three-cycle", "product", "all at once"]
    notation: str
    sequence: str
    turns: int
    things: int
    cycle: list[str] = Field(description="what a three-cycle carries, empty for other steps")
    solves: list[str]
    unsolved: int
    text: str
    motions: list[str] = Field(default=[], description="what the hands do, held as said")


class FinishType(BaseModel):
    """How the unsolved pieces of a type were split; ``text`` says what is proven of it."""

    type: str
    slots: list[str]
    three_cycles: int
    turns: int
    executed: int
    sequences: int
    things: int
    proven: bool = Field(
        description="no product of at most four three-cycles on the slots, each done by the "
        "sequence that the table has for it, is better by what was asked for"
    )
    text: str


class FinishRepair(BaseModel):
    """What to do by hand: the slots whose pieces are taken out; ``least`` if none takes fewer."""

    pieces: list[str]
    steps: list[str]
    least: bool


class FinishReport(BaseModel):
    """The last pieces, as `trefoil finish --json` prints them."""

    puzzle: str
    hold: str
    apart: bool
    unsolved: list[str]
    pieces: str = Field(description="what was entered: slot=piece for each unsolved slot")
    cycles: list[str]
    by: Literal["turns", "sequences", "memory"]
    possible: bool
    reason: str | None = Field(default=None, description="why no sequence solves it")
    laws: list[str] = Field(default=[], description="what turns never change and the state breaks")
    repair: FinishRepair | None = Field(
        default=None, description="null, where turns can be blocked, if none is known"
    )
    steps: list[FinishStep]
    sequence: str | None = None
    turns: int | None = None
    before: str | None = Field(
        default=None, description="turns from solved to what looks like this state"
    )
    sequences: int | None = None
    further: bool = Field(
        default=False, description="given time, one sequence for all may be found that is better"
    )
    note: str | None = Field(
        default=None, description="how far one sequence for all was looked for, if it was"
    )
    types: list[FinishType] = []
    result: str | None = None
