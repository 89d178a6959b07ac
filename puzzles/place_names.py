"""Names where turns are written down: a place's number or own name, with ``+1`` for twists."""

from __future__ import annotations

import difflib
import re

from puzzles.errors import NameNotFoundError
from puzzles.puzzle import PieceType, Puzzle

#: How many names an error lists.
LISTED = 3

_NAME = re.compile(r"(?:(?P<type>[^\s:+]+):)?(?P<name>[^\s:+@]+)(?:\+(?P<twist>[0-9]{1,3}))?")


def with_twists(puzzle: Puzzle) -> tuple[str, ...]:
    """Return the printed name of every placement, in order: ``12``, ``12+1``, ``12+2``."""
    own = _names(puzzle)
    pairs = zip(puzzle.slot_of.tolist(), puzzle.twist_of.tolist(), strict=True)
    return tuple(own[slot] + (f"+{twist}" if twist else "") for slot, twist in pairs)


def read(puzzle: Puzzle, text: str, longest: int) -> tuple[str, int, int]:
    """Return the type (by name, empty if none is given), slot and placement that a name means.

    Raises NameNotFoundError.
    """
    found = _NAME.fullmatch(text) if len(text) <= longest else None
    own = _names(puzzle)
    if found is None:
        raise NameNotFoundError(
            f"{text[:40]!r} is no name of a place; a number or name was expected, such as {own[0]}"
        )
    slot = _slot(own, found["name"])
    if slot is None:
        raise _unknown(puzzle, text, found["name"])
    kind = puzzle.types[int(puzzle.type_of[slot])]
    twist = int(found["twist"] or 0)
    if twist >= kind.twists:
        raise NameNotFoundError(f"{text!r}: {_twists(kind, own[slot])}")
    return found["type"] or "", slot, int(puzzle.home[slot]) + twist


def _names(puzzle: Puzzle) -> tuple[str, ...]:
    assert puzzle.places is not None
    return puzzle.places.names


def _slot(own: tuple[str, ...], name: str) -> int | None:
    """Return the slot with a name, capitals or not where that leaves no doubt; None for none."""
    plain = name.lstrip("0") if name.isdigit() else name
    if plain in own:
        return own.index(plain)
    near = [k for k, other in enumerate(own) if other.lower() == plain.lower()]
    return near[0] if len(near) == 1 else None


def _twists(kind: PieceType, name: str) -> str:
    if kind.twists == 1:
        return f"a piece at {name} sits in one way only; {name} is right"
    return f"a piece at {name} sits in {kind.twists} ways; {name} to {name}+{kind.twists - 1} exist"


def _unknown(puzzle: Puzzle, text: str, name: str) -> NameNotFoundError:
    own = _names(puzzle)
    near = difflib.get_close_matches(name, own, n=LISTED, cutoff=0.6)
    if all(other.isdigit() for other in own):
        hint = f"the places are 1 to {len(own)}"
    elif near:
        hint = f"did you mean {' or '.join(near)}?"
    else:
        hint = f"the places are {own[0]}, {own[1]}, … {own[-1]}"
    return NameNotFoundError(f"{text!r}: there is no such place on {puzzle.name}; {hint}")
