"""The page where somebody adds a puzzle: chosen, found from counts, or written as a file."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from pydantic import ValidationError
from starlette.datastructures import QueryParams
from starlette.responses import RedirectResponse, Response

from service.api import drafts as api
from service.api import puzzles
from service.api.context import Service, service
from service.api.problems import ProblemError
from service.api.wording import faults, not_known, shown
from service.choice import SIZES, Choice, completed, fault_of
from service.pages.forms import form
from service.pages.frame import page, puzzle_href

router = APIRouter(include_in_schema=False)

#: Seconds for which the page waits until a puzzle is compiled; most take less than one.
WAITING = 10
#: Fields of the address that are shown as they were given although they are wrong.
_TEXTS = ("counts", "description", *SIZES)


@router.get("/puzzles/new")
async def new(request: Request) -> Response:
    """Return the page with what its address says is chosen, what is wrong in that left out."""
    own = service(request)
    chosen, wrong = read(request.query_params)
    status = 422 if wrong else 200
    report: dict[str, Any] | None = None
    try:
        report = await api.about(own, chosen)
    except ProblemError as error:
        # What was counted may be all that is wrong.
        wrong, status = [*wrong, error.detail], error.status
    if report is None:
        plain = chosen.model_copy(update={"counts": "", "open": ""})
        try:
            report = await api.about(own, plain)
        except ProblemError as error:
            wrong = [*wrong, error.detail] if error.detail not in wrong else wrong
    data = await _data(own, chosen, report, wrong, chosen.counts)
    return await page("new.html", data, status)


@router.post("/puzzles/new")
async def add(request: Request) -> Response:
    """Look at a file or add its puzzle, and go to the page of that."""
    given = await form(request, secret=False)
    text = given.get("file", "").replace("\r\n", "\n").strip("\n") + "\n"
    own = service(request)
    wrong, status = None, 200
    if given.get("do") == "add":
        try:
            answer = await puzzles.post(own, request, text, WAITING)
            if answer.status_code != 202:
                told = json.loads(bytes(answer.body))
                return RedirectResponse(puzzle_href(told["puzzle"]), 303)
            wrong = "it is still being compiled; add it again in a moment, and it will be there"
            status = 202
        except ProblemError as error:
            wrong, status = error.detail, error.status
    chosen = api.Chosen.model_construct(file=text)
    try:
        report: dict[str, Any] | None = await api.about(own, chosen)
        if report is not None and report["draft"]["problem"] is not None:
            # That says more: where it is.
            wrong, status = None, 422
    except ProblemError as error:
        report, wrong, status = None, error.detail, error.status
    return await page(
        "new.html", await _data(own, chosen, report, [wrong] if wrong else []), status
    )


def read(params: QueryParams) -> tuple[api.Chosen, list[str]]:
    """Return what an address chooses without what is wrong in it, and sentences about that."""
    wrong: list[str] = []
    data: dict[str, Any] = {}
    known = [*api.Chosen.model_fields]
    for name in params:
        values = [value for value in params.getlist(name) if value.strip()]
        if name not in known:
            wrong.append(not_known(shown(name), known))
        elif name == "open":
            data[name] = ",".join(values)
        elif len(values) > 1:
            wrong.append(f"{name} stands several times in the address; once would be right")
            data[name] = values[0]
        elif values:
            data[name] = values[0] if name == "file" else values[0].strip()
    while True:
        try:
            chosen = api.Chosen.model_validate(data)
        except ValidationError as error:
            found = error.errors(include_url=False)
            own = [{**one, "loc": ("query", *one["loc"])} for one in found]
            wrong += [one["detail"] for one in faults(own, data)]
            for one in found:
                data.pop(str(one["loc"][0]), None)
            continue
        fault = None if chosen.file else fault_of(chosen.choice)
        if fault is None or fault[0] not in data:
            return chosen, wrong
        wrong.append(fault[1])
        data.pop(fault[0])


async def _data(
    own: Service,
    chosen: api.Chosen,
    report: Mapping[str, Any] | None,
    wrong: list[str],
    counts: str = "",
) -> dict[str, Any]:
    """Return what the page shows."""
    draft = report["draft"] if report is not None else None
    able = report or json.loads((await own.rendered({"do": "able"}, "query", store=False)).body)
    choice = _shown(chosen, draft)
    body = next(one for one in able["bodies"] if one["name"] == choice.body)
    text = draft["file"] if draft is not None else chosen.file
    asked = {"file": chosen.file} if chosen.file else choice.given()
    query = urlencode(asked)
    fits = len(query) < api.MOST_QUERY
    drawn = fits and draft is not None and draft["puzzle"] is not None
    return {
        "able": able,
        "body": body,
        "kinds": {kind["name"]: kind for kind in body["kinds"]},
        "choice": choice,
        "chosen": choice.given(),
        "draft": draft,
        "depths": report["depths"] if report is not None else None,
        "file": text,
        "written": bool(chosen.file),
        "by_hand": bool(chosen.file) and (draft is None or draft["choice"] is None),
        "excerpt": _excerpt(text, draft["problem"] if draft is not None else None),
        "wrong": wrong,
        "counts": counts,
        "opened": [name.strip() for name in chosen.open.split(",") if name.strip()],
        "picture": f"/api/puzzles/new/picture.svg?{query}" if drawn else None,
        "query": query if fits else "",
        "href": _href,
    }


def _shown(chosen: api.Chosen, draft: Mapping[str, Any] | None) -> Choice:
    """Return the choice that the sliders show: that of the file where it says one."""
    if not chosen.file:
        return chosen.choice
    told = draft["choice"] if draft is not None else None
    return completed(Choice()) if told is None else choice_from(told)


def choice_from(told: Mapping[str, str]) -> Choice:
    """Return the choice that texts by names say."""
    return Choice.model_validate(dict(told))


def _href(told: Mapping[str, str]) -> str:
    """Return the address of the page with a choice."""
    return f"/puzzles/new?{urlencode(told)}"


def _excerpt(text: str, problem: Mapping[str, Any] | None) -> str:
    """Return the line that is wrong, with its number and what points at the place in it."""
    if problem is None or problem["line"] is None:
        return ""
    lines = text.split("\n")
    at = problem["line"]
    if at > len(lines):
        return ""
    line, column = lines[at - 1][:200], min(problem["column"], 200)
    begin = f"{at} | "
    blank = "".join("\t" if own == "\t" else " " for own in line[: column - 1])
    return f"{begin}{line}\n{' ' * (len(begin) - 2)}| {blank}^"
