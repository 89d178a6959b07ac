"""Kinds that three-cycles do not put right: products of loops from a stabiliser chain with words.

The chain is that of H on the points of the stubborn kinds and on the sums of parities and twists:
a sum modulo m is m points in a circle, which a loop carries on by as much as it adds.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from puzzles.chain import Chain
from puzzles.errors import LimitError
from puzzles.puzzle import Word
from search.factoring import Factoring
from search.solving_blocked_near import Near
from search.solving_blocked_shapes import Kind

#: Loops that generate, the shortest first: at least so many, and more while these are not enough.
GENERATORS = 40
#: Ways to take units that look alike for each other that are tried.
MOST_WAYS = 256

Numbers = NDArray[np.int64]


class Products:
    """Words for all elements of H on some kinds; what they do to others leaves sums as they are."""

    def __init__(self, near: Near, kinds: tuple[int, ...]) -> None:
        self.near = near
        self.kinds = tuple(near.shapes.kinds[number] for number in kinds)
        self._units = np.array([u for kind in self.kinds for u in kind.units], dtype=np.int64)

    def _permutations(self, elements: NDArray[np.int16], sums: Numbers) -> Numbers:
        """Return elements (n, units) on the points of the kinds, sums (n, columns) on circles."""
        columns, first = [], 0
        for kind in self.kinds:
            own = elements[:, list(kind.units)].astype(np.int64) - kind.first
            x = np.arange(kind.twists)
            turned = own[:, :, None] % kind.twists + x
            there = own[:, :, None] // kind.twists * kind.twists + turned % kind.twists
            columns.append(first + there.reshape(len(elements), -1))
            first += kind.size
        for k, modulus in enumerate(self.near.invariants.moduli.tolist()):
            columns.append(first + (np.arange(modulus) + sums[:, k : k + 1]) % modulus)
            first += modulus
        return np.concatenate(columns, axis=1)

    @cached_property
    def _generated(self) -> tuple[Factoring, tuple[Word, ...]]:
        """The chain and the words of its generators; raises LimitError where it is too large."""
        shapes, near = self.near.shapes, self.near
        paths = [shapes.path(s) for s in range(len(shapes.turn_to))]
        acts = shapes.acts[:, :, shapes.point_of]
        shape, turn = np.nonzero(shapes.turn_to >= 0)
        loops = near.loops[: 20 * GENERATORS]
        elements = np.concatenate([near.element[loops], acts[shape, turn]])
        every = self._permutations(elements, near.invariants.of(elements))
        lengths = np.array([len(path) for path in paths])
        turns = lengths[shape] + 1 + lengths[shapes.turn_to[shape, turn]]
        costs = np.concatenate([near.depth[loops], turns])
        order = np.argsort(costs, kind="stable")
        _, first = np.unique(every[order], axis=0, return_index=True)
        chosen = order[np.sort(first)]
        chosen = chosen[(every[chosen] != np.arange(every.shape[1])).any(axis=1)]
        whole = Chain(every[chosen].astype(np.int32), (0,))
        if not whole.verified:
            raise LimitError("the group of pieces that no three-cycle moves alone is too large")
        count = min(GENERATORS, len(chosen))
        while Chain(every[chosen[:count]].astype(np.int32), (0,)).order != whole.order:
            count = min(2 * count, len(chosen))
        words = []
        for k in chosen[:count].tolist():
            if k < len(loops):
                words.append(near.word(int(loops[k])))
                continue
            s, t = int(shape[k - len(loops)]), int(turn[k - len(loops)])
            back = shapes.puzzle.inverse(paths[int(shapes.turn_to[s, t])])
            words.append((*paths[s], t, *back))
        forth = every[chosen[:count]]
        words += [shapes.puzzle.inverse(word) for word in words]
        both = np.concatenate([forth, np.argsort(forth, axis=1)])
        inverses = [*range(count, 2 * count), *range(count)]
        return Factoring(both, inverses, whole.order), tuple(words)

    def word(self, element: NDArray[np.int16], sums: Numbers) -> Word | None:
        """Return a word that puts the kinds right and all sums to zero, None if there is none."""
        factoring, words = self._generated
        for assigned in self._assigned(element):
            whole = self._permutations(assigned[None], sums[None])[0]
            factors = factoring.word(np.argsort(whole))
            if factors is not None:
                return tuple(turn for k in factors for turn in words[k])
        return None

    def right(self, element: NDArray[np.int16]) -> bool:
        """Return whether all units of the kinds look right."""
        return all(_right(kind, _own(kind, element)).all() for kind in self.kinds)

    def _assigned(self, element: NDArray[np.int16]) -> Iterator[NDArray[np.int16]]:
        """Yield elements that look like this one, those first in which most units are at home."""
        plain = element.copy()
        swaps: list[tuple[int, int]] = []
        for kind in self.kinds:
            if not kind.has_alike:
                continue
            own = _own(kind, element)
            classes: dict[int, list[int]] = {}
            for k, look in enumerate(kind.looks):
                classes.setdefault(look, []).append(k)
            for same in classes.values():
                # Whichever of the like ones stands at a home of theirs is taken to belong there.
                places = set(own[same].tolist())
                at_home = [k for k in same if k in places]
                others = sorted(places - set(at_home))
                rest = [k for k in same if k not in at_home]
                for k, place in (
                    *zip(at_home, at_home, strict=True),
                    *zip(rest, others, strict=True),
                ):
                    plain[kind.units[k]] = kind.first + place
                if len(same) > 1:
                    swaps.append((kind.units[same[0]], kind.units[same[1]]))
        ways = itertools.product((False, True), repeat=len(swaps))
        for chosen in itertools.islice(ways, MOST_WAYS):
            result = plain.copy()
            for (one, other), swap in zip(swaps, chosen, strict=True):
                if swap:
                    result[[one, other]] = result[[other, one]]
            yield result


def _own(kind: Kind, element: NDArray[np.int16]) -> Numbers:
    result: Numbers = element[list(kind.units)].astype(np.int64) - kind.first
    return result


def _right(kind: Kind, own: Numbers) -> NDArray[np.bool_]:
    """Return which units of a kind, at points counted from its first, look right."""
    looks = np.array(kind.looks)
    same = looks[own // kind.twists] == looks
    return np.asarray(same & (own % kind.twists == 0))
