"""Where in the text of a puzzle file an error is: its line and column, found by what is said."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from puzzles import file

#: Keys that are headed tables in a file, each a list of them.
_LISTS = ("layers", "turns")
_TOP = {*file.PuzzleModel.model_fields, *file.WrittenModel.model_fields}
_INSIDE = {"layers": {*file.LayersModel.model_fields}, "turns": {*file.TurnModel.model_fields}}
_SPOT = re.compile(r"\(?at line (\d+), column (\d+)\)?")
#: The keys that say how deep a layer is, of which one stands in each table.
_DEPTHS = ("above", "within", "between")
#: What errors call a key that they do not name itself.
_SAID_SO = {"axis": "axes"}
#: A statement of more lines than this is not read to its end, nor what comes after it.
_LONGEST = 150
_HEAD = re.compile(r"\s*\[\[?\s*\"?([\w-]+)\"?\s*\]?\]")
_KEY = re.compile(r"\s*\"?([\w-]+)\"?\s*[=.]")


@dataclass(frozen=True)
class Spot:
    """A line of a text and a column of it, both from 1."""

    line: int
    column: int


def spot_of(text: str, said: str, model: file.Model | None = None) -> Spot | None:
    """Return where the error is of which something is said; None where that is no single line.

    ``said`` is what an error says, without the name of the file before it. With the ``model`` of
    the text also layers are found by their names.
    """
    spot = _SPOT.search(said)
    if spot is not None:
        return Spot(int(spot[1]), int(spot[2]))
    if "at the end:" in said:
        lines = text.rstrip().split("\n")
        return Spot(len(lines), len(lines[-1]) + 1)
    place = _named(said) or _by_name(said, model)
    return None if place is None else _found(text, place)


def group_of(said: str, model: file.Model | None) -> int:
    """Return the number of the table of layers that an error is about, from 1; 0 for no single one.

    With the ``model`` of the text also layers are found by their names.
    """
    place = _named(said) or _by_name(said, model)
    return place.number if place is not None and place.table == "layers" else 0


@dataclass(frozen=True)
class _Place:
    """A table of a file, "" for what stands before all tables; its number from 1, where there are
    several, else 0; and the keys of it that may be meant, the likeliest first."""

    table: str
    number: int
    keys: tuple[str, ...]


@dataclass(frozen=True)
class _Statement:
    """A key with its value, or the head of a table: which table, the number of it from 1, 0 for
    one that is no list."""

    table: str
    number: int
    key: str
    head: bool


def _found(text: str, place: _Place) -> Spot | None:
    """Return where a place is in a text."""
    statements = list(_statements(text))
    table, number = place.table, place.number
    for key in place.keys:
        for spot, own in statements:
            if (own.table, own.number, own.key, own.head) == (table, number, key, False):
                return spot
    # The head of the table, or where all of it stands in one line.
    for spot, own in statements:
        if own.head and (own.table, own.number) == (table or place.keys[0], number):
            return spot
    plain = (spot for spot, own in statements if (own.table, own.key) == ("", table))
    return next(plain, None)


def _named(said: str) -> _Place | None:
    """Return the place that the first words of an error name."""
    unknown = re.match(r"'([^']+)' is not known", said)
    if unknown is not None:
        return _Place("", 0, (unknown[1],))
    found = re.match(r"(\w+)(?: (\d+))?(?:: |\.|$)(.*)", said, re.DOTALL)
    if found is None or found[1] not in _TOP:
        return None
    name, number, rest = found[1], int(found[2] or 0), found[3]
    unknown = re.match(r"'([^']+)' is not known", rest)
    inner = re.match(r"([\w-]+)", rest)
    key = unknown[1] if unknown else inner[1] if inner else ""
    if name in _LISTS and not number:
        return _Place("", 0, (name,))
    if name not in _LISTS:
        # A key, or a table of keys that is headed.
        return _Place(name, 0, (key,)) if key and rest else _Place("", 0, (name,))
    key = _SAID_SO.get(key, key)
    if key in _INSIDE[name] or unknown:
        return _Place(name, number, (key,))
    return _Place(name, number, _DEPTHS if "is missing" not in rest else ())


def _by_name(said: str, model: file.Model | None) -> _Place | None:
    """Return the place of a layer or a turn that an error names."""
    if isinstance(model, file.WrittenModel):
        turn = re.match(r"turn (\w+)\b", said)
        names = [own.name for own in model.turns]
        if turn is None or turn[1] not in names:
            return None
        return _Place("turns", names.index(turn[1]) + 1, ("cycles",))
    if model is None:
        return None
    name = re.match(r"(?:layer name|two layers are named) '([^']+)'", said)
    # Of two layers that are told apart by nothing the later one is one too many.
    layer = re.match(r"layers \w+ and (\w+)", said) or re.search(r"\blayers? (\w+)\b", said)
    own = name or layer
    number = _owners(model).get(own[1], 0) if own is not None else 0
    return _Place("layers", number, ("names", "axes") if name else _DEPTHS) if number else None


def _owners(model: file.PuzzleModel) -> Mapping[str, int]:
    """Return for the name of each layer the number of its table, from 1."""
    from puzzles.compile import body_of

    found: dict[str, int] = {}
    body = body_of(model)
    for number, group in enumerate(model.layers, 1):
        axes = group.axes
        letters = [x for x, _ in body.axes(axes)] if isinstance(axes, str) else axes
        names = group.names
        for own in (
            names
            if isinstance(names, list)
            else [(names or "{axis}").replace("{axis}", x) for x in letters]
        ):
            found[own] = number
    return found


def _statements(text: str) -> Iterator[tuple[Spot, _Statement]]:
    """Give the statements of a file, and where each begins."""
    table, number = "", 0
    counts = dict.fromkeys(_LISTS, 0)
    lines = text.split("\n")
    at = 0
    while at < len(lines):
        line, end = lines[at], at + 1
        head, key = _HEAD.match(line), _KEY.match(line)
        column = len(line) - len(line.lstrip()) + 1
        if head is not None:
            table, number = head[1], 0
            if table in counts and line.lstrip().startswith("[["):
                counts[table] += 1
                number = counts[table]
            yield Spot(at + 1, column), _Statement(table, number, "", True)
        elif key is not None:
            yield Spot(at + 1, column), _Statement(table, number, key[1], False)
            while end < len(lines) and _open("\n".join(lines[at:end])):
                end += 1
                if end - at > _LONGEST:
                    return
        at = end


def _open(text: str) -> bool:
    """Return whether a text ends within a list or a text of several lines."""
    try:
        tomllib.loads(text + "\n")
    except RecursionError:
        return True
    except tomllib.TOMLDecodeError as error:
        return "end of document" in str(error)
    return False
