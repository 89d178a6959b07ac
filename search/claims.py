"""What a finished search proves: up to how many executed turns no shorter commutator form exists."""

from __future__ import annotations

from search.encoding import Scope


def group_size(scope: Scope) -> int | None:
    """Return the size of the largest group of layers that commute; None if not transitive.

    Transitive: layers that commute with a common layer commute with each other, so that layers fall
    into groups (on cubes the layers of an axis) and words are words of a free product of abelian
    groups. On a dodecahedron, where faces that don't touch commute, they do not.
    """
    enc = scope.arrays
    sets = [int(mask) | 1 << k for k, mask in enumerate(enc.passes)]
    for k, own in enumerate(sets):
        if any(own >> m & 1 and sets[m] != own for m in range(len(sets)) if m != k):
            return None
    return max((own.bit_count() for own in sets), default=1)


def complete(scope: Scope, half_length: int) -> int | None:
    """Return the executed turns up to which half-length H covers every S [A, B] S'; None for none.

    n = 2 H + 1 - min(2 k, floor(2 H / 3)), where k is ``group_size``.

    Why. Let S [A, B] S' have m executed turns and an effect that the search looks for. As an
    element of a free product of abelian groups (the groups of layers that commute) it is conjugate
    to a commutator that is cyclically reduced, and by Wicks (Commutators in free products, J. London
    Math. Soc. 37, 1962) the closed word is either X Y Z X' Y' Z' with X, Y, Z words that do not
    merge at the joints inside an arc, where at each of two vertices the three arcs may meet within
    one factor; or both vertices are trivial. So the closed word is three arcs between two vertices,
    each arc read once forwards and once backwards, and what arcs leave at a vertex are the three
    corners of one factor: abelian elements a, b, c that the vertex adds to the joints.

    Count turns. Cyclic reduction removes turns or merges them, so the closed word has at most m
    turns. An arc of length l shows 2 l turns, less what vertices merge. A layer that appears in the
    labels of a vertex at two of the three joints merges two turns into one at one joint, which a
    cut inside that turn undoes: it costs the half-length at most what it saves. A layer in all
    three labels shows 3 turns where the arcs read there take 2 from |A| + |Z|, so every such layer
    costs at most 1 more than half of the turns shown; a vertex has at most k such layers and there
    are two vertices, hence 2 k. Likewise the two shorter of three arcs, which A takes, have at most
    floor(2 H / 3) turns between them, and each layer that is lost this way lies on A.
    With 2 |X Y Z| at most m + min(2 k, floor(2 H / 3)) - 1 + 1, all words of m at most n are met.

    This is a sketch that was tested and not a full proof of the constant: ``tests/search`` compares
    it with brute force over all S, A, B on small groups of layers.
    """
    size = group_size(scope)
    if size is None:
        return None
    return 2 * half_length + 1 - min(2 * size, 2 * half_length // 3)


def half_length_for(scope: Scope, turns: int) -> int | None:
    """Return the least half-length that proves everything up to some executed turns, or None."""
    if group_size(scope) is None:
        return None
    half_length = 1
    while (complete(scope, half_length) or 0) < turns:
        half_length += 1
    return half_length
