"""A result's page: the sequences that were found, to be read, copied and sent on."""

from __future__ import annotations

import json
from collections.abc import Mapping
from io import BytesIO
from typing import Annotated, Any

import segno
from fastapi import APIRouter, Path, Query, Request
from markupsafe import Markup
from starlette.responses import Response

from service.api.context import service
from service.api.puzzles import short
from service.api.results import View, rendered
from service.pages.clubs import result_of
from service.pages.frame import here, page
from service.pages.puzzles import EFFECTS

router = APIRouter(include_in_schema=False)

#: The longest link that is drawn as squares: beyond it phones read them badly.
LONGEST_DRAWN = 500
#: The most entries of an atlas that one page shows.
MOST_ENTRIES = 500


@router.get("/results/{digest}")
async def result(
    request: Request,
    digest: Annotated[str, Path(pattern="^[0-9a-f]{64}$")],
    view: Annotated[View, Query()],
) -> Response:
    """Return the page of a result, in the letters of whoever asks."""
    own = service(request)
    report: dict[str, Any] = json.loads((await rendered(own, digest, view)).body)
    about = await own.rendered({"do": "about", "digest": digest}, store=False)
    query = f"?{request.url.query}" if request.url.query else ""
    href = f"/results/{digest}{query}"
    link = f"{here(request, own)}{href}"
    puzzle = str(about.head["puzzle"])
    data = {
        "puzzle": puzzle,
        "told": await short(own, puzzle),
        "place": None,
        "report": report,
        "link": link,
        "item": {"kind": "result", **result_of(href)},
        "data_href": f"/api{href}",
        "shown": EFFECTS,
        "squares": squares(link) if len(link) <= LONGEST_DRAWN else None,
        "most": MOST_ENTRIES,
    }
    return await page(_template(report), data)


def _template(report: Mapping[str, Any]) -> str:
    """Return which page shows a report: of sequences, an atlas, last pieces, or all pieces."""
    if "answers" in report:
        return "result.html"
    if "methods" in report:
        return "method_result.html"
    if "steps" in report:
        return "solved.html" if "solved" in report else "finish.html"
    return "atlas.html" if "entries" in report else "parts.html"


def squares(
    link: str, title: str = "the link to this page as a QR code", size: bool = True
) -> Markup:
    """Return a link as a QR code (ISO/IEC 18004), an SVG that is drawn with attributes alone.

    Without ``size`` it is as wide as there is room.
    """
    drawn = BytesIO()
    segno.make(link, error="m", micro=False).save(
        drawn,
        kind="svg",
        xmldecl=False,
        svgns=False,
        scale=4,
        border=4,
        dark="#000",
        light="#fff",
        title=title,
        svgclass="squares",
        lineclass=None,
        omitsize=not size,
    )
    return Markup(drawn.getvalue().decode())
