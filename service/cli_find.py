"""The commands that search: find and atlas."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterator
from functools import partial
from typing import TYPE_CHECKING, Any

from puzzles.errors import RequestError
from service import endings, options
from service.output import (
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
    from pathlib import Path

    from search.ranking import Weights
    from search.request import Bounds
    from service.engine import Engine
    from service.reports import Report

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
            yield Engine(store, chosen.threads, say, watch, stop, watch.fixed, watch.effect)
    finally:
        store.close()


def find(
    puzzle: options.PuzzleName,
    cycle: options.Cycle = None,
    effect: options.Effect = None,
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
    server: options.Service = None,
    share: options.Share = False,
) -> int:
    """Find the shortest and the easiest sequences that cycle three pieces, or do an --effect."""
    from search.request import request, three_names

    path = checked(picture)
    chosen = settings(options.whole("--threads", threads))
    shown = options.number("most", most, 1, MOST_SHOWN, DEFAULT_ANSWERS)
    weighed = options.weights(weights)
    bounds = options.bounds(turns, half_length, setup, seconds)
    if effect is not None:
        if cycle:
            raise RequestError(
                "three names are for three-cycles, and --effect names all of an effect"
            )
        if server is None and not share:
            return _find_effect(
                puzzle,
                effect,
                layers,
                keep,
                free,
                bounds,
                apart,
                any_twist,
                path,
                chosen,
                weighed,
                shown,
                left_handed,
                json,
            )
    names = [] if effect is not None else three_names(BETWEEN.sub(" ", " ".join(cycle or [])))
    if server is not None:
        options.not_far(threads)
        from service import cli_far

        question = {
            **_question(bounds, layers, keep, free),
            **({"cycle": names} if effect is None else {"effect": effect}),
            "any_twist": any_twist,
            "apart": apart,
            "most": shown,
            "left_handed": left_handed,
            "weights": options.weighed(weights),
        }
        show = partial(show_found, bounds=bounds, any_twist=any_twist, json=json)
        return cli_far.find(server, puzzle, question, show, json, share, path)
    if share:
        raise RequestError("--share gives the link that a service has; --server URL names one")
    from puzzles import load
    from service import reports

    wanted = request(
        load(puzzle),
        names,
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
    report = reports.find(result.found, result.outcome.stopped_by)
    return show_found(report, bounds, any_twist, json)


def _find_effect(
    puzzle: str,
    effect: str,
    layers: str | None,
    keep: str | None,
    free: str | None,
    bounds: Bounds,
    apart: bool,
    any_twist: bool,
    path: Path | None,
    chosen: Settings,
    weighed: Weights | None,
    shown: int,
    left_handed: bool,
    json: bool,
) -> int:
    """Find sequences for an effect on this machine; return the exit status."""
    from puzzles import load
    from search.wanted import effect_request
    from service import effects, reports

    wanted = effect_request(
        load(puzzle),
        effect,
        layers=layers,
        keep=keep,
        free=free,
        alike=not apart,
        any_twist=any_twist,
        bounds=bounds,
    )
    with working(chosen) as engine:
        result = effects.find(engine, wanted, weighed, shown, left_handed)
    if path is not None and result.found.answers:
        from puzzles.picture import draw

        write_file(path, draw(wanted.puzzle, cycles=wanted.cycles))
    report = reports.effect(result.found, result.stopped_by)
    return show_found(report, bounds, any_twist, json)


def _question(
    bounds: Bounds, layers: str | None, keep: str | None, free: str | None
) -> dict[str, Any]:
    """Return what all questions to a service have in common, as it reads them."""
    names = {"layers": layers, "keep": keep, "free": free}
    lists = {name: options.listed(text) for name, text in names.items()}
    return {**lists, **vars(bounds)}


def show_found(report: Report, bounds: Bounds, any_twist: bool, json: bool) -> int:
    """Print a report of answers, as text or as JSON; return the exit status."""
    status = endings.status(report)
    if json:
        print_json(report)
    elif report["answers"]:
        from service.tables import show_find

        show_find(report, any_twist)
        if report["unseen"]:
            say(endings.UNSEEN)
        _say_ended(report, bounds)
    else:
        _say_nothing(report, bounds)
    return status


def show_atlas(report: Report, bounds: Bounds, shown: int, json: bool) -> int:
    """Print an atlas, as a table of so many lines or as JSON; return the exit status."""
    status = endings.status(report)
    if json:
        print_json(report)
    else:
        from service import tables

        tables.show_atlas(report, shown)
        if report["entries"]:
            _say_ended(report, bounds)
        else:
            _say_nothing(report, bounds)
    return status


def _say_ended(report: Report, bounds: Bounds) -> None:
    by = report["stopped_by"]
    say_all(
        endings.STOPPED if by == endings.PERSON else "",
        endings.ended(by, bounds, len(report.get("types", "1"))),
    )


def _say_nothing(report: Report, bounds: Bounds) -> None:
    by, sentence = report["stopped_by"], endings.nothing_for(report)
    if by == endings.PERSON:
        print_text(sentence)
    else:
        say_all(sentence, endings.ended(by, bounds, len(report.get("types", "1"))))


def say_all(*texts: str) -> None:
    """Say those texts that are not empty."""
    for text in filter(None, texts):
        say(text)


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
    server: options.Service = None,
) -> int:
    """Find the best sequence for every three-cycle of a piece type, all pieces told apart."""
    from search.request import kept_types, layer_numbers

    chosen = settings(options.whole("--threads", threads))
    shown = options.number("most", most, 0, MOST_SHOWN, DEFAULT_LINES)
    bounds = options.bounds(turns, half_length, setup, seconds)
    if server is not None:
        options.not_far(threads)
        if kind is None:
            raise RequestError(
                "a service makes the atlas of one piece type at a time, which follows the puzzle, "
                "such as `trefoil atlas 3x3x3 corner`; `trefoil parts` lists the types"
            )
        from service import cli_far

        question = {**_question(bounds, layers, keep, free), "type": kind, "alike": alike}
        show = partial(show_atlas, bounds=bounds, shown=shown, json=json)
        return cli_far.atlas(server, puzzle, question, show, json)
    from puzzles import load

    loaded = load(puzzle)
    own_layers, kept = layer_numbers(loaded, layers), kept_types(loaded, keep, free)
    from service import reports
    from service.atlases import AtlasRequest, wanted_types
    from service.atlases import atlas as made

    types = wanted_types(loaded, kind, own_layers, keep, free)
    wanted = AtlasRequest(loaded, types, own_layers, kept, alike, bounds)
    with working(chosen) as engine:
        parts = list(made(engine, wanted))
    return show_atlas(reports.atlas(wanted, parts), bounds, shown, json)
