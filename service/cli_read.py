"""The command that reads a sequence: what it does, and how it is made."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated

import typer

from service import options
from service.output import FOUND, print_json

if TYPE_CHECKING:
    from puzzles.puzzle import Puzzle
    from service.reports import Report

#: How many mirrors and other holdings are printed unless all are asked for.
SHOWN = 3
#: How far a level of brackets is set in, in characters.
STEP = 2


def read(
    puzzle: options.PuzzleName,
    sequence: Annotated[
        str, typer.Argument(metavar="SEQUENCE", help="Such as \"R U R' U'\", in one word.")
    ],
    every: Annotated[
        bool, typer.Option("--all", help="Print all mirrors and holdings, not the first few.")
    ] = False,
    json: options.Json = False,
) -> int:
    """Say how a sequence is made: its commutators and conjugates, and why they work."""
    from puzzles import load
    from puzzles.blocking import why_blocked
    from puzzles.errors import RequestError
    from puzzles.notation import parse
    from service.read_report import reading

    loaded = load(puzzle)
    parsed = parse(loaded, sequence)
    blocked = why_blocked(loaded, parsed.word)
    if blocked is not None:
        raise RequestError(blocked)
    report = reading(loaded, parsed)
    if json:
        print_json(report)
    else:
        show(report, loaded, parsed.word, every)
    return FOUND


def show(report: Report, puzzle: Puzzle, word: tuple[int, ...], every: bool) -> None:
    """Print a reading: what `trefoil try` prints, the brackets level by level, and its images."""
    from puzzles.effects import cycles, effect_of
    from service.layout import page
    from service.tables import show_tried

    show_tried(report, puzzle, cycles(puzzle, effect_of(puzzle, word)))
    with page() as out:
        out.line()
        out.named("Read as:", report["notation"] or "nothing", "bold")
        out.line(f"{report['text'][:1].upper()}{report['text'][1:]}.")
        if report["tree"]["parts"]:
            out.line()
        #: What is shared by bracket after bracket is long: once, where it is no single piece.
        told = False
        for depth, part in _levels(report["tree"]):
            name = "" if part["role"] == "whole" else f"{part['role']}: "
            if depth or part["parts"]:
                out.line(f"{name}{_short(part)}", "bold" * (not depth), STEP * depth)
            if part["why"] and (part["does"] != "more" or not told):
                told = True
                out.line(part["why"], "", STEP * (depth + 1))
        if not report["turns"]:
            return
        out.line()
        undone = report["inverse"]
        blocked = f"; on the solved puzzle it is blocked: {undone['blocked']}"
        rows = [("inverse", undone["sequence"] + (blocked if undone["blocked"] else ""))]
        for name, images in (("mirror", report["mirrors"]), ("hold", report["holdings"])):
            shown = images if every else images[:SHOWN]
            rows += [(name, _held(name, own)) for own in shown]
            if len(images) > len(shown):
                rows.append(("", f"{len(images) - len(shown)} more; --all shows them"))
        out.pairs(rows)


def _levels(own: Report, depth: int = 0) -> Iterator[tuple[int, Report]]:
    """Yield all levels from the outside in, each with how deep it is."""
    yield depth, own
    for part in own["parts"]:
        yield from _levels(part, depth + 1)


def _short(part: Report) -> str:
    """Return a level in one line: its brackets, what they are, and how much they move."""
    pieces, turns = part["pieces_moved"], part["turns"]
    moved = f"{pieces} piece{'s' if pieces != 1 else ''}" if pieces else "nothing"
    kind = {"turns": "", "row": "in a row, ", "repeat": f"{part['times']} times, "}.get(
        part["kind"], f"{part['kind']}, "
    )
    return f"{part['notation']}  ({kind}{turns} turn{'s' if turns != 1 else ''}, moves {moved})"


def _held(name: str, own: Report) -> str:
    """Return a mirror or a holding with its sequence."""
    seen = "seen in a mirror, " if name == "mirror" else ""
    return f"{seen}{own['up']} up, {own['front']} in front: {own['sequence']}"
