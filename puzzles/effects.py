"""What a sequence does: where every placement goes, as cycles, and how often it must be done."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from puzzles.names import placement_name
from puzzles.puzzle import Puzzle

Cycle = tuple[int, ...]


@dataclass(frozen=True)
class Effect:
    """Where each placement goes: what is at placement p goes to ``table[p]``."""

    table: tuple[int, ...]

    def then(self, other: Effect) -> Effect:
        """Return what this does followed by the other."""
        return Effect(tuple(other.table[p] for p in self.table))

    def inverse(self) -> Effect:
        """Return what undoes this."""
        result = [0] * len(self.table)
        for start, end in enumerate(self.table):
            result[end] = start
        return Effect(tuple(result))

    @property
    def is_identity(self) -> bool:
        """Whether nothing moves."""
        return all(start == end for start, end in enumerate(self.table))


def effect_of(puzzle: Puzzle, word: Iterable[int]) -> Effect:
    """Return what a word does, done left to right."""
    return Effect(tuple(puzzle.effect(word).tolist()))


def effect_of_cycles(puzzle: Puzzle, cycles: Iterable[Cycle]) -> Effect:
    """Return the effect that carries each placement of a cycle to the place of the next.

    The other twists of each piece go along. Cycles of different slots, or one cycle that comes
    back to its first slot with a twist, as ``cycles`` gives them.
    """
    table = list(range(puzzle.placement_count))
    for cycle in cycles:
        for start, end in zip(cycle, cycle[1:] + cycle[:1], strict=True):
            twists = _twists(puzzle, start)
            here, there = (int(puzzle.home[puzzle.slot_of[p]]) for p in (start, end))
            for x in range(twists):
                table[here + (start - here + x) % twists] = there + (end - there + x) % twists
    return Effect(tuple(table))


def _twists(puzzle: Puzzle, placement: int) -> int:
    return puzzle.types[int(puzzle.type_of[puzzle.slot_of[placement]])].twists


def cycles(puzzle: Puzzle, effect: Effect) -> tuple[Cycle, ...]:
    """Return one cycle of placements for every cycle of pieces.

    What is at the first placement of a cycle goes to the place of the second. A cycle begins at
    its first piece with twist 0: three corners that change places give three placements, one
    corner twisted by a third gives the three placements of its slot, two corners that change
    places and come back twisted give six.
    """
    result = []
    seen: set[int] = set()
    for slot in range(puzzle.slot_count):
        start = int(puzzle.home[slot])
        if slot in seen or effect.table[start] == start:
            continue
        cycle = [start]
        while effect.table[cycle[-1]] != start:
            cycle.append(effect.table[cycle[-1]])
        seen.update(int(puzzle.slot_of[p]) for p in cycle)
        result.append(tuple(cycle))
    return tuple(result)


def cycle_text(puzzle: Puzzle, cycle: Cycle) -> str:
    """Return a cycle by the names of its placements, such as ``(UFL RBU BLU)``."""
    return "(" + " ".join(placement_name(puzzle, p) for p in cycle) + ")"


def order(effect: Effect) -> int:
    """Return how many times the effect must be done until nothing has moved, 1 for no effect."""
    result = 1
    seen = np.zeros(len(effect.table), dtype=np.bool_)
    for start in range(len(effect.table)):
        length, place = 0, start
        while not seen[place]:
            seen[place] = True
            place = effect.table[place]
            length += 1
        result = math.lcm(result, max(length, 1))
    return result


def pieces_moved(puzzle: Puzzle, effect: Effect) -> int:
    """Return how many pieces end up in another slot, or twisted in their own."""
    return sum(effect.table[home] != home for home in puzzle.home.tolist())
