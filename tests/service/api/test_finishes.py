"""The last pieces over HTTP: posted, followed as a search, and kept as a result."""

from __future__ import annotations

from service.api.finish_models import FinishEntryReport, FinishReport
from tests.service.api.harness import Served
from tests.service.api.test_limits import refused
from tests.service.api.test_puzzles import work

HREF = "/api/puzzles/3x3x3/finish"


def test_steps_come_from_a_worker(served: Served) -> None:
    first = served.client.post(HREF, json={"cycles": "(UFR UBL DFL)"})
    assert first.status_code == 202
    work(served)
    search = served.client.get(first.headers["Location"]).json()
    assert search["state"] == "done"
    report = FinishReport.model_validate(search["answer"])
    assert report.possible
    assert len(report.steps) == 1
    assert served.client.get(search["result"]).json() == search["answer"]
    again = served.client.post(HREF, json={"cycles": "(UFR UBL DFL)"})
    assert again.status_code == 200
    assert again.json()["answer"] == search["answer"]


def test_an_impossible_state_is_answered_at_once(served: Served) -> None:
    told = served.client.post(HREF, json={"pieces": "UF=FU"})
    assert told.status_code == 200
    body = told.json()
    assert body["impossible"] is True
    assert "one edge alone can't be flipped" in body["reason"]
    assert body["answer"]["repair"]["steps"] == ["flip the edge at UF in its slot"]


def test_what_is_wrong_is_said_of_its_field(served: Served) -> None:
    wrong = served.client.post(HREF, json={"pieces": "UFR=UBL"})
    assert refused(wrong, 422)["errors"][0]["pointer"] == "#/pieces"
    refused(served.client.post(HREF, json={}), 422)
    refused(served.client.post(HREF, json={"cycles": "(UF UB UR)", "sequence": "R"}), 422)
    refused(served.client.post("/api/puzzles/none/finish", json={"sequence": "R"}), 404)
    assert served.client.get("/api").json()["finish"] == "/api/puzzles/{puzzle}/finish"


def test_a_result_has_a_page(served: Served) -> None:
    first = served.client.post(HREF, json={"cycles": "(UF UB UR)"})
    work(served)
    search = served.client.get(first.headers["Location"]).json()
    page = served.client.get(search["page"])
    assert page.status_code == 200
    assert search["answer"]["steps"][0]["notation"] in page.text.replace("&#39;", "'")


def test_a_state_while_it_is_entered(served: Served) -> None:
    href = f"{HREF}/entry"
    begun = served.client.post(href, json={"pieces": "UFR=UBL"})
    assert begun.status_code == 200
    told = FinishEntryReport.model_validate(begun.json())
    assert (told.open, told.missing, told.possible) == (["UBL"], ["UFR"], None)
    assert told.hold == "U up, F in front"
    wrong = served.client.post(href, json={"stickers": "UFR=RFU"}).json()
    assert "mirror image" in wrong["complaint"]
    whole = served.client.post(href, json={"pieces": "UFR=UBL UBL=UFR"}).json()
    assert whole["possible"] is False
    assert "two corners alone can't be swapped" in whole["reason"]
    good = served.client.post(href, json={"cycles": "(UFR UBL DFL)"}).json()
    assert (good["possible"], good["reason"], good["complaint"]) == (True, None, None)
    refused(served.client.post("/api/puzzles/none/finish/entry", json={"cycles": "(A B)"}), 404)
