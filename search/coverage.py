"""What a search has covered: rings up to a half-length, and short words A with long arms."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Family:
    """Short words A of one shape: a name for stores, the name in sentences, how many turns.

    X, Y and Z are single turns.
    """

    name: str
    text: str
    length: int


TURNS = Family("turns", "a single turn", 1)
PAIRS = Family("pairs", "two turns", 2)
COMMUTATORS = Family("commutators", "[X, Y]", 4)
CONJUGATED = Family("conjugated", "[X, Y Z Y']", 8)
NESTED = Family("nested", "[X, [Y, Z]]", 10)
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
        """What is joined, for somebody who waits for it."""
        arms = f"arms of {self.radius1} and {self.radius2} turns"
        return f"conjugates of {FAMILIES[self.family].text}, {arms}"


def covered(half_length: int, steps: Iterable[LongStep], apart: str = "") -> str:
    """Return in words which rings a search has met, to go after "searched".

    Of each family the longest arms are named: a search makes them longer turn by turn, and what
    shorter ones give is met before, or is among the rings up to the half-length. ``apart`` is said
    of all rings.
    """
    longest: dict[str, LongStep] = {}
    for step in steps:
        if step.half_length > half_length:
            known = longest.setdefault(step.family, step)
            if known.half_length < step.half_length:
                longest[step.family] = step
    text = f"all rings up to half-length {half_length}{apart}"
    said = [
        f"of {family.text} ({longest[name].radius1} and {longest[name].radius2})"
        for name, family in FAMILIES.items()
        if name in longest
    ]
    if said:
        text += f", and rings of two conjugates, with arms of so many turns, {', '.join(said)}"
    return text
