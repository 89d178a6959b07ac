"""Names of slots, stickers and placements, and what a name that somebody wrote stands for.

The faces sorted by angle from a slot, equally near ones and those with its stickers as a group,
name it; a type is named by the fewest groups that tell its slots from all others.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from puzzles import place_names
from puzzles.errors import NameNotFoundError, RequestError
from puzzles.lettering import fitting, lettering
from puzzles.puzzle import PieceType, Puzzle, Sticker

#: The longest name that is looked at, in characters; no printed one has more than 60.
LONGEST_NAME = 100
#: How many names an error lists before it breaks off.
LISTED = 8

_NAME = re.compile(
    r"(?:(?P<type>[^\s:@+]+):)?(?P<letters>[^\W\d_]+(?:\.[^\W\d_]+)*)(?P<number>[1-9][0-9]{0,2})?"
    r"(?:@(?P<face>[^\W\d_])(?P<which>[1-9])?)?(?:\+(?P<twist>[0-9]{1,3}))?"
)


@dataclass(frozen=True)
class Placed:
    """What a name stands for: a slot, and a sticker there with the placement that shows it.

    ``sticker`` is a number in ``puzzle.stickers``; None where no sticker says it. ``placement`` is
    None for a sticker that does not show the twist. ``kind`` is the sticker's class, -1 for none.
    """

    slot: int
    placement: int | None
    sticker: int | None
    kind: int
    text: str


@lru_cache(maxsize=64)
def slot_names(puzzle: Puzzle) -> tuple[str, ...]:
    """Return the printed name of every slot, in order, all different."""
    if puzzle.places is not None:
        return puzzle.places.names
    return tuple(_printed(puzzle, slot, None) for slot in range(puzzle.slot_count))


@lru_cache(maxsize=64)
def placement_names(puzzle: Puzzle) -> tuple[str, ...]:
    """Return the printed name of every placement, in order, all different."""
    if puzzle.places is not None:
        return place_names.with_twists(puzzle)
    return tuple(_placement_name(puzzle, p) for p in range(puzzle.placement_count))


def placement_name(puzzle: Puzzle, placement: int) -> str:
    """Return the printed name of a placement: of its sticker in the type's lowest class."""
    return placement_names(puzzle)[placement]


def sticker_name(puzzle: Puzzle, number: int) -> str:
    """Return the printed name of a sticker, given by its number in ``puzzle.stickers``."""
    sticker, index = puzzle.stickers[number], lettering(puzzle)
    if index.short[int(puzzle.type_of[sticker.slot])]:
        return _printed(puzzle, sticker.slot, sticker.face)
    return slot_names(puzzle)[sticker.slot] + _at(puzzle, number)


def _at(puzzle: Puzzle, number: int) -> str:
    """Return the part of a sticker's name that says its face, with a number where two share it."""
    sticker = puzzle.stickers[number]
    if sticker.face < 0:
        # Without paint a piece has one sticker, and nothing is to be said of it.
        return ""
    same = [n for n in lettering(puzzle).stickers[sticker.slot] if _face(puzzle, n) == sticker.face]
    which = "" if len(same) == 1 else str(same.index(number) + 1)
    return f"@{puzzle.body.faces[sticker.face].name}{which}"


def _face(puzzle: Puzzle, number: int) -> int:
    return puzzle.stickers[number].face


def _placement_name(puzzle: Puzzle, placement: int) -> str:
    index, slot = lettering(puzzle), int(puzzle.slot_of[placement])
    kind = puzzle.types[int(puzzle.type_of[slot])]
    number = index.shown.get((index.main[kind.number], placement))
    if number is not None and index.short[kind.number]:
        return _printed(puzzle, slot, _face(puzzle, number))
    name, twist = slot_names(puzzle)[slot], int(puzzle.twist_of[placement])
    if kind.twists == 1:
        return name
    if number is not None:
        return name + _at(puzzle, number)
    return name + (f"+{twist}" if twist else "")


def _printed(puzzle: Puzzle, slot: int, first: int | None) -> str:
    """Return the shortest of the ways to write a slot that is read back, a face put first."""
    index = lettering(puzzle)
    kind = puzzle.types[int(puzzle.type_of[slot])]
    parts = []
    for n, group in enumerate(index.groups[slot][: index.count[kind.number]]):
        faces = sorted(group, key=lambda face: (n == 0 and face != first, face))
        parts.append("".join(puzzle.body.faces[face].name for face in faces))
    plain, dotted = "".join(parts), ".".join(parts)
    for only, prefix in ((None, ""), (kind, f"{kind.name}:")):
        for letters in (plain, dotted):
            if fitting(puzzle, letters, only) == [slot]:
                return prefix + letters
    return f"{kind.name}:{dotted}{fitting(puzzle, dotted, kind).index(slot) + 1}"


def read_type(puzzle: Puzzle, text: str) -> PieceType:
    """Return the piece type with a name; raises NameNotFoundError."""
    found = puzzle.type_named(text) or puzzle.type_named(text.lower())
    if found is None:
        names = [kind.name for kind in puzzle.types]
        near = difflib.get_close_matches(text.lower(), names, n=3, cutoff=0.5)
        hint = f"did you mean {_either(near)}?" if near else f"the types are {', '.join(names)}"
        raise NameNotFoundError(f"{puzzle.name} has no piece type {text[:40]!r}; {hint}")
    return found


def read_placement(puzzle: Puzzle, text: str) -> Placed:
    """Return what a name stands for.

    Raises NameNotFoundError if no slot or sticker fits, or several do; the text lists them.
    """
    options = _options(puzzle, text)
    if len(options) > 1:
        raise _several(puzzle, text, options)
    return options[0]


def read_cycle(puzzle: Puzzle, texts: Sequence[str]) -> tuple[Placed, ...]:
    """Return what the names of a cycle stand for; names that fit several types agree on one.

    Raises NameNotFoundError, or RequestError if a piece is named twice. Pieces of different types
    and stickers of different classes are returned as they are.
    """
    result = read_together(puzzle, texts)
    seen: set[int] = set()
    for placed in result:
        if placed.slot in seen:
            name = slot_names(puzzle)[placed.slot]
            raise RequestError(f"the piece {name} is named twice; a cycle visits each piece once")
        seen.add(placed.slot)
    return result


def read_together(puzzle: Puzzle, texts: Sequence[str]) -> tuple[Placed, ...]:
    """Return what some names stand for; those that fit several types agree on one.

    Raises NameNotFoundError. A piece may be named more than once.
    """
    every = [_options(puzzle, text) for text in texts]
    unclear = [k for k, options in enumerate(every) if len(options) > 1]
    if unclear:
        types = [[int(puzzle.type_of[placed.slot]) for placed in options] for options in every]
        agreed = [t for t in sorted(set(types[unclear[0]])) if all(x.count(t) == 1 for x in types)]
        if len(agreed) != 1:
            raise _several(puzzle, texts[unclear[0]], every[unclear[0]])
        every = [
            [placed for placed in options if puzzle.type_of[placed.slot] == agreed[0]]
            for options in every
        ]
    return tuple(options[0] for options in every)


def _options(puzzle: Puzzle, text: str) -> list[Placed]:
    """Return all that a name may stand for, at least one thing."""
    text = text.strip()
    if puzzle.places is not None:
        return [_place(puzzle, text)]
    found = _NAME.fullmatch(text) if len(text) <= LONGEST_NAME else None
    if found is None:
        example = placement_names(puzzle)[0]
        raise NameNotFoundError(
            f"{text[:40]!r} is no name of a piece; letters of faces were expected, such as"
            f" {example}"
        )
    kind = read_type(puzzle, found["type"]) if found["type"] else None
    letters = _letters(puzzle, found["letters"], text)
    slots = fitting(puzzle, letters, kind)
    if not slots:
        raise _unknown(puzzle, text, kind)
    if found["number"]:
        number = int(found["number"])
        apart = len({lettering(puzzle).groups[slot] for slot in slots}) > 1
        if apart or number > len(slots):
            raise _unknown(puzzle, text, kind)
        slots = [slots[number - 1]]
    face = _letters(puzzle, found["face"], text) if found["face"] else ""
    which, twist = int(found["which"] or 0), int(found["twist"] or 0)
    options = [
        _turned(puzzle, placed, twist)
        for slot in slots
        for placed in _stickers(puzzle, slot, letters, face, which, text)
    ]
    if not options:
        faces = sorted({_face(puzzle, n) for s in slots for n in lettering(puzzle).stickers[s]})
        if faces and faces[0] < 0:
            raise NameNotFoundError(
                f"{text!r}: there is no such sticker; {puzzle.name} has no paint"
            )
        names = " ".join(puzzle.body.faces[n].name for n in faces)
        raise NameNotFoundError(
            f"{text!r}: there is no such sticker; that piece has stickers on {names}"
        )
    return options


def _place(puzzle: Puzzle, text: str) -> Placed:
    """Return what a name stands for where turns are written down and no sticker shows anything."""
    prefix, slot, placement = place_names.read(puzzle, text, LONGEST_NAME)
    if prefix and slot not in read_type(puzzle, prefix).slots:
        raise _unknown(puzzle, text, read_type(puzzle, prefix))
    return Placed(slot, placement, None, -1, text)


def _letters(puzzle: Puzzle, letters: str, text: str) -> str:
    """Return letters that are all faces, capitals for small ones where there is no doubt."""
    known = {face.name for face in puzzle.body.faces}
    if not set(letters) - {"."} <= known and not {x.swapcase() for x in known} & known:
        letters = "".join(x.swapcase() if x.swapcase() in known else x for x in letters)
    for letter in letters.replace(".", ""):
        if letter not in known:
            faces = " ".join(face.name for face in puzzle.body.faces)
            raise NameNotFoundError(
                f"{text!r}: {letter!r} is no face of {puzzle.name}; the faces are {faces}"
            )
    return letters


def _stickers(
    puzzle: Puzzle, slot: int, letters: str, face: str, which: int, text: str
) -> list[Placed]:
    """Return the stickers of a slot that a name may mean: that at a face, or its main one."""
    index, kind = lettering(puzzle), int(puzzle.type_of[slot])
    own: list[int] = []
    if face and not puzzle.types[kind].stickered:
        name, slots = puzzle.types[kind].name, slot_names(puzzle)
        raise NameNotFoundError(
            f"{text!r}: the slots of the type {name!r} are not painted alike, so no sticker tells "
            f"how a piece sits; write {slots[slot]}, with +1, +2 … for its twists"
        )
    if face or index.short[kind]:
        at = face or letters[0]
        own = [
            n
            for n in index.stickers[slot]
            if _face(puzzle, n) >= 0 and puzzle.body.faces[_face(puzzle, n)].name == at
        ]
        if which:
            own = own[which - 1 : which]
        return [_placed(n, puzzle.stickers[n], text) for n in own]
    home = int(puzzle.home[slot])
    number = index.shown.get((index.main[kind], home))
    return [Placed(slot, home, number, index.main[kind], text)]


def _placed(number: int, sticker: Sticker, text: str) -> Placed:
    placement = sticker.placement if sticker.placement >= 0 else None
    return Placed(sticker.slot, placement, number, sticker.kind, text)


def _turned(puzzle: Puzzle, placed: Placed, twist: int) -> Placed:
    """Return what a name stands for with a twist added."""
    if placed.placement is None or not twist:
        return placed
    home = int(puzzle.home[placed.slot])
    twists = puzzle.types[int(puzzle.type_of[placed.slot])].twists
    placement = home + (placed.placement - home + twist) % twists
    number = lettering(puzzle).shown.get((placed.kind, placement))
    return replace(placed, placement=placement, sticker=number)


def _several(puzzle: Puzzle, text: str, options: list[Placed]) -> NameNotFoundError:
    names = []
    for placed in options:
        same_slot = sum(other.slot == placed.slot for other in options) > 1
        if same_slot and placed.sticker is not None:
            names.append(sticker_name(puzzle, placed.sticker))
        else:
            names.append(slot_names(puzzle)[placed.slot])
    return NameNotFoundError(f"{text.strip()!r} fits several pieces; write {_either(names)}")


def _unknown(puzzle: Puzzle, text: str, kind: PieceType | None) -> NameNotFoundError:
    """Return the error for a name that no slot fits, with the nearest right ones."""
    slots: Iterable[int] = kind.slots if kind else range(puzzle.slot_count)
    known = [slot_names(puzzle)[slot] for slot in slots]
    near = difflib.get_close_matches(text, known, n=3, cutoff=0.4) or known
    what = f"{kind.name} of that name" if kind else "such piece"
    return NameNotFoundError(
        f"{text!r}: there is no {what} on {puzzle.name}; did you mean {_either(near[:3])}?"
    )


def _either(names: Sequence[str]) -> str:
    """Return names as a list in a sentence, broken off where it gets long."""
    if len(names) > LISTED:
        return ", ".join(names[:LISTED]) + ", …"
    return " or ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)
