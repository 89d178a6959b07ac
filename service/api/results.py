"""Results by their digests: immutable, in the letters of whoever asks."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Request
from pydantic import BaseModel, ConfigDict, Field
from starlette.responses import Response

from search.request import LONGEST_EFFECT
from service.api.caching import IMMUTABLE, tagged
from service.api.context import Service, service
from service.api.finish_models import FinishReport
from service.api.method_models import MethodReport
from service.api.models import AtlasReport, FindReport, PartsReport
from service.api.problems import ProblemError
from service.api.solve_models import SolveReport
from service.reading import Reply
from service.settings import DEFAULT_ANSWERS, MOST_NAME, MOST_SHOWN

router = APIRouter(prefix="/api", tags=["results"])

JSON = "application/json"


class View(BaseModel):
    """How a result is shown."""

    model_config = ConfigDict(extra="forbid")

    cycle: str | None = Field(
        default=None,
        max_length=3 * MOST_NAME + 2,
        description="three stickers or pieces with commas between: the image that is wanted",
        examples=["UFR,UBL,DFL"],
    )
    effect: str | None = Field(
        default=None,
        max_length=LONGEST_EFFECT,
        description="cycles in brackets: the image that is wanted of another effect",
        examples=["(UFR UFL)(UBR UBL)"],
    )
    most: int = Field(
        default=DEFAULT_ANSWERS, ge=1, le=MOST_SHOWN, description="how many answers are shown"
    )
    left_handed: bool = Field(default=False, description="rank for the left hand")
    weights: str | None = Field(
        default=None,
        max_length=400,
        description="what matters how much, such as turns=1,hands=2",
    )


@router.get(
    "/results/{digest}",
    operation_id="getResult",
    response_model=FindReport
    | AtlasReport
    | PartsReport
    | FinishReport
    | SolveReport
    | MethodReport,
    responses={304: {"description": "not changed"}, 404: {}, 410: {}},
)
async def result(
    request: Request,
    digest: Annotated[str, Path(pattern="^[0-9a-f]{64}$", description="the result's digest")],
    view: Annotated[View, Query()],
) -> Response:
    """Return a result, ranked for whoever asks; it never changes."""
    reply = await rendered(service(request), digest, view)
    return tagged(request, reply.body, JSON, IMMUTABLE)


async def rendered(own: Service, digest: str, view: View) -> Reply:
    """Return a result as it is to be shown; raises ProblemError and StoreError."""
    most = own.limits.shown
    if "most" not in view.model_fields_set:
        most = min(most, view.most)
    elif view.most > most:
        text = f"most: at most {most:,} was expected, not {view.most:,}"
        raise ProblemError(422, text, parameter="most")
    else:
        most = view.most
    cycle = cycle_of(view.cycle)
    message = message_of(digest, cycle, most, view.left_handed, view.weights, view.effect)
    # By weights there are answers without end: those would drive out all others.
    return await own.rendered(message, "query", store=view.weights is None)


def message_of(
    digest: str,
    cycle: list[str] | None,
    most: int = DEFAULT_ANSWERS,
    left_handed: bool = False,
    weights: str | None = None,
    effect: str | None = None,
) -> dict[str, Any]:
    """Return what a reader is asked for a result."""
    message = {
        "do": "result",
        "digest": digest,
        "cycle": cycle,
        "most": most,
        "left_handed": left_handed,
        "weights": weights,
    }
    return message if effect is None else {**message, "effect": effect}


def view_of(image: str) -> View:
    """Return how a result is shown for a cycle or, in brackets, an effect; both may be empty."""
    return View(effect=image) if image.startswith("(") else View(cycle=image or None)


def cycle_of(text: str | None) -> list[str] | None:
    """Return the three names of a cycle; raises ProblemError."""
    if text is None:
        return None
    names = [name.strip() for name in text.split(",")]
    if len(names) != 3 or not all(names):
        said = "cycle: three names with commas between were expected, such as UFR,UBL,DFL"
        raise ProblemError(422, said, parameter="cycle")
    return names
