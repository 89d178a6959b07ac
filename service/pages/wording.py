"""Numbers and days as pages show them."""

from __future__ import annotations

import re
from datetime import UTC, datetime

_RAISED = str.maketrans("0123456789", "⁰¹²³⁴⁵⁶⁷⁸⁹")


def day(seconds: float) -> str:
    """Return the day of a time in seconds since 1970, as ISO 8601 writes it, in UTC."""
    return datetime.fromtimestamp(seconds, UTC).date().isoformat()


def grouped(number: str | int) -> str:
    """Return a whole number with commas between thousands."""
    return f"{int(number):,}"


def raised(formula: str) -> str:
    """Return a product such as 8! * 3^8 with raised exponents."""
    shown = re.sub(r"\^(\d+)", lambda found: found[1].translate(_RAISED), formula)
    return shown.replace(" * ", " · ")
