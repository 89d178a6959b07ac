"""Images of a wanted effect share one representative, and its words do the asked effect."""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
import pytest

from puzzles import load
from puzzles.effects import Cycle, Effect, cycles
from puzzles.names import slot_names
from puzzles.puzzle import Puzzle, Table
from search.any_form import does
from search.effect_images import of_effect
from search.effect_search import search_effect
from search.impossible_effects import effect_reason
from search.request import Bounds
from search.wanted import EffectRequest, effect_request

EFFECTS = [
    ("2x2x2", "(UFR UFL)(UBR UBL)"),
    ("3x3x3", "(UFR RUF FUR)(UFL LUF FUL)"),
    ("3x3x3", "(UF FU)(UR RU)"),
    ("3x3x3", "(UFR UFL)(UF UB)"),
    ("tetrahedron-corners", "(FR RF)(FL LF)"),
    ("octahedron-faces", "(UF UR)(RB RE)"),
    ("three-wheels", "(1 2 3 4 5)"),
    ("hexagonal-prism", "(UFR DFR)(UFL DFL)"),
    ("cube-corners", "(U D)(F B)"),
]


def images_of(request: EffectRequest, seed: int, count: int) -> list[tuple[Cycle, ...]]:
    """Return images of an effect by conjugating whole tables: no pairs and no keys."""
    puzzle, draw = request.puzzle, random.Random(seed)
    table = request.effect
    found = []
    for symmetry in draw.sample(puzzle.symmetries, min(count, len(puzzle.symmetries))):
        image = by_hand(puzzle, table, symmetry.placements)
        if draw.random() < 0.5:
            undone = np.empty_like(image)
            undone[image] = np.arange(len(image), dtype=image.dtype)
            image = undone
        found.append(cycles(puzzle, Effect(tuple(image.tolist()))))
    return found


def by_hand(puzzle: Puzzle, table: Table, images: Table) -> Table:
    """Carry an effect piece by piece: what goes from a to b goes from the image of a to that of b.

    A symmetry may take the twists of a piece in another order, so that only the piece at home
    counts, and its other twists go along.
    """
    result = np.arange(len(table), dtype=np.int32)
    for home in puzzle.home.tolist():
        start, end = int(images[home]), int(images[table[home]])
        kind = puzzle.types[puzzle.type_of[puzzle.slot_of[start]]]
        for x in range(kind.twists):
            there = [
                int(puzzle.home[puzzle.slot_of[p]]) + (int(puzzle.twist_of[p]) + x) % kind.twists
                for p in (start, end)
            ]
            result[there[0]] = there[1]
    return result


@pytest.mark.parametrize(("name", "effect"), EFFECTS)
@pytest.mark.parametrize("any_twist", [False, True])
def test_images_have_one_representative(name: str, effect: str, any_twist: bool) -> None:
    wanted = effect_request(load(name), effect, any_twist=any_twist, alike=False)
    least = of_effect(wanted).request
    for image in images_of(wanted, 3, 8):
        assert of_effect(replace(wanted, cycles=image)).request.cycles == least.cycles
    assert of_effect(least).request.cycles == least.cycles


@pytest.mark.parametrize("any_twist", [False, True])
def test_words_of_the_representative_do_what_was_asked(any_twist: bool) -> None:
    puzzle = load("2x2x2")
    bounds = Bounds(turns=11)
    wanted = effect_request(puzzle, "(UFR LUB BUR FDR DFL)", any_twist=any_twist, bounds=bounds)
    own = of_effect(wanted).request
    *_, last = search_effect(own)
    assert last.words
    every = np.arange(puzzle.slot_count)
    for image in [wanted.cycles, *images_of(wanted, 5, 6)]:
        asked = replace(wanted, cycles=image)
        there = of_effect(asked)
        assert there.request.cycles == own.cycles
        options = asked.looking_alike()
        for word, number in last.words.items():
            carried = there.way.carried(word)
            assert len(carried) == len(word)
            assert does(puzzle, carried, options[there.numbers[number]], every)


def test_images_under_few_layers_keep_to_these() -> None:
    puzzle = load("3x3x3")
    one = effect_request(puzzle, "(UFR UFL)(UF UB)", layers="U R F")
    # A third of a turn about UFR carries U to R and F to U; a reflection changes R and F over.
    turned = effect_request(puzzle, "(RUF RUB)(RU RD)", layers="U R F")
    reflected = effect_request(puzzle, "(UFR UBR)(UR UL)", layers="U R F")
    elsewhere = effect_request(puzzle, "(DFR DFL)(DF DB)", layers="U R F")
    assert of_effect(one).request.layers == one.layers
    assert len({of_effect(own).request.cycles for own in (one, turned, reflected)}) == 1
    assert of_effect(elsewhere).request.cycles != of_effect(one).request.cycles


def test_what_looks_alike_is_carried_as_a_whole() -> None:
    """On the 4x4x4 four centres of a face look the same: images of all that would do are shared."""
    puzzle = load("4x4x4")
    kind = next(k for k in puzzle.types if len({*puzzle.alike[list(k.slots)].tolist()}) < k.count)
    names = slot_names(puzzle)
    shared = 0
    for seed in range(4):
        a, b, c, d = random.Random(seed).sample(list(kind.slots), 4)
        own = [
            (int(puzzle.home[a]), int(puzzle.home[b])),
            (int(puzzle.home[c]), int(puzzle.home[d])),
        ]
        wanted = effect_request(puzzle, own)
        there = of_effect(wanted)
        assert sorted(there.numbers) == list(range(len(wanted.looking_alike()))), names[a]
        symmetry = random.Random(seed).choice(puzzle.symmetries)
        table = by_hand(puzzle, wanted.effect, symmetry.placements)
        image = replace(wanted, cycles=cycles(puzzle, Effect(tuple(table.tolist()))))
        shared += of_effect(image).request.cycles == there.request.cycles
    assert shared


def test_where_turns_can_be_blocked_nothing_is_shared() -> None:
    wanted = effect_request(load("3x3x3-bandaged"), "(UFR UFL)(UBR UBL)")
    own = of_effect(wanted)
    assert own.request is wanted
    assert own.way.symmetry is None


def test_any_twist_is_the_shortest_of_all_twists() -> None:
    """Two swaps on the 2x2x2 against a plain walk through all states of few turns."""
    puzzle = load("2x2x2")
    wanted = effect_request(puzzle, "(UFR UFL)(UBR UBL)", any_twist=True)
    *_, last = search_effect(wanted)
    goals = {table[puzzle.home].tobytes() for table in wanted.twisted()}
    assert len(goals) == 81
    here = {puzzle.home.astype(np.int32).tobytes(): puzzle.home.astype(np.int32)}
    seen = set(here)
    depth = 0
    while not seen & goals:
        depth += 1
        fresh = {}
        for state in here.values():
            for move in puzzle.moves:
                after = move[state].astype(np.int32)
                if after.tobytes() not in seen:
                    fresh[after.tobytes()] = after
                    seen.add(after.tobytes())
        here = fresh
    assert min(map(len, last.words)) == depth
    assert last.none_up_to >= depth


def test_any_twist_does_not_help_against_parity() -> None:
    puzzle = load("3x3x3")
    for effect, says in [
        ("(UFR UFL)", "odd rearrangement of the corners"),
        ("(UFR UFL)(UF FU)", "twists of the edges would not add up"),
        ("(UFR RUF FUR)(UF UR UB)", "twists of the corners would not add up"),
    ]:
        text = effect_reason(effect_request(puzzle, effect, any_twist=True))
        assert text is not None
        assert says in text
    # As it stands the twists of two swaps break a law; some twists of theirs do not.
    twisted = "(UFR UFL RUF FUL FUR LUF)(UBR UBL)"
    assert effect_reason(effect_request(puzzle, twisted)) is not None
    assert effect_reason(effect_request(puzzle, twisted, any_twist=True)) is None
