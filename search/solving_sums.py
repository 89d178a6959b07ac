"""What three-cycles cannot change: parities and sums of twists, and the turns that put them right.

Every commutator leaves the parity of each part's rearrangement and the sum of its twists as they
are (``puzzles.laws.Sums``). Solving by three-cycles therefore needs them to be right first; where
pieces look alike, parity does not matter, since two of them may be taken for each other.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from puzzles.errors import LimitError
from puzzles.laws import Part
from puzzles.layer_group import layer_group
from puzzles.puzzle import Word
from search.solving_looks import Contents, Looks

#: The most values that the sums together may take.
MOST_VALUES = 2_000_000

Numbers = NDArray[np.int64]


@dataclass(frozen=True)
class Entry:
    """One thing that turns add up: the parity of a part, or the sum of its twists."""

    part: Part
    what: str
    modulus: int


class Balance:
    """The sums that must be right before three-cycles can finish a puzzle."""

    def __init__(self, looks: Looks) -> None:
        self.looks, self.puzzle = looks, looks.puzzle
        self.entries: tuple[Entry, ...] = tuple(self._entries())
        self.moduli: Numbers = np.array([e.modulus for e in self.entries], dtype=np.int64)
        effects = [Contents.of(looks, move) for move in self.puzzle.moves]
        #: What each turn adds; shape (turns, entries).
        self.turns: Numbers = np.array([self.of(c) for c in effects], dtype=np.int64).reshape(
            len(effects), len(self.entries)
        )

    def _entries(self) -> list[Entry]:
        result = []
        for part in layer_group(self.puzzle).parts:
            if not self.looks.matters[part.type]:
                continue
            slots = list(part.slots)
            if not part.single and len(set(self.looks.kind[slots].tolist())) == len(slots):
                result.append(Entry(part, "parity", 2))
            shown = int(self.looks.shown[slots[0]])
            if shown > 1:
                result.append(Entry(part, "twist", shown))
        return result

    def of(self, contents: Contents) -> Numbers:
        """Return the sums of some contents; shape (entries,)."""
        result = []
        for entry in self.entries:
            slots = list(entry.part.slots)
            if entry.what == "twist":
                result.append(int(contents.twist[slots].sum()) % entry.modulus)
            else:
                result.append(
                    _parity(dict(zip(slots, contents.piece[slots].tolist(), strict=True)))
                )
        return np.array(result, dtype=np.int64)

    def without(self, types: tuple[int, ...]) -> NDArray[np.bool_]:
        """Return which entries are about none of some types; shape (entries,)."""
        return np.array([e.part.type not in types for e in self.entries], dtype=np.bool_)

    @cached_property
    def _radix(self) -> Numbers:
        moduli = [int(m) for m in self.moduli]
        result, product = [], 1
        for m in moduli:
            result.append(product)
            product *= m
        return np.array(result, dtype=np.int64)

    @cached_property
    def _ways(self) -> dict[int, int]:
        """For every value of the sums that turns reach, the last turn of a shortest way there."""
        start = np.zeros(len(self.entries), dtype=np.int64)
        ways = {0: -1}
        queue = deque([start])
        while queue:
            here = queue.popleft()
            beyond = (here + self.turns) % self.moduli
            for turn, code in enumerate((beyond @ self._radix).tolist()):
                if code not in ways:
                    ways[code] = turn
                    queue.append(beyond[turn])
                    if len(ways) > MOST_VALUES:
                        raise LimitError("there are too many sums of twists to keep apart")
        return ways

    def word_for(self, sums: Numbers) -> Word | None:
        """Return a shortest word that makes sums zero, None for sums that no turns give."""
        left = (-sums) % self.moduli
        result: list[int] = []
        while left.any():
            turn = self._ways.get(int(left @ self._radix))
            if turn is None:
                return None
            result.append(turn)
            left = (left - self.turns[turn]) % self.moduli
        return tuple(result)


def _parity(images: dict[int, int]) -> int:
    seen: set[int] = set()
    odd = 0
    for slot in images:
        length = 0
        while slot not in seen and slot in images:
            seen.add(slot)
            slot = images[slot]
            length += 1
        odd += max(length - 1, 0)
    return odd % 2
