"""What the address of a sheet asks for, and all that then stands on it, also as JSON.

A sheet is put together from what readers say; nothing is searched for it but the cycles that it
names, as the page does on which one asks. What cannot be read is left out, and said.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from functools import partial
from typing import Annotated, Any
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Query, Request
from pydantic import BaseModel, Field
from starlette.responses import JSONResponse, Response

from service.api.asking import MATTERS, TICKS, Wish, wish
from service.api.context import Service, service
from service.api.problems import ProblemError, of_store, of_too_many
from service.api.puzzles import Name, short
from service.api.results import rendered, view_of
from service.api.searches import Club
from service.api.searching import Searches
from service.api.sheet_choice import PARTS, SIZES, Choice, Paper, choice
from service.endings import TIME
from service.questions import AtlasQuestion
from service.reading import Message
from service.stores.base import State, StoreError, TooManyError

router = APIRouter(prefix="/api", tags=["puzzles"])

#: Seconds for which a sheet is kept back for the end of searches for its cycles.
WAIT = 1
#: The field that begins the search for all cycles of a type.
WORK = "work"

Report = dict[str, Any]


@dataclass
class Sheet:
    """What stands on a sheet: the puzzle in short, what was asked for, and what came of it.

    ``body`` is what a reader made of it, its strips with where they come from; ``waiting`` are the
    cycles that are still searched for, ``atlas`` the search that would fill the ``grid``.
    """

    told: Report
    choice: Choice
    body: Report = field(default_factory=dict)
    waiting: list[Report] = field(default_factory=list)
    grid: Report | None = None
    atlas: Report | None = None
    wrong: list[str] = field(default_factory=list)
    status: int = 200

    @property
    def strips(self) -> list[Report]:
        """The sequences that can be shown."""
        strips: list[Report] = self.body.get("strips", [])
        return strips


async def sheet(own: Service, request: Request, puzzle: str) -> Sheet:
    """Return a sheet; raises ProblemError where there is no puzzle, and where nobody can read."""
    told = await short(own, puzzle)
    given = request.query_params.multi_items()
    chosen = choice(given, told, own.limits.sheet_sequences)
    result = Sheet(told, chosen, wrong=list(chosen.wrong))
    strips = [{"sequence": text, "of": "sequence"} for text in chosen.sequences]
    atlas, start = None, chosen.start
    for own_result in chosen.results:
        try:
            more, found = await _of_result(own, puzzle, own_result)
        except (ProblemError, StoreError) as error:
            _blame(result, "result", error)
            continue
        strips += more
        if found is not None:
            atlas, start = found[0], start or found[1]
    options = [pair for pair in given if pair[0] in ("layers", "free", "matters", *TICKS)]
    wishes = [wish([*options, ("cycle", text)], told) for text in chosen.cycles]
    for one in dict.fromkeys(text for own_wish in wishes for text in own_wish.wrong):
        result.wrong.append(one)
    asked = [own_wish for own_wish in wishes if own_wish.whole]
    for own_wish, came in zip(
        asked,
        await asyncio.gather(*(_of_cycle(own, request, puzzle, w) for w in asked)),
        strict=True,
    ):
        if isinstance(came, ProblemError | StoreError):
            _blame(result, f"cycle {own_wish.text}", came)
            continue
        more, waiting = came
        strips += more
        result.waiting += [waiting] if waiting else []
    await _read(own, puzzle, result, strips, any(w.ticks >= {"left_handed"} for w in wishes))
    if start and "grid" in chosen.parts:
        try:
            await _grid(own, request, puzzle, result, start, atlas)
        except (ProblemError, StoreError) as error:
            _blame(result, "start", error)
    if result.wrong and not (result.strips or result.grid or result.waiting):
        result.status = 422
    return result


def _blame(result: Sheet, what: str, error: ProblemError | StoreError) -> None:
    """Say what is wrong with a part of the sheet, without which the others stand."""
    problem = _problem(error)
    said = problem.detail
    result.wrong.append(said if said.startswith(what.partition(" ")[0]) else f"{what}: {said}")


def _problem(error: ProblemError | StoreError) -> ProblemError:
    if isinstance(error, ProblemError):
        return error
    return of_too_many(error) if isinstance(error, TooManyError) else of_store(error)


async def _of_result(
    own: Service, puzzle: str, given: tuple[str, str]
) -> tuple[list[Report], tuple[str, str] | None]:
    """Return the sequences of a result, or its digest and a place if it is an atlas."""
    digest = given[0]
    report = await report_of(own, puzzle, given)
    if "answers" in report:
        if not report["answers"]:
            raise ProblemError(422, f"{digest[:12]}… has no sequences")
        return leading(report, "result"), None
    if report.get("entries"):
        return [], (digest, str(report["entries"][0]["cycle"][0]))
    raise ProblemError(422, f"{digest[:12]}… has no sequences")


async def report_of(own: Service, puzzle: str, given: tuple[str, str]) -> Report:
    """Return a result, by its digest and a cycle or effect that may be empty.

    It must be about a puzzle.
    """
    digest, image = given
    about = await own.rendered({"do": "about", "digest": digest}, "query", store=False)
    if about.head["puzzle"] != puzzle:
        text = f"{digest[:12]}… is about the puzzle {about.head['puzzle']}, not about {puzzle}"
        raise ProblemError(422, text)
    report: Report = json.loads((await rendered(own, digest, view_of(image))).body)
    return report


def leading(report: Mapping[str, Any], of: str) -> list[Report]:
    """Return the answers that lead, as they are asked of a reader."""
    answers = report["answers"]
    leading = [answer for answer in answers if answer["leads"]] or answers[:1]
    return [
        {
            "sequence": answer["sequence"],
            "parts": [answer["setup"], answer["a"], answer["b"]],
            # Those of another effect are its cycles as texts.
            **({"cycle": answer["cycle"]} if report.get("cycle") else {}),
            "of": of,
            "leads": answer["leads"],
        }
        for answer in leading
    ]


async def _of_cycle(
    own: Service, request: Request, puzzle: str, wished: Wish
) -> tuple[list[Report], Report | None] | ProblemError | StoreError:
    """Return the best sequences for a cycle, and its search as long as that is not over."""
    try:
        seen = await Searches(own).ask(wished.question(puzzle), partial(own.asker, request), WAIT)
    except (ProblemError, StoreError) as error:
        return error
    search: Report = json.loads(seen.body)
    report = search["answer"]
    over = search["state"] in ("done", "stopped", "failed")
    waiting = {
        "query": wished.query,
        "search": search["href"],
        "cycle": list(wished.cycle) or [wished.effect],
    }
    if report and report["answers"]:
        return leading(report, "cycle"), None if over else waiting
    if over:
        reason = search["reason"] or (report or {}).get("reason") or "there is no answer"
        if (report or {}).get("stopped_by") == TIME:
            # The reason is one for the command line, with the option that goes on.
            reason = "nothing was found in the time that there was"
        return ProblemError(422, f"cycle {wished.text}: {reason}")
    return [], waiting


async def _read(
    own: Service, puzzle: str, result: Sheet, strips: list[Report], left_handed: bool
) -> None:
    """Let a reader draw what is to stand on a sheet; what it cannot read is said."""
    unique = {(one["sequence"], tuple(one.get("parts", ()))): one for one in reversed(strips)}
    strips = list(reversed(unique.values()))
    most = own.limits.sheet_sequences
    if len(strips) > most:
        text = f"{len(strips):,} sequences were asked for; the first {most:,} stand here"
        result.wrong.append(text)
        strips = strips[:most]
    message: Message = {
        "do": "sheet",
        "puzzle": puzzle,
        "strips": [
            {name: one[name] for name in ("sequence", "parts", "cycle") if name in one}
            for one in strips
        ],
        "most": own.limits.sheet_turns,
        "left_handed": left_handed,
    }
    body: Report = json.loads((await own.rendered(message, "query", store=False)).body)
    shown = []
    for given, drawn in zip(strips, body["strips"], strict=True):
        if "wrong" in drawn:
            result.wrong.append(f"sequence {_short(given['sequence'])}: {drawn['wrong']}")
        else:
            shown.append({**drawn, "of": given["of"], "leads": given.get("leads", [])})
    result.body = {**body, "strips": shown}


def _short(text: str) -> str:
    return text if len(text) <= 40 else f"{text[:40]}…"


async def _grid(
    own: Service, request: Request, puzzle: str, result: Sheet, start: str, atlas: str | None
) -> None:
    """Put the table of cycles from a place on the sheet, from a finished atlas if there is one."""
    message: dict[str, Any] = {
        "do": "grid",
        "puzzle": puzzle,
        "start": start,
        "atlas": atlas,
        "sequences": [strip["sequence"] for strip in result.strips],
        "most": own.limits.sheet_cells,
    }
    result.grid = json.loads((await own.read(message, "query")).body)
    assert result.grid is not None
    if atlas is not None or not result.grid["unknown"]:
        return
    question = AtlasQuestion(puzzle=puzzle, type=result.grid["type"])
    searches = Searches(own)
    if request.query_params.get(WORK):
        await searches.ask(question, partial(own.asker, request), 0)
    with suppress(ProblemError):
        record = await searches.record(question.digest)
        job = await own.job(record.key) if record.key else None
        if job is None:
            return
        if job.state is State.DONE:
            digest = json.loads(job.outcome)["result"]
            reply = await own.rendered({**message, "atlas": digest}, "query", store=False)
            result.grid = json.loads(reply.body)
            return
        told = json.loads(searches.plain(record, job))
        result.atlas = {"search": record.href, "state": told["state"], "progress": told["progress"]}


class SheetReport(BaseModel):
    """What stands on a sheet; pictures are links.

    ``strips`` are the sequences, each with its parts and a picture after each turn; ``waiting`` are
    cycles that are still searched for; ``grid`` are all cycles from ``start``, and ``atlas`` is the
    search, if there is one, that would fill it.
    """

    puzzle: str
    page: str = Field(description="the address of the page, to be printed")
    wrong: list[str] = Field(description="what could not be read and was left out")
    size: Paper
    parts: list[str]
    types: list[dict[str, Any]]
    strips: list[dict[str, Any]]
    waiting: list[dict[str, Any]]
    grid: dict[str, Any] | None
    atlas: dict[str, Any] | None


@router.get(
    "/puzzles/{puzzle}/sheet",
    operation_id="getSheet",
    response_model=SheetReport,
    responses={403: {}, 404: {}, 410: {}, 429: {}},
)
async def get_sheet(
    request: Request,
    puzzle: Name,
    sequence: Annotated[str, Query(description="sequences, with semicolons between")] = "",
    cycle: Annotated[
        str, Query(description="cycles of three names, A,B,C, with semicolons between")
    ] = "",
    result: Annotated[
        str, Query(description="digests of results, with :A,B,C for an image of their cycle")
    ] = "",
    start: Annotated[str, Query(description="the place from which all cycles are listed")] = "",
    size: Annotated[str, Query(description=f"one of {', '.join(SIZES)}")] = "a4",
    parts: Annotated[str, Query(description=f"some of {', '.join(PARTS)}, else all")] = "",
    layers: Annotated[str, Query(description="the layers that may turn, else all")] = "",
    free: Annotated[str, Query(description="the types that may end up anywhere")] = "",
    matters: Annotated[str, Query(description=f"one of {', '.join(MATTERS)[2:]}")] = "",
    any_twist: Annotated[str, Query(description="1: the three may be twisted")] = "",
    apart: Annotated[str, Query(description="1: pieces that look alike are told apart")] = "",
    left_handed: Annotated[str, Query(description="1: for the left hand")] = "",
    work: Annotated[str, Query(description="1: search what the table lacks")] = "",
    club: Club = None,
) -> Response:
    """Return what stands on a printable sheet about a puzzle.

    What cannot be read is left out, and said.
    """
    own = service(request)
    await own.check_club(request)
    found = await sheet(own, request, puzzle)
    if found.status != 200:
        raise ProblemError(found.status, "; ".join(found.wrong))
    body = {
        "puzzle": puzzle,
        "page": f"/puzzles/{quote(puzzle, safe='')}/sheet{_asked(found.choice.query)}",
        "wrong": found.wrong,
        "size": found.choice.size,
        "parts": list(found.choice.parts),
        "types": [
            {
                **_named(kind, ("name", "count", "twists", "moves")),
                **_picture(puzzle, type=kind["name"]),
            }
            for kind in found.body["types"]
        ],
        "strips": [_linked(puzzle, strip) for strip in found.strips],
        "waiting": found.waiting,
        "grid": found.grid,
        "atlas": found.atlas,
    }
    return JSONResponse(body, headers={"Cache-Control": "no-store"})


#: What is told of a strip and of a step, pictures left out.
STRIP = (
    *("notation", "written", "sequence", "turns", "things", "cycles", "more", "moved", "left_over"),
    *("why", "held", "of", "leads"),
)
STEP = ("turn", "motion", "done")


def _linked(puzzle: str, strip: Report) -> Report:
    """Return a strip with links to its pictures, which are of the puzzle held as usual."""
    shown = strip["cycles"][0] if len(strip["cycles"]) == 1 and not strip["more"] else []
    cycle = {"cycle": ",".join(shown)} if len(shown) == 3 else {}
    return {
        **_named(strip, STRIP),
        "before": _picture(puzzle, **(cycle or {"sequence": strip["written"]}))["picture"],
        "after": _picture(puzzle, after=strip["written"], **cycle)["picture"],
        "parts": [
            {
                **_named(part, ("label", "turns")),
                "steps": [
                    {**_named(step, STEP), **_picture(puzzle, after=step["done"], **cycle)}
                    for step in part["steps"]
                ],
            }
            for part in strip["parts"]
        ],
    }


def _named(report: Report, names: Iterable[str]) -> Report:
    return {name: report[name] for name in names}


def _picture(puzzle: str, **query: str) -> Report:
    href = f"/api/puzzles/{quote(puzzle, safe='')}/picture.svg{_asked(query)}"
    return {"picture": href}


def _asked(query: Mapping[str, str]) -> str:
    return f"?{urlencode(query, safe=',@.:')}" if query else ""
