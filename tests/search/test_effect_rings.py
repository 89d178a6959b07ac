"""Rings for other effects than three-cycles against brute force: all that move so many pieces."""

from __future__ import annotations

import pytest

from puzzles import load
from puzzles.puzzle import Puzzle, Word
from search import rings
from search.encoding import effect_scope
from tests.brute import Brute, carried, core
from tests.search.test_rings import written

#: Puzzle, how many pieces of which types an effect moves, half-length.
SHAPES = [
    ("2x2x2", {"corner": 2}, 5),
    ("2x2x2", {"corner": 4}, 4),
    ("2x2x2", {"corner": 5}, 4),
    ("3x3x3", {"corner": 4}, 4),
    ("3x3x3", {"edge": 5}, 4),
    ("3x3x3", {"corner": 2, "edge": 3}, 5),
    ("3x3x3", {"corner": 3, "edge": 3}, 5),
    ("3x3x3", {"corner": 4, "edge": 3}, 4),
    ("3x3x3-slices", {"edge": 5}, 4),
    ("tetrahedron-corners", {"edge": 2}, 5),
    ("tetrahedron-corners", {"edge": 5}, 4),
    ("cube-corners", {"axis-corner": 2}, 6),
    ("octahedron-faces", {"edge": 5}, 4),
]


def counts(puzzle: Puzzle, names: dict[str, int]) -> dict[int, int]:
    found = {}
    for name, count in names.items():
        kind = puzzle.type_named(name)
        assert kind is not None, [t.name for t in puzzle.types]
        found[kind.number] = count
    return found


def joined(puzzle: Puzzle, moved: dict[int, int], half_length: int) -> set[Word]:
    scope = effect_scope(puzzle, None, None, tuple(sorted(moved.items())))
    found: set[Word] = set()
    for level in range(1, half_length + 1):
        for part in rings.level(scope, level):
            for word in written(scope, part.records):
                least = core(puzzle, word)
                if least not in found:
                    found |= carried(puzzle, least, scope.symmetries)
    return found


@pytest.mark.parametrize(("name", "shape", "half_length"), SHAPES)
def test_the_join_has_every_ring_of_brute_force(
    name: str, shape: dict[str, int], half_length: int
) -> None:
    puzzle = load(name)
    moved = counts(puzzle, shape)
    brute = Brute(puzzle, moved=moved)
    expected = brute.rings(half_length)
    found = joined(puzzle, moved, half_length)
    assert expected <= found
    # Of several types the join counts all pieces together; what moves others is left out later.
    assert len(moved) > 1 or all(brute.is_wanted(word) for word in found)
    assert all(len(word) <= 2 * half_length for word in found)
