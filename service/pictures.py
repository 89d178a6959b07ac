"""Pictures that are asked for by address: of a solved puzzle, or of the state after a sequence."""

from __future__ import annotations

from puzzles.effects import cycles, effect_of
from puzzles.names import read_type
from puzzles.picture import draw
from puzzles.puzzle import Puzzle
from puzzles.state_picture import draw_state
from search.impossible import wanted_effect
from search.request import request
from search.wanted import effect_request
from service.requesting import FieldError, built, doable, names_in


def picture(
    puzzle: Puzzle,
    cycle: str | None = None,
    sequence: str | None = None,
    kind: str | None = None,
    behind: bool = True,
    after: str | None = None,
    effect: str | None = None,
) -> str:
    """Return a picture of a puzzle as SVG; see ``Desk.picture``."""
    given = {"cycle": cycle, "effect": effect, "sequence": sequence, "type": kind}
    last = [field for field, text in given.items() if text is not None][1:]
    if last:
        text = "give a cycle, an effect, a sequence or a type to draw, not several of them"
        raise FieldError(text, last[-1])
    triple = None if cycle is None else request(puzzle, names_in(cycle)).triples()[0]
    if after is not None:
        if (effect, sequence, kind) != (None, None, None):
            raise FieldError("the state after a sequence is drawn alone, or with a cycle", "after")
        word = built(puzzle, after, "after").word
        return draw_state(puzzle, word, triple or (), title=f"{puzzle.name} after {after}")
    if triple is not None:
        wanted_effect(puzzle, triple)
        return draw(puzzle, triple, hidden=behind)
    if effect is not None:
        return draw(puzzle, hidden=behind, cycles=effect_request(puzzle, effect).cycles)
    if sequence is None:
        marked = () if kind is None else read_type(puzzle, kind).slots
        return draw(puzzle, marked=marked, hidden=behind, alone=kind is not None)
    found = cycles(puzzle, effect_of(puzzle, doable(puzzle, sequence).word))
    slots = [int(puzzle.slot_of[p]) for one in found for p in one]
    single = len(found) == 1 and len(set(slots)) == len(slots)
    return draw(puzzle, found[0] if single else None, () if single else slots, hidden=behind)
