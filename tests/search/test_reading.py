"""Sequences read back: structure that cancelling and merging hide, and words that have none."""

from __future__ import annotations

import itertools
import random
from collections import Counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from puzzles import Puzzle, brackets, load
from puzzles.brackets import Commutator, Conjugate, Repeat, Sequence, Tree
from puzzles.effects import cycles, effect_of
from puzzles.notation import parse, plain, write
from puzzles.puzzle import Word
from puzzles.words import normal
from search.arcs import Budget
from search.reading import FOUND, LONGEST, NEVER, NOT_FOUND, inverted, leaves, read, written_out
from search.reading_cuts import conjugator, cut_open
from search.reading_levels import Level, carried, levels
from search.reading_moves import neighbours
from search.traces import alphabet
from tests.plain import named
from tests.plain import plain as sampled

NAMES = (
    "3x3x3",
    "3x3x3-slices",
    "4x4x4",
    "dodecahedron-faces",
    "octahedron-faces",
    "ball-sixths",
)


def turns(puzzle: Puzzle, written: str) -> Word:
    return parse(puzzle, written).word


class Maker:
    """Makes random nested brackets in a few layers of a puzzle, so that much cancels and merges."""

    def __init__(self, puzzle: Puzzle, seed: int) -> None:
        self.puzzle, self.random = puzzle, random.Random(seed)
        self.layers: list[int] = []

    def word(self, least: int, most: int) -> Tree:
        turns = [
            t for t in range(len(self.puzzle.turns)) if self.puzzle.turn_layer[t] in self.layers
        ]
        size = self.random.randint(least, most)
        return plain(self.puzzle, [self.random.choice(turns) for _ in range(size)])

    def part(self, depth: int) -> Tree:
        chance = self.random.random()
        if depth == 0 or chance < 0.4:
            return self.word(1, 3)
        if chance < 0.65:
            return Commutator(self.part(depth - 1), self.part(depth - 1))
        if chance < 0.8:
            return Conjugate(self.word(1, 2), self.part(depth - 1))
        if chance < 0.88:
            return Repeat(Commutator(self.word(1, 1), self.word(1, 1)), self.random.randint(2, 3))
        row: list[Tree] = []
        for part in (self.part(depth - 1), self.word(1, 2)):
            row += part.parts if isinstance(part, Sequence) else (part,)
        return Sequence(tuple(row))

    def made(self) -> Tree:
        """Return a commutator of parts up to two brackets deep, every second one with a setup."""
        many = len(self.puzzle.layers)
        self.layers = self.random.sample(range(many), min(many, self.random.randint(2, 6)))
        depth = self.random.choice((0, 1, 1, 2))
        inside = Commutator(self.part(depth), self.part(depth))
        return Conjugate(self.word(1, 3), inside) if self.random.random() < 0.5 else inside


def test_two_hundred_known_structures_are_read_back(capsys: pytest.CaptureFixture[str]) -> None:
    """All are read as a commutator with no more turns in its brackets than they were made of."""
    read_back: Counter[str] = Counter()
    executed = hidden = shorter = 0
    for seed, name in enumerate(NAMES):
        puzzle = load(name)
        maker = Maker(puzzle, seed)
        while read_back[name] < (35 if seed < 2 else 33):
            tree = maker.made()
            word = written_out(puzzle, tree)
            if not 1 < len(word) <= 30:
                continue
            found = read(puzzle, word)
            said = f"{name}: {brackets.text(tree)} = {write(puzzle, word)}"
            assert found.commutator == FOUND, said
            assert found.things <= leaves(tree), f"{said}: {brackets.text(found.tree)}"
            assert normal(puzzle, turns(puzzle, brackets.text(found.tree))) == word
            assert written_out(puzzle, inverted(found.tree)) == normal(puzzle, puzzle.inverse(word))
            image = maker.random.randrange(len(puzzle.symmetries))
            turned = puzzle.symmetries[image].turns[list(word)].tolist()
            assert written_out(puzzle, carried(puzzle, found.tree, image)) == normal(puzzle, turned)
            read_back[name] += 1
            executed += len(word)
            hidden += len(word) < brackets.count(tree)
            shorter += found.things < leaves(tree)
    total = sum(read_back.values())
    assert total >= 200
    with capsys.disabled():
        print(
            f"\n{total} generated sequences of {executed / total:.1f} turns on average, {hidden} of"
            f" them with turns that cancelled or merged: all read back, {shorter} in fewer turns"
        )


def test_conjugates_of_what_is_no_commutator() -> None:
    for seed, name in enumerate(NAMES):
        puzzle = load(name)
        maker = Maker(puzzle, seed)
        for _ in range(20):
            maker.layers = list(range(len(puzzle.layers)))
            tree = Conjugate(maker.word(1, 3), maker.word(1, 5))
            word = written_out(puzzle, tree)
            found = read(puzzle, word)
            ring = alphabet(puzzle).peeled(word)[1]
            if len(ring) < len(word):
                assert isinstance(found.tree, Conjugate), brackets.text(tree)
            assert found.things <= leaves(tree)


@pytest.mark.parametrize(
    ("name", "sequence", "expected", "state"),
    [
        # Common practice, as in test_brackets: nested, merged with the setup, cut inside a turn.
        ("3x3x3", "R U R' U' L' U R U' R' L", "[[R, U], L']", FOUND),
        ("3x3x3", "R' D' R D R' D' R D U D' R' D R D' R' D R U'", "[[R', D']2, U]", FOUND),
        ("3x3x3", "F R U R' U' F'", "[F: [R, U]]", FOUND),
        ("3x3x3", "F R' F L2 F' R F L2 F2", "[[F: R'], [F2: L2]]", FOUND),
        ("3x3x3-slices", "M' U2 M U2", "[M', U2]", FOUND),
        # Parallel layers in any order, and a turn that cancelled across another.
        ("3x3x3", "R L U L' R' U'", "[L R, U]", FOUND),
        ("3x3x3", "R U F D' R' U' F' D", "[R U D, D' F U]", FOUND),
        # A power of a commutator is none in a free product, unless the turns undo themselves.
        ("3x3x3", "(R U R' U')3", "[R, U]3", NOT_FOUND),
        ("3x3x3", "R2 U2 R2 U2", "[R2, U2]", FOUND),
        ("3x3x3", "R U R", "[R: U R2]", NEVER),
        ("3x3x3", "R U", "R U", NEVER),
        ("3x3x3", "R U U' R'", "", NOT_FOUND),
        ("3x3x3", "(R U R' F)63", "([R: U] F)63", NEVER),
    ],
)
def test_known_readings(name: str, sequence: str, expected: str, state: str) -> None:
    puzzle = load(name)
    found = read(puzzle, turns(puzzle, sequence))
    assert brackets.text(found.tree) == expected
    assert found.commutator == state


def test_a_nested_bracket_is_found_within_a_merged_one() -> None:
    """[R, U] U2 merges; read as it stands, nothing is nested in it."""
    puzzle = load("3x3x3")
    found = read(puzzle, turns(puzzle, "[[[R, U], U2 F], D]"))
    assert found.commutator == FOUND
    assert found.things == 5


@pytest.mark.parametrize("name", NAMES)
def test_random_words_are_never_called_commutators(name: str) -> None:
    """In a commutator the turns of every layer sum to nothing: a homomorphism to abelian groups."""
    puzzle, chance = load(name), random.Random(3)
    for size in (4, 9, 20, 40):
        for _ in range(15):
            word = tuple(chance.randrange(len(puzzle.turns)) for _ in range(size))
            sums: Counter[str] = Counter()
            for turn in word:
                sums[puzzle.turns[turn].layer] += puzzle.turns[turn].amount
            odd = any(total % puzzle.layer(layer).steps for layer, total in sums.items())
            if odd:
                assert read(puzzle, word).commutator == NEVER


def test_short_words_against_brute_force() -> None:
    """Words of two layers of thirds, a free product: commutators exactly where A and B exist.

    All A and B of up to five turns; by Wicks a commutator of six turns has such.
    """
    puzzle = load("cube-corners")
    letters = [t for layer in (0, 1) for a in (1, 2) if (t := puzzle.turn(layer, a)) is not None]
    short = [w for k in range(1, 6) for w in itertools.product(letters, repeat=k)]
    reduced = [w for w in short if normal(puzzle, w) == w]
    undone = puzzle.inverse
    true = {normal(puzzle, a + b + undone(a) + undone(b)) for a in reduced for b in reduced}
    for size in (4, 6):
        for word in itertools.product(letters, repeat=size):
            if normal(puzzle, word) == word:
                called = read(puzzle, word).commutator == FOUND
                assert called == (word in true), write(puzzle, word)


@st.composite
def words(draw: st.DrawFn) -> tuple[str, Word]:
    name = draw(st.sampled_from(NAMES))
    turn = st.integers(0, len(load(name).turns) - 1)
    return name, tuple(draw(st.lists(turn, max_size=14)))


@settings(max_examples=60, deadline=None)
@given(words())
def test_every_tree_multiplies_out(case: tuple[str, Word]) -> None:
    puzzle, word = load(case[0]), case[1]
    found = read(puzzle, word)
    assert written_out(puzzle, found.tree) == found.word == normal(puzzle, word)
    assert (puzzle.effect(turns(puzzle, brackets.text(found.tree))) == puzzle.effect(word)).all()
    assert found.things <= max(len(found.word), 0)
    back = inverted(found.tree)
    assert written_out(puzzle, back) == normal(puzzle, puzzle.inverse(word))
    assert leaves(back) == found.things


@settings(max_examples=40, deadline=None)
@given(words(), st.data())
def test_trees_are_carried_by_symmetries(case: tuple[str, Word], data: st.DataObject) -> None:
    puzzle, word = load(case[0]), case[1]
    number = data.draw(st.integers(0, len(puzzle.symmetries) - 1))
    image = carried(puzzle, read(puzzle, word).tree, number)
    turned = puzzle.symmetries[number].turns[list(word)].tolist() if word else []
    assert written_out(puzzle, image) == normal(puzzle, turned)


@pytest.mark.parametrize("name", ["3x3x3", "dodecahedron-faces", "ball-sixths"])
def test_cut_open_readings_and_their_moves_multiply_out(name: str) -> None:
    puzzle, chance = load(name), random.Random(8)
    letters, undone = alphabet(puzzle), puzzle.inverse
    for _ in range(12):
        a, b = (tuple(chance.randrange(len(puzzle.turns)) for _ in range(5)) for _ in range(2))
        word = normal(puzzle, a + b + undone(a) + undone(b))
        found = cut_open(puzzle, word, Budget())
        assert found or not word
        for triple in found[:3]:
            for s, x, y in (triple, *neighbours(letters, triple)):
                whole = s + x + y + undone(x) + undone(y) + undone(s)
                assert normal(puzzle, whole) == word


def test_conjugators() -> None:
    puzzle = load("3x3x3-slices")
    letters = alphabet(puzzle)
    first, way = turns(puzzle, "R U M F2 U'"), turns(puzzle, "D L U2 R'")
    second = normal(puzzle, way + first + puzzle.inverse(way))
    found = conjugator(letters, first, second)
    assert found is not None
    assert normal(puzzle, found + first + puzzle.inverse(found)) == second
    assert conjugator(letters, first, turns(puzzle, "R U M F2 U")) is None


def test_levels_say_what_they_do() -> None:
    puzzle = load("3x3x3")
    top = levels(puzzle, read(puzzle, turns(puzzle, "F R U R' U' L' U R U' R' L F'")).tree)
    assert [part.role for part in top.parts] == ["setup", "part"]
    inside = top.parts[1]
    assert inside.kind == "commutator"
    assert inside.reason is not None
    assert inside.reason.kind == "three-cycle"
    assert "a three-cycle, UFL to RUB to BUL" in inside.why
    points = sampled(puzzle)
    for level in _every(top):
        own = effect_of(puzzle, level.word)
        assert normal(puzzle, turns(puzzle, level.notation)) == level.word
        moved = {int(puzzle.slot_of[p]) for cycle in cycles(puzzle, own) for p in cycle}
        after = points.do(named(puzzle, level.word))
        assert len(moved) == len(points.moved(after))


def _every(own: Level) -> list[Level]:
    return [own, *(inside for part in own.parts for inside in _every(part))]


def test_long_sequences_say_that_only_parts_were_read() -> None:
    puzzle, chance = load("3x3x3"), random.Random(5)
    word: Word = ()
    while len(word) <= LONGEST:
        word = normal(puzzle, (*word, chance.randrange(len(puzzle.turns))))
    longer = (*word, *puzzle.inverse(word[3:]), *puzzle.inverse(word[:3][::-1]))
    found = read(puzzle, (*word, *word[:7]))
    assert found.parts_only
    assert found.commutator != FOUND
    assert read(puzzle, longer).word == normal(puzzle, longer)


def test_brackets_can_be_done_where_turns_are_blocked() -> None:
    puzzle = load("3x3x3-bandaged")
    chance = random.Random(2)
    done = 0
    while done < 25:
        word = tuple(chance.randrange(len(puzzle.turns)) for _ in range(8))
        if puzzle.first_blocked(word) is not None:
            continue
        done += 1
        found = read(puzzle, word)
        assert puzzle.first_blocked(turns(puzzle, brackets.text(found.tree))) is None
