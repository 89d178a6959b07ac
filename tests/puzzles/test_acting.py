"""Renamings of actions against brute force, and against actions that were renamed on purpose."""

from __future__ import annotations

import itertools
import math
import random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from puzzles import load
from puzzles.acting import Action, Renaming, joined_by, renamings
from puzzles.known import action, slots_action, type_action


def made(rows: list[list[int]]) -> Action:
    steps = np.array(rows, dtype=np.int32)
    return Action(steps, tuple(range(len(rows))), tuple(range(steps.shape[1])))


def power(row: list[int], times: int) -> list[int]:
    result = list(range(len(row)))
    for _ in range(times):
        result = [row[x] for x in result]
    return result


def carries(one: Action, other: Action, found: Renaming) -> bool:
    """Whether renaming after a step of a layer is the renamed layer's steps after renaming."""
    f = found.points
    return len(set(f)) == len(f) and all(
        [f[x] for x in one.steps[k].tolist()]
        == [power(other.steps[m].tolist(), unit)[f[x]] for x in range(len(f))]
        for k, (m, unit) in enumerate(found.layers)
    )


def brute(one: Action, other: Action) -> bool:
    """Whether any renaming at all carries one action to another, by trying every one."""
    n = len(one.points)
    for points in itertools.permutations(range(n)):
        free = list(range(len(other.layers)))
        for layers in itertools.permutations(free):
            units = [[u for u in range(1, max(o, 2)) if math.gcd(u, o) == 1] for o in one.orders]
            for chosen in itertools.product(*units):
                renaming = Renaming(points, tuple(zip(layers, chosen, strict=True)))
                if carries(one, other, renaming):
                    return True
    return False


@st.composite
def moving(draw: st.DrawFn, points: int = 5, layers: int = 2) -> list[list[int]]:
    """A few permutations that leave no point alone."""
    rows = [list(draw(st.permutations(range(points)))) for _ in range(layers)]
    if any(all(row[x] == x for row in rows) for x in range(points)):
        rows[0] = rows[0][1:] + rows[0][:1]
    return rows


def all_move(own: Action) -> bool:
    return bool((own.steps != np.arange(len(own.points))).any(axis=0).all())


@given(moving(), moving())
def test_a_renaming_is_found_exactly_where_brute_force_finds_one(
    first: list[list[int]], second: list[list[int]]
) -> None:
    one, other = made(first), made(second)
    if not (all_move(one) and all_move(other)):
        return
    found = next(renamings(one, other), None)
    assert (found is not None) == brute(one, other)
    if found is not None:
        assert carries(one, other, found)
        assert one.signature == other.signature


@given(moving(points=8, layers=3), st.randoms(use_true_random=False))
def test_an_action_that_was_renamed_is_recognised(
    rows: list[list[int]], source: random.Random
) -> None:
    one = made(rows)
    if not all_move(one):
        return
    names = source.sample(range(8), 8)
    order = source.sample(range(3), 3)
    renamed = []
    for k in order:
        unit = source.choice(
            [u for u in range(1, one.orders[k] + 1) if math.gcd(u, one.orders[k]) == 1]
        )
        row = power(rows[k], unit)
        new = [0] * 8
        for x in range(8):
            new[names[x]] = names[row[x]]
        renamed.append(new)
    other = made(renamed)
    found = next(renamings(one, other), None)
    assert found is not None
    assert carries(one, other, found)


@pytest.mark.parametrize("name", ["4x4x4", "5x5x5", "octahedron-faces", "three-wheels"])
def test_every_type_is_like_itself_in_several_ways(name: str) -> None:
    """The symmetries of the puzzle are renamings; each that is found carries all steps."""
    puzzle = load(name)
    for kind in puzzle.types:
        for own in (type_action(puzzle, kind.number), slots_action(puzzle, kind.number)):
            for found in itertools.islice(renamings(own, own), 5):
                assert carries(own, own, found)


def test_a_whole_puzzle_may_be_a_part_of_another() -> None:
    """The 3x3x3's corners and edges are moved by the faces of the one with slices as well."""
    small, large = load("3x3x3"), load("5x5x5")
    faces = [large.layer_numbers[face] for face in "UDFBLR"]
    one, other = action(small), action(large, faces)
    found = next(renamings(one, other), None)
    assert found is not None
    assert carries(one, other, found)


def test_orbits_are_joined_as_networkx_joins_them() -> None:
    import networkx

    puzzle = load("cube-edges")
    graph = networkx.Graph()
    graph.add_nodes_from(range(puzzle.placement_count))
    for row in puzzle.moves:
        graph.add_edges_from(enumerate(row.tolist()))
    theirs = {frozenset(own) for own in networkx.connected_components(graph)}
    assert {frozenset(own) for own in joined_by(puzzle.moves)} == theirs
