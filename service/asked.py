"""The job that a question comes to, or the answer where none is needed."""

from __future__ import annotations

import hashlib
import json
import re
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import assert_never

import puzzles
from puzzles.puzzle import Puzzle
from search.answers import named
from search.impossible import ImpossibleError, check
from search.impossible_effects import check_effect
from search.request import Request
from service import (
    atlases,
    effects,
    finishing,
    methods,
    reports,
    representatives,
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
from service.requesting import atlas_request, effect_request_of, find_request, weights_of
from service.specs import MethodSpec, PartsSpec

#: The sources that decide what is said of a puzzle's parts, besides those of the search.
PARTS_SOURCES = ("puzzles/*.py", "puzzles/catalogue/*.json", "service/parts*.py")


@dataclass(frozen=True)
class Asked:
    """What a question comes to: a job, or with ``body`` the answer, for which none is needed.

    Nothing but ``body`` depends on who asks. ``spec`` is JSON, empty where there is no job.
    """

    kind: str
    key: str
    spec: str
    body: bytes | None = None


def asked(puzzle: Puzzle, question: Question) -> Asked:
    """Return the job for a question about a puzzle, or why there is nothing to be done for it."""
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


@lru_cache(maxsize=1)
def parts_version() -> str:
    """Return a digest of the sources that decide what is said of a puzzle's parts."""
    folder = Path(puzzles.__file__).parent.parent
    state = hashlib.sha256(stored.version().encode())
    for pattern in PARTS_SOURCES:
        for path in sorted(folder.glob(pattern)):
            state.update(path.read_bytes())
    return state.hexdigest()[:16]


def _find_asked(puzzle: Puzzle, question: FindQuestion) -> Asked:
    wanted = find_request(puzzle, question)
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
        return Asked("find", "", "", as_json(without_answers(wanted, error)))
    spec = representatives.find_spec(question.puzzle, wanted)
    return Asked(spec.kind, spec.key(puzzle.digest, stored.version()), spec.text())


def _finish_asked(puzzle: Puzzle, question: FinishQuestion) -> Asked:
    own = finishing.spec_of(puzzle, question)
    report = finishing.impossible(own, puzzle)
    if report is not None:
        return Asked("finish", "", "", as_json({**report, "impossible": True}))
    return Asked("finish", finishing.key_of(own, puzzle), own.text())


def _solve_asked(puzzle: Puzzle, question: SolveQuestion) -> Asked:
    own = solutions.spec_of(puzzle, question)
    report = solutions.unreached(own, puzzle) if question.scramble is None else None
    if report is not None:
        return Asked("solve", "", "", as_json({**report, "impossible": True}))
    return Asked("solve", solutions.key_of(own, puzzle), own.text())


def _method_asked(puzzle: Puzzle, question: MethodQuestion) -> Asked:
    own = MethodSpec(puzzle=question.puzzle)
    return Asked("method", methods.key_of(own, puzzle), own.text())


def _effect_asked(puzzle: Puzzle, question: FindQuestion) -> Asked:
    weights_of(question.weights)
    try:
        wanted = effect_request_of(puzzle, question)
        check_effect(wanted)
    except ImpossibleError as error:
        body = {
            "puzzle": puzzle.name,
            "effect": _written_cycles(question.effect or ""),
            "answers": [],
            "impossible": True,
            "reason": str(error),
        }
        return Asked("find", "", "", as_json(body))
    spec = effects.spec_of(question.puzzle, wanted)
    return Asked(spec.kind, spec.key(puzzle.digest, stored.version()), spec.text())


def _written_cycles(text: str) -> list[str]:
    """Return the cycles that stand in a text, each in its brackets."""
    return re.findall(r"\([^()]*\)", text) or [text]


def _atlas_asked(puzzle: Puzzle, question: AtlasQuestion) -> Asked:
    try:
        wanted = atlas_request(puzzle, question)
        if not atlases.useful(wanted):
            report = reports.atlas(wanted, atlases.hopeless(wanted))
            return Asked("atlas", "", "", as_json({**report, "impossible": True}))
    except (ImpossibleError, NoFormError) as error:
        never = isinstance(error, ImpossibleError)
        body = {"puzzle": puzzle.name, "entries": [], "impossible": never, "reason": str(error)}
        return Asked("atlas", "", "", as_json(body))
    spec = representatives.atlas_spec(question.puzzle, wanted)
    return Asked(spec.kind, spec.key(puzzle.digest, stored.version()), spec.text())


def without_answers(wanted: Request, error: ImpossibleError | NoFormError) -> reports.Report:
    """Return the report on a request that cannot be fulfilled."""
    return {
        "puzzle": wanted.puzzle.name,
        "cycle": list(named(wanted)),
        "answers": [],
        "impossible": isinstance(error, ImpossibleError),
        "reason": str(error),
    }


def as_json(report: reports.Report) -> bytes:
    """Return a report as it is sent."""
    return json.dumps(report, separators=(",", ":"), ensure_ascii=True).encode()
