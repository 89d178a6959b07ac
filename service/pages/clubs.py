"""A club's shelf as a page, and forms for what its links allow."""

from __future__ import annotations

import re
from collections.abc import Awaitable, Callable, Mapping, Sequence
from contextlib import suppress
from typing import Annotated, Any
from urllib.parse import parse_qs, quote, urlsplit

from fastapi import APIRouter, Query, Request
from starlette.responses import RedirectResponse, Response

from puzzles.laws import plural
from service import puzzle_shelf
from service.api import clubs as api
from service.api.clubs import ClubItem, Filter, Key
from service.api.context import Service, service
from service.api.problems import ProblemError, checked
from service.api.puzzles import short
from service.clubs import Changed, ClubName, Entered, Shared
from service.pages.forms import form
from service.pages.frame import here, page
from service.pages.wording import called, linked
from service.stores.base import Role

router = APIRouter(include_in_schema=False)

#: How far a club is with a puzzle, in order, and how that is shown without colour.
STATES = {"new": "○", "understood": "◔", "solved": "◑", "taught": "●"}
#: What the links of a club are for.
LINKS = {"read": "to read", "add": "to read and to add", "keep": "to keep house"}
#: The page on which a club is founded has no secret in its address, but one may come of it; its
#: forms say where they come from.
FOUNDING = {
    "Cache-Control": "private, no-store",
    "X-Robots-Tag": "noindex",
    "Referrer-Policy": "same-origin",
}


@router.get("/clubs")
async def founding(request: Request) -> Response:
    """Return the page on which a club is founded."""
    return await page("founding.html", _founding(), 200, FOUNDING)


@router.post("/clubs")
async def found(request: Request) -> Response:
    """Found a club and show its links, this once."""
    given = await form(request, secret=False)
    own = service(request)
    try:
        club = await api.found(own, request, Response(), checked(ClubName, given))
    except ProblemError as error:
        data = {**_founding(), "name": given.get("name", ""), "wrong": error.detail}
        return await page("founding.html", data, error.status, FOUNDING)
    links = [_link(request, own, link.role, link.key) for link in club.links]
    return await page("founded.html", _made(club.name, links, links[-1]["href"]), 201, FOUNDING)


@router.get("/clubs/{key}")
async def shelf(
    request: Request,
    key: Key,
    puzzle: Filter = None,
    type: Filter = None,
    change: Annotated[int | None, Query()] = None,
) -> Response:
    """Return the shelf, or what on it is about a puzzle or a type of piece."""
    own = service(request)
    entered = await api.opened(own, key, Role.READ)
    wanted = {"puzzle": puzzle, "type": type}
    return await _shelf(request, own, key, entered, wanted, {"change": change})


@router.post("/clubs/{key}")
async def act(request: Request, key: Key) -> Response:
    """Do what a form of the shelf asks for, and go back to the shelf."""
    own = service(request)
    given = await form(request, secret=True)
    word = given.pop("do", "")
    entered = await api.opened(own, key, Role.READ)
    try:
        least, work = _DOES.get(word, (Role.READ, _nothing))
        allowed = await api.opened(own, key, least)
        made = await work(_Asked(request, own, key, allowed), given)
    except ProblemError as error:
        said = {"wrong": error.detail, "given": {**given, "do": word}}
        return await _shelf(request, own, key, entered, {}, said, error.status)
    if made is not None:
        return made
    return RedirectResponse(f"/clubs/{quote(key, safe='')}", 303)


async def _shelf(
    request: Request,
    own: Service,
    key: str,
    entered: Entered,
    filters: Mapping[str, str | None],
    more: Mapping[str, Any],
    status: int = 200,
) -> Response:
    wanted = {name: (filters.get(name) or "").strip() or None for name in ("puzzle", "type")}
    told = await api.shelf(own, key, entered)
    shown = told.items
    for name, text in wanted.items():
        shown = [item for item in shown if text is None or getattr(item, name) == text]
    roles = list(Role)
    stands = standing(told.items)
    described = await own.call(puzzle_shelf.described, own.store, stands)
    data = {
        "key": quote(key, safe=""),
        "shelf": told,
        "adds": roles.index(entered.role) >= roles.index(Role.ADD),
        "keeps": entered.role is Role.KEEP,
        "puzzles": stands,
        "said": {item.puzzle: item for item in told.items if item.puzzle and item.state},
        "before": earlier(told.items),
        "named": {
            name: called({"name": name, "description": described.get(name, "")}) for name in stands
        },
        "described": described,
        "types": sorted({item.type for item in told.items if item.type}),
        "shown": list(reversed(shown)),
        "filters": wanted,
        "states": STATES,
        "links": LINKS,
        "change": None,
        "wrong": None,
        "given": {},
        "page_of": page_of,
        "here": here(request, own),
        "linked": linked,
        "most_practised": own.limits.practice_cases,
        "most_printed": own.limits.sheet_sequences,
    }
    return await page("club.html", {**data, **more}, status)


def standing(items: Sequence[ClubItem]) -> dict[str, str]:
    """Return how far the club is with each puzzle on its shelf, as was said last; else new."""
    found: dict[str, str] = {}
    for item in items:
        if item.puzzle is not None:
            found[item.puzzle] = item.state or found.get(item.puzzle, "new")
    return dict(sorted(found.items()))


def earlier(items: Sequence[ClubItem]) -> set[int]:
    """Return the numbers of what says how far the club was with a puzzle before it said so anew.

    What has a text of its own stays on the shelf.
    """
    last = {item.puzzle: item.number for item in items if item.state}
    return {
        item.number
        for item in items
        if item.kind == "puzzle" and item.number < last.get(item.puzzle, 0) and not item.text
    }


def page_of(link: str) -> str:
    """Return the page beside an address of the API."""
    return link.removeprefix("/api")


class _Asked:
    """Who asks for what: the request, its club, and what the link allows."""

    def __init__(self, request: Request, own: Service, key: str, entered: Entered) -> None:
        self.request, self.own, self.key, self.entered = request, own, key, entered


Given = dict[str, str]


async def _nothing(asked: _Asked, given: Given) -> None:
    raise ProblemError(422, "the form does not say what is to be done")


async def _share(asked: _Asked, given: Given) -> None:
    data: dict[str, Any] = dict(given)
    if data.get("kind") == "result":
        data |= result_of(data.pop("link", ""))
    if data.get("kind") == "note" and data.get("puzzle") and data.get("type"):
        data["type"] = await _type(asked.own, data["puzzle"].strip(), data["type"].strip())
    shared = checked(Shared, data)
    await api.share(asked.own, Response(), asked.key, asked.entered, shared)


async def _type(own: Service, puzzle: str, said: str) -> str:
    """Return the name of a type of piece that somebody calls as pages do, "corners"."""
    with suppress(ProblemError):
        names = [str(kind["name"]) for kind in (await short(own, puzzle))["types"]]
        return {plural(name, 2): name for name in names}.get(said, said)
    return said


async def _change(asked: _Asked, given: Given) -> None:
    number = _number(given)
    # A field of the form that is empty takes away what was there.
    data = {name: given.get(name) for name in ("by", "text")}
    if "state" in given:
        data["state"] = given["state"]
    await api.change(asked.own, asked.key, asked.entered, number, checked(Changed, data))


async def _take_off(asked: _Asked, given: Given) -> None:
    await api.take_off(asked.own, asked.entered, _number(given))


async def _rename(asked: _Asked, given: Given) -> None:
    await api.rename(asked.own, asked.key, asked.entered, checked(ClubName, given))


async def _replace(asked: _Asked, given: Given) -> Response:
    role = _role(given)
    _sure(asked, given, role)
    link = await api.replace(asked.own, Response(), asked.entered, role)
    shown = [_link(asked.request, asked.own, link.role, link.key)]
    # Whoever made a new link to keep house came by the one that opens nothing any more.
    there = shown[0]["href"] if role is Role.KEEP else f"/clubs/{quote(asked.key, safe='')}"
    instead = role in asked.entered.club.roles
    data = _made(asked.entered.club.name, shown, there, instead)
    return await page("founded.html", data, 201)


async def _withdraw(asked: _Asked, given: Given) -> None:
    role = _role(given)
    _sure(asked, given, role)
    await api.withdraw(asked.own, asked.entered, role)


def _sure(asked: _Asked, given: Given, role: Role) -> None:
    """Raise ProblemError unless it was ticked that a link that there is is to open nothing."""
    if role in asked.entered.club.roles and given.get("sure") != "1":
        text = "everybody who has the link there is would lose it; tick that, and send it again"
        raise ProblemError(422, text)


async def _remove(asked: _Asked, given: Given) -> Response:
    if given.get("name") != asked.entered.club.name:
        raise ProblemError(422, "the club is removed when its name is written out beside; it stays")
    await api.remove(asked.own, asked.entered)
    return RedirectResponse("/clubs", 303)


Work = Callable[[_Asked, Given], Awaitable[Response | None]]

#: What forms of the shelf ask for, and the least that a link must allow for it.
_DOES: dict[str, tuple[Role, Work]] = {
    "share": (Role.ADD, _share),
    "change": (Role.KEEP, _change),
    "take off": (Role.KEEP, _take_off),
    "rename": (Role.KEEP, _rename),
    "replace": (Role.KEEP, _replace),
    "withdraw": (Role.KEEP, _withdraw),
    "remove": (Role.KEEP, _remove),
}


def result_of(link: str) -> dict[str, Any]:
    """Return the digest and what was asked for in the link of a result; raises ProblemError."""
    expected = "a link to a result was expected, such as the one on the result's page"
    try:
        parts = urlsplit(link)
        query = parse_qs(parts.query)
    except ValueError:
        raise ProblemError(422, expected) from None
    folder, _, digest = parts.path.rpartition("/")
    if not folder.endswith("/results") or not re.fullmatch("[0-9a-f]{64}", digest):
        raise ProblemError(422, expected)
    data: dict[str, Any] = {"result": digest}
    if "cycle" in query:
        data["cycle"] = query["cycle"][0].split(",")
    if "effect" in query:
        data["effect"] = query["effect"][0]
    if query.get("most", [""])[0].isdecimal():
        data["most"] = int(query["most"][0])
    if query.get("left_handed") == ["true"]:
        data["left_handed"] = True
    return data


def _number(given: Given) -> int:
    text = given.get("number", "")
    if not text.isdecimal() or len(text) > 15:
        raise ProblemError(422, "the form does not say which thing on the shelf is meant")
    return int(text)


def _role(given: Given) -> Role:
    try:
        return Role(given.get("role", ""))
    except ValueError:
        raise ProblemError(422, "the form does not say which link is meant") from None


def _made(
    name: str, links: Sequence[Mapping[str, str]], there: str, instead: bool = False
) -> dict[str, Any]:
    """Return what the page of new links shows; ``there`` is the shelf for whoever made them."""
    return {"name": name, "links": links, "shelf": there, "instead": instead}


def _founding() -> dict[str, Any]:
    return {"name": "", "wrong": None}


def _link(request: Request, own: Service, role: str, key: str) -> dict[str, str]:
    href = f"/clubs/{quote(key, safe='')}"
    return {"role": role, "for": LINKS[role], "href": href, "whole": f"{here(request, own)}{href}"}
