"""Puzzles by reference: those of the catalogue by name, and posted ones by the address of a file.

What somebody asks for by name is never taken for a path.
"""

from __future__ import annotations

import hashlib
import itertools
import re
import tomllib
from collections.abc import Iterable

from puzzles import compile, file
from puzzles.errors import NameNotFoundError
from puzzles.puzzle import Puzzle
from service.forgetting import make_room
from service.stores.base import Store

#: The kind of thing that a posted puzzle's file is in a store.
KIND = "puzzle"
#: Kinds of things that say which posted puzzles stand on a shelf, and which were used, in order.
SHARED, USED = "puzzle-shared", "puzzle-used"
#: What the address of a posted puzzle looks like.
ADDRESS = re.compile(r"p-[0-9a-f]{16}", re.ASCII)
#: How many posted puzzles are described at once.
MOST_DESCRIBED = 100


def address(text: str) -> str:
    """Return the address of a posted puzzle: the same for the same file."""
    return f"p-{hashlib.sha256(text.encode()).hexdigest()[:16]}"


def load(store: Store, name: str) -> Puzzle:
    """Return a compiled puzzle by its catalogue name, or by the address of a posted file.

    Raises NameNotFoundError for anything else, and where no such file was posted.
    """
    if ADDRESS.fullmatch(name):
        make_room(name)
        return compile.from_text(name, text_of(store, name), name)
    if name in file.catalogue():
        make_room()
        return compile.load(name)
    shown = name if len(name) <= 40 else f"{name[:40]}…"
    text = f"there is no puzzle {shown!r} in the catalogue or among those that were posted"
    raise NameNotFoundError(text)


def text_of(store: Store, name: str) -> str:
    """Return the file that was posted under an address; raises NameNotFoundError."""
    data = store.things.get(KIND, name)
    if data is None:
        raise NameNotFoundError(f"there is no puzzle {name}; nobody posted it here, or it is gone")
    return data.decode()


def described(store: Store, names: Iterable[str]) -> dict[str, str]:
    """Return what posted puzzles are, by their addresses, in the words of their files."""
    found: dict[str, str] = {}
    for name in itertools.islice(filter(ADDRESS.fullmatch, names), MOST_DESCRIBED):
        data = store.things.get(KIND, name)
        if data is not None:
            found[name] = str(tomllib.loads(data.decode()).get("description", ""))
    return found


def keep(store: Store, text: str) -> str:
    """Keep a puzzle file that can be compiled under its address, and return that."""
    name = address(text)
    store.things.put(KIND, name, text.encode())
    return name


def use(store: Store, name: str) -> None:
    """Note that a posted puzzle was used just now."""
    store.things.remove(USED, name)
    store.things.put(USED, name, b"")


def share(store: Store, name: str) -> None:
    """Note that a posted puzzle stands on a club's shelf: from then on it stays."""
    store.things.put(SHARED, name, b"")


def let_go(store: Store, most: int) -> bool:
    """Let posted puzzles on no shelf go until one more is within ``most``; whether it now is.

    Those that were not used for longest go first. Whoever posts one again has it at the same
    address.
    """
    things = store.things
    excess = things.count(KIND) + 1 - most
    if excess <= 0:
        return True
    shared = set(things.names(SHARED, things.count(SHARED)))
    used = {name: at for at, name in enumerate(reversed(things.names(USED, things.count(USED))))}
    posted = reversed(things.names(KIND, things.count(KIND)))
    able = sorted((name for name in posted if name not in shared), key=lambda x: used.get(x, -1))
    for name in able[:excess]:
        things.remove(KIND, name)
        things.remove(USED, name)
    return len(able) >= excess
