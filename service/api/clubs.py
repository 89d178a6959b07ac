"""Clubs: founding one, its shelf, and its links; what stands in an address here is a secret."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Sequence
from dataclasses import replace as replace_fields
from typing import Annotated, Any, Literal
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Depends, Path, Query, Request, Response
from pydantic import BaseModel, Field
from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service import clubs
from service.api.context import Service, service
from service.api.models import Digest, Href
from service.api.problems import ProblemError
from service.clubs import (
    Changed,
    ClubName,
    Entered,
    NoClubError,
    NotAllowedError,
    NotThereError,
    Shared,
    SharedNote,
    SharedPuzzle,
    SharedResult,
    State,
)
from service.questions import Name
from service.settings import MOST_NAME
from service.stores.base import Item, Role

PREFIX = "/api/clubs"
#: What every answer about a club has: its address must not be passed on, found or kept.
SEALED = {
    "Referrer-Policy": "no-referrer",
    "X-Robots-Tag": "noindex",
    "Cache-Control": "private, no-store",
}
#: The largest number of an item, as stores can hold it.
MOST_NUMBER = 2**53
Word = Literal["read", "add", "keep"]


class ClubLink(BaseModel):
    """A link to a shelf; its key is shown this once."""

    role: Word
    key: str
    href: Href


class Founded(BaseModel):
    """A club that was founded, and its links, which are shown this once."""

    name: str
    links: list[ClubLink]


class ClubItem(BaseModel):
    """Something on a shelf."""

    number: int
    href: Href
    kind: Literal["result", "puzzle", "note"]
    added: float = Field(description="when, in seconds since 1970")
    by: str | None = Field(description="who shared it, as they say")
    text: str | None
    puzzle: str | None = Field(description="the puzzle that it is about")
    type: str | None = Field(description="the type of piece that it is about")
    result: Digest | None
    cycle: list[str] | None
    effect: str | None
    state: State | None
    link: Href | None = Field(description="where the result or the puzzle is")


class Shelf(BaseModel):
    """A club's shelf as a link opens it; ``links`` are the roles that have one in force."""

    name: str
    role: Word = Field(description="what the link that was used allows")
    created: float = Field(description="when the club was founded, in seconds since 1970")
    links: list[Word]
    items: list[ClubItem]


class Sealed:
    """Puts what SEALED says on every answer about a club, errors among them."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        async def sealing(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in SEALED.items():
                    headers[name] = value
            await send(message)

        own = scope["type"] == "http" and is_club(scope["path"])
        await self._app(scope, receive, sealing if own else send)


def is_club(path: str) -> bool:
    """Return whether an address is one of a club, as JSON or as a page."""
    return path == PREFIX or path.startswith((f"{PREFIX}/", f"{PREFIX.removeprefix('/api')}/"))


def _problems(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """Return the problems of a route beside those that may always come, for the document."""
    return {status: {} for status in statuses}


router = APIRouter(prefix=PREFIX, tags=["clubs"])

Key = Annotated[str, Path(description="the key of one of the club's links")]
Number = Annotated[int, Path(ge=1, le=MOST_NUMBER, description="an item's number")]
Here = Annotated[Service, Depends(service)]
Filter = Annotated[str | None, Query(max_length=MOST_NAME)]


async def opened(own: Service, key: str, least: Role) -> Entered:
    """Return the club that a key opens; raises ProblemError and StoreError."""
    try:
        return await own.call(clubs.entered, own.store, key, least)
    except NoClubError as error:
        raise ProblemError(404, str(error)) from None
    except NotAllowedError as error:
        raise ProblemError(403, str(error)) from None


def _opens(least: Role) -> Callable[[Service, str], Awaitable[Entered]]:
    """Return what gives a route the club of its key, if that allows enough."""

    async def enter(own: Here, key: Key) -> Entered:
        return await opened(own, key, least)

    return enter


Reads = Annotated[Entered, Depends(_opens(Role.READ))]
Adds = Annotated[Entered, Depends(_opens(Role.ADD))]
Keeps = Annotated[Entered, Depends(_opens(Role.KEEP))]


@router.post("", status_code=201, operation_id="foundClub", responses=_problems(429, 503))
async def found(own: Here, request: Request, response: Response, named: ClubName) -> Founded:
    """Found a club; its three links are shown in the answer and nowhere else."""
    # By the address alone: a club that founds clubs would have no limit.
    founder = await own.home(request)
    most = own.limits.clubs_each
    keys = await own.call(clubs.found, own.store, named.name, founder, most)
    response.headers["Location"] = _href(keys[Role.KEEP])
    return Founded(name=named.name, links=[_link(role, key) for role, key in keys.items()])


@router.get("/{key}", operation_id="getShelf", response_model=Shelf, responses=_problems(404, 503))
async def read(
    own: Here,
    key: Key,
    entered: Reads,
    kind: Annotated[Literal["result", "puzzle", "note"] | None, Query()] = None,
    puzzle: Filter = None,
    type: Filter = None,
) -> Response:
    """Return the shelf, or what on it is of a kind, about a puzzle or about a type of piece."""
    return await own.call(_sent, own, key, entered, kind, puzzle, type)


@router.patch(
    "/{key}",
    operation_id="renameClub",
    response_model=Shelf,
    responses=_problems(403, 404, 503),
)
async def rename(own: Here, key: Key, entered: Keeps, named: ClubName) -> Response:
    """Give the club another name."""
    await own.call(own.store.clubs.rename, entered.club.number, named.name)
    renamed = replace_fields(entered, club=replace_fields(entered.club, name=named.name))
    return await own.call(_sent, own, key, renamed)


async def shelf(own: Service, key: str, entered: Entered) -> Shelf:
    """Return the whole shelf; it is put together in a thread, so that nobody else waits for it."""
    return await own.call(_shelf, own, key, entered)


@router.delete(
    "/{key}", status_code=204, operation_id="removeClub", responses=_problems(403, 404, 503)
)
async def remove(own: Here, entered: Keeps) -> None:
    """Remove the club with its shelf and its links; results and puzzles stay where they are."""
    await own.call(own.store.clubs.remove, entered.club.number)


@router.post(
    "/{key}/items",
    status_code=201,
    operation_id="shareItem",
    responses=_problems(403, 404, 410, 429, 503),
)
async def share(own: Here, response: Response, key: Key, entered: Adds, shared: Shared) -> ClubItem:
    """Put a result, a puzzle or a note on the shelf."""
    about = await _about(own, shared)
    item = await own.call(
        clubs.share, own.store, entered.club, shared, about, own.limits.club_items
    )
    told = _item(key, item)
    response.headers["Location"] = told.href
    return told


@router.get("/{key}/items/{number}", operation_id="getItem", responses=_problems(404, 503))
async def one(own: Here, key: Key, entered: Reads, number: Number) -> ClubItem:
    """Return one thing on the shelf."""
    return _item(key, await _there(own.call(clubs.one, own.store, entered.club, number)))


@router.patch(
    "/{key}/items/{number}", operation_id="changeItem", responses=_problems(403, 404, 503)
)
async def change(own: Here, key: Key, entered: Keeps, number: Number, changed: Changed) -> ClubItem:
    """Change what is said of something on the shelf."""
    work = own.call(clubs.change, own.store, entered.club, number, changed)
    return _item(key, await _there(work))


@router.delete(
    "/{key}/items/{number}",
    status_code=204,
    operation_id="removeItem",
    responses=_problems(403, 404, 503),
)
async def take_off(own: Here, entered: Keeps, number: Number) -> None:
    """Take something off the shelf."""
    await _there(own.call(clubs.take_off, own.store, entered.club, number))


@router.post(
    "/{key}/links/{role}",
    status_code=201,
    operation_id="replaceLink",
    responses=_problems(403, 404, 503),
)
async def replace(own: Here, response: Response, entered: Keeps, role: Role) -> ClubLink:
    """Make a new link for a role; the one before opens nothing from then on."""
    link = _link(role, await own.call(clubs.replace_link, own.store, entered.club, role))
    response.headers["Location"] = link.href
    return link


@router.delete(
    "/{key}/links/{role}",
    status_code=204,
    operation_id="withdrawLink",
    responses=_problems(403, 404, 409, 503),
)
async def withdraw(own: Here, entered: Keeps, role: Role) -> None:
    """Let a role's link open nothing any more; the one that keeps house can only be replaced."""
    if role is Role.KEEP:
        text = (
            "without the link that keeps house nobody could any more; POST puts another one in its "
            "place, and DELETE of the shelf itself removes the club"
        )
        raise ProblemError(409, text)
    await own.call(own.store.clubs.replace_link, entered.club.number, role, None)


async def _about(own: Service, shared: SharedResult | SharedPuzzle | SharedNote) -> dict[str, Any]:
    """Return what is known of what is shared; raises ProblemError if it is not there."""
    if isinstance(shared, SharedNote):
        if shared.puzzle is not None:
            await own.read({"do": "type", "puzzle": shared.puzzle, "type": shared.type})
        return {}
    if isinstance(shared, SharedPuzzle):
        await own.read({"do": "puzzle", "puzzle": shared.puzzle})
        return {}
    message = {"do": "about", "digest": shared.result, "cycle": shared.cycle}
    if shared.effect is not None:
        message["effect"] = shared.effect
    try:
        return (await own.read(message)).head
    except ProblemError as error:
        if error.status != 404:
            raise
        raise ProblemError(422, error.detail, pointer="#/result") from None


async def _there(work: Awaitable[Any]) -> Any:
    """Return what comes of work on an item; raises ProblemError if it is not on the shelf."""
    try:
        return await work
    except NotThereError as error:
        raise ProblemError(404, str(error)) from None


def _sent(own: Service, key: str, entered: Entered, *wanted: str | None) -> Response:
    """Return a shelf as it is sent, with all of up to a thousand things in it as JSON."""
    body = _shelf(own, key, entered, *wanted).model_dump_json()
    return Response(body, media_type="application/json")


def _shelf(own: Service, key: str, entered: Entered, *wanted: str | None) -> Shelf:
    """Return the shelf, or what on it is of a kind, about a puzzle or about a type of piece."""
    items = clubs.shelf(own.store, entered.club, *wanted)
    return Shelf(
        name=entered.club.name,
        role=entered.role.value,
        created=entered.club.created,
        links=[role.value for role in entered.club.roles],
        items=[_item(key, item) for item in items],
    )


def _link(role: Role, key: str) -> ClubLink:
    return ClubLink(role=role.value, key=key, href=_href(key))


def _href(key: str) -> str:
    return f"{PREFIX}/{quote(key, safe='')}"


def _item(key: str, item: Item) -> ClubItem:
    data = clubs.contents(item)
    names = ("by", "text", "puzzle", "type", "result", "cycle", "effect", "state")
    return ClubItem(
        number=item.number,
        href=f"{_href(key)}/items/{item.number}",
        kind=data["kind"],
        added=item.added,
        link=_target(data),
        **{name: data.get(name) for name in names},
    )


def _target(data: dict[str, Any]) -> str | None:
    """Return where what was shared is, None for a note about nothing."""
    if data["kind"] == "result":
        return result_link(
            data["result"],
            data.get("cycle"),
            data.get("most"),
            data.get("left_handed", False),
            data.get("effect"),
        )
    puzzle: Name | None = data.get("puzzle")
    return None if puzzle is None else f"/api/puzzles/{quote(puzzle, safe='')}"


def result_link(
    digest: str,
    cycle: Sequence[str] | None,
    most: int | None = None,
    left_handed: bool = False,
    effect: str | None = None,
) -> str:
    """Return the address of a result as somebody asked for it."""
    asked: dict[str, str] = {}
    if cycle is not None:
        asked["cycle"] = ",".join(cycle)
    if effect is not None:
        asked["effect"] = effect
    if most is not None:
        asked["most"] = str(most)
    if left_handed:
        asked["left_handed"] = "true"
    return f"/api/results/{digest}" + (f"?{urlencode(asked, safe=',:')}" if asked else "")
