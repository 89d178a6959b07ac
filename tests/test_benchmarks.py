"""The benchmarks run and measure what they say, at a tiny size."""

from __future__ import annotations

import pytest

from puzzles import load
from tests.benchmarks.__main__ import BENCHMARKS, main
from tests.benchmarks.plain import enumerate_rings, ring
from tests.benchmarks.reference import is_word_for
from tests.benchmarks.same import Rings, closed, starts
from tests.benchmarks.tables import Table


@pytest.mark.parametrize("name", BENCHMARKS)
def test_every_benchmark_prints_tables(name: str) -> None:
    tables = list(BENCHMARKS[name](True))
    assert tables
    for table in tables:
        assert table.rows
        assert all(len(row) == len(table.head) for row in table.rows)
        assert table.markdown().count("\n|") >= len(table.rows) + 1


def test_an_unknown_benchmark_is_named(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["joins"]) == 2
    assert "'joins'" in capsys.readouterr().err


def test_a_table_is_aligned() -> None:
    text = Table("T", ["a", "long"], [["1", "2"]]).markdown()
    assert text == "### T\n\n| a   | long |\n|-----|------|\n| 1   | 2    |"


def test_both_plain_enumerations_find_what_a_ring_is() -> None:
    puzzle = load("2x2x2")
    looked, rings = enumerate_rings(puzzle, 4, True)
    again, slowly = enumerate_rings(puzzle, 4, False)
    assert looked == again
    assert (rings == slowly).all()
    homes = puzzle.home.tolist()
    for row in rings.tolist():
        effect = puzzle.effect(ring(puzzle, row))
        assert sum(effect[p] != p for p in homes) == 3


def test_comparing_notices_a_ring_that_is_missing_and_one_too_many() -> None:
    puzzle = load("2x2x2")
    _, rows = enumerate_rings(puzzle, 5, True)
    words = [ring(puzzle, row) for row in rows.tolist()]
    known = Rings(puzzle)
    known.add_with_images(words)
    assert known.count > 1
    assert known.compare(words) == (known.count, 0)
    assert known.compare(words[:1]) == (1, 0)
    assert Rings(puzzle).compare(words[:1]) == (0, 1)


def test_a_closed_word_is_shortened_all_the_way() -> None:
    puzzle = load("3x3x3")
    up, right, down = (puzzle.turn(puzzle.layer_numbers[name], 1) for name in "URD")
    assert up is not None
    assert right is not None
    assert down is not None
    inside = (right, down, right)
    back = puzzle.inverse((up, down))
    assert closed(puzzle, (up, down, *inside, *back)) in starts(puzzle, (down, right, right))


def test_a_word_of_another_system_is_checked() -> None:
    puzzle = load("2x2x2")
    effect = puzzle.effect((0, 3)).tolist()
    assert is_word_for(puzzle, (0, 3), effect)
    assert not is_word_for(puzzle, (3, 0), effect)
