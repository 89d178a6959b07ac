"""Results read: their words in an asker's frame and letters, ranked, with the reasons."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from puzzles.puzzle import Word
from search.answers import Found, Searched, from_words
from search.atlas_entries import Pattern
from search.ranking import Weights
from search.representatives import Represented, represented
from search.request import Request
from service import atlases, reports, results
from service.engine import Outcome, with_note
from service.results import BrokenResultError, Done, PatternFound, Result
from service.specs import Triple


def find(
    result: Result,
    wanted: Request,
    weights: Weights | None,
    most: int,
    left_handed: bool,
) -> reports.Report:
    """Return the report on a request from the result of its search.

    Raises ImpossibleError where the search has proven that, and BrokenResultError for a result of
    another search.
    """
    match result:
        case results.FindResult():
            own = represented(wanted.scope(), wanted.triples(), wanted.any_twist)
            words = _words(result.words, own.triples)
            _same(own, result)
            coverage = result.coverage
            reach = coverage.half_length, coverage.long_steps()
            found = from_words(wanted, own, words, *reach, weights, most, left_handed)
        case results.BlockedResult():
            found = _blocked(result, wanted, weights, most, left_handed)
        case _:
            raise BrokenResultError("the stored result is not one of a search for a cycle")
    return reports.find(with_note(found, result.note), result.stopped_by)


def so_far(
    words: Sequence[tuple[int, Word]],
    half_length: int,
    wanted: Request,
    weights: Weights | None,
    most: int,
    left_handed: bool,
) -> reports.Report:
    """Return the report on a request from words that a search has met until now."""
    if wanted.puzzle.can_block:
        from search.answers import ranked
        from search.blocked_finding import problem_of

        problem = problem_of(wanted)
        if not all(0 <= cycle < len(problem.wanted) for cycle, _ in words):
            raise BrokenResultError("the stored progress names a cycle that was not asked for")
        if not all(problem.fulfils(cycle, word) for cycle, word in words):
            raise BrokenResultError("the stored progress has a word that does another cycle")
        triples = {word: problem.wanted[cycle].triple for cycle, word in words}
        text = f"searching sequences with up to {half_length + 1} turns in S, A and B together"
        says = Searched(half_length, wanted.bounds.setup, None, text)
        return reports.find(ranked(wanted, triples, says, weights, most, left_handed), None)
    own = represented(wanted.scope(), wanted.triples(), wanted.any_twist)
    done = [Done(cycle=cycle, turns=word) for cycle, word in words]
    there = _words(done, own.triples)
    return reports.find(
        from_words(wanted, own, there, half_length, (), weights, most, left_handed), None
    )


def atlas(result: Result, wanted: atlases.AtlasRequest) -> reports.Report:
    """Return the report on an atlas of one type from the result of its search."""
    match result:
        case results.AtlasResult():
            (number,) = wanted.types
            own = atlases.scope_of(wanted, number)
            if result.spec.type not in own.wanted:
                raise BrokenResultError("the stored result is an atlas of another type")
            outcome = Outcome(result.read_shelves(), result.stopped_by, result.note)
            return reports.atlas(wanted, [atlases.from_shelves(wanted, own, number, outcome)])
        case results.BlockedAtlasResult():
            return reports.atlas(wanted, [_blocked_atlas(result, wanted)])
        case _:
            raise BrokenResultError("the stored result is not an atlas")


def parts(result: Result) -> dict[str, Any]:
    """Return the report on a puzzle's parts."""
    if not isinstance(result, results.PartsResult):
        raise BrokenResultError("the stored result is not about the parts of a puzzle")
    return result.report


def _words(done: Iterable[Done], triples: Sequence[Triple]) -> dict[Word, int]:
    """Return words and which of some cycles each does; raises BrokenResultError."""
    words = {one.turns: one.cycle for one in done}
    if not all(0 <= cycle < len(triples) for cycle in words.values()):
        raise BrokenResultError("the stored result names a cycle that was not asked for")
    return words


def _same(own: Represented, result: results.FindResult) -> None:
    if own.triples != result.spec.triples:
        raise BrokenResultError("the stored result is one of another search")


def _blocked(
    result: results.BlockedResult,
    wanted: Request,
    weights: Weights | None,
    most: int,
    left_handed: bool,
) -> Found:
    from search.blocked_finding import Chosen, blocked_found, forbid_unreached, problem_of
    from search.both_ends import Ends
    from search.unblocked import Met

    if tuple(wanted.triples()) != result.spec.triples:
        raise BrokenResultError("the stored result is one of another search")
    own, ends = problem_of(wanted), Ends(**result.ends.model_dump())
    forbid_unreached(ends)
    words = {one.turns: one.cycle for one in result.words}
    if not all(0 <= cycle < len(own.wanted) for cycle in words.values()):
        raise BrokenResultError("the stored result names a state that was not asked for")
    met = None
    if result.beside is not None:
        beside = result.beside
        reach = beside.half_length, tuple(one.step() for one in beside.steps)
        met = Met(beside.calm, beside.turns, beside.of, *reach)
    chosen = Chosen(words, result.level, met, result.beside is not None and result.beside.further)
    return blocked_found(wanted, own, chosen, ends, weights, most, left_handed)


def _blocked_atlas(
    result: results.BlockedAtlasResult, wanted: atlases.AtlasRequest
) -> atlases.TypeAtlas:
    from service.blocked_atlas import AtlasFound, Best, read

    (number,) = wanted.types
    if result.spec.type != number:
        raise BrokenResultError("the stored result is an atlas of another type")
    entries = tuple(
        Best(one.cycle, _pattern(one.shortest), _pattern(one.easiest)) for one in result.entries
    )
    reach = result.level, result.says, result.stopped_by
    found = AtlasFound(entries, result.impossible, result.never, *reach)
    return read(wanted, number, found)


def _pattern(own: PatternFound) -> Pattern:
    return Pattern(own.turns, own.things, own.text, "")
