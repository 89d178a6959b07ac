"""Words in normal form, as arrays: enumeration, the turns that can stand first, classes of words.

A word is in normal form if no turn can be moved to the left past turns that commute with it so
that the word gets smaller, and no two turns of a layer can be brought together. Which layers may
not come next depends on a set of layers alone, the *state* F: after turn x of layer l,

    F' = {l} + {m : m commutes with l, and m < l or m in F}.

Starting from a state other than the empty one gives the words that, in addition, cannot begin with
those layers, not even after moving turns that commute.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from search.kernels.arrays import LONGEST
from search.kernels.jit import kernel

Letters = NDArray[np.int64]

#: The most cutting points of a cyclic word that are looked at; 16 turns of a 4x4x4 have fewer.
MOST_CUTS = 512
#: A call of ``list_classes`` ends after so many turns that were tried, some 50 ms; comparing a word
#: with its images takes as long as WHOLE_LISTED, and cutting it as CUT_LISTED for each turn.
MOST_LISTED = 1_000_000
WHOLE_LISTED = 10
CUT_LISTED = 100


@kernel
def after(state: np.uint64, layer: int, passes: NDArray[np.uint64]) -> np.uint64:
    """Return the state after a turn of a layer."""
    one = np.uint64(1)
    bit = one << np.uint64(layer)
    result: np.uint64 = bit | (passes[layer] & ((bit - one) | state))
    return result


@kernel
def count_words(
    length: int, state: np.uint64, turn_layer: Letters, passes: NDArray[np.uint64]
) -> int:
    """Return how many normal words of a length there are from a state."""
    if length == 0:
        return 1
    total = 0
    previous = -1
    inside = 0
    for t in range(len(turn_layer)):
        layer = turn_layer[t]
        if (state >> np.uint64(layer)) & np.uint64(1):
            continue
        if layer != previous:
            inside = count_words(length - 1, after(state, layer, passes), turn_layer, passes)
            previous = layer
        total += inside
    return total


@kernel
def list_words(
    length: int,
    state: np.uint64,
    turn_layer: Letters,
    passes: NDArray[np.uint64],
    words: Letters,
    states: NDArray[np.uint64],
) -> int:
    """Write all normal words of a length from a state into ``words`` (n, LONGEST), in order.

    ``states`` (n,) receives the state after each. Returns how many there are; writes what fits.
    """
    if length == 0:
        states[0] = state
        return 1
    letters = np.zeros(LONGEST, dtype=np.int64)
    stack = np.zeros(LONGEST + 1, dtype=np.uint64)
    stack[0] = state
    letters[0] = -1
    depth = 0
    found = 0
    turns = len(turn_layer)
    while depth >= 0:
        letters[depth] += 1
        t = letters[depth]
        if t == turns:
            depth -= 1
            continue
        layer = turn_layer[t]
        if (stack[depth] >> np.uint64(layer)) & np.uint64(1):
            continue
        follow = after(stack[depth], layer, passes)
        if depth == length - 1:
            if found < len(words):
                for k in range(length):
                    words[found, k] = letters[k]
                states[found] = follow
            found += 1
            continue
        depth += 1
        stack[depth] = follow
        letters[depth] = -1
    return found


@kernel
def first_layers(
    word: Letters, length: int, turn_layer: Letters, passes: NDArray[np.uint64]
) -> np.uint64:
    """Return the set of layers of the turns that can be moved to the front of a word."""
    one = np.uint64(1)
    result = np.uint64(0)
    free = ~np.uint64(0)
    for k in range(length):
        layer = turn_layer[word[k]]
        bit = one << np.uint64(layer)
        if free & bit:
            result |= bit
        free &= passes[layer]
    return result


@kernel
def last_layers(
    word: Letters, length: int, turn_layer: Letters, passes: NDArray[np.uint64]
) -> np.uint64:
    """Return the set of layers of the turns that can be moved to the end of a word."""
    one = np.uint64(1)
    result = np.uint64(0)
    free = ~np.uint64(0)
    for k in range(length - 1, -1, -1):
        layer = turn_layer[word[k]]
        bit = one << np.uint64(layer)
        if free & bit:
            result |= bit
        free &= passes[layer]
    return result


@kernel
def is_cyclically_reduced(
    word: Letters, length: int, turn_layer: Letters, passes: NDArray[np.uint64]
) -> bool:
    """Return whether no turn at the front can be merged with another one at the end."""
    one = np.uint64(1)
    free = ~np.uint64(0)
    for i in range(length):
        layer = turn_layer[word[i]]
        bit = one << np.uint64(layer)
        if free & bit:
            behind = ~np.uint64(0)
            for j in range(length - 1, i, -1):
                other = turn_layer[word[j]]
                if other == layer and behind & bit:
                    return False
                behind &= passes[other]
        free &= passes[layer]
    return True


@kernel
def normalise(word: Letters, length: int, turn_layer: Letters, passes: NDArray[np.uint64]) -> None:
    """Sort a reduced word into its normal form, in place."""
    one = np.uint64(1)
    for k in range(1, length):
        turn = word[k]
        bit = one << np.uint64(turn_layer[turn])
        reach = k
        while reach > 0 and passes[turn_layer[word[reach - 1]]] & bit:
            reach -= 1
        place = reach
        while place < k and word[place] < turn:
            place += 1
        for m in range(k, place, -1):
            word[m] = word[m - 1]
        word[place] = turn


@kernel
def list_cuts(
    word: Letters,
    length: int,
    turn_layer: Letters,
    passes: NDArray[np.uint64],
    cuts: Letters,
    origin: Letters,
) -> int:
    """Write all linear words that a cyclic word can be cut into, in normal form, to ``cuts``.

    From one cut the others are reached by moving any turn that can stand first to the end;
    ``origin`` (n, 2) receives the cut from which each was reached, and the turn that was moved.
    Returns how many there are, at most the rows of ``cuts``.
    """
    one = np.uint64(1)
    for k in range(length):
        cuts[0, k] = word[k]
    found = 1
    at = 0
    fresh = np.zeros(LONGEST, dtype=np.int64)
    while at < found:
        free = ~np.uint64(0)
        for i in range(length):
            turn = cuts[at, i]
            layer = turn_layer[turn]
            can = (free >> np.uint64(layer)) & one
            free &= passes[layer]
            if not can:
                continue
            for k in range(i):
                fresh[k] = cuts[at, k]
            for k in range(i + 1, length):
                fresh[k - 1] = cuts[at, k]
            fresh[length - 1] = turn
            normalise(fresh, length, turn_layer, passes)
            known = False
            for c in range(found):
                same = True
                for k in range(length):
                    if cuts[c, k] != fresh[k]:
                        same = False
                        break
                if same:
                    known = True
                    break
            if not known and found < len(cuts):
                for k in range(length):
                    cuts[found, k] = fresh[k]
                origin[found, 0], origin[found, 1] = at, turn
                found += 1
        at += 1
    return found


@kernel
def _is_least(
    word: Letters, length: int, cyclic: bool, inverse: Letters, symmetry: Letters
) -> bool:
    """Return whether no image of a word, rotated, inverted or carried by a symmetry, is smaller."""
    starts = length if cyclic else 1
    for sense in range(2):
        for start in range(starts):
            for s in range(len(symmetry)):
                for k in range(length):
                    if sense == 0:
                        turn = word[(start + k) % length]
                    else:
                        turn = inverse[word[(2 * length - 1 - start - k) % length]]
                    image = symmetry[s, turn]
                    if image < word[k]:
                        return False
                    if image > word[k]:
                        break
    return True


@kernel
def _is_least_cut(
    word: Letters,
    length: int,
    cyclic: bool,
    turn_layer: Letters,
    inverse: Letters,
    passes: NDArray[np.uint64],
    symmetry: Letters,
    cuts: Letters,
    origin: Letters,
    image: Letters,
) -> bool:
    """Return whether no cut of a word, inverted or carried by a symmetry, is smaller when normal.

    Only images that begin with the word's first turn are written out: no turn of a class can be
    smaller than that one, or ``_is_least`` had said so. ``cuts``, ``origin`` and ``image`` are
    scratch.
    """
    for sense in range(2):
        for k in range(length):
            image[k] = word[k] if sense == 0 else inverse[word[length - 1 - k]]
        normalise(image, length, turn_layer, passes)
        count = 1
        if cyclic:
            count = list_cuts(image.copy(), length, turn_layer, passes, cuts, origin)
        else:
            for k in range(length):
                cuts[0, k] = image[k]
        for c in range(count):
            for s in range(len(symmetry)):
                free = ~np.uint64(0)
                starts = False
                for k in range(length):
                    layer = np.uint64(turn_layer[cuts[c, k]])
                    if (free >> layer) & np.uint64(1) and symmetry[s, cuts[c, k]] == word[0]:
                        starts = True
                    free &= passes[turn_layer[cuts[c, k]]]
                    if free == 0:
                        break
                if not starts:
                    continue
                for k in range(length):
                    image[k] = symmetry[s, cuts[c, k]]
                normalise(image, length, turn_layer, passes)
                for k in range(length):
                    if image[k] < word[k]:
                        return False
                    if image[k] > word[k]:
                        break
    return True


@kernel
def list_classes(
    length: int,
    cyclic: bool,
    turn_layer: Letters,
    inverse: Letters,
    passes: NDArray[np.uint64],
    symmetry: Letters,
    second: int,
    letters: Letters,
    stack: NDArray[np.uint64],
    keep: Letters,
    kept: Letters,
    words: NDArray[np.uint8],
) -> tuple[int, bool]:
    """Write one word of each class under symmetry, inverse and rotation to ``words`` (n, length).

    Cyclic: the cyclically reduced words, up to rotation. Otherwise: the linear words that are not
    cyclically reduced. The word of a class is the least normal form of all its images, so that
    every class is met once; with ``second`` >= 0 only words with that second turn are listed. What
    is not least letter by letter is cut off before normal forms are made, prefixes under symmetry,
    whole words under rotation and inversion too.

    ``letters``, ``kept`` (LONGEST + 2,), ``stack`` (LONGEST + 1,) and ``keep`` (LONGEST + 1, K) say
    how far earlier calls came; with kept[LONGEST + 1] = 0 the list begins. A call ends when
    ``words`` are full, or after a while. Returns how many it wrote, and whether that was the end.
    """
    depth = kept[LONGEST + 1] - 1
    if depth < 0:
        for s in range(len(symmetry)):
            keep[0, s] = s
        kept[0] = len(symmetry)
        stack[0] = 0
        letters[0] = -1
        depth = 0
    cuts = np.zeros((MOST_CUTS, LONGEST), dtype=np.int64)
    origin = np.zeros((MOST_CUTS, 2), dtype=np.int64)
    carried = np.zeros(LONGEST, dtype=np.int64)
    found = 0
    looked = 0
    turns = len(turn_layer)
    while depth >= 0:
        if found == len(words) or looked >= MOST_LISTED:
            kept[LONGEST + 1] = depth + 1
            return found, False
        looked += 1
        letters[depth] += 1
        t = letters[depth]
        if t == turns:
            depth -= 1
            continue
        if depth == 1 and second >= 0 and t != second:
            continue
        layer = turn_layer[t]
        if (stack[depth] >> np.uint64(layer)) & np.uint64(1):
            continue
        least = True
        same = 0
        for k in range(kept[depth]):
            image = symmetry[keep[depth, k], t]
            if image < t:
                least = False
                break
            if image == t:
                keep[depth + 1, same] = keep[depth, k]
                same += 1
        if not least:
            continue
        if depth < length - 1:
            kept[depth + 1] = same
            stack[depth + 1] = after(stack[depth], layer, passes)
            depth += 1
            letters[depth] = -1
            continue
        if is_cyclically_reduced(letters, length, turn_layer, passes) != cyclic:
            continue
        looked += WHOLE_LISTED
        if not _is_least(letters, length, cyclic, inverse, symmetry):
            continue
        looked += CUT_LISTED * length
        if not _is_least_cut(
            letters,
            length,
            cyclic,
            turn_layer,
            inverse,
            passes,
            symmetry,
            cuts,
            origin,
            carried,
        ):
            continue
        for k in range(length):
            words[found, k] = letters[k]
        found += 1
    return found, True
