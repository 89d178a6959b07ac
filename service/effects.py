"""Effects that are wanted, answered from the store or by searching; what is kept of a search."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from puzzles.puzzle import Puzzle, Word
from search.effect_images import of_effect
from search.effects_wanted import CameTo, EffectFound, from_effect_words
from search.impossible_effects import check_effect
from search.ranking import MOST_FAMILIES, Read, Weights
from search.request import Bounds
from search.wanted import EffectRequest
from service import results, stored
from service.endings import PERSON, TIME
from service.engine import Engine
from service.specs import EffectSpec

if TYPE_CHECKING:
    from search.effect_search import EffectProgress


@dataclass(frozen=True, eq=False)
class EffectAnswer:
    """The answers to a request for an effect, and who or what ended the search for them early."""

    found: EffectFound
    stopped_by: str | None


def find(
    engine: Engine,
    request: EffectRequest,
    weights: Weights | None = None,
    most: int = MOST_FAMILIES,
    left_handed: bool = False,
) -> EffectAnswer:
    """Return the ranked answers to a request for an effect.

    A search that somebody stopped is not kept. Raises ImpossibleError, and LimitError for bounds
    that need too much.
    """
    check_effect(request)
    spec = spec_of(request.puzzle.name, request)
    key = f"effect|{spec.key(request.puzzle.digest, stored.version())}"
    kept = _read(engine.levels.get(key, 1))
    if kept is None:
        kept = searched(engine, request_of(spec, request.puzzle), spec)
        if kept.stopped_by != PERSON:
            engine.levels.put(key, 1, results.content(kept))
    return EffectAnswer(found(kept, request, weights, most, left_handed), kept.stopped_by)


def searched(engine: Engine, request: EffectRequest, spec: EffectSpec) -> results.EffectResult:
    """Search for an effect and return what there is to be kept."""
    # Loading the kernels takes longer than answering from the store.
    from search.effect_search import search_effect

    engine.tell_compiling()
    last: EffectProgress | None = None
    for last in search_effect(request, threads=engine.threads, stop=engine.stop):
        engine.watch_effect(last)
    assert last is not None
    by = (PERSON if engine.stop() else TIME) if last.cut_short else None
    return results.EffectResult(
        **results.head(request.puzzle, by, last.note),
        spec=spec,
        half_length=last.half_length,
        complete=last.complete,
        none_up_to=last.none_up_to,
        words=results.done(request.puzzle, last.words, request.bounds.setup),
    )


def found(
    result: results.EffectResult,
    request: EffectRequest,
    weights: Weights | None,
    most: int,
    left_handed: bool,
) -> EffectFound:
    """Return the answers to a request from the result of its search.

    Raises BrokenResultError for a result of another one.
    """
    puzzle = request.puzzle
    if not same_search(result.spec, request):
        raise results.BrokenResultError("the stored result is one of another effect")
    turns = range(len(puzzle.turns))
    for one in result.words:
        if any(turn not in turns for turn in (*one.turns, *sum(one.form or (), ()))):
            raise results.BrokenResultError("what is stored names a turn that there is not")
    came_to = CameTo(result.half_length, result.complete, result.none_up_to, result.note)
    words = {one.turns: (one.cycle, one.read()) for one in result.words}
    own, reads = in_own_frame(request, words)
    return from_effect_words(request, own, came_to, weights, most, left_handed, reads)


def in_own_frame(
    request: EffectRequest, words: Mapping[Word, tuple[int, Read]]
) -> tuple[dict[Word, int], dict[Word, Read]]:
    """Return words of a request's representative as the asker's, and what they are read as.

    Words come and go with the number of the effect that they have. Raises BrokenResultError for a
    number that none has.
    """
    image = of_effect(request)
    own, reads = dict[Word, int](), dict[Word, Read]()
    for word, (number, known) in words.items():
        if not 0 <= number < len(image.numbers):
            raise results.BrokenResultError("what is stored names an effect that there is not")
        there = image.way.carried(word)
        own[there], reads[there] = image.numbers[number], image.way.read(known)
    return own, reads


def spec_of(name: str, request: EffectRequest) -> EffectSpec:
    """Return the job for a request on the puzzle that is known by a name or an address.

    Requests that are images of each other have the same. What makes no difference is left out.
    """
    puzzle, bounds = request.puzzle, request.bounds
    own = of_effect(request).request
    twists = any(puzzle.types[puzzle.type_of[s]].twists > 1 for s in own.arriving)
    layers = None if len(request.turning) == len(puzzle.layers) else request.turning
    moving = tuple(kind.number for kind in puzzle.types if kind.moves)
    kept = tuple(k for k in request.kept_types if k in moving)
    like = any(puzzle.alike[s] != s for k in kept for s in puzzle.types[k].slots)
    return EffectSpec(
        puzzle=name,
        cycles=own.cycles,
        any_twist=request.any_twist and twists,
        layers=layers,
        kept=None if kept == moving else kept,
        alike=request.alike and like,
        turns=bounds.turns,
        half_length=bounds.half_length,
        setup=bounds.setup,
        seconds=bounds.seconds,
    )


def request_of(spec: EffectSpec, puzzle: Puzzle) -> EffectRequest:
    """Return the representative's own request, which a job is about."""
    bounds = Bounds(spec.turns, spec.half_length, spec.setup, spec.seconds)
    own = puzzle, spec.cycles, spec.layers, spec.kept, spec.alike
    return EffectRequest(*own, bounds, spec.any_twist)


def same_search(spec: EffectSpec, request: EffectRequest) -> bool:
    """Return whether a job answers a request, whatever its bounds are."""
    bounds = Bounds(spec.turns, spec.half_length, spec.setup, spec.seconds)
    return spec_of(spec.puzzle, replace(request, bounds=bounds)) == spec


def _read(data: bytes | None) -> results.EffectResult | None:
    """Return a stored result, None where there is none that can be read."""
    if data is None:
        return None
    try:
        result = results.read(data)
    except results.BrokenResultError:
        return None
    return result if isinstance(result, results.EffectResult) else None
