"""What all pages share: templates, the fields that they are sent with, and where one is."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlencode

from fastapi import Request
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape
from starlette.responses import Response

from puzzles.laws import plural
from service.api import askers
from service.api.context import Service
from service.method_repeats import arranged, told_once
from service.pages import wording
from service.pages.statics import scripts, statics

TEMPLATES = Path(__file__).parent / "templates"
HTML = "text/html; charset=utf-8"
#: Everything comes from here, and nothing is written into a page that runs or paints.
POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self'",
        "connect-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
#: The pages of a puzzle: the last part of the address, and what it is called.
PLACES = (
    ("", "Pieces"),
    ("ask", "Ask"),
    ("bench", "Bench"),
    ("read", "Read a sequence"),
    ("cover", "A favourite"),
    ("method", "How to solve it"),
    ("finish", "Last pieces"),
    ("solve", "A whole solve"),
    ("practice", "Practice"),
    ("sheet", "Sheet"),
)


#: The most turns that are marked up each as a word: a browser breaks longer rows by itself.
MOST_APART = 200


@lru_cache(maxsize=1)
def environment() -> Environment:
    """Return the templates; a name that is not there is an error, and all text is escaped."""
    own = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    own.globals["static"] = statics().href
    own.globals["scripts"] = scripts
    own.globals["places"] = PLACES
    own.globals["puzzle_href"] = puzzle_href
    own.globals["picture_href"] = picture_href
    own.globals["step_href"] = step_href
    own.filters["plural"] = plural
    own.filters["arranged"] = arranged
    own.filters["told_once"] = told_once
    own.filters["breaks"] = breaks
    own.filters["day"] = wording.day
    own.filters["grouped"] = wording.grouped
    own.filters["only_here"] = wording.only_here
    own.filters["called"] = wording.called
    own.filters["about"] = wording.about
    own.filters["lasting"] = wording.lasting
    own.filters["raised"] = wording.raised
    own.filters["sentence"] = wording.sentence
    return own


async def page(
    template: str,
    data: Mapping[str, Any],
    status: int = 200,
    headers: Mapping[str, str] | None = None,
) -> Response:
    """Return a page; it is put together in a thread, so that nobody else waits for it."""
    text = await asyncio.to_thread(rendered, template, data)
    own = {"Cache-Control": "no-cache", "Content-Security-Policy": POLICY, **(headers or {})}
    return Response(text, status, own, HTML)


def rendered(template: str, data: Mapping[str, Any]) -> str:
    """Return the text of a page."""
    return environment().get_template(template).render(data)


def puzzle_href(puzzle: str, place: str = "", query: Mapping[str, str] | None = None) -> str:
    """Return the address of a page about a puzzle, by its name or address."""
    href = f"/puzzles/{quote(puzzle, safe='')}" + (f"/{place}" if place else "")
    return href + (f"?{urlencode(query, safe=',@.:')}" if query else "")


def picture_href(puzzle: str, behind: bool = True, **marked: str) -> str:
    """Return the address of a picture of a puzzle, in which a cycle, sequence or type is marked."""
    query = dict(marked) if behind else {**marked, "behind": "false"}
    asked = f"?{urlencode(query, safe=',@.:')}" if query else ""
    return f"/api/puzzles/{quote(puzzle, safe='')}/picture.svg{asked}"


def step_href(result: str, number: int) -> str:
    """Return the address of a picture of the state before a step of a result, by its digest."""
    return f"/api/results/{result}/steps/{number}.svg"


def breaks(turns: str | Sequence[str]) -> Markup:
    """Return turns as words that are broken between and never within; many as they are."""
    words = turns.split() if isinstance(turns, str) else turns
    if len(words) > MOST_APART:
        return escape(" ".join(words))
    return Markup(" ").join(Markup('<span class="turn">{}</span>').format(word) for word in words)


def here(request: Request, service: Service) -> str:
    """Return the scheme and host under which a browser has called."""
    scheme = askers.scheme(request, service.proxies)
    return f"{scheme}://{request.headers.get('host', '')}"
