"""Inserts: each against multiplying out plainly, pairs against a graph, and common practice."""

from __future__ import annotations

from collections import Counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from puzzles import Puzzle, load
from puzzles.names import placement_name, slot_names
from puzzles.notation import parse, write
from puzzles.puzzle import Word
from search import inserts

PUZZLES = [
    "2x2x2",
    "3x3x3",
    "3x3x3-slices",
    "3x3x3-stops",
    "tetrahedron-corners",
    "cube-edges",
    "octahedron-faces",
    "three-wheels",
]


def turns(puzzle: Puzzle, written: str) -> Word:
    return parse(puzzle, written).word


class Plain:
    """A puzzle as dictionaries: pieces by their names at places by theirs, moved one by one."""

    def __init__(self, puzzle: Puzzle) -> None:
        self.puzzle = puzzle
        self.places = [
            (int(s), int(x)) for s, x in zip(puzzle.slot_of, puzzle.twist_of, strict=True)
        ]
        self.tables = [
            {self.places[p]: self.places[int(q)] for p, q in enumerate(row)} for row in puzzle.moves
        ]
        self.backs = [{end: start for start, end in table.items()} for table in self.tables]

    def ends(self, word: Word) -> dict[tuple[int, int], tuple[int, int]]:
        """Return where everything is after a word."""
        there = {place: place for place in self.places}
        for turn in word:
            there = {start: self.tables[turn][place] for start, place in there.items()}
        return there

    def slipped(self, word: Word, turn: int) -> dict[tuple[int, int], tuple[int, int]]:
        """Return where everything is after A Z A' Z', undone by going the turns' arrows back."""
        there = {place: place for place in self.places}
        steps = [self.tables[t] for t in (*word, turn)]
        steps += [self.backs[t] for t in (*word[::-1], turn)]
        for step in steps:
            there = {start: step[place] for start, place in there.items()}
        return there

    def out(self, word: Word) -> set[int]:
        """Return the slots whose piece is away or twisted."""
        return {slot for (slot, x), end in self.ends(word).items() if end != (slot, x)}

    def moved(self, layer: int) -> set[int]:
        """Return the slots that some turn of a layer moves or twists."""
        own = [t for t, turn in enumerate(self.puzzle.turn_layer) if turn == layer]
        return {s for t in own for (s, x), end in self.tables[t].items() if end != (s, x)}


def plainly(there: dict[tuple[int, int], tuple[int, int]]) -> str:
    """Return what an effect is, from where things are alone."""
    moved = {start[0]: end[0] for start, end in there.items() if start != end}
    if not moved:
        return "nothing"
    away = {slot: end for slot, end in moved.items() if slot != end}
    if len(moved) == 3 == len(away):
        # Three times over a three-cycle is the identity, twists and all.
        thrice = all(there[there[there[start]]] == start for start in there)
        return "three-cycle" if thrice else "other"
    return "pair of twists" if len(moved) == 2 and not away else "other"


@pytest.mark.parametrize("name", PUZZLES)
@settings(max_examples=25, deadline=None)
@given(data=st.data())
def test_every_insert_is_what_multiplying_out_gives(name: str, data: st.DataObject) -> None:
    puzzle = load(name)
    plain = Plain(puzzle)
    numbers = st.integers(0, len(puzzle.turns) - 1)
    # Words of the trade are often X Y X' Y', which chance would seldom come upon.
    x, y = data.draw(numbers), data.draw(numbers)
    pair = inserts.around(puzzle, (x,), (y,)) * data.draw(st.integers(0, 2))
    word = pair + tuple(data.draw(st.lists(numbers, max_size=3)))
    out = plain.out(word)
    expected = {
        layer: held.pop()
        for layer in range(len(puzzle.layers))
        if len(held := out & plain.moved(layer)) == 1
    }
    found = inserts.singles(puzzle, word)
    assert {single.layer: single.slot for single in found} == expected
    for single in found:
        ends = {slot for slot, x in (plain.ends(word)[single.slot, 0],)}
        assert single.twisted == (ends == {single.slot})
        assert [puzzle.turn_layer[i.turn] for i in single.inserts] == [single.layer] * sum(
            puzzle.turn_layer == single.layer
        )
    for turn in {data.draw(numbers), *(i.turn for single in found for i in single.inserts)}:
        one = inserts.insert(puzzle, word, turn)
        there = plain.slipped(word, turn)
        if one.gives == "blocked":
            assert puzzle.can_block
            assert puzzle.first_blocked(inserts.around(puzzle, word, (turn,))) is not None
            continue
        assert one.gives == plainly(there)
        told = {p: q for c in one.cycles for p, q in zip(c, c[1:] + c[:1], strict=True)}
        assert {plain.places[p]: plain.places[q] for p, q in told.items()} == {
            start: end for start, end in there.items() if plain.places.index(start) in told
        }
        assert {slot for slot, _ in (plain.places[p] for p in told)} == {
            start[0] for start, end in there.items() if start != end
        }


@pytest.mark.parametrize("name", PUZZLES)
def test_what_is_disturbed_by_type_is_all_that_is(name: str) -> None:
    puzzle, plain = load(name), Plain(load(name))
    for pair in inserts.pairs(puzzle):
        word = pair.word(puzzle)
        ends = plain.ends(word)
        displaced = [slot for own in pair.disturbs for slot in own.displaced]
        twisted = [slot for own in pair.disturbs for slot in own.twisted]
        assert set(displaced) | set(twisted) == plain.out(word)
        assert all(ends[slot, 0][0] != slot for slot in displaced)
        assert all(ends[slot, 0][0] == slot for slot in twisted)
        for own in pair.disturbs:
            kind = puzzle.types[own.type]
            assert all(slot in kind.slots for slot in own.displaced + own.twisted)


@pytest.mark.parametrize("name", PUZZLES)
def test_pairs_are_one_of_each_class(name: str) -> None:
    """The classes are the parts of the graph whose lines are symmetries and the other order."""
    import networkx

    puzzle, plain = load(name), Plain(load(name))
    graph = networkx.Graph()
    for x in range(len(puzzle.turns)):
        for y in range(len(puzzle.turns)):
            if puzzle.turn_layer[x] == puzzle.turn_layer[y]:
                continue
            word = inserts.around(puzzle, (x,), (y,))
            if plain.out(word) and puzzle.first_blocked(word) is None:
                graph.add_edge((x, y), (x, y))
    for x, y in list(graph):
        images = [(int(s.turns[x]), int(s.turns[y])) for s in puzzle.symmetries]
        # Blocks that other turns meet may let a word through and not its undoing.
        others = [(y, x), *images, *(image[::-1] for image in images)]
        graph.add_edges_from(((x, y), other) for other in others if other in graph)
    found = list(inserts.pairs(puzzle))
    parts = list(networkx.connected_components(graph))
    told = [next(k for k, part in enumerate(parts) if (p.first, p.second) in part) for p in found]
    assert sorted(told) == sorted(set(told))
    if not puzzle.can_block:
        assert len(told) == len(parts)
        assert [pair.stands_for for pair in found] == [len(parts[k]) for k in told]


def test_common_practice() -> None:
    """Common practice: with R U R' U' as A, L holds UBL and D holds DFR; L, L' and L2 give three
    different cycles that share UBL and UBR; [R U R' U', L'] is UFL to RBU to BLU."""
    puzzle = load("3x3x3")
    names = slot_names(puzzle)
    found = {
        puzzle.layers[single.layer].name: single
        for single in inserts.singles(puzzle, turns(puzzle, "R U R' U'"))
    }
    assert {layer: names[single.slot] for layer, single in found.items()} == {
        "L": "UBL",
        "D": "DFR",
    }
    cycles = [insert.cycles[0] for insert in found["L"].inserts]
    assert [insert.gives for insert in found["L"].inserts] == ["three-cycle"] * 3
    slots = [{names[puzzle.slot_of[p]] for p in cycle} for cycle in cycles]
    assert set.intersection(*slots) == {"UBL", "UBR"}
    assert len({frozenset(own) for own in slots}) == 3
    back = next(i for i in found["L"].inserts if write(puzzle, (i.turn,)) == "L'")
    assert [placement_name(puzzle, p) for p in back.cycles[0]] == ["UFL", "RUB", "BUL"]


def test_twists_and_nothing() -> None:
    """Common practice: [(R' D' R D)2, U] twists a pair; tetrahedron: [U R U', r] does nothing."""
    puzzle = load("3x3x3")
    found = inserts.singles(puzzle, turns(puzzle, "R' D' R D R' D' R D"))
    top = next(single for single in found if puzzle.layers[single.layer].name == "U")
    assert top.twisted
    assert {insert.gives for insert in top.inserts} == {"pair of twists"}
    puzzle = load("tetrahedron-corners")
    (turn,) = turns(puzzle, "r")
    assert inserts.insert(puzzle, turns(puzzle, "U R U'"), turn).gives == "nothing"


def test_a_pair_of_a_cube() -> None:
    """Two neighbouring faces by quarters, as anybody can try: 3 edges and 4 corners are away.

    On the 3x3x3 there are 12 x 2 ordered neighbours with 3 x 3 amounts, 216 pairs, in four classes:
    both quarters the same way round or not, a quarter and a half turn, two half turns.
    """
    puzzle = load("3x3x3")
    found = list(inserts.pairs(puzzle))
    assert sorted(pair.stands_for for pair in found) == [24, 48, 48, 96]
    own = next(p for p in found if write(puzzle, p.word(puzzle)) == "U F U' F'")
    counts = {puzzle.types[d.type].name: len(d.displaced) for d in own.disturbs}
    assert counts == {"corner": 4, "edge": 3}
    assert all(not d.twisted for d in own.disturbs)
    assert own.offers == Counter({"three-cycle": 6})
