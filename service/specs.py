"""What a job is about, as JSON in a store: the representative of a question, by numbers."""

from __future__ import annotations

import hashlib
import json
from typing import Literal

from pydantic import BaseModel, ConfigDict

Triple = tuple[int, int, int]


class _Spec(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    #: A name of the catalogue, or the digest under which a posted puzzle's file is kept.
    puzzle: str
    layers: tuple[int, ...] | None = None
    kept: tuple[int, ...] | None = None
    alike: bool = True
    turns: int | None = None
    half_length: int | None = None
    setup: int | None = None
    seconds: float | None = None

    def text(self) -> str:
        """Return it as JSON, the same for the same contents."""
        return json.dumps(self.model_dump(mode="json"), sort_keys=True, separators=(",", ":"))

    def key(self, puzzle_digest: str, version: str) -> str:
        """Return what names the job: all of it, the tables, and the sources of the search."""
        text = f"{type(self).__name__}|{puzzle_digest}|{version}|{self.text()}"
        return hashlib.sha256(text.encode()).hexdigest()[:32]


class FindSpec(_Spec):
    """Any of some three-cycles of placements, the one that was asked for first."""

    kind: Literal["find", "blocked"]
    triples: tuple[Triple, ...]
    any_twist: bool = False


class EffectSpec(_Spec):
    """An effect as cycles of placements: the representative of its images."""

    kind: Literal["effect"] = "effect"
    cycles: tuple[tuple[int, ...], ...]
    any_twist: bool = False


class AtlasSpec(_Spec):
    """All three-cycles of a piece type."""

    kind: Literal["atlas", "blocked-atlas"]
    type: int


class PartsSpec(BaseModel):
    """What a puzzle consists of."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    puzzle: str

    def text(self) -> str:
        """Return it as JSON."""
        return json.dumps({"puzzle": self.puzzle})

    def key(self, puzzle_digest: str, version: str) -> str:
        """Return what names the job: the tables, and the sources of what is said of them."""
        text = f"PartsSpec|{self.puzzle}|{puzzle_digest}|{version}"
        return hashlib.sha256(text.encode()).hexdigest()[:32]


class FinishSpec(BaseModel):
    """A state of a puzzle, by where each placement's piece is, and what its steps are to be."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    puzzle: str
    table: tuple[int, ...]
    apart: bool
    by: Literal["turns", "sequences", "memory"]

    def text(self) -> str:
        """Return it as JSON, the same for the same contents."""
        return json.dumps(self.model_dump(mode="json"), sort_keys=True, separators=(",", ":"))

    def key(self, puzzle_digest: str, version: str) -> str:
        """Return what names the job: the state, the tables, and the sources of the search."""
        text = f"FinishSpec|{puzzle_digest}|{version}|{self.text()}"
        return hashlib.sha256(text.encode()).hexdigest()[:32]


class SolveSpec(BaseModel):
    """A state of a puzzle that is to be solved, by where each placement's piece is.

    ``learned`` are the only sequences that may be used, as they were written, None for any.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    puzzle: str
    table: tuple[int, ...]
    apart: bool
    learned: tuple[str, ...] | None = None

    def text(self) -> str:
        """Return it as JSON, the same for the same contents."""
        return json.dumps(self.model_dump(mode="json"), sort_keys=True, separators=(",", ":"))

    def key(self, puzzle_digest: str, version: str) -> str:
        """Return what names the job: the state, the tables, and the sources of the search."""
        text = f"SolveSpec|{puzzle_digest}|{version}|{self.text()}"
        return hashlib.sha256(text.encode()).hexdigest()[:32]


class MethodSpec(BaseModel):
    """How a puzzle is put right."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    puzzle: str

    def text(self) -> str:
        """Return it as JSON."""
        return json.dumps({"puzzle": self.puzzle})

    def key(self, puzzle_digest: str, version: str) -> str:
        """Return what names the job: the tables, and the sources of what is said of them."""
        text = f"MethodSpec|{self.puzzle}|{puzzle_digest}|{version}"
        return hashlib.sha256(text.encode()).hexdigest()[:32]


class CompileSpec(BaseModel):
    """A puzzle file that somebody posted."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    file: str
