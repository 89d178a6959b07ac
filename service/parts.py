"""What a puzzle consists of, and the sequences that are known for its pieces' smallest effects."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from puzzles.anatomy import Anatomy, anatomy
from puzzles.least_effects import Least
from puzzles.names import slot_names
from puzzles.puzzle import PieceType, Puzzle
from service.sequences import Checked, Wanted, stored
from service.stores import Levels


@dataclass(frozen=True, eq=False)
class Parts:
    """A puzzle, its anatomy, and for effects by type and kind the shortest sequence known."""

    puzzle: Puzzle
    anatomy: Anatomy
    sequences: Mapping[Wanted, Checked]

    def slots_of(self, kind: PieceType) -> tuple[str, ...]:
        """Return the names of a type's slots, in order."""
        return tuple(slot_names(self.puzzle)[slot] for slot in kind.slots)

    def sequence(self, effect: Least) -> Checked | None:
        """Return the sequence that is known for an effect, or one like it."""
        return None if effect.alike else self.sequences.get((effect.type, effect.kind))

    @property
    def missing(self) -> tuple[Least, ...]:
        """The effects that the group has and for which no sequence is known."""
        return tuple(
            effect
            for own in self.anatomy.least
            for effect in own.found
            if self.sequence(effect) is None
        )


def parts(puzzle: Puzzle, levels: Levels) -> Parts:
    """Return what a puzzle consists of, with the sequences that are shipped or in a store."""
    return Parts(puzzle, anatomy(puzzle), stored(puzzle, levels))
