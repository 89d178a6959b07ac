"""Symmetries of a puzzle without geometry: renamings of its turns that its tables agree with.

A renaming takes each layer to a layer of the same order, turned the same way or back. It is a
symmetry if there is a permutation s of the placements with s(m(p)) = m'(s(p)) for every turn m and
its image m'. Where a type's placements can all reach each other, s is known from one of them.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from puzzles.puzzle import PieceType, Symmetry, Table
from puzzles.turns import Layer, Turn

#: The most symmetries that are kept; a puzzle with more is taken to have none, for a part of them
#: would not be closed under doing one after the other.
MOST = 240
#: How much work is done before the search is given up, so that no file takes long: about
#: nanoseconds, but counted, so that the result is the same everywhere.
MOST_WORK = 1_200_000_000
#: The most orbits that are carried to each other one by one.
MOST_ORBITS = 100
#: What a table entry, a placement carried along and a choice cost.
ENTRY, CARRIED, CHOICE = 3, 5_000, 50_000

#: The number of a step: 2 l for layer l, 2 l + 1 for undoing it.
Renaming = tuple[int, ...]


@dataclass(frozen=True, eq=False)
class _Orbit:
    """Placements that turns carry to each other, in the order in which they are reached.

    ``start[k]`` and ``step[k]`` say from which earlier one, by its place in ``placements``, and by
    which layer's step placement number k is reached.
    """

    placements: NDArray[np.int64]
    start: tuple[int, ...]
    step: tuple[int, ...]
    twists: int


class _TooManyError(Exception):
    """The search for symmetries would take too long, or there are more than are kept."""


def automorphisms(
    layers: Sequence[Layer],
    turns: Sequence[Turn],
    steps: Table,
    types: Sequence[PieceType],
    slot_of: Table,
) -> tuple[Symmetry, ...]:
    """Return the symmetries, the identity first; only that one where all would be too many.

    ``steps`` (layers, placements) is what one step of every layer does.
    """
    identity = np.arange(steps.shape[1])
    none = tuple(range(0, 2 * len(layers), 2))
    try:
        found = _Search(layers, steps, types, slot_of).found()
    except _TooManyError:
        found = [(none, identity)]
    found.sort(key=lambda own: (own[0] != none, not np.array_equal(own[1], identity)))
    number = {turn: k for k, turn in enumerate(turns)}
    layer_of = {layer.name: k for k, layer in enumerate(layers)}
    result = []
    for renaming, placements in found:
        images = []
        for turn in turns:
            image, back = divmod(renaming[layer_of[turn.layer]], 2)
            amount = -turn.amount % layers[image].steps if back else turn.amount
            images.append(number.get(Turn(layers[image].name, amount)))
        if None in images:
            # Layers that stop at different amounts.
            continue
        result.append(
            Symmetry(
                np.eye(3),
                False,
                _frozen(placements),
                _frozen(np.array(images)),
                _frozen(np.array([image // 2 for image in renaming])),
                _frozen(np.zeros(0)),
            )
        )
    return tuple(result)


def _frozen(values: NDArray[np.generic]) -> Table:
    table = values.astype(np.int32)
    table.setflags(write=False)
    return table


class _Search:
    """One search for all symmetries, with a count of the work done."""

    def __init__(
        self, layers: Sequence[Layer], steps: Table, types: Sequence[PieceType], slot_of: Table
    ) -> None:
        self.steps, self.types, self.slot_of = steps, types, slot_of
        self.orders = [layer.steps for layer in layers]
        back = np.argsort(steps, axis=1).astype(np.int32)
        #: What every step does, by its number; shape (2 layers, placements).
        self.both = np.stack([steps, back], axis=1).reshape(-1, steps.shape[1])
        self.work = 0
        self.orbits = self._orbits()
        if len(self.orbits) > MOST_ORBITS:
            raise _TooManyError
        self.weight = self._weights()
        self.threes = self._threes()
        self.of_type = np.concatenate([np.full(t.count * t.twists, t.number) for t in types])

    def found(self) -> list[tuple[Renaming, NDArray[np.int64]]]:
        """Return every renaming with each permutation of placements that agrees with it."""
        result: list[tuple[Renaming, NDArray[np.int64]]] = []
        for renaming in self._renamings(self._pairs(), []):
            for placements in self._images(renaming):
                result.append((renaming, placements))
                if len(result) > MOST:
                    raise _TooManyError
        return result

    def _weights(self) -> NDArray[np.int64]:
        """Return a number for every placement, the same for types that may be images of another.

        Those have as many slots and twists, and layers that move as many of their placements.
        """
        result = np.zeros(self.steps.shape[1], dtype=np.int64)
        moved = self.steps != np.arange(self.steps.shape[1])
        kinds: dict[object, int] = {}
        for kind in self.types:
            own = slice(kind.first_placement, kind.placements.stop)
            counts = zip(self.orders, moved[:, own].sum(axis=1).tolist(), strict=True)
            shape = (kind.count, kind.twists, tuple(sorted(counts)))
            result[own] = 2003 ** kinds.setdefault(shape, len(kinds) % 5)
        return result

    def _spend(self, work: int) -> None:
        self.work += work
        if self.work > MOST_WORK:
            raise _TooManyError

    def _pairs(self) -> NDArray[np.int64]:
        """Return a number for every two steps that all symmetries leave as it is.

        It is made of how many placements of each kind of type the two steps together leave in
        place, done once, twice and three times over, and as a commutator.
        """
        both, count = self.both, self.both.shape[1]
        rest = np.arange(count)
        self._spend(len(both) ** 2 * count * 6 * ENTRY)
        result = np.zeros((len(both), len(both)), dtype=np.int64)
        for a in range(len(both)):
            once = both[:, both[a]]
            twice = np.take_along_axis(once, once, axis=1)
            thrice = np.take_along_axis(once, twice, axis=1)
            # a, b, a back, b back.
            inside = both[a ^ 1][once]
            backs = both[np.arange(len(both)) ^ 1]
            whole = np.take_along_axis(backs, inside, axis=1)
            for table in (once, twice, thrice, whole):
                result[a] = result[a] * 1_000_003 + (table == rest) @ self.weight
        return result

    def _renamings(self, pairs: NDArray[np.int64], chosen: list[int]) -> Iterator[Renaming]:
        """Yield the renamings of all layers that leave the numbers of pairs as they are."""
        own = len(chosen)
        if own == len(self.orders):
            yield tuple(chosen)
            return
        self._spend(CHOICE)
        before = list(range(0, 2 * own, 2))
        fits = (pairs[:, chosen] == pairs[2 * own, before]).all(axis=1)
        fits &= (pairs[chosen] == pairs[before, 2 * own][:, None]).all(axis=0)
        fits &= np.diag(pairs) == pairs[2 * own, 2 * own]
        for image in np.flatnonzero(fits).tolist():
            layer, back = divmod(image, 2)
            if (back and self.orders[layer] == 2) or self.orders[layer] != self.orders[own]:
                continue
            if any(layer == other // 2 for other in chosen):
                continue
            if self._threes_agree([*before, 2 * own], [*chosen, image]):
                yield from self._renamings(pairs, [*chosen, image])

    def _threes(self) -> NDArray[np.int64] | None:
        """Return a number for every three steps that all symmetries leave as it is.

        None where that is too much to count; pairs must do then.
        """
        both, count = self.both, self.both.shape[1]
        cost = len(both) ** 3 * count * 4 * ENTRY
        if cost > MOST_WORK // 4:
            return None
        self._spend(cost)
        rest = np.arange(count)
        result = np.zeros((len(both),) * 3, dtype=np.int64)
        for a, first in enumerate(both):
            for b, second in enumerate(both):
                once = both[:, second[first]]
                twice = np.take_along_axis(once, once, axis=1)
                result[a, b] = (once == rest) @ self.weight
                result[a, b] = result[a, b] * 1_000_003 + (twice == rest) @ self.weight
        return result

    def _threes_agree(self, steps: list[int], images: list[int]) -> bool:
        """Return whether the last step with any two before it does as much as their images."""
        if self.threes is None:
            return True
        here = self.threes[np.ix_(steps, steps, steps[-1:])]
        return np.array_equal(here, self.threes[np.ix_(images, images, images[-1:])])

    def _orbits(self) -> list[_Orbit]:
        """Return the orbits of placements that move, each begun at its first, with twist 0."""
        result = []
        known = np.zeros(self.steps.shape[1], dtype=np.bool_)
        for kind in self.types:
            if not kind.moves:
                continue
            for first in range(kind.first_placement, kind.placements.stop, kind.twists):
                if known[first]:
                    continue
                known[first] = True
                reached, start, step = [first], [-1], [-1]
                for k, placement in enumerate(reached):
                    for layer, row in enumerate(self.steps):
                        there = int(row[placement])
                        if not known[there]:
                            known[there] = True
                            reached.append(there)
                            start.append(k)
                            step.append(layer)
                result.append(_Orbit(np.array(reached), tuple(start), tuple(step), kind.twists))
        return result

    def _images(self, renaming: Renaming) -> Iterator[NDArray[np.int64]]:
        """Yield every permutation of placements that agrees with a renaming.

        Turning all pieces of a type along agrees with anything, so the first placement of an orbit
        is only carried to placements with twist 0. What no turn moves stays.
        """
        options = []
        for orbit in self.orbits:
            fitting: list[tuple[int, NDArray[np.int64]]] = []
            for number, other in enumerate(self.orbits):
                same = (len(orbit.placements), orbit.twists) == (
                    len(other.placements),
                    other.twists,
                )
                if same:
                    fitting.extend((number, own) for own in self._onto(orbit, other, renaming))
            if not fitting:
                return
            options.append(fitting)
        yield from self._chosen(options, [], np.arange(self.steps.shape[1]))

    def _chosen(
        self,
        options: list[list[tuple[int, NDArray[np.int64]]]],
        taken: list[int],
        result: NDArray[np.int64],
    ) -> Iterator[NDArray[np.int64]]:
        self._spend(CHOICE)
        if len(taken) == len(options):
            if self._keeps_types(result):
                yield result
            return
        for number, images in options[len(taken)]:
            if number not in taken:
                further = result.copy()
                further[self.orbits[len(taken)].placements] = images
                yield from self._chosen(options, [*taken, number], further)

    def _keeps_types(self, placements: NDArray[np.int64]) -> bool:
        """Return whether every type is carried onto one type."""
        return all(len(set(self.of_type[placements[list(t.placements)]])) == 1 for t in self.types)

    def _onto(self, orbit: _Orbit, other: _Orbit, renaming: Renaming) -> list[NDArray[np.int64]]:
        """Return the images of an orbit's placements, in its order, in every way that agrees."""
        own, layers = orbit.placements, range(len(self.steps))
        first = int(own[0])
        targets = np.sort(other.placements)[:: other.twists]
        for layer in layers:
            stays = self.steps[layer, first] == first
            targets = targets[(self.both[renaming[layer]][targets] == targets) == stays]
        if not len(targets):
            return []
        self._spend(len(own) * len(targets) * (1 + 2 * len(layers)) * ENTRY)
        self._spend(len(own) * CARRIED)
        images = np.empty((len(own), len(targets)), dtype=np.int64)
        images[0] = targets
        for k in range(1, len(own)):
            images[k] = self.both[renaming[orbit.step[k]]][images[orbit.start[k]]]
        place = np.full(self.steps.shape[1], -1)
        place[own] = np.arange(len(own))
        good = np.ones(len(targets), dtype=np.bool_)
        for layer in layers:
            after = images[place[self.steps[layer, own]]]
            good &= (after == self.both[renaming[layer]][images]).all(axis=0)
        return [column for column in images.T[good] if self._twists_along(orbit, place, column)]

    def _twists_along(
        self, orbit: _Orbit, place: NDArray[np.int64], images: NDArray[np.int64]
    ) -> bool:
        """Return whether pieces that are twisted have images that are twisted, all in one sense."""
        n = orbit.twists
        table = images[place[np.sort(orbit.placements).reshape(-1, n)]]
        slots = self.slot_of[table]
        if (slots != slots[:, :1]).any():
            return False
        if n == 1:
            return True
        base = table.min(axis=1, keepdims=True)
        twist = table - base
        sense = (twist[:, 1] - twist[:, 0]) % n
        wanted = (twist[:, :1] + sense[0] * np.arange(n)) % n
        return bool((sense == sense[0]).all() and (twist == wanted).all())
