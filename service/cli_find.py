"""The commands that search: find and atlas."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterator
from typing import TYPE_CHECKING

from service import options
from service.output import (
    FOUND,
    IMPOSSIBLE,
    INTERRUPTED,
    NONE_FOUND,
    checked,
    print_json,
    print_text,
    say,
    write_file,
)
from service.settings import (
    DEFAULT_ANSWERS,
    DEFAULT_LINES,
    MOST_SHOWN,
    Settings,
    settings,
)

if TYPE_CHECKING:
    from puzzles.puzzle import Puzzle
    from search.request import Bounds, Request
    from service.atlases import AtlasRequest, TypeAtlas
    from service.engine import Engine, FindResult

STOPPED = "stopped before the search was done; this is what was found so far"
#: What may stand between the names of a cycle, other than spaces.
BETWEEN = re.compile(r"->|[→,]")


@contextlib.contextmanager
def working(chosen: Settings) -> Iterator[Engine]:
    """Give an engine on the usual store, with a bar, that Ctrl-C stops cleanly."""
    from service.engine import Engine
    from service.stores import opened
    from service.watching import Stopper, Watcher

    store = opened(chosen, say)
    watcher = Watcher()
    try:
        with Stopper().listening() as stop, watcher.watching() as watch:
            yield Engine(store, chosen.threads, say, watch, stop, watch.fixed)
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

    path = checked(picture)
    chosen = settings(options.whole("--threads", threads))
    shown = options.number("most", most, 1, MOST_SHOWN, DEFAULT_ANSWERS)
    weighed = options.weights(weights)
    bounds = options.bounds(turns, half_length, setup, seconds)
    wanted = request(
        load(puzzle),
        BETWEEN.sub(" ", " ".join(cycle)),
        layers=layers,
        keep=keep,
        free=free,
        alike=not apart,
        any_twist=any_twist,
        bounds=bounds,
    )
    with working(chosen) as engine:
        result = engine.find(wanted, weighed, shown, left_handed)
    if path is not None and result.found.answers:
        from puzzles.picture import draw

        write_file(path, draw(wanted.puzzle, wanted.triples()[0]))
    return _show_found(result, json)


def _show_found(result: FindResult, json: bool) -> int:
    """Print how a request ended; return the exit status."""
    found, by = result.found, result.outcome.stopped_by
    ended = _ended(by, found.request.bounds)
    nothing = _nothing(by, found.searched.text, found.searched.half_length)
    if json:
        from service import reports

        report = reports.find(found, by)
        reason = "; ".join(filter(None, (nothing.rstrip("."), ended)))
        print_json(report if found.answers else {**report, "reason": reason})
    elif found.answers:
        from service.tables import show_find

        show_find(found)
        if _unseen(found.request):
            say("these three look the same, so nobody sees them move; --apart tells them apart")
        say_all(STOPPED if by == "person" else "", ended)
    elif by == "person":
        print_text(nothing)
    else:
        say_all(nothing, ended)
    return INTERRUPTED if by == "person" else FOUND if found.answers else NONE_FOUND


def say_all(*texts: str) -> None:
    """Say those texts that are not empty."""
    for text in filter(None, texts):
        say(text)


def _unseen(wanted: Request) -> bool:
    """Return whether the three pieces look the same in each other's place."""
    puzzle, slots = wanted.puzzle, [place.slot for place in wanted.cycle]
    twists = puzzle.types[int(puzzle.type_of[slots[0]])].twists
    return wanted.alike and twists == 1 and len({int(puzzle.alike[slot]) for slot in slots}) == 1


def _nothing(by: str | None, text: str, half_length: int) -> str:
    if by == "person":
        return f"Nothing found yet; searched to half-length {half_length}."
    return f"Nothing was found: {text}."


def _ended(by: str | None, bounds: Bounds, types: int = 1) -> str:
    """Return that the time was over and how to go on, empty where something else ended a search.

    A time limit that was given is for all types of an atlas together, the usual one for each.
    """
    from search.request import MOST_SECONDS

    limit = bounds.time_limit
    if by != "time" or limit is None:
        return ""
    each = " for each type" if bounds.seconds is None and types > 1 else ""
    more = min(3 * limit * (types if each else 1), MOST_SECONDS)
    goes_on = f"; `--seconds {more:g}` goes on" if more > limit else ""
    return f"stopped after {limit:g} s{each}{goes_on}"


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

    chosen = settings(options.whole("--threads", threads))
    shown = options.number("most", most, 0, MOST_SHOWN, DEFAULT_LINES)
    bounds = options.bounds(turns, half_length, setup, seconds)
    loaded = load(puzzle)
    own_layers, kept = layer_numbers(loaded, layers), kept_types(loaded, keep, free)
    types = _types(loaded, kind, own_layers, keep, free)
    from service.atlases import AtlasRequest
    from service.atlases import atlas as made

    wanted = AtlasRequest(loaded, types, own_layers, kept, alike, bounds)
    with working(chosen) as engine:
        parts = list(made(engine, wanted))
    return _show_atlas(wanted, parts, shown, json)


def _show_atlas(wanted: AtlasRequest, parts: list[TypeAtlas], shown: int, json: bool) -> int:
    """Print an atlas, as a table of so many lines or as JSON; return the exit status."""
    ends = [part.stopped_by for part in parts]
    by = "person" if "person" in ends else "time" if "time" in ends else None
    ended = _ended(by, wanted.bounds, len(wanted.types))
    entries = sum(len(part.entries) for part in parts)
    never = by is None and all(part.impossible == part.cycles for part in parts)
    nothing = _none_of(parts, by, never)
    if json:
        from service import reports

        report = reports.atlas(wanted.puzzle, parts, by)
        reason = "; ".join(filter(None, (nothing.rstrip(".") if ended else nothing, ended)))
        print_json(report if entries else {**report, "reason": reason})
    else:
        from service.tables import show_atlas

        show_atlas(wanted.puzzle, parts, shown)
        if entries:
            say_all(STOPPED if by == "person" else "", ended)
        elif by == "person":
            print_text(nothing)
        else:
            say_all(nothing, ended)
    status = IMPOSSIBLE if never else NONE_FOUND
    return INTERRUPTED if by == "person" else FOUND if entries else status


def _none_of(parts: list[TypeAtlas], by: str | None, never: bool) -> str:
    if never:
        return " ".join(part.reason for part in parts)
    text = "; ".join(f"{part.kind.name}: {part.searched.text}" for part in parts)
    return _nothing(by, text, min(part.searched.half_length for part in parts))


def _types(
    puzzle: Puzzle,
    kind: str | None,
    layers: tuple[int, ...] | None,
    keep: str | None,
    free: str | None,
) -> tuple[int, ...]:
    """Return the numbers of the types an atlas is for; raises what the engine raises."""
    from puzzles.names import read_type, slot_names
    from search.encoding import scope, useful_layers
    from search.impossible import ImpossibleError
    from search.request import kept_types, request

    chosen = None if kind is None else read_type(puzzle, kind)
    if chosen is not None and chosen.count >= 3:
        # Any three of them are asked for, so that what is wrong with that is said once.
        names = slot_names(puzzle)
        request(puzzle, [names[slot] for slot in chosen.slots[:3]], keep=keep, free=free)
    useful = layers is None or bool(useful_layers(puzzle, layers))
    own = scope(puzzle, layers if useful else None, kept_types(puzzle, keep, free))
    roaming = [k for k in own.wanted if puzzle.types[k].count >= 3]
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
