"""What an address says of the last pieces or of a whole solve, and what comes of it, as JSON."""

from __future__ import annotations

import json
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from functools import partial
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from pydantic import BaseModel, Field
from starlette.responses import JSONResponse, Response

from service.api.asking import LOOK, WAIT
from service.api.context import Service, service
from service.api.models import Search
from service.api.problems import ProblemError, checked, of_store, of_too_many
from service.api.puzzles import Name, short
from service.api.searches import Club, Prefer, waited
from service.api.searching import Searches, Seen
from service.api.waiting import preferred
from service.questions import FinishQuestion, SolveQuestion
from service.stores.base import StoreError, TooManyError

router = APIRouter(prefix="/api", tags=["puzzles"])

#: What there may be least of, in words.
MEASURES = {
    "turns": "fewest turns",
    "sequences": "fewest different sequences",
    "memory": "least to remember",
}
#: What is said of a form that was sent with none of its fields filled in.
NOTHING = "nothing is entered yet; say which pieces are not solved, or the turns that led here"
#: The fields of a question by which no state is entered.
OTHERS = ("puzzle", "apart", "by")
Asks = type[FinishQuestion] | type[SolveQuestion]


@dataclass(frozen=True)
class Entry:
    """What an address says of a state: its texts as they were given, by what the best is best."""

    texts: Mapping[str, str] = field(default_factory=dict)
    by: str = "turns"
    apart: bool = False
    wrong: tuple[str, ...] = ()
    asks: Asks = FinishQuestion

    @property
    def given(self) -> dict[str, str]:
        """The texts that are not empty; colours go with stickers alone."""
        own = {name: text for name, text in self.texts.items() if text}
        if "stickers" not in own:
            own.pop("colours", None)
        return own

    @property
    def begun(self) -> bool:
        """Whether a state was entered at all."""
        return any(name != "learned" for name in self.given)

    @property
    def query(self) -> dict[str, str]:
        """What was read, as the address has it where every field stands once."""
        own = dict(self.given)
        if self.by != "turns":
            own["by"] = self.by
        return own | ({"apart": "1"} if self.apart else {})

    def question(self, puzzle: str) -> FinishQuestion | SolveQuestion:
        """Return what is asked; raises ProblemError."""
        data = {"puzzle": puzzle, **self.given, "apart": self.apart}
        if self.asks is FinishQuestion:
            data["by"] = self.by
        question: FinishQuestion | SolveQuestion = checked(self.asks, data)
        return question


def entry(given: list[tuple[str, str]], asks: Asks = FinishQuestion) -> Entry:
    """Return what an address says; what cannot be read is left out, and said."""
    fields = dict(given)
    wrong: list[str] = []
    by = fields.get("by") or "turns" if asks is FinishQuestion else "turns"
    if by not in MEASURES:
        wrong.append(f"by: {by[:20]!r} was given; one of {', '.join(MEASURES)} was expected")
        by = "turns"
    names = [name for name in asks.model_fields if name not in OTHERS]
    texts = {name: fields.get(name, "").strip() for name in names}
    sent = any(name in fields for name in names if name not in ("learned", "colours"))
    if sent and not Entry(texts).begun:
        wrong.append(NOTHING)
    return Entry(texts, by, fields.get("apart") in ("1", "true"), tuple(wrong), asks)


@dataclass(frozen=True)
class Asked:
    """What an address says of the last pieces of a puzzle, and what came of it.

    ``told`` is the puzzle in short; ``problem`` is why there is no ``search`` where one was wanted.
    """

    told: dict[str, Any]
    entry: Entry
    question: FinishQuestion | SolveQuestion | None = None
    search: dict[str, Any] | None = None
    problem: ProblemError | None = None

    @property
    def wrong(self) -> tuple[str, ...]:
        """All that is wrong, a sentence each."""
        return (*self.entry.wrong, *((self.problem.detail,) if self.problem else ()))

    @property
    def status(self) -> int:
        """What the page is sent with."""
        if self.problem is not None:
            return self.problem.status
        return 422 if self.wrong and self.search is None else 200

    def body(self, puzzle: str) -> dict[str, Any]:
        """Return it as JSON has it; raises ProblemError where nothing came of it."""
        if self.problem is not None:
            raise self.problem
        if self.status != 200:
            raise ProblemError(self.status, "; ".join(self.wrong))
        own = self.question
        return {
            "puzzle": puzzle,
            "wrong": list(self.wrong),
            "question": own.model_dump(mode="json", exclude_defaults=True) if own else None,
            "search": self.search,
        }


async def asked(
    own: Service,
    request: Request,
    puzzle: str,
    begin: bool = True,
    asks: Asks = FinishQuestion,
) -> Asked:
    """Return what an address asks for, with its search, which is begun if need be.

    Without ``begin`` nothing is looked for. Raises ProblemError where there is no puzzle.
    """
    told = await short(own, puzzle)
    read = entry(request.query_params.multi_items(), asks)
    if not read.begun or not begin:
        return Asked(told, read)
    question = None
    try:
        question = read.question(puzzle)
        return Asked(told, read, question, await _searched(own, request, question))
    except TooManyError as error:
        problem = of_too_many(error)
    except StoreError as error:
        problem = of_store(error)
    except ProblemError as error:
        problem = error
    return Asked(told, read, question, None, problem)


async def _searched(
    own: Service, request: Request, question: FinishQuestion | SolveQuestion
) -> dict[str, Any]:
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


class FinishPage(BaseModel):
    """What the page of the last pieces shows; ``question`` is what can be posted there."""

    puzzle: str
    wrong: list[str] = Field(description="what could not be read and was left out")
    question: dict[str, Any] | None
    search: Search | None


@router.get(
    "/puzzles/{puzzle}/finish",
    operation_id="getFinish",
    response_model=FinishPage,
    responses={403: {}, 404: {}, 410: {}, 429: {}},
)
async def get_finish(
    request: Request,
    puzzle: Name,
    sequence: Annotated[str, Query(description="what led from solved to this state")] = "",
    cycles: Annotated[str, Query(description="(UFR UBL DFL)(UF UB UR)")] = "",
    pieces: Annotated[str, Query(description="UFR=UBL: in the slot UFR sits UBL's piece")] = "",
    stickers: Annotated[str, Query(description="UFR=RUF: colours by slot")] = "",
    colours: Annotated[str, Query(description="what colours are called: U=white F=green")] = "",
    by: Annotated[str, Query(description=f"one of {', '.join(MEASURES)}")] = "",
    apart: Annotated[str, Query(description="1: pieces that look alike are told apart")] = "",
    look: Annotated[str, Query(description="1: begin nothing anew that was stopped")] = "",
    prefer: Prefer = None,
    club: Club = None,
) -> Response:
    """Return what the address of the page enters, and the search, which is begun if need be."""
    own = service(request)
    await own.check_club(request)
    found = await asked(own, request, puzzle)
    return JSONResponse(found.body(puzzle), headers={"Cache-Control": "no-store"})
