"""A whole solve over HTTP: posted, followed as a search, and kept as a result."""

from __future__ import annotations

from service.api.solve_models import SolveReport
from tests.service.api.harness import Served
from tests.service.api.test_limits import refused
from tests.service.api.test_puzzles import work

HREF = "/api/puzzles/2x2x2/solve"


def test_steps_come_from_a_worker(served: Served) -> None:
    first = served.client.post(HREF, json={"scramble": "R U F2 R' U2 F R"})
    assert first.status_code == 202
    work(served)
    search = served.client.get(first.headers["Location"]).json()
    assert search["state"] == "done"
    report = SolveReport.model_validate(search["answer"])
    assert report.solved
    assert report.steps
    assert served.client.get(search["result"]).json() == search["answer"]
    again = served.client.post(HREF, json={"scramble": "R U F2 R' U2 F R"})
    assert again.status_code == 200
    assert again.json()["answer"] == search["answer"]
    # The same state, entered by pieces, is the same job.
    same = served.client.post(HREF, json={"pieces": report.state})
    assert same.status_code == 200
    page = served.client.get(search["page"])
    assert page.status_code == 200
    assert report.steps[-1].notation in page.text.replace("&#39;", "'")


def test_an_impossible_state_is_answered_at_once(served: Served) -> None:
    told = served.client.post(HREF, json={"pieces": "UFR=RUF"})
    assert told.status_code == 200
    body = told.json()
    assert body["impossible"] is True
    assert "one corner alone can't be twisted" in body["reason"]
    report = SolveReport.model_validate(body["answer"])
    assert (report.solved, report.steps) == (False, [])
    assert report.repair is not None


def test_what_is_wrong_is_said_of_its_field(served: Served) -> None:
    wrong = served.client.post(HREF, json={"pieces": "UFR=UBL"})
    assert refused(wrong, 422)["errors"][0]["pointer"] == "#/pieces"
    wrong = served.client.post(HREF, json={"scramble": "R Q"})
    assert refused(wrong, 422)["errors"][0]["pointer"] == "#/scramble"
    refused(served.client.post(HREF, json={}), 422)
    refused(served.client.post(HREF, json={"cycles": "(UFR UBL DFL)", "scramble": "R"}), 422)
    refused(served.client.post("/api/puzzles/none/solve", json={"scramble": "R"}), 404)
    blocked = "/api/puzzles/ball-sixths-whole/solve"
    refused(served.client.post(blocked, json={"scramble": "U UFR U UFR"}), 422)
    refused(served.client.get(f"{HREF}?scramble=R+Q"), 422)
    assert served.client.get("/api").json()["solve"] == "/api/puzzles/{puzzle}/solve"
