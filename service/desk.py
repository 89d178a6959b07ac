"""The desk: questions become jobs, and results become answers in the asker's letters.

All of it only reads. It loads puzzles and ranks, so that it belongs in a process that may be ended.
"""

from __future__ import annotations

import hashlib
import json
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from pathlib import Path
from typing import Any, assert_never

import puzzles
from puzzles.errors import RequestError, TrefoilError
from puzzles.names import placement_name
from puzzles.notation import Parsed, parse
from puzzles.puzzle import Puzzle
from search.answers import named
from search.impossible import ImpossibleError, check
from search.impossible_effects import check_effect
from search.ranking import Weights
from search.request import Bounds, Request, kept_types, layer_numbers, request
from search.wanted import EffectRequest, effect_request
from service import (
    atlases,
    effects,
    finishing,
    methods,
    puzzle_shelf,
    readings,
    reports,
    representatives,
    results,
    solutions,
    stored,
)
from service.engine import NoFormError, forbid_commuting
from service.questions import (
    AtlasQuestion,
    FindQuestion,
    FinishQuestion,
    MethodQuestion,
    PartsQuestion,
    Question,
    SolveQuestion,
)
from service.settings import DEFAULT_ANSWERS
from service.specs import MethodSpec, PartsSpec
from service.stores.base import Store

#: What may stand between the names of a cycle.
BETWEEN = re.compile(r"->|[→,\s]+")
#: The sources that decide what is said of a puzzle's parts, besides those of the search.
PARTS_SOURCES = ("puzzles/*.py", "puzzles/catalogue/*.json", "service/parts*.py")


class FieldError(RequestError):
    """A request that is wrong in one field of a question, ``field``."""

    def __init__(self, text: str, field: str) -> None:
        super().__init__(text)
        self.field = field


@dataclass(frozen=True)
class Asked:
    """What a question comes to: a job, or with ``body`` the answer, for which none is needed.

    Nothing but ``body`` depends on who asks. ``spec`` is JSON, empty where there is no job.
    """

    kind: str
    key: str
    spec: str
    body: bytes | None = None


@dataclass(frozen=True)
class Desk:
    """Reads a store; raises StoreError where it cannot, and errors of the family TrefoilError."""

    store: Store

    def ask(self, question: Question) -> Asked:
        """Return the job for a question, or why there is nothing to be done for it."""
        puzzle = puzzle_shelf.load(self.store, question.puzzle)
        match question:
            case FindQuestion(effect=str()):
                return _effect_asked(puzzle, question)
            case FindQuestion():
                return _find_asked(puzzle, question)
            case AtlasQuestion():
                return _atlas_asked(puzzle, question)
            case PartsQuestion():
                spec = PartsSpec(puzzle=question.puzzle)
                return Asked("parts", spec.key(puzzle.digest, parts_version()), spec.text())
            case FinishQuestion():
                return _finish_asked(puzzle, question)
            case SolveQuestion():
                return _solve_asked(puzzle, question)
            case MethodQuestion():
                return _method_asked(puzzle, question)
            case _:
                assert_never(question)

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
                    result, _effect_request(puzzle, question), *_shown(question)
                )
            case FindQuestion():
                wanted, shown = _request(puzzle, question), _shown(question)
                try:
                    report = readings.find(result, wanted, *shown)
                except ImpossibleError as error:
                    report = _without(wanted, error)
            case AtlasQuestion():
                report = readings.atlas(result, _atlas_request(puzzle, question))
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
        return _body({**report, "result": name})

    def partial(self, question: Question, progress: Mapping[str, Any]) -> bytes:
        """Return the best answers so far from a job's progress, as JSON; null for nothing yet."""
        words = progress.get("words")
        if not words or not isinstance(question, FindQuestion):
            return b"null"
        puzzle = puzzle_shelf.load(self.store, question.puzzle)
        half_length = int(progress.get("half_length") or 0)
        if question.effect is not None:
            sought = _effect_request(puzzle, question)
            return _body(readings.effect_so_far(progress, sought, *_shown(question)))
        done = [(int(cycle), tuple(int(t) for t in turns)) for cycle, turns in words]
        wanted = _request(puzzle, question)
        return _body(readings.so_far(done, half_length, wanted, *_shown(question)))

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
                asked = _named_request(puzzle, names, wanted)
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
                    report = _without(asked, error)
            case results.EffectResult():
                sought = effects.request_of(result.spec, puzzle)
                if effect is not None:
                    kept = sought.text
                    sought = _named_effect(puzzle, effect, sought)
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
        return _body({**report, "result": results.digest(content)})

    def effect(self, puzzle: str, sequence: str) -> bytes:
        """Return what a sequence does, as `trefoil try --json` prints it."""
        from puzzles.effects import effect_of

        loaded = puzzle_shelf.load(self.store, puzzle)
        parsed = doable(loaded, sequence)
        effect = effect_of(loaded, parsed.word)
        return _body(reports.tried(loaded, parsed.word, effect, parsed.left_over))

    def reading(self, puzzle: str, sequence: str) -> bytes:
        """Return how a sequence is made, as `trefoil read --json` prints it."""
        from puzzles.blocking import why_blocked
        from puzzles.notation import parse
        from service.read_report import reading

        loaded = puzzle_shelf.load(self.store, puzzle)
        parsed = parse(loaded, sequence)
        blocked = why_blocked(loaded, parsed.word)
        if blocked is not None:
            raise FieldError(blocked, "sequence")
        return _body(reading(loaded, parsed))

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
        return _body(bench(loaded, parsed.word, next(iter(slipped.word), None), parsed.left_over))

    def pairs(self, puzzle: str) -> bytes:
        """Return what pairs of turns disturb and offer, one of each kind, as JSON."""
        from service.bench_report import pairs

        return _body(pairs(puzzle_shelf.load(self.store, puzzle)))

    def puzzle(self, name: str) -> bytes:
        """Return a puzzle in short, as JSON."""
        return _body({**reports.puzzle(puzzle_shelf.load(self.store, name)), "puzzle": name})

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


@lru_cache(maxsize=1)
def parts_version() -> str:
    """Return a digest of the sources that decide what is said of a puzzle's parts."""
    folder = Path(puzzles.__file__).parent.parent
    state = hashlib.sha256(stored.version().encode())
    for pattern in PARTS_SOURCES:
        for path in sorted(folder.glob(pattern)):
            state.update(path.read_bytes())
    return state.hexdigest()[:16]


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


def _find_asked(puzzle: Puzzle, question: FindQuestion) -> Asked:
    wanted = _request(puzzle, question)
    weights_of(question.weights)
    try:
        if puzzle.can_block:
            from search.blocked_finding import problem_of

            forbid_commuting(puzzle, wanted.layers)
            problem_of(wanted)
        else:
            free = wanted.free()
            check(puzzle, wanted.cycle, wanted.layers, wanted.alike, wanted.any_twist, free)
            forbid_commuting(puzzle, wanted.layers)
    except (ImpossibleError, NoFormError) as error:
        return Asked("find", "", "", _body(_without(wanted, error)))
    spec = representatives.find_spec(question.puzzle, wanted)
    return Asked(spec.kind, spec.key(puzzle.digest, stored.version()), spec.text())


def _finish_asked(puzzle: Puzzle, question: FinishQuestion) -> Asked:
    own = finishing.spec_of(puzzle, question)
    report = finishing.impossible(own, puzzle)
    if report is not None:
        return Asked("finish", "", "", _body({**report, "impossible": True}))
    return Asked("finish", finishing.key_of(own, puzzle), own.text())


def _solve_asked(puzzle: Puzzle, question: SolveQuestion) -> Asked:
    own = solutions.spec_of(puzzle, question)
    report = solutions.unreached(own, puzzle) if question.scramble is None else None
    if report is not None:
        return Asked("solve", "", "", _body({**report, "impossible": True}))
    return Asked("solve", solutions.key_of(own, puzzle), own.text())


def _method_asked(puzzle: Puzzle, question: MethodQuestion) -> Asked:
    own = MethodSpec(puzzle=question.puzzle)
    return Asked("method", methods.key_of(own, puzzle), own.text())


def _effect_asked(puzzle: Puzzle, question: FindQuestion) -> Asked:
    weights_of(question.weights)
    try:
        wanted = _effect_request(puzzle, question)
        check_effect(wanted)
    except ImpossibleError as error:
        body = {
            "puzzle": puzzle.name,
            "effect": _written_cycles(question.effect or ""),
            "answers": [],
            "impossible": True,
            "reason": str(error),
        }
        return Asked("find", "", "", _body(body))
    spec = effects.spec_of(question.puzzle, wanted)
    return Asked(spec.kind, spec.key(puzzle.digest, stored.version()), spec.text())


def _written_cycles(text: str) -> list[str]:
    """Return the cycles that stand in a text, each in its brackets."""
    return re.findall(r"\([^()]*\)", text) or [text]


def _atlas_asked(puzzle: Puzzle, question: AtlasQuestion) -> Asked:
    try:
        wanted = _atlas_request(puzzle, question)
        if not atlases.useful(wanted):
            report = reports.atlas(wanted, atlases.hopeless(wanted))
            return Asked("atlas", "", "", _body({**report, "impossible": True}))
    except (ImpossibleError, NoFormError) as error:
        never = isinstance(error, ImpossibleError)
        body = {"puzzle": puzzle.name, "entries": [], "impossible": never, "reason": str(error)}
        return Asked("atlas", "", "", _body(body))
    spec = representatives.atlas_spec(question.puzzle, wanted)
    return Asked(spec.kind, spec.key(puzzle.digest, stored.version()), spec.text())


def _without(wanted: Request, error: ImpossibleError | NoFormError) -> reports.Report:
    """Return the report on a request that cannot be fulfilled."""
    return {
        "puzzle": wanted.puzzle.name,
        "cycle": list(named(wanted)),
        "answers": [],
        "impossible": isinstance(error, ImpossibleError),
        "reason": str(error),
    }


def _request(puzzle: Puzzle, question: FindQuestion) -> Request:
    return request(
        puzzle,
        question.cycle or [],
        layers=question.layers,
        keep=question.keep,
        free=question.free,
        alike=not question.apart,
        any_twist=question.any_twist,
        bounds=_bounds(question),
    )


def _effect_request(puzzle: Puzzle, question: FindQuestion) -> EffectRequest:
    return effect_request(
        puzzle,
        question.effect or "",
        layers=question.layers,
        keep=question.keep,
        free=question.free,
        alike=not question.apart,
        any_twist=question.any_twist,
        bounds=_bounds(question),
    )


def _named_effect(puzzle: Puzzle, text: str, like: EffectRequest) -> EffectRequest:
    """Return a request for an effect in words that is otherwise like another."""
    own = effect_request(
        puzzle, text, alike=like.alike, any_twist=like.any_twist, bounds=like.bounds
    )
    return replace(own, layers=like.layers, kept=like.kept)


def _named_request(puzzle: Puzzle, names: list[str], like: Request) -> Request:
    """Return a request for a cycle by names that is otherwise like another."""
    own = request(puzzle, names, alike=like.alike, any_twist=like.any_twist, bounds=like.bounds)
    return replace(own, layers=like.layers, kept=like.kept)


def _atlas_request(puzzle: Puzzle, question: AtlasQuestion) -> atlases.AtlasRequest:
    layers = layer_numbers(puzzle, question.layers)
    kept = kept_types(puzzle, question.keep, question.free)
    types = atlases.wanted_types(puzzle, question.type, layers, question.keep, question.free)
    return atlases.AtlasRequest(puzzle, types, layers, kept, question.alike, _bounds(question))


def _bounds(question: FindQuestion | AtlasQuestion) -> Bounds:
    # Whole ones, so that there are only so many searches and results beside a question's.
    seconds = None if question.seconds is None else float(math.ceil(question.seconds))
    return Bounds(question.turns, question.half_length, question.setup, seconds)


def _shown(question: FindQuestion) -> tuple[Weights | None, int, bool]:
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


def _body(report: reports.Report) -> bytes:
    return json.dumps(report, separators=(",", ":"), ensure_ascii=True).encode()
