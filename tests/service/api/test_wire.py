"""Connections: slow headers, more than are allowed, and what is no HTTP (RFC 9112)."""

from __future__ import annotations

import json
import logging
import resource
import socket
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from service.api.wire import Connections, prepare
from service.limits import Limits
from tests.service.api.harness import Served, serving

HALF = b"GET /livez HTTP/1.1\r\nHost: localhost\r\nX-Half: "


def connected(served: Served) -> socket.socket:
    url = served.client.base_url
    return socket.create_connection((url.host, url.port or 0), timeout=10)


def answer(connection: socket.socket) -> tuple[bytes, dict[str, str], dict[str, object]]:
    """Return the status line, the fields and the problem that a connection is closed with."""
    data = b""
    while part := connection.recv(10_000):
        data += part
    head, _, body = data.partition(b"\r\n\r\n")
    line, *rest = head.split(b"\r\n")
    fields = dict(one.decode().split(": ", 1) for one in rest)
    return line, {name.lower(): value for name, value in fields.items()}, json.loads(body)


@contextmanager
def bounded(folder: Path, **chosen: int) -> Iterator[Served]:
    with serving(folder, limits=replace(Limits(), **chosen)) as served:
        yield served


def test_a_header_has_so_much_time_however_it_trickles(tmp_path: Path) -> None:
    with bounded(tmp_path, header_seconds=1) as served:
        with connected(served) as slow, connected(served) as silent:
            began = time.monotonic()
            for _ in range(8):
                slow.sendall(HALF if time.monotonic() - began < 0.1 else b"x")
                time.sleep(0.1)
            line, fields, problem = answer(slow)
            assert line == b"HTTP/1.1 408 Request Timeout"
            assert fields["content-type"] == "application/problem+json"
            assert problem["detail"] == "the header of the request did not arrive within 1 s"
            assert silent.recv(1) == b"", "one that says nothing is closed without an answer"
            assert time.monotonic() - began < 4
        with connected(served) as second:
            second.sendall(b"GET /livez HTTP/1.1\r\nHost: localhost\r\n\r\n")
            first = b""
            # Head and body may come one after the other.
            while not first.endswith(b"}"):
                first += second.recv(1000)
            assert first.startswith(b"HTTP/1.1 200")
            second.sendall(HALF)
            line, _, _ = answer(second)
            assert line.startswith(b"HTTP/1.1 408"), "the second request has no more time"


def test_who_waits_longest_makes_room(tmp_path: Path) -> None:
    with bounded(tmp_path, connections_each=20, header_seconds=600) as served, ExitStack() as stack:
        slow = [stack.enter_context(connected(served)) for _ in range(30)]
        slow[-1].sendall(HALF)
        assert served.client.get("/livez").status_code == 200, "others come through"
        assert slow[0].recv(1) == b""
        slow[-1].sendall(b"x\r\n\r\n")
        assert slow[-1].recv(1000).startswith(b"HTTP/1.1 200"), "the latest stay"


@pytest.mark.parametrize(("limit", "status"), [("connections_each", 429), ("connections", 503)])
def test_who_is_busy_makes_none(tmp_path: Path, limit: str, status: int) -> None:
    with bounded(tmp_path, **{limit: 2}) as served:
        events = served.post().json()["events"]
        path = f"GET {events} HTTP/1.1\r\nHost: localhost\r\n\r\n".encode()
        with connected(served) as one, connected(served) as two, ExitStack() as stack:
            for stream in (one, two):
                stream.sendall(path)
                assert stream.recv(1000).startswith(b"HTTP/1.1 200")
            line, fields, problem = answer(stack.enter_context(connected(served)))
            assert int(line.split()[1]) == status
            assert fields["retry-after"] == "5"
            assert "connections" in str(problem["detail"])
        for _ in range(100):
            if not served.app.state.service.streams:
                break
            time.sleep(0.02)
        assert served.client.get("/livez").status_code == 200, "a place that was left is free"


def test_proxies_are_many(tmp_path: Path) -> None:
    limits = replace(Limits(), connections_each=1)
    with (
        serving(tmp_path, limits=limits, proxies=("127.0.0.0/8",)) as served,
        connected(served) as one,
        connected(served) as two,
    ):
        for connection in (two, one):
            connection.sendall(b"GET /livez HTTP/1.1\r\nHost: localhost\r\n\r\n")
            assert connection.recv(1000).startswith(b"HTTP/1.1 200")


def test_there_are_never_more_than_files(monkeypatch: pytest.MonkeyPatch) -> None:
    for soft, most in [(1024, 674), (256, 128), (resource.RLIM_INFINITY, 2_000), (10**6, 2_000)]:
        monkeypatch.setattr(resource, "getrlimit", lambda _, soft=soft: (soft, soft))
        assert Connections(Limits(), ()).most == most


BAD = [
    b"GARBAGE\r\n\r\n",
    b"GET /api HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n",
    b"GET /api HTTP/1.1\r\n\r\n",
    b"GET /api/puzzles/\xff HTTP/1.1\r\nHost: localhost\r\n\r\n",
    b"POST /api/searches HTTP/1.1\r\nHost: localhost\r\nContent-Length: -5\r\n\r\n",
    b"POST /api/searches HTTP/1.1\r\nHost: localhost\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n",
]


@pytest.mark.parametrize("sent", BAD)
def test_what_is_no_http(shared: Served, caplog: pytest.LogCaptureFixture, sent: bytes) -> None:
    with caplog.at_level("INFO"), connected(shared) as connection:
        connection.sendall(sent)
        line, fields, problem = answer(connection)
    assert line == b"HTTP/1.1 400 Bad Request"
    assert fields["content-type"] == "application/problem+json"
    assert problem["status"] == 400
    assert "HTTP/1.1" in str(problem["detail"])
    told = [vars(one)["trefoil"] for one in caplog.records if one.name == "trefoil.requests"]
    assert {"route": "other", "method": "other", "status": 400, "ms": 0.0} in told


def test_a_header_beyond_all_bounds(shared: Served) -> None:
    with connected(shared) as connection:
        connection.sendall(HALF + b"x" * 70_000)
        line, _, problem = answer(connection)
    assert line.startswith(b"HTTP/1.1 431")
    assert "header" in str(problem["detail"])


def test_two_lengths_are_refused(shared: Served) -> None:
    """A message with both is a way to smuggle another one in (RFC 9112, 6.3)."""
    with connected(shared) as connection:
        connection.sendall(
            b"POST /api/searches HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n"
            b"Content-Length: 2\r\nTransfer-Encoding: chunked\r\n\r\n2\r\n{}\r\n0\r\n\r\n"
        )
        line, fields, problem = answer(connection)
    assert line.startswith(b"HTTP/1.1 400")
    assert fields["connection"] == "close"
    assert "Content-Length" in str(problem["detail"])


def test_the_status_in_words_is_the_title(shared: Served) -> None:
    prepare()
    reply = shared.client.post("/api/searches", json={})
    assert reply.reason_phrase == reply.json()["title"] == "Unprocessable Content"


def test_the_same_complaint_is_logged_once(caplog: pytest.LogCaptureFixture) -> None:
    prepare()
    with caplog.at_level("ERROR"):
        for _ in range(100):
            logging.getLogger("asyncio").error("socket.accept() out of system resource")
            logging.getLogger("asyncio").error("something else")
    said = [one.getMessage() for one in caplog.records]
    assert said.count("socket.accept() out of system resource") <= 1
    assert said.count("something else") == 100
