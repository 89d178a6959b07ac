"""How solving by a method goes on random scrambles: turns, and what each stage takes."""

from __future__ import annotations

import statistics
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from puzzles.errors import RequestError
from puzzles.scrambles import scrambles
from search.method_solving import MethodSolver
from search.solving_free import FreePlay
from search.solving_looks import Contents
from search.solving_stages import Stage
from search.solving_steps import BALANCE, CYCLE, FREE, PRODUCT

#: Scrambles of which the ways of free play are counted.
COUNTED = 3


@dataclass(frozen=True)
class Ways:
    """How many short words put one more piece right while ``right`` pieces and all earlier stay.

    ``ways`` on average, among all words of at most so many turns as free play has; ``turns`` the
    fewest that any of them has, on average over the states that have one, 0 for none.
    """

    right: int
    ways: float
    turns: float


@dataclass(frozen=True)
class Stretch:
    """What a stage took in the median: pieces right at its beginning, and after free play.

    ``free`` turns of free play, ``odd`` turns that put sums right, ``cycles`` three-cycles and
    their turns ``cycling``; ``looked_up`` turns for what has few arrangements. ``ways`` say how
    free play goes on.
    """

    pieces: int
    begins: float
    placed: float
    free: float
    odd: float
    cycles: float
    cycling: float
    looked_up: float
    ways: tuple[Ways, ...]


@dataclass(frozen=True)
class Tried:
    """Solves of ``count`` scrambles, of which ``solved`` came to the end.

    ``turns`` are the executed turns of each, ascending; ``odd`` is how many needed an odd turn;
    ``free_turns`` the most turns of a word of free play.
    """

    count: int
    solved: int
    turns: tuple[int, ...]
    odd: int
    free_turns: int
    stretches: tuple[Stretch, ...]

    @property
    def median(self) -> float:
        """The executed turns of a solve in the median."""
        return float(statistics.median(self.turns)) if self.turns else float("inf")


@dataclass
class Spent:
    """What one solve spent in one stage."""

    begins: int = 0
    placed: int = 0
    free: int = 0
    odd: int = 0
    cycles: int = 0
    cycling: int = 0
    looked_up: int = 0


def tried(
    solver: MethodSolver,
    count: int,
    seed: int,
    over: Callable[[], bool] = lambda: False,
    counted: int = COUNTED,
) -> Tried:
    """Return how solving so many scrambles goes; fewer when ``over()`` says so, at least one.

    For the first ``counted`` of them the ways of free play are counted.
    """
    puzzle = solver.puzzle
    turns: list[int] = []
    rows: list[list[Spent]] = []
    odd = solved = done = 0
    counts: list[dict[int, list[tuple[int, int]]]] = [{} for _ in solver.stages]
    for number, word in enumerate(scrambles(puzzle, count, seed)):
        if done and over():
            break
        done += 1
        state = puzzle.effect(word)
        try:
            solution, stages = solver.staged(state)
        except RequestError:
            continue
        if not solution.solved:
            continue
        solved += 1
        turns.append(len(solution.word))
        odd += any(step.kind == BALANCE for step in solution.steps)
        own = [Spent() for _ in solver.stages]
        here, begun = state, -1
        for step, at in zip(solution.steps, stages, strict=True):
            slots = _slots(solver.stages[at])
            while begun < at:
                begun += 1
                right = Contents.of(solver.looks, here).right
                own[begun].begins = own[begun].placed = int(
                    right[_slots(solver.stages[begun])].sum()
                )
            row, size = own[at], len(step.word)
            if number < counted and step.kind in (FREE, CYCLE):
                _count(solver, at, here, counts[at])
            for turn in step.word:
                here = puzzle.moves[turn][here]
            if step.kind == CYCLE:
                row.cycles, row.cycling = row.cycles + 1, row.cycling + size
                continue
            row.placed = int(Contents.of(solver.looks, here).right[slots].sum())
            row.free += size * (step.kind == FREE)
            row.odd += size * (step.kind == BALANCE)
            row.looked_up += size * (step.kind == PRODUCT)
        for rest in range(begun + 1, len(own)):
            own[rest].begins = own[rest].placed = len(_slots(solver.stages[rest]))
        rows.append(own)
    stretches = tuple(
        _stretch(solver, k, [row[k] for row in rows], counts[k]) for k in range(len(solver.stages))
    )
    most = solver.free_turns or 0
    return Tried(
        done, solved, tuple(sorted(turns)), odd, min(most, solver.words.longest), stretches
    )


def _slots(stage: Stage) -> list[int]:
    return [s for number in stage.types for s in stage.puzzle.types[number].slots]


def _stretch(
    solver: MethodSolver, number: int, rows: list[Spent], counts: dict[int, list[tuple[int, int]]]
) -> Stretch:
    def middle(name: str) -> float:
        return float(statistics.median(getattr(row, name) for row in rows)) if rows else 0.0

    ways = []
    for right, seen in sorted(counts.items()):
        shortest = [turns for _, turns in seen if turns]
        ways.append(
            Ways(
                right,
                round(statistics.mean(n for n, _ in seen), 1),
                round(statistics.mean(shortest), 1) if shortest else 0.0,
            )
        )
    return Stretch(
        len(_slots(solver.stages[number])),
        middle("begins"),
        middle("placed"),
        middle("free"),
        middle("odd"),
        middle("cycles"),
        middle("cycling"),
        middle("looked_up"),
        tuple(ways),
    )


def _count(
    solver: MethodSolver,
    number: int,
    effect: np.ndarray[tuple[int, ...], np.dtype[np.int32]],
    counts: dict[int, list[tuple[int, int]]],
) -> None:
    """Count the short words that put one more piece right and leave the others alone."""
    stage = solver.stages[number]
    contents = Contents.of(solver.looks, effect)
    words = solver.words
    most = words.up_to(solver.free_turns or words.longest)
    own = _slots(stage)
    earlier = [s for n in stage.before for s in solver.puzzle.types[n].slots]
    right = [s for s in (*own, *earlier) if contents.right[s]]
    weights = np.zeros(solver.puzzle.slot_count)
    weights[[*own, *earlier]] = 1.0
    play = FreePlay(words, solver.balance, weights, solver.free_turns)
    fits = play.worth(contents)
    place = {slot: k for k, slot in enumerate(np.flatnonzero(weights).tolist())}
    keeps = np.ones(most, dtype=np.bool_)
    for slot in right:
        keeps &= fits[place[slot], words.everywhere[slot, :most]] > 0
    puts = np.zeros(most, dtype=np.bool_)
    for slot in own:
        if not contents.right[slot]:
            puts |= fits[place[slot], words.everywhere[slot, :most]] > 0
    fitting = np.flatnonzero(keeps & puts)
    shortest = int(words.turns[fitting].min()) if len(fitting) else 0
    there = int(contents.right[own].sum())
    counts.setdefault(there, []).append((len(fitting), shortest))
