"""Numbers and days as pages show them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import UTC, datetime
from ipaddress import ip_address
from typing import Any
from urllib.parse import unquote_plus, urlsplit

from markupsafe import Markup, escape

#: An address in a text, up to what more likely belongs to the sentence around it.
_ADDRESS = re.compile(r"(?<![\w:/.@?=&-])https?://[^\s<>\"]*[^\s<>\".,;:!?)\]']")
#: The address of a posted puzzle, which says nothing to anybody.
_POSTED = re.compile("p-[0-9a-f]{16}")
#: The most letters of a description that stand for a name.
_MOST_CALLED = 48
_RAISED = str.maketrans("0123456789", "⁰¹²³⁴⁵⁶⁷⁸⁹")


def day(seconds: float) -> str:
    """Return the day of a time in seconds since 1970, as ISO 8601 writes it, in UTC."""
    return datetime.fromtimestamp(seconds, UTC).date().isoformat()


def grouped(number: str | int) -> Markup:
    """Return a whole number with commas between thousands, after which a line may end."""
    return Markup(f"{int(number):,}".replace(",", ",<wbr>"))


def raised(formula: str) -> str:
    """Return a product such as 8! * 3^8 with raised exponents."""
    shown = re.sub(r"\^(\d+)", lambda found: found[1].translate(_RAISED), formula)
    return shown.replace(" * ", " · ")


def sentence(text: str) -> str:
    """Return a text with a capital and a full stop; one that asks keeps its question mark."""
    text = text[:1].upper() + text[1:].rstrip(".")
    return text if text.endswith("?") else text + "."


def linked(text: str, here: str) -> Markup:
    """Return a text in which addresses of this service are links; those of others stay text.

    ``here``: scheme and host of this service, such as ``https://here.example``.
    """
    host = here.partition("://")[2]
    parts, end = Markup(), 0
    for found in _ADDRESS.finditer(text):
        there, slash, rest = found[0].partition("://")[2].partition("/")
        if there != host or not slash:
            continue
        # Written without its host, which everybody knows who reads it there.
        href, shown = f"{here}/{rest}", unquote_plus(f"/{rest}")
        parts += escape(text[end : found.start()])
        parts += Markup('<a href="{}">{}</a>').format(href, shown)
        end = found.end()
    return parts + escape(text[end:])


def lasting(seconds: int) -> str:
    """Return a time in words: "20 s", "2 minutes"."""
    if seconds < 60 or seconds % 60:
        return f"{seconds} s"
    minutes = seconds // 60
    return f"{minutes} minute{'' if minutes == 1 else 's'}"


def only_here(link: str) -> bool:
    """Return whether a link leads every machine to itself (RFC 6761, RFC 1122, RFC 4291)."""
    try:
        host = urlsplit(link).hostname or ""
        return host == "localhost" or host.endswith(".localhost") or ip_address(host).is_loopback
    except ValueError:
        return False


def called(told: Mapping[str, Any]) -> str:
    """Return what a puzzle is called in headings: a posted one by how its description begins."""
    name, said = str(told["name"]), str(told["description"])
    if not _POSTED.fullmatch(name) or not said.strip():
        return name
    first = re.split(r"\.(?:\s|$)", said.strip(), maxsplit=1)[0]
    if len(first) <= _MOST_CALLED:
        return first
    # As many of its parts as there is room for tell it from others that begin alike.
    ends = [found.start() for found in re.finditer(r"[;:,]\s", first)]
    fitting = [end for end in ends if end <= _MOST_CALLED]
    return first[: fitting[-1]] if fitting else first[:_MOST_CALLED].rsplit(" ", 1)[0] + " …"


def about(told: Mapping[str, Any], word: str = "") -> str:
    """Return "on the 3x3x3", of a posted puzzle "on: A ball with four cuts"."""
    name = called(told)
    if name != str(told["name"]):
        return f"{word}: {name}" if word else name
    return f"{word} the {name}".strip()
