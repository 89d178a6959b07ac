"""What stands before all routes: hosts, types, methods, fields, and input that is bad."""

from __future__ import annotations

import gzip
import socket
import time
from pathlib import Path
from typing import Any

import httpx
import pytest

from tests.service.api.harness import QUESTION, Served, serving
from tests.service.api.test_limits import refused

JSON = {"Content-Type": "application/json"}
EFFECTS = "/api/puzzles/3x3x3/effects"


def test_fields_of_every_response(shared: Served) -> None:
    for response in (
        shared.client.get("/api"),
        shared.client.get("/nowhere"),
        shared.client.put("/api"),
        shared.client.get("/livez"),
        shared.client.get("/api/puzzles/3x3x3/picture.svg"),
    ):
        assert response.headers["X-Content-Type-Options"] == "nosniff"
        assert response.headers["Referrer-Policy"] == "no-referrer"
        assert "default-src 'none'" in response.headers["Content-Security-Policy"]
        assert "Cache-Control" in response.headers


def test_no_other_site_may_read(shared: Served) -> None:
    """Nothing of the CORS protocol (WHATWG Fetch, 3.3) is sent, whoever asks for it."""
    headers = {
        "Origin": "https://elsewhere.example",
        "Access-Control-Request-Method": "POST",
        "Access-Control-Request-Headers": "content-type",
    }
    for method in ("OPTIONS", "GET", "POST"):
        response = shared.client.request(method, "/api/searches", headers=headers)
        assert not [name for name in response.headers if name.startswith("access-control")]


@pytest.mark.parametrize(
    ("host", "status"),
    [
        ("localhost", 200),
        ("LOCALHOST:9", 200),
        ("[::1]:8000", 200),
        ("evil.example", 421),
        ("127.0.0.1.evil.example", 421),
        ("localhost@evil.example", 421),
        ("", 421),
    ],
)
def test_hosts(shared: Served, host: str, status: int) -> None:
    assert shared.client.get("/api", headers={"Host": host}).status_code == status
    assert shared.client.get("/livez", headers={"Host": host}).status_code == 200


def test_accepted_hosts_are_a_setting(tmp_path: Path) -> None:
    with serving(tmp_path, hosts=("puzzles.example",)) as served:
        assert served.client.get("/api", headers={"Host": "puzzles.example"}).status_code == 200
        assert served.client.get("/api", headers={"Host": "localhost"}).status_code == 421


def test_two_hosts_are_none(shared: Served) -> None:
    host, port = str(shared.client.base_url).removeprefix("http://").strip("/").split(":")
    with socket.create_connection((host, int(port)), timeout=5) as connection:
        connection.sendall(b"GET /api HTTP/1.1\r\nHost: localhost\r\nHost: evil.example\r\n\r\n")
        assert connection.recv(1000).split()[1] in (b"400", b"421")


@pytest.mark.parametrize(
    "kind", ["text/plain", "application/x-www-form-urlencoded", "application/json; charset=latin-1"]
)
def test_the_content_type_is_required(shared: Served, kind: str) -> None:
    """A form of another site can post these without asking (WHATWG Fetch, 3.3.2)."""
    answer = shared.client.post(
        EFFECTS, content=b'{"sequence": "R"}', headers={"Content-Type": kind}
    )
    refused(answer, 415, "application/json")
    answer = shared.client.post(EFFECTS, content=b'{"sequence": "R"}')
    refused(answer, 415)


def test_methods(shared: Served) -> None:
    answer = shared.client.put("/api/searches")
    refused(answer, 405)
    assert answer.headers["Allow"] == "POST, OPTIONS"
    answer = shared.client.options("/api/puzzles")
    assert (answer.status_code, answer.content) == (204, b"")
    assert answer.headers["Allow"] == "GET, HEAD, POST, OPTIONS"
    refused(shared.client.request("TRACE", "/api"), 405)
    refused(shared.client.request("BREW", "/api"), 405)
    refused(shared.client.options("/nowhere"), 404)


def test_head_is_get_without_a_body(shared: Served) -> None:
    get, head = shared.client.get("/api/puzzles"), shared.client.head("/api/puzzles")
    assert head.content == b""
    same = ("Content-Length", "Content-Type", "ETag", "Cache-Control")
    assert [head.headers[name] for name in same] == [get.headers[name] for name in same]


BAD: list[tuple[str, dict[str, Any], int, str]] = [
    ("/api/searches", {"content": b"{", "headers": JSON}, 400, "JSON"),
    ("/api/searches", {"content": b'{"a": 1,}', "headers": JSON}, 400, "character 9"),
    ("/api/searches", {"content": b"\xff\xfe{}", "headers": JSON}, 400, "UTF-8: byte 1 "),
    ("/api/searches", {"content": b"[" * 100_000, "headers": JSON}, 400, "nested too deeply"),
    ("/api/searches", {"content": b"1" * 10_000, "headers": JSON}, 400, "too many digits"),
    ("/api/searches", {"content": b'{"a": [{"b": 1, "b": 2}]}', "headers": JSON}, 400, "'b' stand"),
    ("/api/searches", {"content": b"", "headers": JSON}, 422, "missing"),
    ("/api/searches", {"json": []}, 422, "object"),
    ("/api/searches", {"json": {}}, 422, "missing"),
    ("/api/searches", {"json": {**QUESTION, "colour": 1}}, 422, "colour is not known"),
    ("/api/searches", {"json": {**QUESTION, "puzzle": "../../etc/passwd"}}, 422, "no puzzle"),
    ("/api/searches", {"json": {**QUESTION, "puzzle": "/etc/passwd"}}, 422, "no puzzle"),
    (
        "/api/searches",
        {"json": {**QUESTION, "puzzle": "<script>alert(1)</script>"}},
        422,
        "no puzzle",
    ),
    ("/api/searches", {"json": {**QUESTION, "puzzle": "x" * 101}}, 422, "100"),
    ("/api/searches", {"json": {**QUESTION, "cycle": ["<b>", "UBL", "DFR"]}}, 422, "'<b>'"),
    ("/api/searches", {"json": {**QUESTION, "cycle": ["UFR", "UBL"]}}, 422, "at least 3"),
    ("/api/searches", {"json": {**QUESTION, "cycle": [[[["UFR"]]], 1, None]}}, 422, "text"),
    ("/api/searches", {"json": {**QUESTION, "turns": 10**400}}, 422, "at most"),
    ("/api/searches", {"json": {**QUESTION, "turns": -1}}, 422, "at least 1"),
    ("/api/searches", {"json": {**QUESTION, "turns": "9"}}, 422, "whole number"),
    (
        "/api/searches",
        {"content": b'{"puzzle": "\\ud800", "cycle": ["a","b","c"]}', "headers": JSON},
        422,
        "puzzle",
    ),
    (
        "/api/searches",
        {
            "content": b'{"puzzle":"2x2x2","cycle":["UFR","UBL","DFR"],"seconds":NaN}',
            "headers": JSON,
        },
        400,
        "NaN",
    ),
    (
        "/api/searches",
        {
            "content": b'{"puzzle":"2x2x2","cycle":["UFR","UBL","DFR"],'
            b'"weights":{"turns":Infinity}}',
            "headers": JSON,
        },
        400,
        "Infinity",
    ),
    ("/api/searches", {"json": {**QUESTION, "seconds": 1e308}}, 422, "at most 3,600 was"),
    ("/api/searches", {"json": {**QUESTION, "cylce": []}}, 422, "; did you mean 'cycle'?"),
    ("/api/searches", {"json": {**QUESTION, "puzzle": ""}}, 422, "puzzle: some text was expected"),
    (EFFECTS, {"json": {"sequence": "R " * 500_000}}, 413, "bytes"),
    (EFFECTS, {"json": {"sequence": "R " * 15_000}}, 422, "20,000"),
    (EFFECTS, {"json": {"sequence": "(R U)999999"}}, 422, "turns"),
    (EFFECTS, {"json": {"sequence": "[" * 5_000}}, 422, ""),
    (EFFECTS, {"json": {"sequence": "((((((" * 500 + "R" + "9)9)9)9)9)9)" * 500}}, 422, ""),
    (EFFECTS, {"json": {"sequence": "\x00\x1b[31m"}}, 422, ""),
    ("/api/puzzles", {"json": {"file": ""}}, 422, "file"),
    ("/api/puzzles", {"json": {"file": "x", "path": "/etc/passwd"}}, 422, "path is not known"),
]


@pytest.mark.parametrize(("path", "sent", "status", "word"), BAD)
def test_bad_input(shared: Served, path: str, sent: dict[str, Any], status: int, word: str) -> None:
    things = {kind: shared.store.things.count(kind) for kind in ("search", "puzzle", "answer")}
    problem = refused(shared.client.post(path, **sent), status, word)
    for fault in problem.get("errors", ()):
        assert fault["detail"]
    assert things == {kind: shared.store.things.count(kind) for kind in things}, "it was kept"
    assert shared.store.jobs.figures().jobs_open == 0


@pytest.mark.parametrize("told", [True, False], ids=["length", "chunks"])
def test_who_sends_too_much_is_told_so(shared: Served, told: bool) -> None:
    """A connection that is closed while something arrives on it is reset (RFC 9112, 9.6)."""
    host, port = str(shared.client.base_url).removeprefix("http://").strip("/").split(":")
    size = 3_000_000
    head = f"POST {EFFECTS} HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n"
    framing = f"Content-Length: {size}" if told else "Transfer-Encoding: chunked"
    body = b" " * size if told else b"%x\r\n%s\r\n0\r\n\r\n" % (size, b" " * size)
    with socket.create_connection((host, int(port)), timeout=10) as connection:
        connection.sendall(f"{head}{framing}\r\n\r\n".encode())
        for begin in range(0, len(body), 1_000_000):
            connection.sendall(body[begin : begin + 1_000_000])
            time.sleep(0.1)
        assert connection.recv(1000).startswith(b"HTTP/1.1 413 ")


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"turns": "9"}, "#/turns"),
        ({"cycle": ["UFR", 5, "DFR"]}, "#/cycle/1"),
        ({"cycle": ["UFR", "UFR", "DFR"]}, "#/cycle"),
        ({"puzzle": "no-such"}, "#/puzzle"),
        ({"layers": ["Q"]}, "#/layers"),
        ({"a/b~c d": 1}, "#/a~1b~0c%20d"),
        ({"weights": {"beauty": 1}}, "#/weights"),
        ({"weights": {"turns": -1}}, "#/weights/turns"),
        ({"weights": {"turns": 10**400}}, "#/weights/turns"),
        ({"weights": {"turns": "x"}}, "#/weights/turns"),
    ],
)
def test_pointers(shared: Served, change: dict[str, Any], pointer: str) -> None:
    problem = refused(shared.post({**QUESTION, **change}), 422)
    assert [fault["pointer"] for fault in problem["errors"]] == [pointer]


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/nowhere", 404),
        ("/api/", 404),
        ("/api/puzzles/no-such", 404),
        ("/api/puzzles/..%2F..%2Fetc%2Fpasswd", 404),
        ("/api/puzzles/%00", 404),
        ("/api/puzzles/p-0123456789abcdef/parts", 404),
        ("/api/puzzles/no-such/picture.svg", 404),
        (f"/api/puzzles/{'x' * 101}", 404),
        ("/api/results/abc", 404),
        (f"/api/results/{'0' * 64}", 404),
        (f"/api/results/{'0' * 64}?cycle=UFR", 422),
        (f"/api/results/{'0' * 64}?cycel=UFR,UBL,DFR", 422),
        (f"/api/results/{'0' * 64}?cycle=UFR,UBL,DFR&cycle=UFR,UBL,DFL", 422),
        ("/api/puzzles?x=1", 422),
        ("/api?x=", 422),
        ("/api/searches/xyz", 404),
        (f"/api/clubs/{'x' * 43}", 404),
    ],
)
def test_bad_addresses(shared: Served, path: str, status: int) -> None:
    refused(shared.client.get(path), status)


def test_a_parameter_that_is_not_known_is_named_with_those_that_are(shared: Served) -> None:
    path = "/api/puzzles/3x3x3/picture.svg"
    problem = refused(shared.client.get(f"{path}?typ=x"), 422)
    assert problem["detail"] == (
        "typ is not known; cycle, effect, sequence, type, behind and after are; "
        "did you mean 'type'?"
    )
    assert problem["errors"][0]["parameter"] == "typ"
    assert shared.client.head(f"{path}?typ=x").status_code == 422
    assert shared.client.get("/livez?nonce=1").status_code == 200


def test_a_type_that_is_not_taken_tells_the_shape(shared: Served) -> None:
    kind = {"Content-Type": "application/toml"}
    answer = shared.client.post("/api/puzzles", content=b"x = 1", headers=kind)
    assert '{"file": …}' in refused(answer, 415, "Content-Type: application/json")["detail"]


def test_a_coded_body_is_refused(shared: Served) -> None:
    body = gzip.compress(b'{"sequence": "R"}')
    for coding, status in (("gzip", 415), ("identity", 200)):
        sent = body if coding == "gzip" else gzip.decompress(body)
        headers = {**JSON, "Content-Encoding": coding}
        answer = shared.client.post(EFFECTS, content=sent, headers=headers)
        assert answer.status_code == status
        if status == 415:
            assert answer.headers["Accept-Encoding"] == "identity", "RFC 9110, 12.5.3"
            assert refused(answer, 415)["errors"][0]["header"] == "Content-Encoding"


def test_a_body_where_none_belongs_is_ignored(shared: Served) -> None:
    answer: httpx.Response = shared.client.request("GET", "/api", json={"x": 1})
    assert answer.status_code == 200


def test_an_unknown_club_cannot_ask(shared: Served) -> None:
    problem = refused(shared.post(Trefoil_Club="not-a-key"), 403)
    assert problem["errors"][0]["header"] == "Trefoil-Club"
    assert "not-a-key" not in problem["detail"]
