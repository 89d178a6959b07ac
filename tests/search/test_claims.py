"""What a finished half-length covers, against brute force over words on small groups of layers.

Words here have no effect at all: a group is layers with their steps, and which of them commute.
The enumeration is the one that ``search.claims`` defines, with the word lists of the kernels; brute
force is every X Y Z X' Y' Z' and every [A, B] of bounded words, by a normaliser of its own. That
the join does what the definition says is the business of ``test_rings``.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest

from puzzles import load
from search import claims, rings
from search.encoding import scope
from search.kernels import words as kernels

Word = tuple[int, ...]

#: Steps of each layer, and the number of its group: layers of a group commute.
GROUPS = {
    "Z3*Z3": ((3, 3), (0, 1)),
    "Z4*Z4": ((4, 4), (0, 1)),
    "Z5*Z3": ((5, 3), (0, 1)),
    "Z2*Z2*Z2": ((2, 2, 2), (0, 1, 2)),
    "Z3*Z3*Z3": ((3, 3, 3), (0, 1, 2)),
    "(Z4xZ4)*Z2": ((4, 4, 2), (0, 0, 1)),
    "(Z3xZ3)*Z3": ((3, 3, 3), (0, 0, 1)),
    "(Z2xZ2)*(Z2xZ2)": ((2, 2, 2, 2), (0, 0, 1, 1)),
    "(Z3xZ3)*Z2*Z2": ((3, 3, 2, 2), (0, 0, 1, 2)),
    "(Z2xZ2xZ2)*Z3": ((2, 2, 2, 3), (0, 0, 0, 1)),
    "(Z3xZ3xZ3)*Z2": ((3, 3, 3, 2), (0, 0, 0, 1)),
    "(Z2xZ2xZ2xZ2)*Z3": ((2, 2, 2, 2, 3), (0, 0, 0, 0, 1)),
}


class Group:
    """Words of a free product of abelian groups; turns are numbered layer by layer."""

    def __init__(self, steps: tuple[int, ...], groups: tuple[int, ...]) -> None:
        self.turns = [(k, a) for k, s in enumerate(steps) for a in range(1, s)]
        self.number = {turn: n for n, turn in enumerate(self.turns)}
        self.steps, self.groups = steps, groups
        self.size = max(groups.count(g) for g in groups)
        self.turn_layer = np.array([k for k, _ in self.turns], dtype=np.int64)
        undone = [self.number[k, steps[k] - a] for k, a in self.turns]
        self.inverses = np.array(undone, dtype=np.int64)
        self.passes = np.array(
            [
                sum(1 << m for m in range(len(steps)) if m != k and groups[m] == groups[k])
                for k in range(len(steps))
            ],
            dtype=np.uint64,
        )

    def undo(self, word: Word) -> Word:
        return tuple(int(self.inverses[t]) for t in reversed(word))

    def normal(self, word: Word) -> Word:
        """Return the normal form, by syllables: an element of one group after another."""
        syllables: list[tuple[int, dict[int, int]]] = []
        for t in word:
            layer, amount = self.turns[t]
            if not syllables or syllables[-1][0] != self.groups[layer]:
                syllables.append((self.groups[layer], {}))
            parts = syllables[-1][1]
            left = (parts.pop(layer, 0) + amount) % self.steps[layer]
            if left:
                parts[layer] = left
            if not parts:
                syllables.pop()
        return tuple(self.number[turn] for _, parts in syllables for turn in sorted(parts.items()))

    def firsts(self, word: Word) -> list[int]:
        """Return the places of the turns that can stand first."""
        group = self.groups[self.turns[word[0]][0]] if word else -1
        found = []
        for k, t in enumerate(word):
            if self.groups[self.turns[t][0]] != group:
                break
            found.append(k)
        return found

    def core(self, word: Word) -> Word:
        """Return the least cut of what a word reduces to cyclically."""
        word = self.normal(word)
        seen = {word}
        todo = [word]
        while todo:
            cut = todo.pop()
            for k in self.firsts(cut):
                fresh = self.normal((*cut[:k], *cut[k + 1 :], cut[k]))
                if len(fresh) < len(cut):
                    return self.core(fresh)
                if fresh not in seen:
                    seen.add(fresh)
                    todo.append(fresh)
        return min(seen)

    def words(self, length: int, state: int = 0) -> list[Word]:
        start = np.uint64(state)
        count = int(kernels.count_words(length, start, self.turn_layer, self.passes))
        found = np.zeros((count, kernels.LONGEST), dtype=np.int64)
        states = np.zeros(count, dtype=np.uint64)
        kernels.list_words(length, start, self.turn_layer, self.passes, found, states)
        return [tuple(row[:length]) for row in found.tolist()]

    def classes(self, length: int, cyclic: bool) -> list[Word]:
        found = np.zeros((1 << 8, length), dtype=np.uint8)
        same = np.arange(len(self.turns), dtype=np.int64)[None]
        letters, kept = np.zeros((2, kernels.LONGEST + 2), dtype=np.int64)
        stack = np.zeros(kernels.LONGEST + 1, dtype=np.uint64)
        keep = np.zeros((kernels.LONGEST + 1, 1), dtype=np.int64)
        state = letters, stack, keep, kept
        words: list[Word] = []
        ended = False
        while not ended:
            count, ended = kernels.list_classes(
                length, cyclic, self.turn_layer, self.inverses, self.passes, same, -1, *state, found
            )
            words += [tuple(row) for row in found[:count].tolist()]
        return words

    def cuts(self, word: Word) -> list[Word]:
        letters = _padded(word)
        found = np.zeros((kernels.MOST_CUTS, kernels.LONGEST), dtype=np.int64)
        origin = np.zeros((kernels.MOST_CUTS, 2), dtype=np.int64)
        count = kernels.list_cuts(letters, len(word), self.turn_layer, self.passes, found, origin)
        return [tuple(row[: len(word)]) for row in found[:count].tolist()]


def _padded(word: Word) -> np.ndarray:
    letters = np.zeros(kernels.LONGEST, dtype=np.int64)
    letters[: len(word)] = word
    return letters


def arms(group: Group, cut: Word, length: int) -> Iterator[Word]:
    """Yield the conjugators w of a cut that (c) allows, none in a layer that can stand last."""
    closed = int(kernels.last_layers(_padded(cut), len(cut), group.turn_layer, group.passes))
    common = (1 << len(group.steps)) - 1
    for t in cut:
        common &= int(group.passes[group.turns[t][0]])
    stands = {cut[k] for k in group.firsts(cut)}
    for word in group.words(length, closed | common):
        if not stands & {word[k] for k in group.firsts(word)}:
            yield word


def enumerated(group: Group, half_length: int) -> dict[Word, int]:
    """Return the cores of all rings that ``search.claims`` defines, with the H that meets each."""
    found: dict[Word, int] = {}
    for length in range(1, 2 * half_length // 3 + 1):
        for rest in range(1, half_length - length + 1):
            level = max(length + rest, -(-3 * length // 2))
            joined = [group.cuts(word) for word in group.classes(length, True)]
            if length <= rest:
                joined += [[word] for word in group.classes(length, False)]
            for cuts in joined:
                long, short = (
                    [(cut, arm) for cut in cuts for arm in arms(group, cut, radius)]
                    for radius in ((rest + 1) // 2, rest // 2)
                )
                for cut1, arm1 in long:
                    for cut2, arm2 in short:
                        z = arm1 + group.undo(arm2)
                        if len(group.normal(z)) < len(z):
                            continue
                        ring = group.core(cut1 + z + group.undo(cut2) + group.undo(z))
                        for core in (ring, group.core(group.undo(ring))):
                            found[core] = min(level, found.get(core, level))
    return found


def commutators(group: Group, arcs: int, pairs: int, turns: int) -> set[Word]:
    """Return the cores of at most some turns of all X Y Z X' Y' Z' and all [A, B].

    ``arcs`` is the most turns in X, Y and Z together, ``pairs`` the most in A and in B.
    """
    words = [group.words(n) for n in range(max(arcs, pairs) + 1)]
    every = set()
    for x in range(arcs // 3 + 1):
        for y in range(x, (arcs - x) // 2 + 1):
            for z in range(y, arcs - x - y + 1):
                for one in words[x]:
                    for two in words[y]:
                        back = group.undo(one) + group.undo(two)
                        every |= {
                            group.normal(one + two + three + back + group.undo(three))
                            for three in words[z]
                        }
    short = [word for n in range(1, pairs + 1) for word in words[n]]
    for one in short:
        for two in short:
            every.add(group.normal(one + two + group.undo(one) + group.undo(two)))
    cores = {group.core(word) for word in every}
    return {core for core in cores if 0 < len(core) <= turns}


@pytest.mark.parametrize("name", GROUPS)
def test_every_commutator_of_the_claimed_turns_is_met(name: str) -> None:
    group = Group(*GROUPS[name])
    deepest = 5
    met = enumerated(group, deepest)
    proven = claims.turns_proven(deepest, group.size)
    brute = commutators(group, deepest, 3, proven)
    assert brute
    for half_length in range(2, deepest + 1):
        turns = claims.turns_proven(half_length, group.size)
        missed = [w for w in brute if len(w) <= turns and met.get(w, 99) > half_length]
        assert not missed, f"half-length {half_length}, {turns} turns: {missed[:3]}"


def test_two_layers_of_three_steps_deeper() -> None:
    group = Group((3, 3), (0, 1))
    met = enumerated(group, 7)
    for half_length in range(2, 8):
        turns = claims.turns_proven(half_length, group.size)
        brute = commutators(group, half_length, 5, turns)
        assert all(met.get(w, 99) <= half_length for w in brute), half_length


def test_one_turn_more_is_not_covered_somewhere() -> None:
    """The constant cannot be raised: some group has a ring of n + 1 turns that H does not meet."""
    group = Group((3, 3), (0, 1))
    met = enumerated(group, 5)
    beyond = []
    for half_length in range(2, 6):
        turns = claims.turns_proven(half_length, group.size) + 1
        brute = commutators(group, half_length + 1, 3, turns)
        beyond += [w for w in brute if len(w) == turns and met.get(w, 99) > half_length]
    assert beyond


def test_nothing_is_met_that_is_no_commutator() -> None:
    """What is met has exponents that add up to nothing, layer by layer."""
    group = Group((4, 4, 2), (0, 0, 1))
    for word in enumerated(group, 5):
        for layer, steps in enumerate(group.steps):
            assert sum(a for k, a in (group.turns[t] for t in word) if k == layer) % steps == 0


def test_three_turns_that_three_labels_share() -> None:
    """With layers of three steps [R U', U' R] is (R U)^3, six turns, all of them in corners."""
    group = Group((3, 3), (0, 1))
    r, _, u, u2 = range(4)
    a, b = (r, u2), (u2, r)
    word = group.normal(a + b + group.undo(a) + group.undo(b))
    assert word == (r, u, r, u, r, u)
    assert enumerated(group, 4)[group.core(word)] == 4


def test_figures_of_the_claim() -> None:
    cube = scope(load("3x3x3"))
    assert [claims.complete(cube, h) for h in (6, 7, 8)] == [9, 11, 13]
    sizes = {
        "2x2x2": 1,
        "cube-corners": 1,
        "tetrahedron-corners": 1,
        "3x3x3": 2,
        "octahedron-faces": 2,
        "3x3x3-slices": 3,
        "4x4x4": 4,
    }
    for name, size in sizes.items():
        assert claims.group_size(scope(load(name))) == size, name
    for name in ("dodecahedron-faces", "cube-edges", "cube-faces-corners"):
        some = scope(load(name))
        assert claims.group_size(some) is None
        assert claims.complete(some, 6) is None
        assert claims.half_length_for(some, 6) is None


def test_the_least_half_length_for_some_turns() -> None:
    cube = scope(load("3x3x3"))
    assert [claims.half_length_for(cube, turns) for turns in (8, 9, 10, 11, 13)] == [5, 6, 7, 7, 8]


def test_levels_hold_every_pair_of_lengths() -> None:
    """Up to H there is a join for each |A| <= 2 H / 3 with every |Z| >= 1 and |A| + |Z| <= H."""
    cube = scope(load("3x3x3"))
    done: set[tuple[int, int]] = set()
    for half_length in range(1, 9):
        for part in rings.parts(cube, half_length):
            for radius in range(part.least_radius, part.most_radius + 1):
                assert part.radius1 - radius in (0, 1)
                if part.cyclic:
                    done.add((part.length, part.radius1 + radius))
        for length in range(1, 2 * half_length // 3 + 1):
            for rest in range(1, half_length - length + 1):
                assert (length, rest) in done, (half_length, length, rest)
