"""How a search ended, read off its report: in words, and as an exit status.

A report (``service.reports``) is what is printed as JSON and what the text is made from, here or on
a machine that has nothing but the report.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from service.output import FOUND, IMPOSSIBLE, INTERRUPTED, NONE_FOUND

if TYPE_CHECKING:
    from search.request import Bounds

#: Who or what ends a search early.
PERSON, TIME = "person", "time"
STOPPED = "stopped before the search was done; this is what was found so far"
UNSEEN = "these three look the same, so nobody sees them move; --apart tells them apart"


def nothing(by: str | None, text: str, half_length: int | None) -> str:
    """Return the sentence for a search that found nothing."""
    if by == PERSON and half_length is None:
        return "Nothing found yet."
    if by == PERSON:
        return f"Nothing found yet; searched to half-length {half_length}."
    return f"Nothing was found: {text}."


def ended(by: str | None, bounds: Bounds, types: int = 1) -> str:
    """Return that the time was over and how to go on, empty where something else ended a search.

    A time limit that was given is for all types of an atlas together, the usual one for each.
    """
    from search.request import MOST_SECONDS

    limit = bounds.time_limit
    if by != TIME or limit is None:
        return ""
    each = " for each type" if bounds.seconds is None and types > 1 else ""
    more = min(3 * limit * (types if each else 1), MOST_SECONDS)
    goes_on = f"; `--seconds {more:g}` goes on" if more > limit else ""
    return f"stopped after {limit:g} s{each}{goes_on}"


def reason(sentence: str, end: str) -> str:
    """Return why there are no answers, for scripts."""
    return f"{sentence.rstrip('.')}; {end}" if end else sentence


def nothing_for(report: Mapping[str, Any]) -> str:
    """Return the sentence for a report of `find` or of an atlas without answers."""
    if "types" in report and never(report):
        return str(report["reason"])
    says = report["searched"]
    return nothing(report["stopped_by"], says["text"], says["half_length"])


def never(report: Mapping[str, Any]) -> bool:
    """Return whether none of an atlas's cycles can be done at all."""
    every = all(one["impossible"] == one["cycles"] for one in report["types"])
    return report["stopped_by"] is None and every


def status(report: Mapping[str, Any]) -> int:
    """Return the exit status that a report of `find` or of an atlas stands for."""
    if report["stopped_by"] == PERSON:
        return INTERRUPTED
    if report.get("answers") or report.get("entries"):
        return FOUND
    return IMPOSSIBLE if "types" in report and never(report) else NONE_FOUND
