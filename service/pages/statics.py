"""Static files, each at an address with a digest of all of them, so that browsers keep them."""

from __future__ import annotations

import gzip
import hashlib
import re
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path

from fastapi import APIRouter, Request
from markupsafe import Markup
from starlette.responses import Response

from service.api.caching import IMMUTABLE
from service.api.compressing import LEAST, takes_gzip
from service.api.problems import ProblemError

router = APIRouter()

FOLDER = Path(__file__).parent / "static"
#: How many characters of the digest stand in an address.
DIGEST = 16
#: The kinds of file that there are, by their endings.
TYPES = {
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
}
#: How a module names another one that it cannot do without.
_IMPORTED = re.compile(rb'^(?:import|export|\})[^;]*?\bfrom "\./([\w-]+\.js)"', re.MULTILINE)


@dataclass(frozen=True)
class Static:
    """One file as it is sent."""

    media_type: str
    body: bytes

    @cached_property
    def small(self) -> bytes | None:
        """The same compressed, None where that is not worth it."""
        return gzip.compress(self.body, 9, mtime=0) if len(self.body) >= LEAST else None


@dataclass(frozen=True)
class Statics:
    """All files by name, and the digest of them together.

    Modules name each other without digests, so that all of them must stand in one folder.
    """

    digest: str
    files: dict[str, Static]

    def href(self, name: str) -> str:
        """Return the address of a file; raises KeyError for one that there is not."""
        if name not in self.files:
            raise KeyError(f"there is no static file {name!r}")
        return f"/static/{self.digest}/{name}"

    def needs(self, *names: str) -> list[str]:
        """Return modules and all that they import, each once."""
        found = dict.fromkeys(names)
        queue = list(names)
        while queue:
            for raw in _IMPORTED.findall(self.files[queue.pop(0)].body):
                name = raw.decode()
                if name not in found:
                    found[name] = None
                    queue.append(name)
        return list(found)


@lru_cache(maxsize=1)
def statics() -> Statics:
    """Return the files, which are read once."""
    files: dict[str, Static] = {}
    state = hashlib.sha256()
    for path in sorted(FOLDER.iterdir()):
        if path.suffix in TYPES:
            files[path.name] = Static(TYPES[path.suffix], path.read_bytes())
            state.update(path.name.encode() + b"\0" + files[path.name].body + b"\0")
    return Statics(state.hexdigest()[:DIGEST], files)


def scripts(*names: str, later: tuple[str, ...] = ()) -> Markup:
    """Return what a page's head has for its modules, so that none waits for another to come.

    ``later``: those that come when somebody wants them; they are there then, also where the
    connection is lost, but wait for all that is seen at first.
    """
    own = statics()
    first = own.needs(*names)
    then = [name for name in own.needs(*later) if name not in first]
    soon = Markup('<link rel="modulepreload" href="{}">')
    late = Markup('<link rel="modulepreload" fetchpriority="low" href="{}">')
    begun = Markup('<script type="module" src="{}"></script>')
    lines = [begun.format(own.href(name)) for name in names]
    lines += [soon.format(own.href(name)) for name in first[len(names) :]]
    lines += [late.format(own.href(name)) for name in then]
    return Markup("\n").join(lines)


@router.get("/static/{digest}/{name}", include_in_schema=False)
async def static(request: Request, digest: str, name: str) -> Response:
    """Return a static file, which never changes at its address."""
    own = statics()
    file = own.files.get(name)
    if file is None or digest != own.digest:
        raise ProblemError(404, "there is no such file; load the page that names it anew")
    headers = {"Cache-Control": IMMUTABLE, "Vary": "Accept-Encoding"}
    if file.small is not None and takes_gzip(request.headers.getlist("accept-encoding")):
        headers["Content-Encoding"] = "gzip"
        return Response(file.small, headers=headers, media_type=file.media_type)
    return Response(file.body, headers=headers, media_type=file.media_type)
