"""Atlases of puzzles on which turns can be blocked: all cycles of a type in one search."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from puzzles.errors import LimitError
from puzzles.names import placement_name
from puzzles.notation import write
from puzzles.puzzle import PieceType, Puzzle, Word
from search.atlas_entries import Entry, Said, cycles_of
from search.blocked_finding import searched
from search.brackets import shortest_form, text
from search.fixed import goal_of
from search.fixed_problem import Problem, Triple, problem
from search.impossible import ImpossibleError
from search.nesting import things
from search.request import look_alike
from service.blocked import search

if TYPE_CHECKING:
    from service.atlases import AtlasRequest, TypeAtlas
    from service.engine import Engine

#: The most three-cycles that are searched together; each has setups of its own.
MOST_CYCLES = 2_500
#: Of the words for one cycle, so many of the shortest are compared.
COMPARED = 12


@dataclass(frozen=True)
class _Feasible:
    """Cycles of a type that nothing fastened forbids, and one sentence on those that are."""

    triples: tuple[Triple, ...]
    reason: str


def of_type(engine: Engine, request: AtlasRequest, number: int) -> TypeAtlas:
    """Return the atlas of one type; raises LimitError where it has too many cycles."""
    from service.atlases import TypeAtlas

    puzzle, kind = request.puzzle, request.puzzle.types[number]
    every: list[Triple] = [(a, b, c) for a, b, c in cycles_of(puzzle, kind).tolist()]
    _forbid_many(puzzle, kind, len(every))
    feasible = _feasible(request, every)
    own: Problem | None = None
    entries: list[Entry] = []
    by, level, reason = None, 0, feasible.reason
    if feasible.triples:
        wanted = {t: _alike(request, t) for t in feasible.triples}
        asked = list(dict.fromkeys(other for row in wanted.values() for other in row))
        own = problem(puzzle, asked, request.layers, request.kept)
        outcome = search(engine, own, goal_of(request.bounds, every=True))
        by, level = outcome.stopped_by, outcome.sequences.level
        words: dict[Triple, list[Word]] = {}
        for one, found in zip(own.wanted, outcome.sequences.words, strict=True):
            words.setdefault(one.triple, []).extend(found)
        limit = request.bounds.turns
        for triple in feasible.triples:
            fitting = [
                word
                for other in wanted[triple]
                for word in words.get(other, ())
                if limit is None or len(word) <= limit
            ]
            if fitting:
                entries.append(_entry(puzzle, triple, fitting, request.bounds.setup))
    says = searched(own, request.bounds, request.alike, level, 0, None)
    missing = len(every) - len(entries)
    impossible = len(every) - len(feasible.triples)
    return TypeAtlas(kind, tuple(entries), missing, impossible, reason, says, by)


def _forbid_many(puzzle: Puzzle, kind: PieceType, count: int) -> None:
    if count > MOST_CYCLES:
        raise LimitError(
            f"the type {kind.name} of {puzzle.name} has {count:,} three-cycles; where turns can be "
            f"blocked, an atlas takes at most {MOST_CYCLES:,}, so ask for single ones with "
            "`trefoil find`"
        )


def _feasible(request: AtlasRequest, triples: Iterable[Triple]) -> _Feasible:
    """Return the cycles for which there is a wanted state that the group without blocks has."""
    kept: list[Triple] = []
    reason = ""
    fastened = {slot for own in request.puzzle.bonds for slot in own}
    for triple in triples:
        names = " → ".join(placement_name(request.puzzle, p) for p in triple)
        text = None
        if not fastened & {int(request.puzzle.slot_of[p]) for p in triple}:
            text = request.reason(triple)
        if text is None:
            try:
                problem(request.puzzle, [triple], request.layers, request.kept)
            except ImpossibleError as error:
                text = str(error)
        if text is None:
            kept.append(triple)
        else:
            reason = reason or f"{names} cannot be done: {text}"
    return _Feasible(tuple(kept), reason)


def _alike(request: AtlasRequest, triple: Triple) -> list[Triple]:
    return look_alike(request.puzzle, triple) if request.alike else [triple]


def _entry(puzzle: Puzzle, triple: Triple, words: list[Word], setup: int | None) -> Entry:
    short = sorted(words, key=lambda word: (len(word), word))[:COMPARED]
    easy = sorted(words, key=lambda word: (things(puzzle, word), len(word), word))[:COMPARED]
    said = [_said(puzzle, word, setup) for word in dict.fromkeys((*short, *easy))]
    a, b, c = (placement_name(puzzle, p) for p in triple)
    return Entry(
        triple,
        (a, b, c),
        min(said, key=lambda one: (one.turns, one.things, one.word)),
        min(said, key=lambda one: (one.things, one.turns, one.word)),
    )


def _said(puzzle: Puzzle, word: Word, setup: int | None) -> Said:
    form = shortest_form(puzzle, word, setup)
    notation = text(puzzle, form) if form else write(puzzle, word)
    count = form.things if form else things(puzzle, word)
    return Said(write(puzzle, word), notation, len(word), count, word)
