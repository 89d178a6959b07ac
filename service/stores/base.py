"""What every store promises: the levels of searches, jobs, things kept by name, and clubs.

The store is the truth. What stands in it is whole or not there, for every process that looks.
Unless a docstring says otherwise, a method that cannot reach, read or write the store raises
StoreError, changes nothing and may be called again. All of them may be called from any thread.
Times are seconds since 1970 by the store's own clock, so that machines with different clocks agree.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass
from enum import StrEnum

from service.stores.base_jobs import (
    Figures,
    Job,
    JobLimits,
    Jobs,
    Lease,
    Shard,
    Signal,
    State,
    doublings,
)

__all__ = [
    "Club",
    "Clubs",
    "Figures",
    "Item",
    "Job",
    "JobLimits",
    "Jobs",
    "Lease",
    "Levels",
    "NoLevels",
    "Role",
    "Shard",
    "Signal",
    "State",
    "Store",
    "StoreError",
    "Things",
    "TooManyError",
    "doublings",
]


class StoreError(Exception):
    """The store cannot be used just now; the text says in one sentence why.

    ``retry_after``: seconds after which it is worth trying again.
    """

    def __init__(self, text: str, retry_after: int = 5) -> None:
        super().__init__(text)
        self.retry_after = retry_after


class TooManyError(Exception):
    """An asker, or all together, have as much as the limits allow; one sentence says of what.

    ``retry_after``: seconds after which it is worth trying again, 0 where waiting does not help.
    """

    def __init__(self, text: str, retry_after: int = 10) -> None:
        super().__init__(text)
        self.retry_after = retry_after


# --- Levels -------------------------------------------------------------------------------------


class Levels(ABC):
    """Finished levels of searches, as bytes, by the search's key and a number.

    The number is the half-length; where a search does other steps between levels
    (``search.plan``), what is there after each of them stands beside the levels, under a number
    that no half-length reaches. A level that was put is never changed afterwards: a level has one
    result. Losing a level costs time and nothing else; what was not used for longest goes first
    where room is short.
    """

    @abstractmethod
    def numbers(self, key: str) -> list[int]:
        """Return the numbers that are there for a key, ascending."""

    @abstractmethod
    def get(self, key: str, number: int) -> bytes | None:
        """Return what was put for a key and a number, None if it is not there."""

    @abstractmethod
    def put(self, key: str, number: int, data: bytes) -> None:
        """Keep a finished level; one that is there already stays as it is."""

    @abstractmethod
    def close(self) -> None:
        """Let go of files and connections."""


class NoLevels(Levels):
    """Keeps nothing."""

    def numbers(self, key: str) -> list[int]:
        return []

    def get(self, key: str, number: int) -> bytes | None:
        return None

    def put(self, key: str, number: int, data: bytes) -> None:
        pass

    def close(self) -> None:
        pass


# --- Things kept by name ------------------------------------------------------------------------


class Things(ABC):
    """Bytes by kind and name, put once and never changed.

    Kinds that can be made again (``settings.EVICTED``) make room for others, those not used for
    longest first; all others stay until they are removed.
    """

    @abstractmethod
    def get(self, kind: str, name: str) -> bytes | None:
        """Return what was put, None if it is not there."""

    @abstractmethod
    def put(self, kind: str, name: str, data: bytes) -> bool:
        """Keep something; return whether it is new: what is there already stays as it is."""

    @abstractmethod
    def count(self, kind: str) -> int:
        """Return how many there are of a kind."""

    @abstractmethod
    def names(self, kind: str, most: int) -> list[str]:
        """Return names of a kind, those that were put last first."""

    @abstractmethod
    def remove(self, kind: str, name: str) -> None:
        """Remove something, if it is there."""


# --- Clubs --------------------------------------------------------------------------------------


class Role(StrEnum):
    """What a link to a club's shelf allows; each allows what those before it do."""

    READ = "read"
    ADD = "add"
    KEEP = "keep"


@dataclass(frozen=True)
class Club:
    """A club: a name and the roles that have a link in force."""

    number: str
    name: str
    created: float
    roles: tuple[Role, ...]


@dataclass(frozen=True)
class Item:
    """Something on a club's shelf: JSON, numbered in the order in which it came."""

    number: int
    data: str
    added: float


class Clubs(ABC):
    """Clubs and what is on their shelves. Links are known by the hashes of their keys alone.

    What is done to a club that is not there (any more) does nothing.
    """

    @abstractmethod
    def found(self, number: str, name: str, hashes: dict[Role, str]) -> None:
        """Found a club, whose number nobody else has; raises ValueError if somebody has."""

    @abstractmethod
    def entered(self, key_hash: str) -> tuple[Club, Role] | None:
        """Return the club that a link opens, and what it allows; None for no link in force."""

    @abstractmethod
    def rename(self, number: str, name: str) -> None:
        """Give a club another name."""

    @abstractmethod
    def replace_link(self, number: str, role: Role, key_hash: str | None) -> None:
        """Put another link in the place of a role's, or none."""

    @abstractmethod
    def remove(self, number: str) -> None:
        """Remove a club with all of its shelf and links."""

    @abstractmethod
    def items(self, number: str) -> list[Item]:
        """Return what is on the shelf, in order."""

    @abstractmethod
    def add(self, number: str, data: str, most: int) -> Item:
        """Put something on the shelf; numbers go up and are never given twice.

        Raises TooManyError if there are ``most`` already, KeyError if there is no such club.
        """

    @abstractmethod
    def change(self, number: str, item: int, data: str) -> bool:
        """Put other data in an item's place; return whether it is there."""

    @abstractmethod
    def take_off(self, number: str, item: int) -> bool:
        """Take something off the shelf; return whether it was there."""


# --- All of it ----------------------------------------------------------------------------------


class Store(ABC):
    """Everything that a service keeps, in one place."""

    levels: Levels
    jobs: Jobs
    things: Things
    clubs: Clubs

    @abstractmethod
    def missing(self) -> list[str]:
        """Return in sentences what this store lacks to be relied on, nothing if all is well.

        Raises nothing: a store that cannot be reached says that.
        """

    @abstractmethod
    def close(self) -> None:
        """Let go of files and connections."""
