"""What a method's report says of types that move alike under other layers."""

from __future__ import annotations

from puzzles import brackets
from puzzles.kinship import Likeness
from puzzles.laws import joined, plural
from puzzles.puzzle import Puzzle, Word
from search.method_orders import Plan
from search.nesting import nesting
from service.reports import Report


def alike_report(puzzle: Puzzle, own: Likeness) -> Report:
    """Return which two types move alike, and under which layers."""
    one, other = (puzzle.types[number].name for number in own.types)
    moved = [(puzzle.layers[a].name, puzzle.layers[b].name) for a, b, _ in own.layers]
    changed = [(a, b) for a, b in moved if a != b]
    pairs = [f"{b} for {a}" for a, b in changed]
    text = f"the {plural(one)} move as the {plural(other)} do under other layers: {joined(pairs)}"
    return {
        "types": [one, other],
        "layers": [{"layer": a, "other": b} for a, b in moved],
        "text": text,
    }


def same_report(plan: Plan, word: Word) -> Report | None:
    """Return of which earlier sequence one is the same in other layers, None for a new one."""
    puzzle, same = plan.puzzle, plan.same.get(word)
    if same is None:
        return None
    notation = brackets.text(nesting(puzzle).tree(same.word))
    name = plural(puzzle.types[same.type].name)
    names = [(puzzle.layers[a].name, puzzle.layers[b].name) for a, b in same.layers]
    changed = [f"{b} for {a}" for a, b in names if a != b]
    how = f"with {joined(changed)}" if changed else "turned or mirrored as a whole"
    return {
        "type": puzzle.types[same.type].name,
        "notation": notation,
        "layers": [{"layer": a, "other": b} for a, b in names],
        "text": f"the same as {notation} of the {name}, {how}: nothing more to remember",
    }
