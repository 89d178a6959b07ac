"""What is wrong with a puzzle file, in one sentence: where, what was expected, what was given."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

#: The longest piece of somebody's text that an error repeats, in characters.
LONGEST_SHOWN = 40

_SIZE = 'a number or a formula such as "1/sqrt(2)"'
_SIZES = 'three sizes, such as [1, 0, "sqrt(2)"]'
_ANGLE = 'an angle such as "30deg" or "to(UFR) + 9deg"'
_FACES = 'the letters of faces, such as "UF"'
#: What was expected under a key, and after a + for the single entries of a list or table there.
_EXPECTED = {
    "description": "a text of 1 to 500 characters",
    "body": (
        "tetrahedron, cube, octahedron, dodecahedron, icosahedron, rhombic-dodecahedron, or a"
        " table [body] with points"
    ),
    "up": _FACES,
    "front": _FACES,
    "layers": "1 to 20 tables, each headed [[layers]]",
    "layers+": "a table headed [[layers]]",
    "types": "a table of words for piece types",
    "types+": "a word for the piece type",
    "note": "a text",
    "points": "a list of 4 to 120 points",
    "points+": _SIZES,
    "points++": _SIZE,
    "faces": "a table with a direction for each letter",
    "faces+": _SIZES,
    "faces++": _SIZE,
    "axes": '"faces", "corners", "edges" or a list such as ["U", "F"]',
    "axes+": _FACES,
    "names": 'a list of names, or one name with {axis} in it, such as "2{axis}"',
    "names+": "a name",
    "steps": "a whole number from 2 to 24",
    "above": _SIZE,
    "within": _ANGLE,
    "between": "two sizes, the smaller first",
    "between+": _SIZE,
    "stops": 'a list of angles, such as ["90deg", "180deg"]',
    "stops+": _ANGLE,
    "shape": '"solid", "ball" or "written"',
    "paint": "true or false",
    "closed": "true or false",
    "keep_twists": "true, false or a list of piece types",
    "keep_twists+": "the name of a piece type",
    "accept": "a share above 0.5, such as 0.95",
    "accept_gap": _ANGLE,
    "bonds": 'lists of slots, such as [["UFR", "UF"]]',
    "bonds+": 'a list of at least two slots, such as ["UFR", "UF"]',
    "bonds++": "the name of a slot",
}

#: Tables whose keys are the words of a file, which may be the same as keys of another table.
_OPEN = ("faces", "types", "names", "twists", "positions", "colours")
_SPOT = "two sizes, across and up, such as [0, 1.5]"
#: The same for puzzles whose turns are written down.
_EXPECTED_WRITTEN = {
    **{key: _EXPECTED[key] for key in ("description", "shape", "types", "types+", "note")},
    "places": "a whole number from 2 to 1000",
    "names": 'names of places, such as {1 = "top"}, or a list of all of them',
    "names+": "the name of a place",
    "twists": 'a table of the ways in which pieces can sit, such as {"1-8" = 3}',
    "twists+": "a whole number from 1 to 60",
    "turns": "1 to 62 tables, each headed [[turns]]",
    "turns+": "a table headed [[turns]]",
    "name": "up to 12 letters, with a number before them at most",
    "cycles": 'cycles of places, such as "(1 2 3) (4 5+1)", of up to 20,000 characters',
    "positions": "two sizes for each place, such as {1 = [0, 1.5]}, or a list for all of them",
    "positions+": _SPOT,
    "positions++": _SIZE,
    "colours": 'a table of colours, such as {"1-8" = "blue"}',
    "colours+": 'a colour, such as "blue"',
    "alike": 'a list of places whose pieces look the same, such as ["1-5", "6 8 10"]',
    "alike+": 'places, such as "1-5" or "6 8 10"',
}


def complaint(
    data: dict[str, Any],
    errors: Iterable[Any],
    keys: Mapping[str, Sequence[str]],
    written: bool = False,
) -> str:
    """Return the sentence for the errors that a model found in data.

    ``errors`` are pydantic's; ``keys`` are the known ones of "" and of each table, ``written`` says
    that turns are written down. Told is an unknown key if there is one, else the error deepest in
    the file: that of the likeliest reading.
    """
    expected = _EXPECTED_WRITTEN if written else _EXPECTED
    found = list(errors)
    unknown = [error for error in found if error["type"] == "extra_forbidden"]
    if unknown:
        *where, key = _path(data, unknown[0]["loc"])
        near = difflib.get_close_matches(str(key), keys[str(where[0]) if where else ""], 1, 0.6)
        known = ", ".join(keys[str(where[0]) if where else ""])
        hint = f"did you mean {near[0]!r}?" if near else f"known are {known}"
        return _at(where) + f"{_cut(str(key))!r} is not known; {hint}"
    depths = [len(_path(data, error["loc"])) + (error["type"] == "missing") for error in found]
    error = found[depths.index(max(depths))]
    path = _path(data, error["loc"])
    if error["type"] == "missing":
        key = error["loc"][-1]
        if isinstance(key, str):
            return _at(path) + f"{key!r} is missing; expected {expected[key]}"
    if error["loc"][-1] == "[key]":
        return _at(path) + "a face is named by a single letter"
    return _at(path) + f"expected {_expected(path, expected)}, not {_given(_value(data, path))}"


def not_toml(error: Exception) -> str:
    """Return the sentence for a text that is no TOML, with line and column where they are known."""
    said = str(error)
    place = re.search(r"\(at (line [0-9]+, column [0-9]+)\)", said)
    where = f" at {place[1]}" if place else " at the end" if "end of document" in said else ""
    why = "a value is missing or written in a way that TOML has not"
    if isinstance(error, RecursionError):
        why = "brackets stand too deep in each other"
    elif "overwrite" in said or "twice" in said or "Duplicate" in said:
        why = "a key is given twice"
    return f"not well-formed TOML{where}: {why}"


def _path(data: Any, place: Sequence[str | int]) -> list[str | int]:
    """Return the keys and numbers of a place that are there in the data, and no others."""
    path: list[str | int] = []
    for part in place:
        entry = isinstance(data, list) and isinstance(part, int) and part < len(data)
        if entry or (isinstance(data, dict) and part in data):
            data = data[part]
            path.append(part)
    return path


def _value(data: Any, path: Sequence[str | int]) -> Any:
    for part in path:
        data = data[part]
    return data


def _expected(path: Sequence[str | int], expected: Mapping[str, str]) -> str:
    """Return what was expected at a place: of the nearest known key above it, by levels."""
    for up in range(len(path)):
        text = expected.get(f"{path[-1 - up]}" + "+" * up)
        inside = up == 0 and len(path) > 1 and path[-2] in _OPEN
        if text is not None and not inside:
            return text
    return "a table with a description, a body and layers"


def _at(path: Sequence[str | int]) -> str:
    """Return a place as it stands before a colon: "layers 1: above", numbers from 1."""
    text = ""
    for n, part in enumerate(path):
        if isinstance(part, int):
            text += f" {part + 1}"
        elif text:
            text += (": " if isinstance(path[n - 1], int) else ".") + _cut(part)
        else:
            text = _cut(part)
    return text + ": " if text else ""


def _cut(text: str) -> str:
    text = "".join(x if x.isprintable() else "?" for x in text)
    return text if len(text) <= LONGEST_SHOWN else text[: LONGEST_SHOWN - 1] + "…"


def _given(value: Any) -> str:
    """Return a value of a TOML file in words, short."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        if not value:
            return "an empty text"
        return repr(_cut(value)) if len(value) <= 200 else f"a text of {len(value):,} characters"
    if isinstance(value, int | float):
        return _cut(repr(value)) if abs(value) < 1e30 else "a number that large"
    if isinstance(value, list):
        return f"a list of {len(value)}" if value else "an empty list"
    return "a table" if isinstance(value, dict) else "a date or time"
