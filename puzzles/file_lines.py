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
_INSIDE = {
    "layers": {*file.LayersModel.model_fields},
    "turns": {*file.TurnModel.model_fields},
    "body": {*file.HullModel.model_fields},
}
_SPOT = re.compile(r"\(?at line (\d+), column (\d+)\)?")
#: The keys that say how deep a layer is, of which one stands in each table.
_DEPTHS = ("above", "within", "between")
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
    place = _SPOT.search(said)
    if place is not None:
        return Spot(int(place[1]), int(place[2]))
    if "at the end:" in said:
        lines = text.rstrip().split("\n")
        return Spot(len(lines), len(lines[-1]) + 1)
    table, number, key = _named(said)
    if table is None:
        number = group_of(said, model)
        table = "layers" if number else None
    if table is None:
        return None
    statements = list(_statements(text))
    own = [
        (spot, found)
        for spot, found in statements
        if (found.table, found.number) == (table, number) and not found.head
    ]
    wanted = (key,) if key else _DEPTHS if table == "layers" else ()
    for name in wanted:
        for spot, found in own:
            if found.key == name:
                return spot
    heads = [spot for spot, found in statements if found.head and found.is_of(table, number)]
    if heads:
        return heads[0]
    # The table may stand in one line, or its key alone.
    alone = table or key
    plain = [
        spot
        for spot, found in statements
        if (found.table, found.key) == ("", alone) or (found.head and found.table == alone)
    ]
    return plain[0] if plain else None


@dataclass(frozen=True)
class _Statement:
    """A key with its value, or the head of a table: which table, the number of it from 1, 0 for
    one that is no list."""

    table: str
    number: int
    key: str
    head: bool

    def is_of(self, table: str, number: int) -> bool:
        return (self.table, self.number) == (table, number)


def _named(said: str) -> tuple[str | None, int, str]:
    """Return the table, its number and the key that the first words of an error name."""
    found = re.match(r"(\w+)(?: (\d+))?(?:: |\.|$)(.*)", said, re.DOTALL)
    if found is None or found[1] not in _TOP:
        unknown = re.match(r"'([^']+)' is not known", said)
        return ("", 0, unknown[1]) if unknown else (None, 0, "")
    name, number, rest = found[1], int(found[2] or 0), found[3]
    if name not in _INSIDE:
        return "", 0, name
    inner = re.match(r"(\w+)\b", rest)
    quoted = re.match(r"'([^']+)' is not known", rest)
    key = quoted[1] if quoted else inner[1] if inner else ""
    if key not in _INSIDE[name] and not quoted:
        key = ""
    if name in _LISTS and not number:
        return "", 0, name
    return name, number, key


def group_of(said: str, model: file.Model | None) -> int:
    """Return the number of the table of layers that an error is about, from 1; 0 for no single one.

    With the ``model`` of the text also layers are found by their names.
    """
    table, number, _ = _named(said)
    if table == "layers" or not isinstance(model, file.PuzzleModel):
        return number if table == "layers" else 0
    named = re.search(r"\blayers? (?:name )?'?([0-9]*[A-Za-z]+)\b", said)
    if named is None:
        return 0
    owners = _owners(model)
    # Of two layers that are told apart by nothing the later one is one too many.
    second = re.match(r"layers (\w+) and (\w+)", said)
    return owners.get(second[2] if second else named[1], 0)


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
