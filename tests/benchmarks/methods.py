"""The method of every catalogue puzzle from cold: time, steps, sequences, things, median turns.

``python -m tests.benchmarks.methods [puzzle…]`` measures some puzzles only.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from puzzles import load
from puzzles.file import catalogue
from search.method import SCRAMBLES
from tests.benchmarks.tables import Table, against, seconds

#: Wall-clock seconds that a method may take: by the shape of the puzzle, and of this one.
TARGETS, TARGET_OF = {"solid": 60.0, "ball": 600.0}, {"3x3x3": 10.0}
HEAD = (
    "puzzle",
    "time",
    "processor time",
    "target",
    "ends in",
    "steps",
    "sequences",
    "things",
    "turns (median)",
)


def methods(small: bool = False, names: Sequence[str] = ()) -> Iterator[Table]:
    """Work out the methods of puzzles, each in a process of its own; one table a puzzle."""
    count = 2 if small else SCRAMBLES
    notes = (
        "`trefoil method`, the start of the interpreter included, with an empty cache and compiled "
        f"kernels. Medians over {count} scrambles, all solved with the sequences of the method "
        "alone; sequences and things to remember without those of a known puzzle that a method "
        "ends in.",
    )
    for name in names or (("2x2x2",) if small else catalogue()):
        yield Table(f"Methods of {name}", HEAD, list(_rows(name, count)), notes)
    if not small and not names:
        with tempfile.TemporaryDirectory() as folder:
            rows = list(_rows("3x3x3", count, {"NUMBA_CACHE_DIR": folder}))
        yield Table("Methods of 3x3x3, with no kernel compiled", HEAD, rows, notes)


def _rows(name: str, count: int, environment: dict[str, str] | None = None) -> Iterator[list[str]]:
    report, wall, used = _asked(name, count, environment or {})
    target = TARGET_OF.get(name, TARGETS.get(load(name).shape))
    met = "" if target is None else against(wall, target)
    first = [name, seconds(wall), seconds(used), met]
    if not report["methods"]:
        yield [*first, "none", "", "", "", ""]
    for own in report["methods"]:
        yield [*first, "", *_measures(own, count)]
        first = [name, "", "", ""]
    for own in report["joined"]:
        yield [name, "", "", "", own["puzzle"], *_measures(own, count)]


def _asked(
    name: str, count: int, environment: dict[str, str]
) -> tuple[dict[str, Any], float, float]:
    """Return the report of a method, the seconds that it took, and those of processor time."""
    code = "import sys; from service.cli import main; sys.exit(main())"
    arguments = ["method", name, "--json", "--scrambles", str(count)]
    with tempfile.TemporaryDirectory() as folder:
        own = {**os.environ, "TREFOIL_CACHE": str(Path(folder) / "cache"), **environment}
        before, started = os.times(), time.perf_counter()
        done = subprocess.run(
            [sys.executable, "-c", code, *arguments], env=own, capture_output=True, check=False
        )
        wall, after = time.perf_counter() - started, os.times()
    used = after.children_user + after.children_system
    used -= before.children_user + before.children_system
    return json.loads(done.stdout), wall, used


def _measures(own: dict[str, Any], asked: int) -> list[str]:
    median, count = own["turns"]["median"], own["scrambles"]
    turns = f"{median:g}" if count == asked else f"{median:g} ({count} scrambles)"
    return [str(len(own["steps"])), str(own["sequences"]), str(own["things"]), turns]


def main(names: list[str]) -> int:
    """Measure the puzzles with these names, all without one; return the exit status."""
    unknown = [name for name in names if name not in catalogue()]
    if unknown:
        print(f"there is no puzzle {unknown[0]!r} in the catalogue", file=sys.stderr)
        return 2
    print(f"Load before: {os.getloadavg()[0]:.1f} of {os.cpu_count()} cores.\n")
    for table in methods(names=names):
        print(table.markdown(), end="\n\n", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
