"""Requests that bound the setup, and shelves that are filled in steps."""

from __future__ import annotations

import itertools
from functools import lru_cache

import numpy as np
import pytest

from puzzles import load
from puzzles.names import placement_name
from search import atlas, deepening, find, frames, rings
from search.candidates import words_for
from search.encoding import Scope, scope
from search.goals import Goal
from search.kernels.arrays import NONE
from search.setups import within
from search.shelves import Shelves
from tests.plain import assert_three_cycle


@lru_cache(maxsize=4)
def searched(name: str, half_length: int) -> tuple[Scope, Shelves]:
    one = scope(load(name))
    *_, last = deepening.deepen(one, Goal(half_length, None, None))
    return one, last.shelves


def cycle(one: Scope, number: int) -> tuple[int, int, int]:
    a, b, c = (int(one.placements[p]) for p in frames.triple(one, number))
    return a, b, c


@pytest.mark.parametrize(("name", "half_length"), [("3x3x3", 6), ("hexagonal-prism", 4)])
def test_setups_of_any_length_reach_what_settling_reaches(name: str, half_length: int) -> None:
    """Counting setups turn by turn comes to what the kernel's shortest-path walk came to."""
    one, found = searched(name, half_length)
    for shelf, best, weight in ((found.shortest, found.turns, 2), (found.easiest, found.things, 1)):
        own = shelf.cost[:, 0].astype(np.int64)
        levels = [within(one, found.first, own, weight, setup) for setup in range(13)]
        assert np.array_equal(levels[0], own)
        assert all(np.all(after <= before) for before, after in itertools.pairwise(levels))
        assert np.array_equal(levels[12], best)
        assert not np.array_equal(levels[0], best)


@pytest.mark.parametrize("setup", [0, 1])
def test_words_within_a_setup_are_there_though_longer_setups_are_shorter(setup: int) -> None:
    """On the 3x3x3 some cycles take 10 turns with setups, but 13 as rings of half-length 7."""
    one, found = searched("3x3x3", 7)
    best = within(one, found.first, found.shortest.cost[:, 0].astype(np.int64), 2, setup)
    assert np.all(best < NONE)
    assert np.any(best > found.turns + atlas.SLACK_TURNS) == (setup == 0)
    for number, turns in zip(found.first.tolist(), best.tolist(), strict=True):
        words = words_for(one, found, cycle(one, number), setup)
        assert min(map(len, words)) == turns
        assert_three_cycle(one.puzzle, words[0], cycle(one, number))


def test_a_search_with_a_bounded_setup_goes_on_until_it_has_an_answer() -> None:
    one, found = searched("3x3x3", 7)
    own = found.shortest.cost[:, 0].astype(np.int64)
    hardest = int((own - found.turns).argmax())
    names = [placement_name(one.puzzle, p) for p in cycle(one, int(found.first[hardest]))]
    free = find(one.puzzle, names)
    bounded = find(one.puzzle, names, setup=0)
    assert bounded.searched.half_length >= free.searched.half_length
    assert min(a.turns for a in free.answers) == found.turns[hardest]
    assert min(a.turns for a in bounded.answers) == own[hardest] > found.turns[hardest]


def test_shelves_filled_in_steps_are_those_filled_at_once() -> None:
    one, found = searched("3x3x3", 4)
    records = np.concatenate([part.records for part in rings.level(one, 5)])
    assert len(records) > 3
    filling = atlas.Filling(one, found)
    for part in np.array_split(records, 3):
        filling.put(part)
    at_once = atlas.with_rings(one, found, records, 5)
    assert filling.settled(5).to_bytes() == at_once.to_bytes() != found.to_bytes()
