"""What a search has covered: rings up to a half-length, and short words A with long arms."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Family:
    """Short words A of one shape: a name for stores, the name in sentences, how many turns."""

    name: str
    text: str
    length: int


TURNS = Family("turns", "single turns", 1)
PAIRS = Family("pairs", "pairs of turns", 2)
COMMUTATORS = Family("commutators", "commutators of two turns", 4)
CONJUGATED = Family("conjugated", "commutators of a turn and a conjugated turn, [X, Y Z Y']", 8)
NESTED = Family("nested", "nested commutators of turns, [X, [Y, Z]]", 10)
FAMILIES = {f.name: f for f in (TURNS, PAIRS, COMMUTATORS, CONJUGATED, NESTED)}


@dataclass(frozen=True)
class LongStep:
    """All conjugates of a family's words by arms of ``radius1`` turns, met with ``radius2``."""

    family: str
    radius1: int
    radius2: int

    @property
    def half_length(self) -> int:
        """The half-length of its rings."""
        return FAMILIES[self.family].length + self.radius1 + self.radius2

    @property
    def text(self) -> str:
        return f"{FAMILIES[self.family].text} with arms of {self.radius1} and {self.radius2} turns"


def covered(half_length: int, steps: Iterable[LongStep]) -> str:
    """Return in words which rings a search has met, to go after "searched".

    Of each family the longest arms are named: a search makes them longer turn by turn, and what
    shorter ones give is met before, or is among the rings up to the half-length.
    """
    longest: dict[str, LongStep] = {}
    for step in steps:
        if step.half_length > half_length:
            known = longest.setdefault(step.family, step)
            if known.half_length < step.half_length:
                longest[step.family] = step
    parts = [f"all rings up to half-length {half_length}"]
    parts += [f"conjugates of {step.text}" for step in longest.values()]
    return "; ".join(parts)
