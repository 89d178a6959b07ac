"""Every limit: that it is documented, read from its variable, and what happens beyond it."""

from __future__ import annotations

import json
import socket
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import fields, replace
from functools import partial
from pathlib import Path
from typing import Any

import httpx
import pytest

from puzzles.errors import RequestError
from service.api import room
from service.limits import Limits, limits, rows, table
from service.puzzle_shelf import address, keep
from service.readers import BusyError, TooLongError
from service.reading import Message, RefusedError, Reply
from service.stores.base import State
from service.stores.sqlite import SqliteStore
from tests.service.api.harness import QUESTION, Inline, Served, serving

ROOT = Path(__file__).parents[3]
#: A puzzle file, as somebody would post it.
FILE = (ROOT / "puzzles" / "catalogue" / "2x2x2.toml").read_text()


@contextmanager
def bounded(folder: Path, **chosen: int) -> Iterator[Served]:
    """Run a service with some limits other than usual."""
    with serving(folder, limits=replace(Limits(), **chosen)) as served:
        yield served


def refused(response: httpx.Response, status: int, *words: str) -> dict[str, Any]:
    """Check a problem: its status, one sentence with some words, and when to come back."""
    assert response.status_code == status, response.text
    assert response.headers["Content-Type"] == "application/problem+json"
    problem: dict[str, Any] = response.json()
    assert problem["status"] == status
    assert problem["type"] == "about:blank"
    for word in words:
        assert word in problem["detail"]
    assert "\n" not in problem["detail"]
    if status == 503 or "Retry-After" in response.headers:
        assert int(response.headers["Retry-After"]) >= 1
    return problem


def test_every_limit_is_documented() -> None:
    documented = (ROOT / "README.md").read_text() + (ROOT / "DEVELOPERS.md").read_text()
    missing = [row.variable for row in rows() if f"`{row.variable}`" not in documented]
    assert not missing
    for row in rows():
        assert f"{row.usual:,} {row.unit}" in documented, row.variable


def test_the_table_has_every_limit() -> None:
    lines = table().splitlines()
    assert len(lines) == len(rows()) + 2 == len(fields(Limits)) + 3


@pytest.mark.parametrize("name", [one.name for one in fields(Limits)])
def test_every_limit_is_read_from_its_variable(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    own = next(one for one in fields(Limits) if one.name == name)
    variable = own.metadata["row"].variable
    least = own.metadata["least"]
    monkeypatch.setenv(variable, str(least))
    assert getattr(limits(), name) == least
    for wrong in ("-1", "many", "1e3", "99999999999"):
        monkeypatch.setenv(variable, wrong)
        with pytest.raises(RequestError, match=variable):
            limits()
    monkeypatch.delenv(variable)
    assert getattr(limits(), name) == own.default


def test_body(tmp_path: Path) -> None:
    with bounded(tmp_path, body=200) as served:
        refused(served.post({**QUESTION, "layers": ["U"] * 100}), 413, "200 bytes")

        def parts() -> Iterator[bytes]:
            yield b"x" * 150
            yield b"x" * 150

        headers = {"Content-Type": "application/json"}
        answer = served.client.post("/api/searches", content=parts(), headers=headers)
        refused(answer, 413)
        assert served.post().status_code == 202


def test_body_seconds(tmp_path: Path) -> None:
    with bounded(tmp_path, body_seconds=1) as served:
        host, port = str(served.client.base_url).removeprefix("http://").strip("/").split(":")
        with socket.create_connection((host, int(port)), timeout=10) as connection:
            connection.sendall(
                b"POST /api/searches HTTP/1.1\r\nHost: localhost\r\n"
                b"Content-Type: application/json\r\nContent-Length: 100\r\n\r\n{"
            )
            began = time.monotonic()
            said = connection.recv(10_000).decode()
            assert said.startswith("HTTP/1.1 408")
            assert time.monotonic() - began < 5


def test_url_and_headers(tmp_path: Path) -> None:
    with bounded(tmp_path, url=300, headers=1_000) as served:
        refused(served.client.get("/api", params={"x": "y" * 400}), 414, "300 bytes")
        refused(served.client.get("/api", headers={"X-Long": "y" * 2_000}), 431, "1,000 bytes")
        assert served.client.get("/api").status_code == 200


def test_puzzle_file(tmp_path: Path) -> None:
    with bounded(tmp_path, puzzle=100) as served:
        problem = refused(served.client.post("/api/puzzles", json={"file": FILE}), 413, "100")
        assert problem["errors"][0]["pointer"] == "#/file"


def test_sequence(tmp_path: Path) -> None:
    with bounded(tmp_path, sequence=10) as served:
        href = "/api/puzzles/3x3x3/effects"
        answer = served.client.post(href, json={"sequence": "R U R' U' R U R' U'"})
        assert refused(answer, 422, "10")["errors"][0]["pointer"] == "#/sequence"
        assert served.client.post(href, json={"sequence": "R U R' U'"}).status_code == 200


@pytest.mark.parametrize(
    ("limit", "field", "value"),
    [
        ("turns", "turns", 9),
        ("half_length", "half_length", 9),
        ("seconds", "seconds", 9.5),
        ("shown", "most", 9),
    ],
)
def test_bounds(tmp_path: Path, limit: str, field: str, value: float) -> None:
    with bounded(tmp_path, **{limit: 8}) as served:
        problem = refused(served.post({**QUESTION, "most": 5, field: value}), 422, "at most 8")
        assert problem["errors"][0]["pointer"] == f"#/{field}"
        if field == "most":
            answer = served.client.get(f"/api/results/{'0' * 64}", params={"most": 9})
            refused(answer, 422, "at most 8")


def test_a_search_with_other_bounds_is_given_the_longest_time(tmp_path: Path) -> None:
    with bounded(tmp_path, seconds=77) as served:
        served.post()
        assert json.loads(served.lease().spec)["seconds"] == 77


def test_searches_of_one_asker(tmp_path: Path) -> None:
    chosen = replace(Limits(), searches_each=1)
    with serving(tmp_path, limits=chosen, proxies=("127.0.0.1",)) as served:
        one, other = {"X_Forwarded_For": "192.0.2.1"}, {"X_Forwarded_For": "192.0.2.2"}
        assert served.post(**one).status_code == 202
        assert served.post(**one).status_code == 202, "the same search counts once"
        question = {**QUESTION, "cycle": ["UFR", "UBL", "DFL"]}
        refused(served.post(question, **one), 429)
        assert served.post(question, **other).status_code == 202
        assert served.store.things.count("search") == 2, "nothing is kept of what was refused"


def test_searches_of_all(tmp_path: Path) -> None:
    chosen = replace(Limits(), searches_open=1)
    with serving(tmp_path, limits=chosen, proxies=("127.0.0.1",)) as served:
        assert served.post(X_Forwarded_For="192.0.2.1").status_code == 202
        question = {**QUESTION, "cycle": ["UFR", "UBL", "DFL"]}
        refused(served.post(question, X_Forwarded_For="192.0.2.2"), 429)


def test_computing_of_one_asker(tmp_path: Path) -> None:
    with bounded(tmp_path, computing_each=10) as served:
        served.post()
        lease = served.lease()
        served.store.jobs.renew(lease, 60.0, 11.0)
        served.finish(lease)
        refused(served.post({**QUESTION, "cycle": ["UFR", "UBL", "DFL"]}), 429)
        assert served.post().status_code == 200, "what is known costs nothing"


def test_stored_searches(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(room, "AGAIN", 0.0)
    with bounded(tmp_path, stored=1) as served:
        assert served.post().status_code == 202
        question = {**QUESTION, "cycle": ["UFR", "UBL", "DFL"]}
        refused(served.post(question), 429)
        served.finish()
        assert served.post(question).status_code == 202


def test_no_more_searches_are_stored_whether_they_need_jobs_or_not(tmp_path: Path) -> None:
    with bounded(tmp_path, stored=3) as served:
        stored = partial(served.store.things.count, "search")
        assert served.post().status_code == 202
        served.finish()
        for most in range(1, 6):
            answer = served.post({**QUESTION, "most": most})
            assert answer.json()["state"] == "done"
            assert served.client.get(answer.json()["href"]).status_code == 200
            assert stored() <= 3
        for setup in range(5):
            answer = served.post({**QUESTION, "layers": ["U"], "setup": setup})
            assert answer.json()["reason"]
            assert stored() <= 3


def test_only_searches_that_are_over_make_room(tmp_path: Path) -> None:
    with bounded(tmp_path, stored=3) as served:
        hrefs = [served.post({**QUESTION, "most": most}).json()["href"] for most in (1, 2, 3)]
        # They all have one job, which goes on: there is no room, and an answer needs none.
        answer = served.post({**QUESTION, "layers": ["U"]})
        assert answer.json()["reason"]
        assert served.store.things.count("search") == 3
        assert [served.client.get(href).status_code for href in hrefs] == [200] * 3


def test_the_usual_number_of_answers_gives_way(tmp_path: Path) -> None:
    with bounded(tmp_path, shown=2) as served:
        assert served.post().status_code == 202, "most was not said"
        digest = served.finish()
        told = served.post().json()
        assert (told["question"]["most"], len(told["answer"]["answers"])) == (2, 2)
        shown = served.client.get(f"/api/results/{digest}").json()
        assert len(shown["answers"]) == 2
        refused(served.post({**QUESTION, "most": 10}), 422, "at most 2 was expected, not 10")


def file_of(number: int) -> str:
    """Return one of many files of the same puzzle."""
    return f"{FILE}# {number}\n"


def post_file(served: Served, number: int) -> httpx.Response:
    """Post a file and let a worker compile it."""
    posted = served.client.post("/api/puzzles", json={"file": file_of(number)})
    if posted.status_code == 202:
        lease = served.lease()
        address = keep(served.store, json.loads(lease.spec)["file"])
        told = json.dumps({"puzzle": address})
        assert served.store.jobs.end(lease, State.DONE, told, "", 0.1)
    return posted


def test_posted_puzzles_make_room(tmp_path: Path) -> None:
    with bounded(tmp_path, puzzles=2) as served:
        names = [address(file_of(number)) for number in range(4)]

        def kept() -> list[int]:
            there = set(served.store.things.names("puzzle", 10))
            return [number for number, name in enumerate(names) if name in there]

        assert [post_file(served, number).status_code for number in (0, 1)] == [202, 202]
        # The first is used, so that the second was not used for longest.
        assert served.client.get(f"/api/puzzles/{names[0]}").status_code == 200
        for _ in range(100):
            if served.store.things.count("puzzle-used"):
                break
            time.sleep(0.01)
        assert post_file(served, 2).status_code == 202
        assert kept() == [0, 2]
        link = served.client.post("/api/clubs", json={"name": "Tuesdays"}).json()["links"][1]
        for number in (0, 2):
            item = {"kind": "puzzle", "puzzle": names[number]}
            assert served.client.post(f"{link['href']}/items", json=item).status_code == 201
        answer = served.client.post("/api/puzzles", json={"file": file_of(3)})
        refused(answer, 429, "2", "on clubs' shelves")
        assert "Retry-After" not in answer.headers, "waiting does not help"
        assert kept() == [0, 2]


def test_a_puzzle_that_made_room_can_be_posted_again(tmp_path: Path) -> None:
    with bounded(tmp_path, puzzles=1) as served:
        for number in (0, 1):
            assert post_file(served, number).status_code == 202
        again = served.client.post("/api/puzzles", json={"file": file_of(0)})
        assert again.status_code == 201, "it was compiled before"
        assert served.store.things.names("puzzle", 9) == [address(file_of(0))]


def test_files_of_one_asker(tmp_path: Path) -> None:
    chosen = replace(Limits(), puzzles_each=2)
    with serving(tmp_path, limits=chosen, proxies=("127.0.0.1",)) as served:
        one, other = {"X-Forwarded-For": "192.0.2.1"}, {"X-Forwarded-For": "192.0.2.2"}

        def post(number: int, who: dict[str, str]) -> httpx.Response:
            sent = {"file": file_of(number)}
            return served.client.post("/api/puzzles", json=sent, headers=who)

        assert [post(number, one).status_code for number in (0, 1, 1)] == [202, 202, 202]
        answer = post(2, one)
        refused(answer, 429, "2 new puzzle files within this hour")
        assert int(answer.headers["Retry-After"]) <= 3_600
        assert post(2, other).status_code == 202


@pytest.mark.parametrize("limit", ["streams_each", "streams"])
def test_streams(tmp_path: Path, limit: str) -> None:
    with bounded(tmp_path, **{limit: 1}) as served:
        events = served.post().json()["events"]
        with served.client.stream("GET", events) as first:
            lines = first.iter_lines()
            assert next(lines)
            for _ in range(50):
                if served.app.state.service.streams.total():
                    break
                time.sleep(0.02)
            with served.client.stream("GET", events) as second:
                assert second.status_code == 429
                second.read()
            refused(second, 429)
            answer = served.post(Prefer="wait=1")
            assert answer.status_code == 202
            assert "Preference-Applied" not in answer.headers
            del lines


class Failing(Inline):
    """Readers that fail as real ones do; ``tests/service/test_readers.py`` tests that these do."""

    error: Exception

    async def reply(self, message: Message, asker: str = "") -> Reply:
        raise self.error


@pytest.mark.parametrize(
    ("error", "status", "word"),
    [
        (TooLongError(), 422, "20 s"),
        (BusyError(), 503, "again"),
        (RefusedError("memory", "this needs more memory than one reader is given"), 422, "memory"),
    ],
)
def test_reading(tmp_path: Path, error: Exception, status: int, word: str) -> None:
    store = SqliteStore(tmp_path / "store.sqlite")
    readers = Failing(store)
    readers.error = error
    with serving(tmp_path, store=store, readers=readers) as served:
        refused(served.post(), status, word)
        assert served.store.things.count("search") == 0


def test_answers_at_hand(tmp_path: Path) -> None:
    with bounded(tmp_path, cached=0) as served:
        served.post()
        served.finish()
        assert served.post().status_code == 200
        assert served.post().status_code == 200
        asked = [message["do"] for message in served.readers.asked]  # type: ignore[attr-defined]
        assert asked.count("ask") == 3
        assert asked.count("answer") == 1, "the store has it"


def test_clubs(tmp_path: Path) -> None:
    with bounded(tmp_path, club_items=1, clubs_each=1) as served:
        club = served.client.post("/api/clubs", json={"name": "Tuesdays"})
        assert club.status_code == 201
        refused(served.client.post("/api/clubs", json={"name": "Fridays"}), 429)
        href = club.json()["links"][-1]["href"]
        note = {"kind": "note", "text": "try this"}
        assert served.client.post(f"{href}/items", json=note).status_code == 201
        refused(served.client.post(f"{href}/items", json=note), 429)
