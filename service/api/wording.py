"""What is wrong with the fields of a request, in our own words and with pointers."""

from __future__ import annotations

import difflib
import re
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


def faults(
    errors: Iterable[Any],
    body: Any,
    known: Sequence[str] = (),
    kinds: Sequence[str] = (),
    bounds: Mapping[str, int] | None = None,
) -> list[dict[str, str]]:
    """Return the faults that a model found, each a sentence with where it is.

    ``errors`` are pydantic's as the framework hands them over, ``body`` is the JSON that came.
    Where a field may be of several kinds, what is wrong is said once. ``known`` are the names that
    a body may have, ``kinds`` the words for kinds of bodies, ``bounds`` the most of fields where
    that may be less than their models say.
    """
    told: dict[tuple[str, str], dict[str, str]] = {}
    for error in errors:
        source, *rest = error["loc"]
        if source == "body":
            kind = ["kind"] if error["type"].startswith("union_tag") else []
            path = _path(body, rest, error["type"]) + kind
            place = {"pointer": pointer(path)}
        else:
            named = str(rest[0]) if rest else ""
            path = [named] if named else []
            place = {"header" if source == "header" else "parameter": named}
        text = _sentence(path, error, known, kinds, bounds or {})
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


def _sentence(
    path: Sequence[str | int],
    error: Any,
    known: Sequence[str],
    kinds: Sequence[str],
    bounds: Mapping[str, int],
) -> str:
    kind, context = error["type"], error.get("ctx") or {}
    name = shown(".".join(str(part) for part in path)) if path else "the body"
    if kind in ("missing", "union_tag_not_found"):
        more = f"; {_or(kinds)} was expected" if kind != "missing" and kinds else ""
        return f"{name} is missing{more}"
    if kind == "extra_forbidden":
        return not_known(name, known) if known and len(path) == 1 else f"{name} is not known"
    if kind == "union_tag_invalid":
        return f"{name}: {_or(kinds)} was expected, not {given(context.get('tag'))}"
    if kind == "less_than_equal" and name in bounds:
        context = {"le": min(context["le"], bounds[name])}
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
        return f"{'at least' if kind.endswith('equal') else 'more than'} {_number(bound)}"
    if kind in ("less_than_equal", "less_than"):
        bound = context.get("le", context.get("lt"))
        return f"{'at most' if kind.endswith('equal') else 'less than'} {_number(bound)}"
    if kind == "string_too_long":
        return f"a text of at most {context['max_length']:,} characters"
    if kind == "string_too_short":
        least = context["min_length"]
        return "some text" if least == 1 else f"a text of at least {least:,} characters"
    if kind == "too_long":
        return f"a list of at most {context['max_length']:,}"
    if kind == "too_short":
        return f"a list of at least {context['min_length']:,}"
    if kind in ("literal_error", "enum"):
        return str(context.get("expected"))
    if kind == "string_pattern_mismatch":
        digits = _DIGITS.fullmatch(str(context.get("pattern")))
        return f"a text of {digits[1]} of the characters 0-9 and a-f" if digits else None
    return None


#: A pattern of so many hexadecimal digits.
_DIGITS = re.compile(r"\^\[0-9a-f\]\{(\d+)\}\$")


def _or(names: Sequence[str]) -> str:
    """Return names with commas and an "or" between them."""
    return listed(names).replace(" and ", " or ") if names else "a known kind"


def _number(bound: float) -> str:
    return f"{bound:,}" if isinstance(bound, int) else f"{bound:,g}"


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


def not_known(name: str, known: Sequence[str]) -> str:
    """Return what is said of a name that is not known where those of ``known`` are."""
    if not known:
        return f"{name} is not known; nothing can be said here"
    verb = "is" if len(known) == 1 else "are"
    return f"{name} is not known; {listed(known)} {verb}{nearest(name, known)}"


def listed(names: Sequence[str]) -> str:
    """Return names with commas and an "and" between them."""
    *most, last = names
    return f"{', '.join(most)} and {last}" if most else last
