"""What a search has found so far, as frozen bytes for a store and back."""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from search.coverage import LongStep
from search.kernels.arrays import LONGEST, NONE, Shelf

#: How many words are kept for an orbit of three-cycles, of the shortest and of the easiest each.
KEPT = 12
#: Added to the number of steps where not all of them are levels.
LONG_STEPS = 100
#: The longest word on a shelf, in turns.
LONGEST_WORD = LONGEST


@dataclass(frozen=True, eq=False)
class Shelves:
    """The best words of every orbit of three-cycles, after all rings up to a half-length.

    ``steps`` are the long steps that were done besides, in order. ``astray``: levels were done that
    a search without bounds would not have come to before other steps (``search.plan``). ``first``
    (orbits,) are the numbers of the orbits' representatives, ascending. ``turns`` and ``things``
    (orbits,) are the least executed turns and the fewest things to remember, with setups, NONE
    where nothing is known yet.
    """

    half_length: int
    first: NDArray[np.int64]
    shortest: Shelf
    easiest: Shelf
    turns: NDArray[np.int64]
    things: NDArray[np.int64]
    rings: int = 0
    steps: tuple[LongStep, ...] = ()
    astray: bool = False

    @property
    def number(self) -> int:
        """What names these shelves among those of one search: each has one predecessor.

        The half-length as long as there are only levels; else LONG_STEPS and all steps.
        """
        if not self.steps:
            return self.half_length
        return LONG_STEPS + self.half_length + len(self.steps)

    def to_bytes(self) -> bytes:
        """Return everything as one block of bytes, the same for the same contents."""
        stream = io.BytesIO()
        np.savez_compressed(
            stream,
            head=np.array([self.half_length, self.rings, int(self.astray)]),
            families=np.array([step.family for step in self.steps], dtype=np.str_),
            radii=np.array([[s.radius1, s.radius2] for s in self.steps], dtype=np.int64),
            first=self.first,
            turns=self.turns,
            things=self.things,
            **{f"shortest_{k}": v for k, v in self.shortest._asdict().items()},
            **{f"easiest_{k}": v for k, v in self.easiest._asdict().items()},
        )
        return stream.getvalue()

    @staticmethod
    def from_bytes(data: bytes) -> Shelves:
        """Return the shelves that ``to_bytes`` wrote."""
        with np.load(io.BytesIO(data), allow_pickle=False) as found:
            return Shelves(
                int(found["head"][0]),
                found["first"],
                Shelf(*(found[f"shortest_{k}"] for k in Shelf._fields)),
                Shelf(*(found[f"easiest_{k}"] for k in Shelf._fields)),
                found["turns"],
                found["things"],
                int(found["head"][1]),
                tuple(
                    LongStep(family, *radii)
                    for family, radii in zip(
                        found["families"].tolist(), found["radii"].tolist(), strict=True
                    )
                ),
                bool(found["head"][2]),
            )


def empty_shelf(orbits: int) -> Shelf:
    """Return a shelf without words."""
    return Shelf(
        np.full((orbits, KEPT), NONE, dtype=np.int16),
        np.full((orbits, KEPT), NONE, dtype=np.int16),
        np.zeros((orbits, KEPT), dtype=np.int16),
        np.zeros((orbits, KEPT, LONGEST_WORD), dtype=np.uint8),
    )
