"""The addresses of the service as templates, so that logs and measures name no address itself."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

#: What is said for an address that there is not.
OTHER = "other"

_METHODS = ("GET", "POST", "PUT", "PATCH", "DELETE")


class Templates:
    """Finds the template of an address among paths as OpenAPI has them, which are made late."""

    def __init__(self, paths: Callable[[], Mapping[str, Any]]) -> None:
        self._paths = paths
        self._found: list[tuple[re.Pattern[str], str, tuple[str, ...]]] | None = None

    def of(self, path: str) -> str:
        """Return the template of an address, OTHER if it has none."""
        found = self._match(path)
        return OTHER if found is None else found[0]

    def methods(self, path: str) -> tuple[str, ...]:
        """Return the methods that an address takes, none for one that there is not."""
        found = self._match(path)
        return () if found is None else found[1]

    def _match(self, path: str) -> tuple[str, tuple[str, ...]] | None:
        if self._found is None:
            self._found = [_compiled(*one) for one in self._paths().items()]
            self._found.append(_compiled("/api/openapi.json", {"get": {}}))
            # What is written out goes before what a part of an address may stand for.
            self._found.sort(key=lambda one: one[1].count("{"))
        for pattern, template, methods in self._found:
            if pattern.fullmatch(path):
                return template, methods
        return None


def _compiled(
    template: str, operations: Mapping[str, Any]
) -> tuple[re.Pattern[str], str, tuple[str, ...]]:
    parts = re.split(r"(\{[^}]*\})", template)
    text = "".join("[^/]+" if part.startswith("{") else re.escape(part) for part in parts)
    methods = [name for name in _METHODS if name.lower() in operations]
    if "GET" in methods:
        methods.insert(1, "HEAD")
    return re.compile(text), template, (*methods, "OPTIONS")
