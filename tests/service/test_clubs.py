"""Clubs over HTTP: what each link allows, what is kept of it, and what is refused."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from httpx import Client
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from service import clubs
from service.api.clubs import SEALED
from service.limits import Limits
from service.reading import Message, RefusedError, Reply
from service.stores.base import Role, Store, TooManyError
from tests.service.api.harness import Served, serving
from tests.service.stores import STORES, Place

RESULT = "ab" * 32
CYCLE = ["UFR", "UBL", "DFL"]


class Readers:
    """Knows one result and one puzzle."""

    ready = 1

    async def start(self) -> None:
        pass

    async def close(self) -> None:
        pass

    async def reply(self, message: Message, asker: str = "") -> Reply:
        if message["do"] == "about":
            if message["digest"] != RESULT:
                raise RefusedError("missing", "there is no result with this digest")
            if message["cycle"] not in (None, CYCLE):
                raise RefusedError("refused", "there is no slot 'XYZ'", "cycle")
            return Reply({"puzzle": "3x3x3", "type": "corner", "cycle": CYCLE})
        if message["puzzle"] != "3x3x3":
            raise RefusedError("refused", f"there is no puzzle {message['puzzle']!r}", "puzzle")
        if message.get("type") not in (None, "corner", "edge"):
            raise RefusedError("refused", f"there is no type {message['type']!r}", "type")
        return Reply()


@pytest.fixture(params=sorted(STORES))
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Place]:
    with STORES[request.param](tmp_path) as own:
        yield own


@pytest.fixture
def store(place: Place) -> Store:
    return place.empty()


@pytest.fixture
def client(store: Store, tmp_path: Path) -> Iterator[Client]:
    """A client of a whole service, whose readers know what ``Readers`` does."""
    limits = Limits(club_items=5, clubs_each=3)
    with serving(tmp_path, limits=limits, store=store, readers=Readers()) as served:
        yield served.client


def founded(client: Client, name: str = "Friday club") -> dict[str, str]:
    """Found a club; return its links by role."""
    reply = client.post("/api/clubs", json={"name": name})
    assert reply.status_code == 201
    links = {one["role"]: one["href"] for one in reply.json()["links"]}
    assert set(links) == {"read", "add", "keep"}
    assert reply.headers["Location"] == links["keep"]
    return links


def note(client: Client, link: str, text: str = "a note", **more: Any) -> dict[str, Any]:
    reply = client.post(f"{link}/items", json={"kind": "note", "text": text, **more})
    assert reply.status_code == 201, reply.text
    told: dict[str, Any] = reply.json()
    return told


def detail(reply: Any, status: int) -> str:
    """Return the sentence of a problem."""
    assert reply.status_code == status, reply.text
    assert reply.headers["Content-Type"] == "application/problem+json"
    return str(reply.json()["detail"])


def test_a_shelf_holds_what_was_shared(client: Client) -> None:
    links = founded(client)
    shared = [
        {"kind": "result", "result": RESULT, "cycle": CYCLE, "by": "A. Member"},
        {"kind": "puzzle", "puzzle": "3x3x3", "text": "the usual one"},
        {"kind": "note", "text": "Edges\nfirst.", "puzzle": "3x3x3", "type": "edge"},
    ]
    for item in shared:
        reply = client.post(f"{links['add']}/items", json=item)
        assert reply.status_code == 201
        told = reply.json()
        assert {**told, **item} == told
        assert client.get(reply.headers["Location"]).json() == told
    shelf = client.get(links["read"]).json()
    assert (shelf["name"], shelf["role"]) == ("Friday club", "read")
    assert [one["kind"] for one in shelf["items"]] == ["result", "puzzle", "note"]
    result, puzzle, _ = shelf["items"]
    assert (result["puzzle"], result["type"]) == ("3x3x3", "corner")
    assert result["link"] == f"/api/results/{RESULT}?cycle=UFR,UBL,DFL"
    assert puzzle["link"] == "/api/puzzles/3x3x3"
    for query, kinds in [
        ("kind=note", ["note"]),
        ("puzzle=3x3x3", ["result", "puzzle", "note"]),
        ("puzzle=3x3x3&type=corner", ["result"]),
        ("type=edge", ["note"]),
        ("puzzle=4x4x4", []),
    ]:
        items = client.get(f"{links['read']}?{query}").json()["items"]
        assert [one["kind"] for one in items] == kinds, query


def test_each_link_allows_what_its_role_does(client: Client) -> None:
    links = founded(client)
    number = note(client, links["add"])["number"]
    for role, read, add, keep in [
        ("read", 200, 403, 403),
        ("add", 200, 201, 403),
        ("keep", 200, 201, 200),
    ]:
        link = links[role]
        assert client.get(link).status_code == read
        assert client.get(f"{link}/items/{number}").status_code == read
        said = client.post(f"{link}/items", json={"kind": "note", "text": "x"})
        assert said.status_code == add
        for reply in (
            client.patch(link, json={"name": "Another"}),
            client.patch(f"{link}/items/{number}", json={"text": "y"}),
        ):
            assert reply.status_code == keep
        if keep == 403:
            for method, address in [
                ("DELETE", f"{link}/items/{number}"),
                ("POST", f"{link}/links/read"),
                ("DELETE", f"{link}/links/keep"),
                ("DELETE", link),
            ]:
                text = detail(client.request(method, address), 403)
                assert "to keep house, another link is needed" in text
    assert client.get(links["read"]).json()["name"] == "Another"


def test_links_are_replaced_and_withdrawn(client: Client) -> None:
    links = founded(client)
    unknown = detail(client.get(f"/api/clubs/{'x' * 43}"), 404)
    reply = client.post(f"{links['keep']}/links/add")
    assert reply.status_code == 201
    new = reply.json()["href"]
    assert reply.headers["Location"] == new != links["add"]
    assert detail(client.get(links["add"]), 404) == unknown
    note(client, new)
    assert client.delete(f"{links['keep']}/links/read").status_code == 204
    assert detail(client.get(links["read"]), 404) == unknown
    assert client.get(new).json()["links"] == ["add", "keep"]
    # Whoever keeps house may give that away, too: the link that was used is then the old one.
    last = client.post(f"{links['keep']}/links/keep").json()["href"]
    assert detail(client.post(f"{links['keep']}/links/read"), 404) == unknown
    # Without that link nobody could keep house any more, so it cannot be withdrawn by mistake.
    assert "POST puts another one" in detail(client.delete(f"{last}/links/keep"), 409)
    assert client.get(last).json()["links"] == ["add", "keep"]
    assert client.delete(last).status_code == 204
    assert detail(client.get(last), 404) == unknown
    assert detail(client.get(new), 404) == unknown


def test_items_are_changed_and_taken_off(client: Client) -> None:
    links = founded(client)
    first, second = (note(client, links["add"], by="B") for _ in range(2))
    address = f"{links['keep']}/items/{first['number']}"
    assert client.patch(address, json={"text": "better", "by": None}).json() == {
        **first,
        "href": address,
        "text": "better",
        "by": None,
    }
    assert "by, text or state can be" in detail(client.patch(address, json={}), 422)
    assert "a note has a text" in detail(client.patch(address, json={"text": None}), 422)
    assert client.delete(address).status_code == 204
    for reply in (client.get(address), client.delete(address), client.patch(address, json={})):
        assert f"nothing numbered {first['number']}" in detail(reply, 404)
    assert [one["number"] for one in client.get(links["read"]).json()["items"]] == [
        second["number"]
    ]


def test_what_is_not_there_cannot_be_shared(client: Client) -> None:
    link = founded(client)["add"]
    for item, pointer in [
        ({"kind": "result", "result": "cd" * 32}, "#/result"),
        ({"kind": "result", "result": RESULT, "cycle": ["XYZ", "UBL", "DFL"]}, "#/cycle"),
        ({"kind": "result", "result": "nonsense"}, "#/result"),
        ({"kind": "puzzle", "puzzle": "../../etc/passwd"}, "#/puzzle"),
        ({"kind": "note", "text": "x", "puzzle": "p-0123456789abcdef"}, "#/puzzle"),
        ({"kind": "note", "text": "x", "puzzle": "3x3x3", "type": "wing"}, "#/type"),
        ({"kind": "poem"}, "#/kind"),
        ({"text": "x"}, "#/kind"),
        ({"kind": "note"}, "#/text"),
        ({"kind": "note", "text": "x", "colour": "red"}, "#/colour"),
        ({"kind": "note", "text": "x" * 2_001}, "#/text"),
        ({"kind": "note", "text": "x", "by": "y" * 81}, "#/by"),
        ({"kind": "note", "text": " "}, "#/text"),
    ]:
        reply = client.post(f"{link}/items", json=item)
        assert detail(reply, 422)
        assert reply.json()["errors"][0]["pointer"] == pointer, item
    assert client.get(link).json()["items"] == []


def test_what_is_wrong_with_an_item_is_said_with_what_would_be_right(client: Client) -> None:
    link = founded(client)["add"]
    for item, said in [
        ({"kind": "poem"}, "kind: result, puzzle or note was expected, not 'poem'"),
        ({"text": "x"}, "kind is missing; result, puzzle or note was expected"),
        (
            {"kind": "note", "text": "x", "tpye": "edge"},
            "tpye is not known; by, kind, text, puzzle and type are; did you mean 'type'?",
        ),
        (
            {"kind": "result", "result": "a502"},
            "result: a text of 64 of the characters 0-9 and a-f was expected, not 'a502'",
        ),
    ]:
        assert detail(client.post(f"{link}/items", json=item), 422) == said
    assert detail(client.get(f"{link}/items/{10**24}"), 404)


@pytest.mark.parametrize("sign", ["\x00", "\x1b", "\x07", "\u202e", "\u2028", "\x7f"])
def test_control_characters_are_refused(client: Client, sign: str) -> None:
    text = detail(client.post("/api/clubs", json={"name": f"a{sign}b"}), 422)
    assert f"U+{ord(sign):04X}" in text
    assert sign not in text


def test_markup_is_text(client: Client) -> None:
    name = "<script>alert(\"R U R' U'\")</script> & \u0646\u200c\u0647"
    links = founded(client, name)
    item = note(client, links["add"], "<b>bold</b>\r\n[link](http://example.org)", by="<i>me</i>")
    shelf = client.get(links["read"]).json()
    assert shelf["name"] == name
    assert shelf["items"][0]["text"] == item["text"] == "<b>bold</b>\n[link](http://example.org)"


def test_there_is_a_limit_to_a_shelf_and_to_founding(client: Client) -> None:
    links = founded(client)
    for _ in range(5):
        note(client, links["add"])
    reply = client.post(f"{links['add']}/items", json={"kind": "note", "text": "one more"})
    assert "there are 5 things on this shelf" in detail(reply, 429)
    assert "Retry-After" not in reply.headers, "waiting does not help"
    founded(client)
    founded(client)
    reply = client.post("/api/clubs", json={"name": "a fourth"})
    assert "3 clubs were founded from here today" in detail(reply, 429)
    assert 0 < int(reply.headers["Retry-After"]) <= 86_400


def test_every_answer_is_sealed(client: Client) -> None:
    links = founded(client)
    replies = [
        client.post("/api/clubs", json={"name": "x"}),
        client.post("/api/clubs", json={}),
        client.get(links["read"]),
        client.get("/api/clubs/unknown"),
        client.get("/api/clubs/unknown/nothing/here"),
        client.delete(links["read"]),
        client.put(links["read"]),
        client.post(f"{links['add']}/items", content=b"{", headers={"Content-Type": "text/json"}),
    ]
    for reply in replies:
        assert {name: reply.headers[name] for name in SEALED} == SEALED


def test_no_key_is_stored_or_repeated(client: Client, place: Place, tmp_path: Path) -> None:
    """Capability URLs: no stored file and no error holds a key, and each has 256 bits."""
    links = founded(client)
    note(client, links["add"])
    keys = [link.rpartition("/")[2] for link in links.values()]
    assert all(re.fullmatch(r"[A-Za-z0-9_-]{43}", key) for key in keys)
    assert len(set(keys)) == 3
    for link, key in zip(links.values(), keys, strict=True):
        for reply in (
            client.delete(f"{link}/items/99"),
            client.post(f"{link}/items", json={"kind": 3}),
            client.post(f"{link}/links/nobody"),
            client.get(f"{link}/items/none"),
            client.get(f"{link}/nowhere"),
            client.get(f"{link}x"),
        ):
            assert reply.status_code >= 400
            assert key not in reply.text
    files = b"".join(path.read_bytes() for path in tmp_path.rglob("*") if path.is_file())
    assert files
    for key in keys:
        assert key.encode() not in files


def test_no_key_is_logged(client: Client, caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level("DEBUG"):
        links = founded(client)
        for link in links.values():
            assert client.get(link).status_code == 200
            assert client.get(f"{link}/items/7").status_code == 404
            assert client.get(f"{link}/nowhere").status_code == 404
    # What a service writes are these; `service.logs` turns the server's own lines off.
    lines = [repr(vars(one)) for one in caplog.records if one.name.startswith("trefoil")]
    assert any("/api/clubs/{key}" in line for line in lines)
    for link in links.values():
        assert not any(link.rpartition("/")[2] in line for line in lines)
    measures = client.get("/metrics").text
    assert "/api/clubs/{key}/items/{number}" in measures
    assert not any(link.rpartition("/")[2] in measures for link in links.values())


def test_a_real_result_is_shared_and_shown(tmp_path: Path) -> None:
    """With the readers that a service has: the shelf says what a result is about."""
    with serving(tmp_path) as served:
        search = served.post().json()
        digest = served.finish()
        link = founded(served.client)["add"]
        address = f"{link}/items"
        asked = search["question"]["cycle"]
        item = {"kind": "result", "result": digest, "cycle": asked}
        told = served.client.post(address, json=item).json()
        assert (told["puzzle"], told["type"]) == ("2x2x2", "corner")
        shown = served.client.get(told["link"]).json()
        assert shown["cycle"] == asked
        assert shown["answers"]
        wrong = served.client.post(address, json={**item, "cycle": ["UFR", "UBL", "UF"]})
        assert detail(wrong, 422)
        assert wrong.json()["errors"][0]["pointer"] == "#/cycle"
        other = served.client.post(address, json={**item, "result": "0" * 64})
        assert other.json()["errors"][0]["pointer"] == "#/result"
        assert len(served.client.get(link).json()["items"]) == 1


def test_a_club_asks_for_searches(tmp_path: Path) -> None:
    """Its links are one asker, and another than the address that they are used from."""
    with serving(tmp_path, limits=Limits(searches_each=1)) as served:
        links = founded(served.client)
        keys = [link.rpartition("/")[2] for link in links.values()]
        questions = [
            {"puzzle": "2x2x2", "cycle": cycle.split(), "half_length": 3}
            for cycle in ("UFR UBL DFR", "UFR UBL DFL", "UFR UBR UBL")
        ]
        assert served.post(questions[0]).status_code == 202
        assert "only reads" in detail(asked_by(served, questions[1], keys[0]), 403)
        assert asked_by(served, questions[1], keys[1]).status_code == 202
        assert detail(asked_by(served, questions[2], keys[2]), 429)
        assert asked_by(served, questions[1], keys[2]).json()["askers"] == 1
        refused = asked_by(served, questions[2], "nobody's")
        assert "opens no club" in detail(refused, 403)


def test_clubs_do_not_let_one_address_have_more(tmp_path: Path) -> None:
    """Founding counts by the address; so do the searches and streams of all its clubs together."""
    limits = Limits(searches_each=2, clubs_each=3)
    with serving(tmp_path, limits=limits, proxies=("127.0.0.1",)) as served:
        keys: list[str] = []
        for name in ("one", "two", "three"):
            as_club = {"Trefoil-Club": keys[-1]} if keys else {}
            reply = served.client.post("/api/clubs", json={"name": name}, headers=as_club)
            keys.append(reply.json()["links"][-1]["key"])
        as_club = {"Trefoil-Club": keys[-1]}
        assert detail(served.client.post("/api/clubs", json={"name": "x"}, headers=as_club), 429)
        questions = [
            {"puzzle": "2x2x2", "cycle": cycle.split(), "half_length": 3}
            for cycle in ("UFR UBL DFR", "UFR UBL DFL", "UFR UBR UBL")
        ]
        first = asked_by(served, questions[0], keys[0])
        assert first.status_code == 202
        assert asked_by(served, questions[0], keys[0]).status_code == 202, "it counts once"
        assert asked_by(served, questions[1], keys[1]).status_code == 202
        assert "2 of your searches" in detail(asked_by(served, questions[2], keys[2]), 429)
        elsewhere = {"Trefoil-Club": keys[2], "X-Forwarded-For": "192.0.2.1"}
        reply = served.client.post("/api/searches", json=questions[2], headers=elsewhere)
        assert reply.status_code == 202
        headers = {"Trefoil-Club": keys[0]}
        assert served.client.delete(first.json()["href"], headers=headers).status_code == 200
        assert asked_by(served, questions[2], keys[2]).status_code == 202


def asked_by(served: Served, question: dict[str, Any], key: str) -> Any:
    headers = {"Trefoil-Club": key}
    return served.client.post("/api/searches", json=question, headers=headers)


def test_a_club_asks_under_one_name(store: Store) -> None:
    keys = clubs.found(store, "Friday club", "somebody", 1)
    names = {clubs.asker(store, keys[role]) for role in (Role.ADD, Role.KEEP)}
    assert len(names) == 1
    assert re.fullmatch("club-[0-9a-f]{32}", str(names.pop()))
    with pytest.raises(clubs.NotAllowedError):
        clubs.asker(store, keys[Role.READ])
    assert clubs.asker(store, "no key") is None
    assert clubs.asker(store, "\ud800") is None
    opened = clubs.entered(store, keys[Role.KEEP])
    clubs.replace_link(store, opened.club, Role.ADD)
    assert clubs.asker(store, keys[Role.ADD]) is None


def test_founding_is_counted_by_the_day(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("service.counting.time.time", lambda: 86_400.0 * 20_000 + 60)
    clubs.found(store, "one", "somebody", 1)
    clubs.found(store, "two", "somebody else", 1)
    with pytest.raises(TooManyError) as error:
        clubs.found(store, "three", "somebody", 1)
    assert error.value.retry_after == 86_400 - 60 + 1
    monkeypatch.setattr("service.counting.time.time", lambda: 86_400.0 * 20_001)
    clubs.found(store, "three", "somebody", 1)
    # What yesterday was counted by is gone.
    assert store.things.count(clubs.FOUNDED) == 1


def test_the_hash_is_sha256() -> None:
    """The value is from NIST's examples for SHA-256 (the one-block message "abc")."""
    assert clubs.hashed("abc") == (
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    )
    assert clubs.hashed("abc") == hashlib.sha256(b"abc").hexdigest()


@given(st.text(max_size=100))
def test_any_text_is_a_name_or_refused_in_a_sentence(text: str) -> None:
    try:
        name = clubs.ClubName.model_validate_json(json.dumps({"name": text})).name
    except ValidationError as error:
        (fault,) = error.errors()
        assert fault["msg"]
        return
    assert name == text.strip()
    assert 0 < len(name) <= clubs.LONGEST_NAME
    assert clubs.ClubName(name=name).name == name
