"""Atlases of puzzles on which turns can be blocked: all cycles of a type in one search."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from puzzles.errors import LimitError
from puzzles.names import placement_name
from puzzles.notation import turn_text, write
from puzzles.puzzle import PieceType, Puzzle, Word
from search.answers import Searched
from search.atlas_entries import Entry, Pattern, Said, cycles_of, pattern
from search.blocked_finding import searched
from search.fixed import goal_of
from search.fixed_problem import Problem, Triple, problem
from search.impossible import ImpossibleError, wanted_effect
from search.nesting import things
from search.request import look_alike
from service.blocked import search
from service.endings import PERSON

if TYPE_CHECKING:
    from service.atlases import AtlasRequest, TypeAtlas
    from service.engine import Engine

#: The most three-cycles that are searched together; each has setups of its own.
MOST_CYCLES = 2_500
#: Of the words for one cycle, so many of the shortest are compared.
COMPARED = 12


@dataclass(frozen=True)
class _Feasible:
    """Cycles of a type that nothing fastened forbids; how many others there are, the first one."""

    triples: tuple[Triple, ...]
    impossible: int
    never: Triple | None


@dataclass(frozen=True)
class Best:
    """A three-cycle of placements with the shortest and the easiest word that was found for it."""

    triple: Triple
    shortest: Pattern
    easiest: Pattern


@dataclass(frozen=True)
class AtlasFound:
    """What a search for all cycles of a type gave, by numbers.

    ``impossible`` of them cannot be done, ``never`` is the first of these; ``says``: how far the
    search went, to ``level``.
    """

    entries: tuple[Best, ...]
    impossible: int
    never: Triple | None
    level: int
    says: str
    stopped_by: str | None


def of_type(engine: Engine, request: AtlasRequest, number: int) -> TypeAtlas:
    """Return the atlas of one type; raises LimitError where it has too many cycles."""
    return read(request, number, found(engine, request, number))


def read(request: AtlasRequest, number: int, own: AtlasFound) -> TypeAtlas:
    """Return the atlas of one type from what a search for it gave.

    Raises RuntimeError for a word that cannot be done or does another cycle.
    """
    from service.atlases import TypeAtlas

    puzzle, kind = request.puzzle, request.puzzle.types[number]
    _check(request, own.entries)
    texts = [turn_text(puzzle, turn) for turn in range(len(puzzle.turns))]
    entries = tuple(_entry(puzzle, one, texts) for one in own.entries)
    reason = "" if own.never is None else _said_never(request, own.never)
    says = Searched(own.level, request.bounds.setup, None, own.says)
    missing = len(cycles_of(puzzle, kind)) - len(entries)
    return TypeAtlas(kind, entries, missing, own.impossible, reason, says, own.stopped_by)


def _check(request: AtlasRequest, entries: Iterable[Best]) -> None:
    """Raise RuntimeError for a word that cannot be done, or that does another cycle.

    What is fastened may have gone along; all else that is kept is at home.
    """
    puzzle = request.puzzle
    fastened = {slot for own in puzzle.bonds for slot in own}
    every = range(len(puzzle.types))
    kept = {*(every if request.kept is None else request.kept)}
    free = (int(kind) not in kept for kind in puzzle.type_of)
    slots = [s for s, skipped in enumerate(free) if not skipped and s not in fastened]
    for one in entries:
        homes = [*puzzle.home[slots].tolist(), *one.triple]
        wanted = wanted_effect(puzzle, one.triple)[homes]
        for word in (one.shortest.word, one.easiest.word):
            same = np.array_equal(puzzle.effect(word)[homes], wanted)
            if not same or puzzle.first_blocked(word) is not None:
                raise RuntimeError(
                    f"{write(puzzle, word)} was kept for a cycle that it does not do; the stored "
                    "searches are broken and should be removed"
                )


def found(engine: Engine, request: AtlasRequest, number: int) -> AtlasFound:
    """Return what a search for all cycles of a type gives; raises what ``of_type`` does."""
    puzzle, kind = request.puzzle, request.puzzle.types[number]
    every: list[Triple] = [(a, b, c) for a, b, c in cycles_of(puzzle, kind).tolist()]
    _forbid_many(puzzle, kind, len(every))
    feasible = _feasible(request, every, engine.stop)
    own: Problem | None = None
    entries: list[Best] = []
    by, level = None, 0
    if engine.stop():
        by = PERSON
    elif feasible.triples:
        wanted = {t: _alike(request, t) for t in feasible.triples}
        asked = list(dict.fromkeys(other for row in wanted.values() for other in row))
        own = problem(puzzle, asked, request.layers, request.kept)
        outcome = search(engine, own, goal_of(request.bounds, every=True))
        by, level = outcome.stopped_by, outcome.sequences.level
        words: dict[Triple, list[Word]] = {}
        for one, known in zip(own.wanted, outcome.sequences.words, strict=True):
            words.setdefault(one.triple, []).extend(known)
        limit = request.bounds.turns
        for triple in feasible.triples:
            fitting = [
                word
                for other in wanted[triple]
                for word in words.get(other, ())
                if limit is None or len(word) <= limit
            ]
            if fitting:
                entries.append(_best(puzzle, triple, fitting, request.bounds.setup))
    says = searched(own, request.bounds, request.alike, level, 0, None)
    told = feasible.impossible, feasible.never
    return AtlasFound(tuple(entries), *told, level, says.text, by)


def _forbid_many(puzzle: Puzzle, kind: PieceType, count: int) -> None:
    if count > MOST_CYCLES:
        raise LimitError(
            f"the type {kind.name} of {puzzle.name} has {count:,} three-cycles; where turns can be "
            f"blocked, an atlas takes at most {MOST_CYCLES:,}, so ask for single ones with "
            "`trefoil find`"
        )


def _feasible(
    request: AtlasRequest, triples: Iterable[Triple], stop: Callable[[], bool]
) -> _Feasible:
    """Return the cycles for which there is a wanted state that the group without blocks has.

    Of what was not looked at when ``stop()`` is true, nothing is said.
    """
    kept: list[Triple] = []
    others: list[Triple] = []
    for triple in triples:
        if stop():
            break
        (kept if _why_never(request, triple) is None else others).append(triple)
    return _Feasible(tuple(kept), len(others), others[0] if others else None)


def _why_never(request: AtlasRequest, triple: Triple) -> str | None:
    """Return why a cycle cannot be done, None if nothing forbids it."""
    fastened = {slot for own in request.puzzle.bonds for slot in own}
    if not fastened & {int(request.puzzle.slot_of[p]) for p in triple}:
        text = request.reason(triple)
        if text is not None:
            return text
    try:
        problem(request.puzzle, [triple], request.layers, request.kept)
    except ImpossibleError as error:
        return str(error)
    return None


def _said_never(request: AtlasRequest, triple: Triple) -> str:
    text = _why_never(request, triple)
    names = " → ".join(placement_name(request.puzzle, p) for p in triple)
    return "" if text is None else f"{names} cannot be done: {text}"


def _alike(request: AtlasRequest, triple: Triple) -> list[Triple]:
    return look_alike(request.puzzle, triple) if request.alike else [triple]


def _best(puzzle: Puzzle, triple: Triple, words: list[Word], setup: int | None) -> Best:
    short = sorted(words, key=lambda word: (len(word), word))[:COMPARED]
    easy = sorted(words, key=lambda word: (things(puzzle, word), len(word), word))[:COMPARED]
    said = [pattern(puzzle, word, setup) for word in dict.fromkeys((*short, *easy))]
    return Best(
        triple,
        min(said, key=lambda one: (len(one.word), one.things, one.word)),
        min(said, key=lambda one: (one.things, len(one.word), one.word)),
    )


def _entry(puzzle: Puzzle, own: Best, texts: list[str]) -> Entry:
    a, b, c = (placement_name(puzzle, p) for p in own.triple)
    shortest, easiest = (_said(puzzle, one, texts) for one in (own.shortest, own.easiest))
    return Entry(own.triple, (a, b, c), shortest, easiest)


def _said(puzzle: Puzzle, own: Pattern, texts: list[str]) -> Said:
    sequence, notation = write(puzzle, own.word), own.text.format(*texts)
    return Said(sequence, notation, len(own.word), own.things, own.word)
