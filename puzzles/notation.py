"""Sequences: text to turns and back, with brackets, repeats, rotations, and limits.

On cubes this is the notation of the WCA Regulations, Article 12, and some older ways.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field

from puzzles import brackets, renaming
from puzzles.brackets import Commutator, Conjugate, Inverse, Repeat, Sequence, Tree, Written
from puzzles.errors import LimitError, NotationError
from puzzles.puzzle import Puzzle, Word

#: The longest text that is read, in characters.
LONGEST_TEXT = 100_000
#: The most turns that a text may be when it is written out.
MOST_TURNS = 10_000
#: How deep brackets may stand inside brackets.
DEEPEST = 50
#: The most digits of an amount or a repeat.
MOST_DIGITS = 6
#: How many layers an error lists before it breaks off.
LISTED = 24

#: Signs that people or their word processors write for the apostrophe.
_APOSTROPHES = str.maketrans(
    dict.fromkeys("\u2019\u2018\u201b\u2032\u00b4`\u02b9\u02bc\uff07", "'")
)
_JOINED = re.compile(r"[0-9]*[A-Za-z]w?")
_APART = re.compile(r"[0-9]*[A-Za-z]+")
_AMOUNT = re.compile(
    r"\^-(?P<back>[0-9]+)|\^?(?P<number>[0-9]+)(?P<prime>'?)"
    r"|(?P<first>')(?P<then>[0-9]+(?![0-9A-Za-z]))?"
)
_ATTACHED = re.compile(r"[x\u00d7*^]?(?P<times>[0-9]+)")
_AFTER_SPACE = re.compile(r"\s+(?:(?P<sign>[x\u00d7*^])\s*)?(?P<times>[0-9]+)(?![0-9A-Za-z])")


@dataclass(frozen=True)
class Parsed:
    """A sequence that was read: how it was written, its turns in order, the rotation left over.

    ``word`` is written out and not cancelled; ``left_over`` is a clause such as "the whole puzzle
    is left turned by x", empty if the puzzle is held in the end as at the start.
    """

    tree: Tree
    word: Word
    left_over: str


def parse(puzzle: Puzzle, text: str) -> Parsed:
    """Return what a text means on a puzzle.

    Raises NotationError with the character where reading broke off, and LimitError for a text
    that is too long, too deep, or too many turns when written out.
    """
    tree = read(puzzle, text)
    if brackets.count(tree) > MOST_TURNS:
        raise _too_many(brackets.count(tree))
    word, held = renaming.rename(puzzle, brackets.expand(tree))
    if len(word) > MOST_TURNS:
        raise _too_many(len(word))
    way = renaming.describe(puzzle, held)
    return Parsed(tree, word, f"the whole puzzle is left turned by {way}" if way else "")


def _too_many(turns: int) -> LimitError:
    number = f"{turns:,}" if turns < 10**12 else "far too many"
    return LimitError(f"written out, that is {number} turns; at most {MOST_TURNS:,} are allowed")


def write(puzzle: Puzzle, word: Iterable[int]) -> str:
    """Return a word as plain turns, with spaces between them."""
    return " ".join(turn_text(puzzle, turn) for turn in word)


def turn_text(puzzle: Puzzle, turn: int) -> str:
    """Return one turn as it is written, the shorter way round."""
    own = puzzle.turns[turn]
    steps = puzzle.layers[int(puzzle.turn_layer[turn])].steps
    return own.layer + brackets.amount_text(own.amount, steps)


def plain(puzzle: Puzzle, word: Iterable[int]) -> Tree:
    """Return a word as a tree without brackets."""
    turns = [(puzzle.turns[t], puzzle.layers[int(puzzle.turn_layer[t])].steps) for t in word]
    return brackets.sequence([Written(turn.layer, turn.amount, steps) for turn, steps in turns])


def bracket(puzzle: Puzzle, setup: Iterable[int], a: Iterable[int], b: Iterable[int]) -> str:
    """Return ``[S: [A, B]]`` in turns, or ``[A, B]`` if the setup is empty."""
    tree: Tree = Commutator(plain(puzzle, a), plain(puzzle, b))
    before = plain(puzzle, setup)
    return brackets.text(tree if before == Sequence(()) else Conjugate(before, tree))


@dataclass
class _Open:
    """A bracket that is not closed yet: its sign, where it stands, and what was read in it."""

    sign: str
    at: int
    parts: list[Tree] = field(default_factory=list)
    before: Tree | None = None
    mark: str = ""


def read(puzzle: Puzzle, text: str) -> Tree:
    """Return the tree that a text is, without writing it out; raises as ``parse`` does."""
    if len(text) > LONGEST_TEXT:
        raise LimitError(
            f"the sequence has {len(text):,} characters; at most {LONGEST_TEXT:,} are allowed"
        )
    text = text.translate(_APOSTROPHES)
    stack = [_Open("", 0)]
    place = 0
    while place < len(text):
        sign, here = text[place], stack[-1]
        if sign.isspace():
            place += 1
        elif sign in "([":
            if len(stack) > DEEPEST:
                raise LimitError(
                    f"character {place + 1}: brackets stand more than {DEEPEST} deep in each other"
                )
            stack.append(_Open(sign, place + 1))
            place += 1
        elif sign in ",:":
            _divide(here, sign, place + 1)
            place += 1
        elif sign in ")]":
            tree = _closed(here, sign, place + 1)
            stack.pop()
            tree, place = _suffixes(puzzle, tree, text, place + 1)
            stack[-1].parts.append(tree)
        else:
            written, place = _written(puzzle, text, place)
            here.parts.append(written)
    top = stack[-1]
    if len(stack) > 1:
        close = ")" if top.sign == "(" else "]"
        raise NotationError(f"character {top.at}: {top.sign!r} is never closed with {close!r}")
    if top.before is not None:
        if not top.parts:
            raise NotationError("nothing follows the last ':'; [S: X] means S X S'")
        return Conjugate(top.before, brackets.sequence(top.parts))
    return brackets.sequence(top.parts)


def _divide(here: _Open, sign: str, at: int) -> None:
    """Begin the second part of a bracket; without brackets, ``S: X`` is read as ``[S: X]``."""
    belongs = here.sign == "[" or (here.sign == "" and sign == ":")
    if not belongs or here.before is not None:
        form = "[A, B]" if sign == "," else "[S: X]"
        raise NotationError(
            f"character {at}: {sign!r} belongs between the two parts of {form}, once"
        )
    if not here.parts:
        raise NotationError(f"character {at}: nothing stands before {sign!r}")
    here.before, here.mark, here.parts = brackets.sequence(here.parts), sign, []


def _closed(here: _Open, sign: str, at: int) -> Tree:
    """Return what a bracket that closes here holds."""
    if here.sign != {")": "(", "]": "["}[sign]:
        inside = f", while {here.sign!r} from character {here.at} is open" if here.sign else ""
        raise NotationError(f"character {at}: {sign!r} closes nothing{inside}")
    if not here.parts:
        raise NotationError(f"character {at}: nothing stands before {sign!r}")
    part = brackets.sequence(here.parts)
    if here.sign == "(":
        return part
    if here.before is None:
        raise NotationError(
            f"character {at}: square brackets hold two parts, [A, B] or [S: X]; use ( ) for one"
        )
    return Commutator(here.before, part) if here.mark == "," else Conjugate(here.before, part)


def _suffixes(puzzle: Puzzle, tree: Tree, text: str, place: int) -> tuple[Tree, int]:
    """Return a closed bracket with the repeat and the apostrophe after it, once each."""
    repeated = undone = False
    while place < len(text):
        found = None
        if not repeated:
            found = _ATTACHED.match(text, place) or _repeat_apart(puzzle, text, place)
        if found is not None:
            times = _number(found["times"], found.start("times"))
            if times == 0:
                raise NotationError(f"character {place + 1}: a repeat is done at least once")
            tree, place, repeated = Repeat(tree, times), found.end(), True
        elif not undone and text.startswith("^-1", place):
            tree, place, undone = Inverse(tree), place + 3, True
        elif not undone and text[place] == "'":
            tree, place, undone = Inverse(tree), place + 1, True
        else:
            break
    return tree, place


def _repeat_apart(puzzle: Puzzle, text: str, place: int) -> re.Match[str] | None:
    """Return a repeat that stands after a space, unless it is a rotation such as x2."""
    found = _AFTER_SPACE.match(text, place)
    if found is None or found["sign"] != "x" or renaming.block(puzzle, "x") is None:
        return found
    is_rotation = "x" in puzzle.layer_numbers or found["times"] in ("0", "1", "2")
    return None if is_rotation else found


def _written(puzzle: Puzzle, text: str, place: int) -> tuple[Written, int]:
    """Return the turn or rotation that begins at a character, and where the next thing begins."""
    at = place + 1
    joined = all(len(layer.name.lstrip("0123456789")) == 1 for layer in puzzle.layers)
    found = (_JOINED if joined else _APART).match(text, place)
    if found is None:
        raise NotationError(
            f"character {at}: {_shown(text[place])} is no turn; {layers_text(puzzle)}"
        )
    back = False
    name, place = found[0], found.end()
    block = renaming.block(puzzle, name) if len(name) <= 20 else None
    if block is None and name[-1] in "wi" and len(name) > 1:
        # R and a letter that does not belong to it, or Ri, an older way to write R'.
        name = name[:-1]
        block = renaming.block(puzzle, name)
        back = found[0][-1] == "i"
        place -= not back
    if block is None:
        raise NotationError(f"character {at}: {found[0][:20]!r} is no turn; {layers_text(puzzle)}")
    if joined and "i" not in puzzle.layer_numbers and text.startswith("i", place):
        back, place = True, place + 1
    amount, place = (1, place) if back else _amount(text, place)
    return Written(block.name, (-1 if back else amount) % block.steps, block.steps, at), place


def _amount(text: str, place: int) -> tuple[int, int]:
    """Return the amount after a name, 1 if none is written, and where it ends."""
    found = _AMOUNT.match(text, place)
    if found is None:
        return 1, place
    number = _number(found["number"] or found["back"] or found["then"] or "1", place)
    if number == 0:
        raise NotationError(f"character {place + 1}: a turn is done at least once")
    back = found["back"] or found["prime"] or found["first"]
    return -number if back else number, found.end()


def _shown(sign: str) -> str:
    """Return a character in quotes, as a byte if it stands for one that could not be decoded."""
    byte = ord(sign) - 0xDC00
    return f"'\\x{byte:02x}'" if 0x80 <= byte <= 0xFF else repr(sign)


def layers_text(puzzle: Puzzle) -> str:
    """Return a clause that lists the layers of a puzzle."""
    names = [layer.name for layer in puzzle.layers]
    more = " …" if len(names) > LISTED else ""
    return f"{puzzle.name} has the layers " + " ".join(names[:LISTED]) + more


def _number(digits: str, place: int) -> int:
    if len(digits) > MOST_DIGITS:
        raise LimitError(
            f"character {place + 1}: a number of {len(digits):,} digits stands here; at most"
            f" {MOST_DIGITS} are allowed"
        )
    return int(digits)
