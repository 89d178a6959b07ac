"""The desk: questions become jobs, and results become answers in the asker's letters.

All of it only reads. It loads puzzles and ranks, so that it belongs in a process that may be ended.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, assert_never

from puzzles.names import placement_name
from puzzles.puzzle import Puzzle
from search.answers import named
from search.impossible import ImpossibleError
from search.ranking import Weights
from service import (
    effects,
    finishing,
    methods,
    puzzle_shelf,
    readings,
    reports,
    representatives,
    results,
    solutions,
)
from service.asked import Asked, as_json, asked, without_answers
from service.questions import (
    AtlasQuestion,
    FindQuestion,
    FinishQuestion,
    MethodQuestion,
    PartsQuestion,
    Question,
    SolveQuestion,
)
from service.requesting import (
    FieldError,
    atlas_request,
    built,
    doable,
    effect_request_of,
    find_request,
    named_effect,
    named_request,
    shown_by,
)
from service.settings import DEFAULT_ANSWERS
from service.stores.base import Store


@dataclass(frozen=True)
class Desk:
    """Reads a store; raises StoreError where it cannot, and errors of the family TrefoilError."""

    store: Store

    def ask(self, question: Question) -> Asked:
        """Return the job for a question, or why there is nothing to be done for it."""
        return asked(puzzle_shelf.load(self.store, question.puzzle), question)

    def answer(
        self, question: Question, content: bytes, outcome: Mapping[str, Any] | None = None
    ) -> bytes:
        """Return the answer to a question from the result of its job, as JSON.

        It is what `trefoil … --json` prints, with the digest of the result, which ``outcome``, the
        job's, names too. Raises OutdatedError, and BrokenResultError where the result is not one of
        this question.
        """
        name = results.digest(content)
        if (outcome or {}).get("result", name) != name:
            raise results.BrokenResultError("a stored result is not what its digest says")
        puzzle, result = self._read(content)
        match question:
            case FindQuestion(effect=str()):
                report = readings.effect(
                    result, effect_request_of(puzzle, question), *shown_by(question)
                )
            case FindQuestion():
                wanted, shown = find_request(puzzle, question), shown_by(question)
                try:
                    report = readings.find(result, wanted, *shown)
                except ImpossibleError as error:
                    report = without_answers(wanted, error)
            case AtlasQuestion():
                report = readings.atlas(result, atlas_request(puzzle, question))
            case PartsQuestion():
                report = readings.parts(result)
            case FinishQuestion():
                report = finishing.answer(result)
            case SolveQuestion():
                report = solutions.answer(result)
            case MethodQuestion():
                report = methods.answer(result)
            case _:
                assert_never(question)
        return as_json({**report, "result": name})

    def partial(self, question: Question, progress: Mapping[str, Any]) -> bytes:
        """Return the best answers so far from a job's progress, as JSON; null for nothing yet."""
        words = progress.get("words")
        if not words or not isinstance(question, FindQuestion):
            return b"null"
        puzzle = puzzle_shelf.load(self.store, question.puzzle)
        half_length = int(progress.get("half_length") or 0)
        if question.effect is not None:
            sought = effect_request_of(puzzle, question)
            return as_json(readings.effect_so_far(progress, sought, *shown_by(question)))
        done = [(int(cycle), tuple(int(t) for t in turns)) for cycle, turns in words]
        wanted = find_request(puzzle, question)
        return as_json(readings.so_far(done, half_length, wanted, *shown_by(question)))

    def result(
        self,
        content: bytes,
        cycle: list[str] | None = None,
        most: int | None = None,
        left_handed: bool = False,
        weights: Weights | None = None,
        effect: str | None = None,
    ) -> bytes:
        """Return what a result says of a cycle or effect, else of what it is kept for, as JSON.

        Raises RequestError for one that is no image of that.
        """
        puzzle, result = self._read(content)
        shown = weights, DEFAULT_ANSWERS if most is None else most, left_handed
        about_effect = isinstance(result, results.EffectResult)
        if effect is not None and not about_effect:
            raise FieldError("this result is not about an effect", "effect")
        if cycle is not None and about_effect:
            raise FieldError(
                "this result is about another effect than a three-cycle; name it with effect",
                "cycle",
            )
        match result:
            case results.FindResult() | results.BlockedResult():
                wanted = representatives.request_of(result.spec, puzzle)
                names = cycle or [placement_name(puzzle, p) for p in result.spec.triples[0]]
                asked = named_request(puzzle, names, wanted)
                if not representatives.same_search(result.spec, asked):
                    one = " ".join(named(wanted))
                    raise FieldError(
                        f"this result is about {one} and cycles that are its images, and "
                        f"{' '.join(names)} is none of them",
                        "cycle",
                    )
                try:
                    report = readings.find(result, asked, *shown)
                except ImpossibleError as error:
                    report = without_answers(asked, error)
            case results.EffectResult():
                sought = effects.request_of(result.spec, puzzle)
                if effect is not None:
                    kept = sought.text
                    sought = named_effect(puzzle, effect, sought)
                    if not effects.same_search(result.spec, sought):
                        raise FieldError(
                            f"this result is about {kept} and effects that are its images, and "
                            f"{sought.text} is none of them",
                            "effect",
                        )
                report = readings.effect(result, sought, *shown)
            case results.AtlasResult() | results.BlockedAtlasResult():
                report = readings.atlas(
                    result, representatives.atlas_request_of(result.spec, puzzle)
                )
            case results.PartsResult():
                report = readings.parts(result)
            case results.FinishResult():
                report = finishing.answer(result)
            case results.SolveResult():
                report = solutions.answer(result)
            case results.MethodResult():
                report = methods.answer(result)
            case _:
                assert_never(result)
        return as_json({**report, "result": results.digest(content)})

    def effect(self, puzzle: str, sequence: str) -> bytes:
        """Return what a sequence does, as `trefoil try --json` prints it."""
        from puzzles.effects import effect_of

        loaded = puzzle_shelf.load(self.store, puzzle)
        parsed = doable(loaded, sequence)
        effect = effect_of(loaded, parsed.word)
        return as_json(reports.tried(loaded, parsed.word, effect, parsed.left_over))

    def reading(self, puzzle: str, sequence: str) -> bytes:
        """Return how a sequence is made, as `trefoil read --json` prints it."""
        from service.read_report import reading

        loaded = puzzle_shelf.load(self.store, puzzle)
        return as_json(reading(loaded, doable(loaded, sequence)))

    def bench(self, puzzle: str, turns: str, insert: str = "") -> bytes:
        """Return what turns disturb, what may be slipped in, and what an ``insert`` gives."""
        from service.bench_report import MOST_TURNS, bench

        loaded = puzzle_shelf.load(self.store, puzzle)
        parsed, slipped = built(loaded, turns, "turns"), built(loaded, insert, "insert")
        if len(parsed.word) > MOST_TURNS:
            text = f"{len(parsed.word):,} turns were given; the bench takes up to {MOST_TURNS:,}"
            raise FieldError(text, "turns")
        if len(slipped.word) > 1:
            raise FieldError(f"{insert} is more than the one turn that can be slipped in", "insert")
        return as_json(bench(loaded, parsed.word, next(iter(slipped.word), None), parsed.left_over))

    def pairs(self, puzzle: str) -> bytes:
        """Return what pairs of turns disturb and offer, one of each kind, as JSON."""
        from service.bench_report import pairs

        return as_json(pairs(puzzle_shelf.load(self.store, puzzle)))

    def puzzle(self, name: str) -> bytes:
        """Return a puzzle in short, as JSON."""
        return as_json({**reports.puzzle(puzzle_shelf.load(self.store, name)), "puzzle": name})

    def picture(
        self,
        name: str,
        cycle: str | None = None,
        sequence: str | None = None,
        kind: str | None = None,
        behind: bool = True,
        after: str | None = None,
        effect: str | None = None,
    ) -> bytes:
        """Return a picture of a puzzle as SVG.

        A cycle or an effect is drawn in it, or what a sequence moves is outlined, or the pieces of
        a type, by its name. Without ``behind`` the view from behind is left out. With ``after``, a
        sequence, it is a small picture of the state after it; the pieces of a cycle are numbered
        there.
        """
        from service.pictures import picture

        puzzle = puzzle_shelf.load(self.store, name)
        return picture(puzzle, cycle, sequence, kind, behind, after, effect).encode()

    def drawing(self, name: str) -> bytes:
        """Return what a page needs to draw a puzzle and to turn it, as JSON."""
        from puzzles.drawing import drawing

        return drawing(puzzle_shelf.load(self.store, name)).text().encode()

    def _read(self, content: bytes) -> tuple[Puzzle, results.Result]:
        """Return the puzzle and the result that bytes stand for."""
        result = results.read(content)
        puzzle = puzzle_shelf.load(self.store, result.spec.puzzle)
        results.forbid_outdated(result.tables, puzzle)
        return puzzle, result
