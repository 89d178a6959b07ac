"""Where cases come from: results, what is known of a puzzle, and the shelf of a club."""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path
from typing import Any

import pytest

from service.limits import Limits
from tests.pages.practising import case, practising
from tests.pages.test_pages import MARKUP
from tests.pages.test_reading_pages import posted
from tests.service.api.harness import Served, serving

SMALL = "/puzzles/2x2x2/practice"


def told(site: Served, query: str = "", puzzle: str = "2x2x2") -> dict[str, Any]:
    reply = site.client.get(f"/api/puzzles/{puzzle}/practice{query}")
    assert reply.status_code == 200, reply.text
    found: dict[str, Any] = reply.json()
    return found


def digest(page: str) -> str:
    found = re.search("[0-9a-f]{64}", page)
    assert found is not None
    return found[0]


def test_a_result_is_practised(site: Served, found: str) -> None:
    """The easiest of its answers is asked; the shortest stands beside it where it is another."""
    text = unescape(site.client.get(found).text)
    link = re.search(r'href="(/puzzles/2x2x2/practice\?[^"]*)"', text)
    assert link is not None
    report = site.client.get(f"/api{found}").json()
    own = told(site, link[1].removeprefix(SMALL))
    (asked,) = own["cases"]
    easiest = next(one for one in report["answers"] if "easiest" in one["leads"])
    assert asked["sequence"] == easiest["sequence"]
    assert asked["cycles"] == [easiest["cycle"]] == [["UFR", "UBL", "DFR"]]
    assert asked["hands"]["sequence"] == easiest["held_sequence"]
    assert asked["hands"]["motions"] == easiest["motions"]
    assert asked["things"] == easiest["things"]
    labels = [part["label"] for part in asked["parts"] if "setup" not in part["label"]]
    assert labels == ["A", "insert", "undo A", "insert back"]
    assert site.client.get(asked["picture"]).status_code == 200
    assert site.client.get(asked["page"]).status_code == 200
    assert own["page"].startswith(SMALL)
    both = told(site, f"{link[1].removeprefix(SMALL)}&own=1")
    assert len(both["cases"]) > 1


def test_images_of_a_result(site: Served, found: str) -> None:
    """A cycle stands with its digest, or in a field of its own; several are asked together."""
    own = digest(found)
    beside = told(site, f"?result={own}&cycle=UFL,FUR,BDR")["cases"]
    within = told(site, f"?result={own}:UFL,FUR,BDR")["cases"]
    assert beside == within
    assert beside[0]["cycles"] == [["UFL", "FUR", "BDR"]]
    one, other = "UFR,UBL,DFR", "UFL,FUR,BDR"
    many = told(site, f"?result={own}:{one};{own}:{other};{own}:{one}")
    assert [one["cycles"][0][0] for one in many["cases"]] == ["UFR", "UFL"]
    assert told(site, f"?result={own}:{one};{own}&cycle={other}")["cases"] == many["cases"]


def test_an_atlas_and_what_is_known_of_pieces(site: Served) -> None:
    atlas = posted(site, "atlases", {"puzzle": "2x2x2", "type": "corner", "half_length": 4})
    report = site.client.get(f"/api{atlas}").json()
    own = told(site, f"?result={digest(atlas)}")
    assert len(own["cases"]) == min(len(report["entries"]), Limits().practice_cases)
    first = report["entries"][0]
    assert own["cases"][0]["sequence"] == first["easiest"]["sequence"]
    assert own["cases"][0]["cycles"] == [first["cycle"]]
    assert f"{len(report['entries']):,} sequences; the first 60 are asked here" in own["wrong"][0]
    while site.client.get("/api/puzzles/2x2x2/parts", headers={"Prefer": "wait=10"}).is_success:
        parts = site.client.get("/api/puzzles/2x2x2/parts").json()
        if "result" in parts:
            break
    own = told(site, f"?result={parts['result']}")
    assert {one["sequence"] for one in own["cases"]} == {
        one["sequence"] for one in parts["effects"] if one["sequence"]
    }
    assert {one["id"] for one in own["cases"]} == {one["id"] for one in told(site)["cases"]}


def test_a_method_is_practised(site: Served) -> None:
    """Its own page has a link for each; of what a sequence disturbs on its way nothing is asked."""
    href, wait = "/api/puzzles/3x3x3/method", {"Prefer": "wait=10"}
    while (reply := site.client.get(href, headers=wait)).status_code == 202:
        continue
    report = reply.json()
    links = re.findall(
        r'href="/puzzles/3x3x3/practice(\?[^"]*)"',
        unescape(site.client.get("/puzzles/3x3x3/method").text),
    )
    assert len(links) == len(report["methods"])
    for link, method in zip(links, report["methods"], strict=True):
        rows = {one["sequence"]: one for step in method["steps"] for one in step["sequences"]}
        mends = {one["sequence"] for step in method["steps"] for one in step["mends"]} - {""}
        own = told(site, link, "3x3x3")
        assert own["wrong"] == []
        assert {one["sequence"] for one in own["cases"]} == set(rows) | mends
        for one in own["cases"]:
            row = rows.get(one["sequence"])
            if row is None:
                assert one["free"] == []
                continue
            assert one["free"] == row["disturbs"]
            assert one["types"] == [row["type"]]
            assert {*re.findall(r"\w+", row["cycle"])} == {*one["cycles"][0]}
    over = f"{links[0]}&method=99".replace("method=1&", "")
    refused = site.client.get(f"/api/puzzles/3x3x3/practice{over}").json()["detail"]
    assert refused.startswith("method: 99 was given; there are ")
    wrong = told(site, "?method=first")["wrong"]
    assert wrong == ["method: 'first' was given; a number from 1 was expected"]


def test_the_shelf_of_a_club(chrome: Any, site: Served, found: str) -> None:
    """Its page hands results over; its key is in no other address, no page and no request."""
    links = site.client.post("/api/clubs", json={"name": MARKUP}).json()["links"]
    keep = str(links[2]["href"])
    key = str(links[2]["key"])
    shared = [
        {"kind": "result", "result": digest(found), "cycle": ["UFR", "UBL", "DFR"], "text": MARKUP},
        {"kind": "result", "result": digest(found), "cycle": ["UFL", "FUR", "BDR"]},
        {"kind": "puzzle", "puzzle": "3x3x3", "state": "new"},
    ]
    for one in shared:
        assert site.client.post(f"{keep}/items", json=one).status_code == 201
    seen: list[str] = []
    with practising(chrome, site) as visit:
        page = visit.page
        page.goto(visit.host + keep.removeprefix("/api"))
        page.on("request", lambda one: seen.append(f"{one.url} {one.all_headers()}"))
        page.get_by_role("link", name=re.compile("^practise")).click()
        page.locator("#drill").wait_for()
        assert page.locator(".cases > li").count() == 2
        assert case(page)
        page.wait_for_load_state("networkidle")
        assert key not in page.content()
        assert key not in page.url
        assert page.evaluate("document.referrer") == ""
        assert page.evaluate("JSON.stringify(localStorage)").count(key) == 0
    assert seen
    assert not any(key in one for one in seen)


NOTHING = "0" * 64


@pytest.mark.parametrize(
    ("query", "status", "says"),
    [
        (f"?result={NOTHING}", 422, "there is no result with this digest"),
        ("?result=abc", 422, "the 64 letters and digits of a result's address were expected"),
        ("?result=%3Cscript%3E", 422, "were expected"),
        ("?cycle=UFR,UBL,DFR", 200, "without a result"),
        ("?own=1&left_handed=1", 200, ""),
        (f"?result={NOTHING}&own=1", 200, "there is no result with this digest"),
        ("?result=", 200, ""),
    ],
)
def test_what_is_wrong_is_said_and_the_rest_is_there(
    site: Served, query: str, status: int, says: str
) -> None:
    answer, data = (site.client.get(f"{where}{SMALL}{query}") for where in ("", "/api"))
    assert answer.status_code == data.status_code == status
    text = unescape(answer.text)
    assert says in text
    assert ('class="cases"' in text) == (status == 200)
    assert "<script>" not in answer.text
    if status == 200:
        assert says in "".join(data.json()["wrong"])
    else:
        assert says in data.json()["detail"]


def test_a_result_of_another_puzzle_and_an_image_that_it_has_not(site: Served, found: str) -> None:
    own = digest(found)
    for puzzle, query, says in (
        ("3x3x3", f"?result={own}", "is about the puzzle 2x2x2, not about 3x3x3"),
        ("2x2x2", f"?result={own}:UFR,UBL", "three names with commas"),
        ("2x2x2", f"?result={own}:UFR,UBL,nix", "nix"),
    ):
        answer = site.client.get(f"/api/puzzles/{puzzle}/practice{query}")
        assert answer.status_code == 422
        assert says in answer.json()["detail"]
    assert site.client.get("/puzzles/nix/practice").status_code == 404
    assert site.client.get(f"/api{SMALL}?nix=1").status_code == 422


def test_a_puzzle_of_which_nothing_is_known(site: Served) -> None:
    answer = site.client.get("/puzzles/ball-sixths-whole/practice")
    assert answer.status_code == 200
    assert "No sequence is known for this puzzle yet" in answer.text
    assert told(site, puzzle="ball-sixths-whole")["cases"] == []


def test_so_many_cases_and_no_more(tmp_path: Path) -> None:
    with serving(tmp_path, limits=Limits(practice_cases=2)) as few:
        own = told(few, puzzle="3x3x3")
        assert len(own["cases"]) == 2
        assert own["wrong"] == ["there are 4 sequences; the first 2 are asked here"]
