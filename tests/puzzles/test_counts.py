"""Positions by distance from solved, counted breadth first, against published tables."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from puzzles import Puzzle, load

DATA = Path(__file__).parent.parent / "data"
FILES = sorted(path.stem for path in DATA.glob("counts-*.txt"))

#: Where a table is not counted to its end: the most positions that are looked at for one distance.
MOST_POSITIONS = 2_000_000


@dataclass(frozen=True)
class CountTable:
    """A published table: what was counted, and how many positions are 0, 1, 2, … turns away."""

    source: str
    about: dict[str, str]
    counts: list[int]


def table(name: str) -> CountTable:
    """Read a table: its source on the first line, what was counted on the second, the counts."""
    source, about, counts = (DATA / f"{name}.txt").read_text(encoding="utf-8").splitlines()
    entries = dict(entry.split(": ", 1) for entry in about.removeprefix("# ").split("; "))
    return CountTable(source, entries, [int(word) for word in counts.split()])


def allowed(puzzle: Puzzle, about: dict[str, str]) -> list[int]:
    """The turns that a table counts as one: any amount, or only a quarter either way."""
    names = about.get("layers", " ".join(layer.name for layer in puzzle.layers)).split()
    return [
        number
        for number, turn in enumerate(puzzle.turns)
        if turn.layer in names and (about["turns"] == "any" or turn.amount in (1, 3))
    ]


def counted(puzzle: Puzzle, types: list[str], turns: list[int], most: int) -> list[int]:
    """Count positions by distance, until there are no more or ``most`` would have to be looked at.

    A position is a row of placements, one a piece. Rows are told apart by keys of 64 bits: exact
    where the placements fit into 64 bits, random ones otherwise (a mistake then has a chance of
    one in a million million). As turns can be undone, a new position is at most one turn farther
    from solved than the position it comes from, and at least one turn nearer.
    """
    kinds = [kind for kind in puzzle.types if kind.name in types]
    assert len(kinds) == len(types)
    slots = [slot for kind in kinds for slot in kind.slots]
    moves = puzzle.moves[turns].astype(np.int16)
    values = key_values(puzzle, slots)
    frontier = puzzle.home[slots].astype(np.int16)[None]
    last: NDArray[np.uint64] = np.empty(0, dtype=np.uint64)
    this = keys(values, frontier)
    counts = [1]
    while len(frontier) * len(turns) <= most:
        found = np.concatenate([keys(values, row[frontier]) for row in moves])
        found, first = np.unique(found, return_index=True)
        new = ~(np.isin(found, this, assume_unique=True) | np.isin(found, last, assume_unique=True))
        found, first = found[new], first[new]
        if len(found) == 0:
            break
        counts.append(len(found))
        turn, origin = first // len(frontier), first % len(frontier)
        frontier = moves[turn[:, None], frontier[origin]]
        last, this = this, found
    return counts


def key_values(puzzle: Puzzle, slots: list[int]) -> NDArray[np.uint64]:
    """One value for each piece and placement; their sum tells positions apart."""
    kinds = [next(kind for kind in puzzle.types if slot in kind.slots) for slot in slots]
    sizes = [kind.count * kind.twists for kind in kinds]
    values = np.zeros((len(slots), puzzle.placement_count), dtype=np.uint64)
    exact = sum(np.log2(sizes)) < 64
    random = np.random.default_rng(1)
    weight = 1
    for row, kind, size in zip(values, kinds, sizes, strict=True):
        own = np.arange(size, dtype=np.uint64) * np.uint64(weight)
        row[list(kind.placements)] = own if exact else random.integers(2**64, size=size, dtype="u8")
        weight = weight * size if exact else 0
    return values


def keys(values: NDArray[np.uint64], positions: NDArray[np.int16]) -> NDArray[np.uint64]:
    result = np.zeros(len(positions), dtype=np.uint64)
    for piece, row in enumerate(values):
        result += row[positions[:, piece]]
    return result


@pytest.mark.parametrize("name", FILES)
def test_as_many_positions_as_published(name: str) -> None:
    known = table(name)
    puzzle = load(known.about["puzzle"])
    complete = known.about["complete"] == "yes"
    most = 10**9 if complete else MOST_POSITIONS
    counts = counted(puzzle, known.about["types"].split(), allowed(puzzle, known.about), most)
    if complete:
        assert counts == known.counts
    else:
        assert len(counts) >= 6
        assert counts == known.counts[: len(counts)]


def test_sums_of_the_complete_tables_are_the_known_orders() -> None:
    """OEIS A075152, term 2; the sum of OEIS A079745; the tetrahedron's from memory."""
    orders = {"2x2x2": 3_674_160, "cube-corners": 3_149_280, "tetrahedron-corners": 933_120}
    for name, order in orders.items():
        assert sum(table(f"counts-{name}").counts) == order


def test_every_table_names_its_source() -> None:
    assert FILES
    for name in FILES:
        assert table(name).source.startswith(("# OEIS A", "# From memory"))
