"""One sequence for two types that move alike: the same turns, written in other layers.

Where layers can be renamed so that what they do to one type is what their images do to another
(``puzzles.kinship``), a sequence for the one gives a sequence for the other: on the 4x4x4 the outer
layers do to the centres what the inner ones do to the edges. Who remembers the one has the other.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from puzzles.kinship import Likeness, likenesses
from puzzles.puzzle import Puzzle, Word
from puzzles.words import normal

#: For each turn the turn that stands for it, -1 for none.
Renaming = tuple[int, ...]


@dataclass(frozen=True)
class SameAs:
    """A word for a type that is one of an earlier ``type`` in other layers.

    ``layers`` are pairs by number: for each layer of that ``word`` the one that stands for it.
    """

    type: int
    word: Word
    layers: tuple[tuple[int, int], ...]


@dataclass(frozen=True, eq=False)
class Sharing:
    """Which types of a puzzle move alike under other layers, and which words are then the same."""

    puzzle: Puzzle
    _keys: dict[Word, Word] = field(default_factory=dict, repr=False)

    @cached_property
    def alike(self) -> tuple[Likeness, ...]:
        """The pairs of types that move alike, those that the same turns move in step left out."""
        return tuple(own for own in likenesses(self.puzzle) if not own.same_turns)

    @cached_property
    def renamings(self) -> dict[tuple[int, int], Renaming]:
        """For a type and another the turns that do to the second what turns do to the first."""
        result = {}
        for own in self.alike:
            there = self._renaming(own.layers)
            back = [-1] * len(there)
            for turn, image in enumerate(there):
                if image >= 0:
                    back[image] = turn
            result[own.types], result[own.types[::-1]] = there, tuple(back)
        return result

    def _renaming(self, layers: Iterable[tuple[int, int, int]]) -> Renaming:
        puzzle = self.puzzle
        steps = np.bincount(puzzle.turn_layer, minlength=len(puzzle.layers)) + 1
        number = {(int(puzzle.turn_layer[t]), own.amount): t for t, own in enumerate(puzzle.turns)}
        result = [-1] * len(puzzle.turns)
        for one, other, unit in layers:
            for amount in range(1, int(steps[one])):
                image = other, amount * unit % int(steps[other])
                result[number[one, amount]] = number.get(image, -1)
        return tuple(result)

    def renamed(self, word: Word, one: int, other: int) -> Word | None:
        """Return what a word for a type is for another, None where it is no word of that."""
        if one == other:
            return word
        renaming = self.renamings.get((one, other))
        if renaming is None:
            return None
        result = tuple(renaming[t] for t in word)
        return None if -1 in result else result

    def key(self, word: Word) -> Word:
        """Return a word that stands for all images of a word under symmetry, and their inverses."""
        if word not in self._keys:
            puzzle = self.puzzle
            images = [symmetry.turns for symmetry in puzzle.symmetries]
            every = [tuple(int(image[t]) for t in word) for image in images] or [word]
            every += [puzzle.inverse(one) for one in every]
            self._keys[word] = min(normal(puzzle, one) for one in every)
        return self._keys[word]

    def same(
        self, number: int, word: Word, earlier: Iterable[tuple[int, Word]]
    ) -> tuple[int, Word, Word] | None:
        """Return of earlier words for types one that is a word for a type in other layers.

        With it the word that it is literally, after its layers are renamed; None where none is.
        """
        own = self.key(word)
        for other, known in earlier:
            if other == number:
                continue
            for renamed in (self.renamed(known, other, number), known):
                if renamed is not None and self.key(renamed) == own:
                    return other, known, renamed
        return None

    def layers(self, known: Word, renamed: Word) -> tuple[tuple[int, int], ...]:
        """Return which layer of a word stands for which after renaming, each once."""
        puzzle = self.puzzle
        rows = zip(puzzle.turn_layer[list(known)], puzzle.turn_layer[list(renamed)], strict=True)
        return tuple(dict.fromkeys((int(one), int(other)) for one, other in rows))
