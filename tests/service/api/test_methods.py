"""The method of a puzzle over HTTP: worked out by a worker, then answered at once."""

from __future__ import annotations

from service.api.method_models import MethodReport
from tests.service.api.harness import Served
from tests.service.api.test_limits import refused
from tests.service.api.test_puzzles import work

HREF = "/api/puzzles/tetrahedron-corners/method"


def test_a_method_comes_from_a_worker(served: Served) -> None:
    first = served.client.get(HREF)
    assert first.status_code == 202
    work(served)
    search = served.client.get(first.headers["Location"]).json()
    assert search["state"] == "done"
    report = MethodReport.model_validate(search["answer"])
    assert report.methods[0].things == 2
    assert [step.kind for step in report.methods[0].steps] == ["in place", "three-cycles"]
    assert served.client.get(search["result"]).json() == search["answer"]
    again = served.client.get(HREF)
    assert again.status_code == 200
    assert again.json() == search["answer"]
    assert served.client.get("/api").json()["method"] == "/api/puzzles/{puzzle}/method"


def test_where_there_is_none_it_is_said_at_once(served: Served) -> None:
    told = served.client.get("/api/puzzles/3x3x3-bandaged/method")
    assert told.status_code == 200
    report = MethodReport.model_validate(told.json())
    assert report.methods == []
    assert "can be blocked" in report.reason
    refused(served.client.get("/api/puzzles/none/method"), 404)
