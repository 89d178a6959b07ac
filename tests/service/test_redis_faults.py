"""A service on Redis when workers and the server are killed: real processes, real searches."""

from __future__ import annotations

import json
import random
import signal
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest

from service.desk import Desk
from service.questions import FindQuestion
from service.stores.base import JobLimits, State, StoreError
from service.stores.redis import RedisStore
from service.stores.sqlite import SqliteStore
from service.works import kinds, loop
from tests.service.processes import Process, Service, until
from tests.service.redis_server import RedisServer, need_server

MANY = JobLimits(1_000, 1_000, 1e9)
#: Searches of a second or two each, most of them in parts that any worker may do.
LONG: tuple[dict[str, Any], ...] = (
    {"puzzle": "3x3x3", "cycle": ["UFR", "UBL", "DFL"], "half_length": 10, "seconds": 600},
    {"puzzle": "3x3x3", "cycle": ["UF", "UB", "DF"], "half_length": 9, "seconds": 600},
)
SHORT = {"puzzle": "3x3x3", "cycle": ["UFR", "UBL", "DFL"], "half_length": 5}
OTHER = {"puzzle": "3x3x3", "cycle": ["UF", "UB", "DF"], "half_length": 5}


class Grown:
    """A Redis server, a service without workers of its own, and workers beside it."""

    def __init__(self, server: RedisServer) -> None:
        self.server = server
        server.start()
        self.service = Service(server.address(), workers=0)
        self.workers: list[Process] = []

    def begin(self) -> None:
        """Begin one more worker."""
        self.workers.append(Process("service.cli", "work", "--store", self.server.address()))

    def ready(self, workers: int) -> None:
        for _ in range(workers):
            self.begin()
        self.service.ready()
        for worker in self.workers:
            worker.says("ready")

    def get(self, address: str) -> Any:
        return self.service.client.get(address)

    def states(self, places: list[str]) -> list[str]:
        """Return how searches stand, "away" while the store is."""
        found = []
        for place in places:
            answer = self.get(place)
            assert answer.status_code in (200, 503), answer.text
            found.append(answer.json()["state"] if answer.status_code == 200 else "away")
        return found

    def end(self) -> None:
        for worker in self.workers:
            worker.end()
        self.service.end()
        self.server.kill()


@pytest.fixture
def grown(tmp_path: Path) -> Iterator[Callable[..., Grown]]:
    need_server()
    with ExitStack() as stack:

        def make(keeps: bool = True) -> Grown:
            made = Grown(RedisServer(tmp_path, keeps))
            stack.callback(made.end)
            return made

        yield make


def undisturbed(folder: Path) -> list[str]:
    """Return the results of the long searches as one worker finds them in peace."""
    store = SqliteStore(folder / "calm.sqlite")
    keys = []
    for question in LONG:
        asked = Desk(store).ask(FindQuestion.model_validate(question))
        store.jobs.submit(asked.key, asked.kind, asked.spec, "somebody", MANY)
        keys.append(asked.key)

    def all_over() -> bool:
        jobs = [store.jobs.job(key) for key in keys]
        return all(job is not None and job.state.over for job in jobs)

    loop.run(store, "calm", kinds.work_for, all_over)
    results = []
    for key in keys:
        job = store.jobs.job(key)
        assert job is not None
        assert job.state is State.DONE, job.error
        results.append(json.loads(job.outcome)["result"])
    store.close()
    return results


def test_searches_end_well_though_workers_and_the_server_are_killed(
    tmp_path: Path, grown: Callable[..., Grown]
) -> None:
    expected = undisturbed(tmp_path)
    here = grown()
    here.ready(workers=2)
    places = []
    for question in LONG:
        posted = here.service.post(question)
        assert posted.status_code == 202, posted.text
        places.append(posted.headers["location"])
    dice = random.Random(7)
    for at in range(4):
        time.sleep(dice.uniform(0.3, 0.8))
        if at % 2:
            here.server.kill()
            time.sleep(0.3)
            here.server.start()
        else:
            here.workers[at // 2].tell(signal.SIGKILL)
            here.begin()
    assert set(here.states(places)) != {"done"}, "the searches were too short to be disturbed"
    over = {"done", "failed", "stopped"}
    until(lambda: set(here.states(places)) <= over, 60.0, "the end of all searches")
    ended = [here.get(place).json() for place in places]
    assert [(one["state"], one["reason"]) for one in ended] == [("done", None)] * len(LONG)
    digests = [one["result"].partition("?")[0].rpartition("/")[2] for one in ended]
    assert digests == expected
    store = RedisStore(here.server.address())
    assert store.jobs.figures().lapsed > 0
    store.close()
    assert all(one["answer"]["answers"] for one in ended)


def test_while_the_server_is_away_what_is_known_is_answered(grown: Callable[..., Grown]) -> None:
    here = grown()
    here.ready(workers=1)
    found = here.service.post(SHORT, Prefer="wait=20")
    assert found.status_code == 200, found.text
    result = found.json()["result"]
    seen = here.get(result)
    assert seen.status_code == 200, seen.text
    here.server.kill()

    began = time.monotonic()
    again = here.get(result)
    assert (again.status_code, again.content) == (200, seen.content)
    known = here.service.post(SHORT)
    assert (known.status_code, known.json()["answer"]) == (200, found.json()["answer"])
    assert here.get("/livez").status_code == 200
    unready = here.get("/readyz")
    assert unready.status_code == 503
    assert "cannot be reached" in unready.json()["detail"]
    for away in (here.service.post(OTHER), here.get(f"/api/searches/{'0' * 32}")):
        assert away.status_code == 503, away.text
        assert away.headers["content-type"] == "application/problem+json"
        assert int(away.headers["retry-after"]) > 0
        assert "cannot be had just now" in away.json()["detail"]
    assert time.monotonic() - began < 10.0

    here.server.start()
    until(lambda: here.get("/readyz").status_code == 200, 20.0, "readiness")
    after = here.service.post(OTHER, Prefer="wait=20")
    assert after.status_code == 200, after.text
    assert after.json()["answer"]["answers"]


def test_what_a_server_without_a_file_lost_is_said_to_be_lost(
    grown: Callable[..., Grown],
) -> None:
    here = grown(keeps=False)
    # Without a file it is not ready, and says so.
    unready = here.get("/readyz")
    assert unready.status_code == 503
    assert any("appendonly yes" in one for one in unready.json()["missing"])
    posted = here.service.post(LONG[0])
    assert posted.status_code == 202, posted.text
    place = posted.headers["location"]
    followed: list[str] = []

    def follow() -> None:
        with here.service.client.stream("GET", f"{place}/events") as stream:
            followed.extend(stream.iter_lines())

    following = threading.Thread(target=follow, daemon=True)
    following.start()
    until(lambda: followed, 10.0, "the first event")
    here.server.kill()
    here.server.start()
    until(lambda: here.get(place).status_code != 503, 10.0, "the server's return")
    lost = here.get(place)
    assert lost.status_code == 404, lost.text
    assert "lost" in lost.json()["detail"]
    following.join(10.0)
    assert not following.is_alive()
    # Asking again begins it anew.
    again = here.service.post(LONG[0])
    assert (again.status_code, again.headers["location"]) == (202, place)
    store = RedisStore(here.server.address())
    until(lambda: _waits(store), 5.0, "the job")
    store.close()


def _waits(store: RedisStore) -> bool:
    try:
        return store.jobs.figures().jobs_open == 1
    except StoreError:
        return False
