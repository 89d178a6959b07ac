"""Plain enumeration of rings X Y Z X' Y' Z', compiled: what the join is measured against.

All words X, Y and Z with |X| + |Y| + |Z| = h (X may be empty) in the normal form of turns that
commute, none of which begins with a turn of the layer with which the one before it ends. There is
no table of effects and no symmetry; the effect is composed turn by turn on the way down.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from puzzles.puzzle import Puzzle, Word
from search.kernels.jit import kernel

Places = NDArray[np.uint8]
Numbers = NDArray[np.int64]

#: Rings that one enumeration has room for; more are counted and not kept.
ROOM = 2_000_000


@kernel
def _enumerate(
    moves: Places,
    inverse: Numbers,
    layer: Numbers,
    commutes: NDArray[np.bool_],
    homes: Places,
    x: int,
    y: int,
    z: int,
    early: bool,
    out: Places,
    found: int,
) -> tuple[int, int]:
    """Enumerate |X| = x, |Y| = y, |Z| = z; write rings that move three pieces to ``out``.

    ``early``: each piece is sent through the whole ring by itself, and a fourth that moves ends it;
    otherwise all pieces are moved by turn after turn. Returns rings looked at, and ``found``
    increased by those that move three pieces.
    """
    h = x + y + z
    turns, places, pieces = len(layer), moves.shape[1], len(homes)
    word = np.zeros(h + 1, np.int64)
    ahead = np.zeros((h + 1, pieces), np.uint8)
    undo = np.zeros((h + 1, places), np.uint8)
    back_x = np.zeros(places, np.uint8)
    back = np.zeros(places, np.uint8)
    state = np.zeros(pieces, np.uint8)
    for s in range(pieces):
        ahead[0, s] = homes[s]
    for p in range(places):
        undo[0, p] = p
        back_x[p] = p
    looked = 0
    depth = 0
    word[0] = -1
    while depth >= 0:
        word[depth] += 1
        t = word[depth]
        if t == turns:
            depth -= 1
            continue
        begin = 0
        if depth >= x:
            begin = x
        if depth >= x + y:
            begin = x + y
        fits = depth == 0 or layer[word[depth - 1]] != layer[t]
        for k in range(depth - 1, begin - 1, -1):
            if layer[word[k]] == layer[t]:
                fits = False
                break
            if not commutes[layer[word[k]], layer[t]]:
                break
            if word[k] > t:
                fits = False
                break
        if not fits:
            continue
        u = inverse[t]
        if depth < h - 1:
            for s in range(pieces):
                ahead[depth + 1, s] = moves[t, ahead[depth, s]]
            for p in range(places):
                before = moves[u, p]
                undo[depth + 1, p] = before if depth == begin else undo[depth, before]
            depth += 1
            if depth == x:
                for p in range(places):
                    back_x[p] = undo[depth, p]
            if depth == x + y:
                for p in range(places):
                    back[p] = undo[depth, back_x[p]]
            if depth == x or depth == x + y:
                for p in range(places):
                    undo[depth, p] = p
            word[depth] = -1
            continue
        looked += 1
        moved = 0
        if early:
            for s in range(pieces):
                p = moves[u, back[moves[t, ahead[depth, s]]]]
                if undo[depth, p] != homes[s]:
                    moved += 1
                    if moved > 3:
                        break
        else:
            for s in range(pieces):
                state[s] = moves[t, ahead[depth, s]]
            for part in range(3):
                first = 0 if part == 0 else (x if part == 1 else x + y)
                last = x if part == 0 else (x + y if part == 1 else h)
                for k in range(last - 1, first - 1, -1):
                    v = inverse[word[k]]
                    for s in range(pieces):
                        state[s] = moves[v, state[s]]
            for s in range(pieces):
                if state[s] != homes[s]:
                    moved += 1
        if moved != 3:
            continue
        if found < len(out):
            for k in range(h):
                out[found, k] = word[k]
            out[found, h], out[found, h + 1] = x, y
        found += 1
    return looked, found


def enumerate_rings(puzzle: Puzzle, half_length: int, early: bool) -> tuple[int, Places]:
    """Return how many rings of a half-length were looked at, and those that move three pieces.

    A row holds the turns of X, Y and Z, then |X| and |Y|.
    """
    homes = [puzzle.home[s] for t in puzzle.types if t.moves for s in t.slots]
    looked, found = 0, 0
    out = np.zeros((ROOM, half_length + 2), np.uint8)
    for x in range(half_length - 1):
        for y in range(1, half_length - x):
            count, found = _enumerate(
                puzzle.moves.astype(np.uint8),
                puzzle.inverses.astype(np.int64),
                puzzle.turn_layer.astype(np.int64),
                puzzle.commutes,
                np.array(homes, np.uint8),
                x,
                y,
                half_length - x - y,
                early,
                out,
                found,
            )
            looked += count
    if found > len(out):
        raise ValueError(f"{found} rings found, there is room for {len(out)}")
    return looked, out[:found]


def ring(puzzle: Puzzle, row: list[int]) -> Word:
    """Return the word X Y Z X' Y' Z' of a row."""
    *turns, x, y = row
    arcs = turns[:x], turns[x : x + y], turns[x + y :]
    ahead = tuple(t for arc in arcs for t in arc)
    return ahead + tuple(t for arc in arcs for t in puzzle.inverse(arc))
