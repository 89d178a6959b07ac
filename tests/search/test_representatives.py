"""Requests as images of each other: orbits told by letters, words carried and done on points."""

from __future__ import annotations

import itertools
import random
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from puzzles import load
from puzzles.names import placement_name
from search.atlas_entries import cycles_of
from search.deepening import deepen
from search.encoding import Scope, scope
from search.goals import Goal
from search.representatives import represented, words_of
from search.request import request
from search.shelves import Shelves
from tests.plain import assert_three_cycle

#: Which way each face of a cube looks.
DIRECTIONS = {
    "U": (0, 0, 1),
    "D": (0, 0, -1),
    "R": (1, 0, 0),
    "L": (-1, 0, 0),
    "F": (0, -1, 0),
    "B": (0, 1, 0),
}
#: A sticker: the letters of its piece, and its own.
Sticker = tuple[frozenset[str], str]
#: What a cycle does to stickers: from where to where.
Moves = frozenset[tuple[Sticker, Sticker]]


def clockwise(name: str) -> str:
    """Return the letters of a corner clockwise as seen from outside, from the first one on."""
    a, b, c = (np.array(DIRECTIONS[letter]) for letter in name)
    return name if np.linalg.det(np.array([a, b, c])) < 0 else name[0] + name[2] + name[1]


def moves(names: list[str]) -> Moves:
    """Return what a cycle of three corners or edges, by stickers, does to all their stickers."""
    rows = [clockwise(name) if len(name) == 3 else name for name in names]
    return frozenset(
        ((frozenset(here), here[k]), (frozenset(there), there[k]))
        for here, there in itertools.pairwise([*rows, rows[0]])
        for k in range(len(here))
    )


@cache
def letterings() -> list[dict[str, str]]:
    """Return what the 48 signed permutations of the axes make of the faces."""
    names = {direction: letter for letter, direction in DIRECTIONS.items()}
    result = []
    for order in itertools.permutations(range(3)):
        for signs in itertools.product((1, -1), repeat=3):
            images = {
                letter: names[
                    (d[order[0]] * signs[0], d[order[1]] * signs[1], d[order[2]] * signs[2])
                ]
                for letter, d in DIRECTIONS.items()
            }
            result.append(images)
    return result


def orbit(own: Moves) -> frozenset[Moves]:
    """Return the images of a cycle under the rotations and reflections of a cube, and undone."""
    found = set()
    for images in letterings():

        def carried(sticker: Sticker, images: dict[str, str] = images) -> Sticker:
            return frozenset(images[x] for x in sticker[0]), images[sticker[1]]

        there = frozenset((carried(a), carried(b)) for a, b in own)
        found |= {there, frozenset((b, a) for a, b in there)}
    return frozenset(found)


@pytest.mark.parametrize("kind", ["corner", "edge"])
def test_representatives_are_the_orbits_of_a_cube(kind: str) -> None:
    """Two cycles have the same representative exactly if letters say that they are images."""
    puzzle = load("3x3x3")
    own = puzzle.type_named(kind)
    assert own is not None
    whole = request(
        puzzle, ["UFR", "UBL", "DFL"] if kind == "corner" else ["UF", "UR", "UB"]
    ).scope()
    of_triple: dict[Moves, tuple[int, int, int]] = {}
    for a, b, c in cycles_of(puzzle, own).tolist():
        (chosen,) = represented(whole, [(a, b, c)]).triples
        of_triple[moves([placement_name(puzzle, p) for p in (a, b, c)])] = chosen
    # All cycles are there, each once: 8·7·6/3·3² and 12·11·10/3·2².
    assert len(of_triple) == {"corner": 1008, "edge": 1760}[kind]
    seen: set[Moves] = set()
    chosen_before = set()
    for cycle, chosen in of_triple.items():
        if cycle in seen:
            continue
        images = orbit(cycle)
        seen |= images
        assert {of_triple[image] for image in images} == {chosen}
        assert chosen not in chosen_before
        chosen_before.add(chosen)
        # The representative is one of them.
        assert moves([placement_name(puzzle, p) for p in chosen]) in images


#: Puzzles of all shapes, with a half-length at which there are words.
SHALLOW = {
    "3x3x3": 5,
    "4x4x4": 5,
    "tetrahedron-corners": 5,
    "cube-corners": 6,
    "octahedron-faces": 6,
    "cube-faces-corners": 5,
    "hexagonal-prism": 5,
    "dodecahedron-faces": 5,
    "ball-corners": 5,
}


@cache
def searched(name: str) -> tuple[Scope, Shelves]:
    own = scope(load(name))
    *_, last = deepen(own, Goal(SHALLOW[name], None, None))
    return own, last.shelves


@pytest.mark.parametrize("name", SHALLOW)
def test_words_of_the_representative_do_the_asked_cycle_on_points(name: str) -> None:
    found, shelves = searched(name)
    puzzle, draw = found.puzzle, random.Random(name)
    tested = 0
    for _ in range(60):
        kind = puzzle.types[draw.choice(found.wanted)]
        if kind.count < 3:
            continue
        slots = draw.sample(list(kind.slots), 3)
        a, b, c = (int(puzzle.home[s]) + draw.randrange(kind.twists) for s in slots)
        own = represented(found, [(a, b, c)])
        words = words_of(found, shelves, own.triples)
        for word, number in list(words.items())[:2]:
            assert own.images[number] == (a, b, c)
            assert_three_cycle(puzzle, own.carried(word), (a, b, c))
            tested += 1
        if tested >= 12:
            break
    assert tested


@settings(max_examples=80, deadline=None, derandomize=True)
@given(
    name=st.sampled_from(["3x3x3", "4x4x4", "tetrahedron-corners", "octahedron-faces"]),
    seed=st.integers(0, 10_000),
    any_twist=st.booleans(),
    alike=st.booleans(),
    start=st.integers(0, 2),
)
def test_images_of_a_request_have_one_representative(
    name: str, seed: int, any_twist: bool, alike: bool, start: int
) -> None:
    """Whatever symmetry, direction and start: the same representative, and words for each."""
    puzzle, draw = load(name), random.Random(seed)
    own = scope(puzzle)
    kind = puzzle.types[draw.choice(own.wanted)]
    slots = draw.sample(list(kind.slots), 3)
    triple = [int(puzzle.home[s]) + draw.randrange(kind.twists) for s in slots]

    def asked(triple: list[int], alike: bool = alike) -> list[tuple[int, int, int]]:
        names = [placement_name(puzzle, p) for p in triple]
        return request(puzzle, names, any_twist=any_twist, alike=alike).triples()

    first = represented(own, asked(triple), any_twist)
    symmetry = draw.choice(own.symmetries)
    there = [int(symmetry.placements[p]) for p in triple]
    if len(asked(triple)) == len(asked(triple, False)) and draw.random() < 0.5:
        # Where like pieces take part, undoing a cycle of looks takes other cycles of pieces.
        there.reverse()
    there = there[start:] + there[:start]
    second = represented(own, asked(there), any_twist)
    assert second.triples == first.triples
    assert set(second.images) <= set(asked(there))
    # The representative is its own, in its own frame.
    again = represented(own, first.triples, any_twist)
    assert again.triples == first.triples == again.images
    assert (again.symmetry, again.turned) == (0, False)


def test_any_twist_and_like_pieces_are_carried_as_a_whole() -> None:
    puzzle = load("4x4x4")
    # Two of the three look the same, so that any of their look may take part.
    own = request(puzzle, ["UF.L", "FU.R", "BU.L"], any_twist=True)
    found = represented(own.scope(), own.triples(), True)
    assert len(found.triples) == len(found.images) == len(set(found.images))
    assert set(found.images) <= set(own.triples())
    centres = next(t for t in puzzle.types if t.count == 24 and t.twists == 1 and t.name != "edge")
    slots = [placement_name(puzzle, int(puzzle.home[s])) for s in centres.slots]
    alike = request(puzzle, [slots[0], slots[1], slots[9]])
    apart = request(puzzle, [slots[0], slots[1], slots[9]], alike=False)
    assert len(apart.triples()) == 1
    many = represented(alike.scope(), alike.triples())
    assert len(many.triples) == len(set(many.triples)) > 1
