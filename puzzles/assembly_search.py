"""Repairs beyond parity and twist: all ways to take out a few pieces and put them back, tried."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator

import numpy as np

from puzzles.laws import Part
from puzzles.layer_group import LayerGroup, layer_group
from puzzles.mending import changed, cheapest, class_of, wanted
from puzzles.puzzle import Puzzle, Table
from puzzles.states import State

#: The most repairs that are tried, each one look whether a state is in the group.
MOST_TRIED = 60_000
#: Repairs that are looked at together.
CHUNK = 2_000

#: One cycle of a repair: the slots in order, and the twist that each piece gets on its way.
Ring = tuple[tuple[int, ...], tuple[int, ...]]


def possible(own: LayerGroup, state: State) -> bool:
    """Return whether a state, or one that looks like it, lies in a group."""
    return own.contains(state.table)[0] if state.apart else own.contains_alike(state.table)


def searched(own: LayerGroup, state: State, types: Iterable[int]) -> tuple[Table, bool] | None:
    """Return the smallest repair that moves pieces of some types and mends parity and twist.

    ``types`` are those that break laws beyond parity and twist, by number. All rearrangements of a
    few of their pieces are tried, and each that these types can make by turns is completed by the
    cheapest changes of the others. Also whether it is proven that no repair moves fewer pieces;
    None where none was found. Of repairs of as many pieces, one that leaves the fewest slots
    unsolved.
    """
    puzzle, few = own.puzzle, layer_group(own.puzzle, own.layers, types)
    laws = own.laws if state.apart else own.laws_alike
    rest = tuple(part for part in own.parts if part.type not in few.types)
    others = cheapest(own, state, laws, rest)
    best: tuple[int, int, Table] | None = None
    tried = 0
    most = sum(len(part.slots) for part in few.parts)
    for count in range(most + 1):
        if best is not None and count >= best[0]:
            return best[2], True
        effects = repairs(few, count)
        while chunk := list(itertools.islice(effects, CHUNK)):
            tried += len(chunk)
            for effect in _possible(few, state, chunk):
                after = state.after(effect)
                found = others.get(wanted(own, class_of(own, laws, after)))
                if found is None:
                    continue
                whole = effect
                for change in found[2]:
                    whole = changed(puzzle, change)[whole]
                score = count + found[0], len(state.after(whole).unsolved)
                if (best is None or score < best[:2]) and possible(own, state.after(whole)):
                    best = (*score, whole)
            if tried > MOST_TRIED:
                return None if best is None else (best[2], False)
    return None if best is None else (best[2], True)


def _possible(few: LayerGroup, state: State, effects: list[Table]) -> list[Table]:
    """Return the effects after which the state of some types is possible for them alone."""
    if not state.apart and (
        few.alike or any(few.puzzle.types[k].seen < few.puzzle.types[k].twists for k in few.types)
    ):
        return [effect for effect in effects if possible(few, state.after(effect))]
    after = np.array(effects)[:, state.table]
    return [effect for effect, fits in zip(effects, few.contains(after), strict=True) if fits]


def repairs(own: LayerGroup, count: int) -> Iterator[Table]:
    """Yield all effects that move so many pieces within their parts; shape (placements,)."""
    for rings in _rings(own.puzzle, own.parts, count, -1):
        yield _effect(own.puzzle, rings)


def _rings(
    puzzle: Puzzle, parts: tuple[Part, ...], count: int, after: int
) -> Iterator[tuple[Ring, ...]]:
    """Yield sets of cycles on so many slots; each begins at its lowest slot, above ``after``."""
    if count == 0:
        yield ()
        return
    for part in parts:
        twists = puzzle.types[part.type].twists
        for start in part.slots:
            if start <= after:
                continue
            later = [slot for slot in part.slots if slot > start]
            for size in range(1, count + 1):
                for others in itertools.permutations(later, size - 1):
                    for rest in _rings(puzzle, parts, count - size, start):
                        if any({start, *others} & set(row) for row, _ in rest):
                            continue
                        for turned in itertools.product(range(twists), repeat=size):
                            if size > 1 or turned[0]:
                                yield ((start, *others), turned), *rest


def _effect(puzzle: Puzzle, rings: tuple[Ring, ...]) -> Table:
    effect = np.arange(puzzle.placement_count, dtype=np.int32)
    for slots, turned in rings:
        for here, there, twist in zip(slots, slots[1:] + slots[:1], turned, strict=True):
            twists = puzzle.types[int(puzzle.type_of[here])].twists
            x = np.arange(twists)
            effect[int(puzzle.home[here]) + x] = int(puzzle.home[there]) + (x + twist) % twists
    return effect
