"""Requests as jobs: what makes a difference, and that a representative is a request of its own."""

from __future__ import annotations

import random
from dataclasses import replace
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from puzzles import load
from puzzles.compile import from_text
from puzzles.names import placement_name
from search.encoding import scope
from search.request import Bounds, Request, request
from service.atlases import AtlasRequest
from service.representatives import (
    atlas_request_of,
    atlas_spec,
    find_spec,
    request_of,
    same_search,
    scope_of,
)

NAMES = ["3x3x3", "4x4x4", "5x5x5", "tetrahedron-corners", "octahedron-faces", "three-wheels"]


def drawn(name: str, seed: int, any_twist: bool, alike: bool) -> Request:
    """Return a request for a random cycle, named by what is printed."""
    puzzle, draw = load(name), random.Random(seed)
    kind = puzzle.types[draw.choice(scope(puzzle).wanted)]
    slots = draw.sample(list(kind.slots), 3)
    names = [
        placement_name(puzzle, int(puzzle.home[s]) + draw.randrange(kind.twists)) for s in slots
    ]
    return request(puzzle, names, any_twist=any_twist, alike=alike, bounds=Bounds(half_length=4))


@settings(max_examples=120, deadline=None, derandomize=True)
@given(
    name=st.sampled_from(NAMES),
    seed=st.integers(0, 10_000),
    any_twist=st.booleans(),
    alike=st.booleans(),
)
def test_a_representative_is_a_request_for_the_same_job(
    name: str, seed: int, any_twist: bool, alike: bool
) -> None:
    """Like pieces and free twists included: its own job is the one that stands for it."""
    wanted = drawn(name, seed, any_twist, alike)
    puzzle, spec = wanted.puzzle, find_spec(name, wanted)
    own = request_of(spec, puzzle)
    assert find_spec(name, own) == spec
    assert same_search(spec, wanted)
    assert same_search(spec, own)
    assert scope_of(spec, puzzle) is wanted.scope()
    names = [placement_name(puzzle, p) for p in spec.triples[0]]
    again = request(puzzle, names, any_twist=spec.any_twist, alike=spec.alike, bounds=wanted.bounds)
    assert find_spec(name, again) == spec
    # As many cycles will do, whoever asks.
    assert len(spec.triples) <= len(set(wanted.triples()))
    assert type(spec).model_validate_json(spec.text()) == spec


def test_what_makes_no_difference_is_left_out() -> None:
    cube = load("3x3x3")
    wanted = request(cube, "UFR UBL DFL")
    spec = find_spec("3x3x3", wanted)
    every = tuple(range(len(cube.layers)))
    types = tuple(kind.number for kind in cube.types)
    for same in (
        replace(wanted, layers=every),
        replace(wanted, kept=types),
        # Centres never move, so that nothing is changed by letting them go.
        replace(wanted, kept=tuple(k.number for k in cube.types if k.moves)),
        replace(wanted, alike=False),
    ):
        assert find_spec("3x3x3", same) == spec
    for other in (
        replace(wanted, layers=every[:5]),
        replace(wanted, kept=types[:1]),
        replace(wanted, any_twist=True),
        replace(wanted, bounds=Bounds(turns=9)),
    ):
        assert find_spec("3x3x3", other) != spec
    assert spec.key("one", "v") != spec.key("other", "v") != spec.key("other", "w")


def test_twists_that_do_not_matter_make_one_job() -> None:
    cube = load("3x3x3")
    names = (["UFR", "UBL", "DFL"], ["FUR", "UBL", "DFL"], ["UFR", "LUB", "FDL"])
    specs = {find_spec("3x3x3", request(cube, own, any_twist=True)) for own in names}
    assert len(specs) == 1
    assert len({find_spec("3x3x3", request(cube, own)) for own in names}) > 1
    assert len(next(iter(specs)).triples) == 9


def test_where_turns_can_be_blocked_symmetries_are_not_used() -> None:
    puzzle = load("3x3x3-stops")
    first = find_spec("3x3x3-stops", request(puzzle, "UF UR DL"))
    second = find_spec("3x3x3-stops", request(puzzle, "UB UR DL"))
    assert first.kind == second.kind == "blocked"
    assert first != second
    assert find_spec("3x3x3-stops", request_of(first, puzzle)) == first


def test_atlases_of_types_that_are_images_are_one_job() -> None:
    """The four orbits of centres of an edge-turning cube: two pairs, by reflection or rotation."""
    puzzle = load("cube-edges")
    centres = [kind.number for kind in puzzle.types if kind.name.startswith("centre")]
    specs = {atlas_spec("cube-edges", AtlasRequest(puzzle, (number,))) for number in centres}
    assert len(specs) < len(centres)
    for spec in specs:
        assert atlas_spec("cube-edges", atlas_request_of(spec, puzzle)) == spec
    blocked = load("3x3x3-stops")
    assert atlas_spec("3x3x3-stops", AtlasRequest(blocked, (1,))).kind == "blocked-atlas"


@settings(max_examples=60, deadline=None, derandomize=True)
@given(seed=st.integers(0, 10_000))
def test_symmetries_that_change_looks_do_not_count(seed: int) -> None:
    """Beads of three wheels, four of them alike, which no rotation of the board carries along."""
    text = Path("puzzles/catalogue/three-wheels.toml").read_text(encoding="utf-8")
    text = text.replace("places = 28\n", 'places = 28\nalike = ["14 15 20 25"]\n')
    puzzle, draw = from_text("alike", text, "alike"), random.Random(seed)
    names = draw.sample(["14", "15", "20", "25"], draw.randrange(1, 4))
    names += draw.sample([str(k) for k in range(14, 29) if str(k) not in names], 3 - len(names))
    wanted = request(puzzle, names, bounds=Bounds(half_length=4))
    spec = find_spec("alike", wanted)
    assert find_spec("alike", request_of(spec, puzzle)) == spec
    apart = find_spec("alike", replace(wanted, alike=False))
    assert len(apart.triples) == 1
    assert not apart.alike
