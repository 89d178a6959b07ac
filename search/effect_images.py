"""A wanted effect's representative: the least of its images under symmetry and inversion.

Askers whose effects are images of each other share one search, whose words are carried to each
one's frame. Where what looks alike may change places, an image counts only if it carries all
effects that would do onto those that would do for the other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from puzzles.effects import Effect, cycles
from puzzles.puzzle import Puzzle, Symmetry, Table
from search.carrying import Carrying, keeping_looks
from search.conjugates import Pairs, carried, inverted, pairs_of
from search.wanted import EffectRequest


@dataclass(frozen=True, eq=False)
class RepresentedEffect:
    """A representative, which is a request as well, and the way from it to what it is an image of.

    ``numbers``: for each effect in ``request.looking_alike()`` the number of what it becomes among
    those of the asked request.
    """

    request: EffectRequest
    way: Carrying
    numbers: tuple[int, ...]


def of_effect(request: EffectRequest) -> RepresentedEffect:
    """Return the representative of a request; where turns can be blocked, it is the request."""
    if request.puzzle.can_block:
        return _itself(request)
    own = request.looking_alike()
    ways = _ways(request, undoing=len(own) == len(request.twisted()))
    images = [_row(request, way) for way in ways]
    least = replace(request, cycles=_cycles_of(request, min(images)))
    theirs = least.looking_alike()
    asked = {table.tobytes(): number for number, table in enumerate(own)}
    goal = _row(request, ways[0])
    for way in ways:
        if _row(least, way) != goal:
            continue
        numbers = [asked.get(table.tobytes()) for table in _images(least, theirs, way)]
        found = [number for number in numbers if number is not None]
        if sorted(found) == list(range(len(own))) and len(found) == len(theirs):
            return RepresentedEffect(least, way, tuple(found))
    return _itself(request)


def _itself(request: EffectRequest) -> RepresentedEffect:
    numbers = tuple(range(len(request.looking_alike())))
    return RepresentedEffect(request, Carrying(request.puzzle, None, False), numbers)


def _ways(request: EffectRequest, undoing: bool) -> list[Carrying]:
    """Return the ways to images, staying first; with ``undoing`` also backwards."""
    puzzle = request.puzzle
    like = request.alike and any(
        puzzle.alike[s] != s for k in request.kept_types for s in puzzle.types[k].slots
    )
    symmetries = _symmetries(puzzle, request.turning, request.kept_types, like)
    own = [Carrying(puzzle, None, False)]
    own += [Carrying(puzzle, symmetry, False) for symmetry in symmetries]
    return own + [replace(way, turned=True) for way in own] if undoing else own


@lru_cache(maxsize=64)
def _symmetries(
    puzzle: Puzzle, layers: tuple[int, ...], kept: tuple[int, ...], like: bool
) -> tuple[Symmetry, ...]:
    """Return those that carry layers and types to such; if ``like``, like pieces to like ones."""
    own = [
        symmetry
        for symmetry in puzzle.symmetries
        if {int(symmetry.layers[k]) for k in layers} == set(layers)
        and {_image(puzzle, symmetry, k) for k in kept} == set(kept)
    ]
    return tuple(own[k] for k in keeping_looks(puzzle, kept, own)) if like else tuple(own)


def _image(puzzle: Puzzle, symmetry: Symmetry, kind: int) -> int:
    there = symmetry.placements[puzzle.types[kind].first_placement]
    return int(puzzle.type_of[puzzle.slot_of[there]])


def _pairs(request: EffectRequest, tables: Sequence[Table], way: Carrying) -> Pairs:
    """Return the images of effects that move as many pieces as the asked one."""
    puzzle = request.puzzle
    count = sum(count for _, count in request.counts)
    pairs = pairs_of(puzzle, np.array(tables), np.arange(puzzle.slot_count), count)
    if way.symmetry is not None:
        pairs = carried(puzzle, pairs, way.symmetry.placements)
    return inverted(puzzle, pairs) if way.turned else pairs


def _row(request: EffectRequest, way: Carrying) -> tuple[tuple[int, int], ...]:
    """Return what tells the image of the asked effect from others: slots and placements, in order.

    Where any twist will do, a piece that goes to another slot arrives untwisted.
    """
    puzzle = request.puzzle
    pairs = _pairs(request, [request.effect], way)
    row = []
    for slot, place in zip(pairs.slots[0].tolist(), pairs.places[0].tolist(), strict=True):
        there = int(puzzle.slot_of[place])
        plain = request.any_twist and there != slot
        row.append((slot, int(puzzle.home[there]) if plain else place))
    return tuple(sorted(row))


def _table(puzzle: Puzzle, row: Sequence[tuple[int, int]]) -> Table:
    """Return the effect that carries the pieces of some slots to placements; (placements,)."""
    table = np.arange(puzzle.placement_count, dtype=np.int32)
    for slot, place in row:
        twists = puzzle.types[puzzle.type_of[slot]].twists
        first = int(puzzle.home[puzzle.slot_of[place]])
        turned = (place - first + np.arange(twists)) % twists
        table[puzzle.home[slot] + np.arange(twists)] = first + turned
    return table


def _cycles_of(
    request: EffectRequest, row: Sequence[tuple[int, int]]
) -> tuple[tuple[int, ...], ...]:
    puzzle = request.puzzle
    return cycles(puzzle, Effect(tuple(_table(puzzle, row).tolist())))


def _images(request: EffectRequest, tables: Sequence[Table], way: Carrying) -> list[Table]:
    """Return what effects become on a way; (placements,) each."""
    pairs = _pairs(request, tables, way)
    rows = zip(pairs.slots.tolist(), pairs.places.tolist(), strict=True)
    return [_table(request.puzzle, list(zip(slots, places, strict=True))) for slots, places in rows]
