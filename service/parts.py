"""What a puzzle consists of, counted for people: types, slots, layers, positions."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from puzzles.group import GroupReport, group
from puzzles.names import slot_names
from puzzles.puzzle import PieceType, Puzzle


@dataclass(frozen=True, eq=False)
class Parts:
    """A puzzle and what is known about its positions."""

    puzzle: Puzzle
    group: GroupReport

    def layers_of(self, kind: PieceType) -> tuple[int, ...]:
        """Return by how many layers a piece of a type is carried; several where they differ."""
        counts = np.zeros(kind.count, dtype=np.int64)
        puzzle = self.puzzle
        homes = puzzle.home[list(kind.slots)]
        for layer in range(len(puzzle.layers)):
            own = puzzle.moves[puzzle.turn_layer == layer]
            counts += (own[:, homes] != homes).any(axis=0)
        return tuple(np.unique(counts).tolist())

    def slots_of(self, kind: PieceType) -> tuple[str, ...]:
        """Return the names of a type's slots, in order."""
        return tuple(slot_names(self.puzzle)[slot] for slot in kind.slots)

    def pieces_in(self, layer: int) -> int:
        """Return how many pieces a layer carries or twists."""
        own = self.puzzle.moves[self.puzzle.turn_layer == layer]
        homes = self.puzzle.home
        return int((own[:, homes] != homes).any(axis=0).sum())


def parts(puzzle: Puzzle) -> Parts:
    """Return what a puzzle consists of."""
    return Parts(puzzle, group(puzzle))
