"""What goes wrong, as a page for whoever would rather read one (RFC 9110, 12.5.1)."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from starlette.datastructures import Headers
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.api.problems import MEDIA_TYPE, NOTHING_HERE, NOWHERE
from service.pages.frame import page
from service.pages.wording import sentence

#: Addresses of machines, which are always answered with problems.
MACHINES = ("/api", "/livez", "/readyz", "/metrics")
#: Fields of a problem that say what the page's own do.
_OWN = ("content-type", "content-length")


def prefers_html(fields: Sequence[str]) -> bool:
    """Return whether Accept fields like HTML better than problems and JSON."""
    liked = {"text/html": 0.0, MEDIA_TYPE: 0.0, "application/json": 0.0}
    exact = dict.fromkeys(liked, -1)
    for one in ",".join(fields).split(","):
        kind, *more = (part.strip().lower() for part in one.split(";"))
        share = next((_share(part[2:]) for part in more if part.startswith("q=")), 1.0)
        for name in liked:
            ranges = ("*/*", f"{name.partition('/')[0]}/*", name)
            if kind in ranges and ranges.index(kind) >= exact[name]:
                liked[name], exact[name] = share, ranges.index(kind)
    best = max(liked[MEDIA_TYPE], liked["application/json"])
    # Equally liked by whoever takes anything is what an address of pages has: not by a program.
    return liked["text/html"] > best or (exact["text/html"] == 2 and liked["text/html"] == best > 0)


def _share(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return 0.0


class Problems:
    """Makes pages of the problems that come of addresses of pages."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        wanted = (
            scope["type"] == "http"
            and not _of_machines(scope["path"])
            and prefers_html(Headers(scope=scope).getlist("accept"))
        )
        if not wanted:
            await self._app(scope, receive, send)
            return
        held = _Held(send)
        # Further in, it is read as GET.
        head = scope["method"] == "HEAD"
        await self._app(scope, receive, held)
        if held.start is not None:
            headers = Headers(raw=held.start["headers"])
            own = {name: value for name, value in headers.items() if name not in _OWN}
            own.pop("content-security-policy", None)
            problem: dict[str, Any] = json.loads(held.body or b"{}")
            response = await page("problem.html", told(problem), held.start["status"], own)
            if head:
                response.body = b""
            await response(scope, receive, send)


class _Held:
    """Sends everything but problems, which it keeps."""

    def __init__(self, send: Send) -> None:
        self._send = send
        self.start: Message | None = None
        self.body = b""

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            kind = Headers(raw=message["headers"]).get("content-type", "")
            if kind.startswith(MEDIA_TYPE):
                self.start = message
                return
        elif self.start is not None:
            self.body += message.get("body", b"")
            return
        await self._send(message)


def told(problem: dict[str, Any]) -> dict[str, str]:
    """Return what a page says of a problem."""
    title = str(problem.get("title", "Something is wrong"))
    detail = str(problem.get("detail", "the request was not done"))
    if detail == NOWHERE:
        # Where programs look is nothing to people, who have links to what there is above.
        detail = NOTHING_HERE
    return {"title": title, "detail": sentence(detail)}


def _of_machines(path: str) -> bool:
    return any(path == one or path.startswith(f"{one}/") for one in MACHINES)
