"""Puzzles by reference: those of the catalogue by name, and posted ones by the address of a file.

What somebody asks for by name is never taken for a path.
"""

from __future__ import annotations

import hashlib
import re

from puzzles import compile, file
from puzzles.errors import NameNotFoundError
from puzzles.puzzle import Puzzle
from service.forgetting import make_room
from service.stores.base import Store

#: The kind of thing that a posted puzzle's file is in a store.
KIND = "puzzle"
#: What the address of a posted puzzle looks like.
ADDRESS = re.compile(r"p-[0-9a-f]{16}", re.ASCII)


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
    raise NameNotFoundError(f"there is no puzzle {shown!r}; GET /api/puzzles lists the catalogue's")


def text_of(store: Store, name: str) -> str:
    """Return the file that was posted under an address; raises NameNotFoundError."""
    data = store.things.get(KIND, name)
    if data is None:
        raise NameNotFoundError(f"there is no puzzle {name}; nobody posted it here, or it is gone")
    return data.decode()


def keep(store: Store, text: str) -> str:
    """Keep a puzzle file that can be compiled under its address, and return that."""
    name = address(text)
    store.things.put(KIND, name, text.encode())
    return name
