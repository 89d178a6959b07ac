"""A printable sheet about a puzzle, as a JSON object with pictures: what readers are asked for."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from puzzles.errors import TrefoilError
from puzzles.picture import draw
from puzzles.state_picture import ground
from puzzles.type_picture import draw_types, plain, swatch
from service import puzzle_shelf, reports
from service.reports import Report
from service.sheet_grid import grid
from service.sheet_shapes import share
from service.sheet_strips import Wanted, ground_id, strip
from service.stores.base import Store

if TYPE_CHECKING:
    from puzzles.puzzle import Puzzle

#: How wide the picture of the whole puzzle is.
WHOLE = 420
#: The id of what the pictures of types have in common.
PLAIN = "plain"


def said(store: Store, message: Mapping[str, Any]) -> bytes:
    """Return what a message asks for, as JSON: a "sheet", or the "grid" that may stand on it."""
    report = sheet(store, message) if message["do"] == "sheet" else grid(store, message)
    return json.dumps(report, separators=(",", ":")).encode()


def sheet(store: Store, message: Mapping[str, Any]) -> Report:
    """Return what stands on a sheet.

    ``message`` names the puzzle, the "strips" (each with "sequence", and "parts" and "cycle" where
    they are known), how many turns one may have ("most"), and whether they are for the left hand.
    A sequence that cannot be shown comes back with "wrong", a sentence, alone.
    """
    puzzle = puzzle_shelf.load(store, message["puzzle"])
    strips: list[Report] = []
    for given in message["strips"]:
        # Only those that can be shown are numbered, as on the page.
        number = 1 + sum("wrong" not in own for own in strips)
        name = f"strip-{number}"
        strips.append(_strip(puzzle, given, message["most"], name, message["left_handed"]))
    shapes = share(strips)
    holdings = sorted({own["holding"] for own in strips if "holding" in own})
    report = {
        **reports.puzzle(puzzle),
        "puzzle": message["puzzle"],
        "picture": draw(puzzle, width=WHOLE),
        "map": draw_types(
            puzzle, range(len(puzzle.types)), "map", f"{puzzle.name} by types", PLAIN
        ),
        "strips": strips,
        "shapes": shapes,
        "grounds": {
            PLAIN: plain(puzzle),
            **{ground_id(own): ground(puzzle, own) for own in holdings},
        },
    }
    for kind, told in zip(puzzle.types, report["types"], strict=True):
        said = f"the pattern of {told['name']}"
        told["swatch"] = swatch(kind.number, f"swatch-{kind.number}", said)
        told["picture"] = draw_types(
            puzzle, [kind.number], f"type-{kind.number}", f"where each {told['name']} is", PLAIN
        )
    return report


def _strip(
    puzzle: Puzzle, given: Mapping[str, Any], most: int, name: str, left_handed: bool
) -> Report:
    parts = given.get("parts")
    wanted = Wanted(
        given["sequence"], None if parts is None else tuple(parts), tuple(given.get("cycle", ()))
    )
    try:
        return strip(puzzle, wanted, most, name, left_handed)
    except TrefoilError as error:
        return {"wrong": str(error)}
