"""The commands about a puzzle itself: puzzles, parts, try, scramble."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from puzzles.errors import RequestError
from service import options
from service.output import FOUND, INTERRUPTED, checked, print_json, print_text, say, write_file
from service.settings import LONGEST_SCRAMBLE, MOST_SCRAMBLES, Settings, settings

if TYPE_CHECKING:
    from puzzles.puzzle import Puzzle
    from service.parts import Parts


def puzzles(
    json: options.Json = False,
    schema: Annotated[
        bool, typer.Option("--schema", help="Print the JSON Schema of puzzle files instead.")
    ] = False,
) -> int:
    """Say what is in the catalogue."""
    from puzzles import file

    if schema:
        print_json(file.schema())
        return FOUND
    rows = [(name, file.read(name)[1].description) for name in file.catalogue()]
    if json:
        print_json({"puzzles": [{"name": n, "description": d} for n, d in rows]})
    else:
        from service.tables import show_puzzles

        show_puzzles(rows)
    return FOUND


def parts(
    puzzle: options.PuzzleName,
    search: Annotated[
        bool,
        typer.Option("--search", help="Look for the sequences that are missing, and keep them."),
    ] = False,
    seconds: Annotated[
        str | None,
        typer.Option(
            "--seconds", metavar="T", help="Search for T seconds at most; 60 if not said."
        ),
    ] = None,
    json: options.Json = False,
    picture: options.Picture = None,
    threads: options.Threads = None,
) -> int:
    """Say what a puzzle consists of: piece types, what moves with what, what carries over."""
    from puzzles import load
    from service.parts import parts as counted
    from service.stores import opened

    path = checked(picture)
    chosen = settings(options.whole("--threads", threads))
    limit = options.seconds(seconds)
    if limit is not None and not search:
        raise RequestError("--seconds bounds a search: give --search as well")
    loaded = load(puzzle)
    by = None
    if search:
        own, by = _searched(loaded, chosen, limit)
    else:
        store = opened(chosen, say)
        try:
            own = counted(loaded, store)
        finally:
            store.close()
    if path is not None:
        from puzzles.picture import draw

        write_file(path, draw(loaded))
    if json:
        from service.parts_report import parts as report

        print_json({**report(own), **({"stopped_by": by} if search else {})})
    else:
        from service.parts_table import show_parts

        show_parts(own, puzzle, search)
    return INTERRUPTED if by == "person" else FOUND


def _searched(puzzle: Puzzle, chosen: Settings, limit: float | None) -> tuple[Parts, str | None]:
    """Return the parts after a search for what is missing, and what ended it early."""
    from service.cli_find import working
    from service.parts import parts as counted
    from service.parts_search import SECONDS, find_missing

    limit = SECONDS if limit is None else limit
    with working(chosen) as engine:
        own, by = find_missing(engine, counted(puzzle, engine.levels), limit)
    if own.missing:
        ended = {"person": "stopped", "time": f"stopped after {limit:g} s"}.get(by or "", "done")
        say(
            f"{ended}; {len(own.missing)} without a sequence"
            + (f"; `--seconds {10 * limit:g}` goes on" if by == "time" else "")
        )
    return own, by


def attempt(
    puzzle: options.PuzzleName,
    sequence: Annotated[
        str, typer.Argument(metavar="SEQUENCE", help='Such as "[R U R\', D]", in one word.')
    ],
    json: options.Json = False,
    picture: options.Picture = None,
) -> int:
    """Say what a sequence does: which pieces go where, and how often until nothing has moved."""
    from puzzles import load
    from puzzles.blocking import why_blocked
    from puzzles.effects import cycles, effect_of
    from puzzles.errors import RequestError
    from puzzles.notation import parse
    from service.reports import tried

    path = checked(picture)
    loaded = load(puzzle)
    parsed = parse(loaded, sequence)
    blocked = why_blocked(loaded, parsed.word)
    if blocked is not None:
        raise RequestError(blocked)
    effect = effect_of(loaded, parsed.word)
    found = cycles(loaded, effect)
    if path is not None:
        from puzzles.picture import draw

        slots = [int(loaded.slot_of[p]) for cycle in found for p in cycle]
        single = len(found) == 1 and len(set(slots)) == len(slots)
        write_file(path, draw(loaded, found[0] if single else None, () if single else slots))
    report = tried(loaded, parsed.word, effect, parsed.left_over)
    if json:
        print_json(report)
    else:
        from service.tables import show_tried

        show_tried(report, loaded, found)
    return FOUND


def scramble(
    puzzle: options.PuzzleName,
    count: Annotated[
        str | None, typer.Option("--count", metavar="N", help="How many; one unless given.")
    ] = None,
    seed: Annotated[
        str | None,
        typer.Option("--seed", metavar="S", help="The same seed gives the same sequences."),
    ] = None,
    length: Annotated[
        str | None, typer.Option("--length", metavar="L", help="How many turns each has.")
    ] = None,
    json: options.Json = False,
) -> int:
    """Print random sequences in which nothing cancels."""
    import secrets

    from puzzles import load
    from puzzles.notation import write
    from puzzles.scrambles import scrambles, usual_length

    wanted = options.number("count", count, 1, MOST_SCRAMBLES, 1)
    loaded = load(puzzle)
    turns = options.number("length", length, 1, LONGEST_SCRAMBLE, usual_length(loaded))
    given = options.whole("--seed", seed)
    chosen = secrets.randbelow(2**32) if given is None else given
    words = scrambles(loaded, wanted, chosen, turns)
    if json:
        texts = [write(loaded, word) for word in words]
        print_json({"puzzle": loaded.name, "seed": chosen, "scrambles": texts})
    else:
        for word in words:
            print_text(write(loaded, word))
    return FOUND
