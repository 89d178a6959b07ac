"""Questions in the terms of the search: requests, bounds and weights, and sequences to be done."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import fields, replace

from puzzles.errors import RequestError, TrefoilError
from puzzles.notation import Parsed, parse
from puzzles.puzzle import Puzzle
from search.ranking import Weights
from search.request import Bounds, Request, kept_types, layer_numbers, request
from search.wanted import EffectRequest, effect_request
from service import atlases
from service.questions import AtlasQuestion, FindQuestion

#: What may stand between the names of a cycle.
BETWEEN = re.compile(r"->|[→,\s]+")


class FieldError(RequestError):
    """A request that is wrong in one field of a question, ``field``."""

    def __init__(self, text: str, field: str) -> None:
        super().__init__(text)
        self.field = field


def weights_of(given: Mapping[str, float] | None) -> Weights | None:
    """Return weights by the names of columns; what is not named keeps its usual weight."""
    if given is None:
        return None
    names = [column.name for column in fields(Weights)]
    unknown = next((name for name in given if name not in names), None)
    if unknown is not None:
        raise FieldError(
            f"weights: there is no column {unknown!r}; the columns are {' '.join(names)}", "weights"
        )
    return Weights(**{name: float(value) for name, value in given.items()})


def find_request(puzzle: Puzzle, question: FindQuestion) -> Request:
    """Return what a question about a three-cycle wants."""
    return request(
        puzzle,
        question.cycle or [],
        layers=question.layers,
        keep=question.keep,
        free=question.free,
        alike=not question.apart,
        any_twist=question.any_twist,
        bounds=bounds(question),
    )


def effect_request_of(puzzle: Puzzle, question: FindQuestion) -> EffectRequest:
    """Return what a question about an effect wants."""
    return effect_request(
        puzzle,
        question.effect or "",
        layers=question.layers,
        keep=question.keep,
        free=question.free,
        alike=not question.apart,
        any_twist=question.any_twist,
        bounds=bounds(question),
    )


def named_effect(puzzle: Puzzle, text: str, like: EffectRequest) -> EffectRequest:
    """Return a request for an effect in words that is otherwise like another."""
    own = effect_request(
        puzzle, text, alike=like.alike, any_twist=like.any_twist, bounds=like.bounds
    )
    return replace(own, layers=like.layers, kept=like.kept)


def named_request(puzzle: Puzzle, names: list[str], like: Request) -> Request:
    """Return a request for a cycle by names that is otherwise like another."""
    own = request(puzzle, names, alike=like.alike, any_twist=like.any_twist, bounds=like.bounds)
    return replace(own, layers=like.layers, kept=like.kept)


def atlas_request(puzzle: Puzzle, question: AtlasQuestion) -> atlases.AtlasRequest:
    """Return what a question about all three-cycles of types wants."""
    layers = layer_numbers(puzzle, question.layers)
    kept = kept_types(puzzle, question.keep, question.free)
    types = atlases.wanted_types(puzzle, question.type, layers, question.keep, question.free)
    return atlases.AtlasRequest(puzzle, types, layers, kept, question.alike, bounds(question))


def bounds(question: FindQuestion | AtlasQuestion) -> Bounds:
    """Return the bounds of a question."""
    # Whole ones, so that there are only so many searches and results beside a question's.
    seconds = None if question.seconds is None else float(math.ceil(question.seconds))
    return Bounds(question.turns, question.half_length, question.setup, seconds)


def shown_by(question: FindQuestion) -> tuple[Weights | None, int, bool]:
    """Return by what answers are ranked, how many are shown, and whether for the left hand."""
    return weights_of(question.weights), question.most, question.left_handed


def doable(puzzle: Puzzle, sequence: str) -> Parsed:
    """Return a sequence that can be done; raises NotationError, LimitError and FieldError."""
    from puzzles.blocking import why_blocked

    parsed = parse(puzzle, sequence)
    blocked = why_blocked(puzzle, parsed.word)
    if blocked is not None:
        raise FieldError(blocked, "sequence")
    return parsed


def built(puzzle: Puzzle, text: str, field: str) -> Parsed:
    """Return what stands in a field of the bench; raises FieldError."""
    from puzzles.blocking import why_blocked

    try:
        parsed = parse(puzzle, text)
    except TrefoilError as error:
        raise FieldError(str(error), field) from None
    blocked = why_blocked(puzzle, parsed.word) if field != "insert" else None
    if blocked is not None:
        raise FieldError(blocked, field)
    return parsed


def names_in(text: str) -> list[str]:
    """Return the names in a text, whatever stands between them."""
    return BETWEEN.sub(" ", text).split()
