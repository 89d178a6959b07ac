"""Results read: their words in an asker's frame and letters, ranked, with the reasons."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from puzzles.puzzle import Puzzle, Word
from search.answers import Found, Searched, from_words
from search.atlas_entries import Pattern
from search.effects_wanted import CameTo, from_effect_words
from search.ranking import Weights, read
from search.representatives import Represented, of_request
from search.request import Request
from search.wanted import EffectRequest
from service import atlases, effects, reports, results
from service.engine import Outcome, with_note
from service.results import BrokenResultError, Done, PatternFound, Result


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
            own = of_request(wanted)
            _same(own, result)
            _forbid_others(wanted.puzzle, _every_turn(result.words), len(own.triples))
            words = {one.turns: (one.cycle, one.read()) for one in result.words}
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
        _forbid_others(wanted.puzzle, words, len(problem.wanted))
        if not all(problem.fulfils(cycle, word) for cycle, word in words):
            raise BrokenResultError("the stored progress has a word that does another cycle")
        triples = {word: problem.wanted[cycle].triple for cycle, word in words}
        text = f"searching sequences with up to {half_length + 1} turns in S, A and B together"
        says = Searched(half_length, wanted.bounds.setup, None, text)
        return reports.find(ranked(wanted, triples, says, weights, most, left_handed), None)
    own = of_request(wanted)
    _forbid_others(wanted.puzzle, words, len(own.triples))
    puzzle, setup = wanted.puzzle, wanted.bounds.setup
    there = {word: (cycle, read(puzzle, word, setup)) for cycle, word in words}
    return reports.find(
        from_words(wanted, own, there, half_length, (), weights, most, left_handed), None
    )


def effect(
    result: Result,
    wanted: EffectRequest,
    weights: Weights | None,
    most: int,
    left_handed: bool,
) -> reports.Report:
    """Return the report on a request for an effect from the result of its search."""
    if not isinstance(result, results.EffectResult):
        raise BrokenResultError("the stored result is not one of a search for an effect")
    found = effects.found(result, wanted, weights, most, left_handed)
    return reports.effect(found, result.stopped_by)


def effect_so_far(
    progress: Mapping[str, Any],
    wanted: EffectRequest,
    weights: Weights | None,
    most: int,
    left_handed: bool,
) -> reports.Report:
    """Return the report on a request for an effect from what a search has told until now."""
    puzzle, setup = wanted.puzzle, wanted.bounds.setup
    words = {tuple(int(t) for t in turns): int(number) for number, turns in progress["words"]}
    _forbid_others(puzzle, ((0, word) for word in words), 1)
    there = {word: (number, read(puzzle, word, setup)) for word, number in words.items()}
    own, reads = effects.in_own_frame(wanted, there)
    known = CameTo(progress.get("half_length"), progress.get("complete"), 0)
    found = from_effect_words(wanted, own, known, weights, most, left_handed, reads)
    return reports.effect(found, None)


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


def _forbid_others(puzzle: Puzzle, words: Iterable[tuple[int, Iterable[int]]], count: int) -> None:
    """Raise BrokenResultError for a cycle that was not asked for, and for turns there are not."""
    turns = range(len(puzzle.turns))
    for cycle, word in words:
        if not 0 <= cycle < count or any(turn not in turns for turn in word):
            raise BrokenResultError("what is stored names a cycle or a turn that there is not")


def _every_turn(words: Iterable[Done]) -> Iterator[tuple[int, Iterable[int]]]:
    """Yield the cycle of each word with all turns that stand in it and in its form."""
    for one in words:
        yield one.cycle, (*one.turns, *(turn for part in one.form or () for turn in part))


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
    _forbid_others(wanted.puzzle, _every_turn(result.words), len(own.wanted))
    met = None
    if result.beside is not None:
        beside = result.beside
        reach = beside.half_length, tuple(one.step() for one in beside.steps)
        met = Met(beside.calm, beside.turns, beside.of, *reach)
    chosen = Chosen(words, result.level, met, result.beside is not None and result.beside.further)
    known = {one.turns: one.read() for one in result.words}
    return blocked_found(wanted, own, chosen, ends, weights, most, left_handed, known)


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
