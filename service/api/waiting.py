"""How long an asker prefers to wait (RFC 7240)."""

from __future__ import annotations

import re
from collections.abc import Iterable

#: The longest that a request is kept waiting, in seconds.
LONGEST_WAIT = 20

_WAIT = re.compile(r'wait\s*=\s*"?([0-9]+)"?', re.IGNORECASE)


def preferred(fields: Iterable[str]) -> int | None:
    """Return the seconds that the Prefer fields of a request ask to wait, None for nothing.

    The first ``wait`` counts, at most LONGEST_WAIT of it; what cannot be read is passed over, as
    the standard wants it.
    """
    for field in fields:
        for preference in field.split(","):
            token = preference.partition(";")[0].strip()
            found = _WAIT.fullmatch(token)
            if found:
                # More digits than Python would read are more seconds than anybody waits.
                return min(int(found[1].lstrip("0")[:9] or "0"), LONGEST_WAIT)
    return None


def applied(seconds: int | None) -> dict[str, str]:
    """Return the field that says how long was waited at most, nothing for no wish."""
    return {} if seconds is None else {"Preference-Applied": f"wait={seconds}"}
