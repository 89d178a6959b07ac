"""Which of several like pieces belongs to which body, in a state that was entered by its looks.

A state that was painted says of pieces that look alike only where some of them are. Where they are
fastened to others, only one way to tell them apart leaves the bodies whole.
"""

from __future__ import annotations

import numpy as np

from puzzles.puzzle import Puzzle, Table
from search.fastened import bodies


def settled(puzzle: Puzzle, effect: Table) -> Table:
    """Return an effect (placements,) that looks the same, with like pieces where bodies need them.

    Only pieces that the tables do not twist are taken for each other. Bodies that cannot be made
    whole, and those of which no piece is told apart from all others, stay as they are.
    """
    found = bodies(puzzle, tuple(range(len(puzzle.turns))))
    at = effect[puzzle.home].copy()
    holder = np.empty(puzzle.placement_count, dtype=np.int64)
    holder[at] = np.arange(puzzle.slot_count)
    twists = np.array([puzzle.types[int(t)].twists for t in puzzle.type_of])
    many = np.bincount(puzzle.alike, minlength=puzzle.slot_count)[puzzle.alike] > 1
    plain = many & (twists == 1)
    for members, places in zip(found.members, found.places, strict=True):
        own = np.array(members)
        told = ~plain[own]
        if not told.any():
            continue
        for place in places[(places[:, told] == at[own[told]]).all(axis=1)]:
            there = holder[place]
            if (puzzle.alike[there] == puzzle.alike[own]).all():
                for piece, placement in zip(own.tolist(), place.tolist(), strict=True):
                    other = int(holder[placement])
                    at[[piece, other]] = at[[other, piece]]
                    holder[at[[piece, other]]] = [piece, other]
                break
    if np.array_equal(at, effect[puzzle.home]):
        return effect
    result = effect.copy()
    result[puzzle.home[plain]] = at[plain]
    return result
