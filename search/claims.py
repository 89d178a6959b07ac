"""What a finished search proves: up to how many executed turns no shorter commutator form exists.

**Assumptions.** Layers that commute with all others are left out (their turns cancel in any
commutator), and commuting is transitive. Then layers fall into groups, on cubes the layers of an
axis, and words up to commuting, merging and cancelling are the elements of a free product of
abelian groups G_1, G_2, ...; each G_i is a product of cyclic groups, one for each of its at most
k layers. A *syllable* is a non-trivial element of one G_i; |w| counts executed turns, that is,
the non-trivial layers of all syllables.

**What is enumerated.** After all levels up to H the search has met u v' for all u = w1' C1 w1 and
v = w2' C2 w2 as follows; every pair of radii comes from one split Z = w1 w2' in the middle.

(a) C1 and C2 are cuts, between turns, of one cyclically reduced cyclic word A, 1 <= |A| <= 2H/3,
    or C1 = C2 = A is a linear word that is not cyclically reduced, |A| <= (|A| + |Z|)/2.
(b) Z is any reduced word with |Z| >= 1 and |A| + |Z| <= H, such that
(c) no turn that can stand first in w1 (in w2) commutes with all of C1 (C2); if it is of a layer
    that can stand first in C1 (C2), it differs from the turn that stands there. A search may also
    skip layers that can stand last: what they give comes from the first as well, since for a turn
    c = c1 c2 the word c2 C c1 is c C conjugated by c1, and C c conjugated by c2'.
(d) Rings that merge where they were put together are kept, as what they reduce to.

**Wicks' theorem** (M. J. Wicks, Commutators in free products, J. London Math. Soc. 37, 1962). Let
W = S [P, Q] S' be other than 1, and R what it reduces to cyclically, so that |R| <= |W|. R is the
edge of a torus with one hole, mapped to a union of spaces for the G_i whose arms meet in a
centre. Preimages of points on the arms are curves; closed ones can be removed, the others are
arcs that end on the edge. They cut the torus, whose Euler characteristic is -1, into regions that
lie in the centre or in one G_i, and on whose edges centre and syllables of R alternate. A disc
with d arcs adds 1 - d/2 and an annulus -d/2; none has d = 1, since R is reduced; d = 2 is a
strip: a syllable and its inverse. (If R is one syllable it is 1 in an abelian group.) What
remains is one of these.

1. *Two triangles.* Three strips X, Y, Z run from one to the other: R = X a1 Y b1 Z a2 X' b2 Y' a3
   Z' b3 with a1 + a2 + a3 = 0 and b1 + b2 + b3 = 0. A triangle in some G_i has three syllables
   a1, a2, a3 there, all other than 0; one in the centre has none, and the strips around it are of
   three different groups. Syllables of one group never meet.
2. *One square.* R = X q1 Y q2 X' q3 Y' q4, and q1 + q2 + q3 + q4 = 0; again the q are all
   syllables of one G_i, or all absent. X and Y are not empty.
3. *One annulus.* R = X a X' a', with a a syllable, X not empty.

**Counting, two triangles.** Look at one layer of a triangle: its three amounts add up to 0, so
none, two or three are not 0. Two are alpha and -alpha: one turn at the end of a strip, shown
twice. Three show three turns and are made by two: one in A and one in Z, whichever two strips A
takes. Let tau count the layers of triangles that show three. With A = X Y, closed up, and Z the
third strip with its share of both corners,

    |R| = 2 (|A| + |Z|) - tau.

A is cyclically reduced, for its corners are syllables a1 and b2 or lie between different groups.
The ring is u v' with C1 and C2 the cuts of A at its two corners. A layer in which only A's corner
takes part stands at the end or at the start of the cut, as the other corners say. In a layer that
shows three, with amount alpha in A, C2 is cut before that turn and w2 begins with another amount
of its layer, which is (c). In a layer in which A has no part, w begins with a layer that is not
in the corner. If w has no part in the corner, both ends of the cut have, and w begins in another
group. Nothing commutes with all of A, which has turns of two groups. So (c) holds, and Z is
reduced. The three choices of A have |R| turns together, since every strip is in two of them and
every corner in one. So for the shortest

    |A| <= |R| / 3 <= 2 (|A| + |Z|) / 3,   tau <= |A| <= |R| / 3,   tau <= 2 k.

**One square.** In the centre: A = X, linear or cyclic, Z = Y, |R| = 2 (|A| + |Z|), |X| <= |Y|.
Else let X be the shorter of X and Y. A is X closed up with q1 + q4, C1 = q4 X q1, C2 = q3' X q2',
and Z = z1 Y z2' where z1 has the layers in which q1 and q4 both are not 0, z2 those of q2 and q3.
Of a layer's four amounts two, three or four are not 0. For two, |A| + |Z| takes one turn; for
three, two; for four, two or three. Let N3 be the number of layers that show three and N4 of those
that show four and take three, and tau = N3 + 2 N4. Again |R| = 2 (|A| + |Z|) - tau, tau <= 2 k,
(c) holds for the same reasons, and |R| >= 4 + 2 tau. If q1 + q4 = 0, then A = X, linear or
cyclic, is at most half of |A| + |Z|. Else, with P layers of two in which q1 + q4 is not 0, and
since |X| <= |Y|,

    3 |A| <= 2 (|A| + |Z|) + P - 1 - N3 - 3 N4,   P + N3 + N4 <= k.

So |A| may be longer than 2 (|A| + |Z|) / 3, on the 3x3x3 in R U F D R' U' F' D', where A = R U D
and Z = F: (b) asks for all |Z| with an |A|, not for those with |A| + |Z| = H alone.

**One annulus.** The shorter of X and a is A, the other is Z; |R| = 2 (|A| + |Z|).

**The constant.** Let |R| <= n = 2 H + 1 - min(2 k, floor(2 H / 3)); H >= 2, as no R has less than
4 turns. |R| + tau is even. tau <= 2 k, and tau <= floor(2 H / 3): with triangles since |R| <= n
<= 2 H, with a square since tau <= (n - 4) / 2. So |R| + tau <= 2 H + 1, and |A| + |Z| <= H. With
triangles |A| <= 2 H / 3 follows. With a square, 2 (|A| + |Z|) = |R| + tau gives 3 |A| <= 2 H + P
- N4 - min(2 k, floor(2 H / 3)), and P <= k; as |R| >= 4 + 2 P also P <= (n - 4) / 2, which is at
most floor(2 H / 3). So |A| <= 2 H / 3, all of (a) and (b) hold, and R was met. Every S only adds
turns to R, which the walk through setups and the starts inside turns count: conjugating by a turn
adds 2, or 1 if it merges at one end. []

``tests/search/test_claims.py`` compares it with brute force over words on small groups.
"""

from __future__ import annotations

from search.encoding import Scope

#: With more layers in a commuting group than this, not all starts of a ring are followed (kernels
#: keep at most 512 cuts and write at most 48 turns), and nothing is claimed.
MOST_PARALLEL = 6


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

    n = 2 H + 1 - min(2 k, floor(2 H / 3)), where k is ``group_size``; however long A, B and S are.
    The proof stands at the top of this module. None where commuting is not transitive or
    groups are larger than MOST_PARALLEL.
    """
    size = group_size(scope)
    if size is None or size > MOST_PARALLEL:
        return None
    return turns_proven(half_length, size)


def turns_proven(half_length: int, size: int) -> int:
    """Return n = 2 H + 1 - min(2 k, floor(2 H / 3)) for H = ``half_length`` and k = ``size``."""
    return 2 * half_length + 1 - min(2 * size, 2 * half_length // 3)


def half_length_for(scope: Scope, turns: int) -> int | None:
    """Return the least half-length that proves everything up to some executed turns, or None."""
    size = group_size(scope)
    if size is None or size > MOST_PARALLEL:
        return None
    half_length = 1
    while turns_proven(half_length, size) < turns:
        half_length += 1
    return half_length
