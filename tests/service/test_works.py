"""Works that are done in one go: blocked puzzles, parts, posted files; and what ticks beside."""

from __future__ import annotations

import json
import resource
import threading
import time
from pathlib import Path
from typing import Any

import pytest

from puzzles.errors import LimitError, PuzzleFileError
from service import puzzle_shelf
from service.desk import Desk
from service.limits import Limits
from service.questions import AtlasQuestion, FindQuestion, PartsQuestion, Question
from service.stores.base import JobLimits, State, Store
from service.stores.sqlite import SqliteStore
from service.works import compiling
from service.works.aside import News, aside
from service.works.base import LetGoError
from service.works.kinds import work_for
from service.works.loop import do_lease
from tests.service.working import ended

CATALOGUE = Path("puzzles/catalogue")

#: Few enough states to be seen in full.
FASTENED = """
description = "A 2x2x2 with a pair of corners fastened together."
body = "cube"
up = "U"
front = "F"
bonds = [["UFL", "UFR"], ["DFR", "DBR"]]
[types]
corner1 = "corner"
corner2 = "held-corner"
[[layers]]
axes = ["U", "F", "R"]
above = 0
steps = 4
"""


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return SqliteStore(tmp_path / "store.sqlite")


def text_of(name: str) -> str:
    return (CATALOGUE / f"{name}.toml").read_text(encoding="utf-8")


# --- The thread that ticks ----------------------------------------------------------------------


def test_it_ticks_while_something_is_done() -> None:
    told: list[dict[str, Any] | None] = []

    def act(news: News) -> int:
        for k in range(4):
            news.tell(share=k / 4)
            time.sleep(0.1)
        return threading.get_ident()

    def tick(news: dict[str, Any] | None) -> bool:
        told.append(news)
        return True

    assert aside(act, tick) != threading.get_ident()
    assert len(told) >= 3
    assert {"share": 0.75} in told


def test_a_stop_is_told_and_waited_for() -> None:
    def act(news: News) -> str:
        while not news.stop():
            time.sleep(0.01)
        return "what there was"

    assert aside(act, lambda news: False) == "what there was"


def test_errors_come_out_where_they_are_waited_for() -> None:
    def act(news: News) -> None:
        raise LimitError("too much")

    with pytest.raises(LimitError, match="too much"):
        aside(act, lambda news: True)


def test_what_is_let_go_is_not_waited_for() -> None:
    stopped = threading.Event()

    def act(news: News) -> None:
        time.sleep(0.3)
        while not news.stop():
            time.sleep(0.01)
        stopped.set()

    def tick(news: dict[str, Any] | None) -> bool:
        raise LetGoError

    began = time.monotonic()
    with pytest.raises(LetGoError):
        aside(act, tick)
    assert time.monotonic() - began < 0.3
    assert stopped.wait(5)


# --- Blocked puzzles ----------------------------------------------------------------------------


def test_a_blocked_search_tells_how_far_it_is(store: Store) -> None:
    question = FindQuestion(puzzle="3x3x3-bandaged", cycle=["UR", "DL", "FL"], half_length=6)
    asked = Desk(store).ask(question)
    assert asked.kind == "blocked"
    told: list[dict[str, Any]] = []

    end = ended(store, asked.kind, json.loads(asked.spec), told=told)
    assert end.state is State.DONE
    content = store.things.get("result", end.outcome["result"])
    assert content is not None
    assert json.loads(content)["level"] == 6
    if told:
        assert {"step", "working", "share"} <= set().union(*told)
    # A second one comes from the levels that the first one has kept, to the byte.
    again = ended(store, asked.kind, json.loads(asked.spec))
    assert again.outcome == end.outcome


def test_a_blocked_search_that_is_stopped_keeps_what_it_has(store: Store) -> None:
    question = FindQuestion(puzzle="3x3x3-bandaged", cycle=["UR", "DL", "FL"], half_length=9)
    desk = Desk(store)
    asked = desk.ask(question)
    began = time.monotonic()
    end = ended(
        store, asked.kind, json.loads(asked.spec), going=lambda: time.monotonic() - began < 1.5
    )
    assert end.state is State.STOPPED
    assert end.outcome["stopped_by"] == "person"
    content = store.things.get("result", end.outcome["result"])
    assert content is not None
    report = json.loads(desk.answer(question, content, end.outcome))
    assert report["stopped_by"] == "person"
    assert report["searched"]["half_length"] < 9


def test_what_is_stopped_before_it_begins_gives_nothing(store: Store) -> None:
    asked = Desk(store).ask(PartsQuestion(puzzle="3x3x3"))
    end = ended(store, asked.kind, json.loads(asked.spec), going=lambda: False)
    assert end.state is State.STOPPED
    assert end.outcome == {}


def test_states_that_cannot_be_reached_are_an_answer(store: Store) -> None:
    """On a small puzzle all states are seen: that there is no way is known then."""
    name = ended(store, "compile", {"file": FASTENED}).outcome["puzzle"]
    desk = Desk(store)
    question = FindQuestion(puzzle=name, cycle=["UBL", "UBR", "DFL"])
    asked = desk.ask(question)
    assert asked.body is None
    assert asked.kind == "blocked"
    end = ended(store, asked.kind, json.loads(asked.spec))
    content = store.things.get("result", end.outcome["result"])
    assert content is not None
    report = json.loads(desk.answer(question, content, end.outcome))
    assert report["impossible"] is True
    assert "No sequence of possible turns leads there" in report["reason"]
    assert json.loads(desk.result(content))["impossible"] is True


def test_an_atlas_of_a_blocked_puzzle(store: Store) -> None:
    desk = Desk(store)
    question = AtlasQuestion(puzzle="3x3x3-bandaged", type="corner", half_length=4)
    asked = desk.ask(question)
    assert asked.kind == "blocked-atlas"
    end = ended(store, asked.kind, json.loads(asked.spec))
    content = store.things.get("result", end.outcome["result"])
    assert content is not None
    report = json.loads(desk.answer(question, content, end.outcome))
    # 8 * 7 * 6 / 3 * 3 ** 2 cycles of corners.
    assert len(report["entries"]) + report["missing"] == 1008
    assert report["entries"]
    assert report["types"][0]["impossible"] == json.loads(content)["impossible"]
    # A word that does another cycle is found out.
    told = json.loads(content)
    told["entries"][0]["shortest"]["turns"] = told["entries"][1]["shortest"]["turns"]
    with pytest.raises(RuntimeError, match="does not do"):
        desk.result(json.dumps(told).encode())


def test_an_atlas_of_a_blocked_puzzle_stops_at_once(store: Store) -> None:
    desk = Desk(store)
    question = AtlasQuestion(puzzle="3x3x3-stops", type="edge")
    asked = desk.ask(question)
    began = time.monotonic()
    end = ended(
        store, asked.kind, json.loads(asked.spec), going=lambda: time.monotonic() - began < 0.3
    )
    assert end.state is State.STOPPED
    content = store.things.get("result", end.outcome["result"])
    assert content is not None
    report = json.loads(desk.answer(question, content, end.outcome))
    assert report["stopped_by"] == "person"
    assert report["types"][0]["impossible"] < report["types"][0]["cycles"]


@pytest.mark.parametrize(
    "question",
    [
        FindQuestion(puzzle="2x2x2", cycle=["UFR", "UBL", "DFL"]),
        AtlasQuestion(puzzle="2x2x2", type="corner"),
        FindQuestion(puzzle="3x3x3-bandaged", cycle=["UR", "DL", "FL"]),
        AtlasQuestion(puzzle="3x3x3-bandaged", type="corner"),
        PartsQuestion(puzzle="2x2x2"),
    ],
)
def test_a_work_knows_what_its_jobs_are_called(
    question: Question, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """So that it sees one that was asked of other sources."""
    asked = Desk(store).ask(question)
    work, spec = work_for(asked.kind), json.loads(asked.spec)
    assert work.key(store, spec, lambda news: True) == asked.key
    monkeypatch.setattr("service.stored.version", lambda: "another")
    monkeypatch.setattr("service.works.parts.parts_version", lambda: "another")
    assert work.key(store, spec, lambda news: True) != asked.key


# --- Posted files -------------------------------------------------------------------------------


def test_a_file_that_can_be_compiled_is_kept(store: Store) -> None:
    text = text_of("hexagonal-prism")
    end = ended(store, "compile", {"file": text})
    assert end.state is State.DONE
    name = end.outcome["puzzle"]
    assert puzzle_shelf.ADDRESS.fullmatch(name)
    assert store.things.get("puzzle", name) == text.encode()
    loaded = puzzle_shelf.load(store, name)
    assert loaded.name == name
    assert loaded.slot_count == 38
    # The same file has the same address, another one has another.
    assert ended(store, "compile", {"file": text}).outcome == end.outcome
    assert puzzle_shelf.address(text + "\n") != name


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "'description' is missing"),
        ("x = [", "not well-formed TOML"),
        ("\0", "TOML"),
        (text_of("3x3x3").replace("layers", "layer"), "did you mean 'layers'"),
        (text_of("3x3x3") + "\nevil = 1\n", "evil"),
        ("[" * 50_000, "TOML"),
    ],
)
def test_a_file_that_is_wrong_is_one_sentence(text: str, sentence: str, store: Store) -> None:
    with pytest.raises(PuzzleFileError, match=sentence) as caught:
        ended(store, "compile", {"file": text})
    assert str(caught.value).startswith("the puzzle file: ")
    assert "\n" not in str(caught.value)
    assert store.things.count("puzzle") == 0


def test_too_many_pieces_are_refused(store: Store) -> None:
    layers = "".join(
        f'\n[[layers]]\naxes = "faces"\nnames = "{{axis}}{"abcdefghij"[k]}"\nsteps = 4\n'
        f"above = {0.05 + 0.09 * k}\n"
        for k in range(10)
    )
    head = text_of("3x3x3").partition("[[layers]]")[0]
    with pytest.raises((LimitError, PuzzleFileError), match=r"at most"):
        ended(store, "compile", {"file": head + layers})
    assert store.things.count("puzzle") == 0


def test_a_stop_ends_the_process_that_compiles(store: Store) -> None:
    ticks = iter([True, False])
    end = ended(store, "compile", {"file": text_of("ball-uneven")}, going=lambda: next(ticks))
    assert end.state is State.STOPPED
    assert store.things.count("puzzle") == 0


def test_time_and_memory_are_limited(monkeypatch: pytest.MonkeyPatch) -> None:
    """Commands that never end, or take all memory, in the place of the one that compiles."""

    def instead(code: str) -> None:
        monkeypatch.setattr(compiling, "COMMAND", ["python3", "-c", code])

    limit = "import resource; resource.setrlimit(resource.RLIMIT_CPU, (1, 2))\n"
    instead(limit + "while True: pass")
    with pytest.raises(LimitError, match="more than 10 s"):
        compiling.compiles("", lambda news: True)
    instead("raise SystemExit(1)")
    with pytest.raises(LimitError, match="MB"):
        compiling.compiles("", lambda news: True)
    # One that waits computes nothing; the clock ends it.
    monkeypatch.setattr(compiling, "LONGEST_SECONDS", 0.3)
    instead("import time; time.sleep(60)")
    with pytest.raises(LimitError, match="more than 10 s"):
        compiling.compiles("", lambda news: True)


def test_what_is_compiled_is_within_what_a_reader_has() -> None:
    assert Limits().reading > compiling.COMPILED_SECONDS
    assert Limits().reader_memory > compiling.COMPILED_MEMORY


def test_a_file_as_long_as_the_limit_is_compiled_while_it_ticks() -> None:
    """More than a pipe holds, so that nobody may wait for the other end of one."""
    text = text_of("2x2x2")
    text += "#" * (Limits().puzzle - len(text.encode()) - 1) + "\n"
    until = time.monotonic() + 60
    assert compiling.compiles(text, lambda news: time.monotonic() < until)


def test_no_code_of_the_current_folder_is_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = text_of("2x2x2")
    (tmp_path / "numpy.py").write_text("raise SystemExit(1)")
    monkeypatch.chdir(tmp_path)
    assert compiling.compiles(text, lambda news: True)


def test_compiling_is_charged_to_who_asked(store: Store) -> None:
    limits = JobLimits(9, 9, 1e9)
    spec = json.dumps({"file": text_of("2x2x2")})
    store.jobs.submit("k", "compile", spec, "ann", limits)
    lease = store.jobs.lease("w", 60)
    assert lease is not None
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    do_lease(store, lease, work_for, lambda: False, 60)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    job = store.jobs.job("k")
    assert job is not None
    assert job.state is State.DONE
    computed = after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime
    assert job.spent >= computed > 0.1
