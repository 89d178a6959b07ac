"""Three-cycles by number, their orbits under symmetry and inversion, and setups between them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from search.kernels.arrays import Encoded, Triples
from search.kernels.jit import kernel


@kernel
def triple_number(
    slot_of: NDArray[np.int64],
    twist_of: NDArray[np.int64],
    slot_type: NDArray[np.int64],
    type_slot: NDArray[np.int64],
    type_placement: NDArray[np.int64],
    base: NDArray[np.int64],
    a: int,
    b: int,
    c: int,
) -> int:
    """Return the number of the cycle that carries a to b, b to c and c to a.

    The first arguments are arrays of Encoded: a tuple of all takes longer to hand over than this.
    """
    sa, sb, sc = slot_of[a], slot_of[b], slot_of[c]
    if sb < sa and sb < sc:
        a, b, c = b, c, a
    elif sc < sa and sc < sb:
        a, b, c = c, a, b
    kind = slot_type[slot_of[a]]
    slot = type_slot[kind]
    n = type_slot[kind + 1] - slot
    t = (type_placement[kind + 1] - type_placement[kind]) // n
    twist = twist_of[a]
    xb = (twist_of[b] - twist + t) % t
    xc = (twist_of[c] - twist + t) % t
    pair = (slot_of[a] - slot) * n + slot_of[b] - slot
    return int(base[kind] + ((pair * n + slot_of[c] - slot) * t + xb) * t + xc)


@kernel
def number_orbits(
    enc: Encoded,
    wanted: NDArray[np.int64],
    base: NDArray[np.int64],
    places: NDArray[np.int64],
    orbit: NDArray[np.int32],
    symmetry: NDArray[np.int16],
    turned: NDArray[np.bool_],
    first: NDArray[np.int64],
) -> int:
    """Fill the tables of Triples; return how many orbits there are. ``first`` is cut to fit."""
    slot_of, twist_of, slot_type = enc.slot_of, enc.twist_of, enc.slot_type
    type_slot, type_placement = enc.type_slot, enc.type_placement
    count = 0
    for w in range(len(wanted)):
        kind = wanted[w]
        slot, stop = enc.type_slot[kind], enc.type_slot[kind + 1]
        n = stop - slot
        t = (enc.type_placement[kind + 1] - enc.type_placement[kind]) // n
        for sa in range(slot, stop):
            for sb in range(sa + 1, stop):
                for sc in range(sa + 1, stop):
                    if sb == sc:
                        continue
                    for x in range(t * t):
                        a = enc.home[sa]
                        b = enc.home[sb] + x // t
                        c = enc.home[sc] + x % t
                        number = triple_number(
                            slot_of, twist_of, slot_type, type_slot, type_placement, base, a, b, c
                        )
                        if orbit[number] >= 0:
                            continue
                        if count < len(first):
                            first[count, 0], first[count, 1], first[count, 2] = a, b, c
                        for s in range(len(places)):
                            for sense in range(2):
                                p, q, r = places[s, a], places[s, b], places[s, c]
                                if sense == 1:
                                    p, r = r, p
                                image = triple_number(
                                    slot_of,
                                    twist_of,
                                    slot_type,
                                    type_slot,
                                    type_placement,
                                    base,
                                    p,
                                    q,
                                    r,
                                )
                                if orbit[image] < 0:
                                    orbit[image] = count
                                    symmetry[image] = s
                                    turned[image] = sense == 1
                        count += 1
    return count


@kernel
def settle(
    enc: Encoded,
    triples: Triples,
    best: NDArray[np.int64],
    weight: int,
) -> bool:
    """Lower ``best`` (orbits,) by one turn of setup, which costs ``weight``, orbit after orbit.

    A setup turn s brings the pieces of a triple to where s carries them. Returns whether something
    got lower, and doing so once more may lower more.
    """
    slot_of, twist_of, slot_type = enc.slot_of, enc.twist_of, enc.slot_type
    type_slot, type_placement = enc.type_slot, enc.type_placement
    base, moves = triples.base, enc.moves
    again = False
    for o in range(len(best)):
        a, b, c = triples.first[o, 0], triples.first[o, 1], triples.first[o, 2]
        for t in range(len(enc.turn_layer)):
            number = triple_number(
                slot_of,
                twist_of,
                slot_type,
                type_slot,
                type_placement,
                base,
                moves[t, a],
                moves[t, b],
                moves[t, c],
            )
            through = best[triples.orbit[number]] + weight
            if through < best[o]:
                best[o] = through
                again = True
    return again
