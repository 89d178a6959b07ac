"""States entered by the colours that stickers show: which piece has them, and how it sits.

A colour is called by the face that it belongs to when solved, or as a person calls the colours of
their own puzzle.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from puzzles.errors import RequestError
from puzzles.laws import joined
from puzzles.lettering import lettering
from puzzles.names import read_placement, slot_names, sticker_name
from puzzles.puzzle import Puzzle, Table
from puzzles.states import Entered, Sitting, a_piece, looks, seated

#: The longest name of a colour, in characters.
LONGEST_COLOUR = 24
_COLOUR = re.compile(r"[^\W_]+(?:-[^\W_]+)*")
_LETTERS = re.compile(r"(?:[^\s:@+]+:)?(?P<letters>[^\W\d_]+(?:\.[^\W\d_]+)*)[0-9]*")


@dataclass(frozen=True)
class Colours:
    """What the colour of each face is called, by face number; all different."""

    names: tuple[str, ...]

    def known(self, text: str) -> bool:
        """Return whether there is a colour of this name."""
        return text.lower() in [name.lower() for name in self.names]

    def face(self, text: str) -> int:
        """Return the face whose colour has a name; raises RequestError."""
        lower = [name.lower() for name in self.names]
        if text in self.names:
            return self.names.index(text)
        if text.lower() in lower:
            return lower.index(text.lower())
        near = difflib.get_close_matches(text.lower(), lower, 1, 0.6)
        hint = (
            f"did you mean {self.names[lower.index(near[0])]}?"
            if near
            else f"the colours are {' '.join(self.names)}"
        )
        raise RequestError(f"{text[:LONGEST_COLOUR]!r} is no colour of this puzzle; {hint}")


def colours(puzzle: Puzzle, given: Mapping[str, str] | None = None) -> Colours:
    """Return names of colours: the faces' letters, or what is given for them.

    Raises RequestError for a face that is not there, and for two faces of one colour.
    """
    faces = [face.name for face in puzzle.body.faces]
    names = list(faces)
    for face, name in (given or {}).items():
        if face not in faces:
            raise RequestError(
                f"colours: {face[:8]!r} is no face of {puzzle.name}; the faces are "
                + " ".join(faces)
            )
        if len(name) > LONGEST_COLOUR or not _COLOUR.fullmatch(name):
            raise RequestError(
                f"colours: {name[:LONGEST_COLOUR]!r} is no name of a colour; a word of letters "
                f"was expected, such as {face}=white"
            )
        names[faces.index(face)] = name
    for k, name in enumerate(names):
        before = [other.lower() for other in names[:k]]
        if name.lower() in before:
            raise RequestError(
                f"colours: {faces[before.index(name.lower())]} and {faces[k]} are both {name}; "
                "each face has its own colour"
            )
    return Colours(tuple(names))


def read_colours(text: str) -> dict[str, str]:
    """Return the colours by face from text such as ``U=white F=green``; raises RequestError."""
    result: dict[str, str] = {}
    for word in text.replace(",", " ").split():
        face, sign, name = word.partition("=")
        if not (sign and face and name):
            raise RequestError(f"colours: {word[:40]!r} was given; U=white F=green is right")
        if result.setdefault(face, name) != name:
            raise RequestError(f"colours: {face} is given twice")
    return result


def stickers_of(puzzle: Puzzle, slot: int) -> tuple[int, ...]:
    """Return the painted stickers of a slot in the order in which their colours are listed.

    That is the order of the letters in the slot's name where these begin with the faces that the
    slot has stickers on, one on each; else the order of the puzzle's tables.
    """
    return _in_order(puzzle, slot, slot_names(puzzle)[slot])


def _in_order(puzzle: Puzzle, slot: int, text: str) -> tuple[int, ...]:
    if puzzle.places is not None:
        return ()
    own = [n for n in lettering(puzzle).stickers[slot] if puzzle.stickers[n].face >= 0]
    at = {puzzle.body.faces[puzzle.stickers[n].face].name: n for n in own}
    found = _LETTERS.fullmatch(text)
    letters = found["letters"].replace(".", "")[: len(own)] if found else ""
    for written in (letters, letters.swapcase()):
        if len(at) == len(own) and set(written) == set(at):
            return tuple(at[letter] for letter in written)
    return tuple(own)


def from_stickers(
    puzzle: Puzzle,
    given: Iterable[tuple[str, str]],
    called: Colours | None = None,
    apart: bool = False,
    part: bool = False,
) -> Entered:
    """Return what was entered as (slot, colours) or (sticker, colour).

    ``("UFR", "RUF")``: in the slot UFR the sticker on U has the colour of R, that on F of U, that
    on R of F; ``("UFR", "R")`` and ``("UFR@U", "R")`` say the first of them alone, for the name
    is that sticker's. Names of colours that are words are separated, ``white,green,red``. Slots
    that are not named are as they are when solved. See ``states.seated``. Raises
    NameNotFoundError and RequestError.
    """
    called = called or colours(puzzle)
    painted: dict[int, int] = {}
    for where, what in given:
        for number, face in _entry(puzzle, where, what, called):
            before = painted.setdefault(number, face)
            if before != face:
                raise RequestError(
                    f"the sticker {sticker_name(puzzle, number)} was entered twice, as "
                    f"{called.names[before]} and as {called.names[face]}"
                )
    return seated(puzzle, sitting(puzzle, painted, called, apart), apart, part)


def _entry(puzzle: Puzzle, where: str, what: str, called: Colours) -> list[tuple[int, int]]:
    """Return the stickers of one entry with the faces whose colours they have."""
    plain = where.partition("@")[0]
    slot = read_placement(puzzle, where if puzzle.places is None else plain).slot
    name, kind = slot_names(puzzle)[slot], puzzle.types[int(puzzle.type_of[slot])]
    own = _in_order(puzzle, slot, where)
    if not own:
        raise RequestError(
            f"{puzzle.name} has no paint, so its stickers show nothing; say which piece sits at "
            f"{name} instead"
        )
    if not kind.stickered:
        raise RequestError(
            f"the slots of the type {kind.name!r} are not painted alike, so that colours alone do "
            f"not say how a piece sits there; say which piece sits at {name} instead"
        )
    words = [word for word in re.split(r"[,/]", what) if word]
    if len(words) == 1 and called.known(what):
        # One colour is that of the sticker that the name says.
        number = read_placement(puzzle, where).sticker
        own = own[:1] if number is None else (number,)
    elif len(words) == 1 and len(what) == len(own):
        words = list(what)
    if len(words) != len(own):
        listed = " ".join(sticker_name(puzzle, n) for n in own)
        one = "one sticker" if len(own) == 1 else f"{len(own)} stickers"
        colours_given = "1 colour was" if len(words) == 1 else f"{len(words)} colours were"
        raise RequestError(
            f"{name} has {one} ({listed}), and {colours_given} given for it; write "
            f"{where}=" + ",".join(called.names[puzzle.stickers[n].face] for n in own)
        )
    return [(number, called.face(word)) for number, word in zip(own, words, strict=True)]


def sitting(
    puzzle: Puzzle, painted: Mapping[int, int], called: Colours, apart: bool = False
) -> list[Sitting]:
    """Return which piece sits in each slot of which some sticker is painted, and how.

    ``painted`` has face numbers by sticker numbers. Raises RequestError where no piece fits, and
    where several that look different do.
    """
    by_slot: dict[int, dict[int, int]] = {}
    for number, face in painted.items():
        by_slot.setdefault(puzzle.stickers[number].slot, {})[number] = face
    return [_fitting(puzzle, slot, own, called, apart) for slot, own in sorted(by_slot.items())]


def _fitting(
    puzzle: Puzzle, slot: int, own: Mapping[int, int], called: Colours, apart: bool
) -> Sitting:
    kind = puzzle.types[int(puzzle.type_of[slot])]
    names, (group, added, seen) = slot_names(puzzle), looks(puzzle, apart)
    faces = shows(puzzle, slot)
    columns = [faces.numbers.index(number) for number in own]
    wanted = np.array(list(own.values()))
    fits = np.argwhere((faces.faces[:, :, columns] == wanted).all(axis=2)).tolist()
    if not fits:
        raise RequestError(_no_such(puzzle, slot, own, called))
    options: dict[tuple[int, int], Sitting] = {}
    for k, twist in sorted(fits, key=lambda fit: (kind.first_slot + fit[0] != slot, fit)):
        piece = kind.first_slot + k
        look = int(group[piece]), int((twist + added[piece]) % seen[piece])
        options.setdefault(look, Sitting(piece, slot, twist))
    if len(options) > 1:
        rest = [sticker_name(puzzle, n) for n in faces.numbers if n not in own]
        pieces = list(dict.fromkeys(names[one.piece] for one in options.values()))
        more = f"; say what {joined(rest)} {'shows' if len(rest) == 1 else 'show'}" if rest else ""
        raise RequestError(
            f"{joined(pieces[:4])} {'fits' if len(pieces) == 1 else 'fit'} at {names[slot]} in "
            f"more ways than one{more}"
        )
    return next(iter(options.values()))


@dataclass(frozen=True, eq=False)
class Shows:
    """What each piece of a type would show in one slot: ``faces`` (pieces, twists, stickers)."""

    numbers: tuple[int, ...]
    faces: Table


def shows(puzzle: Puzzle, slot: int) -> Shows:
    """Return the faces whose colours a slot's stickers have, for every piece and twist in it.

    ``faces[k, x]`` is for the type's piece k sitting with twist x; -1 where a piece has no such
    sticker. For types whose slots are painted alike.
    """
    index, kind = lettering(puzzle), puzzle.types[int(puzzle.type_of[slot])]
    numbers = stickers_of(puzzle, slot)
    faces = np.full((kind.count, kind.twists, len(numbers)), -1, dtype=np.int32)
    home = puzzle.home
    for column, number in enumerate(numbers):
        sticker = puzzle.stickers[number]
        for k, piece in enumerate(kind.slots):
            for x in range(kind.twists):
                if sticker.placement < 0:
                    shown = next(
                        (n for n in index.stickers[piece] if _axial(puzzle, n, sticker.kind)), None
                    )
                else:
                    y = (sticker.placement - int(home[slot]) - x) % kind.twists
                    shown = index.shown.get((sticker.kind, int(home[piece]) + y))
                if shown is not None:
                    faces[k, x, column] = puzzle.stickers[shown].face
    return Shows(numbers, faces)


def _axial(puzzle: Puzzle, number: int, kind: int) -> bool:
    return puzzle.stickers[number].kind == kind and puzzle.stickers[number].placement < 0


def _no_such(puzzle: Puzzle, slot: int, own: Mapping[int, int], called: Colours) -> str:
    """Say what is wrong with colours that no piece shows in a slot."""
    names, kind = slot_names(puzzle), puzzle.types[int(puzzle.type_of[slot])]
    said = [called.names[face] for face in own.values()]
    text = joined(said)
    paint = {
        piece: sorted(puzzle.stickers[n].face for n in stickers_of(puzzle, piece))
        for piece in kind.slots
    }
    wanted = sorted(own.values())
    same = [piece for piece, faces in paint.items() if faces == wanted]
    if same:
        return (
            f"{names[slot]}: {names[same[0]]} has the colours {text}, but not in this order: "
            "no turn brings its mirror image about"
        )
    twice = sorted({word for word in said if said.count(word) > 1})
    if twice and not any(_has(faces, wanted) for faces in paint.values()):
        return f"{names[slot]}: no {kind.name} has {joined(twice)} more than once"
    if len(own) == 1:
        return f"{names[slot]}: no {kind.name} shows {text} there"
    pair = _never_together(list(paint.values()), list(own.values()))
    if pair is not None and len(own) > 2:
        both = joined([called.names[face] for face in pair])
        return f"{names[slot]}: {a_piece(kind)} with {text} does not exist; none has {both}"
    return f"{names[slot]}: {a_piece(kind)} with {text} does not exist"


def _has(faces: Sequence[int], wanted: Sequence[int]) -> bool:
    return all(list(faces).count(face) >= list(wanted).count(face) for face in wanted)


def _never_together(
    paint: Sequence[Sequence[int]], wanted: Sequence[int]
) -> tuple[int, int] | None:
    """Return two of the wanted faces that no piece bears both of, None if there are none."""
    for k, first in enumerate(wanted):
        for second in wanted[k + 1 :]:
            if not any(_has(faces, [first, second]) for faces in paint):
                return first, second
    return None
