"""Which requests may begin work: none that a page of another site makes a browser send unasked.

Reading an address may begin a search. A picture, a frame or a link loaded ahead in somebody else's
page would do so without anybody having asked; browsers say where such a request comes from and what
it is for (Fetch Metadata Request Headers, 2.1 to 2.3; Fetch, 3.9 for Sec-Purpose).
"""

from __future__ import annotations

from contextvars import ContextVar

from starlette.requests import Request

from service.api.problems import ProblemError

#: What pages of other sites send: from another name, or from another one under the same.
OTHERS = frozenset({"cross-site", "same-site"})

#: Why the request at work may begin nothing; None where it may.
_refusal: ContextVar[ProblemError | None] = ContextVar("refusal", default=None)


def refusal(request: Request) -> ProblemError | None:
    """Return why a request may begin nothing, or None where it may.

    A request without these fields is taken at its word: programs send none, and neither do browsers
    over plain HTTP between machines.
    """
    fields = request.headers
    if fields.get("sec-fetch-site", "").lower() not in OTHERS:
        return None
    if "prefetch" in fields.get("sec-purpose", fields.get("purpose", "")).lower():
        # A browser drops what is loaded ahead with an error, and asks anew when it is opened.
        text = "nothing is begun for a page that is loaded ahead; open this address to begin it"
        return ProblemError(503, text, retry_after=1)
    opened = fields.get("sec-fetch-mode"), fields.get("sec-fetch-dest")
    if opened == ("navigate", "document"):
        return None
    text = (
        "nothing is begun for a page of another site, only what is known is given; open this "
        "address itself to begin it"
    )
    return ProblemError(403, text)


def enter(request: Request) -> None:
    """Note whether a request, whose work is done from here on, may begin anything."""
    _refusal.set(refusal(request))


def allowed() -> bool:
    """Return whether the request at work may begin anything."""
    return _refusal.get() is None


def check() -> None:
    """Raise ProblemError where the request at work may begin nothing."""
    problem = _refusal.get()
    if problem is not None:
        raise problem
