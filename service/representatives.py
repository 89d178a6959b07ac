"""From a request to the job that answers it, which it shares with its images, and back."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Literal

from puzzles.names import Placed
from puzzles.puzzle import Puzzle
from search.answers import told_apart
from search.encoding import Scope, scope, wanted_with_images
from search.representatives import of_request
from search.request import Bounds, Request
from service.atlases import AtlasRequest
from service.specs import AtlasSpec, FindSpec, Triple


def find_spec(name: str, request: Request) -> FindSpec:
    """Return the job for a request on the puzzle that is known by a name or an address.

    Requests that are images of each other have the same. Where turns can be blocked, symmetries are
    not used. What makes no difference to an answer is left out.
    """
    puzzle, bounds = request.puzzle, request.bounds
    kind: Literal["find", "blocked"] = "find"
    triples, any_twist, alike = tuple(request.triples()), request.any_twist, request.alike
    if puzzle.can_block:
        kind = "blocked"
    else:
        own = of_request(request)
        triples, alike = own.triples, bool(told_apart(alike, own.scope))
        single = puzzle.types[int(puzzle.type_of[request.cycle[0].slot])].twists == 1
        any_twist = any_twist and not single
    return FindSpec(
        kind=kind,
        puzzle=name,
        layers=_layers(puzzle, request.layers),
        kept=_kept(puzzle, request.kept),
        alike=alike,
        any_twist=any_twist,
        triples=triples,
        turns=bounds.turns,
        half_length=bounds.half_length,
        setup=bounds.setup,
        seconds=bounds.seconds,
    )


def atlas_spec(name: str, request: AtlasRequest) -> AtlasSpec:
    """Return the job for the atlas of the one type of a request."""
    puzzle, (number,), bounds = request.puzzle, request.types, request.bounds
    kind: Literal["atlas", "blocked-atlas"] = "atlas"
    if puzzle.can_block:
        kind = "blocked-atlas"
    else:
        number = wanted_with_images(puzzle, number, request.layers, request.kept)[0]
    return AtlasSpec(
        kind=kind,
        puzzle=name,
        type=number,
        layers=_layers(puzzle, request.layers),
        kept=_kept(puzzle, request.kept),
        alike=request.alike,
        turns=bounds.turns,
        half_length=bounds.half_length,
        setup=bounds.setup,
        seconds=bounds.seconds,
    )


def request_of(spec: FindSpec, puzzle: Puzzle) -> Request:
    """Return the representative's own request."""
    return Request(
        puzzle,
        placed(puzzle, spec.triples[0]),
        spec.layers,
        spec.kept,
        spec.alike,
        spec.any_twist,
        bounds_of(spec),
    )


def atlas_request_of(spec: AtlasSpec, puzzle: Puzzle) -> AtlasRequest:
    """Return the request for the atlas that a job is about."""
    return AtlasRequest(puzzle, (spec.type,), spec.layers, spec.kept, spec.alike, bounds_of(spec))


def scope_of(spec: FindSpec | AtlasSpec, puzzle: Puzzle) -> Scope:
    """Return the search that does a job."""
    if isinstance(spec, AtlasSpec):
        number = spec.type
    else:
        number = int(puzzle.type_of[puzzle.slot_of[spec.triples[0][0]]])
    wanted = wanted_with_images(puzzle, number, spec.layers, spec.kept)
    return scope(puzzle, spec.layers, spec.kept, wanted)


def bounds_of(spec: FindSpec | AtlasSpec) -> Bounds:
    """Return how far a job is to look."""
    return Bounds(spec.turns, spec.half_length, spec.setup, spec.seconds)


def placed(puzzle: Puzzle, triple: Triple) -> tuple[Placed, ...]:
    """Return the places of a cycle of placements."""
    return tuple(Placed(int(puzzle.slot_of[p]), p, None, -1, "") for p in triple)


def same_search(spec: FindSpec, request: Request) -> bool:
    """Return whether a job answers a request, whatever its bounds are."""
    bounds = bounds_of(spec)
    return find_spec(spec.puzzle, replace(request, bounds=bounds)) == spec


def _layers(puzzle: Puzzle, layers: Iterable[int] | None) -> tuple[int, ...] | None:
    """Return the layers that may turn, None for all."""
    chosen = range(len(puzzle.layers)) if layers is None else sorted(set(layers))
    return None if len(chosen) == len(puzzle.layers) else tuple(chosen)


def _kept(puzzle: Puzzle, kept: Iterable[int] | None) -> tuple[int, ...] | None:
    """Return the kept types that any layer moves, None for all of these."""
    moving = [kind.number for kind in puzzle.types if kind.moves]
    chosen = moving if kept is None else sorted(set(kept) & {*moving})
    return None if len(chosen) == len(moving) else tuple(chosen)
