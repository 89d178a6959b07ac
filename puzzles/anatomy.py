"""What a puzzle is made of, answered before any search: types, ties, likenesses, least effects."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from puzzles.group import GroupReport, group
from puzzles.kinship import (
    LayersLike,
    Likeness,
    TypeLike,
    layers_like,
    likenesses,
    types_like,
)
from puzzles.known import roams
from puzzles.laws import Law
from puzzles.layer_group import layer_group, layer_steps
from puzzles.layer_kinds import LayerKind, layer_kinds
from puzzles.least_effects import LeastOf, least_effects
from puzzles.puzzle import PieceType, Puzzle
from puzzles.reaching import Reached, reached


@dataclass(frozen=True)
class Arranged:
    """The arrangements that pieces of a type would have without any law: (n! t^n) to a power.

    ``pieces`` n share slots, ``twists`` t are told apart, ``times`` sets of them there are.
    """

    type: int
    pieces: int
    twists: int
    times: int

    @property
    def count(self) -> int:
        """The number itself."""
        one: int = math.factorial(self.pieces) * math.prod([self.twists] * self.pieces)
        return math.prod([one] * self.times)


@dataclass(frozen=True, eq=False)
class Anatomy:
    """A puzzle and what it is made of; types, layers and kinds of layer are numbers.

    ``group`` is that of the puzzle as if no turn were ever blocked; where some are, ``reached``
    counts the states there really are, else it is None.
    """

    puzzle: Puzzle
    group: GroupReport
    kinds: tuple[LayerKind, ...]
    arranged: tuple[Arranged, ...]
    alike: tuple[Likeness, ...]
    least: tuple[LeastOf, ...]
    types_like: tuple[TypeLike, ...]
    layers_like: tuple[LayersLike, ...]
    reached: Reached | None

    def layers_of(self, kind: PieceType) -> tuple[int, ...]:
        """Return by how many layers a piece of a type is moved; several where they differ."""
        homes = self.puzzle.home[list(kind.slots)]
        counts = (layer_steps(self.puzzle)[:, homes] != homes).sum(axis=0)
        return tuple(np.unique(counts).tolist())

    def pieces_in(self, layer: int) -> int:
        """Return how many pieces a layer carries or twists."""
        homes = self.puzzle.home
        return int((layer_steps(self.puzzle)[layer, homes] != homes).sum())

    @property
    def ties(self) -> tuple[Law, ...]:
        """The laws that tie a type to others."""
        return tuple(law for law in self.group.laws if len(law.types) > 1)

    @property
    def tied(self) -> frozenset[int]:
        """The types that some law ties to others."""
        return frozenset(number for law in self.ties for number in law.types)

    @property
    def independent(self) -> tuple[int, ...]:
        """The types that move and that no law ties to others."""
        return tuple(
            kind.number for kind in self.puzzle.types if kind.moves and kind.number not in self.tied
        )

    @property
    def likeness_classes(self) -> tuple[tuple[int, ...], ...]:
        """The sets of types that are moved alike, twists included or not."""
        label = {kind.number: kind.number for kind in self.puzzle.types}
        for own in self.alike:
            low, high = sorted(label[number] for number in own.types)
            label = {number: low if x == high else x for number, x in label.items()}
        classes: dict[int, list[int]] = {}
        for number, first in label.items():
            classes.setdefault(first, []).append(number)
        return tuple(tuple(own) for own in classes.values() if len(own) > 1)

    def roams(self, number: int) -> bool:
        """Return whether pieces of a type leave their slots."""
        return roams(self.puzzle, number)


@lru_cache(maxsize=32)
def anatomy(puzzle: Puzzle) -> Anatomy:
    """Return what a puzzle is made of."""
    kinds = layer_kinds(puzzle)
    return Anatomy(
        puzzle=puzzle,
        group=group(puzzle),
        kinds=kinds,
        arranged=tuple(_arranged(puzzle)),
        alike=likenesses(puzzle),
        least=least_effects(puzzle),
        types_like=types_like(puzzle),
        layers_like=layers_like(puzzle, kinds),
        reached=reached(puzzle) if puzzle.can_block else None,
    )


def _arranged(puzzle: Puzzle) -> Iterable[Arranged]:
    sizes: dict[tuple[int, int], int] = {}
    for part in layer_group(puzzle).parts:
        key = part.type, len(part.slots)
        sizes[key] = sizes.get(key, 0) + 1
    for (number, size), times in sizes.items():
        own = Arranged(number, size, puzzle.types[number].twists, times)
        if own.count > 1:
            yield own
