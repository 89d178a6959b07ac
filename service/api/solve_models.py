"""What the API says of a whole solve."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, Field

from service.api.finish_models import FinishRepair


class SolveStep(BaseModel):
    """One step: its turns, its reason, what it puts right, disturbs and keeps."""

    kind: Literal["free", "odd turn", "three-cycle", "product", "learned"]
    sequence: str
    notation: str
    turns: int
    cycle: list[str] = Field(description="what a three-cycle carries, empty for other steps")
    type: str | None = Field(description="the type of piece of a three-cycle")
    setup: str
    learned: str | None = Field(
        description="which learned sequence it is done with, and what was made of it"
    )
    puts_right: list[str]
    disturbs: list[str]
    kept: int = Field(description="how many slots that were right stay right")
    done: list[str] = Field(description="the types of which all are right afterwards")
    reason: str


class SolveReport(BaseModel):
    """The steps that solve a puzzle; none where no sequence does, with the smallest repair."""

    puzzle: str
    hold: str
    apart: bool
    state: str = Field(description="what was entered: slot=piece for each unsolved slot")
    solved: bool
    steps: list[SolveStep]
    turns: int = Field(description="those of all steps")
    executed: int = Field(description="those of all steps in a row, with what cancels left out")
    sequence: str
    different: int = Field(description="how many different sequences have to be known")
    before: str | None = Field(description="turns from solved to what looks like this state")
    reason: str | None
    repair: FinishRepair | None
    learned: list[str] = Field(
        description="the only sequences that could be used; none where any could be"
    )
    result: str | None = None
