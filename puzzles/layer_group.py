"""The group that some layers generate on some piece types: a chain, laws, alike pieces."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable
from functools import cached_property, lru_cache

import numpy as np

from puzzles.chain import Chain
from puzzles.laws import Law, Part, Sums, parts
from puzzles.puzzle import Puzzle, Table

#: No chain is built where its tables could have more entries than this (400 MB).
MOST_ENTRIES = 100_000_000
#: Assignments of alike pieces that are tried one by one where no shorter way is there.
MOST_ASSIGNMENTS = 20_000


@lru_cache(maxsize=24)
def layer_steps(puzzle: Puzzle) -> Table:
    """Return the effect for each layer of which all its turns are powers; (layers, placements).

    That is one smallest step, or more where a layer stops only at some of them.
    """
    rows = []
    for number, layer in enumerate(puzzle.layers):
        turns = np.flatnonzero(puzzle.turn_layer == number).tolist()
        step = math.gcd(layer.steps, *(puzzle.turns[t].amount for t in turns))
        # Which effect each amount has, by adding turns until the smallest amount is there.
        effects = {0: np.arange(puzzle.placement_count, dtype=np.int32)}
        row = [0]
        for amount in row:
            if step % layer.steps in effects:
                break
            for t in turns:
                more = (amount + puzzle.turns[t].amount) % layer.steps
                if more not in effects:
                    effects[more] = puzzle.moves[t][effects[amount]]
                    row.append(more)
        rows.append(effects[step % layer.steps])
    return np.array(rows, dtype=np.int32).reshape(len(puzzle.layers), puzzle.placement_count)


class LayerGroup:
    """The group of some layers on the pieces of some types; made by ``layer_group``.

    ``types`` and ``layers`` are numbers; effects are tables of shape (placements,) over the whole
    puzzle that carry each type to itself; what they do to other types does not count.
    """

    def __init__(self, puzzle: Puzzle, layers: tuple[int, ...], types: tuple[int, ...]) -> None:
        self.puzzle, self.layers, self.types = puzzle, layers, types
        #: What generates the turns of each layer, shape (layers, placements).
        self.steps: Table = layer_steps(puzzle)[np.array(layers, dtype=np.int64)]
        self.parts: tuple[Part, ...] = parts(puzzle, self.steps, types)

    @cached_property
    def chain(self) -> Chain | None:
        """The stabiliser chain; None where it would be too large."""
        return self.chain_on(self.types)

    def chain_on(self, types: tuple[int, ...]) -> Chain | None:
        """Return the stabiliser chain of the action on some of the types, None if too large."""
        kinds = [self.puzzle.types[t] for t in types]
        points = sum(kind.count * kind.twists for kind in kinds)
        if sum(kind.count**2 * kind.twists // 2 for kind in kinds) * points > MOST_ENTRIES:
            return None
        sizes = [kind.count * kind.twists for kind in kinds]
        blocks = tuple(itertools.accumulate(sizes[:-1], initial=0)) if sizes else ()
        most = self.most if set(types) == set(self.types) else None
        return Chain(self._projected(self.steps, types), blocks, most=most)

    @property
    def free(self) -> int:
        """How many arrangements there would be without any law."""
        return math.prod(
            math.factorial(len(part.slots)) * self.puzzle.types[part.type].twists ** len(part.slots)
            for part in self.parts
        )

    @property
    def most(self) -> int:
        """An upper bound of the order: what the laws of parity and twist leave."""
        return self.free // math.prod(law.factor for law in self.laws)

    def _projected(self, effects: Table, types: tuple[int, ...]) -> Table:
        """Return effects on the placements of some types, numbered in a row."""
        columns = np.concatenate(
            [np.array(self.puzzle.types[t].placements) for t in types] or [np.zeros(0, int)]
        ).astype(np.int64)
        number = np.zeros(self.puzzle.placement_count, dtype=np.int32)
        number[columns] = np.arange(len(columns))
        return number[effects[:, columns]]

    @property
    def order(self) -> int:
        """The order, or a lower bound where ``proven`` is false."""
        return 1 if self.chain is None else self.chain.order

    @property
    def proven(self) -> bool:
        """Whether the order is exact, so that membership is certain."""
        return self.chain is not None and self.chain.verified

    @cached_property
    def sums(self) -> Sums:
        """The parities and sums of twists of the parts."""
        return Sums(self.puzzle, self.parts)

    @cached_property
    def laws(self) -> tuple[Law, ...]:
        """The laws of parity and twist that hold for all pieces told apart."""
        return self.sums.laws(self.sums.vector(row) for row in self.steps)

    @cached_property
    def laws_alike(self) -> tuple[Law, ...]:
        """The laws of parity and twist that hold for what one sees.

        Alike pieces in each other's places and twists that do not show do not break them.
        """
        unseen = [*(self.exchange(group[:2]) for group in self.alike)]
        unseen += [self.spun(part.slots[0]) for part in self._hiding]
        return self.sums.laws(self.sums.vector(row) for row in [*self.steps, *unseen])

    @cached_property
    def _hiding(self) -> tuple[Part, ...]:
        """The parts whose pieces have twists that do not show."""
        kinds = self.puzzle.types
        return tuple(p for p in self.parts if kinds[p.type].seen < kinds[p.type].twists)

    def spun(self, piece: int, times: int = 1) -> Table:
        """Return the effect that twists a piece at home by so many of its unseen twists."""
        result = np.arange(self.puzzle.placement_count, dtype=np.int32)
        kind = self.puzzle.types[self.puzzle.type_of[piece]]
        home = int(self.puzzle.home[piece])
        own = np.arange(kind.twists, dtype=np.int32)
        result[home + own] = home + (own + times * kind.seen) % kind.twists
        return result

    @cached_property
    def alike(self) -> tuple[tuple[int, ...], ...]:
        """The sets of two and more alike pieces in the slots of one part."""
        groups: list[tuple[int, ...]] = []
        for part in self.parts:
            found: dict[int, list[int]] = {}
            for slot in part.slots:
                found.setdefault(int(self.puzzle.alike[slot]), []).append(slot)
            groups.extend(tuple(g) for g in found.values() if len(g) > 1)
        return tuple(groups)

    def exchange(self, pieces: Iterable[int]) -> Table:
        """Return the effect by which each alike piece takes the next one's place, looking alike."""
        puzzle = self.puzzle
        result = np.arange(puzzle.placement_count, dtype=np.int32)
        row = list(pieces)
        for piece, other in zip(row, row[1:] + row[:1], strict=True):
            twists = puzzle.types[puzzle.type_of[piece]].twists
            shift = int(puzzle.alike_twist[other] - puzzle.alike_twist[piece])
            for x in range(twists):
                result[puzzle.home[piece] + x] = puzzle.home[other] + (x + shift) % twists
        return result

    def contains(self, effects: Table) -> list[bool]:
        """Return for each of several effects whether some sequence has it; shape (n, placements).

        Where the order is not proven, also true for what no law forbids.
        """
        rows = np.atleast_2d(effects)
        if not self.proven and not all(self.keeps_parts(row) for row in rows):
            return [self.keeps_parts(row) and self.contains(row)[0] for row in rows]
        if self.chain is None:
            found = np.zeros(len(rows), dtype=np.bool_)
        else:
            found = self.chain.contains(self._projected(rows, self.types))
        if self.proven:
            return [bool(x) for x in found]
        return [bool(x) or self.broken(row) is None for x, row in zip(found, rows, strict=True)]

    def keeps_parts(self, effect: Table) -> bool:
        """Return whether an effect carries each part to itself."""
        there = self.puzzle.slot_of[effect[self.puzzle.home]]
        return all(self._part[slot] == self._part[there[slot]] for slot in self._part)

    @cached_property
    def _part(self) -> dict[int, int]:
        """The number of the part of each slot."""
        return {slot: number for number, part in enumerate(self.parts) for slot in part.slots}

    def broken(self, effect: Table, alike: bool = False) -> Law | None:
        """Return the first law of parity or twist that an effect breaks, which keeps the parts."""
        vector = self.sums.vector(effect)
        laws = self.laws_alike if alike else self.laws
        return next((law for law in laws if self.sums.broken(law, vector)), None)

    @cached_property
    def _fixers(self) -> tuple[Table, int | None]:
        """Return effects that look like none, and how many such effects lie in the group.

        They are exchanges of alike pieces and unseen twists; those returned stand for all there
        are, up to those that lie in the group. The number is None where no way leads to it.
        """
        identity = np.arange(self.puzzle.placement_count, dtype=np.int32)
        even = [self.exchange((*g[:2], k)) for g in self.alike for k in g[2:]]
        for part in self._hiding:
            first = self.spun(part.slots[0], -1)
            even += [first[self.spun(other)] for other in part.slots[1:]]
        if not even or all(self.contains(np.array(even))):
            # All even exchanges and all twists that add up to none are there; the rest falls into
            # classes: for each set of alike pieces a swap or none, for each part a sum of twists.
            count = math.prod(math.factorial(len(g)) // 2 for g in self.alike)
            count *= math.prod(self._unseen(p) ** (len(p.slots) - 1) for p in self._hiding)
            found, more = self._classes(identity)
            if found is not None:
                return found, count * more * sum(self.contains(found))
        total = math.prod(math.factorial(len(g)) for g in self.alike)
        total *= math.prod(self._unseen(p) ** len(p.slots) for p in self._hiding)
        if total > MOST_ASSIGNMENTS:
            return identity[None, :], None
        rows = [identity]
        for group in self.alike:
            own = [self._arranged(group, order) for order in itertools.permutations(group)]
            rows = [e[f] for e in rows for f in own]
        for part in self._hiding:
            for slot in part.slots:
                own = [self.spun(slot, k) for k in range(self._unseen(part))]
                rows = [e[f] for e in rows for f in own]
        return np.array(rows), sum(self.contains(np.array(rows)))

    def _unseen(self, part: Part) -> int:
        """Return how many twists of a piece of a part look the same."""
        kind = self.puzzle.types[part.type]
        return kind.twists // kind.seen

    def _classes(self, identity: Table) -> tuple[Table | None, int]:
        """Return one effect for each class, None if too many, and what those left out multiply by.

        A swap that differs from another one only by what is in the group makes no new classes.
        """
        odd: list[Table] = []
        multiple = 1
        for group in self.alike:
            swap = self.exchange(group[:2])
            if odd and any(self.contains(np.array(odd)[:, swap])):
                multiple *= 2
            else:
                odd.append(swap)
        spins = [(part.slots[0], self._unseen(part)) for part in self._hiding]
        if 2 ** len(odd) * math.prod(n for _, n in spins) > MOST_ASSIGNMENTS:
            return None, multiple
        found = [identity]
        for swap in odd:
            found += [swap[e] for e in found]
        for slot, n in spins:
            found = [self.spun(slot, k)[e] for e in found for k in range(n)]
        return np.array(found), multiple

    def _arranged(self, pieces: tuple[int, ...], places: tuple[int, ...]) -> Table:
        result = np.arange(self.puzzle.placement_count, dtype=np.int32)
        for piece, place in zip(pieces, places, strict=True):
            if piece != place:
                twists = self.puzzle.types[self.puzzle.type_of[piece]].twists
                own = slice(self.puzzle.home[piece], self.puzzle.home[piece] + twists)
                result[own] = self.exchange((piece, place))[own]
        return result

    @property
    def order_alike(self) -> int | None:
        """The number of positions that look different; None where it was not found out."""
        looks_alike = self._fixers[1]
        return None if looks_alike is None else self.order // looks_alike

    def contains_alike(self, effect: Table) -> bool:
        """Return whether some sequence has an effect that looks like this one.

        True as well where that could not be excluded.
        """
        kept = effect if self.keeps_parts(effect) else self.brought_home(effect)
        if kept is None:
            return False
        fixers, counted = self._fixers
        if any(self.contains(kept[fixers])):
            return True
        return counted is None and self.broken(kept, alike=True) is None

    def brought_home(self, effect: Table) -> Table | None:
        """Return an effect that looks the same and keeps the parts, None if there is none.

        For that, as many pieces of each look must arrive in a part as are at home there.
        """
        slot_of, home = self.puzzle.slot_of, self.puzzle.home
        looks: dict[int, list[int]] = {}
        for slot in self._part:
            looks.setdefault(int(self.puzzle.alike[slot]), []).append(slot)
        result = effect
        for pieces in looks.values():
            arrives: dict[int, list[int]] = {}
            for piece in pieces:
                arrives.setdefault(self._part[int(slot_of[effect[home[piece]]])], []).append(piece)
            places = []
            for piece in pieces:
                waiting = arrives.get(self._part[piece])
                if not waiting:
                    return None
                places.append(waiting.pop(waiting.index(piece) if piece in waiting else 0))
            result = result[self._arranged(tuple(pieces), tuple(places))]
        return result


@lru_cache(maxsize=48)
def _layer_group(puzzle: Puzzle, layers: tuple[int, ...], types: tuple[int, ...]) -> LayerGroup:
    return LayerGroup(puzzle, layers, types)


def layer_group(
    puzzle: Puzzle, layers: Iterable[int] | None = None, types: Iterable[int] | None = None
) -> LayerGroup:
    """Return the group of layers (all if None) on piece types (all if None), by their numbers."""
    turning = range(len(puzzle.layers)) if layers is None else layers
    kept = range(len(puzzle.types)) if types is None else types
    return _layer_group(puzzle, tuple(sorted(set(turning))), tuple(sorted(set(kept))))
