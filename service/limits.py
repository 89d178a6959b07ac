"""Every limit of the service: what it bounds, its variable, and what happens beyond it.

``python -m service.limits`` prints them as the table that README.md has.
"""

from __future__ import annotations

import os
import re
from dataclasses import dataclass, field, fields
from typing import Any

from puzzles.errors import RequestError
from search.request import MOST_HALF_LENGTH, MOST_SECONDS, MOST_TURNS
from service.settings import LEAST_MEMORY, MOST_MEMORY, MOST_SHOWN, ServiceSettings
from service.stores.base import JobLimits

#: The longest sequence that a question may hold at all, as ``questions.EffectQuestion`` has it.
LONGEST_SEQUENCE = 20_000
#: The longest sequence that stands in an address, in characters; longer ones are posted, and no
#: picture can be asked for.
LONGEST_IN_ADDRESS = 1_000


@dataclass(frozen=True)
class Row:
    """One limit as it is documented; ``status`` is what exceeds it gets, 0 for no answer."""

    variable: str
    usual: int
    unit: str
    says: str
    status: int


def _limit(
    variable: str, usual: int, unit: str, says: str, status: int, least: int = 1, most: int = 10**9
) -> Any:
    row = Row(f"TREFOIL_MAX_{variable}", usual, unit, says, status)
    return field(default=usual, metadata={"row": row, "least": least, "most": most})


@dataclass(frozen=True)
class Limits:
    """The limits of one service; each has an environment variable ``TREFOIL_MAX_…``."""

    body: int = _limit("BODY_BYTES", 300_000, "bytes", "the body of a request", 413)
    body_seconds: int = _limit(
        "BODY_SECONDS", 10, "s", "the time until the body of a request has arrived", 408
    )
    header_seconds: int = _limit(
        "HEADER_SECONDS", 10, "s", "the time until the header of a request has arrived", 408
    )
    connections_each: int = _limit(
        "CONNECTIONS_EACH",
        500,
        "connections",
        "connections of one address, if it is no proxy's; one that waits makes room",
        429,
    )
    connections: int = _limit(
        "CONNECTIONS",
        2_000,
        "connections",
        "connections of all, or as many as the system allows; one that waits makes room",
        503,
    )
    url: int = _limit("URL_BYTES", 16_000, "bytes", "the address of a request, with its query", 414)
    headers: int = _limit("HEADER_BYTES", 32_000, "bytes", "the header fields of a request", 431)
    puzzle: int = _limit("PUZZLE_BYTES", 100_000, "bytes", "a posted puzzle file", 413, 1, 100_000)
    sequence: int = _limit(
        "SEQUENCE",
        LONGEST_SEQUENCE,
        "characters",
        "a sequence whose effect is asked for",
        422,
        1,
        LONGEST_SEQUENCE,
    )
    turns: int = _limit(
        "TURNS",
        MOST_TURNS,
        "turns",
        "the executed turns up to which one may ask to search",
        422,
        1,
        MOST_TURNS,
    )
    half_length: int = _limit(
        "HALF_LENGTH",
        MOST_HALF_LENGTH,
        "turns",
        "the half-length up to which one may ask to search",
        422,
        1,
        MOST_HALF_LENGTH,
    )
    seconds: int = _limit(
        "SECONDS",
        3_600,
        "s",
        "the time that one may ask to search; also what a search with other bounds is given",
        422,
        1,
        MOST_SECONDS,
    )
    shown: int = _limit("SHOWN", 1_000, "answers", "the answers that are shown", 422, 1, MOST_SHOWN)
    sheet_sequences: int = _limit(
        "SHEET_SEQUENCES", 8, "sequences", "sequences on one sheet; others are left out", 422
    )
    sheet_turns: int = _limit(
        "SHEET_TURNS",
        40,
        "turns",
        "the turns, as they are written, of a sequence on a sheet: a picture each",
        422,
    )
    sheet_cells: int = _limit(
        "SHEET_CELLS", 600, "cycles", "cycles in the table of a sheet; others are left out", 422
    )
    practice_cases: int = _limit(
        "PRACTICE_CASES",
        60,
        "cases",
        "sequences to practise at one address; others are left out",
        422,
    )
    learned: int = _limit(
        "LEARNED", 100, "sequences", "sequences that a whole solve may be bound to", 422
    )
    searches_each: int = _limit(
        "SEARCHES_EACH", 100, "searches", "searches of one asker that are not over", 429
    )
    searches_open: int = _limit(
        "SEARCHES_OPEN", 2_000, "searches", "searches of all askers that are not over", 429
    )
    computing_each: int = _limit(
        "COMPUTING_EACH",
        7_200,
        "s",
        "the computing of one asker within an hour; beyond it no new search begins, others go on",
        429,
    )
    stored: int = _limit(
        "SEARCHES_STORED",
        100_000,
        "searches",
        "searches that are kept; those that were over first make room",
        429,
    )
    puzzles: int = _limit(
        "PUZZLES",
        1_000,
        "puzzles",
        "posted puzzles that are kept; one on no shelf that was not used for longest makes room",
        429,
    )
    puzzles_each: int = _limit(
        "PUZZLES_EACH", 60, "puzzles", "new puzzle files that one asker posts within an hour", 429
    )
    streams_each: int = _limit(
        "STREAMS_EACH",
        20,
        "streams",
        "streams and waiting requests of one asker at once; who asks beyond it need not wait",
        429,
    )
    streams: int = _limit("STREAMS", 500, "streams", "the same of all askers", 429)
    reading: int = _limit(
        "READING_SECONDS", 20, "s", "the time that reading a question or an answer may take", 422
    )
    reading_queue: int = _limit(
        "READING_QUEUE", 200, "requests", "requests that wait for a reader", 503
    )
    reader_memory: int = _limit(
        "READER_MEMORY",
        2_000,
        "MB",
        "the memory of one process that reads questions and answers",
        422,
        500,
    )
    drafting: int = _limit(
        "DRAFTING_SECONDS",
        8,
        "s",
        "the time that a look at a draft of a puzzle may take, or at sizes for it",
        422,
        5,
        100,
    )
    cached: int = _limit(
        "CACHED_BYTES", 64_000_000, "bytes", "rendered answers that are kept at hand", 0, 0
    )
    club_items: int = _limit("CLUB_ITEMS", 1_000, "items", "items on the shelf of one club", 429)
    clubs_each: int = _limit("CLUBS_EACH", 10, "clubs", "clubs that one asker founds a day", 429)

    @property
    def jobs(self) -> JobLimits:
        """Return those that the store watches over."""
        return JobLimits(self.searches_each, self.searches_open, float(self.computing_each))

    @property
    def fields(self) -> dict[str, int]:
        """Return the most of each field of a question that is bounded."""
        return {
            "turns": self.turns,
            "half_length": self.half_length,
            "seconds": self.seconds,
            "most": self.shown,
        }


def limits() -> Limits:
    """Return the limits that the environment asks for; raises RequestError."""
    return Limits(**{one.name: _given(one.metadata) for one in fields(Limits)})


def rows() -> list[Row]:
    """Return all limits as they are documented, the memory of a worker among them."""
    memory = Row(
        "TREFOIL_WORKER_MEMORY",
        ServiceSettings.worker_memory,
        "MB",
        "the memory of one worker, and so of one search, which fails beyond it",
        0,
    )
    assert LEAST_MEMORY <= memory.usual <= MOST_MEMORY
    return [*(one.metadata["row"] for one in fields(Limits)), memory]


def table() -> str:
    """Return the limits as a table in Markdown."""
    lines = ["| variable | usual | bounds | beyond it |", "|---|---|---|---|"]
    for row in rows():
        status = str(row.status) if row.status else ""
        lines.append(f"| `{row.variable}` | {row.usual:,} {row.unit} | {row.says} | {status} |")
    return "\n".join(lines)


def _given(metadata: Any) -> int:
    row, least, most = metadata["row"], metadata["least"], metadata["most"]
    text = os.environ.get(row.variable, "").strip()
    if not text:
        return int(row.usual)
    if re.fullmatch("[0-9]{1,10}", text) and least <= int(text) <= most:
        return int(text)
    raise RequestError(
        f"{row.variable} is {text[:20]!r}; a number from {least} to {most} ({row.unit}) is right"
    )


if __name__ == "__main__":
    print(table())
