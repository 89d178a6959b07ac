"""Answers from results: ranked from what is kept, beside reading every word as a bracket anew."""

from __future__ import annotations

import random
from collections.abc import Iterator
from functools import partial

from puzzles import load
from puzzles.names import placement_name
from search.answers import from_words
from search.goals import goal_of
from search.ranking import read
from search.representatives import of_request
from search.request import Bounds, Request, request
from service import readings, reports, results
from service.engine import Engine
from service.representatives import find_spec, request_of, scope_of
from tests.benchmarks.tables import Table, least, seconds

#: Puzzles, cycles, half-lengths.
CASES = (
    ("3x3x3", "UFR UBL DFL", 6),
    ("3x3x3", "UF UR UB", 6),
    ("4x4x4", "UF.L FU.R BU.L", 5),
    ("4x4x4", "U.FL U.FR R.DB", 4),
    ("tetrahedron-corners", "FR FL LD", 5),
)
#: Images of a cycle that are asked for.
IMAGES = 12


def answering(small: bool = False) -> Iterator[Table]:
    """Time both on images of one cycle, in turn, in processor time of one thread."""
    rows = []
    for name, cycle, half_length in CASES[:1] if small else CASES:
        puzzle = load(name)
        wanted = request(puzzle, cycle, bounds=Bounds(half_length=4 if small else half_length))
        spec = find_spec(name, wanted)
        scope = scope_of(spec, puzzle)
        shelves = Engine().search(scope, goal_of(request_of(spec, puzzle), scope)).shelves
        data = results.find_result(spec, puzzle, scope, shelves, None, "")
        found = results.read(data)
        assert isinstance(found, results.FindResult)
        kept: list[float] = []
        anew: list[float] = []
        for image in _images(wanted, 2 if small else IMAGES):
            kept.append(least(partial(_from_kept, data, image), 1))
            anew.append(least(partial(_anew, found, image), 1))
        ratio = sorted(b / a for a, b in zip(kept, anew, strict=True))[len(kept) // 2]
        middle = [seconds(sorted(times)[len(times) // 2]) for times in (kept, anew)]
        rows.append(
            [
                f"{name} {cycle}",
                str(len(found.words)),
                f"{len(data):,}",
                *middle,
                f"{ratio:.1f}",
            ]
        )
    head = ["cycle", "words", "bytes", "from what is kept", "read anew", "ratio (median)"]
    yield Table("Answers from results", head, rows)


def _images(wanted: Request, count: int) -> list[Request]:
    """Return requests for images of a cycle, which share one result."""
    puzzle, draw = wanted.puzzle, random.Random(1)
    triple = wanted.triples()[0]
    result = []
    for symmetry in draw.choices(puzzle.symmetries, k=count):
        names = [placement_name(puzzle, int(symmetry.placements[p])) for p in triple]
        result.append(request(puzzle, names, bounds=wanted.bounds))
    return result


def _from_kept(data: bytes, wanted: Request) -> reports.Report:
    return readings.find(results.read(data), wanted, None, 10, False)


def _anew(found: results.FindResult, wanted: Request) -> reports.Report:
    own, setup = of_request(wanted), wanted.bounds.setup
    words = {w.turns: (w.cycle, read(wanted.puzzle, w.turns, setup)) for w in found.words}
    reach = found.coverage.half_length, found.coverage.long_steps()
    return reports.find(from_words(wanted, own, words, *reach, None, 10, False), None)
