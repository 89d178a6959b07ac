"""What the API says of the methods of a puzzle."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, Field


class MethodLayers(BaseModel):
    """A layer, and the one that stands for it."""

    layer: str
    other: str


class MethodSame(BaseModel):
    """An earlier sequence that one is the same as, in other layers."""

    type: str
    notation: str
    layers: list[MethodLayers] = Field(description="empty where it is only turned or mirrored")
    text: str


class MethodAlike(BaseModel):
    """Two types that move alike under other layers."""

    types: list[str]
    layers: list[MethodLayers]
    text: str


class MethodSequence(BaseModel):
    """A sequence to remember: the three-cycle that it does, and which later types it disturbs."""

    type: str
    sequence: str
    notation: str
    turns: int
    things: int = Field(description="turns to remember, undoing and repeating left aside")
    cycle: str
    disturbs: list[str]
    same_as: MethodSame | None = Field(
        default=None, description="then there is nothing more to remember"
    )
    setup: str = Field(
        default="",
        description="turns from the solved state to where it can be done, part of the sequence and "
        "nothing to remember; empty where no turn is in its way",
    )
    also: list[str] = Field(
        default=[], description="what else moves where turns can be blocked, as in the text"
    )


class MethodCost(BaseModel):
    """What the three-cycles of a type take with setups around a step's sequences, in turns."""

    type: str
    count: int
    mean: float
    most: int


class MethodMend(BaseModel):
    """An odd rearrangement of a type, or a sum of its twists, and what mends it early and late."""

    type: str
    kind: Literal["swap", "twist"] = Field(description="a rearrangement, or a sum of twists")
    shows: bool = Field(description="whether it can be wrong although the earlier types are right")
    layers: list[str] = Field(description="layers of which single turns change it")
    cycles: str = Field(description="two pieces that the sequence swaps, or one that it twists")
    sequence: str = Field(description="empty where none was found")
    notation: str
    instead: int = Field(description="turns without a sequence for it; 0 where that is not known")
    text: str


class MethodTwists(BaseModel):
    """A sequence that twists two pieces and saves turns; one may do without it."""

    type: str
    sequence: str
    notation: str
    turns: int
    things: int
    cycles: str
    with_it: float = Field(description="turns that two twisted pieces take with it, on average")
    without: float = Field(description="turns by the sequences of the method, on average")
    pairs: int = Field(description="pairs of twisted pieces that both were measured on")
    text: str


class MethodWays(BaseModel):
    """How many short words put one more piece right, and the fewest turns that any of them has."""

    right: int
    ways: float
    turns: float


class MethodTried(BaseModel):
    """What a step took in the median of the scrambles that were solved, in pieces and turns."""

    pieces: int
    right_before: float
    right_by_free_play: float
    free_turns: float
    odd_turns: float
    three_cycles: float
    three_cycle_turns: float
    looked_up_turns: float
    ways: list[MethodWays]


class MethodNearer(BaseModel):
    """From shapes at which so many blocks stand right, the fewest turns until one more does."""

    right: int
    shapes: int
    mean: float
    most: int


class MethodWay(BaseModel):
    """What is off, and turns that put it right."""

    wrong: list[str]
    sequence: str
    turns: int


class MethodHome(BaseModel):
    """The way back to the shape at which all blocks fill what they fill when all is solved."""

    name: str = Field(description="what gets in the way of turns")
    shapes: int
    bodies: int
    mean: float = Field(description="turns of a shortest way home")
    most: int
    sums_mean: float = Field(description="with parities and sums of twists put right on the way")
    sums_most: int
    nearer: list[MethodNearer]
    rule_mean: float = Field(description="turns home by putting one more right after another")
    rule_most: int
    rule: list[str] = Field(description="short walks of which one puts one more right, often")
    share: float = Field(description="of the shapes at which one of them does so")
    listed: list[MethodWay] = Field(description="every shape with a way home, if there are few")
    values: int = Field(description="values that parities and sums of twists have at home")
    sums: list[MethodWay] = Field(description="loops that put them right, the first few")


class MethodStepReport(BaseModel):
    """What puts types right while those of earlier steps stay."""

    kind: Literal["in place", "looked up", "three-cycles", "follows", "home shape", "products"]
    types: list[str]
    keeps: list[str]
    text: str
    sequences: list[MethodSequence]
    three_cycles: list[MethodCost]
    mends: list[MethodMend]
    twists: list[MethodTwists] = Field(default=[])
    left: str | None = Field(description="arrangements that are left after it, as digits")
    tried: MethodTried | None
    home: MethodHome | None = Field(default=None, description="only where turns can be blocked")


class MethodTurns(BaseModel):
    """Executed turns of whole solves."""

    median: float
    least: int
    most: int


class MethodOfPuzzle(BaseModel):
    """An order of types with its sequences, and how solving with nothing else went."""

    sequences: int
    things: int
    any_order: bool = Field(description="every sequence keeps all else")
    scrambles: int
    turns: MethodTurns
    odd: int = Field(description="scrambles that took an odd turn early")
    free_turns: int = Field(description="the most turns of a word of free play")
    steps: list[MethodStepReport]


class JoiningStep(BaseModel):
    """What is put right, or joined wherever it is, before the known puzzle."""

    kind: Literal["in place", "looked up", "three-cycles", "joining"]
    types: list[str]
    keeps: list[str]
    text: str
    sequences: list[MethodSequence]
    three_cycles: list[MethodCost]


class JoinedPiece(BaseModel):
    """What a piece of the known puzzle is made of here: types, each with how many pieces."""

    type: str
    pieces: dict[str, int]


class JoinedShows(BaseModel):
    """What the joined puzzle can show and the known one cannot."""

    type: str
    what: Literal["swap", "turn"]
    text: str


class JoiningMethod(BaseModel):
    """A method that joins pieces and ends in a known puzzle."""

    puzzle: str
    layers: list[str]
    made_of: list[JoinedPiece]
    sequences: int
    things: int
    scrambles: int
    turns: MethodTurns
    known_sequences: int | None = Field(
        default=None,
        description="sequences that the known puzzle's own method with the least to remember takes "
        "besides; null where it has none",
    )
    known_things: int | None = Field(default=None, description="turns to remember in these")
    before: float = Field(description="turns until all is joined, in the median")
    steps: list[JoiningStep]
    shows: list[JoinedShows]
    showed: int = Field(description="scrambles in which such a thing showed")
    text: str


class MethodReport(BaseModel):
    """The methods of a puzzle, as `trefoil method --json` prints them; least to remember first."""

    puzzle: str
    arrangements: str | None = Field(description="of all pieces told apart, as digits")
    look_alike: list[str] = Field(description="types of which parity does not always show")
    move_alike: list[MethodAlike] = Field(default=[])
    methods: list[MethodOfPuzzle]
    joined: list[JoiningMethod]
    reason: str = Field(description="why there is no method; empty where there is one")
    result: str | None = Field(default=None, description="the digest of the result")
