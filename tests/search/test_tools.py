"""Tables of three-cycles: their costs and words against the plain simulator and `find`."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from puzzles import load
from puzzles.compile import compiled
from puzzles.errors import RequestError
from puzzles.file import parse as read_file
from puzzles.names import placement_name
from puzzles.notation import parse
from puzzles.stopping import stoppable
from puzzles.words import normal
from search.atlas_entries import cycles_of
from search.finding import find
from search.tools import UNKNOWN, Tools, tools_for
from tests.plain import assert_three_cycle


def tools(name: str, kind: str, kept: tuple[str, ...] | None = None) -> Tools:
    puzzle = load(name)
    own = next(t for t in puzzle.types if t.name == kind)
    numbers = None if kept is None else [t.number for t in puzzle.types if t.name in kept]
    return tools_for(puzzle, own, numbers)


@pytest.mark.parametrize(
    ("name", "kind", "count"),
    [
        # Of n pieces with t twists each there are n (n - 1) (n - 2) / 3 t^2 three-cycles.
        ("3x3x3", "corner", 8 * 7 * 6 // 3 * 9),
        ("3x3x3", "edge", 12 * 11 * 10 // 3 * 4),
        ("octahedron-faces", "centre1", 12 * 11 * 10 // 3),
        ("three-wheels", "bead", 15 * 14 * 13 // 3),
    ],
)
def test_every_three_cycle_has_a_cost(name: str, kind: str, count: int) -> None:
    own = tools(name, kind)
    triples = cycles_of(own.puzzle, own.kind)
    assert len(triples) == count
    assert own.cost(triples).max() < UNKNOWN


@pytest.mark.parametrize(
    ("name", "kind"), [("3x3x3", "corner"), ("3x3x3", "edge"), ("4x4x4", "centre")]
)
def test_words_do_their_cycles_and_have_at_most_their_cost(name: str, kind: str) -> None:
    own = tools(name, kind)
    triples = cycles_of(own.puzzle, own.kind)
    costs = own.cost(triples)
    for k in np.random.default_rng(1).choice(len(triples), 12, replace=False).tolist():
        word = own.word(triples[k])
        assert len(word) <= costs[k]
        assert_three_cycle(own.puzzle, word, triples[k].tolist())
        said = own.written(triples[k])
        assert said.word == word
        assert normal(own.puzzle, parse(own.puzzle, said.notation).word) == word


def test_costs_are_those_that_find_finds() -> None:
    own = tools("3x3x3", "corner")
    triples = cycles_of(own.puzzle, own.kind)
    for k in (3, 400, 1_000):
        names = [placement_name(own.puzzle, int(p)) for p in triples[k]]
        best = min(answer.turns for answer in find(own.puzzle, names).answers)
        assert int(own.cost(triples[k])) == best


def test_what_is_not_kept_makes_words_shorter() -> None:
    pure, loose = tools("octahedron-faces", "edge"), tools("octahedron-faces", "edge", ("edge",))
    triples = cycles_of(pure.puzzle, pure.kind)
    assert (loose.cost(triples) <= pure.cost(triples)).all()
    assert loose.cost(triples).mean() < pure.cost(triples).mean() - 5


def test_a_cycle_that_nothing_does_has_no_word() -> None:
    own = tools("3x3x3-halves", "corner")
    puzzle = own.puzzle
    homes = puzzle.home[list(own.kind.slots)[:3]].astype(np.int64)
    known = [
        (homes + np.array([0, *twists])).tolist()
        for twists in itertools.product(range(3), repeat=2)
        if own.cost(homes + np.array([0, *twists])) < UNKNOWN
    ]
    # On that puzzle corners are never twisted: of nine cycles of three slots, one can be done.
    assert len(known) == 1
    twisted = [known[0][0], known[0][1], int(homes[2]) + (known[0][2] - homes[2] + 1) % 3]
    with pytest.raises(RequestError, match="no sequence is known"):
        own.word(twisted)


#: Four twisted places and two turns, 192 arrangements, of which three-cycles have no commutator.
FEW = """
description = "Two turns of four places."
shape = "written"
places = 4
twists = {"1-4" = 2}
[[turns]]
name = "A"
cycles = "(4 2 1) (3+1)"
[[turns]]
name = "B"
cycles = "(3 2) (1+1 4)"
"""


def test_a_search_in_a_small_group_ends() -> None:
    """Longer words of a group with few elements bring no new ones, so that they are not met."""
    puzzle = compiled("own", read_file(FEW, "own.toml"))
    tools = tools_for(puzzle, puzzle.types[0])
    assert tools.can_be_done
    assert (tools.cost(cycles_of(puzzle, puzzle.types[0])) == UNKNOWN).all()
    assert tools.shelves.half_length <= 10


def test_a_search_for_a_table_can_be_stopped() -> None:
    """Whoever waits for a table of three-cycles need not wait for its end."""

    class EndedError(Exception):
        pass

    def end() -> None:
        raise EndedError

    with stoppable(end), pytest.raises(EndedError):
        tools_for(load("three-wheels"), load("three-wheels").types[0])
