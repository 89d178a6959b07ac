"""Wanted effects through the service: at the desk, as jobs, over HTTP, from the command line."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest
from pydantic import ValidationError

from puzzles import load
from puzzles.errors import NameNotFoundError, RequestError
from search.request import Bounds
from search.wanted import effect_request
from service import effects, reports, results
from service.desk import Desk
from service.engine import Engine
from service.questions import FindQuestion
from service.results import BrokenResultError
from service.stores.base import State, Store
from service.stores.sqlite import SqliteStore
from tests.service.api.harness import Served
from tests.service.test_client import worked
from tests.service.working import answered, ended

#: Two corners of the small cube against each other, two swaps, one swap: the last is odd.
TWISTS, SWAPS, SWAP = "(UFR RUF FUR)(UFL LUF FUL)", "(UFR UFL)(UBR UBL)", "(UFR UFL)"


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    return SqliteStore(tmp_path_factory.mktemp("store") / "store.sqlite")


def question(effect: str, puzzle: str = "2x2x2", **more: Any) -> FindQuestion:
    return FindQuestion.model_validate({"puzzle": puzzle, "effect": effect, **more})


def alone(asked: FindQuestion) -> Any:
    """Return the report of a find without a service and without a store."""
    assert asked.effect is not None
    bounds = Bounds(asked.turns, asked.half_length, asked.setup, asked.seconds)
    wanted = effect_request(
        load(asked.puzzle),
        asked.effect,
        layers=asked.layers,
        keep=asked.keep,
        free=asked.free,
        alike=not asked.apart,
        bounds=bounds,
    )
    found = effects.find(Engine(), wanted, None, asked.most, asked.left_handed)
    return json.loads(json.dumps(reports.effect(found.found, found.stopped_by)))


@pytest.mark.parametrize(
    "asked",
    [
        question(TWISTS),
        question(SWAPS, most=3),
        question(SWAP, left_handed=True),
        question("(FR RF)(FL LF)", "tetrahedron-corners"),
        question("(UF UB UR)(UFR UFL UBL)", "3x3x3", layers=["U", "R", "F"], half_length=5),
    ],
)
def test_answers_are_those_of_a_search_alone(store: Store, asked: FindQuestion) -> None:
    there = answered(store, asked)
    assert len(there.pop("result")) == 64
    assert there == alone(asked)


def test_impossible_effects_need_no_job(store: Store) -> None:
    asked = Desk(store).ask(question("(UFR RUF FUR)", "3x3x3"))
    assert asked.body is not None
    told = json.loads(asked.body)
    assert told["impossible"]
    assert told["effect"] == ["(UFR RUF FUR)"]
    assert "would be twisted alone" in told["reason"]


def test_a_job_tells_how_far_it_is_and_shows_the_best_so_far(store: Store) -> None:
    asked = question(TWISTS, "3x3x3", layers=["U", "F", "R"], half_length=6)
    job = Desk(store).ask(asked)
    assert job.kind == "effect"
    told: list[dict[str, Any]] = []
    ended(store, job.kind, json.loads(job.spec), told=told)
    assert any("words" in news for news in told)
    progress: dict[str, Any] = {}
    for news in told:
        progress |= news
    partial = json.loads(Desk(store).partial(asked, progress))
    if progress["words"]:
        assert partial["effect"] == ["(UFL LUF FUL)", "(UFR RUF FUR)"]
        assert partial["answers"]
    else:
        assert partial is None


def test_a_job_that_is_stopped_keeps_what_it_has(store: Store) -> None:
    job = Desk(store).ask(question(TWISTS, "3x3x3", seconds=100))
    looked = iter(range(1_000_000))
    end = ended(store, job.kind, json.loads(job.spec), going=lambda: next(looked) < 3)
    assert end.state is State.STOPPED
    assert end.outcome["stopped_by"] == "person"
    assert store.things.get("result", end.outcome["result"]) is not None


def test_a_result_is_checked_when_it_is_read(store: Store) -> None:
    asked = question(SWAPS)
    job = Desk(store).ask(asked)
    end = ended(store, job.kind, json.loads(job.spec))
    content = store.things.get("result", end.outcome["result"])
    assert content is not None
    with pytest.raises(BrokenResultError, match="another effect"):
        Desk(store).answer(question(TWISTS), content)
    three = FindQuestion(puzzle="2x2x2", cycle=["UFR", "UBL", "DFR"])
    with pytest.raises(BrokenResultError, match="not one of a search for a cycle"):
        Desk(store).answer(three, content)
    data = json.loads(content)
    data["words"][0]["turns"][0] = (data["words"][0]["turns"][0] + 1) % 9
    data["words"][0]["form"] = None
    with pytest.raises(RuntimeError, match="does not have the effect"):
        Desk(store).answer(asked, json.dumps(data).encode())
    data["words"][0]["turns"][0] = 99
    with pytest.raises(BrokenResultError, match="a turn that there is not"):
        Desk(store).answer(asked, json.dumps(data).encode())
    shown = json.loads(Desk(store).result(content))
    assert shown["answers"] == json.loads(Desk(store).answer(asked, content))["answers"]
    with pytest.raises(RequestError, match="name it with effect"):
        Desk(store).result(content, ["UFR", "UBL", "DFR"])


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({}, "either cycle or effect"),
        ({"cycle": ["UFR", "UBL", "DFR"], "effect": SWAP}, "either cycle or effect"),
        ({"effect": ""}, "at least 1 character"),
        ({"effect": "(UF UB)" * 400}, "at most 2000 characters"),
    ],
)
def test_questions_name_a_cycle_or_an_effect(more: dict[str, Any], says: str) -> None:
    with pytest.raises(ValidationError, match=says):
        FindQuestion.model_validate({"puzzle": "2x2x2", **more})


def test_bad_effects_are_refused_at_the_desk(store: Store) -> None:
    with pytest.raises(RequestError, match="cycles in brackets"):
        Desk(store).ask(question("(UFR"))
    with pytest.raises(NameNotFoundError):
        Desk(store).ask(question("(UFR XYZ)"))


def test_a_search_over_http(tmp_path: Path) -> None:
    with worked(tmp_path) as served:
        asked = {"puzzle": "2x2x2", "effect": SWAPS}
        first = served.post(asked)
        assert first.status_code == 202
        told = first.json()
        while told["state"] in ("waiting", "running"):
            told = served.client.get(told["href"], headers={"Prefer": "wait=5"}).json()
        assert told["state"] == "done"
        digest = told["answer"]["result"]
        assert told["answer"]["effect"] == ["(UFL UFR)", "(UBL UBR)"]
        assert told["answer"]["answers"][0]["turns"] > 0
        assert told["result"] == f"/api/results/{digest}?{urlencode({'effect': SWAPS})}"
        shown = served.client.get(told["result"]).json()
        assert shown["answers"] == told["answer"]["answers"]
        images = served.client.get(f"/api/results/{digest}?cycle=UFR,UBL,DFR")
        assert images.status_code == 422
        never = served.post({"puzzle": "3x3x3", "effect": "(UFR RUF FUR)"})
        assert never.status_code == 200
        assert never.json()["impossible"]
        _refused(served, {"puzzle": "2x2x2", "effect": "(UFR"}, "#/effect")
        _refused(served, {"puzzle": "2x2x2"}, "#")


def _refused(served: Served, asked: dict[str, Any], pointer: str) -> None:
    reply = served.post(asked)
    assert reply.status_code == 422
    assert pointer in json.dumps(reply.json())


Command = Callable[..., tuple[int, Any]]


def test_the_command_line_keeps_what_it_found(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from search import effect_search
    from service.cli import run

    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    monkeypatch.setenv("TREFOIL_STORE", str(tmp_path / "store.sqlite"))
    assert run(["find", "2x2x2", "--effect", SWAPS, "--json"]) == 0
    first = json.loads(capsys.readouterr().out)
    monkeypatch.setattr(effect_search, "search_effect", None)
    assert run(["find", "2x2x2", "--effect", SWAPS, "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == first
    assert run(["find", "2x2x2", "--effect", SWAPS]) == 0
    assert "(UFL UFR)(UBL UBR)" in capsys.readouterr().out
    assert run(["find", "3x3x3", "--effect", "(UF FU)"]) == 3
    assert "flipped" in capsys.readouterr().err
    assert run(["find", "2x2x2", "UFR", "--effect", SWAP]) == 2


def test_any_twist_and_a_picture_on_the_command_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from service.cli import run

    monkeypatch.setenv("TREFOIL_STORE", str(tmp_path / "store.sqlite"))
    picture = tmp_path / "swaps.svg"
    words = ["--effect", SWAPS, "--any-twist", "--picture", str(picture)]
    assert run(["find", "2x2x2", *words]) == 0
    assert "in any twist" in capsys.readouterr().out
    assert "UFL to UFR, UBL to UBR" in picture.read_text()


def test_what_is_kept_is_canonical(store: Store) -> None:
    asked = question(SWAP)
    job = Desk(store).ask(asked)
    spec = json.loads(job.spec)
    one, two = (ended(store, job.kind, spec).outcome["result"] for _ in range(2))
    assert one == two
    content = store.things.get("result", one)
    assert content is not None
    assert results.content(results.read(content)) == content


def test_the_page_of_a_result(tmp_path: Path) -> None:
    with worked(tmp_path) as served:
        told = served.post({"puzzle": "2x2x2", "effect": SWAPS}).json()
        while told["state"] in ("waiting", "running"):
            told = served.client.get(told["href"], headers={"Prefer": "wait=5"}).json()
        shown = served.client.get(told["page"], headers={"Accept": "text/html"})
        assert shown.status_code == 200
        assert "(UFL UFR) (UBL UBR)" in shown.text
        assert told["answer"]["answers"][0]["notation"] in shown.text
        assert "of any form" in shown.text


def test_images_of_an_effect_are_one_job(store: Store) -> None:
    asked = [question(text) for text in (SWAPS, "(RUF RUB)(RDF RDB)", "(UFR UBR)(UFL UBL)")]
    jobs = {Desk(store).ask(one).key for one in asked}
    assert len(jobs) == 1
    for one in asked:
        there = answered(store, one)
        digest = there.pop("result")
        assert there == alone(one)
        content = store.things.get("result", digest)
        assert content is not None
        shown = json.loads(Desk(store).result(content, effect=one.effect))
        assert shown["effect"] == there["effect"]
        assert shown["answers"] == there["answers"]
    with pytest.raises(RequestError, match="is none of them"):
        Desk(store).result(content, effect=TWISTS)


def test_a_picture_of_an_effect(tmp_path: Path) -> None:
    with worked(tmp_path) as served:
        picture = served.client.get(
            "/api/puzzles/3x3x3/picture.svg", params={"effect": "(UFR UFL)(UF FU)"}
        )
        assert picture.status_code == 200
        assert "go in a cycle: UFL to UFR to UFL" in picture.text
        assert "twisted in place: UF to FU to UF" in picture.text
        for query in ({"effect": "(UFR"}, {"effect": SWAP, "sequence": "R"}):
            wrong = served.client.get("/api/puzzles/3x3x3/picture.svg", params=query)
            assert wrong.status_code == 422
