"""The command that says what a favourite sequence reaches, and which second one covers the rest."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Iterator
from functools import partial
from itertools import groupby
from typing import TYPE_CHECKING, Annotated

import typer

from puzzles.errors import RequestError
from service import endings, options
from service.output import FOUND, INTERRUPTED, print_json, say
from service.settings import DEFAULT_LINES, MOST_SHOWN, Settings, settings

if TYPE_CHECKING:
    from search.cover import Cover
    from search.cover_second import Compared
    from service.engine import Engine
    from service.layout import Page
    from service.reports import Report


def cover(
    puzzle: options.PuzzleName,
    sequence: Annotated[
        str, typer.Argument(metavar="SEQUENCE", help="Such as \"[R U R' U', L]\", in one word.")
    ],
    layers: options.Layers = None,
    keep: options.Keep = None,
    free: options.Free = None,
    setup: options.Setup = None,
    case: Annotated[
        str | None,
        typer.Option("--case", metavar='"A B C"', help="Look up this one three-cycle."),
    ] = None,
    alone: Annotated[
        bool, typer.Option("--alone", help="Do not look for a second favourite.")
    ] = False,
    seconds: Annotated[
        str | None,
        typer.Option(
            "--seconds", metavar="T", help="Search for second favourites for T seconds; else 20."
        ),
    ] = None,
    most: options.Most = None,
    json: options.Json = False,
    threads: options.Threads = None,
    server: options.Service = None,
) -> int:
    """Say which three-cycles a favourite reaches: mirrored, turned, undone, with some setup."""
    from puzzles import load
    from puzzles.notation import parse
    from search.request import kept_types, layer_numbers
    from service.cover_report import NO_SECOND, SETUP_TURNS, covered, report

    chosen = settings(options.whole("--threads", threads))
    shown = options.number("most", most, 0, MOST_SHOWN, DEFAULT_LINES)
    bounds = options.bounds(None, None, setup, seconds)
    turns = SETUP_TURNS if bounds.setup is None else bounds.setup
    names = None if case is None else case.replace("->", " ").replace("→", " ").split()
    if server is not None:
        from service import cli_far

        _not_there(threads, seconds)
        kinds = {"layers": layers, "keep": keep, "free": free}
        question = {
            **{name: options.listed(text) for name, text in kinds.items()},
            **{"sequence": sequence, "setup": turns, "case": names},
            "second": case is None and not alone,
        }
        shows = partial(_shown, most=shown, single=names is not None, json=json)
        return cli_far.cover(server, puzzle, question, shows, json)
    loaded = load(puzzle)
    parsed = parse(loaded, sequence)
    own = covered(
        loaded,
        parsed,
        layer_numbers(loaded, layers),
        kept_types(loaded, keep, free),
        turns,
    )
    told = report(own, parsed.left_over, names)
    told["second"], told["second_text"], told["stopped_by"] = [], "", None
    if case is None and not alone and own.favourite.three_cycle:
        told.update(_second(chosen, own, bounds.seconds))
    elif case is None and not alone:
        told["second_text"] = NO_SECOND
    return _shown(told, shown, names is not None, json)


def _shown(told: Report, most: int, single: bool, json: bool) -> int:
    """Print a cover, as text or as JSON; return the exit status."""
    if json:
        print_json(told)
    else:
        show(told, most, single)
    return INTERRUPTED if told["stopped_by"] == endings.PERSON else FOUND


def _not_there(threads: str | None, seconds: str | None) -> None:
    """Refuse what is said about searching on this machine where a service is asked."""
    options.not_far(threads)
    if seconds is not None:
        raise RequestError(
            "--seconds is for searches on this machine; a service compares second favourites from "
            "what it has searched before"
        )


def _second(chosen: Settings, own: Cover, limit: float | None) -> Report:
    """Return second favourites from a search for all three-cycles of the type."""
    from service.cli_find import working

    with working(chosen) as engine:
        return second(engine, own, limit)


def second(engine: Engine, own: Cover, limit: float | None) -> Report:
    """Return second favourites, how they were found, and what ended that early."""
    from search import cover_second
    from search.cover_second import Compared
    from search.request import Bounds
    from service.atlases import AtlasRequest, goal_of, scope_of
    from service.cover_report import compared

    liked = own.favourite
    number = liked.types[0]
    asked = AtlasRequest(
        liked.puzzle, (number,), liked.layers, liked.kept, False, Bounds(seconds=limit)
    )
    scope = scope_of(asked, number)
    outcome = engine.search(scope, goal_of(asked, scope), asked.bounds)
    words = cover_second.candidates(own, outcome.shelves, engine.stop)
    last = Compared(0, len(words), ())
    with _bar() as show_share:
        for so_far in cover_second.second(own, words, engine.stop):
            last = so_far
            show_share(so_far)
            if engine.stop():
                break
    told = compared(own, last, len(words), outcome.shelves.half_length)
    by = endings.PERSON if engine.stop() else outcome.stopped_by
    return {**told, "stopped_by": by}


@contextlib.contextmanager
def _bar() -> Iterator[Callable[[Compared], None]]:
    """Give what shows how far the comparing is, where standard error is a terminal."""
    if not sys.stderr.isatty():
        yield lambda so_far: None
        return
    from service.watching import started

    bar, task = started()

    def share(so_far: Compared) -> None:
        best = f"covers {so_far.best[0].covers:,} of the rest" if so_far.best else ""
        done = so_far.done / max(so_far.of, 1)
        bar.update(task, completed=done, level="comparing second favourites", best=best)

    try:
        yield share
    finally:
        bar.stop()


def show(told: Report, most: int, single: bool) -> None:
    """Print a cover: cases by setup, what is left, second favourites, a look-up table."""
    from service.layout import page

    liked = told["favourite"]
    with page() as out:
        out.line(f"{told['puzzle']}: {liked['notation']}", "bold")
        out.pairs(
            [
                ("does", f"{told['shape']}: {_cycles(liked['cycles'])}"),
                ("turns", f"{liked['turns']}: {liked['sequence']}"),
                ("note", liked["left_over"]),
                ("note", f"on the solved puzzle {liked['blocked']}" if liked["blocked"] else ""),
                ("in all", f"it {told['text']}"),
            ]
        )
        if single:
            _one(out, told)
            return
        rows = [
            (row["setup"], f"{row['cases']:,}", "" if row["within"] else "beyond the bound")
            for row in told["by_setup"]
        ]
        out.table(("setup", "cases", ""), rows, "rr")
        worst = told["worst"]
        if worst is not None and worst["setup"]:
            out.line(
                f"The worst needs {_turns(worst['setup'])} of setup, such as "
                f"{_cycles(worst['cycles'])}; {worst['cases']:,} do."
            )
        if told["out_of_reach"]:
            out.line()
            out.line("Out of reach", "bold")
            for left in told["out_of_reach"]:
                example = f", such as {_cycles(left['example'])}" if left["example"] else ""
                out.line(f"{left['cases']:,}{example}: {left['reason']}.", "", 2)
        _others(out, told)
        _table(out, told, most)
    if told["stopped_by"] == endings.PERSON:
        say(endings.STOPPED)


def _one(out: Page, told: Report) -> None:
    if not told["entries"]:
        out.line("This case is out of reach with so much setup; --setup allows more.")
        return
    (own,) = told["entries"]
    out.line()
    out.line(_cycles(own["cycles"]), "bold")
    out.pairs(
        [
            ("notation", own["notation"]),
            ("setup", own["setup"] or "none"),
            ("sequence", own["sequence"]),
            ("turns", own["turns"]),
            ("how", how(own)),
        ]
    )


def _others(out: Page, told: Report) -> None:
    if told["second"]:
        out.line()
        out.line("A second favourite", "bold")
        rows = [
            (
                own["notation"],
                own["things"],
                f"{own['covers']:,}",
                f"{own['both']:,}",
                own["setups"],
            )
            for own in told["second"]
        ]
        columns = ("sequence", "things", "covers of the rest", "both reach", "setups in sum")
        out.table(columns, rows, " rrrr")
    if told["second_text"]:
        out.line(f"{told['second_text'][:1].upper()}{told['second_text'][1:]}.")


def _table(out: Page, told: Report, most: int) -> None:
    """Print the look-up table, grouped by the first piece."""
    if not told["listed"]:
        out.line()
        out.line("There are too many cases to list; --case looks one up.")
        return
    entries = told["entries"][:most]
    for first, group in groupby(entries, lambda own: own["cycle"][0]):
        out.line()
        out.line(f"From {first}", "bold")
        rows = [
            (
                _cycles(own["cycles"]),
                own["setup"] or "none",
                own["notation"],
                own["turns"],
                how(own),
            )
            for own in group
        ]
        out.table(("cycle", "setup", "whole", "turns", "how"), rows, "w  r")
    left = len(told["entries"]) - len(entries)
    if left:
        out.line(f"{left:,} more; --most {len(told['entries'])} or --json shows them")


def how(own: Report) -> str:
    """Return in words how the favourite is used for a case."""
    from search import hands

    hold = own["hold"]["up"], own["hold"]["front"]
    return hands.how(hold, own["mirrored"], own["undone"], own["begun_after"])


def _cycles(cycles: list[list[str]]) -> str:
    return " ".join(f"({' '.join(cycle)})" for cycle in cycles)


def _turns(count: int) -> str:
    return f"{count} turn{'s' if count != 1 else ''}"
