"""What a search in the fixed frame is about: wanted states, kept slots, bodies, plain arrays.

The notion here is the kept *slot*: the piece that is at home there must end up where the wanted
state has it. Pieces that can hold up a turn are kept in any case, so that one knows which turns
are possible before the end of a sequence as well as after its beginning.
"""

from __future__ import annotations

import hashlib
import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from puzzles.errors import LimitError, RequestError
from puzzles.laws import joined
from puzzles.layer_group import layer_group
from puzzles.names import slot_names
from puzzles.puzzle import Puzzle, Table, Word
from search.encoding import MOST_TURN_NUMBERS
from search.fastened import Bodies, bodies, fitting, possible
from search.impossible import ImpossibleError, wanted_effect
from search.kernels.fixed_arrays import Frame

#: Fixed, so that the same search goes the same way everywhere.
SEED = 20_260_102
#: The most placements of a puzzle; there is a table of as many times as many numbers.
MOST_PLACEMENTS = 3_000
#: The most ways in which bodies may go along with the pieces of one cycle.
MOST_WAYS = 64

Triple = tuple[int, int, int]


@dataclass(frozen=True, eq=False)
class Wanted:
    """A state to be reached: the three-cycle it stands for, and its effect (placements,)."""

    triple: Triple
    effect: Table


@dataclass(frozen=True, eq=False)
class Problem:
    """One search in the fixed frame: turns that may be done, kept slots, wanted states.

    ``joined`` are the kept slots of types all of whose slots are kept, ``loose`` the others.
    """

    puzzle: Puzzle
    turns: tuple[int, ...]
    bodies: Bodies
    kept: tuple[int, ...]
    joined: tuple[int, ...]
    loose: tuple[int, ...]
    wanted: tuple[Wanted, ...]

    @property
    def key(self) -> str:
        """What names the search in a cache."""
        state = hashlib.sha256()
        for one in self.wanted:
            state.update(np.ascontiguousarray(one.effect, dtype=np.int32).tobytes())
        return f"{self.puzzle.digest}|fixed|{self.turns}|{self.kept}|{state.hexdigest()}"

    @cached_property
    def frame(self) -> Frame:
        """The plain arrays for the kernels."""
        return _framed(self)

    def fulfils(self, number: int, word: Word) -> bool:
        """Return whether a word, as the puzzle's turns, leads to a wanted state and can be done."""
        puzzle = self.puzzle
        effect = puzzle.effect(word)
        homes = puzzle.home[list(self.kept)]
        there = self.wanted[number].effect[homes]
        return bool(np.array_equal(effect[homes], there)) and possible(puzzle, word)


def problem(
    puzzle: Puzzle,
    triples: Sequence[Triple],
    layers: tuple[int, ...] | None = None,
    kept: tuple[int, ...] | None = None,
) -> Problem:
    """Return the search for the states in which three pieces are cycled and what is kept stays.

    ``layers`` and ``kept`` are numbers of layers and piece types, None for all. Bodies of which a
    piece is named go along. Raises ImpossibleError if that can be for none of the triples.
    """
    every = range(len(puzzle.layers))
    names = {puzzle.layers[k].name for k in (every if layers is None else layers)}
    turns = tuple(n for n, turn in enumerate(puzzle.turns) if turn.layer in names)
    if len(turns) > MOST_TURN_NUMBERS:
        raise LimitError(
            f"the layers that may turn have {len(turns)} turns; a search takes at most "
            f"{MOST_TURN_NUMBERS}, so allow fewer layers"
        )
    if puzzle.placement_count > MOST_PLACEMENTS:
        raise LimitError(
            f"{puzzle.name} has {puzzle.placement_count:,} placements; where turns can be blocked, "
            f"a search takes at most {MOST_PLACEMENTS:,}"
        )
    own = bodies(puzzle, turns)
    moving = puzzle.moves[list(turns)] != np.arange(puzzle.placement_count)
    types = [
        t.number
        for t in puzzle.types
        if (kept is None or t.number in kept) and moving[:, list(t.placements)].any()
    ]
    if not types:
        raise RequestError("there is nothing to search: no kept type is moved by a layer")
    joined_slots = [s for k in types for s in puzzle.types[k].slots]
    loose = [s for s in own.slots if int(puzzle.type_of[s]) not in types]
    wanted: list[Wanted] = []
    reason = ""
    for triple in triples:
        try:
            effects = states(puzzle, own, triple)
            wanted += [Wanted(triple, e) for e in _in_group(puzzle, layers, types, triple, effects)]
        except ImpossibleError as error:
            reason = reason or str(error)
    if not wanted:
        raise ImpossibleError(reason)
    kept_slots = tuple(sorted({*joined_slots, *loose}))
    return Problem(puzzle, turns, own, kept_slots, tuple(joined_slots), tuple(loose), tuple(wanted))


def states(puzzle: Puzzle, own: Bodies, triple: Triple) -> list[Table]:
    """Return the effects that cycle three pieces, with all that is fastened to them.

    Raises ImpossibleError if something that is fastened to one of them would have to stay.
    """
    effect = wanted_effect(puzzle, triple)
    options: list[list[tuple[int, int]]] = []
    for number, members in enumerate(own.members):
        homes = puzzle.home[list(members)]
        there = effect[homes]
        if (own.places[number] == there).all(axis=1).any():
            continue
        asked = [int(p) if p != home else None for p, home in zip(there, homes, strict=True)]
        fits = fitting(own, number, asked)
        if not fits:
            raise ImpossibleError(_held(puzzle, members, [p is not None for p in asked]))
        options.append([(number, place) for place in fits])
    result = []
    for choice in itertools.islice(itertools.product(*options), MOST_WAYS):
        changed = effect.copy()
        for number, place in choice:
            for slot, target in zip(own.members[number], own.places[number][place], strict=True):
                _send(puzzle, changed, slot, int(target))
        if len(np.unique(changed)) == len(changed):
            result.append(changed)
    if not result:
        members = own.members[options[0][0][0]]
        named = [int(effect[p]) != int(p) for p in puzzle.home[list(members)]]
        raise ImpossibleError(_held(puzzle, members, named))
    return result


def _in_group(
    puzzle: Puzzle,
    layers: tuple[int, ...] | None,
    types: list[int],
    triple: Triple,
    effects: list[Table],
) -> list[Table]:
    """Return the effects that some sequence has if no turn is blocked, where pieces go along.

    Raises ImpossibleError if none does. Plain cycles are looked at by ``search.impossible``.
    """
    plain = wanted_effect(puzzle, triple)
    along = [effect for effect in effects if not np.array_equal(effect, plain)]
    if not along:
        return effects
    inside = layer_group(puzzle, layers, types).contains(np.array(along))
    possible_ones = [effect for effect, is_in in zip(along, inside, strict=True) if is_in]
    result = [effect for effect in effects if np.array_equal(effect, plain)] + possible_ones
    if not result:
        homes = puzzle.home[np.flatnonzero(along[0][puzzle.home] != puzzle.home)]
        names = joined([slot_names(puzzle)[puzzle.slot_of[p]] for p in homes])
        raise ImpossibleError(
            f"What is fastened goes along, and no sequence moves just {names} like that, even if "
            "no turn were blocked."
        )
    return result


def _send(puzzle: Puzzle, effect: Table, slot: int, target: int) -> None:
    """Let the piece of a slot go to a placement, at its other twists along with it."""
    home = int(puzzle.home[slot])
    twists = puzzle.types[int(puzzle.type_of[slot])].twists
    there = int(puzzle.home[puzzle.slot_of[target]])
    for x in range(twists):
        effect[home + x] = there + (target - there + x) % twists


def _held(puzzle: Puzzle, members: Sequence[int], moved: Sequence[bool]) -> str:
    names = slot_names(puzzle)
    own = [names[s] for s in members]
    going = joined([n for n, goes in zip(own, moved, strict=True) if goes])
    if len(own) == 1 or all(moved):
        return f"No turn that is possible brings {going} to where it is wanted."
    staying = joined([n for n, goes in zip(own, moved, strict=True) if not goes])
    return (
        f"The pieces {joined(own)} are fastened together, so {going} cannot be cycled while "
        f"{staying} stay{'' if sum(not goes for goes in moved) > 1 else 's'} in place."
    )


def _framed(own: Problem) -> Frame:
    puzzle = own.puzzle
    turns = list(own.turns)
    local = {turn: k for k, turn in enumerate(turns)}
    rows = puzzle.home[list(own.joined)].astype(np.int32)
    row_of_slot = np.full(puzzle.slot_count, -1, dtype=np.int32)
    row_of_slot[list(own.joined)] = np.arange(len(rows))
    layer = puzzle.turn_layer[turns].astype(np.int32)
    free = puzzle.commutes[layer][:, layer] & (layer[:, None] != layer[None, :])
    free &= _bodies_agree(own.bodies, len(turns))
    types = sorted({int(puzzle.type_of[s]) for s in own.joined})
    place = {number: k for k, number in enumerate(types)}
    kinds = [place[int(puzzle.type_of[s])] for s in own.joined]
    twists = [puzzle.types[int(puzzle.type_of[s])].twists for s in own.joined]
    random = np.random.default_rng(SEED)
    cycle = random.integers(
        1, 2**64, size=(len(types), len(rows) + 1, max(twists)), dtype=np.uint64
    )
    return Frame(
        moves=np.ascontiguousarray(puzzle.moves[turns], dtype=np.int32),
        inverse=np.array([local[int(puzzle.inverses[t])] for t in turns], dtype=np.int32),
        layer=layer,
        free=free,
        forth=own.bodies.forth,
        back=own.bodies.back,
        rows=rows,
        row_of=row_of_slot[puzzle.slot_of].astype(np.int32),
        twist_of=puzzle.twist_of.astype(np.int32),
        twists=np.array(twists, dtype=np.int32),
        kind=np.array(kinds, dtype=np.int32),
        value=_values(puzzle, random),
        cycle=cycle,
    )


def _values(puzzle: Puzzle, random: np.random.Generator) -> NDArray[np.uint64]:
    """Return random values for "what is here goes there", the same where both are twisted alike."""
    count = puzzle.placement_count
    drawn = random.integers(1, 2**64, size=(puzzle.slot_count, count), dtype=np.uint64)
    there = np.arange(count)
    result = np.zeros((count, count), dtype=np.uint64)
    for here in range(count):
        result[here] = drawn[puzzle.slot_of[here], untwisted(puzzle, np.full(count, here), there)]
    result[there, there] = 0
    return result


def untwisted(puzzle: Puzzle, here: NDArray[np.int64], there: NDArray[np.int64]) -> Table:
    """Return where what is ``here`` goes, if it went ``there`` and begins with twist 0 instead."""
    twists = np.array([t.twists for t in puzzle.types])[puzzle.type_of[puzzle.slot_of[there]]]
    home = puzzle.home[puzzle.slot_of[there]]
    result: Table = (home + (puzzle.twist_of[there] - puzzle.twist_of[here]) % twists).astype(
        np.int32
    )
    return result


def _bodies_agree(own: Bodies, turns: int) -> NDArray[np.bool_]:
    """Return for which pairs of turns it is all the same to every body which one is first."""
    result = np.ones((turns, turns), dtype=np.bool_)
    for table in own.forth:
        # One more place stands for "not possible", from which nothing leads anywhere.
        whole = np.concatenate([table, np.full((1, turns), -1, dtype=table.dtype)])
        after = whole[whole]  # (places, first turn, second turn)
        result &= (after == after.transpose(0, 2, 1)).all(axis=0)
    return result
