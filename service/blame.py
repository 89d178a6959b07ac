"""Which field of a message is to blame where what was asked is refused."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from puzzles.errors import TrefoilError

if TYPE_CHECKING:
    from puzzles.puzzle import Puzzle
    from service.stores.base import Store

#: The puzzle by which fields are read where a message names none.
USUAL = "3x3x3"

Message = Mapping[str, Any]


def blamed(store: Store, message: Message, error: TrefoilError) -> str:
    """Return the field for which a message was refused, empty if it is not one alone.

    What can be read by itself is read again; what fails then is it.
    """
    from service.puzzle_shelf import load

    given = getattr(error, "field", None)
    if isinstance(given, str):
        return given
    asked = message.get("question", message)
    try:
        puzzle = load(store, asked.get("puzzle", USUAL))
    except TrefoilError:
        return "puzzle"
    for name, read in _READ.items():
        if asked.get(name) is None:
            continue
        try:
            read(puzzle, asked)
        except TrefoilError:
            return name
    last = [
        name
        for name in ("cycle", "effect", "type", "sequence", "start")
        if asked.get(name) is not None
    ]
    return last[0] if len(last) == 1 else ""


def _layers(puzzle: Puzzle, asked: Message) -> None:
    from search.request import layer_numbers

    layer_numbers(puzzle, asked["layers"])


def _kept(puzzle: Puzzle, asked: Message) -> None:
    from search.request import kept_types

    kept_types(puzzle, asked.get("keep"), asked.get("free"))


def _weights(puzzle: Puzzle, asked: Message) -> None:
    from service.requesting import weights_of

    weights_of(asked["weights"])


def _type(puzzle: Puzzle, asked: Message) -> None:
    from puzzles.names import read_type

    read_type(puzzle, asked["type"])


_READ: dict[str, Callable[[Puzzle, Message], None]] = {
    "layers": _layers,
    "keep": _kept,
    "free": _kept,
    "weights": _weights,
    "type": _type,
}
