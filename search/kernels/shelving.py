"""From rings to the best sequences for every three-cycle, on orbits of triples of placements.

A ring can be started anywhere, also inside a turn: moving the turns P from its front to its end
carries the three placements of its cycle by P. A start between turns costs the ring's own length;
a start inside the turns of k layers costs k turns more, and is what a setup makes that merges with
the ring's ends. Every triple stands for its orbit under symmetry and inversion.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from search.kernels.arrays import LONGEST, NONE, Encoded, Shelf, Triples
from search.kernels.jit import kernel
from search.kernels.nesting import things
from search.kernels.records import LONGEST_PART, reduce_ring, ring_word
from search.kernels.triples import triple_number
from search.kernels.words import (
    MOST_CUTS,
    list_cuts,
    normalise,
)

#: Of how many turns at once a start may lie inside; the claims hold for no more parallel layers.
MOST_INSIDE = 6
#: A call of ``gather`` ends after the record with which it has looked at so many starts, some
#: 20 ms; looking at a record costs as much as RECORD_STARTS, and cutting its ring RING_STARTS.
MOST_STARTS = 400_000
RECORD_STARTS = 4
RING_STARTS = 20


@kernel
def put(
    shelf: Shelf, orbit: int, fresh: NDArray[np.int64], length: int, cost: int, other: int
) -> bool:
    """Put a word, as the orbit's first triple has it, on a shelf, if it is better than the last.

    Of equal ones those that came first stand first, and each word stands there once. A shelf is
    then the first few, by cost, other and when they came, of all different words that were put,
    however they were put together (``search.shards``).
    """
    room = shelf.cost.shape[1]
    last = room - 1
    if (cost, other) >= (int(shelf.cost[orbit, last]), int(shelf.other[orbit, last])):
        return False
    place = 0
    for k in range(room):
        kept = (int(shelf.cost[orbit, k]), int(shelf.other[orbit, k]))
        if kept > (cost, other):
            break
        place = k + 1
        if kept == (cost, other) and shelf.length[orbit, k] == length:
            same = True
            for m in range(length):
                if shelf.words[orbit, k, m] != fresh[m]:
                    same = False
                    break
            if same:
                return False
    # Whole rows, so that nothing is left behind a word and equal shelves are equal bytes.
    row = shelf.words.shape[2]
    for k in range(last, place, -1):
        shelf.cost[orbit, k] = shelf.cost[orbit, k - 1]
        shelf.other[orbit, k] = shelf.other[orbit, k - 1]
        shelf.length[orbit, k] = shelf.length[orbit, k - 1]
        for m in range(row):
            shelf.words[orbit, k, m] = shelf.words[orbit, k - 1, m]
    shelf.cost[orbit, place] = cost
    shelf.other[orbit, place] = other
    shelf.length[orbit, place] = length
    for m in range(row):
        shelf.words[orbit, place, m] = fresh[m] if m < length else 0
    return True


@kernel
def put_all(
    shelf: Shelf,
    orbits: NDArray[np.int64],
    costs: NDArray[np.int16],
    others: NDArray[np.int16],
    lengths: NDArray[np.int16],
    words: NDArray[np.uint8],
) -> None:
    """Put words (n, LONGEST) on a shelf, in order, each on that of its orbit."""
    fresh = np.zeros(LONGEST, dtype=np.int64)
    for n in range(len(orbits)):
        length = int(lengths[n])
        for m in range(length):
            fresh[m] = words[n, m]
        put(shelf, orbits[n], fresh, length, int(costs[n]), int(others[n]))


@kernel
def shelve(
    enc: Encoded,
    triples: Triples,
    shelf: Shelf,
    word: NDArray[np.int64],
    length: int,
    number: int,
    cost: int,
    other: int,
    fresh: NDArray[np.int64],
) -> bool:
    """Put a word that makes the triple with a number on the shelf of its orbit, if it is better."""
    orbit = triples.orbit[number]
    room = shelf.cost.shape[1]
    last = room - 1
    if (cost, other) >= (int(shelf.cost[orbit, last]), int(shelf.other[orbit, last])):
        return False
    s = triples.symmetry[number]
    # The symmetry carries the orbit's first triple to this one, so its inverse is wanted here:
    # the table holds, for each symmetry, the number of its inverse first.
    for k in range(length):
        if triples.turned[number]:
            fresh[k] = enc.symmetry_back[s, enc.inverse[word[length - 1 - k]]]
        else:
            fresh[k] = enc.symmetry_back[s, word[k]]
    normalise(fresh, length, enc.turn_layer, enc.passes)
    return put(shelf, orbit, fresh, length, cost, other)


@kernel
def _partly(first_turn: NDArray[np.int64], layer: int, turn: int, choice: int) -> int:
    """Return the turn of a layer by one of the amounts other than a turn's own, numbered from 1."""
    first = first_turn[layer]
    amount = choice if choice < turn - first + 1 else choice + 1
    return int(first + amount - 1)


@kernel
def _shelve_starts(
    enc: Encoded,
    triples: Triples,
    shelf: Shelf,
    limit: NDArray[np.int64],
    most: int,
    cuts: NDArray[np.int64],
    places: NDArray[np.int64],
    count: int,
    length: int,
    able: NDArray[np.int64],
    choice: NDArray[np.int64],
    word: NDArray[np.int64],
    fresh: NDArray[np.int64],
) -> int:
    """Shelve a ring from all its cuts, and from all starts inside the turns that can stand first.

    Returns how many starts were looked at.
    ``cuts`` and ``places`` (count, ..) are the linear words and the triples that they do. A choice
    for each turn that can stand first, counted in mixed radix: not moved, or moved in part by one
    of the amounts other than its own. No orbit has a limit above ``most``.
    """
    turn_layer, first_turn, moves, passes = enc.turn_layer, enc.first_turn, enc.moves, enc.passes
    slot_of, twist_of, slot_type = enc.slot_of, enc.twist_of, enc.slot_type
    type_slot, type_placement = enc.type_slot, enc.type_placement
    base, orbit = triples.base, triples.orbit
    looked = 0
    for cut in range(count):
        ables = 0
        free = ~np.uint64(0)
        for k in range(length):
            layer = turn_layer[cuts[cut, k]]
            if (free >> np.uint64(layer)) & np.uint64(1) and ables < MOST_INSIDE:
                able[ables] = k
                choice[ables] = 0
                ables += 1
            free &= passes[layer]
        while True:
            a, b, c = places[cut, 0], places[cut, 1], places[cut, 2]
            n = length
            looked += 1
            for k in range(ables):
                if choice[k] > 0:
                    turn = cuts[cut, able[k]]
                    part = _partly(first_turn, turn_layer[turn], turn, choice[k])
                    n += 1
                    a, b, c = moves[part, a], moves[part, b], moves[part, c]
            if n <= most:
                number = triple_number(
                    slot_of, twist_of, slot_type, type_slot, type_placement, base, a, b, c
                )
                if n <= limit[orbit[number]]:
                    n = length
                    for i in range(length):
                        word[i] = cuts[cut, i]
                    for k in range(ables):
                        if choice[k] > 0:
                            turn = cuts[cut, able[k]]
                            layer = turn_layer[turn]
                            part = _partly(first_turn, layer, turn, choice[k])
                            steps = first_turn[layer + 1] - first_turn[layer] + 1
                            rest = (turn - part + steps) % steps
                            word[able[k]] = first_turn[layer] + rest - 1
                            word[n] = part
                            n += 1
                    shelve(enc, triples, shelf, word, n, number, n, 0, fresh)
            if length == most:
                break
            k = 0
            while k < ables:
                layer = turn_layer[cuts[cut, able[k]]]
                choice[k] += 1
                if choice[k] < first_turn[layer + 1] - first_turn[layer]:
                    break
                choice[k] = 0
                k += 1
            if k == ables:
                break
    return looked


@kernel
def _arcs(
    record: NDArray[np.uint8],
    turn_layer: NDArray[np.int64],
    passes: NDArray[np.uint64],
    rotated: NDArray[np.int64],
) -> int:
    """Return how many turns of C1, moved from the front to the end, make C2; -1 for none."""
    length = int(np.int64(record[1]))
    for k in range(length):
        for m in range(length):
            rotated[m] = record[4 + (m + k) % length]
        normalise(rotated, length, turn_layer, passes)
        same = True
        for m in range(length):
            if rotated[m] != record[4 + LONGEST_PART + m]:
                same = False
                break
        if same:
            return k
    return -1


@kernel
def _shelve_forms(
    enc: Encoded,
    triples: Triples,
    shelf: Shelf,
    limit: NDArray[np.int64],
    most: int,
    word: NDArray[np.int64],
    length: int,
    x: int,
    y: int,
    triple: NDArray[np.int64],
    best: NDArray[np.int64],
    part: NDArray[np.int64],
    fresh: NDArray[np.int64],
) -> None:
    """Shelve the six starts between the arcs of a ring X Y Z X' Y' Z' by what must be remembered.

    From the front of arcs P, Q, R it is [P Q, R P'], or the commutator of two where one is empty.
    """
    slot_of, twist_of, slot_type = enc.slot_of, enc.twist_of, enc.slot_type
    type_slot, type_placement, base = enc.type_slot, enc.type_placement, triples.base
    half = length // 2
    arcs = np.array([x, y, half - x - y, x, y, half - x - y])
    begin = 0
    a, b, c = triple[0], triple[1], triple[2]
    for start in range(6):
        p, q, r = arcs[start], arcs[start + 1 if start < 5 else 0], arcs[(start + 2) % 6]
        if start > 0:
            previous = arcs[start - 1]
            for k in range(begin - previous, begin):
                turn = word[k]
                a, b, c = enc.moves[turn, a], enc.moves[turn, b], enc.moves[turn, c]
        if p > 0:
            empty = q == 0 or r == 0
            size = p if empty else p + q
            for k in range(size):
                part[k] = word[(begin + k) % length]
            count = things(part, size, enc.inverse, best)
            rest = half - size if empty else r
            for k in range(rest):
                part[k] = word[(begin + size + k) % length]
            if not empty:
                for k in range(p):
                    part[rest + k] = word[(begin + half + k) % length]
                rest += p
            if count < most:
                count += things(part, rest, enc.inverse, best)
            else:
                count = NONE
            number = triple_number(
                slot_of, twist_of, slot_type, type_slot, type_placement, base, a, b, c
            )
            if count <= limit[triples.orbit[number]]:
                for k in range(length):
                    part[k] = word[(begin + k) % length]
                shelve(enc, triples, shelf, part, length, number, count, length, fresh)
        begin += p


@kernel
def gather(
    enc: Encoded,
    triples: Triples,
    shortest: Shelf,
    easiest: Shelf,
    short_limit: NDArray[np.int64],
    easy_limit: NDArray[np.int64],
    records: NDArray[np.uint8],
    begin: int,
    end: int,
) -> tuple[int, int]:
    """Put the rings of records begin to end on both shelves, until MOST_STARTS are looked at.

    Returns the next record, and how many rings were of use. The limits (orbits,) are the most turns
    and the most things that are of use for an orbit; a ring that is of use for none is passed over.
    """
    types = len(enc.type_slot) - 1
    most_turns_of = np.zeros(types, dtype=np.int64)
    most_things_of = np.zeros(types, dtype=np.int64)
    for k in range(len(short_limit)):
        own = enc.slot_type[enc.slot_of[triples.first[k, 0]]]
        most_turns_of[own] = max(most_turns_of[own], short_limit[k])
        most_things_of[own] = max(most_things_of[own], easy_limit[k])
    # A type that symmetries carry to another one has no orbits of its own but that one's.
    for kind in np.unique(enc.wanted):
        n = enc.type_slot[kind + 1] - enc.type_slot[kind]
        t = (enc.type_placement[kind + 1] - enc.type_placement[kind]) // n
        if n >= 3:
            # The triple of the type's first three slots.
            some = triples.orbit[triples.base[kind] + (n + 2) * t * t]
            main = enc.slot_type[enc.slot_of[triples.first[some, 0]]]
            most_turns_of[kind] = most_turns_of[main]
            most_things_of[kind] = most_things_of[main]
    cuts = np.zeros((MOST_CUTS, LONGEST), dtype=np.int64)
    origin = np.zeros((MOST_CUTS, 2), dtype=np.int64)
    places = np.zeros((MOST_CUTS, 3), dtype=np.int64)
    word = np.zeros(LONGEST, dtype=np.int64)
    line = np.zeros(LONGEST, dtype=np.int64)
    fresh = np.zeros(LONGEST, dtype=np.int64)
    able = np.zeros(LONGEST, dtype=np.int64)
    triple = np.zeros(3, dtype=np.int64)
    choice = np.zeros(LONGEST, dtype=np.int64)
    best = np.zeros((LONGEST + 1, LONGEST + 1), dtype=np.int64)
    one = np.uint64(1)
    rings = 0
    starts = 0
    for number in range(begin, end):
        if starts >= MOST_STARTS:
            return number, rings
        starts += RECORD_STARTS
        record = records[number]
        kind = int(np.int64(record[0]))
        most_turns, most_things = most_turns_of[kind], most_things_of[kind]
        length = ring_word(enc, record, word)
        full = length
        length = reduce_ring(enc, word, length)
        if length == 0:
            continue
        different = 0
        layers = np.uint64(0)
        for k in range(length):
            bit = one << np.uint64(enc.turn_layer[word[k]])
            if not layers & bit:
                layers |= bit
                different += 1
        if length > most_turns and different > most_things:
            continue
        rings += 1
        starts += RING_STARTS
        for s in range(enc.type_slot[kind], enc.type_slot[kind + 1]):
            p = enc.home[s]
            for k in range(length):
                p = enc.moves[word[k], p]
            if p != enc.home[s]:
                triple[0], triple[1] = enc.home[s], p
                break
        p = triple[1]
        for k in range(length):
            p = enc.moves[word[k], p]
        triple[2] = p
        x = _arcs(record, enc.turn_layer, enc.passes, fresh)
        if x >= 0 and length == full and different <= most_things:
            y = int(np.int64(record[1])) - x
            _shelve_forms(
                enc,
                triples,
                easiest,
                easy_limit,
                most_things,
                word,
                length,
                x,
                y,
                triple,
                best,
                line,
                fresh,
            )
        if length > most_turns:
            continue
        for k in range(length):
            line[k] = word[k]
        normalise(line, length, enc.turn_layer, enc.passes)
        found = list_cuts(line, length, enc.turn_layer, enc.passes, cuts, origin)
        for c in range(found):
            for k in range(3):
                if c == 0:
                    places[c, k] = triple[k]
                else:
                    places[c, k] = enc.moves[origin[c, 1], places[origin[c, 0], k]]
        starts += _shelve_starts(
            enc,
            triples,
            shortest,
            short_limit,
            most_turns,
            cuts,
            places,
            found,
            length,
            able,
            choice,
            line,
            fresh,
        )
    return end, rings
