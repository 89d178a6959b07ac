"""Bodies as they come: JSON that says one thing to everybody (RFC 8259; RFC 7493, section 2)."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any, NoReturn

from service.api.problems import ProblemError
from service.api.wording import shown


def check_json(body: bytes) -> None:
    """Raise ProblemError for a body that is not well-formed JSON in UTF-8 with unique names."""
    try:
        text = body.decode()
    except UnicodeDecodeError as error:
        text = f"the body is not JSON in UTF-8: byte {error.start + 1:,} cannot be read"
        raise ProblemError(400, text) from None
    try:
        json.loads(text, object_pairs_hook=_unique, parse_constant=_constant)
    except json.JSONDecodeError as error:
        text = f"the body is not well-formed JSON at character {error.pos + 1:,}"
        raise ProblemError(400, text) from None
    except RecursionError:
        raise ProblemError(400, "the body is JSON that is nested too deeply to be read") from None
    except ValueError:
        text = "the body is JSON that has a number with too many digits to be read"
        raise ProblemError(400, text) from None


def _unique(pairs: Sequence[tuple[str, Any]]) -> None:
    names: set[str] = set()
    for name, _ in pairs:
        if name in names:
            text = f"the body is JSON in which {shown(name)!r} stands twice; once would be right"
            raise ProblemError(400, text)
        names.add(name)


def _constant(name: str) -> NoReturn:
    raise ProblemError(400, f"the body is no JSON: there is no number {name} in JSON")
