"""Ranking and families: brute force over symmetries and cuts, and what must not change."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from puzzles import Puzzle, load
from puzzles.errors import RequestError
from puzzles.notation import parse
from puzzles.puzzle import Word
from puzzles.words import normal
from search.families import family_key
from search.hands import comfort, complexity, motions, renamed
from search.ranking import Weights, measure, rank

CUBE = load("3x3x3")


def turns(written: str, puzzle: Puzzle = CUBE) -> Word:
    return parse(puzzle, written).word


#: All eight-turn corner three-cycles of this shape, and some others.
ANSWERS = tuple(
    turns(text)
    for text in (
        "[R U R', D]",
        "[[R, U], L']",
        "[R U R', D2]",
        "[R U2 R', D]",
        "[R U' F, L]",
        "F R' F L2 F' R F L2 F2",
        "[R U R' F, L D L']",
    )
)


@st.composite
def rings(draw: st.DrawFn) -> tuple[str, Word]:
    name = draw(st.sampled_from(("2x2x2", "3x3x3", "3x3x3-slices", "cube-edges", "cube-corners")))
    puzzle = load(name)
    turn = st.integers(0, len(puzzle.turns) - 1)
    a, b = (tuple(draw(st.lists(turn, min_size=1, max_size=4))) for _ in range(2))
    return name, normal(puzzle, a + b + puzzle.inverse(a) + puzzle.inverse(b))


@given(rings(), st.data())
def test_a_family_has_one_key(ring: tuple[str, Word], data: st.DataObject) -> None:
    """Symmetry, setup, another start and the inverse leave the key as it is."""
    puzzle, word = load(ring[0]), ring[1]
    key = family_key(puzzle, word)
    symmetry = data.draw(st.sampled_from(range(len(puzzle.symmetries))))
    turn = st.integers(0, len(puzzle.turns) - 1)
    setup = tuple(data.draw(st.lists(turn, max_size=3)))
    cut = data.draw(st.integers(0, len(word)))
    assert family_key(puzzle, renamed(puzzle, word, symmetry)) == key
    assert family_key(puzzle, setup + word + puzzle.inverse(setup)) == key
    assert family_key(puzzle, word[cut:] + word[:cut]) == key
    assert family_key(puzzle, puzzle.inverse(word)) == key
    assert family_key(puzzle, key) == key


def test_key_is_the_least_of_all_images() -> None:
    """Brute force where no layers commute: every rotation, symmetry and direction written out."""
    puzzle = load("2x2x2")
    for text in ("[R, U]", "[R U R', F]", "[R U2, F R']", "[R U F', U2]"):
        word = turns(text, puzzle)
        core = word
        while normal(puzzle, core[1:] + core[:1]) != core[1:] + core[:1]:
            core = normal(puzzle, core[1:] + core[:1])
        images = [
            renamed(puzzle, way[cut:] + way[:cut], symmetry)
            for way in (core, puzzle.inverse(core))
            for cut in range(len(core))
            for symmetry in range(len(puzzle.symmetries))
        ]
        assert family_key(puzzle, word) == min(images)


def test_different_rings_are_different_families() -> None:
    keys = [family_key(CUBE, word) for word in ANSWERS]
    # [[R, U], L'] needs ten turns, but is the eight-turn ring [U R' U', L'] from another start; D2
    # or U2 is a matter of up and down, and [R', F L2 F'] the same with left and right.
    groups = ({0, 1}, {2, 3, 5}, {4}, {6})
    assert [{k for k, key in enumerate(keys) if key == keys[min(g)]} for g in groups] == [*groups]
    assert family_key(CUBE, ()) == ()


def test_measured() -> None:
    found = measure(CUBE, turns("[[R, U], L']"))
    assert found.notation == "[[R, U], L']"
    assert (found.turns, found.layers, found.things) == (10, 3, 3)
    assert found.word == normal(CUBE, found.word)
    assert found.renamed == renamed(CUBE, found.word, found.holding)
    assert found.motions == motions(CUBE, found.word, found.holding)
    assert found.complexity == complexity(found.motions)
    assert found.comfort == comfort(CUBE, found.word, found.holding)
    assert found.undone_same == ()
    assert measure(CUBE, turns("[R U2 R', D]")).undone_same == ("a",)


def test_a_word_that_is_no_commutator_is_measured_too() -> None:
    found = measure(CUBE, turns("R U R' F"))
    assert found.form is None
    assert found.notation == "[R: U] F"
    assert found.things == 3


def test_shortest_and_easiest_lead() -> None:
    ranking = rank(CUBE, ANSWERS)
    assert ranking.shortest.turns == min(len(normal(CUBE, word)) for word in ANSWERS)
    assert ranking.easiest.things == min(measure(CUBE, word).things for word in ANSWERS)
    easy = rank(CUBE, [turns("[R U' F, L]"), turns("[[R, U], L']")])
    assert easy.shortest.notation == "[R U' F, L]"
    assert easy.easiest.notation == "[[R, U], L']"
    assert easy.order[:2] == easy.leading == (easy.shortest, easy.easiest)


@given(
    st.lists(st.sampled_from(ANSWERS), min_size=1, max_size=8),
    st.tuples(*[st.floats(0, 5) for _ in range(4)]),
    st.booleans(),
)
def test_nothing_is_lost_and_weights_order_the_rest(
    words: list[Word], weights: tuple[float, float, float, float], left_handed: bool
) -> None:
    chosen = Weights(*weights)
    ranking = rank(CUBE, words, chosen, left_handed=left_handed)
    shown = [answer for f in ranking.families for answer in (f.shown, *f.folded)]
    assert sorted(a.word for a in shown) == sorted({normal(CUBE, word) for word in words})
    assert all(a.family == f.shown.family for f in ranking.families for a in f.folded)
    assert len({f.shown.family for f in ranking.families}) == len(ranking.families)
    scores = [a.score(chosen) for a in ranking.order[len(ranking.leading) :]]
    assert scores == sorted(scores)
    assert ranking == rank(CUBE, words[::-1], chosen, left_handed=left_handed)


def test_as_many_families_as_asked_for() -> None:
    ranking = rank(CUBE, ANSWERS, most=2)
    assert len(ranking.families) == 2
    assert ranking.left_out == len(rank(CUBE, ANSWERS).families) - 2
    assert len(rank(CUBE, ANSWERS, most=0).families) >= 1


def test_weights_change_the_order() -> None:
    """[R, U] leads either way; the one has fewer layers, the other no half turns."""
    words = [turns("[R, U]"), turns("[R U2 R', D2]"), turns("[R U F R', D]")]
    by_layers = rank(CUBE, words, Weights(0, 1, 0, 0)).order
    by_hands = rank(CUBE, words, Weights(0, 0, 0, 1)).order
    assert [a.notation for a in by_layers] == ["[R, U]", "[[R: U2], D2]", "[[R: U F], D]"]
    assert [a.notation for a in by_hands] == ["[R, U]", "[[R: U F], D]", "[[R: U2], D2]"]


@pytest.mark.parametrize("value", [-1.0, float("nan"), float("inf"), 1e9])
def test_wrong_weights(value: float) -> None:
    with pytest.raises(RequestError, match=r"weight memory: .* a number from 0 to 1000 is right"):
        Weights(memory=value)


def test_nothing_to_rank() -> None:
    with pytest.raises(ValueError, match="no answer"):
        rank(CUBE, [])
