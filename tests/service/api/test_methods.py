"""The method of a puzzle over HTTP: worked out by a worker, then answered at once."""

from __future__ import annotations

from service.api.method_models import MethodReport
from service.puzzle_shelf import keep
from tests.search.test_method_blocked import wheels_file
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


def test_where_turns_can_be_blocked_the_way_home_comes_first(served: Served) -> None:
    href = f"/api/puzzles/{keep(served.store, wheels_file())}/method"
    assert served.client.get(href).status_code == 202
    work(served)
    report = MethodReport.model_validate(served.client.get(href).json())
    home, loose = report.methods[0].steps
    assert (home.kind, loose.kind) == ("home shape", "three-cycles")
    assert home.home is not None
    assert home.home.shapes == 15
    assert [len(one.wrong) for one in home.home.listed] == [1] * 14
    assert loose.types == ["loose piece"]
    assert loose.sequences[0].turns == len(loose.sequences[0].sequence.split())
    result = {"result": report.result, "method": "1"}
    cases = served.client.get(href.replace("method", "practice"), params=result).json()["cases"]
    assert [len(case["cycles"]) for case in cases] == [1] * report.methods[0].sequences
    refused(served.client.get("/api/puzzles/none/method"), 404)
