"""A solution in words: what each step does and why, what it puts right and what it keeps."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from puzzles import brackets
from puzzles.effects import cycle_text
from puzzles.laws import joined, plural
from puzzles.names import slot_names
from puzzles.notation import parse, write
from puzzles.puzzle import Puzzle
from puzzles.words import normal, shortened
from search.brackets import shortest_form
from search.brackets import text as bracket_text
from search.solving_looks import Contents, Looks
from search.solving_steps import BALANCE, CYCLE, FREE, LEARNED, Solution, Step
from search.solving_sums import Balance
from search.tools import Tools

#: How many slots are named one by one; of more it is said how many there are.
NAMED = 6


@dataclass(frozen=True)
class Told:
    """One step as it is shown.

    ``sequence`` are plain turns, ``notation`` the same in brackets where it has any. ``right``,
    ``moved`` and ``kept`` are names of slots that come right, that were right and are not any more,
    and that stay right; ``done`` the types of which all are right afterwards.
    """

    step: Step
    sequence: str
    notation: str
    cycle: str
    right: tuple[str, ...]
    moved: tuple[str, ...]
    kept: tuple[str, ...]
    done: tuple[str, ...]
    reason: str


def told(
    solution: Solution, tools: Mapping[int, Tools] | None = None, balance: Balance | None = None
) -> Iterator[Told]:
    """Yield the steps of a solution as they are shown.

    ``tools`` by the number of a type have brackets of three-cycles at hand, ``balance`` says what
    sums are wrong before they are put right.
    """
    puzzle, names = solution.puzzle, slot_names(solution.puzzle)
    effect = solution.start
    for step in solution.steps:
        before = Contents.of(solution.looks, effect)
        for turn in step.word:
            effect = puzzle.moves[turn][effect]
        after = Contents.of(solution.looks, effect).right
        moved = np.flatnonzero(before.right & ~after).tolist()
        done = _done(solution.looks, after)
        notation = _notation(puzzle, step, tools or {})
        yield Told(
            step,
            _sequence(puzzle, step, notation),
            notation,
            cycle_text(puzzle, step.cycle) if step.cycle else "",
            tuple(names[k] for k in step.right),
            tuple(names[k] for k in moved),
            tuple(names[k] for k in step.kept),
            done,
            _reason(puzzle, step, before, moved, done, balance),
        )


def _done(looks: Looks, right: NDArray[np.bool_]) -> tuple[str, ...]:
    types = [t for t in looks.puzzle.types if looks.matters[t.number]]
    return tuple(t.name for t in types if right[list(t.slots)].all())


def _sequence(puzzle: Puzzle, step: Step, notation: str) -> str:
    """Return the turns of a step in the order in which its brackets have them."""
    if step.kind == CYCLE and step.form is None and not puzzle.can_block:
        word = shortened(puzzle, parse(puzzle, notation).word)
        if normal(puzzle, word) == normal(puzzle, step.word):
            return write(puzzle, word)
    return write(puzzle, step.word)


def _notation(puzzle: Puzzle, step: Step, tools: Mapping[int, Tools]) -> str:
    if step.form is not None:
        return brackets.text(step.form)
    if step.kind != CYCLE:
        return write(puzzle, step.word)
    kind = int(puzzle.type_of[puzzle.slot_of[step.cycle[0]]]) if step.cycle else -1
    if kind in tools:
        said = tools[kind].written(step.cycle)
        if said.word == step.word:
            return said.notation
    form = shortest_form(puzzle, step.word)
    return write(puzzle, step.word) if form is None else bracket_text(puzzle, form)


def _reason(
    puzzle: Puzzle,
    step: Step,
    before: Contents,
    moved: list[int],
    done: tuple[str, ...],
    balance: Balance | None,
) -> str:
    names = slot_names(puzzle)
    comes = _named([names[k] for k in step.right], "comes", "come")
    goes = _named([names[k] for k in moved], "is disturbed", "are disturbed")
    if step.kind == CYCLE:
        if comes:
            return f"{comes} right, all else stays." if not moved else f"{comes} right; {goes}."
        return "It prepares the next step: all pieces that are wrong get where one more mends them."
    if step.kind == LEARNED:
        if not comes:
            return f"It prepares the next step{f'; {goes} for now' if moved else ''}."
        return f"{comes} right{f'; {goes} for now' if moved else ', all that is right stays'}."
    if step.kind == FREE:
        if not moved and not comes:
            return "Free play: it prepares the next step."
        if not moved:
            return f"Free play: {comes} right and nothing that is right is disturbed."
        return f"Free play: {comes} right; {goes} for now." if comes else f"Free play: {goes}."
    if step.kind == BALANCE:
        what = joined(_unbalanced(before, balance)) if balance is not None else ""
        why = f": {what}, which no three-cycle changes" if what else ""
        more = f" On the way {comes} right." if comes else ""
        return f"What three-cycles leave as it is has to be right first{why}.{more}"
    finished = f"; then the {joined([plural(t) for t in done])} are right" if done else ""
    return f"No three-cycle does this: a product of short words that keep more and more{finished}."


def _unbalanced(before: Contents, balance: Balance) -> list[str]:
    result = []
    for entry, value in zip(balance.entries, balance.of(before).tolist(), strict=True):
        if not value:
            continue
        if entry.what == "parity":
            result.append(f"{entry.part.words} are rearranged by an odd number of swaps")
        elif entry.part.single:
            result.append(f"{entry.part.words} is twisted")
        else:
            result.append(f"the twists of {entry.part.words} do not add up to a whole turn")
    return result


def _named(names: list[str], one: str, several: str) -> str:
    """Return names with a verb, or how many there are; empty for none."""
    if not names:
        return ""
    if len(names) > NAMED:
        return f"{len(names)} pieces {several}"
    return f"{joined(names)} {one if len(names) == 1 else several}"
