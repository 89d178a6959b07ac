"""What the address of a page on which one asks says, and the search for it, also as JSON."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from functools import partial
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from pydantic import BaseModel, Field
from starlette.responses import JSONResponse, Response

from service.api.context import Service, service
from service.api.models import Search
from service.api.problems import ProblemError, checked, of_store, of_too_many
from service.api.puzzles import Name, short
from service.api.searches import Club, Prefer, waited
from service.api.searching import Searches, Seen
from service.api.waiting import preferred
from service.questions import FindQuestion
from service.stores.base import StoreError, TooManyError

router = APIRouter(prefix="/api", tags=["searches"])

#: Seconds for which the answer is kept back for the end of a search; the script asks not to wait.
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

    ``text`` is what stands in the field: three names, which are ``cycle`` then, or cycles in
    brackets, which are ``effect``. ``layers`` and ``free`` are empty for all layers and for no
    types; ``seconds`` are None for the usual time.
    """

    text: str = ""
    cycle: tuple[str, ...] = ()
    effect: str = ""
    layers: tuple[str, ...] = ()
    free: tuple[str, ...] = ()
    matters: str = ""
    ticks: frozenset[str] = field(default_factory=frozenset)
    wrong: tuple[str, ...] = ()
    seconds: int | None = None

    @property
    def whole(self) -> bool:
        """Whether there is enough to ask for."""
        return bool(self.effect) or len(self.cycle) == 3

    def question(self, puzzle: str) -> FindQuestion:
        """Return what is asked; raises ProblemError."""
        data: dict[str, Any] = {"puzzle": puzzle}
        data |= {"effect": self.effect} if self.effect else {"cycle": list(self.cycle)}
        data |= dict.fromkeys(sorted(self.ticks), True)
        if self.layers:
            data["layers"] = list(self.layers)
        if self.free:
            data["free"] = list(self.free)
        if self.seconds is not None:
            data["seconds"] = self.seconds
        weights = MATTERS[self.matters][1]
        if weights:
            data["weights"] = weights
        question: FindQuestion = checked(FindQuestion, data)
        return question

    @property
    def query(self) -> dict[str, str]:
        """What was read, as the address has it where every field stands once."""
        lists = {"cycle": self.cycle, "layers": self.layers, "free": self.free}
        told = {name: ",".join(texts) for name, texts in lists.items()}
        told |= {"effect": self.effect, "matters": self.matters} | dict.fromkeys(
            sorted(self.ticks), "1"
        )
        told["seconds"] = "" if self.seconds is None else str(self.seconds)
        return {name: text for name, text in told.items() if text}

    def told(self) -> dict[str, Any]:
        """Return what was read of the address, by the names of its fields."""
        return {
            "cycle": list(self.cycle),
            "effect": self.effect or None,
            "layers": list(self.layers),
            "free": list(self.free),
            "matters": self.matters,
            "seconds": self.seconds,
            **{name: name in self.ticks for name in TICKS},
        }


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
    time = (fields.get("seconds") or [""])[-1].strip()
    seconds = int(time) if re.fullmatch("[0-9]{1,9}", time) and int(time) else None
    if time and seconds is None:
        wrong.append(f"seconds: {time[:20]!r} was given; a whole number of seconds was expected")
    ticks = frozenset(name for name in TICKS if (fields.get(name) or [""])[-1] in ("1", "true"))
    text = (fields.get("cycle") or [""])[-1].strip()
    effect = " ".join((fields.get("effect") or [""])[-1].split())
    if text and effect:
        wrong.append("cycle: an effect was given as well, and is what is asked for")
    effect = effect or (" ".join(text.split()) if text.startswith("(") else "")
    cycle = () if effect else tuple(one for one in BETWEEN.split(text) if one)
    if text and not effect and len(cycle) != 3:
        counted = "1 name was" if len(cycle) == 1 else f"{len(cycle)} names were"
        wrong.append(
            f"cycle: {counted} given; three were expected, or for another effect cycles in "
            "brackets, such as (A B)(C D)"
        )
    text, chosen_layers = effect or text, () if len(layers) == len(told["layers"]) else layers
    return Wish(text, cycle, effect, chosen_layers, free, matters, ticks, tuple(wrong), seconds)


@dataclass(frozen=True)
class Asked:
    """What an address asks for on a puzzle, and what came of it.

    ``told`` is the puzzle in short; ``problem`` is why there is no ``search`` where one was wanted.
    """

    told: dict[str, Any]
    wish: Wish
    question: FindQuestion | None = None
    search: dict[str, Any] | None = None
    problem: ProblemError | None = None

    @property
    def wrong(self) -> tuple[str, ...]:
        """All that is wrong, a sentence each."""
        ends = (self.problem.detail,) if self.problem else ()
        return (*self.wish.wrong, *ends)

    @property
    def status(self) -> int:
        """What the page is sent with."""
        if self.problem is not None:
            return self.problem.status
        return 422 if self.wrong and self.search is None else 200


async def asked(own: Service, request: Request, puzzle: str) -> Asked:
    """Begin the search that an address asks for; raises ProblemError where there is no puzzle."""
    told = await short(own, puzzle)
    wished = wish(request.query_params.multi_items(), told)
    if not wished.whole:
        return Asked(told, wished)
    question = None
    try:
        question = wished.question(puzzle)
        return Asked(told, wished, question, await _searched(own, request, question))
    except TooManyError as error:
        problem = of_too_many(error)
    except StoreError as error:
        problem = of_store(error)
    except ProblemError as error:
        problem = error
    return Asked(told, wished, question, None, problem)


class WishReport(BaseModel):
    """What was read of the address; no ``layers`` are all of them, no ``free`` none."""

    cycle: list[str]
    effect: str | None
    layers: list[str]
    free: list[str]
    matters: str
    any_twist: bool
    apart: bool
    left_handed: bool
    seconds: int | None = Field(description="null for the usual time")


class AskReport(BaseModel):
    """What the page shows on which one asks; ``question`` is what can be posted to searches."""

    puzzle: str
    wish: WishReport
    wrong: list[str] = Field(description="what could not be read and was left out")
    question: dict[str, Any] | None
    search: Search | None


@router.get(
    "/puzzles/{puzzle}/ask",
    operation_id="ask",
    response_model=AskReport,
    responses={403: {}, 404: {}, 410: {}, 429: {}},
)
async def get_ask(
    request: Request,
    puzzle: Name,
    cycle: Annotated[str, Query(description="three stickers, with commas between")] = "",
    effect: Annotated[str, Query(description="instead of it: cycles in brackets")] = "",
    layers: Annotated[str, Query(description="the layers that may turn, else all")] = "",
    free: Annotated[str, Query(description="the types that may end up anywhere")] = "",
    matters: Annotated[str, Query(description=f"one of {', '.join(MATTERS)[2:]}")] = "",
    any_twist: Annotated[str, Query(description="1: what changes places may be twisted")] = "",
    apart: Annotated[str, Query(description="1: pieces that look alike are told apart")] = "",
    left_handed: Annotated[str, Query(description="1: for the left hand")] = "",
    seconds: Annotated[str, Query(description="how long to compute, else the usual time")] = "",
    look: Annotated[str, Query(description="1: begin nothing anew that was stopped")] = "",
    prefer: Prefer = None,
    club: Club = None,
) -> Response:
    """Return what the address of the page asks for, and the search, which is begun if need be.

    What cannot be read is left out, and said.
    """
    own = service(request)
    await own.check_club(request)
    found = await asked(own, request, puzzle)
    if found.problem is not None:
        raise found.problem
    if found.status != 200:
        raise ProblemError(found.status, "; ".join(found.wrong))
    question = found.question
    said = question.model_dump(mode="json", exclude_defaults=True) if question else None
    body = {
        "puzzle": puzzle,
        "wish": found.wish.told(),
        "wrong": list(found.wrong),
        "question": said,
        "search": found.search,
    }
    return JSONResponse(body, headers={"Cache-Control": "no-store"})


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
