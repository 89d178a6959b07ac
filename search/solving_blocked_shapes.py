"""What decides which turns are possible, apart from which piece is where: the shapes of a puzzle.

Two states in which the fastened bodies fill the same places, whichever bodies they are, allow the
same turns and lead on alike: they have one *shape*. Shapes and turns make a graph; a walk through
it from the home shape back to it is a *loop*, and what loops do to the pieces is a group H. With
one shortest path to every shape held fixed (a spanning tree), each turn t at each shape s stands
for one element of H: path to s, t, path back. These elements generate H (Schreier's lemma; e.g.
Seress, Permutation Group Algorithms, 2003, chapter 4), and a state is a shape with an element of H.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from puzzles.errors import LimitError
from puzzles.puzzle import Puzzle, Table, Word
from puzzles.stopping import look
from search.fastened import bodies
from search.solving_blocked_outlines import (
    Outlines,
    outlines_of,
    seen_twists,
    shown_placements,
)

#: The most shapes of a puzzle that is solved by its shapes; tables have an entry for each turn.
MOST_SHAPES = 50_000
#: The most entries of the table of elements, to bound memory (two bytes each).
MOST_ENTRIES = 200_000_000


@dataclass(frozen=True)
class Kind:
    """Units that loops carry to each other's slots: the rows of points that they stand on.

    Point ``first + k * twists + x`` is slot number k of the kind with twist x. ``units`` are the
    numbers of the units at home in these slots, in order. ``looks[k]`` is the first of the units
    that look like unit number k of the kind (they may change places), else itself.
    """

    name: str
    first: int
    count: int
    twists: int
    units: tuple[int, ...]
    looks: tuple[int, ...]

    @property
    def size(self) -> int:
        """How many points there are."""
        return self.count * self.twists

    @property
    def has_alike(self) -> bool:
        """Whether some of its units may change places unseen."""
        return len(set(self.looks)) < self.count


@dataclass(frozen=True, eq=False)
class Shapes:
    """The shapes of a puzzle, and what turns do there.

    ``turn_to[s, t]`` is the shape after turn t at shape s, -1 where it is blocked; shape 0 is home.
    ``parent[s]`` and ``parent_turn[s]`` are the last step of a shortest path from home.

    A *unit* is a loose piece or a body of fastened ones, told by the slot at home of one of its
    pieces (``reps``). ``standing[s]`` (units,) are the placements of these pieces after the path to
    s. ``acts[s, t]`` (points,) is the element of H that turn t at shape s stands for: what is at
    point p goes to ``acts[s, t, p]``. ``kinds`` say which points belong together; ``offset[u]`` is
    the twist of a point 0 of unit u's slot, ``share[u]`` how many steps of the tables one twist is.
    """

    puzzle: Puzzle
    turn_to: NDArray[np.int32]
    parent: NDArray[np.int32]
    parent_turn: NDArray[np.int32]
    reps: tuple[int, ...]
    kinds: tuple[Kind, ...]
    standing: Table
    acts: NDArray[np.int16]
    point_of: NDArray[np.int16]
    offset: Table
    share: Table
    numbers: dict[bytes, int]
    outlines: tuple[tuple[int, ...], ...]
    apart: bool

    @property
    def points(self) -> int:
        """How many points the units stand on."""
        return int(self.acts.shape[2])

    def path(self, shape: int) -> Word:
        """Return the turns from home to a shape."""
        row = []
        while self.parent[shape] >= 0:
            row.append(int(self.parent_turn[shape]))
            shape = int(self.parent[shape])
        return tuple(reversed(row))

    def shape_of(self, state: Table) -> int | None:
        """Return the shape of a state (placements,), None if bodies stand as they never do."""
        puzzle = self.puzzle
        found = bodies(puzzle, tuple(range(len(puzzle.turns)))).found(puzzle.home, state)
        if -1 in found:
            return None
        own = [self.outlines[b][place] for b, place in enumerate(found)]
        return self.numbers.get(np.sort(np.array(own, dtype=np.int16)).tobytes())

    def element(self, state: Table, shape: int) -> NDArray[np.int16] | None:
        """Return the element of H that a state of a shape is, None where a piece never comes.

        Shape (units,): the point at which each unit stands, counted from the first of all kinds.
        """
        puzzle = self.puzzle
        at = shown_placements(puzzle, self.apart)[state[puzzle.home[list(self.reps)]]]
        slots = puzzle.slot_of[at]
        holder = {int(slot): u for u, slot in enumerate(puzzle.slot_of[self.standing[shape]])}
        kind_of = {u: number for number, kind in enumerate(self.kinds) for u in kind.units}
        result = np.zeros(len(self.reps), dtype=np.int16)
        for u, slot in enumerate(slots.tolist()):
            other = holder.get(slot)
            if other is None or kind_of[other] != kind_of[u]:
                return None
            kind = self.kinds[kind_of[u]]
            steps = seen_twists(puzzle, self.reps[u], self.apart)
            raw = int(puzzle.twist_of[at[u]]) - int(puzzle.twist_of[self.standing[shape, other]])
            raw = (raw + int(self.offset[u]) - int(self.offset[other])) % steps
            if raw % int(self.share[u]):
                return None
            result[u] = int(self.point_of[other]) + raw // int(self.share[u]) % kind.twists
        return result


@lru_cache(maxsize=8)
def shapes(puzzle: Puzzle, apart: bool = False) -> Shapes:
    """Return the shapes of a puzzle and the elements of H; raises LimitError if there are too many.

    ``apart``: pieces that look alike are told apart, and so are twists that paint does not show.
    """
    own = outlines_of(puzzle, apart)
    start = np.sort(np.array([places[0] for places in own.outlines], dtype=np.int16))
    turn_to, parent, parent_turn, numbers = _graph(own.steps, start, len(puzzle.turns))
    reps = _units(puzzle, apart, own)
    shown = shown_placements(puzzle, apart)
    moves = shown[puzzle.moves]
    standing = np.empty((len(turn_to), len(reps)), dtype=np.int32)
    standing[0] = puzzle.home[list(reps)]
    for s in range(1, len(turn_to)):
        standing[s] = moves[parent_turn[s], standing[parent[s]]]
    to, shift = _compared(puzzle, turn_to, moves, standing)
    kinds, point_of, offset, share = _kinds(puzzle, reps, to, shift, apart)
    total = sum(kind.size for kind in kinds)
    if turn_to.size * total > MOST_ENTRIES:
        raise LimitError(
            f"what is fastened together can stand in {len(turn_to):,} ways, and tables for "
            f"{len(puzzle.turns)} turns at each of them would take more than "
            f"{MOST_ENTRIES // 500_000:,} MB"
        )
    acts = np.empty((*turn_to.shape, total), dtype=np.int16)
    acts[:] = np.arange(total, dtype=np.int16)
    for kind in kinds:
        for u in kind.units:
            look()
            goes = (shift[:, :, u] + offset[u] - offset[to[:, :, u]]) // share[u] % kind.twists
            for x in range(kind.twists):
                image = point_of[to[:, :, u]] + (goes + x) % kind.twists
                acts[:, :, point_of[u] + x] = np.where(turn_to >= 0, image, point_of[u] + x)
    return Shapes(
        puzzle,
        turn_to,
        parent,
        parent_turn,
        reps,
        kinds,
        standing,
        acts,
        point_of,
        offset,
        share,
        numbers,
        own.outlines,
        apart,
    )


def _graph(
    steps: NDArray[np.int32], start: NDArray[np.int16], turns: int
) -> tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.int32], dict[bytes, int]]:
    """Return where turns lead from every shape, and a shortest path to each, breadth first."""
    numbers, row = {start.tobytes(): 0}, [start]
    parent, parent_turn, lines = [-1], [-1], []
    for at, own in enumerate(row):
        look()
        line = []
        for turn in range(turns):
            after = steps[own, turn]
            if (after < 0).any():
                line.append(-1)
                continue
            after = np.sort(after).astype(np.int16)
            key = after.tobytes()
            if key not in numbers:
                if len(row) >= MOST_SHAPES:
                    raise LimitError(
                        f"what is fastened together can stand in more than {MOST_SHAPES:,} ways, "
                        "which is too many to solve the puzzle by"
                    )
                numbers[key] = len(row)
                row.append(after)
                parent.append(at)
                parent_turn.append(turn)
            line.append(numbers[key])
        lines.append(line)
    return (
        np.array(lines, dtype=np.int32).reshape(len(row), turns),
        np.array(parent, dtype=np.int32),
        np.array(parent_turn, dtype=np.int32),
        numbers,
    )


def _units(puzzle: Puzzle, apart: bool, own: Outlines) -> tuple[int, ...]:
    """Return for each unit whose place can be seen the slot at home of the piece that tells it."""
    bound = set(bodies(puzzle, tuple(range(len(puzzle.turns)))).slots)
    result = [slot for slot in own.reps if slot is not None]
    result += [slot for slot in range(puzzle.slot_count) if slot not in bound]
    shown = shown_placements(puzzle, apart)
    goes = shown[puzzle.moves[:, puzzle.home]]
    return tuple(slot for slot in result if (goes[:, slot] != puzzle.home[slot]).any())


def _compared(
    puzzle: Puzzle, turn_to: NDArray[np.int32], moves: Table, standing: Table
) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Return for each turn at each shape whose place each unit takes, and how twisted against it.

    Both (shapes, turns, units), the twist in steps of the tables. A unit itself where blocked.
    """
    count, turns = turn_to.shape
    units = standing.shape[1]
    to = np.broadcast_to(np.arange(units, dtype=np.int32), (count, turns, units)).copy()
    shift = np.zeros((count, turns, units), dtype=np.int32)
    holder = np.full((count, puzzle.slot_count), -1, dtype=np.int32)
    np.put_along_axis(holder, puzzle.slot_of[standing], np.arange(units, dtype=np.int32)[None], 1)
    for turn in range(turns):
        look()
        at = np.flatnonzero(turn_to[:, turn] >= 0)
        after, there = moves[turn][standing[at]], turn_to[at, turn]
        other = np.take_along_axis(holder[there], puzzle.slot_of[after], 1)
        if (other < 0).any():
            raise RuntimeError(f"{puzzle.name}: shapes do not tell where bodies stand")
        to[at, turn] = other
        held = np.take_along_axis(standing[there], other, 1)
        shift[at, turn] = puzzle.twist_of[after] - puzzle.twist_of[held]
    return to, shift


def _kinds(
    puzzle: Puzzle,
    reps: tuple[int, ...],
    to: NDArray[np.int32],
    shift: NDArray[np.int32],
    apart: bool,
) -> tuple[tuple[Kind, ...], NDArray[np.int16], Table, Table]:
    """Return the kinds of units, and for each unit its point, its offset and its share.

    Twists are counted against an offset of each slot, so that those which loops bring about are
    multiples of one share: along a tree by which a kind hangs together all are zero.
    """
    units = len(reps)
    # As one number each, in the same order as rows: many times faster.
    low, span = int(shift.min(initial=0)), int(np.ptp(shift)) + 1 if shift.size else 1
    codes = (np.arange(units, dtype=np.int64) * units + to) * span + (shift - low)
    near: list[list[tuple[int, int]]] = [[] for _ in range(units)]
    for code in np.unique(codes).tolist():
        u, v, twist = code // span // units, code // span % units, code % span + low
        near[u].append((v, twist))
        near[v].append((u, -twist))
    offset = np.zeros(units, dtype=np.int32)
    share = np.ones(units, dtype=np.int32)
    point_of = np.zeros(units, dtype=np.int16)
    kinds: list[Kind] = []
    done: set[int] = set()
    first = 0
    for start in range(units):
        if start in done:
            continue
        row, steps = [start], seen_twists(puzzle, reps[start], apart)
        done.add(start)
        for u in row:
            for v, twist in near[u]:
                if v not in done:
                    done.add(v)
                    row.append(v)
                    offset[v] = (offset[u] + twist) % steps
        step = steps
        for u in row:
            for v, twist in near[u]:
                step = math.gcd(step, int(offset[u]) + twist - int(offset[v]))
        own = sorted(row)
        twists = steps // step
        share[own] = step
        for k, u in enumerate(own):
            point_of[u] = first + k * twists
        name = puzzle.types[int(puzzle.type_of[reps[start]])].name
        looks = tuple(range(len(own))) if apart else _looks(puzzle, reps, own)
        kinds.append(Kind(name, first, len(own), twists, tuple(own), looks))
        first += len(own) * twists
    return tuple(kinds), point_of, offset, share


def _looks(puzzle: Puzzle, reps: tuple[int, ...], units: list[int]) -> tuple[int, ...]:
    """Return for each unit of a kind the first one that looks the same, by number in the kind.

    Bodies, and pieces with twists, are all told apart.
    """
    bound = set(bodies(puzzle, tuple(range(len(puzzle.turns)))).slots)
    first: dict[int, int] = {}
    result = []
    for k, u in enumerate(units):
        slot = reps[u]
        plain = slot not in bound and puzzle.types[int(puzzle.type_of[slot])].twists == 1
        result.append(first.setdefault(int(puzzle.alike[slot]), k) if plain else k)
    return tuple(result)
