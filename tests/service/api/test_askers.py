"""Who asks: addresses behind proxies, networks of IPv6, and what the store gets to know of it."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from starlette.requests import Request

from service.api import askers
from service.api.caching import OVERHEAD, Kept, tagged
from service.api.waiting import LONGEST_WAIT, applied, preferred
from service.reading import Reply
from tests.service.api.harness import QUESTION, Served, serving


def request(peer: str | None, *forwarded: str) -> Request:
    fields = [(b"x-forwarded-for", value.encode()) for value in forwarded]
    client = None if peer is None else (peer, 1234)
    return Request({"type": "http", "headers": fields, "client": client})


@pytest.mark.parametrize(
    ("peer", "forwarded", "asker"),
    [
        ("192.0.2.7", (), "192.0.2.7"),
        # Whoever is no trusted proxy may say what they like.
        ("192.0.2.7", ("198.51.100.1",), "192.0.2.7"),
        ("10.1.2.3", ("198.51.100.1",), "198.51.100.1"),
        # What stands before the last untrusted address was written by whoever asks.
        ("10.1.2.3", ("203.0.113.9, 198.51.100.1",), "198.51.100.1"),
        ("10.1.2.3", ("203.0.113.9, 198.51.100.1, 10.9.9.9",), "198.51.100.1"),
        ("10.1.2.3", ("203.0.113.9", "198.51.100.1"), "198.51.100.1"),
        ("10.1.2.3", ("198.51.100.1:4711",), "198.51.100.1"),
        ("10.1.2.3", ("nonsense",), "10.1.2.3"),
        ("10.1.2.3", (), "10.1.2.3"),
        # RFC 4291, 2.5.4: the first 64 bits are the network.
        ("2001:db8:1:2:3:4:5:6", (), "2001:db8:1:2::/64"),
        ("10.1.2.3", ("[2001:db8:1:2:3:4:5:6]:99",), "2001:db8:1:2::/64"),
        # RFC 4291, 2.5.5.2: an IPv4 address in the clothes of IPv6.
        ("::ffff:192.0.2.7", (), "192.0.2.7"),
        ("fe80::1%eth0", (), "fe80::/64"),
        (None, (), "local"),
    ],
)
def test_addresses(peer: str | None, forwarded: tuple[str, ...], asker: str) -> None:
    proxies = askers.networks(("10.0.0.0/8",))
    assert askers.address(request(peer, *forwarded), proxies) == asker


def test_two_of_one_network_are_one_asker(tmp_path: Path) -> None:
    with serving(tmp_path, proxies=("127.0.0.1",)) as served:
        served.post(X_Forwarded_For="2001:db8::1")
        assert served.post(X_Forwarded_For="2001:db8::2").json()["askers"] == 1
        assert served.post(X_Forwarded_For="2001:db8:0:1::1").json()["askers"] == 2


def test_the_store_knows_no_address(served: Served) -> None:
    served.post()
    (asker,) = served.store.jobs.job(_key(served)).askers  # type: ignore[union-attr]
    assert "127" not in asker or len(asker) == 32
    assert int(asker, 16)
    path = Path(served.app.state.service.settings.store)
    for file in path.parent.glob("store.sqlite*"):
        assert b"127.0.0.1" not in file.read_bytes()


def test_stores_hash_differently(tmp_path: Path) -> None:
    found = set()
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        with serving(tmp_path / name) as served:
            served.post()
            found.add(served.store.jobs.job(_key(served)).askers)  # type: ignore[union-attr]
    assert len(found) == 2


def test_readers_are_told_for_whom_they_read(tmp_path: Path) -> None:
    with serving(tmp_path, proxies=("127.0.0.1",)) as served:
        for last in (1, 2):
            served.client.post(
                "/api/puzzles/3x3x3/effects",
                json={"sequence": "R" * last},
                headers={"X-Forwarded-For": f"192.0.2.{last}"},
            )
        assert served.readers.askers == ["192.0.2.1", "192.0.2.2"]  # type: ignore[attr-defined]


def _key(served: Served) -> str:
    return str(served.lease().shard.job)


@pytest.mark.parametrize(
    ("fields", "seconds"),
    [
        ([], None),
        (["wait=10"], 10),
        (["wait = 10"], 10),
        (['respond-async, WAIT="7"'], 7),
        (["handling=lenient", "wait=3; foo=bar"], 3),
        (["wait=2, wait=9"], 2),
        (["wait=4000"], LONGEST_WAIT),
        ([f"wait={'9' * 5_000}"], LONGEST_WAIT),
        (["wait=-1"], None),
        (["wait=1.5"], None),
        (["wait"], None),
        (["waiting=5"], None),
    ],
)
def test_preferences(fields: list[str], seconds: int | None) -> None:
    """RFC 7240, 2 and 4.3; what cannot be read is passed over."""
    assert preferred(fields) == seconds
    assert applied(seconds) == (
        {} if seconds is None else {"Preference-Applied": f"wait={seconds}"}
    )


@given(st.lists(st.text()))
def test_any_preference_is_read(fields: list[str]) -> None:
    assert preferred(fields) is None or 0 <= preferred(fields) <= LONGEST_WAIT  # type: ignore[operator]


@given(st.lists(st.tuples(st.integers(0, 5), st.integers(0, 900)), max_size=60))
def test_what_is_kept_fits(puts: list[tuple[int, int]]) -> None:
    """Against a plain list in the order of use."""
    most = 4_000
    kept, plain = Kept(most), []
    for key, size in puts:
        reply = Reply({}, bytes(size))
        if kept.get(key) is not None:
            plain.append(next(one for one in plain if one[0] == key))
            plain.remove(plain[-1])
        plain = [one for one in plain if one[0] != key]
        kept.put(key, reply)
        plain.append((key, size))
        while sum(size + OVERHEAD for _, size in plain) > most:
            plain.pop(0)
        for number in range(6):
            assert (number in dict(plain)) == (number in kept._replies)


def test_tags_differ_with_the_body() -> None:
    empty = Request({"type": "http", "headers": []})
    one, other = (tagged(empty, body, "text/plain", "no-cache") for body in (b"a", b"b"))
    assert one.headers["ETag"] != other.headers["ETag"]


def test_the_same_question_of_many_is_read_once(tmp_path: Path) -> None:
    from concurrent.futures import ThreadPoolExecutor

    with serving(tmp_path) as served:
        with ThreadPoolExecutor(8) as pool:
            answers = list(pool.map(lambda _: served.post(QUESTION), range(16)))
        assert {answer.status_code for answer in answers} == {202}
        asked = [one["do"] for one in served.readers.asked]  # type: ignore[attr-defined]
        assert asked.count("ask") == 1
        assert served.store.jobs.figures().jobs_open == 1
