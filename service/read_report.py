"""A sequence that was read, as a JSON object: what it does, its brackets by levels, its images."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from puzzles import brackets
from puzzles.blocking import why_blocked
from puzzles.effects import cycles, effect_of, order, pieces_moved
from puzzles.names import placement_name, slot_names
from puzzles.notation import write
from puzzles.puzzle import Puzzle, Word
from search.hands import comfort, held, holdings, renamed
from search.reading import FOUND, NEVER, Reading, inverted, read
from search.reading_levels import Level, carried, levels
from search.traces import alphabet
from service.reports import Report, tried

if TYPE_CHECKING:
    from puzzles.notation import Parsed

KINDS = {
    "commutator": "a commutator, [A, B] = A B A' B'",
    "conjugate": "a conjugate, [S: X] = S X S'",
    "repeat": "a repeat",
    "row": "parts in a row",
    "turns": "turns in a row",
    "nothing": "nothing: all its turns cancel",
}


def reading(puzzle: Puzzle, parsed: Parsed) -> Report:
    """Return what a sequence does and how it is made.

    ``commutator`` is true, false where that is proven impossible, null where none was found;
    ``text`` says it in words. ``tree`` has all levels of the brackets. ``inverse``, ``mirrors`` and
    ``holdings`` are sequences to copy: ``up`` and ``front`` say which faces of the puzzle, or of
    its mirror image, are up and in front; those that are easiest for the hands come first.
    """
    found = read(puzzle, parsed.word)
    top = levels(puzzle, found.tree)
    return {
        **tried(puzzle, parsed.word, effect_of(puzzle, parsed.word), parsed.left_over),
        "kind": top.kind,
        "notation": top.notation,
        "things": found.things,
        "commutator": True if found.commutator == FOUND else _none(found),
        "unbalanced": [puzzle.layers[layer].name for layer in found.totals],
        "parts_only": found.parts_only,
        "text": sentence(found, top),
        "tree": level(puzzle, top),
        "inverse": _inverse(puzzle, found),
        "mirrors": _images(puzzle, found, True),
        "holdings": _images(puzzle, found, False),
    }


def _none(found: Reading) -> bool | None:
    return False if found.commutator == NEVER else None


def sentence(found: Reading, top: Level) -> str:
    """Return what a sequence is, and whether it is a commutator, in words."""
    said = KINDS[top.kind]
    if top.kind == "nothing":
        return said
    if found.commutator == FOUND:
        if top.kind == "commutator":
            return said
        if top.kind == "conjugate" and top.parts[1].kind == "commutator":
            return "a commutator with a setup, [S: [A, B]] = S A B A' B' S'"
        return f"{said}; in other brackets it is a commutator"
    if found.commutator == NEVER:
        names = [found.puzzle.layers[layer].name for layer in found.totals]
        return f"{said}; no commutator, for the turns of {_listed(names)} do not sum to nothing"
    if found.parts_only:
        return (
            f"{said}; of a commutator form none found: there is too much of it for all to be looked"
            " at, so that only parts were read"
        )
    return f"{said}; of a commutator form none found"


def _listed(names: list[str]) -> str:
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def level(puzzle: Puzzle, own: Level) -> Report:
    """Return one level of the brackets and all inside it.

    ``shared`` is the one slot that A and B of a commutator both move: the piece of ``waits`` is
    there after A, and B brings that of ``slips``; null where they share more, or none.
    """
    effect = effect_of(puzzle, own.word)
    report: dict[str, Any] = {
        "role": own.role,
        "kind": own.kind,
        "notation": own.notation,
        "sequence": write(puzzle, own.word),
        "turns": len(own.word),
        "things": own.things,
        "times": own.times,
        "cycles": [[placement_name(puzzle, p) for p in c] for c in cycles(puzzle, effect)],
        "order": order(effect),
        "pieces_moved": pieces_moved(puzzle, effect),
        "does": own.reason.kind if own.reason else None,
        "shared": None,
        "why": own.why,
        "parts": [level(puzzle, part) for part in own.parts],
    }
    seen, names = own.reason, slot_names(puzzle)
    if seen is not None and seen.waits is not None and seen.slips is not None:
        here, waits, slips = (names[slot] for slot in (seen.shared[0], seen.waits, seen.slips))
        report["shared"] = {"slot": here, "waits": waits, "slips": slips}
    return report


def _inverse(puzzle: Puzzle, found: Reading) -> Report:
    """Return what undoes a word; ``blocked`` says why it cannot be done on the solved puzzle."""
    word = alphabet(puzzle).normal(puzzle.inverse(found.word))
    return {
        "sequence": write(puzzle, word),
        "notation": brackets.text(inverted(found.tree)),
        "blocked": why_blocked(puzzle, word),
    }


def _images(puzzle: Puzzle, found: Reading, mirrored: bool) -> list[Report]:
    """Return a word's images under reflections or rotations, each once, itself left out."""
    numbers = holdings(puzzle)
    if mirrored:
        every = range(len(puzzle.symmetries)) if puzzle.shape != "written" else ()
        numbers = [k for k in every if puzzle.symmetries[k].reflects]
    normal = alphabet(puzzle).normal
    images: dict[Word, int] = {}

    def effort(k: int) -> tuple[bool, tuple[int, ...], int]:
        usual = mirrored and held(puzzle, k) == (puzzle.up, puzzle.front)
        return not usual, comfort(puzzle, found.word, k), k

    for k in sorted(numbers, key=effort):
        word = normal(renamed(puzzle, found.word, k))
        if word != found.word:
            images.setdefault(word, k)
    return [
        {
            "up": held(puzzle, k)[0],
            "front": held(puzzle, k)[1],
            "sequence": write(puzzle, word),
            "notation": brackets.text(carried(puzzle, found.tree, k)),
        }
        for word, k in images.items()
    ]
