"""What is wrong with the fields of a request, in our own words and with pointers."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

#: The longest piece of somebody's text that an error repeats, in characters.
LONGEST_SHOWN = 40
#: The most faults that are told at once.
MOST_TOLD = 20

_KINDS = {
    "string_type": "a text",
    "string_unicode": "a text of valid characters",
    "int_type": "a whole number",
    "int_parsing": "a whole number",
    "int_from_float": "a whole number",
    "float_type": "a number",
    "float_parsing": "a number",
    "finite_number": "a number that is not infinite",
    "bool_type": "true or false",
    "bool_parsing": "true or false",
    "list_type": "a list",
    "dict_type": "an object",
    "model_type": "an object",
    "model_attributes_type": "an object",
    "none_required": "nothing",
}


def faults(errors: Iterable[Any], body: Any) -> list[dict[str, str]]:
    """Return the faults that a model found, each a sentence with where it is.

    ``errors`` are pydantic's as the framework hands them over, ``body`` is the JSON that came.
    Where a field may be of several kinds, what is wrong is said once.
    """
    told: dict[tuple[str, str], dict[str, str]] = {}
    for error in errors:
        source, *rest = error["loc"]
        if source == "body":
            path = _path(body, rest, error["type"])
            place = {"pointer": pointer(path)}
        else:
            named = str(rest[0]) if rest else ""
            path = [named] if named else []
            place = {"header" if source == "header" else "parameter": named}
        text = _sentence(path, error)
        told.setdefault(next(iter(place.items())), {"detail": text, **place})
        if len(told) == MOST_TOLD:
            break
    return list(told.values())


def pointer(path: Sequence[str | int]) -> str:
    """Return a JSON pointer as the fragment of an address (RFC 6901, section 6)."""
    from urllib.parse import quote

    parts = (str(part).replace("~", "~0").replace("/", "~1") for part in path)
    return "#" + "".join(
        "/" + quote(part, safe="~!$&'()*+,;=:@", errors="replace") for part in parts
    )


def _path(data: Any, place: Sequence[str | int], kind: str) -> list[str | int]:
    """Return the keys and numbers of a place that are there, and a last one that is missing.

    Names of kinds, which a place also has where a field may be of several, are left out; a kind may
    be called as a field is.
    """
    path: list[str | int] = []
    for number, part in enumerate(place):
        entry = isinstance(data, list) and isinstance(part, int) and part < len(data)
        if entry or (isinstance(data, Mapping) and part in data):
            within = isinstance(data[part], Mapping | list)
            if not entry and not within and any(one in data for one in place[number + 1 :]):
                continue
            data = data[part]
            path.append(part)
        elif kind == "missing" and number == len(place) - 1:
            path.append(part)
    return path


def _sentence(path: Sequence[str | int], error: Any) -> str:
    kind, context = error["type"], error.get("ctx") or {}
    name = shown(".".join(str(part) for part in path)) if path else "the body"
    if kind == "missing":
        return f"{name} is missing"
    if kind == "extra_forbidden":
        return f"{name} is not known"
    expected = _expected(kind, context)
    if expected is None:
        said = str(error["msg"])
        return f"{name}: {said[:1].lower()}{said[1:]}"
    return f"{name}: {expected} was expected, not {given(error.get('input'))}"


def _expected(kind: str, context: Mapping[str, Any]) -> str | None:
    simple = _KINDS.get(kind)
    if simple is not None:
        return simple
    if kind in ("greater_than_equal", "greater_than"):
        bound = context.get("ge", context.get("gt"))
        return f"{'at least' if kind.endswith('equal') else 'more than'} {bound:g}"
    if kind in ("less_than_equal", "less_than"):
        bound = context.get("le", context.get("lt"))
        return f"{'at most' if kind.endswith('equal') else 'less than'} {bound:g}"
    if kind == "string_too_long":
        return f"a text of at most {context['max_length']:,} characters"
    if kind == "string_too_short":
        return f"a text of at least {context['min_length']:,} characters"
    if kind == "too_long":
        return f"a list of at most {context['max_length']:,}"
    if kind == "too_short":
        return f"a list of at least {context['min_length']:,}"
    if kind in ("literal_error", "enum"):
        return str(context.get("expected"))
    return None


def given(value: Any) -> str:
    """Return a value of a request in words, short."""
    if value is None:
        return "null"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        if not value:
            return "an empty text"
        return repr(shown(value)) if len(value) <= 200 else f"a text of {len(value):,} characters"
    if isinstance(value, int | float):
        return shown(repr(value)) if abs(value) < 1e30 else "a number that large"
    if isinstance(value, list):
        return f"a list of {len(value)}" if value else "an empty list"
    return "an object" if isinstance(value, Mapping) else "that"


def shown(text: str) -> str:
    """Return a text as an error repeats it: short, and nothing in it that cannot be seen."""
    text = "".join(x if x.isprintable() else "?" for x in text[: LONGEST_SHOWN + 1])
    return text if len(text) <= LONGEST_SHOWN else text[: LONGEST_SHOWN - 1] + "…"


def nearest(name: str, known: Iterable[str]) -> str:
    """Return a hint at the known name that is nearest, empty if none is near."""
    near = difflib.get_close_matches(name, list(known), 1, 0.6)
    return f"; did you mean {near[0]!r}?" if near else ""
