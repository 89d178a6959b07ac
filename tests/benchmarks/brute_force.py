"""Brute force too long for the test suite; run ``python -m tests.benchmarks.brute_force``.

Prints the number of rings on the 3x3x3 up to half-length 7 (504, 2,784 and 21,096 from 5 on), tells
whether the join has them all and whether the catalogue's lengths agree up to 11 turns; then what a
half-length covers over words on small groups, one half-length deeper than the tests look. Minutes.
"""

from __future__ import annotations

import time

from puzzles import load
from search import claims
from search.encoding import scope
from tests.brute import Brute
from tests.search.test_claims import GROUPS, Group, commutators, enumerated
from tests.search.test_lengths import compare
from tests.search.test_rings import cores, words


def rings_of_the_3x3x3(half_length: int) -> None:
    """Print how many rings there are, and how many of them the join misses."""
    started = time.monotonic()
    brute = Brute(load("3x3x3"))
    found = brute.rings(half_length)
    joined = cores(brute.puzzle, words("3x3x3", half_length))
    spent = time.monotonic() - started
    print(
        f"half-length {half_length}: {len(found):,} rings, "
        f"{len(found - joined):,} missing in the join ({spent:.0f} s)",
        flush=True,
    )


def lengths_on_the_3x3x3(half_length: int) -> None:
    """Compare the least lengths up to what is claimed; raises AssertionError."""
    one = scope(load("3x3x3"))
    turns = claims.complete(one, half_length)
    assert turns is not None
    brute = Brute(one.puzzle)
    best = brute.shortest(brute.cores_by_arcs(half_length, turns), turns)
    compare(one, half_length, best, turns)
    print(f"lengths up to {turns} turns agree", flush=True)


def words_of_small_groups(half_length: int) -> None:
    """Print for each group how many commutators there are and how many are not covered."""
    for name, (steps, groups) in GROUPS.items():
        started = time.monotonic()
        group = Group(steps, groups)
        turns = claims.turns_proven(half_length, group.size)
        met = enumerated(group, half_length)
        brute = commutators(group, half_length, 4, turns)
        missed = [word for word in brute if met.get(word, half_length + 1) > half_length]
        spent = time.monotonic() - started
        print(
            f"{name}: {len(brute):,} commutators of up to {turns} turns, "
            f"{len(missed)} not covered ({spent:.0f} s)",
            flush=True,
        )


if __name__ == "__main__":
    for deep in (5, 6, 7):
        rings_of_the_3x3x3(deep)
    lengths_on_the_3x3x3(7)
    words_of_small_groups(6)
