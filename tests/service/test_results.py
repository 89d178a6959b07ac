"""Results as bytes: canonical, the same however they came about, and checked when they are read."""

from __future__ import annotations

import json
import random
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from puzzles import load
from search.goals import goal_of
from search.request import Bounds, Request, request
from search.shelves import Shelves
from service import results
from service.engine import Engine
from service.readings import find
from service.representatives import find_spec, request_of, scope_of
from service.results import BrokenResultError
from service.stores.sqlite import SqliteStore


def wanted() -> Request:
    return request(load("3x3x3"), "UFR UBL DFL", bounds=Bounds(half_length=5))


@pytest.fixture(scope="module")
def shelves() -> Shelves:
    own = find_spec("3x3x3", wanted())
    puzzle = load("3x3x3")
    scope = scope_of(own, puzzle)
    return Engine().search(scope, goal_of(request_of(own, puzzle), scope)).shelves


@pytest.fixture(scope="module")
def content(shelves: Shelves) -> bytes:
    own, puzzle = find_spec("3x3x3", wanted()), load("3x3x3")
    return results.find_result(own, puzzle, scope_of(own, puzzle), shelves, None, "")


def test_the_same_shelves_make_the_same_bytes(content: bytes, shelves: Shelves) -> None:
    own, puzzle = find_spec("3x3x3", wanted()), load("3x3x3")
    again = Shelves.from_bytes(shelves.to_bytes())
    assert results.find_result(own, puzzle, scope_of(own, puzzle), again, None, "") == content
    # Canonical: names in order, no room between, and nothing lost on the way.
    told = json.loads(content)
    assert json.dumps(told, sort_keys=True, separators=(",", ":")).encode() == content
    assert results.content(results.read(content)) == content
    other = results.find_result(own, puzzle, scope_of(own, puzzle), shelves, "time", "a note")
    assert results.digest(other) != results.digest(content)


def test_a_result_is_kept_under_its_digest(content: bytes, tmp_path: Path) -> None:
    import hashlib

    store = SqliteStore(tmp_path / "store.sqlite")
    name = results.keep(store, content)
    assert name == hashlib.sha256(content).hexdigest()
    assert store.things.get("result", name) == content
    assert results.keep(store, content) == name
    store.close()


def test_what_stands_in_a_result(content: bytes) -> None:
    told = json.loads(content)
    assert told["format"] == 1
    assert told["tables"] == load("3x3x3").digest
    assert told["coverage"]["half_length"] == 5
    puzzle = load("3x3x3")
    for word in told["words"]:
        # Words are the representative's, each with a form that is the same word.
        (triple,) = told["spec"]["triples"]
        effect = puzzle.effect(word["turns"])
        a, b, c = triple
        assert (int(effect[a]), int(effect[b]), int(effect[c])) == (b, c, a)
        setup, first, second = word["form"]
        inside = [*first, *second, *puzzle.inverse(first), *puzzle.inverse(second)]
        whole = [*setup, *inside, *puzzle.inverse(setup)]
        assert (puzzle.effect(whole) == effect).all()
    lengths = [len(word["turns"]) for word in told["words"]]
    assert lengths == sorted(lengths)


def test_an_atlas_keeps_its_shelves(shelves: Shelves) -> None:
    from service.atlases import AtlasRequest
    from service.representatives import atlas_spec

    puzzle = load("3x3x3")
    corner = next(kind.number for kind in puzzle.types if kind.name == "corner")
    asked = AtlasRequest(puzzle, (corner,), bounds=Bounds(half_length=5))
    own = atlas_spec("3x3x3", asked)
    data = results.atlas_result(own, puzzle, scope_of(own, puzzle), shelves, None, "")
    told = results.read(data)
    assert isinstance(told, results.AtlasResult)
    assert told.read_shelves().to_bytes() == shelves.to_bytes()
    broken = told.model_copy(update={"shelves": told.shelves[: len(told.shelves) // 2]})
    with pytest.raises(BrokenResultError):
        broken.read_shelves()


@pytest.mark.parametrize(
    "data", [b"", b"{}", b"[]", b"null", b"\xff\xfe", b'{"kind":"find"}', b'{"kind":"other"}']
)
def test_other_bytes_are_no_result(data: bytes) -> None:
    with pytest.raises(BrokenResultError):
        results.read(data)


@settings(
    max_examples=150,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(seed=st.integers(0, 100_000))
def test_a_damaged_result_is_never_a_wrong_answer(content: bytes, seed: int) -> None:
    """Whatever happens to a word or its form: an error, or what is shown still does the cycle."""
    draw = random.Random(seed)
    told = json.loads(content)
    word = draw.choice(told["words"])
    row = draw.choice([word["turns"], *word["form"]])
    match draw.randrange(4):
        case 0 if row:
            row[draw.randrange(len(row))] = draw.randrange(-2, 30)
        case 1 if row:
            del row[draw.randrange(len(row))]
        case 2:
            row.insert(draw.randrange(len(row) + 1), draw.randrange(18))
        case _:
            word["cycle"] = draw.choice([-1, 1, 5])
    data = json.dumps(told).encode()
    puzzle = load("3x3x3")
    try:
        report = find(results.read(data), wanted(), None, 100, False)
    except RuntimeError:
        return
    from puzzles.notation import parse

    triple = wanted().triples()[0]
    for answer in report["answers"]:
        for text in (answer["sequence"], answer["notation"]):
            effect = puzzle.effect(parse(puzzle, text).word)
            assert [int(effect[p]) for p in triple] == [triple[1], triple[2], triple[0]]
            assert int((effect != range(len(effect))).sum()) == 9
