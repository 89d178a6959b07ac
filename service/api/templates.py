"""The addresses of the service as templates, so that logs and measures name no address itself."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

#: What is said for an address that there is not.
OTHER = "other"

_METHODS = ("GET", "POST", "PUT", "PATCH", "DELETE")


@dataclass(frozen=True)
class _Address:
    """One template; ``operations`` are those of OpenAPI by their methods in small letters."""

    pattern: re.Pattern[str]
    template: str
    methods: tuple[str, ...]
    operations: Mapping[str, Any]


class Templates:
    """Finds the template of an address in a document as OpenAPI has them, which is made late.

    Operations of which nothing is said, as those of pages, know and need what they like.
    """

    def __init__(self, document: Callable[[], Mapping[str, Any]]) -> None:
        self._document = document
        self._made: Mapping[str, Any] = {}
        self._found: list[_Address] = []

    def of(self, path: str) -> str:
        """Return the template of an address, OTHER if it has none."""
        found = self._match(path)
        return OTHER if found is None else found.template

    def methods(self, path: str) -> tuple[str, ...]:
        """Return the methods that an address takes, none for one that there is not."""
        found = self._match(path)
        return () if found is None else found.methods

    def parameters(self, path: str, method: str) -> list[str] | None:
        """Return the names that the query of a request may have, None for any."""
        operation = self._operation(path, method)
        if not operation:
            return None
        told = operation.get("parameters", ())
        return [one["name"] for one in told if one["in"] == "query"]

    def body(self, path: str, method: str) -> Body:
        """Return what is known of the names in the body of a request."""
        told = self._operation(path, method).get("requestBody", {}).get("content", {})
        schemas = self._made.get("components", {}).get("schemas", {})
        return body_of(told.get("application/json", {}).get("schema", {}), schemas)

    def _operation(self, path: str, method: str) -> Mapping[str, Any]:
        found = self._match(path)
        own: Mapping[str, Any] = {} if found is None else found.operations
        operation: Mapping[str, Any] = own.get(method.lower(), {})
        return operation

    def _match(self, path: str) -> _Address | None:
        if not self._found:
            self._made = self._document()
            self._found = [_compiled(*one) for one in self._made["paths"].items()]
            self._found.append(_compiled("/api/openapi.json", {"get": {}}))
            # What is written out goes before what a part of an address may stand for.
            self._found.sort(key=lambda one: one.template.count("{"))
        return next((one for one in self._found if one.pattern.fullmatch(path)), None)


@dataclass(frozen=True)
class Body:
    """The names that a JSON body may and must have; ``kinds`` are the words that tell kinds apart.

    Where there are several kinds, ``of`` has the names of each.
    """

    known: tuple[str, ...] = ()
    needed: tuple[str, ...] = ()
    kinds: tuple[str, ...] = ()
    of: Mapping[str, Body] = field(default_factory=dict)

    def for_data(self, data: Any) -> Body:
        """Return what is known of a body that has come."""
        kind = data.get("kind") if isinstance(data, Mapping) else None
        return self.of.get(kind, self) if isinstance(kind, str) else self


def body_of(schema: Mapping[str, Any], schemas: Mapping[str, Any]) -> Body:
    """Return what a schema says of the names in an object."""
    own = _resolved(schema, schemas)
    mapping = own.get("discriminator", {}).get("mapping", {})
    if mapping:
        kinds = {word: body_of({"$ref": ref}, schemas) for word, ref in mapping.items()}
        return Body((), ("kind",), tuple(kinds), kinds)
    return Body(tuple(own.get("properties", ())), tuple(own.get("required", ())))


def _resolved(schema: Mapping[str, Any], schemas: Mapping[str, Any]) -> Mapping[str, Any]:
    name = schema.get("$ref", "").rpartition("/")[2]
    found: Mapping[str, Any] = schemas[name] if name else schema
    return found


def _compiled(template: str, operations: Mapping[str, Any]) -> _Address:
    parts = re.split(r"(\{[^}]*\})", template)
    text = "".join("[^/]+" if part.startswith("{") else re.escape(part) for part in parts)
    methods = [name for name in _METHODS if name.lower() in operations]
    if "GET" in methods:
        methods.insert(1, "HEAD")
    return _Address(re.compile(text), template, (*methods, "OPTIONS"), operations)
