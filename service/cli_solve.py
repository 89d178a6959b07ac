"""The command that solves: from a scramble or an entered state, in steps with their reasons."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from puzzles.errors import RequestError
from service import options
from service.output import FOUND, NONE_FOUND, print_json, say
from service.settings import settings

if TYPE_CHECKING:
    from puzzles.puzzle import Puzzle
    from puzzles.states import State
    from service.engine import Engine
    from service.reports import Report

#: Words in a table of steps for each kind of step.
KINDS = {
    "free": "free play",
    "odd turn": "odd turn",
    "three-cycle": "",
    "product": "product",
    "learned": "as learned",
}


def solve(
    puzzle: options.PuzzleName,
    scramble: Annotated[
        str | None,
        typer.Option("--scramble", metavar="SEQUENCE", help="The turns that led to the state."),
    ] = None,
    cycles: Annotated[
        str | None,
        typer.Option("--cycles", metavar='"(UFR UBL DFL)"', help="The state as cycles."),
    ] = None,
    pieces: options.Pieces = None,
    stickers: options.Stickers = None,
    colours: options.Colours = None,
    learned: Annotated[
        str | None,
        typer.Option(
            "--learned", metavar="FILE", help="Use only the sequences in this file, one a line."
        ),
    ] = None,
    apart: options.Apart = False,
    json: options.Json = False,
    threads: options.Threads = None,
) -> int:
    """Solve a puzzle in steps that can be followed, each with what it puts right and keeps."""
    from puzzles import load
    from service.cli_find import working

    chosen = settings(options.whole("--threads", threads))
    loaded = load(puzzle)
    given = {
        "sequence": scramble,
        "cycles": cycles,
        "pieces": pieces,
        "stickers": stickers,
        "colours": colours,
    }
    state = _state(loaded, given, apart)
    with working(chosen) as engine:
        report = _report(engine, state, learned, scramble is not None)
    if json:
        print_json(report)
    else:
        show(report)
    if not report["solved"]:
        say(report["reason"])
        return NONE_FOUND
    return FOUND


def _state(puzzle: Puzzle, given: dict[str, str | None], apart: bool) -> State:
    """Return the state that was entered in one way; raises RequestError."""
    from service.finish_report import entered

    named = [name for name, text in given.items() if text is not None and name != "colours"]
    if len(named) != 1:
        raise RequestError(
            "say in one way what is to be solved: --scramble with the turns that led there, "
            '--cycles such as "(UFR UBL DFL)", --pieces such as "UFR=UBL UBL=UFR", or --stickers'
        )
    return entered(puzzle, given, apart)


def _report(engine: Engine, state: State, learned: str | None, turned: bool) -> Report:
    """Return the report of a solution; ``turned``: turns led to the state, so that some lead back.

    Raises ImpossibleError for a state that cannot be reached.
    """
    from search.solving_learned import read_learned
    from service import solve_report
    from service.solving import forbid_unreached, solved

    if not turned:
        forbid_unreached(state)
    words = None if learned is None else read_learned(state.puzzle, learned)
    found = solved(engine, state, words)
    report = solve_report.solution(state, found.solution, found.tools, found.balance)
    return {**report, "reason": found.reason}


def show(report: Report) -> None:
    """Print a solution: how to hold the puzzle, every step, and how much it is in all."""
    from service.layout import page

    with page() as out:
        if not report["steps"]:
            out.line("It is solved already." if report["solved"] else "No step was found.")
            return
        if report["hold"]:
            out.line(f"Hold it with {report['hold']}.")
            out.line()
        for number, step in enumerate(report["steps"], 1):
            kind = KINDS[step["kind"]] or step["cycle"]
            if step["cycle"] and step["learned"]:
                kind = f"{kind}, {KINDS['learned']}"
            out.named(f"{number}.", f"{step['notation']}  ({kind}, {step['turns']})", "bold")
            out.line(step["reason"], "", 4)
            if step["learned"]:
                out.line(f"It is {step['learned']}.", "", 4)
        out.line()
        steps, turns = len(report["steps"]), report["turns"]
        whole = f"{steps} steps, {turns} turns" if steps != 1 else f"1 step, {turns} turns"
        shorter = f"; done in a row {report['executed']}" if report["executed"] < turns else ""
        different = report["different"]
        own = "1 sequence" if different == 1 else f"{different} different sequences"
        families = f"; {own}" if different else ""
        out.line(f"{whole}{shorter}{families}.")
