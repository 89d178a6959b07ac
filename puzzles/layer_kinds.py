"""Kinds of layer: layers that symmetries carry to each other, or that are cut and turn alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from puzzles.bodies import SAME
from puzzles.laws import joined
from puzzles.layer_group import layer_steps
from puzzles.puzzle import Puzzle

#: The most layers that a kind without a word of its own is named by.
NAMED = 6


@dataclass(frozen=True)
class LayerKind:
    """Layers of one kind by their numbers, and words for them: "faces", or "layers M, E and S"."""

    layers: tuple[int, ...]
    words: str


def layer_kinds(puzzle: Puzzle) -> tuple[LayerKind, ...]:
    """Return the kinds of layer of a puzzle, in the order of their first layers."""
    label = list(range(len(puzzle.layers)))

    def join(one: int, other: int) -> None:
        low, high = sorted((label[one], label[other]))
        label[:] = [low if x == high else x for x in label]

    for symmetry in puzzle.symmetries:
        for layer, image in enumerate(symmetry.layers.tolist()):
            join(layer, image)
    seen: dict[object, int] = {}
    for number in range(len(puzzle.layers)):
        join(number, seen.setdefault(_cut(puzzle, number), number))
    members = [
        tuple(k for k, own in enumerate(label) if own == first) for first in sorted(set(label))
    ]
    words = [_words(puzzle, own) for own in members]
    return tuple(
        LayerKind(own, word if word and words.count(word) == 1 else layers_in_words(puzzle, own))
        for own, word in zip(members, words, strict=True)
    )


def _cut(puzzle: Puzzle, number: int) -> object:
    """Return what layers of a kind share: where they are cut, and how many of what they turn."""
    layer = puzzle.layers[number]
    row = layer_steps(puzzle)[number]
    lengths = []
    for kind in puzzle.types:
        own = row[list(kind.placements)]
        lengths.append(int((own != np.array(kind.placements)).sum()))
    if puzzle.shape == "written":
        # There is no geometry: the cycles decide.
        return (layer.steps, tuple(lengths))
    return (layer.steps, round(layer.low, 6), round(layer.high, 6), tuple(lengths))


def _words(puzzle: Puzzle, layers: Sequence[int]) -> str:
    """Return "faces", "corners" or "edges" for all outermost layers of such axes, else nothing."""
    if puzzle.shape == "written" or any(np.isfinite(puzzle.layers[k].high) for k in layers):
        return ""
    axes = np.array([puzzle.layers[k].axis for k in layers])
    for kind in ("faces", "corners", "edges"):
        every = np.array([direction for _, direction in puzzle.body.axes(kind)])
        lies = np.abs(axes[:, None] - every).max(axis=2) < SAME * 1000
        if len(axes) == len(every) and lies.any(axis=1).all():
            return kind
    return ""


def layers_in_words(puzzle: Puzzle, layers: Sequence[int]) -> str:
    """Return "layers U, F and R" or "layer U"; of many, the first and how many more."""
    names = [puzzle.layers[k].name for k in layers]
    if len(names) > NAMED:
        names = [*names[: NAMED - 2], f"{len(names) - NAMED + 2} more"]
    return f"{'layer' if len(layers) == 1 else 'layers'} {joined(names)}"


def in_words(kinds: Sequence[LayerKind]) -> str:
    """Return several kinds in one phrase: "the faces and the layers M, E and S"."""
    return joined([f"the {kind.words}" for kind in kinds])
