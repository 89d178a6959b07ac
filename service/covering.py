"""What a reader says of a favourite: its cover, and second favourites from stored searches."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Any, TypeVar

from puzzles.errors import TrefoilError
from puzzles.notation import Parsed, parse
from puzzles.puzzle import Puzzle
from search.cover import Cover
from search.request import kept_types, layer_numbers
from service import cover_report, puzzle_shelf, stored
from service.reports import Report
from service.requesting import FieldError
from service.stores.base import Store

#: The most words that are compared as second favourites while somebody waits.
MOST_COMPARED = 150
#: The same where turns can be blocked.
MOST_BLOCKED = 10
#: The most cases that are listed if nobody asked for a list.
MOST_UNASKED = 2_000

T = TypeVar("T")


def cover(store: Store, asked: Mapping[str, Any]) -> bytes:
    """Return a cover as JSON, as `trefoil cover --json` prints it; raises FieldError.

    ``asked`` has the fields of ``service.api.covers.CoverQuestion``, and ``puzzle``.
    """
    puzzle = puzzle_shelf.load(store, asked["puzzle"])
    parsed = _blamed("sequence", lambda: parse(puzzle, asked["sequence"]))
    layers = _blamed("layers", lambda: layer_numbers(puzzle, asked["layers"]))
    field = "keep" if asked["keep"] is not None else "free"
    kept = _blamed(field, lambda: kept_types(puzzle, asked["keep"], asked["free"]))
    setup = asked["setup"]
    own = _blamed("sequence", lambda: _covered(puzzle, parsed, layers, kept, setup))
    only, first = asked["case"], asked["first"]
    # Where there is no grid to choose from, what there is of it stands in a list.
    few = not own.favourite.three_cycle and own.reached <= MOST_UNASKED
    listing = asked["listing"] or few
    if first:
        _blamed("first", lambda: cover_report.grid(own, first))
    told = _blamed(
        "case",
        lambda: cover_report.report(own, parsed.left_over, only, first, listing),
    )
    told.update({"second": [], "second_text": "", "stopped_by": None})
    if asked["second"]:
        told.update(_second(store, own))
    return json.dumps(told).encode()


@lru_cache(maxsize=4)
def _covered(
    puzzle: Puzzle,
    parsed: Parsed,
    layers: tuple[int, ...] | None,
    kept: tuple[int, ...] | None,
    setup: int,
) -> Cover:
    """Return a cover, kept at hand for whoever looks up case after case."""
    return cover_report.covered(puzzle, parsed, layers, kept, setup)


def _blamed(field: str, does: Callable[[], T]) -> T:
    """Return what comes of something; what is wrong with it is a field's fault."""
    try:
        return does()
    except FieldError:
        raise
    except TrefoilError as error:
        raise FieldError(str(error), field) from None


def _second(store: Store, own: Cover) -> Report:
    """Return second favourites from the deepest search for their type that is stored."""
    if not own.favourite.three_cycle:
        return {"second_text": cover_report.NO_SECOND}
    from search import cover_second
    from service.atlases import AtlasRequest, scope_of

    liked = own.favourite
    number = liked.types[0]
    scope = scope_of(AtlasRequest(liked.puzzle, (number,), liked.layers, liked.kept, False), number)
    key = stored.levels_key(scope)
    numbers = store.levels.numbers(key)
    found = stored.read(store.levels.get(key, max(numbers))) if numbers else None
    if found is None:
        return {
            "second_text": "no search for such three-cycles is kept here; an atlas of the type, "
            "or any search for one of them, makes one"
        }
    words = cover_second.candidates(own, found)
    most = MOST_BLOCKED if own.tried is not None else MOST_COMPARED
    *_, last = cover_second.second(own, words[:most])
    return cover_report.compared(own, last, len(words), found.half_length)
