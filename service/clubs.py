"""Clubs: a shelf of results, puzzles and notes that a group shares by unguessable links.

There are no accounts. Whoever has a link may do what its role allows: read, add, or keep house
(rename, remove, replace links). A link's key is shown once and only its hash is stored, so that
nobody who sees the store can open a shelf; W3C TAG, Good Practices for Capability URLs, 2014, is
followed in all that it says of links that expire only when somebody wants it.
"""

from __future__ import annotations

import hashlib
import json
import secrets
import unicodedata
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StrictBool, StrictInt
from pydantic_core import PydanticCustomError

from puzzles.errors import RequestError
from search.request import LONGEST_EFFECT
from service import puzzle_shelf
from service.counting import count
from service.questions import Name
from service.settings import MOST_SHOWN
from service.stores.base import Club, Item, Role, Store

#: Bytes of chance in a link's key: 256 bits, where 128 would do.
KEY_BYTES = 32
#: The longest name of a club or of whoever shared something, and the longest text, in characters.
LONGEST_NAME = 80
LONGEST_TEXT = 2_000
#: The kind of things that count how many clubs an asker founded on a day.
FOUNDED = "founded"
#: Seconds of the window in which founding is counted.
DAY = 86_400
#: What is said of every link that opens nothing, whatever the reason.
NO_CLUB = "this link opens no club's shelf: it was mistyped, replaced or withdrawn"
#: The same of its key alone.
NO_KEY = "opens no club: it was mistyped, replaced or withdrawn"
#: What the name begins with under which a club asks.
ASKS = "club-"
#: What a role allows, in words.
ALLOWS = {
    Role.READ: "read the shelf",
    Role.ADD: "read the shelf and add to it",
    Role.KEEP: "keep house",
}
ORDER = (Role.READ, Role.ADD, Role.KEEP)
#: Format characters that writing needs: they part or join the letters of some scripts.
JOINERS = "\u200c\u200d"


class NoClubError(Exception):
    """A link that opens no shelf; the text never says which link."""

    def __init__(self) -> None:
        super().__init__(NO_CLUB)


class NotAllowedError(Exception):
    """A link that does not allow what was asked; the text says what it allows."""


class NotThereError(Exception):
    """Something that is not on the shelf."""


def _plain(text: str, lines: bool) -> str:
    """Return text without spaces around it; raises PydanticCustomError for what steers a screen."""
    text = text.strip()
    if not text:
        raise PydanticCustomError("empty_text", "it is empty; some text was expected")
    for sign in text:
        kind = unicodedata.category(sign)
        if sign in JOINERS or (lines and sign == "\n"):
            continue
        if kind in ("Cc", "Cf", "Cs", "Zl", "Zp"):
            named = f"U+{ord(sign):04X}"
            raise PydanticCustomError(
                "control_character",
                "it has the control character {named}; plain text was expected",
                {"named": named},
            )
    return text


def _one_line(text: str) -> str:
    return _plain(text, lines=False)


def _lines(text: str) -> str:
    return _plain(text.replace("\r\n", "\n"), lines=True)


Line = Annotated[str, Field(min_length=1, max_length=LONGEST_NAME), AfterValidator(_one_line)]
Text = Annotated[str, Field(min_length=1, max_length=LONGEST_TEXT), AfterValidator(_lines)]
Digest = Annotated[str, Field(pattern="^[0-9a-f]{64}$", description="a result's digest")]
State = Annotated[
    Literal["new", "understood", "solved", "taught"],
    Field(description="how far the club is with a puzzle"),
]


class _Shared(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    by: Line | None = Field(default=None, description="who shared it, if they say so")


class SharedResult(_Shared):
    """A result, and the cycle or effect in whose letters it is shown."""

    kind: Literal["result"]
    result: Digest
    cycle: Annotated[list[Name], Field(min_length=3, max_length=3)] | None = Field(
        default=None, description="three stickers, as they were asked for"
    )
    effect: Annotated[str, Field(min_length=1, max_length=LONGEST_EFFECT)] | None = Field(
        default=None, description="another effect, as it was asked for"
    )
    most: Annotated[StrictInt, Field(ge=1, le=MOST_SHOWN)] | None = None
    left_handed: StrictBool = False
    text: Text | None = None


class SharedPuzzle(_Shared):
    """A puzzle: a name of the catalogue, or the address of a posted one."""

    kind: Literal["puzzle"]
    puzzle: Name
    state: State | None = None
    text: Text | None = None


class SharedNote(_Shared):
    """A note; it may say which puzzle and which type of piece it is about."""

    kind: Literal["note"]
    text: Text
    puzzle: Name | None = None
    type: Line | None = None


Shared = Annotated[SharedResult | SharedPuzzle | SharedNote, Field(discriminator="kind")]


class ClubName(BaseModel):
    """What a club is called."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    name: Line


class Changed(BaseModel):
    """What is changed of something on the shelf; what is not named stays, null takes it away."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    by: Line | None = None
    text: Text | None = None
    state: State | None = Field(default=None, description="of a puzzle alone")


@dataclass(frozen=True)
class Entered:
    """A club that a link opened, and what the link allows."""

    club: Club
    role: Role


def hashed(key: str) -> str:
    """Return what is stored of a link's key: it has 256 bits, so that no salt is needed."""
    return hashlib.sha256(key.encode("utf-8", "surrogatepass")).hexdigest()


def found(store: Store, name: str, asker: str, most: int) -> dict[Role, str]:
    """Found a club and return the keys of its links.

    ``most`` is how many one asker may found in a day. Raises TooManyError and StoreError.
    """
    clubs = "club was" if most == 1 else "clubs were"
    told = f"{most} {clubs} founded from here today, which is the most in a day"
    count(store, FOUNDED, asker, most, DAY, told)
    keys = {role: secrets.token_urlsafe(KEY_BYTES) for role in ORDER}
    hashes = {role: hashed(key) for role, key in keys.items()}
    store.clubs.found(secrets.token_hex(8), name, hashes)
    return keys


def entered(store: Store, key: str, least: Role = Role.READ) -> Entered:
    """Return the club that a link opens.

    Raises NoClubError for a link that opens none, NotAllowedError for one that allows less than
    ``least``, StoreError.
    """
    opened = store.clubs.entered(hashed(key))
    if opened is None:
        raise NoClubError
    club, role = opened
    if ORDER.index(role) < ORDER.index(least):
        raise NotAllowedError(
            f"this link allows to {ALLOWS[role]}; to {ALLOWS[least]}, another link is needed"
        )
    return Entered(club, role)


def asker(store: Store, key: str) -> str | None:
    """Return the name under which a club asks, None for a key that opens none.

    Raises NotAllowedError for a key that may only read: what a club has is not for all its readers.
    """
    try:
        club = entered(store, key, Role.ADD).club
    except NoClubError:
        return None
    return f"{ASKS}{hashed(club.number)[:32]}"


def replace_link(store: Store, club: Club, role: Role) -> str:
    """Put a new link in the place of a role's and return its key."""
    key = secrets.token_urlsafe(KEY_BYTES)
    store.clubs.replace_link(club.number, role, hashed(key))
    return key


def share(
    store: Store,
    club: Club,
    shared: SharedResult | SharedPuzzle | SharedNote,
    about: dict[str, Any],
    most: int,
) -> Item:
    """Put something on a shelf that holds ``most`` things; ``about`` says more of what it is.

    Raises TooManyError and StoreError.
    """
    data = {**about, **shared.model_dump(mode="json", exclude_none=True)}
    if puzzle_shelf.ADDRESS.fullmatch(data.get("puzzle", "")):
        puzzle_shelf.share(store, data["puzzle"])
    return store.clubs.add(club.number, json.dumps(data, sort_keys=True), most)


def change(store: Store, club: Club, number: int, changed: Changed) -> Item:
    """Change what is said of something on the shelf; raises NotThereError and RequestError."""
    item = one(store, club, number)
    if not changed.model_fields_set:
        raise RequestError("nothing was named that is to change; by, text or state can be")
    data = contents(item)
    for name in changed.model_fields_set:
        value = getattr(changed, name)
        if value is None:
            data.pop(name, None)
        else:
            data[name] = value
    if data["kind"] != "puzzle" and "state" in data:
        raise RequestError(f"a {data['kind']} has no state; a puzzle has one")
    if data["kind"] == "note" and "text" not in data:
        raise RequestError("a note has a text; without one it can be taken off the shelf")
    text = json.dumps(data, sort_keys=True)
    if not store.clubs.change(club.number, number, text):
        raise _not_there(number)
    return Item(item.number, text, item.added)


def take_off(store: Store, club: Club, number: int) -> None:
    """Take something off the shelf; raises NotThereError."""
    if not store.clubs.take_off(club.number, number):
        raise _not_there(number)


def one(store: Store, club: Club, number: int) -> Item:
    """Return one thing on the shelf; raises NotThereError."""
    for item in store.clubs.items(club.number):
        if item.number == number:
            return item
    raise _not_there(number)


def shelf(
    store: Store,
    club: Club,
    kind: str | None = None,
    puzzle: str | None = None,
    piece_type: str | None = None,
) -> list[Item]:
    """Return what is on the shelf, in order, of a kind, about a puzzle and a type of piece."""
    wanted = {"kind": kind, "puzzle": puzzle, "type": piece_type}
    asked = {name: value for name, value in wanted.items() if value is not None}
    items = store.clubs.items(club.number)
    if not asked:
        return items
    return [item for item in items if asked.items() <= _flat(contents(item)).items()]


def contents(item: Item) -> dict[str, Any]:
    """Return what stands in an item."""
    data: dict[str, Any] = json.loads(item.data)
    return data


def _flat(data: dict[str, Any]) -> dict[str, str]:
    return {name: value for name, value in data.items() if isinstance(value, str)}


def _not_there(number: int) -> NotThereError:
    return NotThereError(f"there is nothing numbered {number} on this shelf")
