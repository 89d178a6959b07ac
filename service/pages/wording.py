"""Numbers and days as pages show them."""

from __future__ import annotations

import re
from datetime import UTC, datetime

from markupsafe import Markup

_RAISED = str.maketrans("0123456789", "⁰¹²³⁴⁵⁶⁷⁸⁹")


def day(seconds: float) -> str:
    """Return the day of a time in seconds since 1970, as ISO 8601 writes it, in UTC."""
    return datetime.fromtimestamp(seconds, UTC).date().isoformat()


def grouped(number: str | int) -> Markup:
    """Return a whole number with commas between thousands, after which a line may end."""
    return Markup(f"{int(number):,}".replace(",", ",<wbr>"))


def raised(formula: str) -> str:
    """Return a product such as 8! * 3^8 with raised exponents."""
    shown = re.sub(r"\^(\d+)", lambda found: found[1].translate(_RAISED), formula)
    return shown.replace(" * ", " · ")


def sentence(text: str) -> str:
    """Return a text with a capital and a full stop."""
    return text[:1].upper() + text[1:].rstrip(".") + "."
