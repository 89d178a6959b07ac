"""What is practised on a puzzle: cases from results and from what is known of the puzzle, as JSON.

Nothing is searched here. A source is a function from what an address asks for to sequences; what
cannot be read is left out, and said.
"""

from __future__ import annotations

import json
import re
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field
from typing import Annotated, Any, Literal
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Query, Request
from pydantic import BaseModel, Field
from starlette.responses import JSONResponse, Response

from service import practice
from service.api.context import Service, service
from service.api.models import Hold, Href
from service.api.problems import ProblemError, of_store, of_too_many
from service.api.puzzles import Name, short
from service.api.sheet_choice import APART, choice
from service.api.sheets import leading, report_of
from service.limits import LONGEST_IN_ADDRESS
from service.stores.base import StoreError, TooManyError

router = APIRouter(prefix="/api", tags=["puzzles"])

Report = dict[str, Any]


@dataclass(frozen=True)
class Asked:
    """What an address asks to practise: results with cycles, which may be empty, and more.

    ``method`` is which is meant of a result with several methods, from 1 as they are listed.
    ``own``: also what is known of the puzzle, as where no result is named.
    """

    results: tuple[tuple[str, str], ...] = ()
    method: int = 1
    own: bool = True
    left_handed: bool = False

    @property
    def query(self) -> dict[str, str]:
        """The same as an address, in which every field stands once."""
        results = (digest + (f":{cycle}" if cycle else "") for digest, cycle in self.results)
        told = {
            "result": ";".join(results),
            "method": "" if self.method == 1 else str(self.method),
            "own": "1" if self.own and self.results else "",
            "left_handed": "1" if self.left_handed else "",
        }
        return {name: text for name, text in told.items() if text}


@dataclass
class Practice:
    """What is practised: the puzzle in short, what was asked for, and what came of it."""

    told: Report
    asked: Asked
    cases: list[Report] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    status: int = 200


async def of_address(own: Service, request: Request, puzzle: str) -> Practice:
    """Return what an address asks to practise; raises ProblemError where there is no puzzle."""
    told = await short(own, puzzle)
    wrong: list[str] = []
    asked = _asked(own, request.query_params.multi_items(), told, wrong)
    result = Practice(told, asked, wrong=wrong)
    given: list[Report] = []
    for source in SOURCES:
        given += await source(own, puzzle, asked, wrong)
    await _read(own, puzzle, result, given)
    if wrong and not result.cases:
        result.status = 422
    return result


def _asked(own: Service, given: list[tuple[str, str]], told: Report, wrong: list[str]) -> Asked:
    most = own.limits.practice_cases
    chosen = choice([pair for pair in given if pair[0] == "result"], told, most)
    wrong += chosen.wrong
    fields = (text for name, text in given if name == "cycle")
    cycles = [one.strip() for text in fields for one in APART.split(text) if one.strip()]
    results = []
    for digest, cycle in chosen.results:
        results.append((digest, cycle or (cycles.pop(0) if cycles else "")))
    if cycles:
        wrong.append(f"cycle: {cycles[0][:40]!r} was given without a result that it is of")
    ticks = {name for name, text in given if text and text != "0"}
    named = any(name == "result" and text.strip() for name, text in given)
    number = next((text.strip() for name, text in given if name == "method" and text.strip()), "1")
    if not re.fullmatch("[1-9][0-9]{0,2}", number):
        wrong.append(f"method: {number[:20]!r} was given; a number from 1 was expected")
        number = "1"
    return Asked(tuple(results), int(number), not named or "own" in ticks, "left_handed" in ticks)


# --- Sources --------------------------------------------------------------------------------------

Source = Callable[[Service, str, Asked, list[str]], Awaitable[list[Report]]]


async def _of_results(own: Service, puzzle: str, asked: Asked, wrong: list[str]) -> list[Report]:
    """Return the sequences of the results that are named; what is wrong is added to sentences."""
    found = []
    for digest, cycle in asked.results:
        try:
            report = await report_of(own, puzzle, (digest, cycle))
            take = next((take for name, take in TAKEN.items() if report.get(name)), None)
            taken = [] if take is None else take(report, asked)
        except (ProblemError, StoreError) as error:
            wrong.append(_sentence(error, "result"))
            continue
        if not taken:
            wrong.append(f"result: {digest[:12]}… has no sequences")
            continue
        field = "effect" if cycle.startswith("(") else "cycle"
        query = f"?{urlencode({field: cycle}, safe=',@.:()')}" if cycle else ""
        page = f"/results/{digest}{query}"
        found += [{**one, "of": "result", "page": page} for one in taken]
    return found


async def _of_puzzle(own: Service, puzzle: str, asked: Asked, wrong: list[str]) -> list[Report]:
    """Return the sequences that are known for a puzzle's smallest effects."""
    if not asked.own:
        return []
    # More may be known at any time, so that this is not kept.
    reply = await own.read({"do": "kept", "puzzle": puzzle}, "query")
    page = f"/puzzles/{quote(puzzle, safe='')}"
    return [{**one, "page": page} for one in json.loads(reply.body)["sequences"]]


#: Where cases come from, in the order in which they are listed.
SOURCES: tuple[Source, ...] = (_of_results, _of_puzzle)


def _answers(report: Mapping[str, Any], asked: Asked) -> list[Report]:
    """Return the answers that lead, the easiest first: that is the one to be remembered."""
    return sorted(leading(report, "result"), key=lambda one: "easiest" not in one["leads"])


def _entries(report: Mapping[str, Any], asked: Asked) -> list[Report]:
    """Return the easiest sequence of each entry of an atlas."""
    return [
        {"sequence": one["easiest"]["sequence"], "cycle": one["cycle"]} for one in report["entries"]
    ]


def _steps(report: Mapping[str, Any], asked: Asked) -> list[Report]:
    """Return the sequences for last pieces, without the turns that anybody finds."""
    kinds = ("three-cycle", "product")
    return [{"sequence": one["sequence"]} for one in report["steps"] if one.get("kind") in kinds]


def _effects(report: Mapping[str, Any], asked: Asked) -> list[Report]:
    """Return the sequences that are known of a puzzle's pieces."""
    return [{"sequence": one["sequence"]} for one in report["effects"] if one["sequence"]]


def _methods(report: Mapping[str, Any], asked: Asked) -> list[Report]:
    """Return the sequences of one method, and those that mend what it leaves, step by step."""
    every = [*report["methods"], *report["joined"]]
    if asked.method > len(every):
        text = f"method: {asked.method} was given; there are {len(every)} methods"
        raise ProblemError(422, text, parameter="method")
    found: list[Report] = []
    for step in every[asked.method - 1]["steps"]:
        for one in step["sequences"]:
            found.append({"sequence": one["sequence"], "free": one["disturbs"]})
        mends = (mend["sequence"] for mend in step.get("mends", ()))
        found += [{"sequence": text} for text in mends if text]
    return found


#: What is taken of a result, by the field in which it has its sequences.
TAKEN: dict[str, Callable[[Mapping[str, Any], Asked], list[Report]]] = {
    "methods": _methods,
    "answers": _answers,
    "entries": _entries,
    "steps": _steps,
    "effects": _effects,
}


async def _read(own: Service, puzzle: str, result: Practice, given: list[Report]) -> None:
    """Let a reader make cases of sequences; what it cannot read is said."""
    most = own.limits.practice_cases
    unique = list({one["sequence"]: one for one in reversed(given)}.values())[::-1]
    if len(unique) > most:
        text = f"there are {len(unique):,} sequences; the first {most:,} are asked here"
        result.wrong.append(text)
    sequences = unique[:most]
    message = {
        "do": "cases",
        "puzzle": puzzle,
        "sequences": [
            {name: one[name] for name in ("sequence", "parts", "cycle", "free") if one.get(name)}
            for one in sequences
        ],
        "left_handed": result.asked.left_handed,
    }
    body = json.loads((await own.rendered(message, "query", store=False)).body)
    cases = []
    for one, case in zip(sequences, body["cases"], strict=True):
        if "wrong" in case:
            result.wrong.append(f"sequence {one['sequence'][:40]}: {case['wrong']}")
            continue
        cases.append(
            {**case, "of": one["of"], "page": one["page"], "picture": picture_of(puzzle, case)}
        )
    result.cases = practice.joined(cases)


def _sentence(error: ProblemError | StoreError, what: str) -> str:
    if isinstance(error, StoreError):
        error = of_too_many(error) if isinstance(error, TooManyError) else of_store(error)
    told = error.detail
    return told if told.startswith((what, "method")) else f"{what}: {told}"


def picture_of(puzzle: str, case: Mapping[str, Any]) -> str | None:
    """Return the address of a picture of a case; None where the turns to it are too many."""
    query = {"sequence": case["written"]}
    if case["before"] is not None:
        query = {"after": case["before"]}
        if len(case["cycles"]) == 1 and len(case["cycles"][0]) == 3 and not case["more"]:
            query["cycle"] = ",".join(case["cycles"][0])
    if any(len(text) > LONGEST_IN_ADDRESS for text in query.values()):
        return None
    asked = urlencode(query, safe=",@.:")
    return f"/api/puzzles/{quote(puzzle, safe='')}/picture.svg?{asked}"


# --- The address ----------------------------------------------------------------------------------


class PracticePart(BaseModel):
    """Some turns of a sequence and what they are there for; empty where it is nothing else."""

    label: str
    turns: str


class PracticeHands(Hold):
    """How the hands do a sequence most comfortably: in the letters of that holding."""

    sequence: str
    motions: list[str]


class PracticeOther(BaseModel):
    """Another sequence for the same case."""

    sequence: str
    notation: str
    turns: int
    things: int
    of: Literal["puzzle", "result"]


class PracticeCase(BaseModel):
    """One case: what is asked, and the sequence that puts it right."""

    id: str = Field(description="of what is out of place: the same wherever the puzzle is the same")
    types: list[str]
    free: list[str] = Field(description="types that may end up anywhere")
    asked: str
    cycles: list[list[str]] = Field(
        description="what is at the first place goes to the second; the last to the first"
    )
    more: int = Field(description="cycles beyond those that are told")
    before: str | None = Field(
        description="turns from the solved puzzle to the case; null where a block is in the way"
    )
    sequence: str
    notation: str
    turns: int
    things: int = Field(description="turns of the brackets: what must be remembered")
    why: str
    left_over: str
    written: str = Field(description="the turns of the parts, with those that cancel")
    parts: list[PracticePart]
    hands: PracticeHands
    of: Literal["puzzle", "result"] = Field(description="where it comes from")
    page: Href
    picture: Href | None
    others: list[PracticeOther]


class PracticeReport(BaseModel):
    """What is practised on a puzzle; answers are kept by whoever practises, not here."""

    puzzle: str
    page: Href
    wrong: list[str] = Field(description="what could not be read and was left out")
    held: Hold
    cases: list[PracticeCase]


@router.get(
    "/puzzles/{puzzle}/practice",
    operation_id="getPractice",
    response_model=PracticeReport,
    responses={403: {}, 404: {}, 410: {}, 429: {}},
)
async def get_practice(
    request: Request,
    puzzle: Name,
    result: Annotated[
        str,
        Query(
            description="digests of results, with :A,B,C for an image of their cycle, and with "
            "semicolons between"
        ),
    ] = "",
    cycle: Annotated[
        str,
        Query(
            description="A,B,C for the results, in order, that have no cycle with them, with "
            "semicolons between"
        ),
    ] = "",
    method: Annotated[
        str, Query(description="which of a result with several methods, from 1")
    ] = "",
    own: Annotated[str, Query(description="1: also what is known of the puzzle")] = "",
    left_handed: Annotated[str, Query(description="1: for the left hand")] = "",
) -> Response:
    """Return the cases to be practised; without results those that are known of the puzzle.

    What cannot be read is left out, and said.
    """
    found = await of_address(service(request), request, puzzle)
    if found.status != 200:
        raise ProblemError(found.status, "; ".join(found.wrong))
    query = found.asked.query
    asked = f"?{urlencode(query, safe=',@.:')}" if query else ""
    body = {
        "puzzle": puzzle,
        "page": f"/puzzles/{quote(puzzle, safe='')}/practice{asked}",
        "wrong": found.wrong,
        "held": found.told["held"],
        "cases": found.cases,
    }
    return JSONResponse(body, headers={"Cache-Control": "no-store"})
