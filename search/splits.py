"""A state of a few pieces of one kind as the best product of at most four three-cycles.

All products of two three-cycles on the named slots are multiplied out twice, onto the state and
onto the solved slots; where both look the same, four three-cycles solve the state. As every such
product is met, the best by any measure is proven best among products of at most four three-cycles
on those slots, each done by the word that the table (``split_tables.Cycles``) has for it. Nothing
is proven of other words: a three-cycle may have a shorter one.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from puzzles import stopping
from puzzles.puzzle import PieceType, Puzzle
from puzzles.states import State
from search.frames import Numbers
from search.split_tables import (
    Cycles,
    Places,
    SlotLooks,
    Slots,
    Triple,
    TypeCycles,
    arrangement,
    looks_of,
    slots_of,
)
from search.tools import Tools

#: The most slots that are looked at together.
MOST_SLOTS = 6
#: The most three-cycles of a product, in two halves.
MOST_CYCLES = 4
#: Products of two three-cycles that are multiplied out at most; 12 twists would need 33 million.
MOST_PAIRS = 2_600_000
#: Pairs that are looked at for all sets of helping slots together.
MOST_HELPING = 600_000
#: Products of four that are measured at once.
CHUNK = 1_000_000
#: Products with at most so many turns more than the fewest are cancelled across their steps.
SPREAD = 4
#: The most products that are cancelled across their steps.
MOST_CANCELLED = 150

#: What a split is best by: executed turns, different sequences, or things to remember.
TURNS, SEQUENCES, MEMORY = "turns", "sequences", "memory"
MEASURES = (TURNS, SEQUENCES, MEMORY)


@dataclass(frozen=True, eq=False)
class Split:
    """Three-cycles of places, done in order, that solve some slots of one kind.

    ``turns`` are those of all steps together, ``executed`` what is left of them after cancelling
    from step to step, ``sequences`` counts the different ones (``Tools.family``), ``things`` what
    is to be remembered of them. ``slots`` are those that the three-cycles may use. ``proven``: no
    product of at most four three-cycles on those slots, each done by the word that the table has
    for it, is better by the measure asked for; other words may be. For turns that is about the
    steps one by one: none has fewer than ``fewest`` turns in all, before anything cancels between
    steps; None where that was not asked for.
    """

    triples: tuple[Triple, ...]
    turns: int
    executed: int
    sequences: int
    things: int
    slots: tuple[int, ...]
    fewest: int | None
    proven: bool

    def order(self, by: str) -> tuple[int, ...]:
        """Return what splits are sorted by, the best first."""
        if by == SEQUENCES:
            return self.sequences, self.executed, self.things
        if by == MEMORY:
            return self.things, self.executed, self.sequences
        return self.executed, self.turns, self.sequences, self.things


@dataclass(frozen=True, eq=False)
class _Halves:
    """All products of two on both sides: keys, turns, and the numbers of the two cycles."""

    keys: Numbers
    turns: Numbers
    first: Numbers
    second: Numbers


def _halves(own: Slots, look: SlotLooks, start: Places) -> _Halves:
    """Return what all products of at most two cycles make of an arrangement."""
    count = len(own.effects)
    one = own.effects[:, start]
    two = own.effects[:, one]  # (second, first, slots)
    keys = look.keys(two.reshape(count * count, -1))
    second, first = (x.reshape(-1) for x in np.indices((count, count)))
    return _Halves(keys, own.turns[first] + own.turns[second], first, second)


def splits(own: Slots, state: State, by: str = TURNS) -> Split | None:
    """Return the best product of at most four three-cycles that solves some slots of a type.

    See ``product``; the slots must hold all that is not solved of their type.
    """
    start = arrangement(state, own.slots)
    if start is None:
        return None
    return product(own, start, looks_of(state.puzzle, own.slots, state.apart), by)


def product(own: Slots, start: Places, look: SlotLooks, by: str = TURNS) -> Split | None:
    """Return the best product of at most four three-cycles that solves slots, None for none.

    ``start`` (slots,) is where the piece of each slot is. Raises ValueError where there are too
    many three-cycles on the slots (``MOST_PAIRS``).
    """
    stopping.look()
    if own.pairs > MOST_PAIRS:
        raise ValueError("too many three-cycles for a complete split")
    still = np.arange(len(own.slots), dtype=np.int8) * own.cycles.twists
    front, back = _halves(own, look, start), _halves(own, look, still.astype(np.int8))
    stopping.look()
    order = np.lexsort((back.turns, back.keys))
    back = _Halves(back.keys[order], back.turns[order], back.first[order], back.second[order])
    low = np.searchsorted(back.keys, front.keys, side="left")
    high = np.searchsorted(back.keys, front.keys, side="right")
    meets = np.flatnonzero(high > low)
    if not len(meets):
        return None
    if by == TURNS:
        return _fewest_turns(own, front, back, meets, low, high)
    return _by_measure(own, front, back, meets, low, high, by)


def _fewest_turns(
    own: Slots, front: _Halves, back: _Halves, meets: Numbers, low: Numbers, high: Numbers
) -> Split:
    """Return the split that has the fewest turns, of those near it the one that cancels most.

    ``fewest`` is the proven least sum of the steps' turns; one with a few more may have fewer left
    when turns cancel from step to step.
    """
    totals = front.turns[meets] + back.turns[low[meets]]
    best = int(totals.min())
    near = meets[totals <= best + SPREAD]
    near = near[np.argsort(front.turns[near] + back.turns[low[near]], kind="stable")]
    rows: dict[tuple[int, ...], int] = {}
    for total in range(best, best + SPREAD + 1):
        for k in near.tolist():
            wanted = total - int(front.turns[k])
            begin = int(low[k] + np.searchsorted(back.turns[low[k] : high[k]], wanted))
            for m in range(begin, int(high[k])):
                if int(back.turns[m]) > wanted or len(rows) >= MOST_CANCELLED:
                    break
                rows.setdefault(_four(own, front, back, k, m), total)
    found = [_split(own, row, best) for row in rows]
    return min(found, key=lambda split: (*split.order(TURNS), split.triples))


def _by_measure(
    own: Slots,
    front: _Halves,
    back: _Halves,
    meets: Numbers,
    low: Numbers,
    high: Numbers,
    by: str,
) -> Split:
    """Return the split that is best by what is remembered, of all products that there are."""
    best: tuple[tuple[int, int], tuple[int, ...]] | None = None
    counts = (high - low)[meets]
    ends = np.cumsum(counts)
    begin = 0
    while begin < len(meets):
        stopping.look()
        before = int(ends[begin - 1]) if begin else 0
        end = max(int(np.searchsorted(ends, before + CHUNK, side="right")), begin + 1)
        part, many = meets[begin:end], counts[begin:end]
        left = np.repeat(part, many)
        offset = np.arange(int(many.sum())) - np.repeat(np.cumsum(many) - many, many)
        right = low[left] + offset
        rows = np.stack(
            [
                front.first[left],
                front.second[left],
                own.inverse[back.second[right]],
                own.inverse[back.first[right]],
            ],
            axis=1,
        )
        turns = own.turns[rows].sum(axis=1)
        if by == SEQUENCES:
            measure = _distinct(own.families[rows], np.ones(rows.shape, dtype=np.int64))
        else:
            measure = _distinct(own.orbits[rows], own.things[rows])
        k = int(np.lexsort((turns, measure))[0])
        score = (int(measure[k]), int(turns[k]))
        if best is None or score < best[0]:
            best = score, tuple(rows[k].tolist())
        begin = end
    assert best is not None
    return _split(own, best[1])


def _distinct(numbers: Numbers, values: Numbers) -> Numbers:
    """Return the sum of values over the different numbers in each row, -1 not counted."""
    order = np.argsort(numbers, axis=1, kind="stable")
    ranked = np.take_along_axis(numbers, order, axis=1)
    own = np.take_along_axis(values, order, axis=1)
    new = ranked >= 0
    new[:, 1:] &= ranked[:, 1:] != ranked[:, :-1]
    result: Numbers = np.where(new, own, 0).sum(axis=1)
    return result


def _four(own: Slots, front: _Halves, back: _Halves, k: int, m: int) -> tuple[int, ...]:
    """Return the cycles of two halves that meet, in the order in which they are done."""
    undone = own.inverse
    row = (
        int(front.first[k]),
        int(front.second[k]),
        int(undone[back.second[m]]),
        int(undone[back.first[m]]),
    )
    done = [number for number in row if number]
    return (*done, *(0 for _ in range(MOST_CYCLES - len(done))))


def _split(own: Slots, row: Iterable[int], fewest: int | None = None) -> Split:
    numbers = [k for k in row if k]
    triples = tuple(_triple(own.triples[k - 1]) for k in numbers)
    return measured(own.cycles, triples, own.slots, fewest, True)


def _triple(row: Numbers) -> Triple:
    a, b, c = (int(p) for p in row)
    return a, b, c


def measured(
    cycles: Cycles,
    triples: tuple[Triple, ...],
    slots: tuple[int, ...],
    fewest: int | None = None,
    proven: bool = False,
) -> Split:
    """Return three-cycles with all their measures."""
    if not triples:
        return Split((), 0, 0, 0, 0, slots, fewest, proven)
    rows = np.array(triples, dtype=np.int64)
    things = _distinct(cycles.orbit(rows)[None, :], cycles.things(rows)[None, :])
    return Split(
        triples,
        int(cycles.cost(rows).sum()),
        cycles.executed(triples),
        len(set(cycles.family(rows).tolist())),
        int(things[0]),
        slots,
        fewest,
        proven,
    )


def best_split(
    tools: Tools, state: State, by: str = TURNS, most_helping: int = MOST_HELPING
) -> Split | None:
    """Return the best split of the unsolved slots of a type, None where there is none.

    See ``best_helped``. ``Split.slots`` are those that were named: the unsolved ones and the
    helping ones that the best makes use of.
    """
    named, cycles = unsolved_of(state, tools.kind), TypeCycles(tools)
    if not named:
        return Split((), 0, 0, 0, 0, (), 0, True)
    if len(named) > MOST_SLOTS or not even(state, tools.kind, named):
        return None

    def split(slots: Sequence[int]) -> Split | None:
        return splits(slots_of(cycles, slots), state, by)

    return best_helped(split, named, tools.kind.slots, cycles.twists, by, most_helping)


def best_helped(
    split: Callable[[Sequence[int]], Split | None],
    named: Sequence[int],
    every: Iterable[int],
    twists: int,
    by: str,
    most_helping: int,
) -> Split | None:
    """Return the best split of at most six slots with the help of others of ``every`` slot.

    Besides the named ones other slots may help, each set of one or two and more as long as that
    looks at no more than ``most_helping`` pairs of three-cycles; where fewer than three slots are
    named, none does without. ``split`` gives the best one on some slots.
    """
    best = split(named) if len(named) >= 3 else None
    others, done = [slot for slot in every if slot not in named], 0
    for extra in range(1, MOST_SLOTS - len(named) + 1):
        sets = list(itertools.combinations(others, extra))
        n, t = len(named) + extra, twists
        pairs = (n * (n - 1) * (n - 2) // 3 * t * t + 1) ** 2
        if (n < 3 or done + pairs * len(sets) > most_helping) and best is not None:
            break
        if n < 3:
            continue
        if best is not None and len(best.triples) <= 1:
            break
        for more in sets:
            done += pairs
            found = split((*named, *more))
            if found is not None and (best is None or found.order(by) < best.order(by)):
                best = found
        if best is None and done > most_helping:
            break
    return best


def even(state: State, kind: PieceType, named: Sequence[int]) -> bool:
    """Return whether nothing forbids a product of three-cycles: even, with twists that add up.

    Where two pieces of the type look the same, any rearrangement looks even as well as odd.
    """
    places = arrangement(state, named)
    if places is None:
        return False
    look = looks_of(state.puzzle, list(kind.slots), state.apart)
    slots, twists = places // kind.twists, places % kind.twists
    if int(twists.astype(np.int64).sum()) % look.seen:
        return False
    if len(np.unique(look.number)) < kind.count:
        return True
    inversions = sum(int(a) > int(b) for a, b in itertools.combinations(slots.tolist(), 2))
    return inversions % 2 == 0


def unsolved_of(state: State, kind: PieceType) -> tuple[int, ...]:
    """Return the slots of a type that do not look solved."""
    return tuple(slot for slot in state.unsolved if slot in kind.slots)


def effect_of_triples(puzzle: Puzzle, triples: Iterable[Triple]) -> NDArray[np.int32]:
    """Return what three-cycles do together, in order; shape (placements,)."""
    from search.impossible import wanted_effect

    effect = np.arange(puzzle.placement_count, dtype=np.int32)
    for triple in triples:
        effect = wanted_effect(puzzle, triple)[effect]
    return effect
