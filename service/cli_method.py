"""The command that works out how to solve a puzzle: an order of its types, and what to remember."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import TYPE_CHECKING, Annotated

import typer

from puzzles.errors import RequestError
from service import options
from service.method_repeats import arranged, told_once
from service.output import FOUND, INTERRUPTED, NONE_FOUND, checked, print_json, say, write_file
from service.settings import settings

if TYPE_CHECKING:
    from service.layout import Page
    from service.reports import Report

#: What is counted.
COUNTS = (
    "To remember are the turns of brackets as they are written, what is undone or repeated counted "
    "once: [[U: L2], R] has three."
)
#: The most seconds and the most scrambles that may be asked for.
MOST_SECONDS, MOST_SCRAMBLES = 3_600.0, 1_000
#: How many counts of free play are printed for a step.
MOST_WAYS = 4


def method(
    puzzle: options.PuzzleName,
    seconds: Annotated[
        str | None,
        typer.Option(
            "--seconds",
            metavar="T",
            help="About how long to compute, as the processor counts; else 45, 240 with over 120 "
            "pieces.",
        ),
    ] = None,
    scrambles: Annotated[
        str | None,
        typer.Option(
            "--scrambles", metavar="N", help="Solve N random scrambles by each method; else 20."
        ),
    ] = None,
    out: Annotated[
        str | None,
        typer.Option(
            "--out",
            metavar="FILE",
            help="Write the sequences of the first method there, one a line, as `trefoil solve "
            "--learned` takes them.",
        ),
    ] = None,
    json: options.Json = False,
    threads: options.Threads = None,
) -> int:
    """Say in which order to solve a puzzle's pieces, and the few sequences that it takes."""
    from puzzles import load
    from search.method import SCRAMBLES, find_methods
    from service.cli_find import working
    from service.cli_finish import shelves_from
    from service.method_report import methods

    path = checked(out)
    chosen = settings(options.whole("--threads", threads))
    limit = options.seconds(seconds)
    if limit is not None and not 1 <= limit <= MOST_SECONDS:
        raise RequestError(
            f"seconds {seconds}: a number from 1 to {MOST_SECONDS:,.0f} was expected"
        )
    count = options.number("scrambles", scrambles, 1, MOST_SCRAMBLES, SCRAMBLES)
    loaded = load(puzzle)
    with working(chosen) as engine, _status() as tell:
        if not loaded.can_block:
            engine.tell_compiling()
        own = replace(engine, watch=lambda progress, goal: None)
        found = find_methods(loaded, shelves_from(own), limit, count, tell, own.stop)
        stopped = own.stop()
    report = methods(found)
    if path is not None and report["methods"]:
        write_file(path, lines(report))
    if json:
        print_json(report)
    else:
        show(report)
    if stopped:
        return INTERRUPTED
    if not report["methods"] and not json:
        say(report["reason"])
    if not report["methods"]:
        return NONE_FOUND
    return FOUND


@contextlib.contextmanager
def _status() -> Iterator[Callable[[str], None]]:
    """Give what shows on standard error what is at work, while that is a terminal."""
    if not sys.stderr.isatty():
        yield lambda text: None
        return
    from rich.console import Console

    with Console(stderr=True).status("") as shown:
        yield lambda text: shown.update(text)


def lines(report: Report) -> str:
    """Return the sequences of the first method, one a line, with what each is for."""
    own = report["methods"][0]
    said = [f"# {report['puzzle']}: {_measures(own)}"]
    for step in own["steps"]:
        for one in step["sequences"]:
            keeps = ", ".join(step["keeps"])
            after = f", keeps {keeps}" if keeps else ""
            said.append(f"{one['notation']}  # {one['type']} {one['cycle']}{after}")
    return "\n".join(said) + "\n"


def _measures(own: Report) -> str:
    return f"{_remembered(own)}, {_solves(own)}"


def _remembered(own: Report) -> str:
    return (
        f"{_counted(own['sequences'], 'sequence')}, {_counted(own['things'], 'thing')} to remember"
    )


def _solves(own: Report) -> str:
    turns = own["turns"]
    return (
        f"{turns['median']:g} turns (median of {_counted(own['scrambles'], 'scramble')}, "
        f"{turns['least']} to {turns['most']})"
    )


def _known(own: Report) -> str:
    """Return what the known puzzle takes that a method ends in."""
    things, name = own["known_things"], own["puzzle"]
    if things is None:
        return f"and what you know of the {name}"
    of = _counted(own["known_sequences"], "sequence")
    return f"and {things} more for the {name} ({of}, see `trefoil method {name}`)"


def show(report: Report) -> None:
    """Print the methods, the first in full and the others by what differs."""
    from puzzles.laws import joined, plural
    from service.layout import page

    report = told_once(report)
    with page() as out:
        start = report["arrangements"]
        counted = f": {arranged(start)} arrangements of its pieces" if start else ""
        out.line(f"{report['puzzle']}{counted}", "bold")
        if report["look_alike"]:
            names = joined([plural(name) for name in report["look_alike"]])
            out.line(
                f"Some {names} look alike and may change places: whether they are an odd "
                "rearrangement never shows."
            )
        for alike in report.get("move_alike", ()):
            out.line(f"{alike['text'][0].upper()}{alike['text'][1:]}.")
        if report["methods"]:
            out.line(COUNTS)
        played: dict[str, int] = {}
        for number, own in enumerate(report["methods"], 1):
            out.line()
            out.line(f"Method {number}: {_measures(own)}", "bold")
            _method(out, own, number, played)
        for own in report["joined"]:
            out.line()
            said = f"{_remembered(own)}, {_known(own)}; {_solves(own)}"
            out.line(f"By joining, to {own['puzzle']}: {said}", "bold")
            _joined(out, own)


def _joined(out: Page, own: Report) -> None:
    for number, step in enumerate(own["steps"], 1):
        out.line(f"{number}. {step['text']}", "", 2)
        out.pairs(_sequences(step))
    out.line(f"{len(own['steps']) + 1}. {own['text']}", "", 2)
    rows: list[tuple[str, object]] = [
        (
            "turns",
            f"{own['before']:g} until all is joined; the rest are those of `trefoil solve "
            f"{own['puzzle']}`, by more sequences than these",
        )
    ]
    for one in own["shows"]:
        rows.append(("may show", one["text"]))
    if own["showed"]:
        rows.append(("showed", f"in {own['showed']} of {_counted(own['scrambles'], 'scramble')}"))
    out.pairs(rows)


def _sequences(step: Report) -> list[tuple[str, object]]:
    """Return the rows of a step's sequences and of what its three-cycles take."""
    rows: list[tuple[str, object]] = []
    if step["again"] and step["sequences"]:
        same = ", ".join(one["notation"] for one in step["sequences"])
        return [(", ".join(step["types"]), f"{same}, as in method {step['again']}")]
    for one in step["sequences"]:
        if one["again"]:
            as_in = f"as in method {one['again']}"
            rows.append((one["type"], f"{one['notation']}  {one['cycle']}, {as_in}"))
            continue
        moves = f"; disturbs {', '.join(one['disturbs'])}" if one["disturbs"] else ""
        if one.get("also"):
            moves = f"; moves {', '.join(one['also'])} as well"
        remember = f"{one['turns']} turns, {one['things']} to remember"
        rows.append((one["type"], f"{one['notation']}  {one['cycle']} ({remember}{moves})"))
        if one.get("same_as"):
            rows.append(("", one["same_as"]["text"]))
    for cost in step["three_cycles"]:
        if cost["again"]:
            continue
        mean = f"{cost['mean']:.1f} turns on average, at most {cost['most']}"
        cycles = f"{cost['count']:,} three-cycles"
        if len(step["three_cycles"]) > 1:
            cycles += f" of the type {cost['type']}"
        rows.append(("with setups", f"{cycles}, {mean}"))
    return rows


def _method(out: Page, own: Report, method: int, played: dict[str, int]) -> None:
    """Print a method; ``played`` has the counts of free play that stand in an earlier one."""
    first = method == 1
    if own["any_order"]:
        out.line("Every sequence keeps all else, so that the types may come in any order.", "", 2)
    if first and own["steps"] and own["steps"][0].get("home"):
        out.line(
            "A sequence is done wherever all its turns are possible; a setup is any way there, the "
            "shortest stands before the colon.",
            "",
            2,
        )
    if own["odd"]:
        times = f"{own['odd']} of {_counted(own['scrambles'], 'scramble')}"
        out.line(f"{times} took an odd turn early, before any three-cycle.", "", 2)
    for number, step in enumerate(own["steps"], 1):
        if step.get("home") and not first:
            out.line(f"{number}. Home as in method 1.", "", 2)
            continue
        out.line(f"{number}. {step['text']}", "", 2)
        rows = _homeward(step.get("home")) + _sequences(step)
        tried = step["tried"]
        plays = step["kind"] != "in place"
        if plays and tried and tried["ways"] and tried["ways"][0]["ways"]:
            text = ways_text(tried["ways"], own["free_turns"])
            before = played.setdefault(text, method)
            if before == method:
                rows.append(("free play", text))
            elif not step["again"]:
                rows.append(("free play", f"as in method {before}"))
        if step["again"]:
            out.pairs(rows)
            continue
        for mend in step["mends"]:
            rows.append(("odd" if mend["kind"] == "swap" else "twist", _once(mend)))
        for pair in step["twists"]:
            rows.append(("two twisted", _once(pair)))
        left = step["left"]
        rows.append(("left", f"{arranged(left)} arrangements" if left not in (None, "1") else ""))
        out.pairs(rows)


def _once(one: Report) -> str:
    """Return what is said of a mend or of twists, of which an earlier method may have said it."""
    return f"as in method {one['again']}" if one["again"] else str(one["text"])


def _homeward(home: Report | None) -> list[tuple[str, object]]:
    """Return the rows on the way back to the home shape, where turns can be blocked."""
    if home is None:
        return []
    rows: list[tuple[str, object]] = []
    if home["rule"]:
        share = "always" if home["share"] == 1 else f"at {home['share']:.0%} of them"
        right = "more" if home["bodies"] > 1 else "it"
        said = f"{share} one of these puts {right} right: {'; '.join(home['rule'])}"
        rows.append(("nearer", said))
    for one in home["listed"]:
        rows.append((", ".join(one["wrong"]), one["sequence"]))
    for one in home["sums"]:
        rows.append(("at home", f"{' and '.join(one['wrong'])}: {one['sequence']}"))
    return rows


def ways_text(ways: list[Report], most: int) -> str:
    """Return how many short words go on from how many right pieces."""
    none = next((k for k, own in enumerate(ways) if not own["ways"]), len(ways))
    # The first, the last, and some between them, evenly.
    count = min(MOST_WAYS, none)
    said: list[str] = []
    for own in (ways[k * (none - 1) // max(count - 1, 1)] for k in range(count)):
        has = "" if said else "has "
        many = f"{own['ways']:g}" if own["ways"] < 10 else f"{own['ways']:,.0f}"
        shortest = f"the shortest {has}{_shortest(own['turns'])}"
        said.append(f"with {own['right']} right {many}, {shortest}")
    said += [f"with {ways[none]['right']} right none"] if none < len(ways) else []
    return (
        f"of the words of up to {_counted(most, 'turn')} so many put one more right and disturb "
        f"none (on average): {'; '.join(said)}"
    )


def _shortest(turns: float) -> str:
    """Return a median of whole turns; where it lies between two, both are said."""
    if turns % 1:
        return f"{int(turns)} or {int(turns) + 1} turns"
    return _counted(int(turns), "turn")


def _counted(number: int, word: str) -> str:
    return f"{number} {word}{'s' * (number != 1)}"
