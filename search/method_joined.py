"""Layers that alone make a known puzzle, one piece of which is several pieces here, joined.

First what those layers never mix is put right, then pieces are brought together wherever their
block is (``method_joining``), and from there on only those layers turn. What a joined puzzle then
shows and the known one cannot is a block turned in its place, or two that changed places.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from puzzles import load
from puzzles.kinship import LayersLike, layers_like
from puzzles.layer_group import layer_group
from puzzles.layer_kinds import layer_kinds
from puzzles.puzzle import Puzzle, Table
from search.solving_looks import Contents, Looks
from search.solving_sums import Balance


@dataclass(frozen=True)
class Shown:
    """What a joined puzzle can show and the known one cannot.

    ``kind`` of the known puzzle's pieces, by name; ``swap``: two of them change places, else one
    is turned in its place. ``odd``: an odd rearrangement or an odd sum of single pieces, which an
    odd turn early prevents; else the three-cycles of the joined types mend it.
    """

    kind: str
    swap: bool
    odd: bool


@dataclass(frozen=True, eq=False)
class Joined:
    """Layers of a puzzle that alone make a known one, and what its pieces are made of.

    ``first`` are the types, by number, that have to be right before; ``joined`` those that make up
    blocks of several pieces.
    """

    puzzle: Puzzle
    like: LayersLike
    first: tuple[int, ...]
    joined: tuple[int, ...]

    @cached_property
    def known(self) -> Puzzle:
        """The puzzle of the catalogue."""
        return load(self.like.puzzle)

    @cached_property
    def goes(self) -> dict[int, int]:
        """For each placement of a block's piece the placement of the known puzzle's piece."""
        return dict(self.like.goes)

    @cached_property
    def _back(self) -> dict[tuple[int, int], int]:
        """The placement here by its type and that of the known puzzle."""
        kinds, slots = self.puzzle.type_of, self.puzzle.slot_of
        return {(int(kinds[slots[p]]), g): p for p, g in self.goes.items()}

    @cached_property
    def blocks(self) -> dict[int, tuple[int, ...]]:
        """The slots here of each slot of the known puzzle whose piece is a block."""
        result: dict[int, set[int]] = {}
        for p, g in self.goes.items():
            result.setdefault(int(self.known.slot_of[g]), set()).add(int(self.puzzle.slot_of[p]))
        return {slot: tuple(sorted(own)) for slot, own in sorted(result.items())}

    @cached_property
    def turns(self) -> dict[int, int]:
        """The turn here that does what each turn of the known puzzle does."""
        own, theirs = self.puzzle, self.known
        places = np.array(sorted(self.goes), dtype=np.int64)
        there = np.array([self.goes[p] for p in places.tolist()], dtype=np.int64)
        lookup = np.full(own.placement_count, -1, dtype=np.int64)
        lookup[places] = there
        names = dict(self.like.layers)
        result = {}
        for number, turn in enumerate(theirs.turns):
            layer = own.layer_numbers[names[turn.layer]]
            for t in np.flatnonzero(own.turn_layer == layer).tolist():
                if np.array_equal(lookup[own.moves[t][places]], theirs.moves[number][there]):
                    result[number] = t
        return result

    @property
    def sound(self) -> bool:
        """Whether blocks and turns can be told from each other."""
        return len(self._back) == len(self.goes) and len(self.turns) == len(self.known.turns)

    def spread(self, effect: Table) -> Table:
        """Return an effect of the known puzzle's pieces as one of the pieces here."""
        result = np.arange(self.puzzle.placement_count, dtype=np.int32)
        kinds, slots = self.puzzle.type_of, self.puzzle.slot_of
        for p, g in self.goes.items():
            result[p] = self._back[int(kinds[slots[p]]), int(effect[g])]
        return result

    def gathered(self, effect: Table) -> Table | None:
        """Return what an effect here is to the known puzzle, None where blocks are not joined."""
        result = np.arange(self.known.placement_count, dtype=np.int32)
        seen: dict[int, int] = {}
        for p, g in self.goes.items():
            there = self.goes.get(int(effect[p]), -1)
            if there < 0 or seen.setdefault(g, there) != there:
                return None
            result[g] = there
        # Pieces of a block that have one placement each may have gone apart unseen until here.
        theirs = self.known
        own = np.arange(theirs.placement_count)
        slots, twists = theirs.slot_of, np.array([kind.twists for kind in theirs.types])
        first = result[theirs.home[slots]]
        twist = (theirs.twist_of[first] + theirs.twist_of[own]) % twists[theirs.type_of[slots]]
        whole = (slots[result] == slots[first]) & (theirs.twist_of[result] == twist)
        return result if whole.all() else None

    def shown(self) -> tuple[Shown, ...]:
        """Return what a joined puzzle can show and the known one cannot."""
        balance = Balance(Looks(self.puzzle))
        whole = layer_group(self.known)
        result = []
        for effect, kind, swap in self.changes():
            if any(whole.contains(np.array([effect]))):
                continue
            sums = balance.of(Contents.of(balance.looks, self.spread(effect)))
            entries = [e for e, s in zip(balance.entries, sums.tolist(), strict=True) if s]
            if any(e.part.type not in self.joined for e in entries):
                continue
            result.append(Shown(kind, swap, bool(entries)))
        return tuple(result)

    def changes(self) -> Iterator[tuple[Table, str, bool]]:
        """Yield for each kind of block one turned in its place and two that change places."""
        theirs = self.known
        for kind in theirs.types:
            own = [slot for slot in kind.slots if len(self.blocks.get(slot, ())) > 1]
            if not own:
                continue
            if kind.twists > 1:
                yield self.effect({own[0]: (own[0], 1)}), kind.name, False
            if len(own) > 1:
                yield self.effect({own[0]: (own[1], 0), own[1]: (own[0], 0)}), kind.name, True

    def effect(self, there: dict[int, tuple[int, int]]) -> Table:
        """Return the effect on the known puzzle that carries pieces to slots, twisted there."""
        theirs = self.known
        result = np.arange(theirs.placement_count, dtype=np.int32)
        for slot, (end, twist) in there.items():
            twists = theirs.types[int(theirs.type_of[slot])].twists
            own = np.arange(twists)
            result[theirs.home[slot] + own] = theirs.home[end] + (own + twist) % twists
        return result


def joinable(puzzle: Puzzle, matters: tuple[int, ...]) -> tuple[Joined, ...]:
    """Return the layers that alone make known puzzles with blocks, or after some types are right.

    ``matters`` are the types, by number, of which it shows whether they are right.
    """
    result: list[Joined] = []
    seen: set[tuple[int, ...]] = set()
    for like in layers_like(puzzle, layer_kinds(puzzle)):
        if like.held is not None or like.more or like.kinds in seen:
            continue
        parts = [(number, count) for _, own in like.made_of for number, count in own]
        sizes = [sum(count for _, count in own) for _, own in like.made_of]
        whole = {number for number, _ in parts}
        joined = {
            number
            for size, (_, own) in zip(sizes, like.made_of, strict=True)
            for number, _ in own
            if size > 1
        }
        first = tuple(n for n in matters if n not in whole)
        found = Joined(puzzle, like, first, tuple(sorted(joined)))
        if whole & set(like.riding) or not (joined or first) or not found.sound:
            continue
        seen.add(like.kinds)
        result.append(found)
    return tuple(result)
