"""Every word is applied once more before it is shown: does it do its cycle?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from puzzles.names import placement_name
from puzzles.notation import write
from puzzles.puzzle import Table, Word
from search.encoding import Scope
from search.impossible import wanted_effect

#: Words that are checked together, so that memory stays small.
CHUNK = 2048


def check(scope: Scope, triples: Sequence[Sequence[int]], words: Sequence[Word]) -> None:
    """Raise RuntimeError unless each word does its three-cycle of placements and nothing else.

    Kept pieces count: those of the other types may end up anywhere.
    """
    puzzle, wanted = scope.puzzle, dict[tuple[int, ...], Table]()
    # One turn more, which moves nothing, fills the shorter words up.
    still = np.arange(puzzle.placement_count)
    moves = np.concatenate([puzzle.moves, still[None, :]])
    for k in range(0, len(words), CHUNK):
        own = [tuple(triple) for triple in triples[k : k + CHUNK]]
        part = words[k : k + CHUNK]
        longest = max(len(word) for word in part)
        filled = np.array([word + (len(moves) - 1,) * (longest - len(word)) for word in part])
        ends = np.tile(scope.placements, (len(part), 1))
        for column in filled.T:
            ends = moves[column[:, None], ends]
        for triple in own:
            if triple not in wanted:
                wanted[triple] = wanted_effect(puzzle, triple)[scope.placements]
        wrong = (ends != np.array([wanted[triple] for triple in own])).any(axis=1)
        if wrong.any():
            at = int(wrong.argmax())
            cycle = " ".join(placement_name(puzzle, p) for p in own[at])
            raise RuntimeError(
                f"{write(puzzle, part[at])} does not do the cycle {cycle}; the stored searches "
                "are broken and should be removed"
            )
