"""Forms that pages post: read without guessing, and taken from pages of this service alone."""

from __future__ import annotations

from urllib.parse import parse_qsl, urlsplit

from fastapi import Request

from service.api.problems import ProblemError

#: The most fields of a form.
MOST_FIELDS = 20
#: Addresses that take forms, as templates; all others take JSON alone.
TAKING = frozenset({"/clubs", "/clubs/{key}", "/puzzles/new"})


async def form(request: Request, secret: bool) -> dict[str, str]:
    """Return the fields of a posted form, without those that are empty; raises ProblemError.

    ``secret``: the address is known to nobody whom it should not be, so that a browser that does
    not say where a form comes from can be believed.
    """
    _check_origin(request, secret)
    body = await request.body()
    try:
        pairs = parse_qsl(
            body.decode("ascii"),
            strict_parsing=bool(body),
            max_num_fields=MOST_FIELDS,
            keep_blank_values=True,
            errors="strict",
        )
    except ValueError:
        raise ProblemError(400, "the form is not well-formed") from None
    return {name: value.strip() for name, value in pairs if value.strip()}


def _check_origin(request: Request, secret: bool) -> None:
    """Raise ProblemError for a form of another site's page.

    Sec-Fetch-Site is not sent over plain HTTP between machines, and Origin is "null" for a page
    that lets nobody know where it is (Fetch, 3.2 and Fetch Metadata Request Headers, 2.3).
    """
    site = request.headers.get("sec-fetch-site")
    origin = request.headers.get("origin", "null")
    if site is not None:
        ours = site == "same-origin"
    elif origin == "null":
        ours = secret
    else:
        ours = urlsplit(origin).netloc.lower() == request.headers.get("host", "").lower()
    if not ours:
        raise ProblemError(403, "this form was sent by a page of another site; open the page here")
