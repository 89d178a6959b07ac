"""How long workers compute between two ticks: the longest pause, puzzle by puzzle."""

from __future__ import annotations

import os
import sys
import tempfile
import time
import traceback
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from puzzles import file, load
from puzzles.names import placement_name
from search.atlas_entries import cycles_of
from search.encoding import scope
from search.request import Bounds, Request
from service.atlases import AtlasRequest
from service.representatives import atlas_spec, find_spec, placed
from service.specs import AtlasSpec, FindSpec
from service.stores.base import Store
from service.stores.sqlite import SqliteStore
from service.works import process
from service.works.base import Deal
from service.works.kinds import work_for
from tests.benchmarks.tables import Table, seconds

#: No pause may be longer, in seconds of processor time.
LONGEST = 0.2
#: How long each search goes on, in seconds.
SPENT = 8.0


class Pauses:
    """A tick that takes the processor time since it was called last; ``longest`` is the longest."""

    def __init__(self) -> None:
        self.longest, self.step = 0.0, ""
        self._at = time.process_time()
        self._step = ""

    def __call__(self, told: dict[str, Any] | None = None) -> bool:
        now = time.process_time()
        pause = now - self._at
        self._step = (told or {}).get("step", self._step)
        if pause > self.longest:
            self.longest, self.step = pause, self._step
        if pause > LONGEST and os.environ.get("SLICES_TRACE"):
            print(f"{pause:.3f} s before this tick ({self._step})", file=sys.stderr)
            traceback.print_stack(limit=6)
        self._at = time.process_time()
        return True


def slices(small: bool = False) -> Iterator[Table]:
    """Do a search and an atlas for every puzzle as a worker does them, for a few seconds each."""
    process.warm()
    rows: list[list[str]] = []
    names = ["2x2x2", "3x3x3"] if small else file.catalogue()
    with tempfile.TemporaryDirectory() as folder:
        for number, name in enumerate(names):
            puzzle = load(name)
            if puzzle.can_block:
                continue
            kind = max(scope(puzzle).wanted, key=lambda k: puzzle.types[k].count)
            bounds = Bounds(seconds=0.5 if small else SPENT)
            # One of the last three-cycles: an everyday one is soon done.
            a, b, c = cycles_of(puzzle, puzzle.types[kind])[-1].tolist()
            wanted = Request(puzzle, placed(puzzle, (a, b, c)), bounds=bounds)
            atlas = AtlasRequest(puzzle, (kind,), bounds=bounds)
            row = [name, " ".join(placement_name(puzzle, p) for p in (a, b, c))]
            specs: list[FindSpec | AtlasSpec] = [find_spec(name, wanted), atlas_spec(name, atlas)]
            for k, spec in enumerate(specs):
                store = SqliteStore(Path(folder) / f"{number}-{k}.sqlite")
                pauses = Pauses()
                work(store, spec, pauses)
                store.close()
                verdict = "met" if pauses.longest <= LONGEST else f"**missed** ({pauses.step})"
                row += [seconds(pauses.longest), verdict]
            rows.append(row)
    head = ["puzzle", "cycle", "find: longest", "target", "atlas: longest", "target"]
    note = (
        f"Processor time of a process between two ticks; {SPENT:g} s each, kernels compiled. Where "
        "turns can be blocked, a thread of its own ticks."
    )
    yield Table("The longest pause between two ticks of a worker", head, rows, [note])


def work(store: Store, spec: FindSpec | AtlasSpec, pauses: Pauses) -> None:
    """Do all of a job, one part after the other."""
    doing = work_for(str(spec.kind))
    said = spec.model_dump(mode="json")
    began = time.monotonic()
    results: list[bytes] = []
    stage = 0
    while True:
        spent = time.monotonic() - began
        made = doing.plan(store, said, stage, results, spent, pauses)
        if not isinstance(made, Deal):
            return
        results = []
        for payload in made.parts:
            pauses(None)
            results.append(doing.part(store, said, payload, time.monotonic() - began, pauses))
        pauses(None)
        stage += 1
