"""The command for the last pieces: where they are now, and the steps that put them right."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from service import options
from service.output import FOUND, IMPOSSIBLE, checked, print_json, write_file
from service.settings import settings

if TYPE_CHECKING:
    from search.encoding import Scope
    from search.goals import Goal
    from search.shelves import Shelves
    from search.tools import Search
    from service.engine import Engine
    from service.layout import Page
    from service.reports import Report

#: What the steps are best by, in words.
MEASURED = {
    "turns": "fewest turns",
    "sequences": "fewest different sequences",
    "memory": "fewest things to remember",
}


def finish(
    puzzle: options.PuzzleName,
    sequence: Annotated[
        str | None,
        typer.Option("--sequence", metavar="SEQUENCE", help="What led from solved to this state."),
    ] = None,
    cycles: Annotated[
        str | None,
        typer.Option(
            "--cycles", metavar='"(A B C)(D E)"', help="The piece of A is now at B, that of B at C."
        ),
    ] = None,
    pieces: options.Pieces = None,
    stickers: options.Stickers = None,
    colours: options.Colours = None,
    by: Annotated[
        str | None,
        typer.Option(
            "--by", metavar="turns|sequences|memory", help="What there is to be least of."
        ),
    ] = None,
    seconds: Annotated[
        str | None,
        typer.Option(
            "--seconds",
            metavar="T",
            help="Look for one sequence for all, also where three-cycles do: T seconds at most.",
        ),
    ] = None,
    apart: options.Apart = False,
    json: options.Json = False,
    picture: options.Picture = None,
    threads: options.Threads = None,
) -> int:
    """Say how to put the last pieces right; only those that are not solved are entered."""
    from puzzles import load
    from puzzles.stopping import stoppable
    from service.cli_find import working
    from service.finish_report import entered, finished, measure

    path = checked(picture)
    chosen = settings(options.whole("--threads", threads))
    measured, limit = measure(by), options.seconds(seconds)
    loaded = load(puzzle)
    given = {
        "sequence": sequence,
        "cycles": cycles,
        "pieces": pieces,
        "stickers": stickers,
        "colours": colours,
    }
    state = entered(loaded, given, apart)
    with working(chosen) as engine, stoppable(lambda: interrupted(engine)):
        told = finished(state, shelves_from(engine), measured, limit, engine.stop)
        interrupted(engine)
    if path is not None:
        from puzzles.picture import draw

        write_file(path, draw(loaded, None, list(state.unsolved)))
    if json:
        print_json(told)
    else:
        show(told)
    return FOUND if told["possible"] else IMPOSSIBLE


def interrupted(engine: Engine) -> None:
    """Raise KeyboardInterrupt where somebody stops an engine."""
    if engine.stop():
        raise KeyboardInterrupt


def shelves_from(engine: Engine) -> Search:
    """Return what fetches shelves from an engine's store; an interrupt ends it."""

    def fetch(scope: Scope, goal: Goal) -> Shelves:
        outcome = engine.search(scope, goal)
        interrupted(engine)
        return outcome.shelves

    return fetch


def show(told: Report) -> None:
    """Print how the puzzle is held, what was entered, and the steps or why there are none."""
    from service.layout import page

    with page() as out:
        out.line(
            f"{told['puzzle']}: {_counted(len(told['unsolved']), 'piece')} to put right", "bold"
        )
        out.pairs(
            [
                ("hold", told["hold"]),
                ("entered", told["pieces"]),
                ("as cycles", "".join(told["cycles"])),
            ]
        )
        if not told["possible"]:
            _impossible(out, told)
        elif not told["steps"]:
            out.line()
            out.line("This is solved already; nothing has to be done.")
        else:
            _steps(out, told)


def _impossible(out: Page, told: Report) -> None:
    out.line()
    out.line(told["reason"])
    if told["laws"]:
        out.line()
        out.line("What turns never change", "bold")
        for law in told["laws"]:
            out.line(law, "", 2)
    repair = told["repair"]
    if repair is None:
        return
    out.line()
    word = "Smallest repair" if repair["least"] else "A repair"
    out.line(f"{word}, {_counted(len(repair['pieces']), 'piece')} taken out", "bold")
    for step in repair["steps"]:
        out.line(f"{step[:1].upper()}{step[1:]}.", "", 2)


def _steps(out: Page, told: Report) -> None:
    for number, step in enumerate(told["steps"], 1):
        out.line()
        out.line(f"{number}. {step['notation']}", "bold")
        left = step["unsolved"]
        then = "everything" if not left else ", ".join(step["solves"]) or "nothing yet"
        rows: list[tuple[str, object]] = [
            ("kind", step["kind"]),
            ("does", step["text"]),
            ("sequence", "" if step["sequence"] == step["notation"] else step["sequence"]),
            ("turns", step["turns"]),
            ("then solved", f"{then}; {_left(left, bool(step['solves']))}" if left else then),
        ]
        out.pairs(rows)
    out.line()
    out.line("All together", "bold")
    out.pairs(
        [
            ("sequence", told["sequence"]),
            ("turns", f"{told['turns']}, {_different(told['sequences'])}"),
            ("chosen by", MEASURED[told["by"]]),
        ]
    )
    if told["note"]:
        out.line(f"One sequence for all: {told['note']}.", "", 2)
    if told["further"]:
        out.line("--seconds T looks for one sequence for all longer, T seconds at most.", "", 2)
    for part in told["types"]:
        out.line(f"{part['type']}: {part['text']}.", "", 2)


def _left(number: int, solves: bool) -> str:
    """Return how many pieces are not solved after a step that solves some, or none."""
    if solves:
        return f"{_counted(number, 'piece')} left"
    return f"{_counted(number, 'piece')} {'is' if number == 1 else 'are'} out of place for now"


def _different(number: int) -> str:
    return "one sequence" if number == 1 else f"{number} different sequences"


def _counted(number: int, word: str) -> str:
    return f"{number} {word}{'s' * (number != 1)}"
