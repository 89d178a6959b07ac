"""Searches over HTTP: from a question to its answer, joining, waiting, stopping, following."""

from __future__ import annotations

import json
import sqlite3
import threading
import time
from pathlib import Path
from typing import Any

import httpx
import pytest

from service import results
from service.limits import Limits
from service.stores.base import State, StoreError
from service.stores.sqlite import SqliteStore
from tests.service.api.harness import QUESTION, Away, Inline, Served, found, serving
from tests.service.api.test_limits import refused


def test_from_question_to_answer(served: Served) -> None:
    first = served.post()
    assert first.status_code == 202
    search = first.json()
    assert first.headers["Location"] == search["href"] == f"/api/searches/{search['id']}"
    assert int(first.headers["Retry-After"]) >= 1
    assert search["state"] == "waiting"
    assert search["question"] == QUESTION
    assert search["answer"] is None
    digest = served.finish()
    there = served.client.get(search["href"])
    assert there.status_code == 200
    told = there.json()
    assert told["state"] == "done"
    assert told["answer"]["result"] == digest
    assert told["answer"]["cycle"] == QUESTION["cycle"]
    assert told["answer"]["answers"][0]["turns"] > 0
    assert told["result"].startswith(f"/api/results/{digest}?cycle=UFR,UBL,DFR")
    again = served.post()
    assert again.status_code == 200
    assert again.json() == told
    result = served.client.get(told["result"])
    assert result.status_code == 200
    assert result.json()["answers"] == told["answer"]["answers"]


def test_images_share_one_job(served: Served) -> None:
    """The corner that is held still is on the axis of three symmetries and three reflections."""
    served.post()
    other = {**QUESTION, "cycle": ["FRU", "RUB", "UFL"]}
    images = [
        {**QUESTION, "cycle": cycle} for cycle in (["UBL", "DFR", "UFR"], ["DFR", "UBL", "UFR"])
    ]
    for image in images:
        assert served.post(image).status_code == 202
    assert served.store.jobs.figures().jobs_open == 1
    served.finish()
    for image in images:
        told = served.post(image)
        assert told.status_code == 200
        assert told.json()["answer"]["cycle"] == image["cycle"]
    assert served.post(other).status_code == 202


def test_the_same_question_written_otherwise_is_one_search(served: Served) -> None:
    first = served.post({**QUESTION, "apart": False, "most": 10, "keep": None})
    assert first.json()["id"] == served.post().json()["id"]


def test_impossible_needs_no_worker(served: Served) -> None:
    """Two corners of a cube cannot be exchanged with three edges: other numbers of pieces."""
    question = {"puzzle": "3x3x3", "cycle": ["UFR", "UFR", "DFL"]}
    assert served.post(question).status_code == 422
    question = {"puzzle": "cube-corners", "cycle": ["UFR", "UFL", "UBL"]}
    answer = served.post(question)
    assert answer.status_code == 200, answer.text
    told = answer.json()
    assert told["state"] == "done"
    assert told["impossible"] is True
    assert told["reason"] == told["answer"]["reason"]
    assert told["answer"]["answers"] == []
    assert served.client.get(told["href"]).json() == told
    assert served.store.jobs.figures().jobs_open == 0


def test_waiting_is_applied_and_echoed(served: Served) -> None:
    def work() -> None:
        time.sleep(0.3)
        served.finish()

    worker = threading.Thread(target=work)
    worker.start()
    began = time.monotonic()
    answer = served.post(Prefer="respond-async, wait=15")
    worker.join()
    assert answer.status_code == 200
    assert answer.headers["Preference-Applied"] == "wait=15"
    assert 0.2 < time.monotonic() - began < 5
    again = served.post(Prefer="wait=100")
    assert again.headers["Preference-Applied"] == "wait=20"
    assert "Preference-Applied" not in served.post(Prefer="wait=soon, handling=strict").headers


def test_waiting_ends_when_its_time_is_over(served: Served) -> None:
    began = time.monotonic()
    answer = served.post(Prefer="wait=1")
    assert answer.status_code == 202
    assert answer.headers["Preference-Applied"] == "wait=1"
    assert 0.9 < time.monotonic() - began < 3


def test_progress_and_the_best_so_far(served: Served) -> None:
    search = served.post().json()
    lease = served.lease()
    result = json.loads(found(lease.spec))
    word = result["words"][0]
    progress = {
        "step": "half-length 4",
        "working": 4,
        "half_length": 3,
        "complete": 6,
        "share": 0.25,
        "best": len(word["turns"]),
        "left": 1.5,
        "words": [[word["cycle"], word["turns"]]],
    }
    served.store.jobs.renew(lease, 60.0, 0.1, json.dumps(progress))
    told = served.client.get(search["href"]).json()
    assert told["state"] == "running"
    assert told["progress"] == {k: v for k, v in progress.items() if k != "words"}
    assert told["answer"]["answers"][0]["turns"] == progress["best"]
    assert told["answer"]["cycle"] == QUESTION["cycle"]
    served.store.jobs.renew(lease, 60.0, 0.1, json.dumps({**progress, "share": 0.5}))
    before = _rendered(served, "partial")
    assert served.client.get(search["href"]).json()["progress"]["share"] == 0.5
    assert _rendered(served, "partial") == before, "the same words were rendered again"


def test_stopping_keeps_what_was_found(served: Served) -> None:
    search = served.post().json()
    lease = served.lease()
    told = served.client.delete(search["href"]).json()
    assert told["state"] == "stopping"
    served.store.jobs.give_back(lease, 0.1)
    plan = served.lease()
    digest = results.keep(served.store, found(plan.spec))
    outcome = json.dumps({"result": digest, "stopped_by": "person", "note": ""})
    served.store.jobs.end(plan, State.STOPPED, outcome, "", 0.1)
    told = served.client.get(search["href"]).json()
    assert told["state"] == "stopped"
    assert told["answer"]["answers"]
    assert digest in told["result"]
    # Who asks again begins it anew.
    assert served.post().status_code == 202
    assert served.client.get(search["href"]).json()["state"] == "waiting"


def test_only_who_wants_it_can_stop_it(tmp_path: Path) -> None:
    with serving(tmp_path, proxies=("127.0.0.1",)) as served:
        search = served.post(X_Forwarded_For="192.0.2.1").json()
        other = {"X-Forwarded-For": "192.0.2.2"}
        refused(served.client.delete(search["href"], headers=other), 409, "it goes on for those")
        assert served.client.get(search["href"]).json()["state"] == "waiting"
        told = served.client.delete(search["href"], headers={"X-Forwarded-For": "192.0.2.1"})
        assert told.json()["state"] == "stopped"
        told = served.client.delete(search["href"], headers=other)
        assert told.json()["state"] == "stopped", "nothing is left to be refused"


def test_a_key_of_no_club_is_refused_whether_the_answer_is_known_or_not(served: Served) -> None:
    for _ in range(2):
        problem = refused(served.post(Trefoil_Club="foo"), 403)
        assert problem["detail"] == (
            "the key in Trefoil-Club opens no club: it was mistyped, replaced or withdrawn"
        )
        served.post()
        if served.store.jobs.figures().jobs_open:
            served.finish()


def test_a_failed_search_says_why(served: Served) -> None:
    search = served.post().json()
    served.store.jobs.end(served.lease(), State.FAILED, "", "it needs too much memory", 0.1)
    told = served.client.get(search["href"]).json()
    assert (told["state"], told["reason"]) == ("failed", "it needs too much memory")


def test_a_search_that_there_is_not(served: Served) -> None:
    assert served.client.get(f"/api/searches/{'0' * 32}").status_code == 404
    assert served.client.delete(f"/api/searches/{'0' * 32}").status_code == 404
    assert served.client.get(f"/api/searches/{'0' * 32}/events").status_code == 404
    assert served.client.get("/api/searches/../../etc/passwd").status_code == 404


def test_a_lost_search_says_so(served: Served) -> None:
    """As after a Redis server came back without its file."""
    search = served.post().json()
    _lose(served)
    told = served.client.get(search["href"])
    assert told.status_code == 404
    assert "lost" in told.json()["detail"]


class Stream:
    """Reads server-sent events as WHATWG HTML, 9.2.6 says."""

    def __init__(self, response: httpx.Response) -> None:
        assert response.headers["Content-Type"].startswith("text/event-stream")
        self._lines = response.iter_lines()
        self.retry: int | None = None
        self._end = time.monotonic() + 15.0

    def next(self) -> tuple[str, str, Any] | None:
        """Return the name, number and data of the next event, None at the end."""
        name, number, data = "message", "", []
        for line in self._lines:
            # Signs of life come every ten seconds, so that this is seen.
            assert time.monotonic() < self._end, "nothing came"
            if not line:
                if data:
                    return name, number, json.loads("\n".join(data))
                continue
            field, _, value = line.partition(":")
            value = value.removeprefix(" ")
            if field == "event":
                name = value
            elif field == "id":
                number = value
            elif field == "data":
                data.append(value)
            elif field == "retry":
                self.retry = int(value)
        return None


def test_events_resume_after_a_break(served: Served) -> None:
    search = served.post().json()
    lease = served.lease()
    with served.client.stream("GET", search["events"]) as response:
        stream = Stream(response)
        name, number, data = stream.next() or pytest.fail("no event")
        assert name == "search"
        assert data["state"] == "running"
        assert stream.retry
        served.store.jobs.renew(lease, 60.0, 0.1, json.dumps({"step": "one", "share": 0.1}))
        _, second, data = stream.next() or pytest.fail("no event")
        assert data["progress"]["step"] == "one"
        assert second != number
    # The break: nothing is sent again that has arrived, and what is newer comes.
    with served.client.stream(
        "GET", search["events"], headers={"Last-Event-ID": second}
    ) as response:
        stream = Stream(response)
        served.store.jobs.renew(lease, 60.0, 0.1, json.dumps({"step": "two", "share": 0.2}))
        _, third, data = stream.next() or pytest.fail("no event")
        assert data["progress"]["step"] == "two"
        served.finish(lease)
        _, last, data = stream.next() or pytest.fail("no event")
        assert data["state"] == "done"
        assert data["answer"]["answers"]
        assert stream.next() is None, "the stream ends with the search"
    assert third != last
    # 204 lets a browser come back no more (WHATWG HTML, 9.2.1).
    done = served.client.get(search["events"], headers={"Last-Event-ID": last})
    assert done.status_code == 204
    with served.client.stream("GET", search["events"]) as response:
        assert (Stream(response).next() or pytest.fail("no event"))[2]["state"] == "done"


def test_streams_end_when_the_service_leaves(tmp_path: Path) -> None:
    with serving(tmp_path) as served:
        search = served.post().json()
        with served.client.stream("GET", search["events"]) as response:
            stream = Stream(response)
            assert stream.next()
            began = time.monotonic()
            served.app.state.leaving.set()
            assert stream.next() is None
            assert time.monotonic() - began < 1


def test_head_of_a_stream(served: Served) -> None:
    head = served.client.head(served.post().json()["events"])
    assert head.status_code == 200
    assert head.headers["Content-Type"].startswith("text/event-stream")


def test_a_stream_outlives_a_store_that_is_away(tmp_path: Path) -> None:
    store = SqliteStore(tmp_path / "store.sqlite")
    away = Away(store, lambda: StoreError("the store does not answer just now"))
    with serving(tmp_path, store=away, readers=Inline(store)) as served:  # type: ignore[arg-type]
        search = served.post().json()
        lease = served.lease()
        with served.client.stream("GET", search["events"]) as response:
            stream = Stream(response)
            assert stream.next()
            away.away = True
            time.sleep(0.3)
            away.away = False
            served.finish(lease)
            assert (stream.next() or pytest.fail("no event"))[2]["state"] == "done"


def test_a_stream_says_that_its_search_is_lost(served: Served) -> None:
    search = served.post().json()
    with served.client.stream("GET", search["events"]) as response:
        stream = Stream(response)
        assert stream.next()
        _lose(served)
        name, _, data = stream.next() or pytest.fail("no event")
        assert (name, data["status"]) == ("lost", 404)
        assert stream.next() is None


def test_searches_that_are_over_make_room(tmp_path: Path) -> None:
    with serving(tmp_path, limits=Limits(stored=2)) as served:
        first = served.post().json()
        served.finish()
        second = served.post({**QUESTION, "most": 5}).json()
        assert second["state"] == "done"
        third = served.post({**QUESTION, "cycle": ["UFR", "UBL", "DFL"]})
        assert third.status_code == 202
        assert served.store.things.count("search") <= 2
        assert served.store.things.get("search", first["id"]) is None


def _lose(served: Served) -> None:
    """Let the store lose all of its jobs."""
    with sqlite3.connect(served.app.state.service.settings.store) as connection:
        names = [row[0] for row in connection.execute("select name from sqlite_master")]
        for name in ("shard", "want", "job"):
            if name in names:
                connection.execute(f"delete from {name}")


def _rendered(served: Served, what: str) -> int:
    return sum(message["do"] == what for message in served.readers.asked)  # type: ignore[attr-defined]
