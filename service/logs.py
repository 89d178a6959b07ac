"""Logs as lines of JSON on standard error: what happened where, never who asked for what.

A line names routes by their templates. Addresses, links, names and the texts of errors that may
repeat what somebody wrote are left out.
"""

from __future__ import annotations

import json
import logging
import sys
import traceback
from datetime import UTC, datetime
from pathlib import Path
from typing import TextIO

#: The attribute of a log record that holds more fields.
FIELDS = "trefoil"
#: How many places an error is traced back by.
MOST_PLACES = 12


class Lines(logging.Formatter):
    """Writes each record as one line of JSON."""

    def format(self, record: logging.LogRecord) -> str:
        time = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")
        told = {
            "time": time.replace("+00:00", "Z"),
            "level": record.levelname.lower(),
            "from": record.name,
            "says": record.getMessage(),
            **getattr(record, FIELDS, {}),
        }
        if record.exc_info and record.exc_info[1] is not None:
            told["error"] = type(record.exc_info[1]).__name__
            told["places"] = places(record.exc_info[1])
        return json.dumps(told, ensure_ascii=True)


def places(error: BaseException) -> list[str]:
    """Return where an error came from, outermost first, without its text."""
    frames = traceback.extract_tb(error.__traceback__)[-MOST_PLACES:]
    return [f"{Path(one.filename).name}:{one.lineno} {one.name}" for one in frames]


def configure(stream: TextIO | None = None, level: int = logging.INFO) -> None:
    """Let everything that this process logs be lines of JSON."""
    handler = logging.StreamHandler(stream or sys.stderr)
    handler.setFormatter(Lines())
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(level)
    for name in ("uvicorn", "uvicorn.error"):
        own = logging.getLogger(name)
        own.handlers.clear()
        own.propagate = True
    # It would write addresses and links; the requests are logged by their templates instead.
    access = logging.getLogger("uvicorn.access")
    access.handlers.clear()
    access.propagate = False
    access.disabled = True
    # It tells the addresses of its requests.
    logging.getLogger("httpx").setLevel(logging.WARNING)
