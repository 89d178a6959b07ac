"""Puzzles over HTTP: the catalogue, pictures, effects, parts, and files that are posted."""

from __future__ import annotations

import threading
import time
import xml.etree.ElementTree as ElementTree
from pathlib import Path

from puzzles import file, paint
from service import puzzle_shelf
from service.works.kinds import work_for
from service.works.loop import do_lease
from tests.service.api.harness import Served
from tests.service.api.test_limits import FILE, refused


def work(served: Served) -> None:
    """Do the job that is next, as a worker does."""
    do_lease(served.store, served.lease(), work_for, lambda: False)


def test_the_catalogue(shared: Served) -> None:
    told = shared.client.get("/api/puzzles").json()["puzzles"]
    assert [one["name"] for one in told] == file.catalogue()
    own = shared.client.get(told[0]["href"]).json()
    assert own["description"] == told[0]["description"]


def test_the_index_leads_to_everything(shared: Served) -> None:
    index = shared.client.get("/api").json()
    document = shared.client.get(index["openapi"]).json()
    for href in index.values():
        assert href.partition("{?")[0] in document["paths"] or href == index["openapi"]


def test_what_did_not_change_is_not_sent_again(shared: Served) -> None:
    """If-None-Match as RFC 9110, 13.1.2 has it."""
    first = shared.client.get("/api/puzzles/3x3x3")
    tag = first.headers["ETag"]
    assert tag.startswith('"')
    for given in (tag, f"W/{tag}", f'"other", {tag}', "*"):
        again = shared.client.get("/api/puzzles/3x3x3", headers={"If-None-Match": given})
        assert (again.status_code, again.content) == (304, b"")
        assert again.headers["ETag"] == tag
    other = shared.client.get("/api/puzzles/3x3x3", headers={"If-None-Match": '"other"'})
    assert other.status_code == 200


def test_a_drawing_is_sent_once_and_has_the_puzzles_tables(shared: Served) -> None:
    first = shared.client.get("/api/puzzles/3x3x3/drawing")
    drawn = first.json()
    assert (first.status_code, drawn["shape"], len(drawn["turns"]["name"])) == (200, "solid", 18)
    assert len(drawn["stickers"]["outline"]) == 54
    again = {"If-None-Match": first.headers["ETag"]}
    assert shared.client.get("/api/puzzles/3x3x3/drawing", headers=again).status_code == 304
    refused(shared.client.get("/api/puzzles/no-such/drawing"), 404)


def test_pictures(shared: Served) -> None:
    plain = shared.client.get("/api/puzzles/3x3x3/picture.svg")
    assert plain.headers["Content-Type"] == "image/svg+xml"
    assert "sandbox" in plain.headers["Content-Security-Policy"]
    marked = shared.client.get("/api/puzzles/3x3x3/picture.svg?cycle=UFR,UBL,DFL")
    moved = shared.client.get("/api/puzzles/3x3x3/picture.svg", params={"sequence": "R U R' U'"})
    assert len({plain.text, marked.text, moved.text}) == 3
    for picture in (plain, marked, moved):
        assert ElementTree.fromstring(picture.text).tag.endswith("svg")
    both = {"cycle": "UFR,UBL,DFL", "sequence": "R"}
    refused(shared.client.get("/api/puzzles/3x3x3/picture.svg", params=both), 422)
    problem = refused(
        shared.client.get("/api/puzzles/3x3x3/picture.svg?cycle=UFR,UBL,QQ"), 422, "QQ"
    )
    assert problem["errors"][0]["parameter"] == "cycle"


def test_readings(shared: Served) -> None:
    """R U R' U' around L' is a three-cycle through UBL (common practice)."""
    href = "/api/puzzles/3x3x3/readings"
    told = shared.client.post(href, json={"sequence": "R U R' U' L' U R U' R' L"}).json()
    assert (told["notation"], told["commutator"]) == ("[[R, U], L']", True)
    assert told["tree"]["shared"]["slot"] == "UBL"
    wrong = shared.client.post(href, json={"sequence": "R Q"})
    assert refused(wrong, 422, "Q")["errors"][0]["pointer"] == "#/sequence"
    refused(shared.client.post("/api/puzzles/none/readings", json={"sequence": "R"}), 404)


def test_effects(shared: Served) -> None:
    """R U R' U' done six times is the identity (common practice)."""
    told = shared.client.post("/api/puzzles/3x3x3/effects", json={"sequence": "R U R' U'"}).json()
    assert told["order"] == 6
    assert told["pieces_moved"] == 7
    wrong = shared.client.post("/api/puzzles/3x3x3/effects", json={"sequence": "R Q"})
    assert refused(wrong, 422)["errors"][0]["pointer"] == "#/sequence"
    refused(shared.client.post("/api/puzzles/none/effects", json={"sequence": "R"}), 404)


def test_parts_are_worked_out_once(served: Served) -> None:
    href = "/api/puzzles/2x2x2/parts"
    first = served.client.get(href)
    assert first.status_code == 202
    assert first.headers["Location"] == first.json()["href"]
    work(served)
    told = served.client.get(href)
    assert told.status_code == 200
    # OEIS A075152, term 2.
    assert told.json()["order"] == "3674160"
    assert served.client.get(href).json() == told.json()
    search = served.client.get(first.headers["Location"]).json()
    assert search["state"] == "done"
    assert search["answer"] == told.json()


def test_a_posted_puzzle_is_compiled_by_a_worker(served: Served) -> None:
    first = served.client.post("/api/puzzles", json={"file": FILE})
    assert first.status_code == 202
    search = first.headers["Location"]
    assert served.client.get(search).json()["state"] == "waiting"
    address = puzzle_shelf.address(FILE)
    refused(served.client.get(f"/api/puzzles/{address}"), 404)
    work(served)
    done = served.client.get(search).json()
    assert done["state"] == "done"
    assert done["result"] == f"/api/puzzles/{address}"
    assert served.client.get(done["result"]).status_code == 200
    again = served.client.post("/api/puzzles", json={"file": FILE})
    assert again.status_code == 200
    question = {"puzzle": address, "cycle": ["UFR", "UBL", "DFR"]}
    assert served.post(question).status_code == 202
    effect = served.client.post(f"/api/puzzles/{address}/effects", json={"sequence": "U"})
    assert effect.json()["order"] == 4


def test_a_file_that_is_wrong_keeps_nothing(served: Served) -> None:
    text = FILE.replace("axes", "axis", 1)
    worker = threading.Thread(target=lambda: (_until_open(served), work(served)))
    worker.start()
    answer = served.client.post("/api/puzzles", json={"file": text}, headers={"Prefer": "wait=15"})
    worker.join()
    problem = refused(answer, 422, "axis")
    assert problem["errors"][0]["pointer"] == "#/file"
    assert served.store.things.count("puzzle") == 0


def test_waiting_for_a_posted_puzzle(served: Served) -> None:
    worker = threading.Thread(target=lambda: (_until_open(served), work(served)))
    worker.start()
    answer = served.client.post("/api/puzzles", json={"file": FILE}, headers={"Prefer": "wait=15"})
    worker.join()
    assert answer.status_code == 201
    assert answer.headers["Location"] == f"/api/puzzles/{puzzle_shelf.address(FILE)}"
    assert answer.headers["Preference-Applied"] == "wait=15"


def _until_open(served: Served) -> None:
    while not served.store.jobs.figures().jobs_open:
        time.sleep(0.02)


def test_no_file_of_the_machine_is_read(shared: Served, tmp_path: Path) -> None:
    """A path that the command line would read is no name here."""
    own = tmp_path / "own.toml"
    own.write_text(FILE)
    answer = shared.post({"puzzle": str(own), "cycle": ["UFR", "UBL", "DFR"]})
    assert refused(answer, 422)["errors"][0]["pointer"] == "#/puzzle"


def test_the_catalogue_says_how_many_pieces_there_are(shared: Served) -> None:
    """Counted by hand; one puzzle whose turns can be blocked among them."""
    told = {one["name"]: one for one in shared.client.get("/api/puzzles").json()["puzzles"]}
    for name in ("3x3x3", "3x3x3-bandaged"):
        counts = {kind["name"]: kind["count"] for kind in told[name]["types"]}
        assert counts == {"corner": 8, "edge": 12, "centre": 6}


def test_the_pieces_of_a_type_are_outlined(shared: Served) -> None:
    href = "/api/puzzles/3x3x3/picture.svg"
    edges = shared.client.get(href, params={"type": "edge", "behind": "false"}).text
    assert "Outlined: UF, UB," in edges
    assert "seen from behind" not in edges
    # Of the nine stickers of a face four are those of edges.
    blue = paint.PALETTE[0]
    assert edges.count(f'fill="{blue}"') == 4
    assert edges.count(f'fill="{paint.pale(blue)}"') == 5
    assert "seen from behind" in shared.client.get(href, params={"type": "edge"}).text
    problem = refused(shared.client.get(href, params={"type": "wing"}), 422, "wing")
    assert problem["errors"][0]["parameter"] == "type"
    refused(shared.client.get(href, params={"type": "edge", "sequence": "R"}), 422)
