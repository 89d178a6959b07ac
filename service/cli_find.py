"""The commands that search: find and atlas."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from typing import TYPE_CHECKING

from service import options
from service.output import (
    FOUND,
    IMPOSSIBLE,
    INTERRUPTED,
    NONE_FOUND,
    check_writable,
    print_json,
    say,
    write_file,
)
from service.settings import DEFAULT_ANSWERS, DEFAULT_LINES, MOST_SHOWN, settings

if TYPE_CHECKING:
    from puzzles.puzzle import Puzzle
    from search.request import Request
    from service.atlases import TypeAtlas
    from service.engine import Engine, FindResult

STOPPED = "stopped before the search was done; this is what was found so far"


@contextlib.contextmanager
def working(threads: int | None) -> Iterator[Engine]:
    """Give an engine on the usual store, with a bar, that Ctrl-C stops cleanly."""
    from service.engine import Engine
    from service.stores import opened
    from service.watching import Stopper, Watcher

    chosen = settings(threads)
    store = opened(chosen, say)
    watcher = Watcher()
    try:
        with Stopper().listening() as stop, watcher.watching() as watch:
            yield Engine(store, chosen.threads, say, watch, stop)
    finally:
        store.close()


def find(
    puzzle: options.PuzzleName,
    cycle: options.Cycle,
    layers: options.Layers = None,
    keep: options.Keep = None,
    free: options.Free = None,
    turns: options.Turns = None,
    half_length: options.HalfLength = None,
    setup: options.Setup = None,
    seconds: options.Seconds = None,
    any_twist: options.AnyTwist = False,
    apart: options.Apart = False,
    most: options.Most = None,
    left_handed: options.LeftHanded = False,
    weights: options.Weighed = None,
    picture: options.Picture = None,
    json: options.Json = False,
    threads: options.Threads = None,
) -> int:
    """Find the shortest and the easiest sequences that cycle three pieces."""
    from puzzles import load
    from search.request import request

    check_writable(picture)
    shown = options.number("most", most, 1, MOST_SHOWN, DEFAULT_ANSWERS)
    weighed = options.weights(weights)
    bounds = options.bounds(turns, half_length, setup, seconds)
    wanted = request(
        load(puzzle),
        " ".join(cycle),
        layers=layers,
        keep=keep,
        free=free,
        alike=not apart,
        any_twist=any_twist,
        bounds=bounds,
    )
    with working(threads) as engine:
        result = engine.find(wanted, weighed, shown, left_handed)
    if picture is not None and result.found.answers:
        from puzzles.picture import draw

        write_file(picture, draw(wanted.puzzle, wanted.triples()[0]))
    return _show_found(result, json)


def _show_found(result: FindResult, json: bool) -> int:
    """Print how a request ended; return the exit status."""
    found, stopped = result.found, result.outcome.stopped
    reason = _reason(found.searched.text, stopped)
    if json:
        from service import reports

        report = reports.find(found, stopped)
        print_json(report if found.answers else {**report, "reason": reason})
    elif found.answers:
        from service.tables import show_find

        show_find(found)
        if _unseen(found.request):
            say("these three look the same, so nobody sees them move; --apart tells them apart")
        if stopped:
            say(STOPPED)
    else:
        say(reason)
    return INTERRUPTED if stopped else FOUND if found.answers else NONE_FOUND


def _unseen(wanted: Request) -> bool:
    """Return whether the three pieces look the same in each other's place."""
    puzzle, slots = wanted.puzzle, [place.slot for place in wanted.cycle]
    twists = puzzle.types[int(puzzle.type_of[slots[0]])].twists
    return wanted.alike and twists == 1 and len({int(puzzle.alike[slot]) for slot in slots}) == 1


def _reason(text: str, stopped: bool) -> str:
    begun = "Stopped before anything was found" if stopped else "Nothing was found"
    return f"{begun}: {text}."


def atlas(
    puzzle: options.PuzzleName,
    kind: options.Kind = None,
    layers: options.Layers = None,
    keep: options.Keep = None,
    free: options.Free = None,
    turns: options.Turns = None,
    half_length: options.HalfLength = None,
    setup: options.Setup = None,
    seconds: options.Seconds = None,
    alike: options.Alike = False,
    most: options.Most = None,
    json: options.Json = False,
    threads: options.Threads = None,
) -> int:
    """Find the best sequence for every three-cycle of a piece type, all pieces told apart."""
    from puzzles import load
    from search.request import kept_types, layer_numbers

    shown = options.number("most", most, 0, MOST_SHOWN, DEFAULT_LINES)
    bounds = options.bounds(turns, half_length, setup, seconds)
    loaded = load(puzzle)
    own_layers, kept = layer_numbers(loaded, layers), kept_types(loaded, keep, free)
    types = _types(loaded, kind, own_layers, kept)
    from service.atlases import AtlasRequest
    from service.atlases import atlas as made

    wanted = AtlasRequest(loaded, types, own_layers, kept, alike, bounds)
    with working(threads) as engine:
        parts = list(made(engine, wanted))
    return _show_atlas(loaded, parts, shown, json)


def _show_atlas(puzzle: Puzzle, parts: list[TypeAtlas], shown: int, json: bool) -> int:
    """Print an atlas, as a table of so many lines or as JSON; return the exit status."""
    stopped = any(part.outcome.stopped for part in parts)
    entries = sum(len(part.entries) for part in parts)
    never = not stopped and all(part.impossible == part.cycles for part in parts)
    reason = _why_none(parts, stopped, never)
    if json:
        from service import reports

        report = reports.atlas(puzzle, parts, stopped)
        print_json(report if entries else {**report, "reason": reason})
    else:
        from service.tables import show_atlas

        show_atlas(puzzle, parts, shown)
        if not entries:
            say(reason)
        elif stopped:
            say(STOPPED)
    nothing = IMPOSSIBLE if never else NONE_FOUND
    return INTERRUPTED if stopped else FOUND if entries else nothing


def _why_none(parts: list[TypeAtlas], stopped: bool, never: bool) -> str:
    if never:
        return " ".join(part.reason for part in parts)
    return _reason("; ".join(f"{p.kind.name}: {p.searched.text}" for p in parts), stopped)


def _types(
    puzzle: Puzzle,
    kind: str | None,
    layers: tuple[int, ...] | None,
    kept: tuple[int, ...] | None,
) -> tuple[int, ...]:
    """Return the numbers of the types an atlas is for; raises what the engine raises."""
    from puzzles.errors import RequestError
    from puzzles.names import read_type
    from search.encoding import scope
    from search.impossible import ImpossibleError
    from service.engine import forbid_commuting

    chosen = None if kind is None else read_type(puzzle, kind)
    if chosen is not None and kept is not None and chosen.number not in kept:
        raise RequestError(
            f"the type {chosen.name!r} is to be cycled, so it must be among those that are kept"
        )
    forbid_commuting(puzzle, layers)
    roaming = [k for k in scope(puzzle, layers, kept).wanted if puzzle.types[k].count >= 3]
    if chosen is None:
        if not roaming:
            raise ImpossibleError(f"No type of {puzzle.name} has three pieces that change places.")
        return tuple(roaming)
    if chosen.number not in roaming:
        why = (
            f"there are only {chosen.count} of them"
            if chosen.count < 3
            else "they never leave their slots"
        )
        raise ImpossibleError(f"There are no three-cycles of the type {chosen.name}: {why}.")
    return (chosen.number,)
