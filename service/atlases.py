"""A whole atlas: for every three-cycle of one piece type, or of all, its best sequences."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from puzzles.names import placement_name, read_type, slot_names
from puzzles.puzzle import PieceType, Puzzle, Table
from search import claims
from search.answers import Searched, told_apart
from search.atlas_entries import Entry, cycles_of, entries, representatives, triple_of
from search.coverage import covered
from search.encoding import Scope, scope, useful_layers, wanted_with_images
from search.goals import Goal, goal_for_all
from search.impossible import ImpossibleError, reason
from search.kernels.arrays import NONE
from search.request import Bounds, kept_types
from search.request import request as requested
from search.setups import within
from search.shelves import Shelves
from service import blocked_atlas
from service.endings import PERSON
from service.engine import Engine, Outcome, forbid_commuting

#: With more three-cycles than this, layers that all commute are not looked at cycle by cycle.
MOST_LOOKED_AT = 5_000


@dataclass(frozen=True)
class AtlasRequest:
    """What an atlas is asked for; layers and kept types by number, None for all.

    ``types`` are the numbers of the piece types. ``alike``: like pieces may change places.
    ``bounds.seconds`` are for all types together; the time limit of a search without bounds is for
    each.
    """

    puzzle: Puzzle
    types: tuple[int, ...]
    layers: tuple[int, ...] | None = None
    kept: tuple[int, ...] | None = None
    alike: bool = False
    bounds: Bounds = field(default_factory=Bounds)

    def reason(self, triple: tuple[int, int, int]) -> str | None:
        """Return why a three-cycle of placements cannot be done, None if nothing forbids it."""
        every = range(len(self.puzzle.types))
        free = () if self.kept is None else [k for k in every if k not in self.kept]
        return reason(self.puzzle, triple, self.layers, self.alike, False, free)


def wanted_types(
    puzzle: Puzzle,
    kind: str | None,
    layers: tuple[int, ...] | None,
    keep: str | Sequence[str] | None,
    free: str | Sequence[str] | None,
) -> tuple[int, ...]:
    """Return the numbers of the types an atlas is for, all that can be if no type is named.

    Raises NameNotFoundError, RequestError, ImpossibleError and LimitError.
    """
    chosen = None if kind is None else read_type(puzzle, kind)
    if chosen is not None and chosen.count >= 3:
        # Any three of them are asked for, so that what is wrong with that is said once.
        names = slot_names(puzzle)
        requested(puzzle, [names[slot] for slot in chosen.slots[:3]], keep=keep, free=free)
    useful = layers is None or bool(useful_layers(puzzle, layers))
    own = scope(puzzle, layers if useful else None, kept_types(puzzle, keep, free))
    roaming = [k for k in own.wanted if puzzle.types[k].count >= 3]
    if chosen is None:
        if not roaming:
            raise ImpossibleError(f"No type of {puzzle.name} has three pieces that change places.")
        return tuple(roaming)
    if chosen.number not in roaming:
        why = (
            f"there are only {chosen.count} of them"
            if chosen.count < 3
            else "they never leave their slots"
        )
        raise ImpossibleError(f"There are no three-cycles of the type {chosen.name}: {why}.")
    return (chosen.number,)


@dataclass(frozen=True, eq=False)
class TypeAtlas:
    """The entries of one type, in order of their cycles, and how many cycles have none.

    ``impossible`` of the ``missing`` cycles are proven impossible, ``reason`` names one of them and
    says why; the others were not found. ``stopped_by``: what ended the search early.
    """

    kind: PieceType
    entries: tuple[Entry, ...]
    missing: int
    impossible: int
    reason: str
    searched: Searched
    stopped_by: str | None

    @property
    def cycles(self) -> int:
        """How many three-cycles the type has."""
        return len(self.entries) + self.missing


@dataclass(frozen=True, eq=False)
class AllPossible(Goal):
    """The goal of an atlas: the best of every three-cycle that can be done at all is proven.

    ``can_be_done`` says that of an orbit by its representative's number.
    """

    can_be_done: Callable[[int], bool] = field(kw_only=True)

    def reached(self, scope: Scope, found: Shelves) -> bool:
        if self.half_length is not None:
            return super().reached(scope, found)
        turns = found.turns
        if self.setup is not None:
            own = found.shortest.cost[:, 0].astype(np.int64)
            turns = within(scope, found.first, own, 2, self.setup)
        unknown = np.flatnonzero(turns >= NONE).tolist()
        hardest = next((k for k in unknown if self.can_be_done(int(found.first[k]))), None)
        if hardest is None:
            known = np.where(turns < NONE, turns, -1)
            if not len(known) or known.max() < 0:
                return True
            hardest = int(known.argmax())
        one = Goal(None, found.first[[hardest]], self.seconds, self.setup)
        return one.reached(scope, found)


def atlas(engine: Engine, request: AtlasRequest) -> Iterator[TypeAtlas]:
    """Yield the atlas of each type that was asked for; stops after one that was stopped.

    Raises NoFormError, and LimitError for bounds that need too much.
    """
    if not useful(request):
        yield from hopeless(request)
        return
    started = time.monotonic()
    for done, number in enumerate(request.types):
        bounds = request.bounds
        if bounds.seconds is not None:
            left = bounds.seconds - (time.monotonic() - started)
            share = max(left, 0.001) / (len(request.types) - done)
            bounds = replace(bounds, seconds=share)
        of_type = blocked_atlas.of_type if request.puzzle.can_block else _of_type
        found = of_type(engine, replace(request, bounds=bounds), number)
        yield found
        if found.stopped_by == PERSON:
            return


def useful(request: AtlasRequest) -> bool:
    """Return whether there is anything to search: not all layers that may turn commute."""
    layers = request.layers
    every = tuple(range(len(request.puzzle.layers)) if layers is None else layers)
    return bool(useful_layers(request.puzzle, every))


def hopeless(request: AtlasRequest) -> list[TypeAtlas]:
    """Return the atlas of types none of whose three-cycles can be done.

    Raises NoFormError if not all of that is proven: then layers that all commute are the reason.
    """
    puzzle, result = request.puzzle, []
    for number in request.types:
        kind = puzzle.types[number]
        triples = cycles_of(puzzle, kind)
        reached = _carried(request)[triples]
        # Where like pieces may change places, another piece may come to where one is wanted.
        open_ones = triples if request.alike else triples[(reached == reached[:, :1]).all(axis=1)]
        if len(open_ones) > MOST_LOOKED_AT or any(
            request.reason((a, b, c)) is None for a, b, c in open_ones.tolist()
        ):
            forbid_commuting(puzzle, request.layers)
        text = "nothing had to be searched"
        searched = Searched(0, request.bounds.setup, None, text)
        reason, count = _reason(request, triples[0].tolist()), len(triples)
        result.append(TypeAtlas(kind, (), count, count, reason, searched, None))
    return result


def _carried(request: AtlasRequest) -> Table:
    """Return for each placement the lowest one that the layers carry to the same places."""
    puzzle, layers = request.puzzle, request.layers
    moves = puzzle.moves if layers is None else puzzle.moves[np.isin(puzzle.turn_layer, layers)]
    lowest = np.arange(puzzle.placement_count, dtype=np.int32)
    while True:
        lower = lowest.copy()
        for move in moves:
            lower = np.minimum(lower, lower[move])
        if np.array_equal(lower, lowest):
            return lowest
        lowest = lower


def _reason(request: AtlasRequest, triple: tuple[int, int, int]) -> str:
    """Return a cycle by name and why it cannot be done; empty if nothing forbids it."""
    text = request.reason((triple[0], triple[1], triple[2]))
    names = " → ".join(placement_name(request.puzzle, p) for p in triple)
    return "" if text is None else f"{names} cannot be done: {text}"


def _of_type(engine: Engine, request: AtlasRequest, number: int) -> TypeAtlas:
    own = scope_of(request, number)
    outcome = engine.search(own, goal_of(request, own), request.bounds)
    return from_shelves(request, own, number, outcome)


def scope_of(request: AtlasRequest, number: int) -> Scope:
    """Return the search for all three-cycles of a type, and of those that are its images."""
    puzzle, layers, kept = request.puzzle, request.layers, request.kept
    return scope(puzzle, layers, kept, wanted_with_images(puzzle, number, layers, kept))


def goal_of(request: AtlasRequest, own: Scope) -> AllPossible:
    """Return how far an atlas's search is to go."""
    goal = goal_for_all(request.bounds, own)
    can_be_done = _Reasons(request, own).can_be_done
    return AllPossible(goal.half_length, None, goal.seconds, goal.setup, can_be_done=can_be_done)


class _Reasons:
    """Why orbits of three-cycles cannot be done, each looked at once."""

    def __init__(self, request: AtlasRequest, own: Scope) -> None:
        self._request, self._scope = request, own
        self.known: dict[int, str | None] = {}

    def can_be_done(self, number: int) -> bool:
        """Return whether nothing forbids an orbit, by its representative's number."""
        if number not in self.known:
            self.known[number] = self._request.reason(triple_of(self._scope, number))
        return self.known[number] is None


def from_shelves(request: AtlasRequest, own: Scope, number: int, outcome: Outcome) -> TypeAtlas:
    """Return the atlas of a type from the shelves that a search for it ended with."""
    puzzle, bounds = request.puzzle, request.bounds
    triples = cycles_of(puzzle, puzzle.types[number])
    every = entries(own, outcome.shelves, triples.tolist(), bounds.setup, request.alike)
    there = [
        entry
        for entry in every
        if entry is not None and (bounds.turns is None or entry.shortest.turns <= bounds.turns)
    ]
    reasons = _Reasons(request, own)
    without = [k for k, entry in enumerate(every) if entry is None]
    impossible = 0
    if without:
        numbers = representatives(own, outcome.shelves, triples[without])
        impossible = sum(not reasons.can_be_done(number) for number in numbers.tolist())
    never = (n for n, text in reasons.known.items() if text)
    return TypeAtlas(
        puzzle.types[number],
        tuple(there),
        len(every) - len(there),
        impossible,
        next((_reason(request, triple_of(own, n)) for n in never), ""),
        _searched(own, request, outcome, bool(there)),
        outcome.stopped_by,
    )


def _searched(own: Scope, request: AtlasRequest, outcome: Outcome, any_found: bool) -> Searched:
    """Say how far a search went, and what that proves of all its cycles."""
    half_length, bounds = outcome.shelves.half_length, request.bounds
    complete = claims.complete(own, half_length) if bounds.setup is None else None
    if complete is not None and bounds.turns is not None:
        complete = min(complete, bounds.turns)
    apart = told_apart(request.alike, own)
    if complete is None:
        text = f"searched {covered(half_length, outcome.shelves.steps, apart)}"
        if bounds.setup is None:
            text += "; on this puzzle that proves no number of turns"
    elif not any_found:
        text = f"none up to {complete} turns among commutator forms{apart}"
    else:
        text = (
            f"complete to {complete} turns among commutator forms{apart}: up to "
            f"{complete + 1} turns, what was found is proven shortest"
        )
    if outcome.note:
        text += f"; {outcome.note}"
    return Searched(half_length, bounds.setup, None if apart else complete, text)
