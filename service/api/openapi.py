"""The OpenAPI document: the framework's, with every error as a problem (RFC 9457)."""

from __future__ import annotations

from collections.abc import Callable
from importlib.metadata import version
from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from service.api.problems import MEDIA_TYPE, Problem, phrase

_SCHEMA = {"$ref": "#/components/schemas/Problem"}
#: What may come of any request, whatever it is.
ALWAYS = (400, 405, 408, 413, 414, 415, 421, 422, 431, 500, 503)
#: Errors that say when to come back.
RETRIED = (429, 503)
#: Schemas of the framework's own errors, which are never sent.
_NOT_SENT = ("HTTPValidationError", "ValidationError")


def document(app: FastAPI) -> Callable[[], dict[str, Any]]:
    """Return what makes the document of an app, once."""
    made: dict[str, Any] = {}

    def make() -> dict[str, Any]:
        if not made:
            made.update(_document(app))
        return made

    return make


def _document(app: FastAPI) -> dict[str, Any]:
    told = get_openapi(
        title=app.title,
        version=version("trefoil-finder"),
        description=app.description,
        routes=app.routes,
    )
    schemas = told.setdefault("components", {}).setdefault("schemas", {})
    for name in _NOT_SENT:
        schemas.pop(name, None)
    schemas.update(_schemas())
    for operations in told["paths"].values():
        for operation in operations.values():
            _complete(operation["responses"])
    return told


def _complete(responses: dict[str, Any]) -> None:
    """Let errors be problems, those that may always come among them."""
    for always in ALWAYS:
        responses.setdefault(str(always), {})
    for status, response in responses.items():
        number = int(status)
        if number < 400:
            continue
        response["description"] = response.get("description") or phrase(number)
        response["content"] = {MEDIA_TYPE: {"schema": _SCHEMA}}
        if number in RETRIED:
            response.setdefault("headers", {})["Retry-After"] = {
                "description": "seconds until it is worth trying again",
                "schema": {"type": "integer", "minimum": 0},
            }


def _schemas() -> dict[str, Any]:
    own = Problem.model_json_schema(ref_template="#/components/schemas/{model}")
    inner = own.pop("$defs")
    return {"Problem": own, **inner}
