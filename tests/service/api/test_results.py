"""Results by digest, and what is still answered while the store is away."""

from __future__ import annotations

from pathlib import Path

from service.stores.base import StoreError
from service.stores.sqlite import SqliteStore
from tests.service.api.harness import QUESTION, Away, Inline, Served, found, serving
from tests.service.api.test_limits import refused


def done(served: Served) -> str:
    """Do a search and return where its result stays."""
    search = served.post().json()
    served.finish()
    return str(served.client.get(search["href"]).json()["result"])


def test_results_never_change(served: Served) -> None:
    """Strong tags as RFC 9110, 8.8.3, and immutable as RFC 8246 has it."""
    href = done(served)
    first = served.client.get(href)
    assert first.headers["Cache-Control"] == "public, max-age=31536000, immutable"
    tag = first.headers["ETag"]
    assert not tag.startswith("W/")
    again = served.client.get(href, headers={"If-None-Match": tag})
    assert (again.status_code, again.content) == (304, b"")
    assert again.headers["Cache-Control"] == first.headers["Cache-Control"]


def test_a_result_is_shown_as_it_is_asked_for(served: Served) -> None:
    href = done(served).partition("?")[0]
    plain = served.client.get(href).json()
    assert plain["answers"]
    own = served.client.get(href, params={"cycle": "UBL,DFR,UFR", "most": 1}).json()
    assert own["cycle"] == ["UBL", "DFR", "UFR"]
    assert len(own["answers"]) < len(plain["answers"])
    left = served.client.get(href, params={"left_handed": "true", "weights": "turns=2,hands=1"})
    assert left.status_code == 200
    problem = refused(served.client.get(href, params={"cycle": "UFR,UBL,DBL"}), 422)
    assert problem["errors"][0]["parameter"] == "cycle"
    problem = refused(served.client.get(href, params={"weights": "beauty=1"}), 422, "beauty")
    assert problem["errors"][0]["parameter"] == "weights"


def test_what_is_ranked_by_other_weights_is_not_stored(served: Served) -> None:
    href = done(served).partition("?")[0]
    assert served.client.get(href).status_code == 200
    stored = served.store.things.count("answer")
    for turns in range(3):
        view = {"cycle": "UFR,UBL,DFR", "weights": f"turns={turns}"}
        shown = served.client.get(href, params=view)
        asked = served.post({**QUESTION, "weights": {"turns": turns}})
        assert shown.json()["answers"] == asked.json()["answer"]["answers"]
    assert served.store.things.count("answer") == stored > 0


def test_the_link_keeps_what_was_asked(served: Served) -> None:
    question = {**QUESTION, "most": 2, "left_handed": True, "weights": {"turns": 3.0, "hands": 0}}
    search = served.post(question).json()
    served.finish()
    told = served.client.get(search["href"]).json()
    assert told["result"].endswith(
        "?cycle=UFR,UBL,DFR&most=2&left_handed=true&weights=hands%3D0,turns%3D3"
    )
    assert served.client.get(told["result"]).json()["answers"] == told["answer"]["answers"]


def test_an_outdated_result_is_gone(served: Served) -> None:
    """Made for tables that the puzzle does not have any more."""
    from service import results

    href = done(served)
    served.post({**QUESTION, "cycle": ["UFR", "UBL", "DFL"]})
    content = found(served.lease().spec)
    tables = results.read(content).tables.encode()
    digest = results.keep(served.store, content.replace(tables, tables[::-1]))
    assert digest not in href
    refused(served.client.get(f"/api/results/{digest}"), 410)


def test_what_is_known_is_answered_while_the_store_is_away(tmp_path: Path) -> None:
    store = SqliteStore(tmp_path / "store.sqlite")
    away = Away(store, lambda: StoreError("the store does not answer just now", 7))
    with serving(tmp_path, store=away, readers=Inline(store)) as served:  # type: ignore[arg-type]
        search = served.post().json()
        served.finish()
        told = served.client.get(search["href"])
        read = served.client.get(told.json()["result"])
        asked = {**QUESTION, "cycle": ["UBL", "DFR", "UFR"], "most": 3, "left_handed": True}
        unread = served.post(asked).json()
        away.away = True
        assert served.client.get(search["href"]).content == told.content
        assert served.post().content == told.content
        assert served.client.get(told.json()["result"]).content == read.content
        assert served.client.get(unread["result"]).json() == unread["answer"]
        assert served.client.get("/livez").status_code == 200
        assert served.client.get("/api/puzzles/3x3x3").status_code == 200
        other = {**QUESTION, "cycle": ["UFR", "UBL", "DFL"]}
        for answer in (served.post(other), served.client.get("/readyz")):
            refused(answer, 503, "cannot be had" if answer.url.path != "/readyz" else "away")
        assert served.post(other).headers["Retry-After"] == "7"
        away.away = False
        assert served.post(other).status_code == 202, "it recovers by itself"
