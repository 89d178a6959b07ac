"""Kernels of the search in the fixed frame: two walks at once, up to where one arc closes them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from search.kernels.fixed_arrays import Frame, Nodes
from search.kernels.jit import kernel


@kernel
def follows(
    layer: NDArray[np.int32],
    free: NDArray[np.bool_],
    word: NDArray[np.int64],
    first: int,
    length: int,
    turn: int,
) -> bool:
    """Return whether word[first:length] stays in normal form with one more turn at its end."""
    k = length - 1
    while k >= first:
        before = word[k]
        if layer[before] == layer[turn]:
            return False
        if not free[before, turn]:
            return True
        if before > turn:
            return False
        k -= 1
    return True


@kernel
def pattern(
    frame: Frame,
    left: NDArray[np.int32],
    right: NDArray[np.int32],
    image: NDArray[np.int32],
    turned: NDArray[np.int32],
    seen: NDArray[np.bool_],
) -> np.uint64:
    """Return a value for the lengths and twists of the cycles of a relation, alike for conjugates.

    ``image``, ``turned`` and ``seen`` (Q,) are room to work in.
    """
    rows = len(frame.rows)
    for r in range(rows):
        here = frame.row_of[right[r]]
        image[here] = frame.row_of[left[r]]
        turned[here] = frame.twist_of[left[r]] - frame.twist_of[right[r]]
        seen[here] = False
    total = np.uint64(0)
    for r in range(rows):
        if seen[r]:
            continue
        length, twist, at = 0, 0, r
        while not seen[at]:
            seen[at] = True
            twist += turned[at]
            length += 1
            at = image[at]
        twist %= frame.twists[r]
        if length > 1 or twist != 0:
            total += frame.cycle[frame.kind[r], length, twist]
    return total


@kernel
def closings(
    frame: Frame,
    nodes: Nodes,
    size: int,
    state: NDArray[np.int64],
    word: NDArray[np.int64],
    near: NDArray[np.int32],
    far: NDArray[np.int32],
    left: NDArray[np.int32],
    right: NDArray[np.int32],
    plain: NDArray[np.int32],
    out: NDArray[np.int32],
    letters: NDArray[np.uint8],
    budget: int,
) -> int:
    """Write all P = V' U of a size, V walked from the wanted state and U from solved, that may do.

    P may do where the relation after U and V has the cycles of P, as all its conjugates have.
    ``state`` is (node, turns of V, depth) and carries over from call to call, as do ``word``
    (size,), near, far (size + 1, B) and left, right, plain (size + 1, Q). Written are (node, turns
    of V) and the turns, V's before U's. Returns how many; ``state[0]`` is the number of nodes when
    all is done.
    """
    turns, bodies, rows = len(frame.layer), frame.forth.shape[0], len(frame.rows)
    image = np.empty(rows, dtype=np.int32)
    turned = np.empty(rows, dtype=np.int32)
    seen = np.empty(rows, dtype=np.bool_)
    node, split, depth = state[0], state[1], state[2]
    count, steps = 0, 0
    while node < len(nodes.near):
        if depth < 0:
            # A new node or another share of V: begin from the node.
            for b in range(bodies):
                near[0, b] = nodes.near[node, b]
                far[0, b] = nodes.far[node, b]
            for r in range(rows):
                left[0, r] = frame.rows[r]
                right[0, r] = frame.rows[r]
                plain[0, r] = frame.rows[r]
            for d in range(nodes.start.shape[1]):
                row = frame.row_of[nodes.start[node, d]]
                if row >= 0:
                    right[0, row] = nodes.end[node, d]
            depth = 0
            word[0] = -1
        while depth >= 0 and count < len(out) and steps < budget:
            steps += 1
            word[depth] += 1
            turn = word[depth]
            if turn >= turns:
                depth -= 1
                continue
            if not follows(
                frame.layer, frame.free, word, split if depth >= split else 0, depth, turn
            ):
                continue
            possible = True
            for b in range(bodies):
                if depth < split:
                    far[depth + 1, b] = frame.back[b, far[depth, b], turn]
                    near[depth + 1, b] = near[depth, b]
                    possible = possible and far[depth + 1, b] >= 0
                else:
                    near[depth + 1, b] = frame.forth[b, near[depth, b], turn]
                    far[depth + 1, b] = far[depth, b]
                    possible = possible and near[depth + 1, b] >= 0
                if not possible:
                    break
            if not possible:
                continue
            if depth + 1 == size:
                # Only at these rows the relation differs from P, so as many as P leaves in their
                # place must stay here: a quick look that rules out most.
                here, there = 0, 0
                for d in range(nodes.start.shape[1]):
                    r = frame.row_of[nodes.start[node, d]]
                    if r < 0:
                        continue
                    a, b, c = left[depth, r], right[depth, r], plain[depth, r]
                    if depth < split:
                        b, c = frame.moves[turn, b], frame.moves[turn, c]
                    else:
                        a = frame.moves[turn, a]
                    here += a == b
                    there += a == c
                if here != there:
                    continue
            for r in range(rows):
                if depth < split:
                    left[depth + 1, r] = left[depth, r]
                    right[depth + 1, r] = frame.moves[turn, right[depth, r]]
                    plain[depth + 1, r] = frame.moves[turn, plain[depth, r]]
                else:
                    left[depth + 1, r] = frame.moves[turn, left[depth, r]]
                    right[depth + 1, r] = right[depth, r]
                    plain[depth + 1, r] = plain[depth, r]
            if depth + 1 < size:
                depth += 1
                word[depth] = -1
                continue
            own = pattern(frame, left[size], right[size], image, turned, seen)
            if own == pattern(frame, left[size], plain[size], image, turned, seen):
                out[count, 0] = node
                out[count, 1] = split
                for k in range(size):
                    letters[count, k] = word[k]
                count += 1
        if depth >= 0:
            break
        split += 1
        if split > size:
            split = 0
            node += 1
    state[0], state[1], state[2] = node, split, depth
    return count
