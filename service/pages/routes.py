"""All pages together, and their addresses as templates."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter
from fastapi.routing import APIRoute

from service.pages import (
    ask,
    bench,
    clubs,
    cover,
    finish,
    methods,
    new,
    practice,
    puzzles,
    read,
    results,
    sheet,
    solve,
    statics,
)

PAGES = (
    new,
    puzzles,
    ask,
    bench,
    read,
    cover,
    methods,
    finish,
    solve,
    practice,
    sheet,
    results,
    clubs,
    statics,
)
ROUTERS = tuple(own.router for own in PAGES)

router = APIRouter()
for own in ROUTERS:
    router.include_router(own)


def paths() -> dict[str, dict[str, Any]]:
    """Return the addresses of pages and the methods that they take, as OpenAPI writes paths."""
    found: dict[str, dict[str, Any]] = {}
    for own in ROUTERS:
        for route in own.routes:
            if isinstance(route, APIRoute):
                methods = found.setdefault(route.path, {})
                methods.update({method.lower(): {} for method in route.methods or ()})
    return found
