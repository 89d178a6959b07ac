"""Results: the immutable outcome of a job in its representative's frame, as canonical JSON.

Nothing in the result of a search is a time, a name or anything else that a person wrote: turns,
placements, layers and types stand there by number, with the digest of the tables that number them.
Names, ranking and reasons are made on reading. A result is known by the digest of its bytes.
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Hashable, Iterable, Mapping
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Discriminator, TypeAdapter, ValidationError

from puzzles.errors import TrefoilError
from puzzles.puzzle import Puzzle, Word
from search import claims
from search.brackets import Form
from search.coverage import FAMILIES, LongStep
from search.encoding import Scope
from search.ranking import Read
from search.ranking import read as read_word
from search.representatives import words_of
from search.shelves import Shelves
from service import stored
from service.specs import (
    AtlasSpec,
    EffectSpec,
    FindSpec,
    FinishSpec,
    MethodSpec,
    PartsSpec,
    SolveSpec,
    Triple,
)
from service.stores.base import Store

#: Of what is written here; it goes up when the form of results changes.
FORMAT: Literal[1] = 1
#: The kind of thing that a result is in a store.
KIND = "result"


class OutdatedError(TrefoilError):
    """A result whose puzzle has changed since: its numbers name nothing any more."""


class BrokenResultError(RuntimeError):
    """Bytes that are no result, or one that does not do what it says."""


class Step(BaseModel):
    """A long step of a search (``search.coverage``)."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    family: str
    radius1: int
    radius2: int

    def step(self) -> LongStep:
        """Return it as the search has it; raises BrokenResultError for a family it has not."""
        if self.family not in FAMILIES:
            raise BrokenResultError(f"the stored result names a step {self.family!r}")
        return LongStep(self.family, self.radius1, self.radius2)


class Done(BaseModel):
    """One word, as turn numbers, the place of the three-cycle that it does, what it is read as.

    ``form`` are setup, A and B of S [A, B] S', ``things`` what must be remembered of it; words of
    one family have one number (``search.ranking.Read``).
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    cycle: int
    turns: Word
    form: tuple[Word, Word, Word] | None
    things: int
    family: int

    def read(self) -> Read:
        """Return what it is read as."""
        form = None if self.form is None else Form(*self.form, self.things)
        return Read(form, self.things, self.family)


class _Result(BaseModel):
    """What all results have: who or what ended the search early, and what else there is to say.

    ``tables`` is the digest of the puzzle, ``search`` that of the sources that did it.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    format: Literal[1] = FORMAT
    tables: str
    search: str
    stopped_by: Literal["person", "time"] | None
    note: str


class Coverage(BaseModel):
    """How far a search went: all rings up to a half-length, some long steps; what is proven."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    half_length: int
    steps: tuple[Step, ...]
    complete: int | None

    def long_steps(self) -> tuple[LongStep, ...]:
        """Return the long steps."""
        return tuple(one.step() for one in self.steps)


class FindResult(_Result):
    """Words for any of a representative's three-cycles."""

    kind: Literal["find"] = "find"
    spec: FindSpec
    coverage: Coverage
    words: tuple[Done, ...]


class AtlasResult(_Result):
    """All shelves of a search, in base64: words for every three-cycle of a type."""

    kind: Literal["atlas"] = "atlas"
    spec: AtlasSpec
    coverage: Coverage
    shelves: str

    def read_shelves(self) -> Shelves:
        """Return the shelves; raises BrokenResultError."""
        found = stored.read(base64.b64decode(self.shelves))
        if found is None:
            raise BrokenResultError("the shelves of the stored result cannot be read")
        return found


class EndsFound(BaseModel):
    """What a search from both ends says (``search.both_ends.Ends``)."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    turns: int | None
    none_up_to: int
    never: bool
    states: int


class BesideFound(BaseModel):
    """What the search that knows of no blocked turns has met (``search.unblocked.Met``).

    ``further``: some of the words come from there.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    calm: bool
    turns: int
    of: int
    half_length: int
    steps: tuple[Step, ...]
    further: bool


class BlockedResult(_Result):
    """Words on a puzzle on which turns can be blocked; ``cycle`` is the place of a wanted state."""

    kind: Literal["blocked"] = "blocked"
    spec: FindSpec
    level: int
    ends: EndsFound
    words: tuple[Done, ...]
    beside: BesideFound | None


class PatternFound(BaseModel):
    """One word of an atlas; in its bracket form ``{t}`` stands for the turn with number t."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    turns: tuple[int, ...]
    things: int
    text: str


class EntryFound(BaseModel):
    """A three-cycle of placements with its shortest and its easiest word."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    cycle: Triple
    shortest: PatternFound
    easiest: PatternFound


class BlockedAtlasResult(_Result):
    """An atlas of a puzzle on which turns can be blocked.

    ``impossible`` cycles cannot be done, ``never`` is the first of them. ``says``: how far the
    search went, in words.
    """

    kind: Literal["blocked-atlas"] = "blocked-atlas"
    spec: AtlasSpec
    level: int
    says: str
    impossible: int
    never: Triple | None
    entries: tuple[EntryFound, ...]


class EffectResult(_Result):
    """Words for an effect; ``cycle`` is the place of the effect among those that look like it.

    ``half_length``, ``complete``, ``none_up_to``: how far the search came
    (``search.effect_search.EffectProgress``).
    """

    kind: Literal["effect"] = "effect"
    spec: EffectSpec
    half_length: int | None
    complete: int | None
    none_up_to: int
    words: tuple[Done, ...]


class PartsResult(_Result):
    """What `trefoil parts --json` says of a puzzle, with its names: there is no frame to read."""

    kind: Literal["parts"] = "parts"
    spec: PartsSpec
    report: dict[str, Any]


class FinishResult(_Result):
    """What `trefoil finish --json` says of a state, with its names: there is no frame to read."""

    kind: Literal["finish"] = "finish"
    spec: FinishSpec
    report: dict[str, Any]


class SolveResult(_Result):
    """The steps that solve a state, with their names: there is no frame to read."""

    kind: Literal["solve"] = "solve"
    spec: SolveSpec
    report: dict[str, Any]


class MethodResult(_Result):
    """What `trefoil method --json` says of a puzzle, with its names: there is no frame to read."""

    kind: Literal["method"] = "method"
    spec: MethodSpec
    report: dict[str, Any]


Result = (
    FindResult
    | AtlasResult
    | BlockedResult
    | BlockedAtlasResult
    | EffectResult
    | PartsResult
    | FinishResult
    | SolveResult
    | MethodResult
)
_READER = TypeAdapter[Result](Annotated[Result, Discriminator("kind")])


def content(result: _Result) -> bytes:
    """Return a result as canonical JSON: the same bytes for the same result."""
    data = result.model_dump(mode="json")
    return json.dumps(data, sort_keys=True, separators=(",", ":"), ensure_ascii=True).encode()


def read(data: bytes) -> Result:
    """Return the result that bytes stand for; raises BrokenResultError."""
    try:
        return _READER.validate_json(data)
    except ValidationError:
        raise BrokenResultError("the stored result cannot be read; it should be removed") from None


def digest(data: bytes) -> str:
    """Return what names a result."""
    return hashlib.sha256(data).hexdigest()


def keep(store: Store, data: bytes) -> str:
    """Keep a result under its digest, and return that."""
    name = digest(data)
    store.things.put(KIND, name, data)
    return name


def forbid_outdated(tables: str, puzzle: Puzzle) -> None:
    """Raise OutdatedError if a puzzle is another than it was when a result was made."""
    if puzzle.digest != tables:
        raise OutdatedError(
            f"this result was made when {puzzle.name} was described otherwise, and its turns can "
            "no longer be named; search again"
        )


def find_result(
    spec: FindSpec,
    puzzle: Puzzle,
    scope: Scope,
    shelves: Shelves,
    stopped_by: str | None,
    note: str,
) -> bytes:
    """Return the result of a search for three-cycles from its shelves."""
    words = words_of(scope, shelves, spec.triples, spec.setup, spec.turns)
    result = FindResult(
        **head(puzzle, stopped_by, note),
        spec=spec,
        coverage=coverage(scope, shelves.half_length, shelves.steps),
        words=done(puzzle, words, spec.setup),
    )
    return content(result)


def atlas_result(
    spec: AtlasSpec,
    puzzle: Puzzle,
    scope: Scope,
    shelves: Shelves,
    stopped_by: str | None,
    note: str,
) -> bytes:
    """Return the result of a search for all three-cycles of a type from its shelves."""
    result = AtlasResult(
        **head(puzzle, stopped_by, note),
        spec=spec,
        coverage=coverage(scope, shelves.half_length, shelves.steps),
        shelves=base64.b64encode(shelves.to_bytes()).decode("ascii"),
    )
    return content(result)


def coverage(scope: Scope, half_length: int, steps: Iterable[LongStep]) -> Coverage:
    """Return how far a search went, to be kept."""
    return Coverage(
        half_length=half_length,
        steps=long_steps(steps),
        complete=claims.complete(scope, half_length),
    )


def long_steps(steps: Iterable[LongStep]) -> tuple[Step, ...]:
    """Return long steps, to be kept."""
    return tuple(Step(family=s.family, radius1=s.radius1, radius2=s.radius2) for s in steps)


def done(puzzle: Puzzle, words: Mapping[Word, int], setup: int | None) -> tuple[Done, ...]:
    """Return words and what each is for, to be kept: shortest first, read with so much setup."""
    result, families = [], dict[Hashable, int]()
    for word, number in sorted(words.items(), key=lambda item: (len(item[0]), item[0])):
        own = read_word(puzzle, word, setup)
        form = None if own.form is None else (own.form.setup, own.form.a, own.form.b)
        family = families.setdefault(own.family, len(families))
        result.append(Done(cycle=number, turns=word, form=form, things=own.things, family=family))
    return tuple(result)


def head(puzzle: Puzzle, stopped_by: str | None = None, note: str = "") -> dict[str, Any]:
    """Return the fields that all results have."""
    return {
        "tables": puzzle.digest,
        "search": stored.version(),
        "stopped_by": stopped_by,
        "note": note,
    }
