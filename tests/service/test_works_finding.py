"""Searches and atlases done by workers: in whatever parts and order, what the engine gives at once.

The engine's own answers are checked against plain simulation in ``test_find`` and ``test_atlas``.
"""

from __future__ import annotations

import itertools
import json
import random
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from puzzles import load
from puzzles.errors import LimitError
from puzzles.names import slot_names
from puzzles.puzzle import Puzzle
from search import atlas, plan, shards
from search.goals import goal_for
from search.request import Bounds, request
from search.shelves import Shelves
from service import results, stored
from service.atlases import AtlasRequest, goal_of
from service.endings import PERSON, TIME
from service.engine import Engine, Outcome
from service.representatives import (
    atlas_request_of,
    atlas_spec,
    bounds_of,
    find_spec,
    scope_of,
)
from service.specs import AtlasSpec, FindSpec
from service.stores.base import Job, JobLimits, Lease, NoLevels, State, Store
from service.stores.sqlite import SqliteStore
from service.works import holding, loop, stepping, telling
from service.works.finding import FindWork
from service.works.kinds import work_for

MANY = JobLimits(1_000, 1_000, 1e9)
CORNERS = "UFR UBL DFL"


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = SqliteStore(tmp_path / "store.sqlite")
    yield opened
    opened.close()


@pytest.fixture
def parted(monkeypatch: pytest.MonkeyPatch) -> None:
    """Deal out everything but the smallest steps, in small parts."""
    monkeypatch.setattr(shards, "PART_CONJUGATES", 20_000.0)
    monkeypatch.setattr(shards, "LONG_CONJUGATES", 2_000.0)
    monkeypatch.setattr(stepping, "STAGE_PARTS", 7)


def find(name: str, cycle: str = CORNERS, **bounds: Any) -> tuple[Puzzle, FindSpec]:
    puzzle = load(name)
    return puzzle, find_spec(name, request(puzzle, cycle, bounds=Bounds(**bounds)))


def at_once(puzzle: Puzzle, spec: FindSpec | AtlasSpec) -> tuple[bytes, Outcome]:
    """Return the result that the engine's search in one piece gives."""
    scope, bounds = scope_of(spec, puzzle), bounds_of(spec)
    if isinstance(spec, FindSpec):
        found = Engine().search(scope, goal_for(spec.triples, bounds, scope), bounds)
        own = spec, puzzle, scope, found.shelves, found.stopped_by, found.note
        return results.find_result(*own), found
    found = Engine().search(scope, goal_of(atlas_request_of(spec, puzzle), scope), bounds)
    return (
        results.atlas_result(spec, puzzle, scope, found.shelves, found.stopped_by, found.note),
        found,
    )


class Hands:
    """Workers on one job, that take what they can get and finish in any order."""

    def __init__(self, store: Store, puzzle: Puzzle, spec: FindSpec | AtlasSpec) -> None:
        self.store, self.spec = store, spec
        self.key = spec.key(puzzle.digest, stored.version())
        store.jobs.submit(self.key, spec.kind, spec.text(), "somebody", MANY)
        #: How many shards were done.
        self.done = 0

    @property
    def job(self) -> Job:
        job = self.store.jobs.job(self.key)
        assert job is not None
        return job

    def work(self, seed: int = 0, at_once: int = 1) -> Job:
        """Do the job to its end, with so many leases at a time."""
        dice = random.Random(seed)
        while leases := [lease for _ in range(at_once) if (lease := self._lease())]:
            dice.shuffle(leases)
            for lease in leases:
                self.do(lease)
        assert self.job.state.over
        return self.job

    def do(self, lease: Lease, stop_after: int | None = None) -> None:
        """Do a lease; somebody stops the job after so many ticks."""
        ticks = 0

        def beat() -> None:
            nonlocal ticks
            ticks += 1
            if ticks == stop_after:
                self.store.jobs.stop(self.key, "somebody")

        loop.do_lease(self.store, lease, work_for, lambda: False, 60.0, beat)
        self.done += 1

    def _lease(self) -> Lease | None:
        return self.store.jobs.lease("worker", 60.0)

    def result(self) -> bytes:
        content = self.store.things.get(results.KIND, json.loads(self.job.outcome)["result"])
        assert content is not None
        return content


def test_an_everyday_search_is_one_plan(store: Store) -> None:
    puzzle, spec = find("3x3x3")
    hands = Hands(store, puzzle, spec)
    job = hands.work()
    assert job.state is State.DONE
    assert (job.shards, hands.done) == (0, 1)
    expected, outcome = at_once(puzzle, spec)
    assert hands.result() == expected
    said = json.loads(job.outcome)
    assert said["stopped_by"] is None
    assert said["note"] == ""
    # Every finished level is there for others.
    key = stored.levels_key(scope_of(spec, puzzle))
    numbers = store.levels.numbers(key)
    assert numbers == list(range(1, outcome.shelves.half_length + 1))
    assert store.levels.get(key, numbers[-1]) == outcome.shelves.to_bytes()
    # Asked again when the result is gone, it is there at once.
    store.things.remove(results.KIND, said["result"])
    other = find("3x3x3", half_length=outcome.shelves.half_length)[1]
    again = Hands(store, puzzle, other)
    again.work()
    assert json.loads(again.job.progress or "{}").get("working") is None


@pytest.mark.usefixtures("parted")
@pytest.mark.parametrize(
    ("name", "cycle", "bounds", "at_a_time"),
    [
        ("3x3x3", CORNERS, {"half_length": 8}, 3),
        ("3x3x3", "UF UB DF", {"turns": 13}, 2),
        ("4x4x4", CORNERS, {"half_length": 6, "setup": 1}, 4),
        ("2x2x2", CORNERS, {}, 5),
        ("dodecahedron-faces", "", {"half_length": 6}, 3),
    ],
)
def test_parts_in_any_order_give_the_same_result(
    store: Store, name: str, cycle: str, bounds: dict[str, int], at_a_time: int
) -> None:
    puzzle, spec = find(name, cycle or _some_cycle(load(name)), **bounds)
    hands = Hands(store, puzzle, spec)
    job = hands.work(seed=at_a_time, at_once=at_a_time)
    assert job.state is State.DONE, job.error
    if name != "2x2x2":
        assert hands.done > 8
    assert hands.result() == at_once(puzzle, spec)[0]


def _some_cycle(puzzle: Puzzle) -> str:
    names = slot_names(puzzle)
    kind = next(t for t in puzzle.types if t.twists == 3)
    return " ".join(names[slot] for slot in kind.slots[:3])


@pytest.mark.usefixtures("parted")
def test_an_atlas_in_parts_is_the_same(store: Store) -> None:
    puzzle = load("3x3x3-slices")
    spec = atlas_spec(puzzle.name, AtlasRequest(puzzle, (0,), bounds=Bounds(half_length=6)))
    hands = Hands(store, puzzle, spec)
    assert hands.work(at_once=3).state is State.DONE
    assert hands.done > 4
    assert hands.result() == at_once(puzzle, spec)[0]


@pytest.mark.usefixtures("parted")
def test_long_steps_in_parts_are_the_same(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    """Also after a search with a bound, which stored levels that are not in this one's way."""
    monkeypatch.setattr(plan, "PATIENCE", 1_000)
    monkeypatch.setattr(shards, "LONG_CONJUGATES", 100.0)
    puzzle = load("cube-edges")
    bounded = atlas_spec(puzzle.name, AtlasRequest(puzzle, (0,), bounds=Bounds(half_length=6)))
    assert Hands(store, puzzle, bounded).work().state is State.DONE
    spec = atlas_spec(puzzle.name, AtlasRequest(puzzle, (0,), bounds=Bounds(seconds=600.0)))
    monkeypatch.setattr(stepping, "INLINE_SECONDS", 0.0)
    hands = Hands(store, puzzle, spec)
    hands.work(at_once=3)
    expected, outcome = at_once(puzzle, spec)
    assert outcome.shelves.steps
    assert hands.done > 4
    assert hands.result() == expected


def test_a_plan_that_takes_long_deals_the_rest_out(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What it has done until then is one of the parts."""
    monkeypatch.setattr(shards, "PART_CONJUGATES", 150_000.0)
    monkeypatch.setattr(shards, "large", lambda step: False)
    monkeypatch.setattr(stepping, "INLINE_SECONDS", 0.0)
    puzzle, spec = find("3x3x3", half_length=8)
    hands = Hands(store, puzzle, spec)
    hands.work(at_once=2)
    assert hands.done > 4
    assert hands.result() == at_once(puzzle, spec)[0]


@pytest.mark.usefixtures("parted")
def test_levels_that_a_store_has_lost_are_searched_again(store: Store) -> None:
    puzzle, spec = find("3x3x3", half_length=7)
    expected = at_once(puzzle, spec)[0]
    store.levels = NoLevels()
    hands = Hands(store, puzzle, spec)
    assert hands.work(at_once=2).state is State.DONE
    assert hands.done > 4
    assert hands.result() == expected


@pytest.mark.usefixtures("parted")
@pytest.mark.parametrize("after", [1, 3, 10])
def test_what_was_found_before_a_stop_is_kept(store: Store, after: int) -> None:
    puzzle, spec = find("4x4x4", half_length=9)
    hands = Hands(store, puzzle, spec)
    for _ in range(4):
        lease = store.jobs.lease("worker", 60.0)
        assert lease is not None
        hands.do(lease)
    lease = store.jobs.lease("worker", 60.0)
    assert lease is not None
    hands.do(lease, stop_after=after)
    # Where the lease had less ticks than that, it ended as if nothing had been.
    store.jobs.stop(hands.key, "somebody")
    job = hands.work()
    assert job.state is State.STOPPED
    assert json.loads(job.outcome)["stopped_by"] == PERSON
    found = results.read(hands.result())
    assert isinstance(found, results.FindResult)
    assert found.stopped_by == PERSON
    assert 5 <= found.coverage.half_length < 9
    for word in found.words:
        _does(puzzle, spec, word.cycle, word.turns)


def test_a_job_that_is_stopped_at_once_says_what_is_known(store: Store) -> None:
    puzzle, spec = find("3x3x3", half_length=9)
    hands = Hands(store, puzzle, spec)
    lease = store.jobs.lease("worker", 60.0)
    assert lease is not None
    hands.do(lease, stop_after=1)
    assert hands.job.state is State.STOPPED
    assert json.loads(hands.job.outcome)["result"]


def _does(puzzle: Puzzle, spec: FindSpec, number: int, word: tuple[int, ...]) -> None:
    """Check that a word does a three-cycle of the job and moves nothing else."""
    a, b, c = spec.triples[number]
    effect = puzzle.effect(word).tolist()
    assert (effect[a], effect[b], effect[c]) == (b, c, a)
    homes = [int(p) for p in puzzle.home.tolist()]
    assert sum(effect[p] != p for p in homes) == 3


@pytest.mark.usefixtures("parted")
def test_the_time_is_that_of_all_who_work(store: Store) -> None:
    puzzle, spec = find("4x4x4", half_length=9, seconds=1.0)
    hands = Hands(store, puzzle, spec)
    job = hands.work(at_once=2)
    assert job.state is State.DONE
    assert json.loads(job.outcome)["stopped_by"] == TIME
    assert job.ended - job.began < 10.0
    found = results.read(hands.result())
    assert isinstance(found, results.FindResult)
    assert found.coverage.half_length < 9


def test_a_half_length_that_needs_too_much_ends_the_job(store: Store) -> None:
    puzzle, spec = find("5x5x5", half_length=12)
    job = Hands(store, puzzle, spec).work()
    assert job.state is State.FAILED
    with pytest.raises(LimitError) as error:
        at_once(puzzle, spec)
    assert job.error == str(error.value)


@pytest.mark.usefixtures("parted")
@pytest.mark.parametrize("bounds", [{}, {"half_length": 9}])
def test_too_little_memory_in_a_part_is_said(
    store: Store, monkeypatch: pytest.MonkeyPatch, bounds: dict[str, int]
) -> None:
    puzzle, spec = find("3x3x3", "UFR UBL DFL", **bounds)
    hands = Hands(store, puzzle, spec)
    while hands.job.stage == 0:
        lease = store.jobs.lease("worker", 60.0)
        assert lease is not None
        hands.do(lease)

    def doing(*_: Any) -> Iterator[float]:
        raise LimitError("no room for this")

    monkeypatch.setattr(shards, "doing", doing)
    job = hands.work()
    if bounds:
        assert (job.state, job.error) == (State.FAILED, "no room for this")
    else:
        assert job.state is State.DONE
        assert json.loads(job.outcome)["note"] == "no room for this"


@pytest.mark.usefixtures("parted")
def test_progress_says_how_far_it_is(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(telling, "TELL_SECONDS", 0.0)
    monkeypatch.setattr(telling, "LOOK_SECONDS", 0.05)
    monkeypatch.setattr(telling, "KNOWN_SECONDS", 0.0)
    monkeypatch.setattr(holding, "RENEW_SECONDS", 0.0)
    puzzle, spec = find("4x4x4", half_length=7)
    hands = Hands(store, puzzle, spec)
    seen: list[dict[str, Any]] = []
    while lease := store.jobs.lease("worker", 60.0):
        hands.do(lease)
        if hands.job.progress:
            seen.append(json.loads(hands.job.progress))
    assert hands.job.state is State.DONE
    keys = {"step", "working", "half_length", "complete", "share", "left", "best", "words"}
    assert keys <= set(seen[-1])
    for before, after in itertools.pairwise(seen):
        assert after["half_length"] >= before["half_length"]
        if after["step"] == before["step"]:
            assert after["share"] >= before["share"]
        if before.get("best"):
            assert after["best"] <= before["best"]
    assert any(one["left"] is not None for one in seen)
    for one in seen:
        assert 0.0 <= one["share"] <= 1.0
        assert one["left"] is None or one["left"] >= 0.0
        assert one["working"] == one["half_length"] + 1
    last = seen[-1]
    assert 1 <= len(last["words"]) <= 12
    for number, word in last["words"]:
        _does(puzzle, spec, number, tuple(word))
    lengths = [len(word) for _, word in last["words"]]
    assert lengths == sorted(lengths)
    assert lengths[0] == last["best"]


def test_what_an_earlier_search_has_found_is_told_at_once(store: Store) -> None:
    puzzle, before = find("3x3x3", half_length=6)
    known = results.read(_done(store, puzzle, before).result())
    assert isinstance(known, results.FindResult)
    spec = find("3x3x3", half_length=9)[1]
    heard: list[dict[str, Any]] = []

    def tick(news: dict[str, Any] | None = None) -> bool:
        heard.extend([news] if news else [])
        return not heard

    FindWork().plan(store, spec.model_dump(mode="json"), 0, [], 0.0, tick)
    assert (heard[0]["half_length"], heard[0]["working"]) == (6, 7)
    assert heard[0]["best"] == min(len(word.turns) for word in known.words)
    for number, word in heard[0]["words"]:
        _does(puzzle, spec, number, tuple(word))


def _done(store: Store, puzzle: Puzzle, spec: FindSpec) -> Hands:
    hands = Hands(store, puzzle, spec)
    assert hands.work().state is State.DONE
    return hands


def test_what_is_left_is_told_when_it_can_be_known(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The time that a search may take is no answer, nor is a step that may not be the last."""
    monkeypatch.setattr(telling, "KNOWN_SECONDS", 0.0)
    clock = stepping.Clock(0.0, 3600.0)
    for bounds, best, share, known in (
        ({"half_length": 9}, 30, 0.0, False),
        ({"half_length": 9}, 30, 0.001, False),
        ({"half_length": 9}, 30, 0.25, True),
        ({}, 30, 0.25, False),
        # That nothing is shorter is known after this level.
        ({}, 12, 0.25, True),
    ):
        spec = find("3x3x3", seconds=3600, **bounds)[1]
        own = FindWork().opened(store, spec.model_dump(mode="json"))
        teller = FindWork().teller(own, store, clock, lambda news: True)
        found, step = atlas.empty(own.scope), plan.level_step(own.scope, 9)
        teller.begin(found, step, best, clock.now - 10.0)
        teller.share = share
        left = teller.news()["left"]
        assert (left is not None) == known, (bounds, best, share)
        if left is not None:
            # A quarter took ten seconds, and nothing comes after it.
            assert left == pytest.approx(30.0, abs=1.0)


def test_a_better_word_of_somebody_else_stays(store: Store) -> None:
    """Two parts may both find something better than all before."""
    puzzle, spec = find("3x3x3", half_length=9)
    hands = Hands(store, puzzle, spec)
    own = FindWork().opened(store, spec.model_dump(mode="json"))
    lease = store.jobs.lease("worker", 60.0)
    assert lease is not None
    told = {"step": "half-length 9", "share": 0.5, "best": 11, "words": [[0, [1]]]}
    store.jobs.renew(lease, 60.0, 0.0, json.dumps(told))
    heard: list[dict[str, Any]] = []

    def tick(news: dict[str, Any] | None) -> bool:
        heard.append(news or {})
        return True

    teller = FindWork().teller(own, store, stepping.Clock(0.0, None), tick)
    found = atlas.empty(own.scope)
    teller.begin(found, plan.level_step(own.scope, 9), best=12)
    teller._words = [[0, [1, 2]]]
    assert teller.go_on(0.25)
    assert heard[-1]["share"] == 0.5
    assert "best" not in heard[-1]
    assert hands.job.state is State.RUNNING


@pytest.mark.usefixtures("parted")
@pytest.mark.parametrize(("seconds", "enough"), [(50.0, True), (3600.0, False)])
def test_waiting_for_workers_takes_nothing_of_a_search_s_time(
    store: Store, seconds: float, enough: bool
) -> None:
    """Others have the workers for a while after its first plan; only for very long is too long."""
    puzzle, spec = find("3x3x3", half_length=7, seconds=30.0)
    hands = Hands(store, puzzle, spec)
    lease = store.jobs.lease("worker", 60.0)
    assert lease is not None
    hands.do(lease)
    assert not hands.job.state.over
    while (lease := store.jobs.lease("worker", 60.0)) is not None:
        hands.do(replace(lease, began=lease.began - seconds))
        assert hands.done < 1000
    found = results.read(hands.result())
    assert isinstance(found, results.FindResult)
    assert (found.stopped_by is None) == enough
    assert (found.coverage.half_length == 7) == enough


def test_computing_of_all_counts_against_the_time(store: Store) -> None:
    puzzle, spec = find("3x3x3", half_length=9, seconds=30.0)
    hands = Hands(store, puzzle, spec)
    lease = store.jobs.lease("worker", 60.0)
    assert lease is not None
    store.jobs.renew(lease, 60.0, 31.0)
    store.jobs.give_back(lease, 0.0)
    job = hands.work()
    assert json.loads(job.outcome)["stopped_by"] == TIME
    assert job.spent < 32.0


@pytest.mark.parametrize("seen", [True, False])
def test_a_stop_while_a_plan_deals_loses_nothing(
    store: Store, monkeypatch: pytest.MonkeyPatch, seen: bool
) -> None:
    """Whether a tick still sees it, or only the store when the parts come."""
    monkeypatch.setattr(shards, "PART_CONJUGATES", 150_000.0)
    monkeypatch.setattr(shards, "large", lambda step: False)
    monkeypatch.setattr(stepping, "INLINE_SECONDS", 0.0)
    puzzle, spec = find("3x3x3", half_length=8)
    hands = Hands(store, puzzle, spec)
    dealt, done = stepping._Plan._dealt, list[int]()

    def stopped(plan: stepping._Plan, payloads: list[bytes], place: int, *more: Any) -> Any:
        made = None if seen else dealt(plan, payloads, place, *more)
        done.append(place)
        store.jobs.stop(hands.key, "somebody")
        if seen:
            plan.tick.__self__._due = 0.0  # type: ignore[attr-defined]
        return made or dealt(plan, payloads, place, *more)

    ended = list[Shelves]()
    result = FindWork.result

    def ending(work: FindWork, own: stepping.Opened, shelves: Shelves, *more: Any) -> bytes:
        ended.append(shelves)
        return result(work, own, shelves, *more)

    monkeypatch.setattr(stepping._Plan, "_dealt", stopped)
    monkeypatch.setattr(FindWork, "result", ending)
    job = hands.work()
    assert (job.state, hands.done, len(done)) == (State.STOPPED, 1, 1)
    assert done[0] >= 1
    found = results.read(hands.result())
    assert isinstance(found, results.FindResult)
    assert found.stopped_by == PERSON
    # More rings were met than the levels before have: those of the parts that were done.
    [shelves] = ended
    key = stored.levels_key(scope_of(spec, puzzle))
    level = stored.read(store.levels.get(key, found.coverage.half_length))
    assert level is not None
    assert shelves.rings > level.rings
