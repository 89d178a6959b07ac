"""Words and what they are read as, carried from one frame to another by a symmetry, and undone."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from puzzles.puzzle import Puzzle, Symmetry, Word
from search.brackets import Form
from search.ranking import Read
from search.traces import alphabet


@dataclass(frozen=True, eq=False)
class Carrying:
    """The way by ``symmetry``, None for staying; words are undone as well if ``turned``."""

    puzzle: Puzzle
    symmetry: Symmetry | None
    turned: bool

    def carried(self, word: Iterable[int]) -> Word:
        """Return what a word becomes, in normal form."""
        letters, turns = alphabet(self.puzzle), self._turns
        own = letters.undone(word) if self.turned else word
        return letters.normal([turns[turn] for turn in own])

    def read(self, known: Read) -> Read:
        """Return what such a word is read as, turn by turn what the first one is."""
        form, turns = known.form, self._turns
        if form is None:
            return known
        setup, a, b = (
            tuple([turns[turn] for turn in part]) for part in (form.setup, form.a, form.b)
        )
        # What [A, B] does is undone by [B, A].
        first, second = (b, a) if self.turned else (a, b)
        return replace(known, form=Form(setup, first, second, form.things))

    @cached_property
    def _turns(self) -> list[int]:
        if self.symmetry is None:
            return list(range(len(self.puzzle.turns)))
        turns: list[int] = self.symmetry.turns.tolist()
        return turns


def keeping_looks(
    puzzle: Puzzle, kept: Iterable[int], symmetries: Sequence[Symmetry]
) -> tuple[int, ...]:
    """Return the places of the symmetries that carry like pieces of some types to like pieces."""
    slots = [s for k in kept for s in puzzle.types[k].slots]
    looks = puzzle.alike[slots]
    found = []
    for number, symmetry in enumerate(symmetries):
        there = puzzle.alike[puzzle.slot_of[symmetry.placements[puzzle.home[slots]]]]
        pairs = {*zip(looks.tolist(), there.tolist(), strict=True)}
        if len(pairs) == len({a for a, _ in pairs}) == len({b for _, b in pairs}):
            found.append(number)
    return tuple(found)
