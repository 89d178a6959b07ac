"""Whether the service is alive and ready, what it measures, and what its log says."""

from __future__ import annotations

import io
import json
import logging
from collections.abc import Iterator
from pathlib import Path

import pytest
from prometheus_client.parser import text_string_to_metric_families

from service import logs
from service.stores.base import State, StoreError
from service.stores.sqlite import SqliteStore
from tests.service.api.harness import QUESTION, Away, Inline, Served, found, serving


def measures(served: Served) -> dict[tuple[str, ...], float]:
    """Return what is measured, read by Prometheus' own parser."""
    text = served.client.get("/metrics")
    assert text.status_code == 200
    return {
        (sample.name, *sample.labels.values()): sample.value
        for family in text_string_to_metric_families(text.text)
        for sample in family.samples
    }


def test_alive_without_a_store(tmp_path: Path) -> None:
    store = SqliteStore(tmp_path / "store.sqlite")
    away = Away(store, lambda: StoreError("the store is away", 7))
    away.away = True
    with serving(tmp_path, store=away, readers=Inline(store)) as served:  # type: ignore[arg-type]
        assert served.client.get("/livez").json() == {"alive": True}
        ready = served.client.get("/readyz")
        assert ready.status_code == 503
        assert "the store is away" in ready.json()["missing"]
        assert measures(served)["trefoil_store_up",] == 0


def test_ready_names_what_is_missing(served: Served) -> None:
    ready = served.client.get("/readyz")
    assert ready.status_code == 503
    assert ready.json()["missing"] == ["no worker is there and ready, so searches wait"]
    assert int(ready.headers["Retry-After"]) >= 1
    served.store.jobs.present("tester", 60.0)
    ready = served.client.get("/readyz")
    assert (ready.status_code, ready.json()) == (200, {"ready": True})
    served.readers.ready = 0  # type: ignore[misc]
    assert "reader" in served.client.get("/readyz").json()["detail"]


def test_measures(served: Served) -> None:
    search = served.post().json()
    served.client.get("/api/nothing/here")
    lease = served.lease()
    from service import results

    digest = results.keep(served.store, found(lease.spec))
    outcome = {"result": digest, "seconds": {"3": 0.5, "4": 1.5}}
    served.store.jobs.end(lease, State.DONE, json.dumps(outcome), "", 2.0)
    told = measures(served)
    assert told["trefoil_requests_total", "POST", "/api/searches", "202"] == 1
    assert told["trefoil_requests_total", "GET", "other", "404"] == 1
    assert told["trefoil_depth_seconds_sum", "3"] == 0.5
    assert told["trefoil_depth_seconds_sum", "4"] == 1.5
    assert told["trefoil_jobs_open",] == 0
    assert told["trefoil_leases_lapsed_total",] == 0
    hits = told["trefoil_cache_hits_total", "memory"]
    served.client.get(search["href"])
    served.client.get(search["href"])
    assert measures(served)["trefoil_cache_hits_total", "memory"] > hits
    assert measures(served)["trefoil_depth_seconds_sum", "4"] == 1.5, "told once"


def test_measures_name_nothing(served: Served) -> None:
    club = served.client.post("/api/clubs", json={"name": "Tuesdays"}).json()
    key = club["links"][0]["key"]
    served.client.get(f"/api/clubs/{key}")
    served.client.get("/api/puzzles/3x3x3")
    text = served.client.get("/metrics").text
    assert "/api/clubs/{key}" in text
    for secret in (key, "3x3x3", "Tuesdays", "127.0.0.1"):
        assert secret not in text


def test_stopping_is_measured(served: Served) -> None:
    search = served.post().json()
    lease = served.lease()
    served.client.delete(search["href"])
    served.store.jobs.give_back(lease, 0.0)
    served.store.jobs.end(served.lease(), State.STOPPED, "", "", 0.0)
    for _ in range(40):
        if measures(served)["trefoil_stop_seconds_count",]:
            break
    else:
        pytest.fail("it was not measured")


@pytest.fixture
def lines() -> Iterator[io.StringIO]:
    """Return what is logged, as after `trefoil serve` began; what was set up before comes back."""
    root = logging.getLogger()
    before = root.handlers[:], root.level
    stream = io.StringIO()
    logs.configure(stream)
    yield stream
    root.handlers[:], _ = before
    root.setLevel(before[1])


def test_logs_name_templates_alone(lines: io.StringIO, served: Served) -> None:
    club = served.client.post("/api/clubs", json={"name": "Tuesdays"}).json()
    key = club["links"][0]["key"]
    href = served.post({**QUESTION, "cycle": ["UFR", "UBL", "<b>"]})
    assert href.status_code == 422
    served.client.get(f"/api/clubs/{key}")
    served.client.get(f"/api/clubs/{key}x")
    served.client.get("/api/searches", headers={"Trefoil-Club": key})
    told = [json.loads(line) for line in lines.getvalue().splitlines()]
    assert {line.get("route") for line in told} >= {"/api/clubs/{key}", "/api/searches"}
    for secret in (key, "127.0.0.1", "Tuesdays", "<b>"):
        assert secret not in lines.getvalue()


def test_an_unexpected_error_is_logged_without_its_text(
    lines: io.StringIO, served: Served, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*given: object) -> None:
        raise RuntimeError("a secret")

    monkeypatch.setattr(served.store.jobs, "submit", broken)
    answer = served.post()
    assert answer.status_code == 500
    assert answer.headers["Content-Type"] == "application/problem+json"
    assert "secret" not in answer.text + lines.getvalue()
    assert "RuntimeError" in lines.getvalue()


@pytest.mark.parametrize(
    "place",
    ["/home/x y/t.sqlite", "the store at 192.0.2.7:6379, database 0,"],
    ids=["file", "server"],
)
def test_nobody_is_told_where_the_store_is(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, place: str
) -> None:
    store = SqliteStore(tmp_path / "store.sqlite")
    text = f"{place} cannot be used: it is damaged"
    away = Away(store, lambda: StoreError(text, 7))
    away.missing = lambda: [text]  # type: ignore[method-assign]
    away.away = True
    with serving(tmp_path, store=away, readers=Inline(store)) as served:  # type: ignore[arg-type]
        for _ in range(3):
            told = served.client.get(f"/api/searches/{'0' * 32}")
            assert told.status_code == 503
            assert told.json()["detail"].startswith("what is kept here cannot be had just now")
        ready = served.client.get("/readyz").json()
    assert ready["missing"][0] == "the store cannot be used: it is damaged"
    said = [one.getMessage() for one in caplog.records if one.name == "trefoil.store"]
    assert said == [text], "the log says it, once"
