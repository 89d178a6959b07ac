"""Steps of a search in parts: to the byte what one process gives, however they are cut and done.

What is compared with is the search itself in one piece, whose rings are checked against plain
enumeration in ``test_rings`` and ``test_long_arms``.
"""

from __future__ import annotations

import itertools
import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from puzzles import load
from search import atlas, deepening, plan, shards
from search.coverage import FAMILIES, LongStep
from search.encoding import Scope, scope
from search.goals import Goal
from search.kernels import shelving
from search.kernels.arrays import LONGEST, Shelf
from search.shelves import KEPT, Shelves, empty_shelf


def of(name: str, kind: str | None = None) -> Scope:
    puzzle = load(name)
    if kind is None:
        return scope(puzzle)
    return scope(puzzle, None, None, (next(t.number for t in puzzle.types if t.name == kind),))


def at_once(one: Scope, found: Shelves, step: plan.Step) -> Shelves:
    filling = atlas.Filling(one, found)
    for _ in deepening.fill(one, filling, step):
        pass
    return atlas.finish(deepening.settling(filling, step, False))


def in_parts(one: Scope, found: Shelves, step: plan.Step, order: random.Random) -> Shelves:
    """Do a step in parts, in any order, through bytes."""
    payloads = shards.deal(one, found, step)
    results: list[bytes] = []
    for data in order.sample(payloads, len(payloads)):
        payload = shards.Payload.from_bytes(data)
        assert payload.to_bytes() == data
        filling = atlas.Filling(one, found)
        for _ in shards.doing(filling, payload):
            pass
        results.append(shards.given(filling, payload, 1, True))
    read = [shards.Given.from_bytes(data) for data in results]
    assert shards.done_up_to(read) == len(payloads)
    without = [given for given in read if given.first != 1]
    assert len(read) == 1 or shards.done_up_to(without) == 1
    return together(one, found, step, read)


def together(
    one: Scope, found: Shelves, step: plan.Step | None, results: list[shards.Given]
) -> Shelves:
    filling = atlas.Filling(one, found)
    for _ in shards.gathering(filling, results):
        pass
    return atlas.finish(deepening.settling(filling, step, False))


@pytest.mark.parametrize(
    ("name", "kind", "deep", "size"),
    [
        ("3x3x3", None, 8, 30_000.0),
        ("3x3x3", "corner", 8, 4_000.0),
        ("3x3x3-slices", None, 6, 5_000.0),
        ("4x4x4", None, 6, 50_000.0),
        ("dodecahedron-faces", None, 6, 20_000.0),
        ("cube-edges", None, 7, 1_000.0),
        ("tetrahedron-corners", None, 8, 500.0),
        ("2x2x2", None, 7, 100.0),
    ],
)
def test_levels_in_parts_are_levels_to_the_byte(
    name: str, kind: str | None, deep: int, size: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(shards, "PART_CONJUGATES", size)
    one = of(name, kind)
    found = atlas.empty(one)
    most = 0
    for half_length in range(1, deep + 1):
        step = plan.level_step(one, half_length)
        for _ in step.listing(one):
            pass
        most = max(most, len(shards.deal(one, found, step)))
        parted = in_parts(one, found, step, random.Random(half_length))
        found = at_once(one, found, step)
        assert parted.to_bytes() == found.to_bytes()
    assert most > 8
    goal = Goal(deep, None, None)
    assert list(deepening.deepen(one, goal))[-1].shelves.to_bytes() == found.to_bytes()


@pytest.mark.parametrize(
    ("name", "kind", "long", "size"),
    [
        ("ball-sixths", "edge", LongStep("turns", 4, 3), 20_000.0),
        ("ball-sixths", "edge", LongStep("pairs", 3, 3), 100_000.0),
        ("dodecahedron-faces", None, LongStep("commutators", 2, 2), 3_000.0),
        ("3x3x3", None, LongStep("turns", 4, 4), 1_000.0),
        ("3x3x3", "edge", LongStep("nested", 1, 1), 200.0),
        ("4x4x4", None, LongStep("conjugated", 1, 0), 300.0),
    ],
)
def test_long_steps_in_parts_are_the_same_to_the_byte(
    name: str, kind: str | None, long: LongStep, size: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(shards, "LONG_CONJUGATES", size)
    one = of(name, kind)
    found = atlas.empty(one)
    for half_length in range(1, 6):
        found = at_once(one, found, plan.level_step(one, half_length))
    step = next(s for s in plan._of_family(one, FAMILIES[long.family]) if s.long == long)
    assert len(shards.deal(one, found, step)) > 3
    whole = at_once(one, found, step)
    assert whole.rings > found.rings
    assert whole.steps == (long,)
    parted = in_parts(one, found, step, random.Random(1))
    assert parted.to_bytes() == whole.to_bytes()


def test_a_word_with_long_arms_is_cut_between_its_blocks(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shards, "PART_CONJUGATES", 2_000.0)
    one = of("3x3x3")
    step = plan.level_step(one, 8)
    parts = [
        part
        for data in shards.deal(one, atlas.empty(one), step)
        for part in shards.Payload.from_bytes(data).work
        if part.length == 1 and part.begin == 0
    ]
    assert len(parts) > 5
    # One after the other, without gaps where something is looked up and without overlap.
    assert all(a.last_block <= b.first_block for a, b in itertools.pairwise(parts))


def test_shares_add_up_and_say_where_a_part_stands() -> None:
    one = of("4x4x4")
    step = plan.level_step(one, 8)
    for _ in step.listing(one):
        pass
    assert shards.large(step)
    payloads = [
        shards.Payload.from_bytes(data) for data in shards.deal(one, atlas.empty(one), step)
    ]
    assert 10 < len(payloads) < 40
    assert payloads[0].share[0] == 0.0
    assert payloads[-1].share[1] == 1.0
    assert [p.share[1] for p in payloads[:-1]] == [p.share[0] for p in payloads[1:]]
    assert [p.place for p in payloads] == list(range(len(payloads)))


def test_what_was_broken_off_is_kept_and_nothing_is_claimed() -> None:
    one = of("3x3x3")
    found = atlas.empty(one)
    for half_length in range(1, 6):
        found = at_once(one, found, plan.level_step(one, half_length))
    step = plan.level_step(one, 6)
    (payload,) = (shards.Payload.from_bytes(d) for d in shards.deal(one, found, step))
    filling = atlas.Filling(one, found)
    work = shards.doing(filling, payload)
    while filling.rings == found.rings:
        next(work)
    result = shards.Given.from_bytes(shards.given(filling, payload, 1, False, "too much"))
    assert not result.whole
    assert result.limit == "too much"
    assert shards.done_up_to([result]) == 0
    partly = together(one, found, None, [result])
    assert partly.half_length == 5
    assert partly.rings > found.rings
    assert (partly.turns <= found.turns).all()


@pytest.mark.parametrize("data", [b"", b"{}", b"[1]", b"no json", b'{"number": 1, "step": 3}'])
def test_other_bytes_are_refused(data: bytes) -> None:
    with pytest.raises(ValueError, match=r"part of a search"):
        shards.Payload.from_bytes(data)
    with pytest.raises(ValueError, match=r"result of a part"):
        shards.Given.from_bytes(data)


word = st.tuples(st.integers(0, 2), st.integers(0, 3), st.integers(0, 1), st.integers(0, 2))


@settings(max_examples=150, deadline=None)
@given(st.lists(word, max_size=60), st.data())
def test_a_shelf_is_the_first_of_all_however_they_come(
    stream: list[tuple[int, int, int, int]], data: st.DataObject
) -> None:
    """Words as (orbit, cost, other, letter); the model sorts them, Python's sort being stable."""
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=4)))
    edges = [0, *cuts, len(stream)]
    pieces = [stream[a:b] for a, b in itertools.pairwise(edges)]
    base, *parts = pieces
    start = filled(empty_shelf(3), base)
    together = start.copied()
    for part in parts:
        own = filled(start.copied(), part)
        shelving.put_all(together, *atlas._new(own, start))
    for orbit in range(3):
        every = dict.fromkeys(w[1:] for w in stream if w[0] == orbit)
        first = sorted(every, key=lambda w: w[:2])[:KEPT]
        stands = [
            (int(c), int(o), int(w[0]))
            for c, o, n, w in zip(
                together.cost[orbit],
                together.other[orbit],
                together.length[orbit],
                together.words[orbit],
                strict=True,
            )
            if n
        ]
        assert stands == first


def filled(shelf: Shelf, words: list[tuple[int, int, int, int]]) -> Shelf:
    letters = np.zeros((len(words), LONGEST), dtype=np.uint8)
    letters[:, 0] = [w[3] for w in words]
    columns = np.array([w[:3] for w in words], dtype=np.int64).reshape(len(words), 3)
    costs, others = columns[:, 1].astype(np.int16), columns[:, 2].astype(np.int16)
    lengths = np.ones(len(words), dtype=np.int16)
    shelving.put_all(shelf, columns[:, 0].copy(), costs, others, lengths, letters)
    return shelf
