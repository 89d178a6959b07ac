"""The page on which one asks for a cycle: its address is the question, the answers stand in it."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from service.api.context import Service, service
from service.api.problems import ProblemError
from service.api.puzzles import Name
from service.api.searches import waited
from service.api.searching import Searches, Seen
from service.api.waiting import preferred
from service.pages.clubs import page_of
from service.pages.forms import checked
from service.pages.frame import here, page
from service.pages.puzzles import said, short
from service.questions import FindQuestion
from service.stores.base import StoreError

router = APIRouter(include_in_schema=False)

#: Seconds for which the page is kept back for the end of a search; the script asks not to wait.
WAIT = 1
#: What may stand between the names of a cycle or of layers.
BETWEEN = re.compile(r"->|[→,\s]+")
#: What matters most, in words, and what that comes to where answers are put in order.
MATTERS: dict[str, tuple[str, dict[str, float] | None]] = {
    "": ("all of it", None),
    "turns": ("few turns", {"turns": 4.0, "layers": 0.2, "memory": 0.2, "hands": 0.1}),
    "layers": ("few layers", {"turns": 0.2, "layers": 8.0, "memory": 0.2, "hands": 0.1}),
    "memory": ("little to remember", {"turns": 0.2, "layers": 0.2, "memory": 4.0, "hands": 0.1}),
    "hands": ("easy on the hands", {"turns": 0.2, "layers": 0.2, "memory": 0.2, "hands": 4.0}),
}
#: The field with which the script looks at a search without beginning it anew.
LOOK = "look"
#: What can be asked for by a tick.
TICKS = ("any_twist", "apart", "left_handed")


@dataclass(frozen=True)
class Wish:
    """What the address says, as far as it can be read; ``wrong`` says what cannot.

    ``layers`` and ``free`` are empty for all layers and for no types.
    """

    text: str = ""
    cycle: tuple[str, ...] = ()
    layers: tuple[str, ...] = ()
    free: tuple[str, ...] = ()
    matters: str = ""
    ticks: frozenset[str] = field(default_factory=frozenset)
    wrong: tuple[str, ...] = ()

    def question(self, puzzle: str) -> FindQuestion:
        """Return what is asked; raises ProblemError."""
        data: dict[str, Any] = {"puzzle": puzzle, "cycle": list(self.cycle)}
        data |= dict.fromkeys(sorted(self.ticks), True)
        if self.layers:
            data["layers"] = list(self.layers)
        if self.free:
            data["free"] = list(self.free)
        weights = MATTERS[self.matters][1]
        if weights:
            data["weights"] = weights
        question: FindQuestion = checked(FindQuestion, data)
        return question


def wish(given: list[tuple[str, str]], told: Mapping[str, Any]) -> Wish:
    """Return what an address asks for; what cannot be read is left out, and said."""
    fields: dict[str, list[str]] = {}
    for name, value in given:
        fields.setdefault(name, []).append(value)
    wrong: list[str] = []

    def chosen(name: str, there: list[str], what: str) -> tuple[str, ...]:
        texts = [one for text in fields.get(name, ()) for one in BETWEEN.split(text) if one]
        unknown = [one for one in texts if one not in there]
        if unknown:
            wrong.append(f"{name}: there is no {what} {unknown[0]!r}; there are {' '.join(there)}")
        return tuple(one for one in there if one in texts)

    layers = chosen("layers", [layer["name"] for layer in told["layers"]], "layer")
    free = chosen("free", [kind["name"] for kind in told["types"]], "type of piece")
    matters = (fields.get("matters") or [""])[-1]
    if matters not in MATTERS:
        words = " ".join(name for name in MATTERS if name)
        wrong.append(f"matters: {matters!r} was given; one of {words} was expected")
        matters = ""
    ticks = frozenset(name for name in TICKS if (fields.get(name) or [""])[-1] in ("1", "true"))
    text = (fields.get("cycle") or [""])[-1].strip()
    cycle = tuple(one for one in BETWEEN.split(text) if one)
    if text and len(cycle) != 3:
        wrong.append(f"cycle: {len(cycle)} names were given; three were expected")
    all_layers = len(layers) == len(told["layers"])
    return Wish(text, cycle, () if all_layers else layers, free, matters, ticks, tuple(wrong))


@router.get("/puzzles/{puzzle}/ask")
async def ask(request: Request, puzzle: Name) -> Response:
    """Return the page; with a cycle the search is begun, and what there is stands in it."""
    own = service(request)
    told = await short(own, puzzle)
    wished = wish(request.query_params.multi_items(), told)
    wrong, search, status = list(wished.wrong), None, 200
    if len(wished.cycle) == 3:
        try:
            search = await _searched(own, request, wished.question(puzzle))
        except ProblemError as error:
            wrong.append(error.detail)
            status = error.status
        except StoreError as error:
            wrong.append(said(error))
            status = 503
    elif wrong:
        status = 422
    query = f"?{request.url.query}" if request.url.query else ""
    data = {
        "puzzle": puzzle,
        "place": "ask",
        "told": told,
        "wish": wished,
        "matters": {name: words for name, (words, _) in MATTERS.items()},
        "search": search,
        "over": search is not None and search["state"] in ("done", "stopped", "failed"),
        "result": page_of(search["result"]) if search and search["result"] else None,
        "here": here(request, own),
        "query": query,
        "wrong": "; ".join(wrong) or None,
    }
    return await page("ask.html", data, status)


async def _searched(own: Service, request: Request, question: FindQuestion) -> dict[str, Any]:
    """Return the search for a question as it stands after a short while."""
    searches = Searches(own)
    if request.query_params.get(LOOK):
        with suppress(ProblemError):
            return _told(await searches.get(question.digest))
    wait = preferred(request.headers.getlist("prefer"))
    wait = WAIT if wait is None else wait
    waited(request, wait)
    return _told(await searches.ask(question, partial(own.asker, request), wait))


def _told(seen: Seen) -> dict[str, Any]:
    told: dict[str, Any] = json.loads(seen.body)
    return told
