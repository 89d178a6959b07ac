"""A whole solve over HTTP: posted, followed as a search, and kept as a result."""

from __future__ import annotations

from pathlib import Path

from service.api.solve_models import SolveReport
from tests.service.api.harness import Served
from tests.service.api.test_limits import bounded, refused
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


def test_only_what_somebody_knows_is_used(served: Served) -> None:
    known = "R U R' U'  # the trigger\r\n\r\nR U R' U R U2 R'"
    first = served.client.post(HREF, json={"scramble": "R U F2 R' U2 F R", "learned": known})
    assert first.status_code == 202
    work(served)
    search = served.client.get(first.headers["Location"]).json()
    report = SolveReport.model_validate(search["answer"])
    assert report.solved
    assert report.learned == ["the trigger (R U R' U')", "R U R' U R U2 R'"]
    for step in report.steps:
        assert step.kind in ("free", "three-cycle", "learned")
        assert (step.learned is None) == (step.kind == "free")
    page = served.client.get(search["page"])
    assert "only 2 sequences" in page.text
    # With anything that there is, it is another job.
    other = served.client.post(HREF, json={"scramble": "R U F2 R' U2 F R"})
    assert other.status_code == 202


def test_what_they_leave_is_said(served: Served) -> None:
    own = "/api/puzzles/tetrahedron-corners/solve"
    first = served.client.post(own, json={"scramble": "R L' U B", "learned": "R L' R' L r"})
    assert first.status_code == 202, first.text
    work(served)
    search = served.client.get(first.headers["Location"]).json()
    report = SolveReport.model_validate(search["answer"])
    assert report.solved or "with what you know" in str(report.reason)
    page = served.client.get(f"{own[4:]}?scramble=R+L%27+U+B&learned=R+L%27+R%27+L+r")
    assert page.status_code == 200
    assert "Change what is entered" in page.text


def test_a_wrong_list_is_said_by_its_line(served: Served) -> None:
    entry = {"scramble": "R U", "learned": "R U R' U'\nR Q"}
    told = refused(served.client.post(HREF, json=entry), 422)
    assert told["errors"][0]["pointer"] == "#/learned"
    assert "line 2" in told["detail"]
    nothing = {**entry, "learned": "# only a remark"}
    assert "has no sequences" in refused(served.client.post(HREF, json=nothing), 422)["detail"]
    page = served.client.get(HREF[4:], params=entry)
    assert page.status_code == 422
    assert "line 2" in page.text
    # The list alone is no state: the page waits for one, with the list in its field.
    page = served.client.get(HREF[4:], params={"learned": "R U R' U'"})
    assert page.status_code == 200
    assert "R U R&#39; U&#39;</textarea>" in page.text


def test_lists_are_bounded(tmp_path: Path) -> None:
    with bounded(tmp_path, learned=2) as served:
        entry = {"scramble": "R U", "learned": "R U\n# R\n\nR F"}
        assert served.client.post(HREF, json=entry).status_code == 202
        entry["learned"] += "\nU F"
        told = refused(served.client.post(HREF, json=entry), 422, "at most 2 sequences")
        assert told["errors"][0]["pointer"] == "#/learned"
