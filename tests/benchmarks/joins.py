"""The join against plain enumeration, and level by level; from rings to the catalogue."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

import numpy as np
from numpy.typing import NDArray

from puzzles import load
from search import atlas, classes, rings
from search.columns import columns
from search.encoding import Scope, scope
from search.kernels.records import LONGEST_PART, RECORD
from tests.benchmarks.plain import enumerate_rings, ring
from tests.benchmarks.same import Rings
from tests.benchmarks.tables import Table, against, least, seconds, timed

#: Seconds for everything up to a half-length, 3x3x3, one core.
TARGETS = {7: 0.02, 8: 0.15, 9: 1.5, 10: 15.0}
#: How many times as fast as plain enumeration the join has to be at half-length 6.
RATIO = 2000
#: The catalogue may take as long as the join, or this many seconds.
CATALOGUE_SECONDS = 0.1
#: A measurement is repeated until this many seconds are spent, at most REPEATS times.
SPENT = 4.0
REPEATS = 40

Records = NDArray[np.uint8]


def found(wanted: Scope, half_length: int) -> Records:
    """Return the records of all rings of one half-length, by one thread."""
    return np.concatenate(
        [np.zeros((0, RECORD), np.uint8)]
        + [part.records for part in rings.level(wanted, half_length)]
    )


def anew(wanted: Scope, half_length: int) -> None:
    """Do all levels up to a half-length, tables of keys and classes of words included."""
    columns.cache_clear()
    classes.forget()
    for level in range(1, half_length + 1):
        found(wanted, level)


def levels(wanted: Scope, deepest: int) -> tuple[list[float], list[Records]]:
    """Return the seconds of each level, and its records, from level 1 on; with warm tables."""
    times, records = [], []
    for level in range(1, deepest + 1):
        records.append(found(wanted, level))
        once = least(partial(found, wanted, level), 1)
        more = int(min(REPEATS, SPENT / max(once, 1e-4)))
        times.append(min(once, least(partial(found, wanted, level), more)) if more else once)
    return times, records


def join(small: bool = False) -> Iterator[Table]:
    """Compare the join with plain enumeration, then time it level by level."""
    puzzle = load("3x3x3")
    wanted = scope(puzzle)
    deep = 4 if small else 6
    enumerate_rings(puzzle, 2, True)
    times, records = levels(wanted, deep)
    rows = []
    everything: list[list[int]] = []
    plain = {True: 0.0, False: 0.0}
    for level in range(2, deep + 1):
        results = {}
        for early in (False, True):
            work = partial(enumerate_rings, puzzle, level, early)
            spent, results[early] = timed(work, 1 if level == deep else 2)
            plain[early] += spent
        looked, hits = results[True]
        everything += hits.tolist()
        if looked != results[False][0] or len(hits) != len(results[False][1]):
            raise AssertionError("the two plain enumerations differ")
        if level < deep - 1:
            continue
        known = Rings(puzzle)
        known.add_with_images(w for part in records[:level] for w in words(wanted, part))
        reached, strange = known.compare(ring(puzzle, row) for row in everything)
        if reached != known.count or strange:
            raise AssertionError(
                f"up to half-length {level}: of the join's {known.count} rings plain enumeration "
                f"reached {reached}, and found {strange} that the join did not"
            )
        total = sum(times[:level])
        rows.append(
            [
                str(level),
                f"{looked:,}",
                f"{known.count:,}",
                seconds(plain[False]),
                seconds(plain[True]),
                seconds(total),
                f"{plain[False] / total:,.0f}",
                f"{plain[True] / total:,.0f}",
            ]
        )
    yield Table(
        "Plain enumeration against the join: 3x3x3, everything kept, one core",
        ["half-length up to", "X, Y, Z of this half-length", "different rings, both",
         "turn by turn", "with early exit", "join", "ratio, turn by turn", "ratio, early exit"],
        rows,
        [f"Target: {RATIO:,} times at 6. Processor time, least of several repeats. Both find the "
         "same rings: plain enumeration reaches all images of the join's, and no others."],
    )  # fmt: skip
    deep = 5 if small else 10
    deeper, _ = levels(wanted, deep)
    rows = []
    for level in range(5 if small else 6, deep + 1):
        total = sum(deeper[:level])
        fresh = least(partial(anew, wanted, level), 3 if level < 9 else 1)
        target = against(total, TARGETS[level]) if level in TARGETS else ""
        rows.append(
            [str(level), seconds(deeper[level - 1]), seconds(total), seconds(fresh), target]
        )
    yield Table(
        "The join, level by level: 3x3x3, everything kept, one core",
        ["half-length", "this level", "all up to it", "with tables made anew", "target"],
        rows,
        ["Processor time, least of several repeats, kernels compiled. Made anew: the table of keys "
         "and the classes of words, which a first search makes."],
    )  # fmt: skip


def words(wanted: Scope, records: Records) -> Iterator[tuple[int, ...]]:
    """Yield the words C1 w1 w2' C2' w2 w1' of rings, in the puzzle's numbers of turns."""
    for record in records:
        lengths = (record[1], record[1], record[2], record[3])
        c1, c2, w1, w2 = (
            tuple(wanted.turns[record[4 + k * LONGEST_PART :][:length]].tolist())
            for k, length in enumerate(lengths)
        )
        back = wanted.puzzle.inverse
        yield c1 + w1 + back(w2) + back(c2) + w2 + back(w1)


def catalogue(small: bool = False) -> Iterator[Table]:
    """Time the way from rings to the best sequences for every three-cycle, beside the join."""
    rows = []
    cases = [("3x3x3", 4 if small else 8)]
    if not small:
        cases += [("3x3x3-slices", 6), ("4x4x4", 6), ("dodecahedron-faces", 6)]
    for name, deep in cases:
        wanted = scope(load(name))
        times, records = levels(wanted, deep)
        shelves = atlas.empty(wanted)
        rows_from = deep if deep < 7 else 5
        for level in range(1, deep + 1):
            work = partial(atlas.with_rings, wanted, shelves, records[level - 1], level)
            spent = least(work, 10)
            shelves = work()
            if level < rows_from:
                continue
            limit = max(times[level - 1], CATALOGUE_SECONDS)
            rows.append(
                [
                    name,
                    str(level),
                    f"{len(records[level - 1]):,}",
                    seconds(times[level - 1]),
                    seconds(spent),
                    f"{spent / times[level - 1]:.2f}",
                    "met" if spent <= limit else "**missed**",
                ]
            )
    yield Table(
        "From rings to the catalogue: everything kept, one core",
        ["puzzle", "half-length", "rings", "join", "catalogue", "ratio", "join's time or 0.1 s"],
        rows,
        ["This level alone. Processor time, least of several repeats, kernels compiled."],
    )
