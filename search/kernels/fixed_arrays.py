"""The plain arrays that describe a search in the fixed frame to the kernels."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray


class Frame(NamedTuple):
    """Plain arrays of one search in the fixed frame; turns are numbered from 0.

    moves (T, P). inverse, layer (T,). free (T, T): turns of different layers that commute, also
    in what they need to be possible. forth, back (B, places, T): see ``search.fastened``.
    rows (Q,): home placements of the slots that are joined on; row_of (P,): the row of a
    placement's slot, -1 for none; twist_of (P,); twists, kind (Q,).
    value (P, P): a random value for "what is here goes there", the same at all twists, 0 where it
    stays. cycle (kinds, Q + 1, twists): a random value for each kind and length of cycle.
    """

    moves: NDArray[np.int32]
    inverse: NDArray[np.int32]
    layer: NDArray[np.int32]
    free: NDArray[np.bool_]
    forth: NDArray[np.int32]
    back: NDArray[np.int32]
    rows: NDArray[np.int32]
    row_of: NDArray[np.int32]
    twist_of: NDArray[np.int32]
    twists: NDArray[np.int32]
    kind: NDArray[np.int32]
    value: NDArray[np.uint64]
    cycle: NDArray[np.uint64]


class Nodes(NamedTuple):
    """Where setups lead: places of bodies from solved and from the wanted state, and who moved.

    near, far (N, B). start, end (N, D): what is at ``start``, with twist 0, is at ``end`` in the
    other state.
    """

    near: NDArray[np.int32]
    far: NDArray[np.int32]
    start: NDArray[np.int32]
    end: NDArray[np.int32]
