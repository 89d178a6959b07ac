"""Errors as problem details (RFC 9457): one sentence, and pointers to the fields that are wrong."""

from __future__ import annotations

import json
import logging
import time
from collections.abc import Iterable, Mapping, Sequence
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, Field, TypeAdapter, ValidationError
from starlette.exceptions import HTTPException
from starlette.responses import Response

from puzzles.errors import TrefoilError
from service.api.wording import faults
from service.stores.base import StoreError, TooManyError

#: Seconds between two lines in the log that say the same of the store.
LOGGED_EVERY = 30.0
_logged: dict[str, float] = {}

log = logging.getLogger("trefoil.store")

MEDIA_TYPE = "application/problem+json"


class Fault(BaseModel):
    """One thing that is wrong with a request.

    ``pointer`` is a JSON pointer (RFC 6901, section 6) into the body; ``parameter`` and ``header``
    name what stands elsewhere.
    """

    detail: str
    pointer: str | None = None
    parameter: str | None = None
    header: str | None = None


class Problem(BaseModel):
    """Why a request was not done (RFC 9457)."""

    type: str = Field(default="about:blank", description="what kind of problem it is")
    title: str = Field(description="the status in words")
    status: int = Field(ge=400, le=599)
    detail: str = Field(description="one sentence: what is wrong, and what would be right")
    errors: list[Fault] | None = Field(default=None, description="the fields that are wrong")
    missing: list[str] | None = Field(default=None, description="what the service lacks, each said")


class ProblemError(Exception):
    """Ends a request with a problem."""

    def __init__(
        self,
        status: int,
        detail: str,
        *,
        pointer: str | None = None,
        parameter: str | None = None,
        header: str | None = None,
        headers: Mapping[str, str] | None = None,
        retry_after: int | None = None,
        missing: Sequence[str] = (),
    ) -> None:
        super().__init__(detail)
        self.status = status
        self.detail = detail
        self.headers = dict(headers or {})
        if retry_after is not None:
            self.headers["Retry-After"] = str(retry_after)
        fault = {"pointer": pointer, "parameter": parameter, "header": header}
        named = {key: value for key, value in fault.items() if value is not None}
        self.errors = [{"detail": detail, **named}] if named else []
        self.missing = list(missing)

    @property
    def response(self) -> Response:
        """Return what is sent."""
        more: dict[str, Any] = {}
        if self.errors:
            more["errors"] = self.errors
        if self.missing:
            more["missing"] = self.missing
        return problem(self.status, self.detail, more, self.headers)


def problem(
    status: int,
    detail: str,
    more: Mapping[str, Any] | None = None,
    headers: Mapping[str, str] | None = None,
) -> Response:
    """Return a response with the details of a problem."""
    told = {
        "type": "about:blank",
        "title": phrase(status),
        "status": status,
        "detail": detail,
        **(more or {}),
    }
    own = {"Cache-Control": "no-store", **(headers or {})}
    return Response(json.dumps(told), status, own, MEDIA_TYPE)


#: Statuses whose words RFC 9110 has changed, which older Pythons do not know.
_RENAMED = {413: "Content Too Large", 414: "URI Too Long", 422: "Unprocessable Content"}


def phrase(status: int) -> str:
    """Return a status in words, as HTTP has it (RFC 9110, section 15)."""
    newer = _RENAMED.get(status)
    if newer is not None:
        return newer
    try:
        return HTTPStatus(status).phrase
    except ValueError:
        return "Error"


def of_store(error: StoreError) -> ProblemError:
    """Return what an asker is told when the store is away; the log alone says where it is."""
    _log_seldom(str(error))
    text = "what is kept here cannot be had just now"
    return ProblemError(503, text, retry_after=error.retry_after)


def _log_seldom(text: str) -> None:
    """Log what is wrong with the store, the same once in a while."""
    now = time.monotonic()
    if now - _logged.get(text, -LOGGED_EVERY) >= LOGGED_EVERY:
        _logged.clear()
        _logged[text] = now
        log.warning(text)


def of_too_many(error: TooManyError) -> ProblemError:
    """Return what an asker is told who has as much as is allowed."""
    return ProblemError(429, str(error), retry_after=error.retry_after or None)


def register(app: FastAPI) -> None:
    """Let an app answer every error with a problem."""

    async def own(request: Request, error: Exception) -> Response:
        assert isinstance(error, ProblemError)
        return error.response

    async def store(request: Request, error: Exception) -> Response:
        assert isinstance(error, StoreError)
        return of_store(error).response

    async def too_many(request: Request, error: Exception) -> Response:
        assert isinstance(error, TooManyError)
        return of_too_many(error).response

    async def refused(request: Request, error: Exception) -> Response:
        return ProblemError(422, str(error)).response

    async def invalid(request: Request, error: Exception) -> Response:
        assert isinstance(error, RequestValidationError)
        return _invalid(request, error)

    async def plain(request: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException)
        return _plain(error)

    app.add_exception_handler(ProblemError, own)
    app.add_exception_handler(StoreError, store)
    app.add_exception_handler(TooManyError, too_many)
    app.add_exception_handler(TrefoilError, refused)
    app.add_exception_handler(RequestValidationError, invalid)
    app.add_exception_handler(HTTPException, plain)


def _invalid(request: Request, error: RequestValidationError) -> Response:
    found = error.errors()
    if any(one["loc"][0] == "path" for one in found):
        # What cannot stand in an address is nowhere.
        return problem(404, _SAID[404])
    body = request.app.state.templates.body(request.scope["path"], request.method)
    own = body.for_data(error.body)
    bounds = request.app.state.service.limits.fields
    told = faults(found, error.body, own.known, body.kinds, bounds)
    more = f" ({len(told) - 1} more)" if len(told) > 1 else ""
    return problem(422, told[0]["detail"] + more, {"errors": told})


#: What is said of an address at which there is nothing, and what more of it to programs.
NOTHING_HERE = "there is nothing at this address"
NOWHERE = f"{NOTHING_HERE}; /api lists what there is"

#: What the framework's own errors say in our words.
_SAID = {
    400: "the body is not well-formed JSON",
    404: NOWHERE,
    405: "this address does not take that method; the field Allow says which it takes",
}


def _plain(error: HTTPException) -> Response:
    detail = _SAID.get(error.status_code, str(error.detail))
    return problem(error.status_code, detail, None, error.headers)


def checked(kind: Any, data: Mapping[str, Any]) -> Any:
    """Return the fields of a form or an address as a body would have them; raises ProblemError."""
    try:
        return TypeAdapter(kind).validate_python(data)
    except ValidationError as error:
        raise ProblemError(422, _sentences(error.errors(), data)) from None


def _sentences(errors: Iterable[Any], data: Mapping[str, Any]) -> str:
    found = faults([{**one, "loc": ("body", *one["loc"])} for one in errors], data)
    return "; ".join(one["detail"] for one in found)
