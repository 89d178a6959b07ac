"""How soon a search ends that somebody stops, over HTTP, at any time while it computes."""

from __future__ import annotations

import random
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from tests.benchmarks.tables import Table, seconds
from tests.service.processes import Service, serving, until

#: How often each search is stopped, and how long it computes before, in seconds at most.
TIMES, LONGEST = 8, 3.0
#: Three-cycles, and half-lengths that take minutes; None for long arms, until the time is over.
SEARCHES: dict[str, tuple[str, int | None]] = {
    "3x3x3": ("UFR UBL DFL", 12),
    "3x3x3-slices": ("UF UB DF", 9),
    "4x4x4": ("UFR UBL DFL", 10),
    "5x5x5": ("UFR UBL DFL", 8),
    "dodecahedron-faces": ("UFR UFL URP", 9),
    "ball-sixths": ("UF UB DF", None),
}


def stopping(quick: bool) -> Iterator[Table]:
    """Yield the table: from the wish to stop until the search has ended with what was found."""
    dice = random.Random(5)
    rows = []
    with tempfile.TemporaryDirectory() as folder, serving(Path(folder) / "s.sqlite") as service:
        for puzzle, (cycle, half_length) in list(SEARCHES.items())[: 1 if quick else None]:
            took = []
            for number in range(1 if quick else TIMES):
                # Another time limit makes another search.
                question = {"puzzle": puzzle, "cycle": cycle.split(), "seconds": 500 + number}
                if half_length is not None:
                    question["half_length"] = half_length
                took.append(_stopped(service, question, dice.uniform(0.3, LONGEST)))
            took.sort()
            rows.append([puzzle, seconds(took[len(took) // 2]), seconds(took[-1])])
    note = (
        f"{TIMES} times each, after up to {LONGEST:g} s; asked for every 5 ms until it had ended."
    )
    yield Table("Stopping a search", ["puzzle", "median", "longest"], rows, [note])


def _stopped(service: Service, question: dict[str, Any], after: float) -> float:
    """Return the seconds from the wish to stop until a search was over."""
    said = service.post(question)
    assert said.status_code == 202, said.text
    address = said.headers["Location"]

    def state() -> str:
        return str(service.client.get(address).json()["state"])

    until(lambda: state() == "running")
    time.sleep(after)
    began = time.monotonic()
    service.client.delete(address).raise_for_status()
    while state() not in ("stopped", "done", "failed"):
        time.sleep(0.005)
    took = time.monotonic() - began
    assert state() == "stopped", service.client.get(address).text
    return took
